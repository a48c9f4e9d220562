//! The proof that README shows is what the program prints.

use assert_cmd::Command;
use std::path::Path;

const START: &str = "<!-- proof -->\n```text\n";
const END: &str = "```\n<!-- end of proof -->";

/// The screen of the default line, down to the levels.
fn screen() -> String {
    let output = Command::cargo_bin("feedproof").expect("the program is built").arg("run").output();
    let output = output.expect("the program runs");
    assert!(output.status.success());
    let text = String::from_utf8(output.stdout).expect("the screen is text");
    let end = text.find("JAMS AND STOPS").expect("the screen has a section on jams");
    format!("{}\n", text[..end].trim_end())
}

#[test]
fn readme_shows_what_the_program_prints() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../README.md");
    let readme = std::fs::read_to_string(&path).expect("README is there");
    let from = readme.find(START).expect("README has a proof") + START.len();
    let to = from + readme[from..].find(END).expect("the proof has an end");
    let screen = screen();
    if std::env::var_os("UPDATE_README").is_some() {
        let renewed = format!("{}{}{}", &readme[..from], screen, &readme[to..]);
        std::fs::write(&path, renewed).expect("README can be written");
        return;
    }
    assert_eq!(&readme[from..to], screen, "renew it with UPDATE_README=1 cargo test -p sim-cli --test readme");
}
