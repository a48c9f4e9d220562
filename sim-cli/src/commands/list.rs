//! `feedproof list`: the lines that are built in, and what each shows.

use crate::builtin;
use crate::ending::{Ending, Failure};
use crate::ink::Ink;
use crate::screen::{self, WIDTH, wrap};

/// Lists the built-in lines.
pub(super) fn list() -> Result<Ending, Failure> {
    let ink = Ink::of_stdout();
    let mut page = String::new();
    for line in builtin::ALL {
        let first = if line.name == builtin::default().name { " (run when no file is named)" } else { "" };
        page.push_str(&format!("{}{first}\n", ink.bold(line.name)));
        page.push_str(&wrap(&line.title(), "    ", "    ", WIDTH));
        page.push_str(&wrap(&line.lesson(), "    ", "    ", WIDTH));
        page.push('\n');
    }
    page.push_str("feedproof run NAME             runs one of them\n");
    page.push_str("feedproof show NAME            prints its file\n");
    page.push_str("feedproof new FILE --like NAME starts a file of your own from it\n");
    screen::print(&page)?;
    Ok(Ending::Done)
}
