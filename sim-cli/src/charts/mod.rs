//! Charts as SVG within a page.
//!
//! A small module of our own: plotting crates at hand fix their colours and font sizes when they draw, while these
//! charts take both from the style of the page, so that light and dark, phone and paper work; and each carries a title,
//! a description and the table behind it. Invariants: nothing is told by colour alone; text from a scenario is escaped.

mod bands;
mod bars;
mod cells;
mod curve;
mod dots;
mod rates;
mod responses;
mod scale;
mod shares;
mod waterfall;

pub(crate) use bands::{Band, Bands};
pub(crate) use bars::{Bar, Bars};
pub(crate) use cells::Cells;
pub(crate) use curve::{Asked, Curve, Mark};
pub(crate) use dots::{Dot, Dots};
pub(crate) use rates::Rates;
pub(crate) use responses::{Level, Panel, Responses};
pub(crate) use shares::{SHARE_KINDS, ShareRow, Shares};
pub(crate) use waterfall::{Step, Waterfall};

use crate::screen;
use maud::{Markup, html};

/// Width of a chart, px of its own.
const WIDTH: f64 = 600.0;

/// What can be drawn.
#[derive(Debug, Clone)]
pub(crate) enum Kind {
    /// Rates of single shifts against what is demanded.
    Rates(Rates),
    /// Steps from one amount down to another.
    Waterfall(Waterfall),
    /// Shares of time, a bar for each station.
    Shares(Shares),
    /// Values over time, with bands.
    Bands(Bands),
    /// Amounts, a bar for each, with intervals.
    Bars(Bars),
    /// An estimate along a setting.
    Curve(Curve),
    /// Estimates in groups on one axis.
    Dots(Dots),
    /// An output against each of several factors.
    Responses(Responses),
    /// An output over two factors.
    Cells(Cells),
}

/// A chart with what belongs to it.
#[derive(Debug, Clone)]
pub(crate) struct Chart {
    /// What it is, in a few words.
    pub(crate) title: String,
    /// What it shows, in a sentence, for those who do not see it.
    pub(crate) says: String,
    /// The chart itself.
    pub(crate) kind: Kind,
}

impl Chart {
    /// As an `svg` element; `id` begins the names of its parts and must be its own on the page.
    pub(crate) fn svg(&self, id: &str) -> Markup {
        let (height, drawn) = match &self.kind {
            Kind::Rates(rates) => rates.draw(),
            Kind::Waterfall(waterfall) => waterfall.draw(id),
            Kind::Shares(shares) => shares.draw(id),
            Kind::Bands(bands) => bands.draw(),
            Kind::Bars(bars) => bars.draw(),
            Kind::Curve(curve) => curve.draw(),
            Kind::Dots(dots) => dots.draw(),
            Kind::Responses(responses) => responses.draw(),
            Kind::Cells(cells) => cells.draw(),
        };
        html! {
            svg class="chart" role="img" viewBox=(format!("0 0 {WIDTH} {height}"))
                aria-labelledby=(format!("{id}-title {id}-desc")) {
                title id=(format!("{id}-title")) { (self.title) }
                desc id=(format!("{id}-desc")) { (self.says) }
                (drawn)
            }
        }
    }
}

/// Ticks along the bottom: lines upward, numbers below.
fn bottom_axis(scale: &scale::Scale, n: usize, top: f64, bottom: f64, label: &str) -> Markup {
    html! {
        g class="axis" {
            @for (value, text) in scale.ticks(n) {
                line x1=(scale.at(value)) x2=(scale.at(value)) y1=(top) y2=(bottom) {}
                text class="middle" x=(scale.at(value)) y=(bottom + 20.0) { (text) }
            }
            text class="middle label" x=(WIDTH / 2.0) y=(bottom + 42.0) { (label) }
        }
    }
}

/// An interval as a line with ends.
fn whisker(left: f64, right: f64, y: f64) -> Markup {
    html! {
        g class="whisker" {
            line x1=(left) x2=(right) y1=(y) y2=(y) {}
            line x1=(left) x2=(left) y1=(y - 4.0) y2=(y + 4.0) {}
            line x1=(right) x2=(right) y1=(y - 4.0) y2=(y + 4.0) {}
        }
    }
}

/// Widest that a letter is taken to be, px: that of a phone, where letters are the largest.
const LETTER: f64 = 9.6;

/// A text cut to the room that there is, px. What tells two of them apart stands at either end, so that it is cut in the
/// middle. The table behind the chart has it in full.
fn clipped(text: &str, room: f64) -> String {
    let columns = (room / LETTER).max(3.0) as usize;
    if screen::width(text) <= columns {
        return text.to_owned();
    }
    let end = screen::beginning(text.chars().rev(), (columns - 1) / 2);
    let begin = screen::beginning(text.chars(), columns - 1 - screen::width(&end));
    format!("{}…{}", begin.trim_end(), end.chars().rev().collect::<String>().trim_start())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_is_cut_in_the_middle_and_keeps_what_differs() {
        let cut = |text: &str, letters: f64| clipped(text, letters * LETTER + 1.0);
        assert_eq!(cut("track.length", 12.0), "track.length");
        assert_eq!(cut("driver.jams[0].per_part.bad", 15.0), "driver.…art.bad");
        assert_ne!(
            cut("press.jams[0].per_part.bad, x 0.9", 12.0),
            cut("press.jams[0].per_part.good, x 1.1", 12.0)
        );
        assert_eq!(cut("äöüäöüäöü", 5.0), "äö…öü");
        // A wide letter is never halved: one of them, the sign of what is left out, and two.
        assert_eq!(screen::width(&cut("振動振動振動振動", 7.0)), 7);
        assert_eq!(screen::width(&cut("振動振動振動振動", 6.0)), 5);
    }
}
