//! Pages for people: the files of `--report`, `--xlsx` and `draw`. How they look is tested in a browser.

mod desk;

use desk::Desk;

#[test]
fn a_report_needs_nothing_else_and_is_the_same_again() {
    let desk = Desk::new();
    let args =
        ["run", "starter", "--replications", "5", "--limits", "2", "--report", "a.html", "--xlsx", "a.xlsx"];
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
    assert!(section(&page, "limits").contains("What the rate gains if one number is relaxed"), "no ranking");
    let book = std::fs::read(desk.at("a.xlsx")).expect("the workbook is there");
    desk.run(&args);
    assert!(page == desk.get("a.html"), "the same run gives another page");
    assert!(book == std::fs::read(desk.at("a.xlsx")).expect("the workbook is there"), "another workbook");
    assert_eq!(desk.names("."), ["a.html", "a.xlsx"], "drafts are left over");
}

const SWEEP: &str = r#"{"feedproof_sweep": 1, "title": "Pace <and> room", "scenario": "starter", "factors": {
    "pace": {"set": "press.cycle", "values": ["0.65 s", "0.7 s", "1.1 s"]},
    "room": {"set": "track.length", "low": "0.3 m", "high": "0.9 m", "step": "0.3 m"}}, "replications": 3}"#;

/// A section of a page.
fn section<'p>(page: &'p str, id: &str) -> &'p str {
    let begin = page.find(&format!("<section id=\"{id}\"")).unwrap_or_else(|| panic!("no section {id}"));
    let end = page[begin..].find("</section>").expect("a section ends");
    &page[begin..begin + end]
}

#[test]
fn a_sweep_has_a_page_and_so_have_its_merged_parts() {
    let desk = Desk::new();
    desk.put("pace.json", SWEEP);
    let done = desk.run(&["sweep", "pace.json", "--out", "a", "--report", "a.html", "--xlsx", "a.xlsx"]);
    assert_eq!((done.status, done.err.as_str()), (0, ""));
    let page = desk.get("a.html");
    assert!(page.contains("<h1>Pace &lt;and&gt; room</h1>"), "the title is text");
    assert!(section(&page, "again").contains("feedproof sweep pace.json --out a"));
    assert!(
        section(&page, "file").contains("feedproof_sweep")
            && section(&page, "scenario").contains("escapement")
    );
    // A mean over points, taken anew from the archive.
    let rates: Vec<f64> = desk
        .get("a/sweep.csv")
        .lines()
        .filter(|row| row.contains(",rate,"))
        .map(|row| row.split(',').nth(3).and_then(|cell| cell.parse().ok()).expect("a mean"))
        .collect();
    assert_eq!(rates.len(), 9);
    let mean = rates[..3].iter().sum::<f64>() / 3.0;
    let output = section(&page, "output-1");
    let row = output
        .split("<tr>")
        .skip(1)
        .find(|row| row.contains(">pace [s]<") && row.contains(">0.65<"))
        .expect("a row");
    let shown: Vec<f64> =
        row.split(['<', '>']).filter_map(|text| text.parse().ok()).filter(|number| *number > 50.0).collect();
    assert!(shown.len() == 1 && (shown[0] - mean).abs() < 0.5, "{mean}, and not {row}");
    assert!(output.contains("heavy line parts cells of 60"), "what is promised is in the picture");
    // Finished, it is not run again for another page; merged parts have the same points.
    assert_eq!(desk.run(&["sweep", "pace.json", "--out", "a", "--report", "b.html"]).status, 0);
    assert!(page == desk.get("b.html"), "the same sweep gives another page");
    for part in ["1/2", "2/2"] {
        let folder = part.replace('/', "-");
        assert_eq!(desk.run(&["sweep", "pace.json", "--part", part, "--out", &folder]).status, 0);
    }
    let done = desk.run(&["merge", "1-2", "2-2", "--out", "c", "--report", "c.html"]);
    assert_eq!(done.status, 0, "{}", done.err);
    assert_eq!(section(&desk.get("c.html"), "points"), section(&page, "points"));
    let refused = desk.run(&["sweep", "pace.json", "--check", "--report", "d.html"]);
    assert_eq!(refused.status, 2, "a check has nothing for a page");
}

#[test]
fn pages_of_studies_tell_how_to_make_them_again() {
    let desk = Desk::new();
    let args = ["limits", "starter", "--replications", "2", "--threads", "1", "--json", "--report", "a.html"];
    assert_eq!(desk.run(&args).status, 0);
    let page = desk.get("a.html");
    assert!(section(&page, "again").contains("<dd>feedproof limits starter --replications 2</dd>"));
    let args = ["limits", "starter", "--replications", "2", "--threads=2", "--report=b.html"];
    assert_eq!(desk.run(&args).status, 0);
    assert!(page == desk.get("b.html"), "threads have a part in the page");
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
