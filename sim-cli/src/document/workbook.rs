//! A document as a workbook: one sheet for each table, with charts of the spreadsheet's own.
//!
//! Text is written as text, never as a formula. Invariant: a number stands there as a number, with all its digits.

use super::{Block, Document, Grid, native};
use crate::numbers::NONE;
use rust_xlsxwriter::{Format, FormatAlign, Workbook, Worksheet, XlsxError};

/// The bytes of the workbook.
///
/// # Errors
/// If it cannot be put together: a table too long for a sheet.
pub(crate) fn workbook(document: &Document) -> Result<Vec<u8>, XlsxError> {
    let mut book = Workbook::new();
    // The time of making is left out, so that the same result gives the same bytes.
    let made = rust_xlsxwriter::ExcelDateTime::from_ymd(2000, 1, 1)?;
    let about = rust_xlsxwriter::DocProperties::new().set_title(&document.title).set_creation_datetime(&made);
    book.set_properties(&about);
    let mut names: Vec<String> = Vec::new();
    summary(book.add_worksheet(), document)?;
    names.push("Summary".to_owned());
    for section in &document.sections {
        for block in &section.blocks {
            let (grid, kind) = match block {
                Block::Chart(chart, grid) => (grid, Some(&chart.kind)),
                Block::Table(grid) | Block::Archive(grid) | Block::Drawing { table: grid, .. } => {
                    (grid, None)
                }
                Block::Text(_) | Block::List(_) | Block::Facts(_) | Block::Code(_) | Block::Film(_) => {
                    continue;
                }
            };
            let name = sheet_name(&grid.title, &names);
            let sheet = book.add_worksheet().set_name(&name)?;
            fill(sheet, grid)?;
            if let Some(kind) = kind.filter(|_| !grid.rows.is_empty()) {
                native::draw(sheet, grid, kind, &name)?;
            }
            names.push(name);
        }
    }
    book.save_to_buffer()
}

/// A name that a sheet may have: 31 characters at most, none of `[]:*?/\`, its own.
fn sheet_name(title: &str, taken: &[String]) -> String {
    let kept = |c: char| if "[]:*?/\\'".contains(c) || c.is_control() { ' ' } else { c };
    let clean: String = title.chars().map(kept).collect();
    let mut clean = clean.split_whitespace().collect::<Vec<_>>().join(" ");
    if clean.is_empty() {
        clean.push_str("Table");
    }
    let cut = |n: usize| clean.chars().take(n).collect::<String>().trim().to_owned();
    let is_free = |name: &str| !taken.iter().any(|one| one.eq_ignore_ascii_case(name));
    let first = cut(31);
    if is_free(&first) {
        return first;
    }
    (2..).map(|n| format!("{} {n}", cut(27))).find(|name| is_free(name)).unwrap_or(first)
}

fn summary(sheet: &mut Worksheet, document: &Document) -> Result<(), XlsxError> {
    sheet.set_name("Summary")?;
    sheet.set_column_width(0, 32)?.set_column_width(1, 90)?;
    let (bold, wrapped) =
        (Format::new().set_bold(), Format::new().set_text_wrap().set_align(FormatAlign::Top));
    sheet.write_string_with_format(0, 0, &document.title, &bold)?;
    sheet.write_string(1, 0, document.kind)?;
    let mut row = 2;
    let mut put = |what: &str, text: &str| -> Result<(), XlsxError> {
        sheet.write_string_with_format(row, 0, what, &wrapped)?;
        sheet.write_string_with_format(row, 1, shortened(text), &wrapped)?;
        row += 1;
        Ok(())
    };
    if let Some(headline) = &document.headline {
        put(headline.word, &headline.sentence)?;
        put("", &headline.detail)?;
    }
    for (what, value, beside) in &document.figures {
        put(what, format!("{value} {beside}").trim())?;
    }
    for section in &document.sections {
        for block in &section.blocks {
            match block {
                Block::Facts(facts) => facts.iter().try_for_each(|(what, value)| put(what, value))?,
                Block::List(items) => items.iter().try_for_each(|item| put(&section.title, item))?,
                Block::Text(text) => put(&section.title, text)?,
                Block::Chart(..)
                | Block::Table(_)
                | Block::Archive(_)
                | Block::Code(_)
                | Block::Film(_)
                | Block::Drawing { .. } => {}
            }
        }
    }
    Ok(())
}

/// A cell holds 32,767 characters.
fn shortened(text: &str) -> String {
    text.chars().take(32_000).collect()
}

fn fill(sheet: &mut Worksheet, grid: &Grid) -> Result<(), XlsxError> {
    let bold = Format::new().set_bold().set_text_wrap().set_align(FormatAlign::Top);
    for (n, column) in (0u16..).zip(&grid.columns) {
        sheet.write_string_with_format(0, n, column.head(), &bold)?;
        let widest =
            grid.rows.iter().filter_map(|row| row.get(usize::from(n))).map(|cell| cell.text.chars().count());
        sheet.set_column_width(n, (widest.max().unwrap_or(8).clamp(10, 60) + 2) as f64)?;
    }
    for (row, cells) in (1u32..).zip(&grid.rows) {
        for ((n, cell), column) in (0u16..).zip(cells).zip(&grid.columns) {
            match cell.value {
                Some(value) => sheet.write_number(row, n, value)?,
                // What does not exist stays empty, so that sums and charts leave it out.
                None if !column.is_text && cell.text == NONE => continue,
                None => sheet.write_string(row, n, shortened(&cell.text))?,
            };
        }
    }
    sheet.set_freeze_panes(1, 1)?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::document::{Tone, number, numbers, word, words};

    fn document() -> Document {
        let mut grid = Grid::new("Shares: a [b]", vec![words("Name"), numbers("Share", "%")]);
        grid.row(vec![word("=1+1"), number(Some(12.5), "12.5")]);
        grid.row(vec![word("none"), number(None, "-")]);
        let mut document = Document {
            title: "Title".to_owned(),
            kind: "Proof",
            headline: Some(crate::document::Headline {
                tone: Tone::Good,
                word: "Proved",
                sentence: "It holds.".to_owned(),
                detail: "Surely.".to_owned(),
            }),
            figures: Vec::new(),
            sections: Vec::new(),
        };
        document.add("a", "A", vec![Block::Table(grid.clone()), Block::Table(grid)]);
        document
    }

    #[test]
    fn the_same_document_gives_the_same_bytes() {
        let first = workbook(&document()).unwrap();
        assert_eq!(first, workbook(&document()).unwrap());
        assert_eq!(&first[..2], b"PK");
    }

    #[test]
    fn sheets_have_names_of_their_own_that_are_allowed() {
        let mut taken = vec!["Summary".to_owned()];
        for (title, name) in [
            ("Shares: a [b]", "Shares a b"),
            ("shares a b", "shares a b 2"),
            ("[]", "Table"),
            (&"x".repeat(40), &"x".repeat(31)),
            (&"x".repeat(50), &format!("{} 2", "x".repeat(27))),
        ] {
            let found = sheet_name(title, &taken);
            assert_eq!(found, name);
            taken.push(found);
        }
    }
}
