//! Values over the time of a shift: a median line within the band of most shifts.

use super::WIDTH;
use super::scale::Scale;
use maud::{Markup, html};

/// Median and limits at each step.
#[derive(Debug, Clone, Default)]
pub(crate) struct Band {
    pub(crate) name: String,
    pub(crate) low: Vec<f64>,
    pub(crate) middle: Vec<f64>,
    pub(crate) high: Vec<f64>,
    /// A line that means something, such as the capacity: what it is, and where.
    pub(crate) mark: Option<(String, f64)>,
}

/// Bands over the same time, one below the other.
#[derive(Debug, Clone)]
pub(crate) struct Bands {
    pub(crate) bands: Vec<Band>,
    /// Length of a step, s.
    pub(crate) step_s: f64,
    /// From this time on everything counts, s.
    pub(crate) opens_s: f64,
    /// Height of each.
    pub(crate) tall: f64,
    /// Whether the values begin at 0.
    pub(crate) from_zero: bool,
}

const LEFT: f64 = 58.0;
const GAP: f64 = 40.0;

impl Bands {
    pub(super) fn draw(&self) -> (f64, Markup) {
        let n = self.bands.iter().map(|band| band.middle.len()).max().unwrap_or(0);
        let (unit, word) =
            if n as f64 * self.step_s > 2.0 * 3600.0 { (3600.0, "hours") } else { (60.0, "minutes") };
        let length = n as f64 * self.step_s / unit;
        let time = Scale::new(0.0, length, LEFT, WIDTH - LEFT - 16.0);
        let each = self.tall + GAP;
        let bottom = each * self.bands.len() as f64;
        let opens = self.opens_s / unit;
        let drawn = html! {
            @for (n, band) in self.bands.iter().enumerate() {
                (self.one(band, each * n as f64 + 28.0, &time, unit))
            }
            @if opens > 0.0 {
                g class="demand" {
                    line x1=(time.at(opens)) x2=(time.at(opens)) y1="24" y2=(bottom - 12.0) {}
                    text x=(time.at(opens) + 5.0) y="40" { "counts from here" }
                }
            }
            g class="axis" {
                @for (value, text) in time.ticks(8) {
                    text class="middle" x=(time.at(value)) y=(bottom + 10.0) { (text) }
                }
                text class="middle label" x=(WIDTH / 2.0) y=(bottom + 32.0) { (word) " from the start of the shift" }
            }
        };
        (bottom + 44.0, drawn)
    }

    fn one(&self, band: &Band, top: f64, time: &Scale, unit: f64) -> Markup {
        let of = |values: &[f64], start: f64, pick: fn(f64, f64) -> f64| {
            values.iter().copied().filter(|value| value.is_finite()).fold(start, pick)
        };
        let mut high =
            of(&band.high, f64::NEG_INFINITY, f64::max).max(of(&band.middle, f64::NEG_INFINITY, f64::max));
        let mut low = if self.from_zero { 0.0 } else { of(&band.low, f64::INFINITY, f64::min) };
        // A capacity that is far away would flatten everything.
        let mark = band.mark.as_ref().filter(|(_, at)| *at <= 2.2 * high && *at >= low - (high - low));
        if let Some((_, at)) = mark {
            (low, high) = (low.min(*at), high.max(*at));
        }
        let value = Scale::new(low, if high > low { high } else { low + 1.0 }, top + self.tall, -self.tall);
        let x = |n: usize| time.at((n as f64 + 1.0) * self.step_s / unit);
        let points = |values: &[f64]| -> Vec<String> {
            values.iter().enumerate().map(|(n, v)| format!("{},{}", x(n), value.at(*v))).collect()
        };
        let mut area = points(&band.high);
        let mut back = points(&band.low);
        back.reverse();
        area.extend(back);
        html! {
            g class="band" {
                text class="title" x=(LEFT) y=(top - 8.0) { (band.name) }
                g class="axis" {
                    @for (at, text) in value.ticks(3) {
                        line x1=(LEFT) x2=(WIDTH - 16.0) y1=(value.at(at)) y2=(value.at(at)) {}
                        text class="end" x=(LEFT - 6.0) y=(value.at(at) + 5.0) { (text) }
                    }
                }
                polygon class="area" points=(area.join(" ")) {}
                polyline class="median" points=(points(&band.middle).join(" ")) {}
                @if let Some((name, at)) = mark {
                    line class="mark" x1=(LEFT) x2=(WIDTH - 16.0) y1=(value.at(*at)) y2=(value.at(*at)) {}
                    text class="end small" x=(WIDTH - 18.0) y=(top - 8.0) { (name) }
                }
            }
        }
    }
}
