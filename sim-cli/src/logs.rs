//! Logs: tables of measured values, row by row.
//!
//! Columns are separated by commas, semicolons (numbers may then have a decimal comma) or tabs, whichever the first line has most of;
//! the first line holds the titles. Rows stream: a log may be longer than memory. Invariant: no row is left out silently; the
//! first rows that cannot be used are told with their lines, and then nothing is fitted.

use crate::ending::{Ending, Failure};
use crate::problems::counted;
use sim_core::text::suggest::nearest;
use std::fs::File;
use std::io::{self, BufRead, BufReader};
use std::path::Path;

/// Faults told before the reading is given up.
const FAULTS_MAX: usize = 5;

/// A log that is open.
pub(crate) struct Log {
    name: String,
    reader: csv::Reader<Box<dyn BufRead>>,
    titles: Vec<String>,
    separator: u8,
    faults: Vec<String>,
    row: csv::StringRecord,
    rows: u64,
}

/// A column of a log.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Column {
    index: usize,
    /// Its title.
    pub(crate) title: String,
}

impl Log {
    /// Opens a file, or standard input if it is `-`, and reads its titles.
    ///
    /// # Errors
    /// If it cannot be read, is empty or has no titles.
    pub(crate) fn open(path: &Path) -> Result<Self, Failure> {
        if path == Path::new("-") {
            return Log::read("standard input".to_owned(), Box::new(BufReader::new(io::stdin())));
        }
        let name = path.display().to_string();
        if path.is_dir() {
            return Err(
                Failure::new(Ending::BadInput, format!("`{name}` is a folder")).help("name a file in it")
            );
        }
        let file = File::open(path).map_err(|why| Failure::unreadable(&format!("`{name}`"), why))?;
        Log::read(name, Box::new(BufReader::with_capacity(1 << 16, file)))
    }

    fn read(name: String, mut from: Box<dyn BufRead>) -> Result<Self, Failure> {
        let unreadable = |why: &dyn std::fmt::Display| Failure::unreadable(&format!("`{name}`"), why);
        let head = from.fill_buf().map_err(|why| unreadable(&why))?;
        // Spreadsheets write a mark before the first title.
        let mark = head.starts_with(b"\xef\xbb\xbf");
        let separator = separator(head);
        if mark {
            from.consume(3);
        }
        let mut reader = csv::ReaderBuilder::new()
            .delimiter(separator)
            .flexible(true)
            .trim(csv::Trim::All)
            .from_reader(from as Box<dyn BufRead>);
        let titles: Vec<String> =
            reader.headers().map_err(|why| unreadable(&why))?.iter().map(str::to_owned).collect();
        if titles.iter().all(String::is_empty) {
            let failure = Failure::new(Ending::BadInput, format!("`{name}` is empty"));
            return Err(failure.help("expected a line of titles, then one row for each observation"));
        }
        Ok(Log {
            name,
            reader,
            titles,
            separator,
            faults: Vec::new(),
            row: csv::StringRecord::new(),
            rows: 0,
        })
    }

    /// What the file is called.
    pub(crate) fn name(&self) -> &str {
        &self.name
    }

    /// The only column, if there is one only.
    pub(crate) fn only_column(&self) -> Option<Column> {
        let [title] = &self.titles[..] else { return None };
        Some(Column { index: 0, title: title.clone() })
    }

    /// Titles of all columns.
    pub(crate) fn titles(&self) -> &[String] {
        &self.titles
    }

    /// Finds a column by its title.
    ///
    /// # Errors
    /// If there is none, with the nearest title; or if there are two.
    pub(crate) fn column(&self, title: &str) -> Result<Column, Failure> {
        let mut found = self.titles.iter().enumerate().filter(|(_, known)| *known == title);
        match (found.next(), found.next()) {
            (Some((index, title)), None) => Ok(Column { index, title: title.clone() }),
            (Some(_), Some(_)) => Err(Failure::new(
                Ending::BadInput,
                format!("`{}` has two columns with the title `{title}`", self.name),
            )),
            (None, _) => {
                let failure =
                    Failure::new(Ending::BadInput, format!("`{}` has no column `{title}`", self.name));
                if self.titles.iter().any(|title| self.number(title).is_ok()) {
                    return Err(failure.help("its first line holds numbers: add a line of titles above it"));
                }
                Err(match nearest(title, self.titles.iter().map(String::as_str)) {
                    Some(word) => failure.help(format!("did you mean `{word}`?")),
                    None => failure.help(format!("its columns are {}", self.titles.join(", "))),
                })
            }
        }
    }

    /// Goes to the next row. False at the end, or after too many faults. A row with another number of cells than there are titles is
    /// a fault, and passed over.
    ///
    /// # Errors
    /// If the file cannot be read on.
    pub(crate) fn next_row(&mut self) -> Result<bool, Failure> {
        while self.faults.len() < FAULTS_MAX {
            let more = self.reader.read_record(&mut self.row);
            if !more.map_err(|why| Failure::unreadable(&format!("`{}`", self.name), why))? {
                return Ok(false);
            }
            self.rows += 1;
            let advice = (self.separator == b',').then_some("part columns with `;`, or write a point");
            match miscounted(self.row.len(), self.titles.len(), advice) {
                Some(what) => self.faults.push(format!("  line {} has {what}", self.line())),
                None => return Ok(true),
            }
        }
        Ok(false)
    }

    /// Line of the file at which this row begins.
    fn line(&self) -> u64 {
        self.row.position().map_or(0, csv::Position::line)
    }

    /// The text of a cell; none is a fault.
    pub(crate) fn text(&mut self, column: &Column) -> Option<String> {
        let found = self.row.get(column.index).filter(|text| !text.is_empty()).map(str::to_owned);
        if found.is_none() {
            self.fault(column, "it is empty");
        }
        found
    }

    /// The text of a cell, empty if there is none.
    pub(crate) fn text_or_empty(&self, column: &Column) -> String {
        self.row.get(column.index).unwrap_or("").to_owned()
    }

    /// A number that is not negative.
    pub(crate) fn amount(&mut self, column: &Column) -> Option<f64> {
        let text = self.text(column)?;
        match self.number(&text) {
            Ok(value) if value >= 0.0 && value.is_finite() => Some(value),
            Ok(value) if value < 0.0 => {
                self.fault(column, &format!("`{text}` is negative"));
                None
            }
            Ok(_) | Err(()) => {
                self.fault(column, &format!("`{text}` is no number"));
                None
            }
        }
    }

    /// A whole number.
    pub(crate) fn count(&mut self, column: &Column) -> Option<u64> {
        let text = self.text(column)?;
        let count = text.parse().ok().filter(|count| *count <= 1_000_000_000_u64);
        if count.is_none() {
            self.fault(column, &format!("`{text}` is no count (a whole number up to 1000000000)"));
        }
        count
    }

    /// A mark: yes or no.
    pub(crate) fn mark(&mut self, column: &Column) -> Option<bool> {
        let text = self.text_or_empty(column);
        match text.to_lowercase().as_str() {
            "1" | "yes" | "true" | "y" | "x" => Some(true),
            "0" | "no" | "false" | "n" | "" => Some(false),
            _ => {
                self.fault(
                    column,
                    &format!("`{text}` is no mark: 1 or 0, yes or no, true or false, x or nothing"),
                );
                None
            }
        }
    }

    fn number(&self, text: &str) -> Result<f64, ()> {
        let plain = if self.separator == b';' { text.replacen(',', ".", 1) } else { text.to_owned() };
        // What Rust reads besides digits (`inf`, `nan`) is no measured value.
        if plain.bytes().any(|byte| byte.is_ascii_alphabetic() && !byte.eq_ignore_ascii_case(&b'e')) {
            return Err(());
        }
        plain.parse().map_err(|_| ())
    }

    /// Notes what is wrong with a cell of this row.
    pub(crate) fn fault(&mut self, column: &Column, what: &str) {
        let line = self.line();
        if self.faults.len() < FAULTS_MAX {
            self.faults.push(format!("  line {line}, column `{}`: {what}", column.title));
        }
    }

    /// What has to be said after the last row.
    ///
    /// # Errors
    /// If there was a fault, or no row.
    pub(crate) fn finish(&self) -> Result<u64, Failure> {
        if !self.faults.is_empty() {
            let more = if self.faults.len() >= FAULTS_MAX { "\n  and maybe more" } else { "" };
            let message = format!("`{}` cannot be used:\n{}{more}", self.name, self.faults.join("\n"));
            return Err(Failure::new(Ending::BadInput, message)
                .help("correct or take out these rows; nothing was done"));
        }
        if self.rows == 0 {
            let failure = Failure::new(Ending::BadInput, format!("`{}` has titles but no rows", self.name));
            return Err(failure.help("expected one row for each observation"));
        }
        Ok(self.rows)
    }
}

/// What is wrong with a row that has another number of cells than there are titles: `2 cells, the titles are 1`. Where commas part
/// the cells, `advice` says how else a number with a decimal comma is written.
pub(crate) fn miscounted(cells: usize, titles: usize, advice: Option<&str>) -> Option<String> {
    let asked = match advice.filter(|_| cells > titles) {
        Some(advice) => format!(": is the comma a decimal comma? then {advice}"),
        None => String::new(),
    };
    (cells != titles).then(|| format!("{}, the titles are {titles}{asked}", counted(cells, "cell")))
}

/// The separator that the first line has most of, outside of quotes.
fn separator(head: &[u8]) -> u8 {
    let line = head.split(|byte| *byte == b'\n').next().unwrap_or(head);
    let mut quoted = false;
    let mut counts = [(b',', 0), (b';', 0), (b'\t', 0)];
    for byte in line {
        quoted ^= *byte == b'"';
        for (separator, count) in &mut counts {
            *count += u32::from(!quoted && byte == separator);
        }
    }
    // The first of the most frequent ones.
    counts.iter().rev().max_by_key(|(_, count)| *count).map_or(b',', |(separator, _)| *separator)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn log(text: &'static str) -> Result<Log, Failure> {
        Log::read("log.csv".to_owned(), Box::new(text.as_bytes()))
    }

    fn amounts(text: &'static str) -> Result<Vec<f64>, Failure> {
        let mut log = log(text)?;
        let column = log.column("time")?;
        let mut found = Vec::new();
        while log.next_row()? {
            found.extend(log.amount(&column));
        }
        log.finish().map(|_| found)
    }

    #[test]
    fn separators_marks_and_decimal_commas() {
        assert_eq!(amounts("id,time\n1, 2.5\n2,3e1\n").unwrap(), [2.5, 30.0]);
        assert_eq!(amounts("\u{feff}time;\"a, b\"\r\n2,5;x\r\n").unwrap(), [2.5]);
        assert_eq!(amounts("time\tid\n4\tx\n").unwrap(), [4.0]);
    }

    #[test]
    fn what_is_wrong_is_told_with_its_line() {
        let said = |text| amounts(text).unwrap_err().render(crate::ink::Ink::PLAIN);
        let page = said("time\n1\n-2\nabc\nnan\n\n3\n");
        assert!(page.contains("line 3, column `time`: `-2` is negative"), "{page}");
        assert!(page.contains("line 4, column `time`: `abc` is no number"), "{page}");
        assert!(page.contains("`nan` is no number"), "{page}");
        assert!(said("").contains("is empty"));
        assert!(said("time\n").contains("titles but no rows"));
        assert!(said("tme,x\n1,2\n").contains("did you mean `tme`?"));
        assert!(said("1,2\n1,2\n").contains("add a line of titles"));
        assert!(said("a,time\n1,\n").contains("line 2, column `time`: it is empty"));
    }

    #[test]
    fn a_row_has_as_many_cells_as_there_are_titles() {
        let said = |text| amounts(text).unwrap_err().render(crate::ink::Ink::PLAIN);
        let page = said("time\n3,5\n4\n");
        assert!(
            page.contains("line 2 has 2 cells, the titles are 1: is the comma a decimal comma?"),
            "{page}"
        );
        assert!(!page.contains("line 3"), "{page}");
        let page = said("a,time\n1,2\n1\n");
        assert!(page.contains("line 3 has 1 cell, the titles are 2\n"), "{page}");
        let page = said("a;time\n1;2;3\n");
        assert!(page.contains("line 2 has 3 cells, the titles are 2\n"), "{page}");
        let page = said("time\n1,1\n1,1\n1,1\n1,1\n1,1\n1,1\n");
        assert!(page.contains("line 6 has") && !page.contains("line 7"), "{page}");
    }
}
