//! How an output goes with each of several factors: points, and the mean at each level with its interval.
//!
//! All panels have the same scale of the output, so that the factors can be compared.

use super::scale::{Scale, widened};
use super::{LETTER, clipped};
use maud::{Markup, html};

/// A level of a factor.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Level {
    /// Where it stands on the axis of the factor.
    pub(crate) at: f64,
    pub(crate) mean: f64,
    /// Half of its interval; NaN if it has none.
    pub(crate) half: f64,
}

/// The output against one factor.
#[derive(Debug, Clone, Default)]
pub(crate) struct Panel {
    /// The factor, with its unit.
    pub(crate) name: String,
    /// Points: the factor, and the output.
    pub(crate) points: Vec<(f64, f64)>,
    /// In the order of the axis.
    pub(crate) levels: Vec<Level>,
    /// Words of the levels, which then stand at 0, 1, 2, ...; empty for numbers.
    pub(crate) words: Vec<String>,
    /// Whether levels are all that there is of the factor, not the middles of what was summed up.
    pub(crate) is_at_levels: bool,
}

/// The output against each factor.
#[derive(Debug, Clone, Default)]
pub(crate) struct Responses {
    pub(crate) panels: Vec<Panel>,
    /// A line that means something: what it is, and where.
    pub(crate) mark: Option<(String, f64)>,
    /// What the output is.
    pub(crate) label: String,
}

const LEFT: f64 = 52.0;
const WIDE: f64 = 232.0;
const TALL: f64 = 150.0;
/// Distance from panel to panel, and from row to row.
const ACROSS: f64 = 300.0;
const DOWN: f64 = 236.0;
const HEAD: f64 = 42.0;

impl Responses {
    pub(super) fn draw(&self) -> (f64, Markup) {
        let half = |level: &Level| if level.half.is_finite() { level.half } else { 0.0 };
        let ends = self.panels.iter().flat_map(|panel| {
            let levels =
                panel.levels.iter().flat_map(|level| [level.mean - half(level), level.mean + half(level)]);
            levels.chain(panel.points.iter().map(|(_, y)| *y)).collect::<Vec<_>>()
        });
        let all: Vec<f64> = ends.chain(self.mark.iter().map(|(_, at)| *at)).collect();
        let low = all.iter().copied().fold(f64::INFINITY, f64::min);
        let high = all.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let (low, high) = widened(low, high, 0.05);
        let rows = self.panels.len().div_ceil(2);
        let drawn = html! {
            text class="small" x="8" y="16" { (self.label) @if let Some((name, _)) = &self.mark { "; dashed: " (name) } }
            @for (n, panel) in self.panels.iter().enumerate() {
                @let (left, top) = ((n % 2) as f64 * ACROSS + LEFT, (n / 2) as f64 * DOWN + HEAD + 20.0);
                (self.one(panel, left, top, low, high))
            }
        };
        (HEAD + DOWN * rows as f64 - 10.0, drawn)
    }

    fn one(&self, panel: &Panel, left: f64, top: f64, low: f64, high: f64) -> Markup {
        let value = Scale::new(low, high, top + TALL, -TALL);
        let across = panel.axis(left);
        let ends = |level: &Level| (value.at(level.mean - level.half), value.at(level.mean + level.half));
        let line: Vec<String> = panel
            .levels
            .iter()
            .map(|level| format!("{},{}", across.at(level.at), value.at(level.mean)))
            .collect();
        html! {
            g class="panel" {
                g class="axis" {
                    @for (at, text) in value.ticks(5) {
                        line x1=(left) x2=(left + WIDE) y1=(value.at(at)) y2=(value.at(at)) {}
                        text class="end" x=(left - 6.0) y=(value.at(at) + 5.0) { (text) }
                    }
                    (panel.feet(&across, top + TALL))
                }
                text class="title" x=(left) y=(top - 10.0) { (clipped(&panel.name, WIDE + 16.0)) title { (panel.name) } }
                @for (x, y) in &panel.points { circle class="point" cx=(across.at(*x)) cy=(value.at(*y)) r="2.4" {} }
                @if let Some((_, at)) = &self.mark {
                    g class="demand" { line x1=(left) x2=(left + WIDE) y1=(value.at(*at)) y2=(value.at(*at)) {} }
                }
                // Words have no order, so nothing lies between them.
                @if panel.words.is_empty() { polyline class="median" points=(line.join(" ")) {} }
                @for level in &panel.levels {
                    @let x = across.at(level.at);
                    @if level.half.is_finite() {
                        @let (foot, head) = ends(level);
                        g class="whisker" {
                            line x1=(x) x2=(x) y1=(foot) y2=(head) {}
                            line x1=(x - 4.0) x2=(x + 4.0) y1=(foot) y2=(foot) {}
                            line x1=(x - 4.0) x2=(x + 4.0) y1=(head) y2=(head) {}
                        }
                    }
                    circle class="dot" cx=(x) cy=(value.at(level.mean)) r="4.5" {}
                }
            }
        }
    }
}

impl Panel {
    /// The axis of the factor.
    fn axis(&self, left: f64) -> Scale {
        if !self.words.is_empty() {
            return Scale::new(-0.5, self.words.len() as f64 - 0.5, left, WIDE);
        }
        let all = || self.points.iter().map(|(x, _)| *x).chain(self.levels.iter().map(|level| level.at));
        let (low, high) = (all().fold(f64::INFINITY, f64::min), all().fold(f64::NEG_INFINITY, f64::max));
        let (low, high) = widened(low, high, 0.05);
        Scale::new(low, high, left, WIDE)
    }

    /// What stands below it.
    fn feet(&self, across: &Scale, bottom: f64) -> Markup {
        let room = WIDE / self.words.len().max(1) as f64 - 6.0;
        let ticks = match (self.words.is_empty(), self.is_at_levels && self.levels.len() <= 4) {
            (true, true) => {
                self.levels.iter().map(|level| (level.at, crate::numbers::plain(level.at))).collect()
            }
            (true, false) => across.ticks(4),
            (false, _) => {
                let words = self.words.iter().enumerate();
                words.map(|(n, word)| (n as f64, clipped(word, room))).collect()
            }
        };
        html! {
            @for (at, text) in apart(ticks, across) {
                text class="middle" x=(across.at(at)) y=(bottom + 20.0) { (text) }
            }
        }
    }
}

/// Without the ticks whose words would run into those of the one before.
fn apart(ticks: Vec<(f64, String)>, across: &Scale) -> Vec<(f64, String)> {
    let mut end = f64::NEG_INFINITY;
    let mut has_room = |(at, text): &(f64, String)| {
        let half = 0.5 * LETTER * crate::screen::width(text) as f64;
        let fits = across.at(*at) - half >= end;
        if fits {
            end = across.at(*at) + half + 0.5 * LETTER;
        }
        fits
    };
    ticks.into_iter().filter(|tick| has_room(tick)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_that_would_run_together_are_left_out() {
        let kept = |at: &[f64]| {
            let ticks = at.iter().map(|at| (*at, crate::numbers::plain(*at))).collect();
            apart(ticks, &Scale::new(0.0, 1.0, 0.0, WIDE))
                .into_iter()
                .map(|(_, text)| text)
                .collect::<Vec<_>>()
        };
        assert_eq!(kept(&[0.2, 0.65, 0.7, 0.95]), ["0.2", "0.65", "0.95"]);
        assert_eq!(kept(&[0.1, 0.4, 0.7]), ["0.1", "0.4", "0.7"]);
    }
}
