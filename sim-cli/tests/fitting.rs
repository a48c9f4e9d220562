//! `feedproof fit`, as a user meets it.

mod desk;

use desk::{Desk, starter_with};

/// 20 units, test stopped at 500 h: NIST/SEMATECH e-Handbook of Statistical Methods, section 8.4.1.3.
const STOPPED: &str = include_str!("../../tests/data/times/test-stopped.csv");

fn json(text: &str) -> serde_json::Value {
    serde_json::from_str(text).unwrap_or_else(|why| panic!("{why}: {text}"))
}

#[test]
fn times_with_cut_offs_are_fitted() {
    let desk = Desk::new();
    desk.put("log.csv", STOPPED);
    let args = ["fit", "log.csv", "--column", "hours", "--censored", "stopped", "--unit", "h"];
    let done = desk.run(&args);
    assert_eq!((done.status, done.err.as_str()), (0, ""), "{}", done.out);
    for said in ["20 times", "10 of them", "weibull", "shape", "TO PASTE", "Few: 10 times that ended"] {
        assert!(done.out.contains(said), "`{said}` in {}", done.out);
    }
    let found = json(&desk.run(&[&args[..], &["--json"]].concat()).out);
    let laws = found["laws"].as_array().expect("a list");
    let weibull = laws.iter().find(|fit| fit["law"] == "weibull").expect("it is fitted");
    // 1.7208 and 606.53 in the handbook, from memory.
    let shape = weibull["parameters"][0]["value"].as_f64().expect("a number");
    assert!((shape - 1.7208).abs() < 5e-5, "{shape}");
    let text = json(&desk.run(&[&args[..], &["--paste", "weibull"]].concat()).out);
    assert_eq!(text["scale"], "606.528 h");
    assert_eq!(desk.run(&args).out, done.out, "the same seed gives the same page");
}

#[test]
fn what_is_pasted_runs() {
    let desk = Desk::new();
    let rows: String = (1..40).map(|k| format!("{}\n", 20 + (k * 37) % 41)).collect();
    desk.put("clearing.csv", &format!("time\n{rows}"));
    for law in ["proposed", "exponential", "weibull", "lognormal", "gamma", "observed"] {
        let done = desk.run(&["fit", "clearing.csv", "--bootstrap", "20", "--paste", law]);
        assert_eq!((done.status, done.err.as_str()), (0, ""), "{law}");
        desk.put("line.json", &starter_with(r#"{ "mean": "25 s", "spread": "10 s" }"#, done.out.trim()));
        let checked = desk.run(&["check", "line.json"]);
        assert_eq!((checked.status, checked.err.as_str()), (0, ""), "{law}: {}", done.out);
    }
    desk.put("drops.csv", "attitude,seen\nflat,120\non edge,60\nflat,10\n");
    let attitudes = desk.run(&["fit", "drops.csv", "--kind", "drops", "--count", "seen", "--paste"]).out;
    let inside = attitudes.trim().trim_start_matches('{').trim_end_matches('}').trim().to_owned();
    assert_eq!(inside, r#""attitudes": { "flat": 130, "on edge": 60 }"#);
    let part = format!(r#""length": "30 mm", {inside}, "right_way": "flat","#);
    desk.put("line.json", &starter_with(r#""length": "30 mm","#, &part));
    let checked = desk.run(&["check", "line.json"]);
    assert_eq!(checked.status, 0, "{}", checked.err);
}

#[test]
fn trials_become_a_tool_that_a_path_takes() {
    let desk = Desk::new();
    let rows = [
        ("on edge", "flat", 30),
        ("on edge", "on edge", 15),
        ("on edge", "rejected", 15),
        ("flat", "flat", 40),
    ];
    let rows: String = rows.iter().map(|(a, b, n)| format!("{a};{b};{n}\n")).collect();
    desk.put("trials.csv", &format!("in;out;n\n{rows}"));
    let page = desk.run(&["fit", "trials.csv", "--kind", "trials", "--count", "n"]);
    assert_eq!((page.status, page.err.as_str()), (0, ""));
    assert!(page.out.contains("(rejected)") && page.out.contains("25 %"), "{}", page.out);
    let tool = desk.run(&["fit", "trials.csv", "--kind", "trials", "--count", "n", "--paste"]).out;
    let line = format!(
        r#"{{"feedproof": 1, "parts": {{"pin": {{"length": "20 mm", "right_way": "flat",
        "attitudes": {{"flat": 130, "on edge": 60}}}}}}, "stations": [
        {{"id": "feeder", "type": "work", "endless": true, "time": "1 s"}},
        {{"id": "path", "type": "orienting path", "speed": "5 m/min", "live_length": "1 m", "rejects_to": "belt",
          "tools": [{}], "to": "track", "spread": "longest idle", "priority": ["belt", "feeder"]}},
        {{"id": "belt", "type": "recirculation belt", "capacity": 50, "travel": "5 s", "to": "path"}},
        {{"id": "track", "type": "track", "capacity": 10, "travel": "1 s"}},
        {{"id": "press", "type": "machine", "cycle": "2 s", "to": "out"}}]}}"#,
        tool.trim()
    );
    desk.put("line.json", &line.replace(r#""time": "1 s"}"#, r#""time": "1 s", "to": "path"}"#));
    let checked = desk.run(&["check", "line.json"]);
    assert_eq!(checked.status, 0, "{}", checked.err);
}

#[test]
fn a_clock_is_turned_into_times() {
    let desk = Desk::new();
    desk.put("log.csv", "clock,unit,end\n5,a,0\n7,b,0\n6,a,0\n9,b,1\n");
    let args = ["fit", "log.csv", "--column", "clock", "--clock", "--of", "unit", "--censored", "end"];
    let found = json(&desk.run(&[&args[..], &["--json"]].concat()).out);
    // Times 5, 7, 1 and 2, of which the last was cut off.
    assert_eq!(
        (found["n"].as_u64(), found["n_ended"].as_u64(), found["total"].as_f64()),
        (Some(4), Some(3), Some(15.0))
    );
    let back = desk.run(&["fit", "log.csv", "--column", "clock", "--clock"]);
    assert_eq!(back.status, 2);
    assert!(back.err.contains("line 4, column `clock`: 6 is earlier than 7"), "{}", back.err);
}

#[test]
fn bad_logs_say_what_to_do() {
    let desk = Desk::new();
    for (text, args, said) in [
        ("time\n1\n-3\n", &[][..], "line 3, column `time`: `-3` is negative"),
        ("time\n1\n12 s\n", &[], "line 3, column `time`: `12 s` is no number"),
        ("", &[], "`log.csv` is empty"),
        ("time\n", &[], "has titles but no rows"),
        ("time,id\n1,2\n", &["--column", "tme"], "did you mean `time`?"),
        ("time,id\n1,2\n", &[], "add --column with one of: time, id"),
        ("1\n2\n3\n", &["--column", "time"], "its first line holds numbers"),
        ("time,end\n1,perhaps\n", &["--column", "time", "--ended", "end"], "`perhaps` is no mark"),
        ("time,n\n1,2.5\n", &["--column", "time", "--count", "n"], "`2.5` is no count"),
        ("time\n1\n", &["--unit", "mm"], "mm"),
        ("attitude\nflat\n", &["--kind", "drops", "--plot", "x.svg"], "--plot is for times only"),
        ("time\n1\n2\n", &["--paste", "normal"], "one of exponential"),
    ] {
        desk.put("log.csv", text);
        let done = desk.run(&[&["fit", "log.csv"], args].concat());
        assert_eq!((done.status, done.out.as_str()), (2, ""), "{text:?} {args:?}");
        assert!(done.err.contains(said), "{text:?} {args:?}: {}", done.err);
    }
    let missing = desk.run(&["fit", "nowhere.csv"]);
    assert!(missing.status == 2 && missing.err.contains("cannot read `nowhere.csv`"), "{}", missing.err);
}

#[test]
fn logs_that_say_little_are_told_so() {
    let desk = Desk::new();
    let said = |text: &str, args: &[&str]| {
        desk.put("log.csv", text);
        let done = desk.run(&[&["fit", "log.csv", "--column", "time"], args].concat());
        assert_eq!(done.status, 0, "{}", done.err);
        done.out.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    let none = said("time,cut\n100,1\n200,1\n", &["--censored", "cut"]);
    // 300 s without an end: the mean is above 300 / ln 20 = 100.142 s, 95 % sure.
    assert!(none.contains("their mean is above 100.142 s (95 % sure)"), "{none}");
    assert!(said("time\n3\n5\n4\n", &[]).contains("Too few: 3 times"));
    let zeros = said("time\n0\n5\n4\n", &[]);
    assert!(zeros.contains("weibull: not fitted, 1 times are zero"), "{zeros}");
    let sorted: String = (1..30).map(|k| format!("{k}\n")).collect();
    assert!(said(&format!("time\n{sorted}"), &[]).contains("in order of size"));
    let wearing: String = (1..40).map(|k| format!("{}\n", 1000 / (k + k % 3))).collect();
    assert!(said(&format!("time\n{wearing}"), &[]).contains("Trend: times get shorter"));
}

#[test]
fn the_plot_is_a_picture_of_each_law() {
    let desk = Desk::new();
    desk.put("log.csv", STOPPED);
    let args = ["fit", "log.csv", "--column", "hours", "--censored", "stopped", "--plot", "plot.svg"];
    assert_eq!(desk.run(&args).status, 0);
    let svg = desk.get("plot.svg");
    assert!(svg.starts_with("<svg") && svg.trim_end().ends_with("</svg>"));
    // Ten times that ended, in four panels.
    assert_eq!(svg.matches("<circle").count(), 40);
    assert!(!svg.contains("NaN") && !svg.contains("inf"), "{svg}");
}

/// What a command prints as JSON is what its schema says.
fn fits_schema(desk: &Desk, of: &str, document: &str) {
    let schema = json(&desk.run(&["schema", "--of", of]).out);
    let validator = jsonschema::validator_for(&schema).expect("a schema");
    let document = json(document);
    let wrong: Vec<String> = validator.iter_errors(&document).map(|why| why.to_string()).collect();
    assert!(wrong.is_empty(), "{of}: {wrong:?}");
}

#[test]
fn documents_are_what_their_schemas_say() {
    let desk = Desk::new();
    desk.put("log.csv", STOPPED);
    let times =
        ["fit", "log.csv", "--column", "hours", "--censored", "stopped", "--bootstrap", "9", "--json"];
    fits_schema(&desk, "times", &desk.run(&times).out);
    desk.put("drops.csv", "attitude\nflat\nup\n");
    fits_schema(&desk, "counts", &desk.run(&["fit", "drops.csv", "--kind", "drops", "--json"]).out);
    let line = starter_with(r#""shift": "8 h""#, r#""shift": "30 min""#);
    desk.put(
        "line.json",
        &line.replacen("\"plan\":", "\"run_off\": {\"length\": \"15 min\", \"most_jams\": 1}, \"plan\":", 1),
    );
    let run_off = ["runoff", "line.json", "--replications", "10", "--bad", "3", "--up-to", "0.5", "--json"];
    fits_schema(&desk, "run-off", &desk.run(&run_off).out);
    desk.put("shift.csv", "good,jams\n10,0\n12,0\n11,1\n10,0\n");
    let compared = [
        "match",
        "line.json",
        "shift.csv",
        "--every",
        "1 min",
        "--replications",
        "299",
        "--draws",
        "5",
        "--json",
    ];
    fits_schema(&desk, "match", &desk.run(&compared).out);
    let money = [
        "payback",
        "line.json",
        "--cost",
        "90000",
        "--labour",
        "25",
        "--lost-minute",
        "3",
        "--shifts",
        "400",
    ];
    let done = desk.run(&[&money[..], &["--replications", "5", "--json"]].concat());
    fits_schema(&desk, "pay-back", &done.out);
    let found = json(&done.out);
    // Half an hour a shift, 400 shifts, 25 an hour.
    assert_eq!(found["labour"].as_f64(), Some(5000.0));
    let page = desk.run(&[&money[..], &["--replications", "5"]].concat());
    assert_eq!((page.status, page.err.as_str()), (0, ""));
    assert!(page.out.contains("not paid back") && page.out.contains("labour replaced"), "{}", page.out);
}

/// Prices in the file: `run` shows the pay-back last, apart from the proof, with inputs as known and with ignorance; `payback` takes
/// from the file what it is not given.
#[test]
fn money_of_the_file_stands_apart_from_the_proof() {
    const MONEY: &str = r#""money": {"cost": 90000, "labour_per_hour": 25, "lost_minute": 3, "shifts_per_year": 400}, "plan":"#;
    let desk = Desk::new();
    desk.put("line.json", &starter_with(r#""plan":"#, MONEY));
    desk.put("plain.json", &starter_with(r#""plan":"#, r#""plan":"#));
    let run = ["run", "line.json", "--replications", "8", "--causes", "0"];
    let done = desk.run(&[&run[..], &["--draws", "0", "--json"]].concat());
    assert_eq!(done.status, 0, "{}", done.err);
    let result = json(&done.out);
    let found = &result["pay_back"];
    let real = |value: &serde_json::Value| value.as_f64().unwrap_or(f64::NAN);
    // 8 h of labour in each of 400 shifts, less the lost minutes.
    let minutes = real(&found["as_known"]["lost_minutes"][0]);
    assert_eq!(real(&found["labour"]), 80_000.0);
    assert!((real(&found["as_known"]["gain"][0]) - (80_000.0 - 1200.0 * minutes)).abs() < 1e-6, "{found:#}");
    let [known, with] =
        ["as_known", "with_ignorance"].map(|key| found[key].get("account").unwrap_or(&found[key]));
    let width =
        |account: &serde_json::Value| real(&account["lost_minutes"][2]) - real(&account["lost_minutes"][1]);
    assert!(width(with) > 0.0 && width(known) > 0.0, "{found:#}");
    let page = desk.run(&[&run[..], &["--draws", "0"]].concat()).out;
    for said in ["MONEY in a year, apart from the proof", "inputs as known", "with ignorance", "years until"]
    {
        assert!(page.contains(said), "`{said}` in {page}");
    }
    assert!(!desk.run(&["run", "plain.json", "--replications", "2", "--draws", "0"]).out.contains("MONEY"));
    let own = desk.run(&["payback", "line.json", "--replications", "8", "--cost", "1000", "--json"]);
    assert_eq!(own.status, 0, "{}", own.err);
    assert_eq!(
        (real(&json(&own.out)["prices"]["cost"]), real(&json(&own.out)["prices"]["lost_minute"])),
        (1000.0, 3.0)
    );
    let none = desk.run(&["payback", "plain.json", "--cost", "1000"]);
    assert_eq!((none.status, none.out.as_str()), (2, ""));
    assert!(none.err.contains("--labour") && none.err.contains("`money`"), "{}", none.err);
    desk.put("bad.json", &starter_with(r#""plan":"#, &MONEY.replace("90000", "-1")));
    let bad = desk.run(&["check", "bad.json"]);
    assert!(bad.status == 2 && bad.err.contains("out of range"), "{}", bad.err);
}
