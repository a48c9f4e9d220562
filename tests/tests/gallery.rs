//! Every line of the gallery whose batches move together runs, reaches its rate, and teaches what its note says.
//!
//! A lesson is tested on its figure: the line as it stands against the same with the one number changed that the note
//! speaks of, in the same shifts. Rates are means of three shifts of eight hours; the differences asked for are many
//! times their spread (a shift's rate varies by less than 1 % in all of them).

use feedproof_tests::shifts::Shifts;
use sim_core::balance;
use sim_core::kernel::{State, StationId};
use sim_core::scenario;

/// Shifts of one line.
const SHIFTS: u64 = 3;

macro_rules! line {
    ($name:literal) => {
        include_str!(concat!("../../scenarios/", $name, ".json"))
    };
}

fn run(text: &str) -> Shifts {
    Shifts::example(text, 1, SHIFTS)
}

/// The same line with one piece of its text changed.
fn changed(text: &str, from: &str, to: &str) -> Shifts {
    assert!(text.contains(from), "the line says {from}");
    Shifts::example(&text.replace(from, to), 1, SHIFTS)
}

#[test]
fn deck_screws_the_drivers_alone_set_the_rate_if_tubes_fill_during_the_stroke() {
    let text = line!("deck-screws-table");
    let line = run(text);
    assert!(line.rate() > 9.0, "{}", line.rate());
    // A stroke takes 3.4 + 0.45 x 5.2 s on the mean of the models: 10.45 a minute, less stops and bad screws.
    let working = line.share("drivers", State::Working) / 100.0;
    assert!((line.rate() / (10.4529 * working * 0.99) - 1.0).abs() < 0.01, "{} at {working}", line.rate());
    assert!(line.share("drivers", State::Starved) < 0.2);
    let slow = changed(text, r#""holds": 6, "time": "1.2 s""#, r#""holds": 6, "time": "9 s""#);
    assert!(slow.share("drivers", State::Starved) > 30.0 && slow.rate() < 7.0, "{}", slow.rate());
}

#[test]
fn rollers_a_slower_push_changes_nothing_a_weaker_lift_does() {
    let text = line!("roller-sticks");
    let line = run(text);
    assert!(line.rate() > 140.0, "{}", line.rate());
    let slow = changed(text, r#""push": "1.2 s""#, r#""push": "2.4 s""#);
    assert!((slow.rate() / line.rate() - 1.0).abs() < 0.005, "{} and {}", slow.rate(), line.rate());
    let weak = changed(text, r#""cleats": "38 /min""#, r#""cleats": "30 /min""#);
    assert!(weak.rate() < 142.0 && weak.rate() < line.rate() - 2.0, "{}", weak.rate());
}

#[test]
fn fuses_a_false_sensor_sends_boxes_out_short_only_while_the_line_waits() {
    let text = line!("fuse-blow");
    let line = run(text);
    assert!(line.rate() > 7.857, "{}", line.rate());
    let short = |shifts: &Shifts| {
        let ix = shifts.ix("box line");
        shifts.tallies.iter().map(|tally| tally.counts[ix].strokes_short).sum::<u64>()
    };
    // A fuse a second leaves about three looks, 0.3 s apart, at the last empty nest; a chance of 1 in 3000 at each; 12,700
    // boxes in three shifts: 14 short ones, and between 0 and 35 at odds of 1 in 100,000.
    assert!((1..=35).contains(&short(&line)), "{}", short(&line));
    let patient = changed(text, r#""reads_unloaded": true"#, r#""reads_unloaded": false"#);
    assert_eq!(short(&patient), 0, "what is read only when it is loaded can't be short");
}

#[test]
fn beads_the_stock_on_the_rows_carries_a_jam_and_a_faster_feed_does_not() {
    let text = line!("bead-rows");
    let line = run(text);
    assert!(line.rate() > 420.0, "{}", line.rate());
    let bare = changed(text, r#""type": "track", "capacity": 28"#, r#""type": "track", "capacity": 3"#);
    let faster = changed(text, r#""push": "0.4 s""#, r#""push": "0.3 s""#);
    let loss = |shifts: &Shifts| 428.2 - shifts.rate();
    assert!(loss(&bare) > loss(&line) + 1.0, "{} and {}", loss(&bare), loss(&line));
    assert!((loss(&faster) - loss(&line)).abs() < 0.4, "{} and {}", loss(&faster), loss(&line));
}

#[test]
fn brackets_what_one_hand_brings_more_than_the_other_is_worth_nothing() {
    let text = line!("bracket-robot");
    let line = run(text);
    assert!(line.rate() > 14.0, "{}", line.rate());
    // Only the left lift made faster: nothing is gained. Only the right one made slower: all of it is lost.
    let (left, right) = (
        r#""id": "left lift", "type": "elevator", "cleats": "27 /min""#,
        r#""id": "right lift", "type": "elevator", "cleats": "27 /min""#,
    );
    let more = changed(text, left, &left.replace("27", "40"));
    assert!((more.rate() / line.rate() - 1.0).abs() < 0.004, "{} and {}", more.rate(), line.rate());
    let less = changed(text, right, &right.replace("27", "18"));
    assert!(less.rate() < 13.5, "{}", less.rate());
}

#[test]
fn dispensers_are_starved_most_by_the_springs() {
    let text = line!("dispenser-kit");
    let line = run(text);
    assert!(line.rate() > 64.0, "{}", line.rate());
    let assembly = StationId(line.ix("assembly") as u16);
    let missing = |inlet: usize| line.mean(|tally| tally.missing_of(assembly)[inlet] as f64);
    let all: f64 = (0..4).map(missing).sum();
    assert!(missing(1) > 0.5 * all, "springs {} of {all}", missing(1));
    let mended = changed(text, r#""per_part": "1 in 1200""#, r#""per_part": "1 in 12000""#);
    assert!(mended.rate() > line.rate() * 1.005, "{} and {}", mended.rate(), line.rate());
}

#[test]
fn clips_five_paths_do_and_four_do_not() {
    let text = line!("clip-five-paths");
    let line = run(text);
    assert!(line.rate() > 230.0, "{}", line.rate());
    let account = line.ix("path 1");
    let passed = line.mean(|tally| tally.counts[account].exits[0] as f64 / tally.counts[account].took as f64);
    assert!((passed - 0.244).abs() < 0.005, "one in four: {passed}");
    let four = changed(text, r#""count": 5"#, r#""count": 4"#);
    assert!(four.rate() < 215.0, "{}", four.rate());
}

#[test]
fn hinges_the_last_head_of_a_cascade_shows_what_the_feeder_has_in_hand() {
    let text = line!("rivet-heads");
    let line = run(text);
    assert!(line.rate() > 108.0, "{}", line.rate());
    let starved = |shifts: &Shifts, head: &str| shifts.share(head, State::Starved);
    assert!(starved(&line, "head 5") > starved(&line, "head 1"));
    let slow = changed(
        text,
        r#""time": "0.7 s", "time_with_turn": "1.05 s""#,
        r#""time": "0.8 s", "time_with_turn": "1.2 s""#,
    );
    // The two selectors bring 111.9 a minute then: the first head has its 23.8 all the same, the last one the rest.
    assert!(
        starved(&slow, "head 1") < 1.0 && starved(&slow, "head 5") > 20.0,
        "{}",
        starved(&slow, "head 5")
    );
}

/// Without stops, foreign and bad parts every line comes to what its balance says it can: 1 % less for the start, and
/// for what waits on chance.
#[test]
fn without_stops_the_lines_come_to_the_limit_of_their_balance() {
    let lines = [
        ("deck-screws-table", line!("deck-screws-table")),
        ("roller-sticks", line!("roller-sticks")),
        ("fuse-blow", line!("fuse-blow")),
        ("bead-rows", line!("bead-rows")),
        ("bracket-robot", line!("bracket-robot")),
        ("dispenser-kit", line!("dispenser-kit")),
        ("clip-five-paths", line!("clip-five-paths")),
        ("rivet-heads", line!("rivet-heads")),
    ];
    for (name, text) in lines {
        let mut file: serde_json::Value = serde_json::from_str(text).expect("it is JSON");
        for station in file["stations"].as_array_mut().expect("a list") {
            station.as_object_mut().expect("an object").remove("jams");
        }
        for part in file["parts"].as_object_mut().expect("an object").values_mut() {
            part.as_object_mut().expect("an object").remove("conditions");
        }
        let text = file.to_string();
        let scenario = scenario::read(&text).scenario.expect("it is sound");
        let most = balance::solve(&scenario).expect("a balance").most_per_min.expect("a limit");
        let rate = run(&text).rate();
        assert!(rate <= most * 1.0005 && rate >= most * 0.985, "{name}: {rate} of {most}");
    }
}
