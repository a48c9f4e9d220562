//! What was found along a setting: an estimate with its band, against what is demanded of it, and the verdict at each value.

use super::scale::{Scale, widened};
use super::{WIDTH, clipped};
use maud::{Markup, html};

/// How a value came out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Mark {
    Proved,
    Disproved,
    Open,
}

/// A value that was asked.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Asked {
    /// The value as a number.
    pub(crate) at: f64,
    pub(crate) low: f64,
    pub(crate) estimate: f64,
    pub(crate) high: f64,
    pub(crate) mark: Mark,
}

/// Values in order.
#[derive(Debug, Clone, Default)]
pub(crate) struct Curve {
    pub(crate) asked: Vec<Asked>,
    /// What is demanded: what it is, and how much.
    pub(crate) demand: Option<(String, f64)>,
    /// What the setting is.
    pub(crate) across: String,
    /// What the estimate is.
    pub(crate) up: String,
}

const LEFT: f64 = 58.0;
const RIGHT: f64 = 20.0;
const TOP: f64 = 64.0;
const TALL: f64 = 240.0;
const KEY: [(Mark, &str); 3] =
    [(Mark::Proved, "proved"), (Mark::Disproved, "disproved"), (Mark::Open, "open")];

impl Curve {
    pub(super) fn draw(&self) -> (f64, Markup) {
        let ends = |pick: fn(f64, f64) -> f64, start: f64, of: &dyn Fn(&Asked) -> [f64; 2]| {
            self.asked.iter().flat_map(of).fold(start, pick)
        };
        let demand = self.demand.as_ref().map(|(_, at)| *at);
        let low = ends(f64::min, f64::INFINITY, &|one| [one.low, one.estimate])
            .min(demand.unwrap_or(f64::INFINITY));
        let high = ends(f64::max, f64::NEG_INFINITY, &|one| [one.high, one.estimate])
            .max(demand.unwrap_or(f64::NEG_INFINITY));
        let (low, high) = widened(low, high, 0.06);
        let up = Scale::new(low, high, TOP + TALL, -TALL);
        let (first, last) = (
            ends(f64::min, f64::INFINITY, &|one| [one.at; 2]),
            ends(f64::max, f64::NEG_INFINITY, &|one| [one.at; 2]),
        );
        let (first, last) = widened(first, last, 0.04);
        let across = Scale::new(first, last, LEFT, WIDTH - LEFT - RIGHT);
        let at = |one: &Asked, value: f64| format!("{},{}", across.at(one.at), up.at(value));
        let mut band: Vec<String> = self.asked.iter().map(|one| at(one, one.high)).collect();
        band.extend(self.asked.iter().rev().map(|one| at(one, one.low)));
        let line: Vec<String> = self.asked.iter().map(|one| at(one, one.estimate)).collect();
        let bottom = TOP + TALL;
        let drawn = html! {
            @for (n, (mark, word)) in KEY.iter().enumerate() {
                @let x = LEFT + 150.0 * n as f64;
                (sign(*mark, x + 8.0, 12.0))
                text x=(x + 20.0) y="17" { (word) }
            }
            text class="title" x="8" y="50" { (clipped(&self.up, WIDTH - 190.0)) }
            g class="axis" {
                @for (value, text) in up.ticks(6) {
                    line x1=(LEFT) x2=(WIDTH - RIGHT) y1=(up.at(value)) y2=(up.at(value)) {}
                    text class="end" x=(LEFT - 6.0) y=(up.at(value) + 5.0) { (text) }
                }
                @for (value, text) in across.ticks(7) {
                    text class="middle" x=(across.at(value)) y=(bottom + 20.0) { (text) }
                }
                text class="middle label" x=(WIDTH / 2.0) y=(bottom + 42.0) { (clipped(&self.across, WIDTH - 16.0)) }
            }
            polygon class="area" points=(band.join(" ")) {}
            polyline class="median" points=(line.join(" ")) {}
            @if let Some((name, value)) = &self.demand {
                g class="demand" {
                    line x1=(LEFT) x2=(WIDTH - RIGHT) y1=(up.at(*value)) y2=(up.at(*value)) {}
                    text class="end" x=(WIDTH - RIGHT) y="50" { "dashed: " (name) }
                }
            }
            @for one in &self.asked {
                @let (x, y) = (across.at(one.at), up.at(one.estimate));
                g class="whisker" { line x1=(x) x2=(x) y1=(up.at(one.low)) y2=(up.at(one.high)) {} }
                (sign(one.mark, x, y))
            }
        };
        (bottom + 54.0, drawn)
    }
}

/// A verdict as a sign: filled, crossed or open.
fn sign(mark: Mark, x: f64, y: f64) -> Markup {
    match mark {
        Mark::Proved => html! { circle class="dot" cx=(x) cy=(y) r="6" {} },
        Mark::Open => html! { circle class="ring" cx=(x) cy=(y) r="5.5" {} },
        Mark::Disproved => {
            html! { path class="cross" d=(format!("M{} {}l10 10M{} {}l-10 10", x - 5.0, y - 5.0, x + 5.0, y - 5.0)) {} }
        }
    }
}
