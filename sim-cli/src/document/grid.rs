//! Tables as data: the same one becomes a table of the page and a sheet of the workbook.

/// A column.
#[derive(Debug, Clone)]
pub(crate) struct Column {
    /// What it is.
    pub(crate) title: String,
    /// Its unit; empty if it has none.
    pub(crate) unit: String,
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
    /// Title of the column that the picture before it shows, where that is not plain.
    pub(crate) drawn: Option<String>,
}

/// A column of text.
pub(crate) fn words(title: &str) -> Column {
    Column { title: title.to_owned(), unit: String::new(), is_text: true }
}

/// A column of numbers.
pub(crate) fn numbers(title: &str, unit: &str) -> Column {
    Column { title: title.to_owned(), unit: unit.to_owned(), is_text: false }
}

/// A cell of text.
pub(crate) fn word(text: impl Into<String>) -> Cell {
    Cell { text: text.into(), value: None }
}

/// A cell with a number and how it is written.
pub(crate) fn number(value: Option<f64>, text: impl Into<String>) -> Cell {
    Cell { text: text.into(), value: value.filter(|value| value.is_finite()) }
}

impl Column {
    /// Title and unit in one.
    pub(crate) fn head(&self) -> String {
        if self.unit.is_empty() { self.title.clone() } else { format!("{} [{}]", self.title, self.unit) }
    }
}

impl Grid {
    /// An empty table.
    pub(crate) fn new(title: impl Into<String>, columns: Vec<Column>) -> Self {
        Grid { title: title.into(), columns, rows: Vec::new(), drawn: None }
    }

    /// Says which column the picture shows.
    pub(crate) fn drawing(self, title: &str) -> Self {
        Grid { drawn: Some(title.to_owned()), ..self }
    }

    /// Adds a row.
    pub(crate) fn row(&mut self, cells: Vec<Cell>) {
        self.rows.push(cells);
    }
}
