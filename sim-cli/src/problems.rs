//! What is wrong with a file, laid out for a person.
//!
//! Each problem shows what is wrong, where (line, column, path in the file), the line with the place underlined, what was
//! expected and what to do. It decides nothing; the diagnostics come as they are. Invariant: no line of a file, however
//! long, makes a line of the page longer than a screen.

use crate::ink::Ink;
use crate::screen::{WIDTH, safe, width, wrap};
use sim_core::diag::{Diagnostic, Diagnostics, Severity, Span, line_column};

/// Problems that are laid out; a list of a thousand wrong values is one mistake.
const SHOWN_MAX: usize = 60;

/// All problems of a file, or the first of very many, and a closing line.
pub(crate) fn page(problems: &[Diagnostic], file: &str, source: &str, ink: Ink) -> String {
    let mut page = String::new();
    for problem in problems.iter().take(SHOWN_MAX) {
        page.push_str(&render(problem, file, source, ink));
        page.push('\n');
    }
    if problems.len() > SHOWN_MAX {
        let more = counted(problems.len() - SHOWN_MAX, "more problem");
        page.push_str(&format!("... and {more}\n\n"));
    }
    page.push_str(&closing(problems, file));
    page
}

/// One problem.
fn render(problem: &Diagnostic, file: &str, source: &str, ink: Ink) -> String {
    let (word, mark) = match problem.severity {
        Severity::Error => (ink.bad("error:"), ink.bad("^")),
        Severity::Warning => (ink.warn("warning:"), ink.warn("^")),
    };
    let mut page = wrap(&safe(&problem.message), &format!("{word} "), "  ", WIDTH);
    page.push_str(&place(&problem.path, problem.span, file, source));
    page.push_str(&excerpt(source, problem.span, &mark));
    if let Some(expected) = &problem.expected {
        // What is usual is not expected.
        let label = if expected.starts_with("usual: ") { "  " } else { "  expected: " };
        page.push_str(&wrap(&safe(expected), label, "    ", WIDTH));
    }
    if let Some(help) = &problem.help {
        page.push_str(&wrap(&safe(help), "  help: ", "    ", WIDTH));
    }
    if let Some((span, why)) = &problem.related {
        let (line, column) = line_column(source, span.start);
        page.push_str(&wrap(&safe(why), &format!("  see {line}:{column}: "), "    ", WIDTH));
        page.push_str(&excerpt(source, *span, &ink.faint("-")));
    }
    page.push_str(&format!("  {}\n", ink.faint(&format!("[{}]", problem.code))));
    page
}

fn place(path: &str, span: Span, file: &str, source: &str) -> String {
    let (line, column) = line_column(source, span.start);
    let place = format!("  at {}:{line}:{column}", safe(file));
    if path.is_empty() { format!("{place}\n") } else { format!("{place}, {}\n", safe(path)) }
}

/// The line at the beginning of `span`, with that much of the span underlined as stands on it.
fn excerpt(source: &str, span: Span, mark: &str) -> String {
    let start = source.floor_char_boundary(span.start.min(source.len()));
    let end = source.ceil_char_boundary(span.end.clamp(start, source.len()));
    let line_start = source[..start].rfind('\n').map_or(0, |newline| newline + 1);
    let line_end = source[start..].find('\n').map_or(source.len(), |newline| start + newline);
    let number = line_column(source, start).0.to_string();
    let margin = number.len().max(5);
    let room = WIDTH - margin - 4;
    let clean = |text: &str| safe(&text.trim_start_matches('\u{feff}').replace(['\t', '\r', '\n'], " "));
    let before = tail(&clean(&source[line_start..start]), room / 2);
    let marked = head(&clean(&source[start..end.min(line_end)]), room - width(&before));
    let after = head(&clean(&source[end.min(line_end)..line_end]), room - width(&before) - width(&marked));
    let n_marks = width(&marked).max(1);
    format!(
        "{number:>margin$} | {}\n{:margin$} | {}{}\n",
        format!("{before}{marked}{after}").trim_end(),
        "",
        " ".repeat(width(&before)),
        mark.repeat(n_marks)
    )
}

/// The beginning of `text`, at most `columns` wide.
fn head(text: &str, columns: usize) -> String {
    let mut used = 0;
    let fits = |c: &char| {
        used += width(c.encode_utf8(&mut [0; 4]));
        used <= columns
    };
    text.chars().take_while(fits).collect()
}

/// The end of `text`, at most `columns` wide; begins with `..` if something was left out.
fn tail(text: &str, columns: usize) -> String {
    if width(text) <= columns {
        return text.to_owned();
    }
    let turned: String = text.chars().rev().collect();
    format!("..{}", head(&turned, columns.saturating_sub(2)).chars().rev().collect::<String>())
}

/// `2 errors and 1 warning in line.json`, and where more is told.
fn closing(problems: &[Diagnostic], file: &str) -> String {
    let of = |severity| problems.iter().filter(|problem| problem.severity == severity).count();
    let (errors, warnings) = (of(Severity::Error), of(Severity::Warning));
    let counts = match (errors, warnings) {
        (0, n) => counted(n, "warning"),
        (n, 0) => counted(n, "error"),
        (e, w) => format!("{} and {}", counted(e, "error"), counted(w, "warning")),
    };
    let more = if problems.len() >= Diagnostics::LIMIT { "; there may be more" } else { "" };
    let mut text = format!("{counts} in {}{more}", safe(file));
    let first = problems.iter().find(|p| p.severity == Severity::Error).or(problems.first());
    if let Some(first) = first {
        text.push_str(&format!("; `feedproof explain {}` tells more", first.code));
    }
    wrap(&text, "", "  ", WIDTH)
}

/// `1 error`, `2 errors`.
pub(crate) fn counted(n: usize, word: &str) -> String {
    format!("{n} {word}{}", if n == 1 { "" } else { "s" })
}

#[cfg(test)]
mod tests {
    use super::*;
    use sim_core::diag::{Place, Problem, code};

    #[test]
    fn however_long_the_line_the_place_is_in_sight() {
        let source = format!("{}x{}", "a".repeat(500), "b".repeat(500));
        let text = excerpt(&source, Span::new(500, 501), "^");
        let lines: Vec<&str> = text.lines().collect();
        assert!(lines.iter().all(|line| width(line) <= WIDTH), "{text}");
        assert_eq!(lines[0].find('x'), lines[1].find('^'));
        let whole = excerpt(&source, Span::new(0, 1001), "^");
        assert!(whole.lines().all(|line| width(line) <= WIDTH), "{whole}");
    }

    #[test]
    fn places_past_the_end_and_inside_characters_do_no_harm() {
        for span in [Span::new(0, 0), Span::new(1, 2), Span::new(99, 200), Span::new(5, 1)] {
            for source in ["", "é", "\u{feff}{}", "a\n\tb\r\n"] {
                assert!(excerpt(source, span, "^").contains('^'), "{span:?} in {source:?}");
            }
        }
    }

    #[test]
    fn a_problem_shows_all_that_it_knows() {
        let source = "{\n  \"speed\": \"30 ft\"\n}";
        let place = Place { span: Span::new(13, 20), path: "stations[\"lift\"].speed".to_owned() };
        let problem = Problem::new(code::UNIT_WRONG_KIND, "`30 ft` is a length")
            .expected("a speed")
            .help("add a time")
            .related(Span::new(4, 11), "the key");
        let problem = Diagnostic::new(Severity::Error, place, problem);
        assert_eq!(
            page(&[problem], "line.json", source, Ink::PLAIN),
            concat!(
                "error: `30 ft` is a length\n",
                "  at line.json:2:12, stations[\"lift\"].speed\n",
                "    2 |   \"speed\": \"30 ft\"\n",
                "      |            ^^^^^^^\n",
                "  expected: a speed\n",
                "  help: add a time\n",
                "  see 2:3: the key\n",
                "    2 |   \"speed\": \"30 ft\"\n",
                "      |   -------\n",
                "  [unit-wrong-kind]\n",
                "\n",
                "1 error in line.json; `feedproof explain unit-wrong-kind` tells more\n",
            )
        );
    }
}
