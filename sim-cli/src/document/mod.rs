//! Documents: what a command has to show, as data, for whatever shows it.
//!
//! A document has a head (verdict and facts) and sections of text, charts, tables and drawings. It knows no study: each
//! command makes its own. The page (HTML) and the workbook (xlsx) are made of the same document. Invariant: every chart
//! has the table behind it, so that nothing can only be seen.

mod grid;
mod native;
mod page;
mod workbook;

pub(crate) use grid::{Cell, Grid, number, numbers, word, words};
pub(crate) use page::page;
pub(crate) use workbook::workbook;

use crate::charts::Chart;
use maud::Markup;

/// How a verdict came out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Tone {
    Good,
    Bad,
    Open,
}

/// The verdict on top.
#[derive(Debug, Clone)]
pub(crate) struct Headline {
    pub(crate) tone: Tone,
    /// In a word, such as `Proved`.
    pub(crate) word: &'static str,
    /// In a sentence.
    pub(crate) sentence: String,
    /// How sure it is.
    pub(crate) detail: String,
}

/// A piece of a section.
#[derive(Debug, Clone)]
pub(crate) enum Block {
    /// A paragraph.
    Text(String),
    /// A list.
    List(Vec<String>),
    /// Names and what they stand for.
    Facts(Vec<(String, String)>),
    /// A chart; its table follows, folded.
    Chart(Chart, Grid),
    /// A table.
    Table(Grid),
    /// A long table that opens on demand and is not printed.
    Archive(Grid),
    /// Text as it stands in a file.
    Code(String),
    /// A shift to watch, for pages only: it cannot be printed.
    Film(Markup),
    /// Something drawn elsewhere; the same for wide pages and for narrow ones.
    Drawing { wide: Markup, narrow: Markup, table: Grid },
}

/// A section.
#[derive(Debug, Clone)]
pub(crate) struct Section {
    /// Its own name on the page.
    pub(crate) id: String,
    pub(crate) title: String,
    pub(crate) blocks: Vec<Block>,
}

/// A document.
#[derive(Debug, Clone)]
pub(crate) struct Document {
    pub(crate) title: String,
    /// What sort of document it is.
    pub(crate) kind: &'static str,
    pub(crate) headline: Option<Headline>,
    /// The few numbers that matter most: what, how much, and beside it.
    pub(crate) figures: Vec<(String, String, String)>,
    pub(crate) sections: Vec<Section>,
}

impl Document {
    /// Adds a section if there is anything in it.
    pub(crate) fn add(&mut self, id: impl Into<String>, title: impl Into<String>, blocks: Vec<Block>) {
        if !blocks.is_empty() {
            self.sections.push(Section { id: id.into(), title: title.into(), blocks });
        }
    }
}
