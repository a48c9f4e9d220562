//! The replay of a shift on the drawing of its line: a film and its player, for a page.
//!
//! The player is a plain script that stands in the page; nothing is fetched. It is tested on its own and in a browser.
//! Invariant: names of a scenario come into the page as escaped text or as JSON that no tag can end.

use crate::drawing::{Direction, Picture, svg};
use base64::Engine;
use base64::prelude::BASE64_STANDARD;
use maud::{Markup, PreEscaped, html};
use sim_core::study::Replay;

/// Style of a replay; the page gives the colours.
pub(crate) const STYLE: &str = include_str!("replay.css");
/// The player.
pub(crate) const SCRIPT: &str = include_str!("replay.js");

/// Speeds to choose from, and the one to begin with.
const SPEEDS: [u32; 8] = [1, 2, 5, 10, 30, 100, 300, 1000];
const FIRST_SPEED: u32 = 10;

/// A drawing wider than this is played from top to bottom, px.
const WIDEST: f64 = 1560.0;

/// Drawing, film and controls. `points` are the stations of the file at which parts are used.
pub(crate) fn player(replay: &Replay, picture: &Picture, points: &[usize]) -> Markup {
    let across = picture.layout(Direction::Across);
    let layout = if across.width <= WIDEST { across } else { picture.layout(Direction::Down) };
    html! {
        div class="replay" data-points=(format!("{points:?}")) {
            (controls(replay))
            div class="stage" style=(format!("--natural:{:.0}px", layout.width)) tabindex="0" role="group" aria-label="Drawing of the line while the shift is played" {
                (svg(picture, &layout, "replay-line", false))
                canvas class="parts" aria-hidden="true" {}
            }
            script type="application/json" class="replay-data" { (PreEscaped(data(replay))) }
        }
    }
}

/// Hidden until the player runs: without scripts there is nothing to control.
fn controls(replay: &Replay) -> Markup {
    html! {
        div class="replay-controls" hidden {
            button type="button" class="replay-play" { "Play" }
            button type="button" class="replay-back" { "Event before" }
            button type="button" class="replay-next" { "Next event" }
            label {
                "Speed "
                select class="replay-speed" {
                    @for speed in SPEEDS {
                        option value=(speed) selected[speed == FIRST_SPEED] { (speed) "×" }
                    }
                }
            }
            output class="replay-clock" { "0:00:00" }
            div class="replay-bar" {
                canvas class="replay-marks" aria-hidden="true" {}
                input type="range" class="replay-seek" min="0" max=(replay.frames) value="0" aria-label="Time of the shift" {}
            }
            p class="replay-said" role="status" {}
        }
        noscript { p { "Playing the shift needs scripts." } }
    }
}

/// The film as JSON. `<` never stands in it as such, so that no text can end the element around it.
fn data(replay: &Replay) -> String {
    let mut document = match serde_json::to_value(replay) {
        Ok(document) => document,
        Err(why) => panic!("a film is plain data: {why}"),
    };
    document["stream"] = BASE64_STANDARD.encode(&replay.stream).into();
    document.to_string().replace('<', "\\u003c")
}

#[cfg(test)]
mod tests {
    use super::*;
    use sim_core::part::SECOND;
    use sim_core::{balance, network, scenario, study};

    /// The first seconds of the default line.
    fn film(seconds: u64) -> (Replay, Picture) {
        let text = include_str!("../../../scenarios/knob-two-paths.json");
        let scenario = scenario::read(text).scenario.expect("the line is sound");
        let plan = network::compile(&scenario);
        let film = study::replay(&scenario, &plan, 1, 0, (0, seconds * SECOND)).expect("the shift runs");
        let picture = Picture::of(&scenario, &balance::solve(&scenario).expect("the line is sound"), None);
        (film, picture)
    }

    #[test]
    fn a_name_cannot_end_the_film() {
        let (mut film, picture) = film(600);
        film.posts[0].name = "</script><script>alert(1)</script>".to_owned();
        let page = player(&film, &picture, &[8]).into_string();
        assert_eq!(page.matches("<script").count(), 1);
        assert!(page.contains("\\u003c/script>\\u003cscript>alert(1)"), "the name is there as data");
    }

    /// Measured: 0.25 MB for the default line, in the characters of the page.
    #[test]
    fn an_hour_of_the_default_line_takes_less_than_two_megabytes() {
        let (hour, _) = film(3600);
        assert!(!hour.is_cut && hour.frames == 360_000, "{} frames", hour.frames);
        let size = data(&hour).len();
        assert!((100_000..2_000_000).contains(&size), "{size} bytes");
    }

    #[test]
    fn every_station_and_every_way_can_be_found_in_the_drawing() {
        let (film, picture) = film(600);
        let page = player(&film, &picture, &[8]).into_string();
        for station in 0..9 {
            assert!(page.contains(&format!("data-station=\"{station}\"")), "{station}");
        }
        assert!(page.contains("data-from=\"5\" data-exits=\"[0]\""), "the paths give to the track");
    }
}
