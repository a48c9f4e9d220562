//! Tables of plain text that fit the screen.
//!
//! The first column holds names, at the left; the others hold numbers, at the right. Invariant: no line is wider than
//! the screen as long as the numbers alone are not; a name that is too long stands on a line of its own.

use crate::ink::Ink;
use crate::screen::{clip, columns, safe, width};

/// A table.
#[derive(Debug, Clone)]
pub(crate) struct Table {
    /// The lines of the header.
    header: Vec<Vec<String>>,
    rows: Vec<Vec<String>>,
    /// Columns at the beginning that are text.
    n_left: usize,
}

impl Table {
    /// A table with a header; `|` in a title begins a second line.
    pub(crate) fn new(titles: &[&str]) -> Self {
        let n_lines = titles.iter().map(|title| title.split('|').count()).max().unwrap_or(1);
        let line = |n: usize| {
            titles.iter().map(move |title| {
                let lines: Vec<&str> = title.split('|').collect();
                // Titles stand at the bottom of the header.
                let above = n_lines - lines.len();
                if n < above { String::new() } else { lines[n - above].to_owned() }
            })
        };
        Table { header: (0..n_lines).map(|n| line(n).collect()).collect(), rows: Vec::new(), n_left: 1 }
    }

    /// So many columns at the beginning are text, not numbers.
    pub(crate) fn texts(mut self, n: usize) -> Self {
        self.n_left = n;
        self
    }

    /// Adds a row.
    pub(crate) fn row(&mut self, cells: impl IntoIterator<Item = String>) {
        self.rows.push(cells.into_iter().map(|cell| safe(&cell)).collect());
    }

    /// Whether there is nothing in it.
    pub(crate) fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// The table as text.
    pub(crate) fn render(&self, ink: Ink) -> String {
        let n_columns = self.header.first().map_or(0, Vec::len);
        let all = || self.header.iter().chain(&self.rows);
        let widest = |column: usize| all().filter_map(|row| row.get(column)).map(|cell| width(cell)).max();
        let mut widths: Vec<usize> = (0..n_columns).map(|column| widest(column).unwrap_or(0)).collect();
        // Two spaces stand before every column.
        let others: usize = widths.iter().skip(1).map(|width| width + 2).sum();
        if let Some(first) = widths.first_mut() {
            *first = (*first).min(columns().saturating_sub(others + 2).max(8));
        }
        let mut page = String::new();
        for line in &self.header {
            page.push_str(&ink.faint(&self.line(line, &widths)));
            page.push('\n');
        }
        for row in &self.rows {
            page.push_str(&self.line(row, &widths));
            page.push('\n');
        }
        page
    }

    fn line(&self, cells: &[String], widths: &[usize]) -> String {
        let mut line = String::new();
        for (column, (cell, room)) in cells.iter().zip(widths).enumerate() {
            let gap = " ".repeat(room.saturating_sub(width(cell)));
            if column == 0 && width(cell) > *room {
                line.push_str(&format!("  {}\n  {}", clip(cell, columns() - 2), " ".repeat(*room)));
            } else if column < self.n_left {
                line.push_str(&format!("  {cell}{gap}"));
            } else {
                line.push_str(&format!("  {gap}{cell}"));
            }
        }
        line.trim_end().to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_line_up_and_long_names_get_a_line_of_their_own() {
        let mut table = Table::new(&["station", "a|b", "c"]);
        table.row(["feeder", "1.0", "22"].map(str::to_owned));
        assert_eq!(table.render(Ink::PLAIN), "             a\n  station    b   c\n  feeder   1.0  22\n");
        table.row([&"x".repeat(78), "1.0", "22"].map(str::to_owned));
        let text = table.render(Ink::PLAIN);
        assert!(text.lines().all(|line| width(line) <= crate::screen::WIDTH), "{text}");
        assert!(text.contains(&"x".repeat(78)));
    }
}
