//! Writing to standard output and standard error.
//!
//! Invariants: a reader that has gone away (`| head`) ends the output without a word; text from files cannot send
//! control characters to a terminal.

use crate::ending::{Ending, Failure};
use std::io::{self, ErrorKind, IsTerminal, Write};
use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

/// Columns of a page.
pub(crate) const WIDTH: usize = 80;
/// Columns of a table on a terminal that has room, at most.
const WIDEST: u16 = 132;

/// Columns that a table may take on standard output: more than [`WIDTH`] where a terminal has them.
pub(crate) fn columns() -> usize {
    let width = terminal_size::terminal_size_of(io::stdout()).map(|(width, _)| width.0.min(WIDEST));
    width.map_or(WIDTH, usize::from).max(WIDTH)
}

/// Whether standard output is a terminal that can show small pictures of blocks.
pub(crate) fn draws() -> bool {
    let locale = ["LC_ALL", "LC_CTYPE", "LANG"].into_iter().filter_map(|name| std::env::var(name).ok());
    let locale = locale.into_iter().find(|value| !value.is_empty()).unwrap_or_default().to_lowercase();
    let is_dumb = std::env::var_os("TERM").is_none_or(|term| term == "dumb");
    io::stdout().is_terminal() && !is_dumb && (locale.contains("utf-8") || locale.contains("utf8"))
}

/// Prints a page on standard output.
///
/// # Errors
/// If it cannot be written; a closed pipe is no error.
pub(crate) fn print(page: &str) -> Result<(), Failure> {
    let mut stdout = io::stdout().lock();
    written(stdout.write_all(page.as_bytes()).and_then(|()| stdout.flush()))
}

/// A result as a JSON document for people and programs, with a line feed at its end.
///
/// # Errors
/// If it is no JSON, which would be a fault of the program.
pub(crate) fn json(result: &impl serde::Serialize) -> Result<String, Failure> {
    let text = serde_json::to_string_pretty(result);
    let text = text.map_err(|why| Failure::new(Ending::Failed, format!("the result is no JSON: {why}")))?;
    Ok(text + "\n")
}

/// What became of writing to standard output.
///
/// # Errors
/// As [`print()`].
pub(crate) fn written(result: io::Result<()>) -> Result<(), Failure> {
    match result {
        Ok(()) => Ok(()),
        Err(error) if error.kind() == ErrorKind::BrokenPipe => Ok(()),
        Err(error) => Err(Failure::new(Ending::Failed, format!("cannot write to standard output: {error}"))),
    }
}

/// Prints a message on standard error. Nobody can be told if that fails.
pub(crate) fn say(message: &str) {
    let _ = io::stderr().lock().write_all(message.as_bytes());
}

/// The text with every control character but the line feed replaced.
pub(crate) fn safe(text: &str) -> String {
    text.chars().map(|c| if c.is_control() && c != '\n' { '\u{fffd}' } else { c }).collect()
}

/// Columns that a text takes; marks of [`Ink`](crate::ink::Ink) take none.
pub(crate) fn width(text: &str) -> usize {
    let mut pieces = text.split('\x1b');
    let first = pieces.next().map_or(0, UnicodeWidthStr::width);
    first + pieces.map(|piece| piece.split_once('m').map_or(0, |(_, rest)| rest.width())).sum::<usize>()
}

/// The first of these letters, as many as fit in `columns`.
pub(crate) fn beginning(letters: impl Iterator<Item = char>, columns: usize) -> String {
    let mut used = 0;
    let fits = |letter: &char| {
        used += letter.width().unwrap_or(0);
        used <= columns
    };
    letters.take_while(fits).collect()
}

/// As much of the beginning of `text` as fits in `columns`; ends in `..` if something was left out.
pub(crate) fn clip(text: &str, columns: usize) -> String {
    if width(text) <= columns {
        return text.to_owned();
    }
    beginning(text.chars(), columns.saturating_sub(2)) + ".."
}

/// The text in lines of at most `columns`, each with `indent` before it, and with `first` instead before the first one.
pub(crate) fn wrap(text: &str, first: &str, indent: &str, columns: usize) -> String {
    let mut page = String::new();
    let mut line = first.to_owned();
    let mut is_fresh = true;
    for word in text.split_whitespace() {
        if !is_fresh && width(&line) + 1 + width(word) > columns {
            page.push_str(line.trim_end());
            page.push('\n');
            line = indent.to_owned();
            is_fresh = true;
        }
        if !is_fresh {
            line.push(' ');
        }
        line.push_str(word);
        is_fresh = false;
    }
    page.push_str(line.trim_end());
    page.push('\n');
    page
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_text_is_wrapped_and_clipped() {
        assert_eq!(wrap("one two three four", "- ", "  ", 9), "- one two\n  three\n  four\n");
        assert_eq!(wrap("", "  ", "  ", 9), "\n");
        assert_eq!(wrap("averyveryverylongword x", "", "", 5), "averyveryverylongword\nx\n");
        assert_eq!(clip("abcdef", 6), "abcdef");
        assert_eq!(clip("abcdefg", 6), "abcd..");
    }

    #[test]
    fn a_file_cannot_send_escapes_to_a_terminal() {
        assert_eq!(safe("a\x1b[31mb\r\n"), "a\u{fffd}[31mb\u{fffd}\n");
    }
}
