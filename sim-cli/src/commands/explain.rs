//! `feedproof explain`: more about a problem that was reported.

use crate::ending::{Ending, Failure};
use crate::explanations::{ALL, Explanation};
use crate::ink::Ink;
use crate::screen::{self, WIDTH, wrap};
use sim_core::text::suggest::nearest;

/// What to explain.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The code that stands in brackets under a message; left out: lists all codes
    code: Option<String>,
}

/// Prints the explanation, or all codes.
pub(super) fn explain(args: &Args) -> Result<Ending, Failure> {
    let ink = Ink::of_stdout();
    let page = match &args.code {
        None => {
            let line = |e: &Explanation| wrap(e.meaning, &format!("{:<19}", e.code), &" ".repeat(19), WIDTH);
            ALL.iter().map(line).collect()
        }
        Some(code) => {
            let code = code.trim_matches(['[', ']']);
            let explanation = ALL.iter().find(|e| e.code == code).ok_or_else(|| unknown(code))?;
            render(explanation, ink)
        }
    };
    screen::print(&page)?;
    Ok(Ending::Done)
}

fn render(explanation: &Explanation, ink: Ink) -> String {
    let mut page = format!("{}: {}\n\n", ink.bold(explanation.code), explanation.meaning);
    page.push_str(&wrap(explanation.more, "", "", WIDTH));
    for (title, example) in [("wrong", explanation.wrong), ("right", explanation.right)] {
        if !example.is_empty() {
            page.push_str(&format!("\n{title}:\n    {}\n", example.replace('\n', "\n    ")));
        }
    }
    page
}

fn unknown(code: &str) -> Failure {
    let failure = Failure::new(Ending::BadInput, format!("no problem has the code `{code}`"));
    match nearest(code, ALL.iter().map(|e| e.code)) {
        Some(near) => failure.help(format!("did you mean `{near}`?")),
        None => failure.help("`feedproof explain` lists all codes"),
    }
}
