//! Shares of time: a bar of 100 % for each station, each state with a pattern of its own.

use super::scale::Scale;
use super::{WIDTH, clipped};
use maud::{Markup, html};

/// What a share is of, in the order of the bar: words, and the name of its pattern.
pub(crate) const SHARE_KINDS: [(&str, &str); 7] = [
    ("working", "working"),
    ("starved", "starved"),
    ("blocked", "blocked"),
    ("held", "held"),
    ("jammed or down, waiting", "waiting"),
    ("being cleared or repaired", "cleared"),
    ("off or in changeover", "off"),
];

/// Shares of one station; they add up to 1.
#[derive(Debug, Clone)]
pub(crate) struct ShareRow {
    pub(crate) name: String,
    pub(crate) shares: [f64; SHARE_KINDS.len()],
}

/// A bar for each station.
#[derive(Debug, Clone)]
pub(crate) struct Shares {
    pub(crate) rows: Vec<ShareRow>,
}

const ROW: f64 = 42.0;
const KEY_ROW: f64 = 26.0;

impl Shares {
    pub(super) fn draw(&self, id: &str) -> (f64, Markup) {
        let scale = Scale::new(0.0, 1.0, 14.0, WIDTH - 28.0);
        let used: Vec<usize> = (0..SHARE_KINDS.len())
            .filter(|kind| self.rows.iter().any(|row| row.shares[*kind] > 0.000_5))
            .collect();
        let head = KEY_ROW * used.len().div_ceil(2) as f64 + 12.0;
        let bottom = head + ROW * self.rows.len() as f64;
        let drawn = html! {
            (patterns(id))
            g class="key" {
                @for (n, kind) in used.iter().enumerate() {
                    @let (x, y) = (14.0 + (n % 2) as f64 * (WIDTH / 2.0 - 14.0), KEY_ROW * (n / 2) as f64 + 4.0);
                    rect class="share" style=(fill(id, *kind)) x=(x) y=(y) width="26" height="15" {}
                    text x=(x + 34.0) y=(y + 13.0) { (SHARE_KINDS[*kind].0) }
                }
            }
            @for (n, row) in self.rows.iter().enumerate() { (bar(row, head + ROW * n as f64, &scale, id)) }
            g class="axis" {
                @for tick in [0.0, 0.25, 0.5, 0.75, 1.0] {
                    text class=(if tick == 0.0 { "" } else if tick == 1.0 { "end" } else { "middle" })
                        x=(scale.at(tick)) y=(bottom + 18.0) { (format!("{:.0} %", 100.0 * tick)) }
                }
            }
        };
        (bottom + 28.0, drawn)
    }
}

fn fill(id: &str, kind: usize) -> String {
    format!("fill:url(#{id}-{})", SHARE_KINDS[kind].1)
}

fn bar(row: &ShareRow, top: f64, scale: &Scale, id: &str) -> Markup {
    let mut from = 0.0;
    let pieces: Vec<(usize, f64, f64)> = row
        .shares
        .iter()
        .enumerate()
        .map(|(kind, share)| {
            let piece = (kind, from, from + share);
            from += share;
            piece
        })
        .filter(|(_, from, to)| to - from > 0.000_5)
        .collect();
    let told: Vec<String> = pieces
        .iter()
        .map(|(kind, from, to)| format!("{} {:.1} %", SHARE_KINDS[*kind].0, 100.0 * (to - from)))
        .collect();
    html! {
        g class="row" {
            title { (row.name) ": " (told.join(", ")) }
            text x="14" y=(top + 13.0) { (clipped(&row.name, WIDTH - 110.0)) }
            text class="end number" x=(WIDTH - 14.0) y=(top + 13.0) { (format!("{:.1} %", 100.0 * row.shares[0])) }
            @for (kind, from, to) in pieces {
                rect class="share" style=(fill(id, kind)) x=(scale.at(from)) y=(top + 18.0)
                    width=(((scale.at(to) - scale.at(from)) * 10.0).round() / 10.0) height="15" {}
            }
        }
    }
}

/// A pattern for each kind, in the colours of the page.
fn patterns(id: &str) -> Markup {
    let pattern = |name: &str, turn: u32, inside: Markup| {
        html! {
            pattern id=(format!("{id}-{name}")) width="6" height="6" patternUnits="userSpaceOnUse"
                patternTransform=(format!("rotate({turn})")) { (inside) }
        }
    };
    let ground = |class: &str| html! { rect class=(class) width="6" height="6" {} };
    let stripe = |class: &str| html! { rect class=(class) width="2.4" height="6" {} };
    html! {
        defs {
            (pattern("working", 0, ground("ground-accent")))
            (pattern("starved", 0, ground("ground-paper")))
            (pattern("blocked", 45, html! { (ground("ground-paper")) (stripe("mark-accent")) }))
            (pattern("held", 0, html! { (ground("ground-paper")) circle class="mark-soft" cx="3" cy="3" r="1.3" {} }))
            (pattern("waiting", 0, ground("ground-alarm")))
            (pattern("cleared", 135, html! { (ground("ground-paper")) (stripe("mark-alarm")) }))
            (pattern("off", 0, ground("ground-line")))
        }
    }
}
