//! Rates of single shifts: a histogram, with the demand and both intervals above it.

use super::scale::{Scale, widened};
use super::{WIDTH, bottom_axis};
use maud::{Markup, html};

/// Shifts by rate.
#[derive(Debug, Clone, Default)]
pub(crate) struct Rates {
    /// Lower edge of the first class.
    pub(crate) from: f64,
    /// Width of a class.
    pub(crate) width: f64,
    /// Shifts in each class.
    pub(crate) counts: Vec<u64>,
    /// What is demanded of a shift or of the mean.
    pub(crate) demand: Option<f64>,
    /// Intervals to be told apart: name, low, high.
    pub(crate) intervals: Vec<(String, f64, f64)>,
    /// What the numbers are.
    pub(crate) label: String,
}

/// Height of an interval's row.
const ROW: f64 = 42.0;
/// Height of the histogram.
const TALL: f64 = 170.0;

impl Rates {
    pub(super) fn draw(&self) -> (f64, Markup) {
        let last = self.from + self.width * self.counts.len() as f64;
        let ends = self.intervals.iter().flat_map(|(_, low, high)| [*low, *high]);
        let all: Vec<f64> = ends.chain([self.from, last]).chain(self.demand).collect();
        let low = all.iter().copied().fold(f64::INFINITY, f64::min);
        let high = all.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let (low, high) = widened(low, high, 0.06);
        let scale = Scale::new(low, high, 14.0, WIDTH - 28.0);
        let top = 30.0 + ROW * self.intervals.len() as f64;
        let bottom = top + TALL;
        let most = self.counts.iter().copied().max().unwrap_or(1).max(1) as f64;
        let drawn = html! {
            (bottom_axis(&scale, 6, 26.0, bottom, &self.label))
            @for (n, count) in self.counts.iter().enumerate() {
                @if *count > 0 { (self.class(n, *count, most, &scale, bottom)) }
            }
            line class="base" x1="14" x2=(WIDTH - 14.0) y1=(bottom) y2=(bottom) {}
            @for (n, (name, low, high)) in self.intervals.iter().enumerate() {
                (interval(name, *low, *high, 30.0 + ROW * n as f64, &scale))
            }
            @if let Some(demand) = self.demand { (line(demand, &scale, bottom)) }
        };
        (bottom + 54.0, drawn)
    }

    fn class(&self, n: usize, count: u64, most: f64, scale: &Scale, bottom: f64) -> Markup {
        let from = self.from + self.width * n as f64;
        let (left, right) = (scale.at(from), scale.at(from + self.width));
        let tall = ((TALL - 24.0) * count as f64 / most * 10.0).round() / 10.0;
        // Classes that miss the demand are open, those that make it are filled.
        let misses = self.demand.is_some_and(|demand| from + 0.5 * self.width < demand);
        html! {
            g {
                title { (count) " shifts from " (format!("{from:.2}")) " to " (format!("{:.2}", from + self.width)) }
                rect class=(if misses { "column misses" } else { "column" }) x=(left + 1.0) y=(bottom - tall)
                    width=((right - left - 2.0).max(1.0)) height=(tall) {}
                @if right - left > 24.0 {
                    text class="middle small" x=(0.5 * (left + right)) y=(bottom - tall - 5.0) { (count) }
                }
            }
        }
    }
}

fn interval(name: &str, low: f64, high: f64, top: f64, scale: &Scale) -> Markup {
    let (left, right) = (scale.at(low), scale.at(high));
    let middle = 0.5 * (left + right);
    // The name stays within the chart.
    let (class, x) = match middle {
        x if x < 0.3 * WIDTH => ("", left.max(14.0)),
        x if x > 0.7 * WIDTH => ("end", right.min(WIDTH - 14.0)),
        x => ("middle", x),
    };
    let y = top + 24.0;
    html! {
        g class="interval" {
            text class=(class) x=(x) y=(top + 12.0) { (name) }
            line x1=(left) x2=(right) y1=(y) y2=(y) {}
            line x1=(left) x2=(left) y1=(y - 5.0) y2=(y + 5.0) {}
            line x1=(right) x2=(right) y1=(y - 5.0) y2=(y + 5.0) {}
        }
    }
}

fn line(demand: f64, scale: &Scale, bottom: f64) -> Markup {
    let x = scale.at(demand);
    let (class, shift) = if x > 0.7 * WIDTH { ("end", -6.0) } else { ("", 6.0) };
    html! {
        g class="demand" {
            line x1=(x) x2=(x) y1="4" y2=(bottom) {}
            text class=(class) x=(x + shift) y="16" { "promised " (crate::numbers::plain(demand)) }
        }
    }
}
