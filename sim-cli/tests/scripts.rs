//! What scripts count on: exit statuses, files, JSON, CSV, pipes, interruptions.

mod desk;

use desk::{Desk, starter_with};
use serde_json::Value;
use std::io::Read;

fn json(text: &str) -> Value {
    serde_json::from_str(text).unwrap_or_else(|why| panic!("no JSON ({why}): {text}"))
}

#[test]
fn exit_statuses() {
    let desk = Desk::new();
    desk.put("hard.json", &starter_with("\"rate\": \"60 /min\"", "\"rate\": \"80 /min\""));
    desk.put("file", "");
    for (status, args) in [
        (0, &["run", "starter", "--replications", "3"][..]),
        (0, &["run", "starter", "--fail-unless-proved"]),
        (0, &["run", "hard.json"]),
        (3, &["run", "hard.json", "--fail-unless-proved"]),
        (3, &["run", "mm1", "--replications", "2", "--fail-unless-proved"]),
        (0, &["check", "hard.json"]),
        (2, &["run", "missing.json"]),
        (2, &["run", "."]),
        (2, &["check", "file"]),
        (2, &["run", "starter", "--replications", "0"]),
        (2, &["run", "starter", "--replications", "many"]),
        (2, &["run", "starter", "--colour"]),
        (2, &["walk"]),
        (2, &["show", "starer"]),
        (2, &["explain", "nonsense"]),
        (2, &["trace", "starter", "--station", "pres"]),
        (2, &["trace", "starter", "--from", "10"]),
        (1, &["run", "starter", "--replications", "3", "--out", "file"]),
        (1, &["new", "missing/line.json"]),
        (2, &["compare"]),
        (2, &["compare", "starter"]),
        (2, &["compare", "starter", "missing.json"]),
        (2, &["compare", "starter", "--set", "track"]),
        (2, &["compare", "starter", "--set", "trak.length=1 m"]),
        (2, &["compare", "starter", "--set", "track.length=-1 m"]),
        (2, &["compare", "starter", "hard.json", "--indifference", "0.2"]),
        (2, &["compare", "starter", "hard.json", "--replications", "20", "--at-most", "30"]),
        (0, &["compare", "starter", "hard.json", "--replications", "10"]),
        (1, &["compare", "starter", "hard.json", "--replications", "10", "--out", "file"]),
        (2, &["size", "starter", "--smallest"]),
        (2, &["size", "starter", "--vary", "track.length=0.3..1 m"]),
        (2, &["size", "starter", "--vary", "track.length=0.3..1 s", "--smallest"]),
        (2, &["size", "starter", "--vary", "track.length=1..0.3 m", "--smallest"]),
        (2, &["size", "starter", "--vary", "trak.length=0.3..1 m", "--smallest"]),
        (
            2,
            &[
                "size",
                "starter",
                "--vary",
                "track.length=0.3..1 m:0.1",
                "--vary",
                "stations[\"track\"].length=0.3..1 m:0.1",
                "--smallest",
            ],
        ),
        (2, &["size", "mm1", "--vary", "plan.seed=1..3", "--smallest"]),
    ] {
        let done = desk.run(args);
        assert_eq!(done.status, status, "{args:?}\n{}{}", done.out, done.err);
        assert_eq!(
            done.err.is_empty(),
            status == 0 || status == 3 && args[1] == "hard.json",
            "{args:?} {}",
            done.err
        );
    }
}

#[test]
fn a_slip_of_the_keyboard_is_answered_with_the_nearest_name() {
    let desk = Desk::new();
    for (args, near) in [
        (&["show", "starer"][..], "starter"),
        (&["run", "knob-two-path"], "knob-two-paths"),
        (&["explain", "unit-wrong-kin"], "unit-wrong-kind"),
        (&["trace", "starter", "--station", "escapment"], "escapement"),
    ] {
        let done = desk.run(args);
        assert!(done.err.contains("did you mean") && done.err.contains(near), "{args:?}: {}", done.err);
    }
}

#[test]
fn the_starter_runs_as_it_is_and_is_never_overwritten() {
    let desk = Desk::new();
    assert_eq!(desk.run(&["new", "line.json"]).status, 0);
    let starter = desk.get("line.json");
    assert_eq!(desk.run(&["check", "line.json"]).err, "");
    assert_eq!(desk.run(&["run", "line.json", "--fail-unless-proved"]).status, 0);
    desk.put("line.json", "mine");
    let done = desk.run(&["new", "line.json"]);
    assert_eq!((done.status, desk.get("line.json").as_str()), (1, "mine"), "{}", done.err);
    assert!(done.err.contains("exists already") && done.err.contains("--force"), "{}", done.err);
    assert_eq!(desk.run(&["new", "line.json", "--force"]).status, 0);
    assert_eq!(desk.get("line.json"), starter);
    assert_eq!(desk.run(&["new", "knobs.json", "--like", "knob-two-paths"]).status, 0);
    assert_eq!(desk.get("knobs.json"), desk.run(&["show", "knob-two-paths"]).out);
    assert_eq!(desk.names("."), ["knobs.json", "line.json"], "no drafts are left");
}

#[test]
fn every_built_in_line_is_valid_by_the_schema_and_the_schema_sees_what_is_wrong() {
    let desk = Desk::new();
    let schema = json(&desk.run(&["schema"]).out);
    let validator = jsonschema::validator_for(&schema).expect("the schema is one");
    for name in ["knob-two-paths", "starter", "ref12", "tandem", "mm1"] {
        let line = json(&desk.run(&["show", name]).out);
        let errors: Vec<String> = validator.iter_errors(&line).map(|error| error.to_string()).collect();
        assert!(errors.is_empty(), "{name}: {errors:?}");
    }
    let broken = json(&starter_with("\"travel\": \"3 s\"", "\"travell\": \"3 s\""));
    assert!(!validator.is_valid(&broken));
}

/// A line with a product sequence has a balance for each of its parts, on the page and as JSON.
#[test]
fn the_balance_is_valid_by_its_schema_and_there_for_each_run() {
    let desk = Desk::new();
    let schema = json(&desk.run(&["schema", "--of", "balance"]).out);
    let validator = jsonschema::validator_for(&schema).expect("the schema is one");
    for (name, parts) in
        [("starter", &[][..]), ("hook-family", &["hook 30", "hook 40", "hook 50", "hook 60"])]
    {
        let document = json(&desk.run(&["check", name, "--json"]).out);
        let errors: Vec<String> = validator.iter_errors(&document).map(|error| error.to_string()).collect();
        assert!(errors.is_empty(), "{name}: {errors:?}");
        let balances = document["balances"].as_array().expect("balances");
        let runs: Vec<&str> = balances.iter().filter_map(|balance| balance["run"].as_str()).collect();
        assert_eq!((balances.len(), &runs[..]), (parts.len().max(1), parts), "{name}");
        let page = desk.run(&["check", name]).out;
        for part in parts {
            assert!(page.contains(&format!("BALANCE of the run of `{part}`")), "{page}");
        }
    }
}

#[test]
fn the_keys_of_every_type_of_station_are_explained() {
    let desk = Desk::new();
    let all = desk.run(&["explain"]).out;
    for variant in sim_core::stations::catalogue::CATALOGUE {
        assert!(all.split_whitespace().collect::<Vec<_>>().join(" ").contains(variant.word), "{all}");
        let words: Vec<&str> = std::iter::once("explain").chain(variant.word.split(' ')).collect();
        let page = desk.run(&words);
        assert_eq!((page.status, page.err.as_str()), (0, ""), "{words:?}");
        assert!(
            page.out.starts_with(&format!("{}: ", variant.word)) && page.out.contains("\n  id "),
            "{}",
            page.out
        );
    }
    let slip = desk.run(&["explain", "air tub"]);
    assert!(slip.err.contains("did you mean `air tube`"), "{}", slip.err);
}

#[test]
fn the_result_is_valid_by_its_schema_and_the_same_on_any_number_of_threads() {
    let desk = Desk::new();
    let schema = json(&desk.run(&["schema", "--result"]).out);
    let validator = jsonschema::validator_for(&schema).expect("the schema is one");
    for args in [
        &["run", "starter", "--replications", "23", "--json"][..],
        &["run", "starter", "--json"],
        &["run", "knob-two-paths", "--replications", "5", "--json"],
        &["run", "starter", "--replications", "1", "--json"],
    ] {
        let alone = desk.run(&[args, &["--threads", "1"]].concat());
        assert_eq!((alone.status, alone.err.as_str()), (0, ""), "{args:?}");
        for threads in ["2", "7"] {
            let together = desk.run(&[args, &["--threads", threads]].concat());
            assert!(together.out == alone.out, "{args:?} on {threads} threads differs");
        }
        let result = json(&alone.out);
        let errors: Vec<String> = validator.iter_errors(&result).map(|error| error.to_string()).collect();
        assert!(errors.is_empty(), "{args:?}: {errors:?}");
        for station in result["stations"].as_array().expect("stations") {
            let states = station["states"].as_array().expect("states");
            let sum: f64 = states.iter().map(|state| state["share"]["mean"].as_f64().expect("a share")).sum();
            assert!((sum - 1.0).abs() < 1e-9, "{} adds up to {sum}", station["name"]);
        }
    }
    assert!(!validator.is_valid(&json("{\"seed\": \"one\"}")));
}

#[test]
fn a_folder_gets_all_that_was_found() {
    let desk = Desk::new();
    let args = ["run", "starter", "--replications", "12", "--seed", "3", "--out", "results/new", "--json"];
    let done = desk.run(&args);
    assert_eq!((done.status, done.err.as_str()), (0, ""));
    assert_eq!(desk.names("results/new"), ["replications.csv", "result.json", "stations.csv"]);
    assert_eq!(desk.get("results/new/result.json"), done.out);
    let result = json(&done.out);
    let table = desk.get("results/new/replications.csv");
    let mut rows = csv::Reader::from_reader(table.as_bytes());
    let column = rows.headers().expect("a header").iter().position(|name| name == "rate [parts/min]");
    let rates: Vec<f64> = rows
        .records()
        .map(|row| row.expect("a row")[column.expect("a rate")].parse().expect("a number"))
        .collect();
    assert_eq!(rates.len(), 12);
    let mean = rates.iter().sum::<f64>() / 12.0;
    let reported = result["rate"]["mean_rate"]["mean"].as_f64().expect("a mean");
    assert!((mean - reported).abs() < 1e-9, "{mean} in the table, {reported} in the result");
    let table = desk.get("results/new/stations.csv");
    let mut rows = csv::Reader::from_reader(table.as_bytes());
    let names: Vec<String> = rows.records().map(|row| row.expect("a row")[0].to_owned()).collect();
    assert_eq!(names, ["feeder", "track", "escapement", "press"]);
    // The files of a later run take the place of those of an earlier one.
    assert_eq!(desk.run(&["run", "starter", "--replications", "2", "--out", "results/new"]).status, 0);
    assert_eq!(desk.get("results/new/replications.csv").lines().count(), 3);
    assert_eq!(desk.names("results/new").len(), 3);
}

#[test]
fn standard_input_is_a_file_like_others() {
    let desk = Desk::new();
    let starter = desk.run(&["show", "starter"]).out;
    let piped = desk.run_with(&["run", "-", "--replications", "5", "--json"], &starter);
    let built_in = desk.run(&["run", "starter", "--replications", "5", "--json"]);
    assert_eq!((piped.status, piped.out), (0, built_in.out));
    let broken = desk.run_with(&["check", "-"], "{\"feedproof\": 1,}");
    assert_eq!(broken.status, 2);
    assert!(broken.err.contains("at standard input:1:17"), "{}", broken.err);
}

#[test]
fn bytes_that_are_no_text_are_refused() {
    let desk = Desk::new();
    std::fs::write(desk.at("line.json"), b"{\n\"a\": \"\xff\"}").expect("the test can write");
    let done = desk.run(&["check", "line.json"]);
    assert_eq!(done.status, 2);
    assert!(done.err.contains("UTF-8") && done.err.contains("line.json:2:7"), "{}", done.err);
}

/// The columns of a trace.
fn rows(trace: &str) -> Vec<Vec<String>> {
    let mut rows = csv::Reader::from_reader(trace.as_bytes());
    rows.records().map(|row| row.expect("a row").iter().map(str::to_owned).collect()).collect()
}

#[test]
fn a_trace_shows_the_shift_that_is_in_the_result() {
    let desk = Desk::new();
    let run = desk.run(&["run", "starter", "--replications", "3", "--seed", "5", "--out", "out"]);
    assert_eq!(run.status, 0, "{}", run.err);
    let table = desk.get("out/replications.csv");
    let mut reader = csv::Reader::from_reader(table.as_bytes());
    let column = reader.headers().expect("a header").iter().position(|name| name.starts_with("good_parts"));
    let good: Vec<f64> = reader
        .records()
        .map(|row| row.expect("a row")[column.expect("parts")].parse().expect("a number"))
        .collect();
    for (replication, good) in good.iter().enumerate() {
        let number = replication.to_string();
        let args = ["trace", "starter", "--seed", "5", "--replication", &number, "--station", "press"];
        let done = desk.run(&args);
        assert_eq!((done.status, done.err.as_str()), (0, ""));
        let rows = rows(&done.out);
        let made = rows.iter().filter(|row| row[2] == "gave" && row[5] == "good").count();
        assert_eq!(made as f64, *good, "replication {replication}");
        assert!(rows.iter().all(|row| row[1] == "press" || row[1] == "press hand"));
    }
}

#[test]
fn a_trace_can_be_a_window_and_some_stations() {
    let desk = Desk::new();
    let window = ["--from", "1 min", "--to", "2 min"];
    let all = desk.run(&[&["trace", "knob-two-paths"][..], &window].concat());
    let some = desk.run(&[&["trace", "knob-two-paths", "--station", "path", "track"][..], &window].concat());
    assert_eq!((all.status, some.status), (0, 0), "{}{}", all.err, some.err);
    let (all, some) = (rows(&all.out), rows(&some.out));
    let time = |row: &Vec<String>| row[0].parse::<f64>().expect("a time");
    assert!(all.iter().all(|row| (60.0..=120.0).contains(&time(row))));
    assert!(all.is_sorted_by_key(time), "in the order of time");
    let wanted = |row: &&Vec<String>| ["path 1", "path 2", "track"].contains(&row[1].as_str());
    assert!(!some.is_empty() && some.iter().filter(wanted).count() == some.len());
    assert_eq!(all.iter().filter(wanted).count(), some.len());
}

#[test]
fn a_reader_that_goes_away_ends_the_output_without_a_word() {
    let desk = Desk::new();
    let mut child = desk.program(&["trace", "tandem"]).spawn().expect("the program starts");
    let mut some = [0; 100];
    child.stdout.take().expect("piped").read_exact(&mut some).expect("a beginning");
    let output = child.wait_with_output().expect("the program ends");
    assert_eq!(output.status.code(), Some(0));
    assert_eq!(String::from_utf8_lossy(&output.stderr), "");
}

#[cfg(unix)]
mod interruptions {
    use super::*;
    use std::process::{Child, Command};
    use std::time::Duration;

    fn interrupt(child: &Child) {
        let done = Command::new("kill").args(["-INT", &child.id().to_string()]).status();
        assert!(done.expect("kill is there").success());
    }

    /// Waits until the draft of the table of replications has at least this many bytes.
    fn wait_for_draft(desk: &Desk, child: &mut Child, bytes: u64) {
        let is_there = || {
            let entries = std::fs::read_dir(desk.at("out")).ok()?;
            let mut sizes = entries.flatten().filter_map(|entry| Some(entry.metadata().ok()?.len()));
            sizes.find(|size| *size >= bytes)
        };
        while is_there().is_none() {
            assert_eq!(child.try_wait().expect("a child"), None, "it ended before it was interrupted");
            std::thread::sleep(Duration::from_millis(5));
        }
    }

    #[test]
    fn once_ends_cleanly_and_keeps_what_is_finished() {
        let desk = Desk::new();
        let args = ["run", "starter", "--replications", "100000000", "--out", "out"];
        let mut child = desk.program(&args).spawn().expect("the program starts");
        // The table is written in blocks: a block means that shifts are finished.
        wait_for_draft(&desk, &mut child, 1);
        interrupt(&child);
        let output = child.wait_with_output().expect("the program ends");
        let (out, err) = (String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
        assert_eq!(output.status.code(), Some(0), "{err}");
        assert!(err.contains("stopping"), "{err}");
        assert!(out.contains("INTERRUPTED"), "{out}");
        assert_eq!(desk.names("out"), ["replications.csv", "result.json", "stations.csv"]);
        let result = json(&desk.get("out/result.json"));
        let n_rows = desk.get("out/replications.csv").lines().count() as u64 - 1;
        assert_eq!(result["replications"].as_u64(), Some(n_rows));
        assert_eq!(result["stopped_because"], "cancelled");
    }

    #[test]
    fn twice_ends_at_once_and_leaves_nothing_behind() {
        let desk = Desk::new();
        // One shift takes longer than anybody waits.
        desk.put("long.json", &starter_with("\"shift\": \"8 h\"", "\"shift\": \"12 days\"").replace(
            "{ \"law\": \"triangular\", \"low\": \"0.5 s\", \"likely\": \"0.8 s\", \"high\": \"1.4 s\" }",
            "\"2 ms\"",
        ).replace("\"0.3 s\"", "\"2 ms\"").replace("\"0.7 s\"", "\"2 ms\"").replace("\"travel\": \"3 s\"", "\"travel\": \"0 s\""));
        let mut child =
            desk.program(&["run", "long.json", "--out", "out"]).spawn().expect("the program starts");
        wait_for_draft(&desk, &mut child, 0);
        interrupt(&child);
        let mut said = [0; 9];
        child.stderr.as_mut().expect("piped").read_exact(&mut said).expect("a word");
        assert_eq!(&said, b"\nstopping");
        interrupt(&child);
        let output = child.wait_with_output().expect("the program ends");
        assert_eq!(output.status.code(), Some(130));
        assert_eq!(output.stdout, b"");
        assert_eq!(desk.names("out"), [""; 0]);
    }
}

#[test]
fn comparisons_and_sizings_are_valid_by_their_schemas_and_the_same_on_any_number_of_threads() {
    let desk = Desk::new();
    desk.put("long.json", &starter_with("\"length\": \"1.2 m\"", "\"length\": \"1.8 m\""));
    for (of, args) in [
        (
            "comparison",
            &["compare", "starter", "long.json", "--set", "track.length=0.6 m", "--at-most", "40"][..],
        ),
        ("comparison", &["compare", "starter", "long.json", "--indifference", "0.1 /min", "--at-most", "60"]),
        (
            "sizing",
            &["size", "starter", "--vary", "press.cycle=0.6..1.2 s:0.05", "--largest", "--at-most", "60"],
        ),
    ] {
        let schema = json(&desk.run(&["schema", "--of", of]).out);
        let validator = jsonschema::validator_for(&schema).expect("the schema is one");
        let alone = desk.run(&[args, &["--json", "--threads", "1", "--out", "kept"]].concat());
        assert_eq!((alone.status, alone.err.as_str()), (0, ""), "{args:?}");
        let errors: Vec<String> =
            validator.iter_errors(&json(&alone.out)).map(|error| error.to_string()).collect();
        assert!(errors.is_empty(), "{args:?}: {errors:?}");
        assert_eq!(desk.get("kept/result.json"), alone.out);
        let together = desk.run(&[args, &["--json", "--threads", "3"]].concat());
        assert!(together.out == alone.out, "{args:?} on 3 threads differs");
    }
    // The lock stays, for a file that is taken away could be locked by two; the journals of what is done do not.
    assert_eq!(desk.names("kept"), [".lock", "differences.csv", "result.json"]);
    let table = desk.get("kept/differences.csv");
    assert!(
        table.starts_with(
            "first,second,measure,unit,difference,standard_error,low,high,pairs,variance_ratio\n"
        )
    );
    // One pair and four measures.
    assert_eq!(table.lines().count(), 5, "{table}");
}
