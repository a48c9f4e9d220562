//! Pages for people: the files of `--report`, `--xlsx` and `draw`. How they look is tested in a browser.

mod desk;

use desk::Desk;

#[test]
fn a_report_needs_nothing_else_and_is_the_same_again() {
    let desk = Desk::new();
    let args = ["run", "starter", "--replications", "5", "--report", "a.html", "--xlsx", "a.xlsx"];
    let done = desk.run(&args);
    assert_eq!((done.status, done.err.as_str()), (0, ""));
    let page = desk.get("a.html");
    // Addresses occur nowhere but as the name of the language of drawings.
    let outside = page.replace("http://www.w3.org/2000/svg", "");
    assert!(!outside.contains("://") && !outside.contains("<link") && !outside.contains("@import"));
    for id in
        ["promise", "rate", "losses", "line", "stations", "limits", "levels", "course", "stops", "inputs"]
    {
        assert!(page.contains(&format!("<section id=\"{id}\"")), "no section {id}");
    }
    assert!(page.contains("feedproof run starter --replications 5 --seed 1"), "the command is not there");
    let book = std::fs::read(desk.at("a.xlsx")).expect("the workbook is there");
    desk.run(&args);
    assert!(page == desk.get("a.html"), "the same run gives another page");
    assert!(book == std::fs::read(desk.at("a.xlsx")).expect("the workbook is there"), "another workbook");
    assert_eq!(desk.names("."), ["a.html", "a.xlsx"], "drafts are left over");
}

#[test]
fn a_page_that_cannot_be_written_is_told_before_anything_is_simulated() {
    let desk = Desk::new();
    // So many shifts would take far longer than a test may.
    let args = ["run", "--replications", "1000000", "--report", "missing/a.html"];
    let done = desk.run(&args);
    assert_eq!((done.status, done.out.as_str()), (1, ""));
    assert!(done.err.contains("missing/a.html"), "{}", done.err);
}

#[test]
fn a_drawing_is_written_once_and_replaced_on_demand() {
    let desk = Desk::new();
    let drawn = desk.run(&["draw", "starter"]);
    assert!(drawn.status == 0 && drawn.out.starts_with("<svg") && drawn.out.ends_with("</svg>\n"));
    assert_eq!(desk.run(&["draw", "starter", "--out", "line.svg"]).status, 0);
    assert_eq!(desk.get("line.svg"), drawn.out);
    assert_eq!(desk.run(&["draw", "starter", "--out", "line.svg", "--flow", "down"]).status, 1);
    assert_eq!(desk.run(&["draw", "starter", "--out", "line.svg", "--flow", "down", "--force"]).status, 0);
    assert_ne!(desk.get("line.svg"), drawn.out);
}
