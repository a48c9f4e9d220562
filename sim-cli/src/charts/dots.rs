//! Estimates in groups on one axis: a dot with its interval for each, so that groups can be compared.

use super::scale::{Scale, widened};
use super::{WIDTH, bottom_axis, clipped};
use maud::{Markup, html};

/// One estimate.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Dot {
    pub(crate) name: String,
    pub(crate) value: f64,
    /// How the value is written.
    pub(crate) shown: String,
    /// Half of its interval; NaN if it has none.
    pub(crate) half: f64,
}

/// Groups of estimates, each in its own order.
#[derive(Debug, Clone, Default)]
pub(crate) struct Dots {
    pub(crate) groups: Vec<(String, Vec<Dot>)>,
    /// A line that means something: what it is, and where.
    pub(crate) mark: Option<(String, f64)>,
    /// What the numbers are.
    pub(crate) label: String,
}

/// Room for the names at the left, and for the values at the right.
const NAMES: f64 = 178.0;
const VALUES: f64 = 84.0;
const HEAD: f64 = 30.0;
const ROW: f64 = 25.0;
/// Room for a line of names, if they stand above their dots.
const NAME: f64 = 20.0;
/// Where names begin.
const LEFT: f64 = 26.0;

impl Dots {
    pub(super) fn draw(&self) -> (f64, Markup) {
        let dots = || self.groups.iter().flat_map(|(_, dots)| dots);
        let half = |dot: &Dot| if dot.half.is_finite() { dot.half } else { 0.0 };
        let marked = || self.mark.iter().map(|(_, at)| *at);
        let low = dots().map(|dot| dot.value - half(dot)).chain(marked()).fold(f64::INFINITY, f64::min);
        let high = dots().map(|dot| dot.value + half(dot)).chain(marked()).fold(f64::NEG_INFINITY, f64::max);
        let (low, high) = widened(low, high, 0.04);
        // Names that are too long for the left have lines of their own.
        let is_above = dots().any(|dot| clipped(&dot.name, NAMES - 32.0) != dot.name);
        let left = if is_above { LEFT + 6.0 } else { NAMES };
        let scale = Scale::new(low, high, left, WIDTH - left - VALUES);
        let top = if self.mark.is_some() { 26.0 } else { 6.0 };
        let mut bottom = top;
        let mut drawn = Vec::new();
        for (name, dots) in &self.groups {
            drawn.push(
                html! { text class="title" x="14" y=(bottom + 20.0) { (clipped(name, WIDTH - 28.0)) } },
            );
            bottom += HEAD;
            for dot in dots {
                drawn.push(one(dot, bottom, &scale, is_above));
                bottom += if is_above { NAME + ROW } else { ROW };
            }
        }
        let drawn = html! {
            (bottom_axis(&scale, 5, top, bottom, &self.label))
            @if let Some((name, at)) = &self.mark {
                @let x = scale.at(*at);
                g class="demand" {
                    line x1=(x) x2=(x) y1="18" y2=(bottom) {}
                    text class=(if x > WIDTH / 2.0 { "end" } else { "" }) x=(x) y="14" { (name) }
                }
            }
            @for one in drawn { (one) }
        };
        (bottom + 54.0, drawn)
    }
}

fn one(dot: &Dot, top: f64, scale: &Scale, is_above: bool) -> Markup {
    let (under, room) = if is_above { (NAME, WIDTH - LEFT - 8.0) } else { (0.0, NAMES - 32.0) };
    let (x, y) = (scale.at(dot.value), top + under + 12.0);
    html! {
        g class="row" {
            title { (dot.name) ": " (dot.shown) }
            text x=(LEFT) y=(top + 17.0) { (clipped(&dot.name, room)) }
            @if dot.half.is_finite() { (super::whisker(scale.at(dot.value - dot.half), scale.at(dot.value + dot.half), y)) }
            circle class="dot" cx=(x) cy=(y) r="5" {}
            text class="end number" x=(WIDTH - 8.0) y=(y + 5.0) { (dot.shown) }
        }
    }
}
