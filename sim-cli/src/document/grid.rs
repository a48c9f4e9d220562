//! Tables as data: the same one becomes a table of the page and a sheet of the workbook.

/// A column.
#[derive(Debug, Clone)]
pub(crate) struct Column {
    /// What it is.
    pub(crate) title: String,
    /// Its unit; empty if it has none.
    pub(crate) unit: &'static str,
    /// Whether it holds text, at the left.
    pub(crate) is_text: bool,
}

/// What stands in a column of a row.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Cell {
    /// As people read it.
    pub(crate) text: String,
    /// The number, for programs.
    pub(crate) value: Option<f64>,
}

/// A table.
#[derive(Debug, Clone)]
pub(crate) struct Grid {
    /// What it is, in a few words.
    pub(crate) title: String,
    pub(crate) columns: Vec<Column>,
    pub(crate) rows: Vec<Vec<Cell>>,
}

/// A column of text.
pub(crate) fn words(title: &str) -> Column {
    Column { title: title.to_owned(), unit: "", is_text: true }
}

/// A column of numbers.
pub(crate) fn numbers(title: &str, unit: &'static str) -> Column {
    Column { title: title.to_owned(), unit, is_text: false }
}

/// A cell of text.
pub(crate) fn word(text: impl Into<String>) -> Cell {
    Cell { text: text.into(), value: None }
}

/// A cell with a number and how it is written.
pub(crate) fn number(value: Option<f64>, text: impl Into<String>) -> Cell {
    Cell { text: text.into(), value: value.filter(|value| value.is_finite()) }
}

impl Grid {
    /// An empty table.
    pub(crate) fn new(title: impl Into<String>, columns: Vec<Column>) -> Self {
        Grid { title: title.into(), columns, rows: Vec::new() }
    }

    /// Adds a row.
    pub(crate) fn row(&mut self, cells: Vec<Cell>) {
        self.rows.push(cells);
    }
}
