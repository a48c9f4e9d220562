//! An output over two factors: a cell for each pair of levels, with its number, the darker the more.
//!
//! Readable without colour: the numbers say all, and a heavy line parts the cells that reach what is demanded from
//! those that do not.

use super::{WIDTH, clipped};
use maud::{Markup, html};

/// Cells by row and column.
#[derive(Debug, Clone, Default)]
pub(crate) struct Cells {
    /// What the columns are, and their levels.
    pub(crate) across: (String, Vec<String>),
    /// What the rows are, and their levels, from the bottom to the top.
    pub(crate) up: (String, Vec<String>),
    /// By row, then column; none where there is no point.
    pub(crate) values: Vec<Vec<Option<f64>>>,
    /// How a value is written.
    pub(crate) decimals: usize,
    /// What is demanded: what it is, and how much.
    pub(crate) mark: Option<(String, f64)>,
}

const LEFT: f64 = 124.0;
const ROW: f64 = 38.0;
const HEAD: f64 = 34.0;

impl Cells {
    pub(super) fn draw(&self) -> (f64, Markup) {
        let (columns, rows) = (self.across.1.len(), self.up.1.len());
        let wide = (WIDTH - LEFT - 8.0) / columns.max(1) as f64;
        let bottom = HEAD + ROW * rows as f64;
        let drawn = html! {
            text class="title" x="8" y="20" { (clipped(&self.up.0, WIDTH - 20.0)) title { (self.up.0) } }
            @for (n, level) in self.up.1.iter().enumerate() {
                text class="end number" x=(LEFT - 10.0) y=(bottom - ROW * (n as f64 + 0.5) + 5.0) { (clipped(level, LEFT - 14.0)) }
            }
            @for (n, level) in self.across.1.iter().enumerate() {
                text class="middle number" x=(LEFT + wide * (n as f64 + 0.5)) y=(bottom + 20.0) { (clipped(level, wide - 4.0)) }
            }
            text class="title middle" x=(LEFT + 0.5 * (WIDTH - LEFT)) y=(bottom + 44.0) { (clipped(&self.across.0, WIDTH - LEFT)) }
            @for (row, values) in self.values.iter().enumerate() {
                @for (column, value) in values.iter().enumerate() {
                    (self.cell(*value, LEFT + wide * column as f64, bottom - ROW * (row as f64 + 1.0), wide))
                }
            }
            path class="parting" d=(self.parting(bottom, wide)) {}
        };
        (bottom + 58.0, drawn)
    }

    fn range(&self) -> (f64, f64) {
        let all = || self.values.iter().flatten().flatten().copied();
        (all().fold(f64::INFINITY, f64::min), all().fold(f64::NEG_INFINITY, f64::max))
    }

    fn cell(&self, value: Option<f64>, x: f64, y: f64, wide: f64) -> Markup {
        let (low, high) = self.range();
        let share = value.map_or(0.0, |value| if high > low { (value - low) / (high - low) } else { 0.5 });
        let shade = (8.0 + 72.0 * share).round() / 100.0;
        let text = value.map_or("–".to_owned(), |value| format!("{value:.*}", self.decimals));
        html! {
            @if value.is_some() {
                rect class="shade" x=(round(x)) y=(y) width=(round(wide)) height=(ROW) style=(format!("fill-opacity:{shade}")) {}
            }
            rect class="rim" x=(round(x)) y=(y) width=(round(wide)) height=(ROW) {}
            text class="middle" x=(round(x + 0.5 * wide)) y=(y + 0.5 * ROW + 5.0) { (text) }
        }
    }

    /// The edges between cells that reach what is demanded and those that do not.
    fn parting(&self, bottom: f64, wide: f64) -> String {
        let Some((_, demand)) = &self.mark else { return String::new() };
        let reaches = |row: usize, column: usize| -> Option<bool> {
            Some((*self.values.get(row)?.get(column)?)? >= *demand)
        };
        let differ = |a: Option<bool>, b: Option<bool>| a.zip(b).is_some_and(|(a, b)| a != b);
        let mut path = String::new();
        for (row, values) in self.values.iter().enumerate() {
            for column in 0..values.len() {
                let (x, y) = (round(LEFT + wide * (column as f64 + 1.0)), bottom - ROW * (row as f64 + 1.0));
                if differ(reaches(row, column), reaches(row, column + 1)) {
                    path.push_str(&format!("M{x} {y}v{ROW}"));
                }
                if differ(reaches(row, column), reaches(row + 1, column)) {
                    path.push_str(&format!("M{x} {y}h{}", -round(wide)));
                }
            }
        }
        path
    }
}

/// A tenth of a px is enough.
fn round(px: f64) -> f64 {
    (px * 10.0).round() / 10.0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cells(mark: Option<f64>) -> Cells {
        Cells {
            across: ("paths".to_owned(), vec!["1".to_owned(), "2".to_owned()]),
            up: ("track [m]".to_owned(), vec!["0.4".to_owned(), "0.8".to_owned()]),
            values: vec![vec![Some(60.0), Some(84.0)], vec![Some(61.0), None]],
            decimals: 1,
            mark: mark.map(|rate| ("promised".to_owned(), rate)),
        }
    }

    #[test]
    fn every_cell_has_its_number_and_none_a_dash() {
        let (_, drawn) = cells(None).draw();
        let page = drawn.into_string();
        assert!(
            ["60.0", "84.0", "61.0", "–"].iter().all(|text| page.contains(&format!(">{text}<"))),
            "{page}"
        );
        assert_eq!(page.matches("class=\"shade\"").count(), 3);
    }

    #[test]
    fn the_heavy_line_parts_what_reaches_the_demand() {
        // Only the edge between 60 and 84: nothing is known of the cell above 84.
        assert_eq!(cells(Some(80.0)).parting(110.0, 50.0), "M174 72v38");
        assert_eq!(cells(Some(50.0)).parting(110.0, 50.0), "");
        assert_eq!(cells(Some(60.5)).parting(110.0, 50.0), "M174 72v38M174 72h-50");
    }
}
