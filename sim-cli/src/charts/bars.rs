//! Amounts: a bar for each, its name and value above it, its interval as a whisker.

use super::scale::{Scale, widened};
use super::{WIDTH, bottom_axis, clipped, whisker};
use maud::{Markup, html};

/// One amount.
#[derive(Debug, Clone, Default)]
pub(crate) struct Bar {
    pub(crate) name: String,
    pub(crate) value: f64,
    /// How the value is written.
    pub(crate) shown: String,
    pub(crate) interval: Option<(f64, f64)>,
    /// A second amount, drawn open on the same line, with its interval.
    pub(crate) other: Option<(f64, Option<(f64, f64)>)>,
    /// Drawn so that it stands out, with this word after its name.
    pub(crate) marked: Option<String>,
}

/// A bar for each.
#[derive(Debug, Clone, Default)]
pub(crate) struct Bars {
    pub(crate) bars: Vec<Bar>,
    /// A line that means something: what it is, and where.
    pub(crate) mark: Option<(String, f64)>,
    /// What the numbers are.
    pub(crate) label: String,
}

const ROW: f64 = 42.0;
/// Room for the values at the right.
const VALUES: f64 = 84.0;

impl Bars {
    pub(super) fn draw(&self) -> (f64, Markup) {
        let amounts =
            self.bars.iter().flat_map(|bar| bar.other.into_iter().chain([(bar.value, bar.interval)]));
        let ends = amounts.flat_map(|(value, interval)| {
            let (low, high) = interval.unwrap_or((value, value));
            [low.min(value), high.max(value)]
        });
        let all: Vec<f64> = ends.chain([0.0]).chain(self.mark.as_ref().map(|(_, at)| *at)).collect();
        let low = all.iter().copied().fold(f64::INFINITY, f64::min);
        let high = all.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let more = widened(low, high, 0.04);
        let scale = Scale::new(if low < 0.0 { more.0 } else { 0.0 }, more.1, 14.0, WIDTH - 28.0 - VALUES);
        let top = if self.mark.is_some() { 26.0 } else { 8.0 };
        let bottom = top + ROW * self.bars.len() as f64;
        let drawn = html! {
            (bottom_axis(&scale, 6, top, bottom, &self.label))
            @if let Some((name, at)) = &self.mark {
                @let x = scale.at(*at);
                g class="demand" {
                    line x1=(x) x2=(x) y1="20" y2=(bottom) {}
                    text class=(if x > WIDTH / 2.0 { "end" } else { "" }) x=(x) y="14" { (name) }
                }
            }
            line class="base" x1=(scale.at(0.0)) x2=(scale.at(0.0)) y1=(top) y2=(bottom) {}
            @for (n, bar) in self.bars.iter().enumerate() { (one(bar, top + ROW * n as f64, &scale)) }
        };
        (bottom + 54.0, drawn)
    }
}

fn one(bar: &Bar, top: f64, scale: &Scale) -> Markup {
    let (zero, end) = (scale.at(0.0), scale.at(bar.value));
    let y = top + 26.0;
    html! {
        g class="row" {
            title { (bar.name) ": " (bar.shown) }
            text x="16" y=(top + 14.0) { (clipped(&bar.name, name_room(bar))) @if let Some(word) = &bar.marked { tspan class="strong" { " · " (word) } } }
            text class="end number" x=(WIDTH - 16.0) y=(top + 14.0) { (bar.shown) }
            @if let Some((value, _)) = bar.other {
                @let end = scale.at(value);
                rect class="other" x=(zero.min(end)) y=(top + 19.0) width=((end - zero).abs().max(1.0)) height="14" {}
            }
            rect class=(if bar.marked.is_some() { "bar marked" } else { "bar" }) x=(zero.min(end)) y=(top + 19.0)
                width=((end - zero).abs().max(1.0)) height="14" {}
            @if let Some((_, Some((low, high)))) = bar.other { (whisker(scale.at(low), scale.at(high), y)) }
            @if let Some((low, high)) = bar.interval { (whisker(scale.at(low), scale.at(high), y)) }
        }
    }
}

/// Room for the name beside what stands in its line.
fn name_room(bar: &Bar) -> f64 {
    let word = bar.marked.as_ref().map_or(0, |word| word.len() + 3);
    WIDTH - 40.0 - super::LETTER * (word + bar.shown.len()) as f64
}
