//! A waterfall: from one amount down to another, step by step.

use super::scale::{Scale, widened};
use super::{WIDTH, bottom_axis, clipped};
use maud::{Markup, html};

/// One step down.
#[derive(Debug, Clone)]
pub(crate) struct Step {
    /// What it is.
    pub(crate) name: String,
    /// How much is lost; negative: gained.
    pub(crate) lost: f64,
}

/// From the first amount to what is left.
#[derive(Debug, Clone)]
pub(crate) struct Waterfall {
    /// What the first amount is, and how much.
    pub(crate) first: (String, f64),
    pub(crate) steps: Vec<Step>,
    /// What the last amount is, and how much.
    pub(crate) last: (String, f64),
    /// What is demanded of the last.
    pub(crate) demand: Option<f64>,
    /// What the numbers are.
    pub(crate) label: String,
}

/// Room for the values at the right.
const VALUES: f64 = 84.0;
/// Height of a row: a line of text and a bar.
const ROW: f64 = 44.0;

impl Waterfall {
    pub(super) fn draw(&self, id: &str) -> (f64, Markup) {
        let mut at = self.first.1;
        let mut ends = vec![at, self.last.1];
        ends.extend(self.demand);
        for step in &self.steps {
            at -= step.lost;
            ends.push(at);
        }
        let low = ends.iter().copied().fold(f64::INFINITY, f64::min);
        let high = ends.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let low = widened(low, high, 0.25).0.max(0.0);
        let high = high + 0.02 * (high - low);
        let scale = Scale::new(low, high, 14.0, WIDTH - 28.0 - VALUES);
        let rows = self.steps.len() as f64 + 2.0;
        let bottom = 26.0 + ROW * rows;
        let is_cut = low > 0.0;
        let label = if is_cut { format!("{}; does not begin at 0", self.label) } else { self.label.clone() };
        let mut level = self.first.1;
        let mut bars = Vec::new();
        for (n, step) in self.steps.iter().enumerate() {
            let top = 24.0 + ROW * (n as f64 + 1.0);
            let (from, to) = (level, level - step.lost);
            level = to;
            let class = if step.lost < 0.0 { "gained" } else { "lost" };
            let value = format!("{:+.3}", -step.lost);
            bars.push(row(
                &step.name,
                &value,
                (from.min(to), from.max(to)),
                class,
                top,
                &scale,
                Some((id, from)),
            ));
        }
        let amount = |name: &str, value: f64, top: f64| {
            row(name, &format!("{value:.3}"), (low, value), "amount", top, &scale, None)
        };
        let drawn = html! {
            defs {
                pattern id=(format!("{id}-hatch")) width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)" {
                    rect class="hatch-ground" width="6" height="6" {}
                    rect class="hatch-line" width="2.2" height="6" {}
                }
            }
            (bottom_axis(&scale, 6, 24.0, bottom, &label))
            @if let Some(demand) = self.demand {
                g class="demand" {
                    line x1=(scale.at(demand)) x2=(scale.at(demand)) y1="4" y2=(bottom) {}
                    text x=(scale.at(demand) + 6.0) y="15" { "promised " (crate::numbers::plain(demand)) }
                }
            }
            (amount(&self.first.0, self.first.1, 24.0))
            @for bar in bars { (bar) }
            (amount(&self.last.0, self.last.1, 24.0 + ROW * (rows - 1.0)))
        };
        (bottom + 54.0, drawn)
    }
}

/// A bar with its name and value above.
fn row(
    name: &str,
    value: &str,
    (low, high): (f64, f64),
    class: &str,
    top: f64,
    scale: &Scale,
    hatch: Option<(&str, f64)>,
) -> Markup {
    let (left, right) = (scale.at(low), scale.at(high));
    let fill = hatch.map(|(id, _)| format!("fill:url(#{id}-hatch)"));
    html! {
        g class="row" {
            title { (name) ": " (value) }
            text x="16" y=(top + 14.0) { (clipped(name, WIDTH - 30.0 - VALUES)) }
            text class="end number" x=(WIDTH - 16.0) y=(top + 14.0) { (value) }
            @if let Some((_, from)) = hatch {
                line class="joint" x1=(scale.at(from)) x2=(scale.at(from)) y1=(top - 6.0) y2=(top + 20.0) {}
            }
            rect class=(class) style=[fill] x=(left) y=(top + 20.0) width=((right - left).max(1.0)) height="17" {}
        }
    }
}
