//! The run-off as a page: the plan, the chance to pass it, the operating characteristic, the risks.

use super::heading;
use crate::ink::Ink;
use crate::numbers::{grouped, number, plain, stated};
use crate::problems::counted;
use crate::screen::{WIDTH, safe, wrap};
use crate::tables::Table;
use sim_core::run_off::{PassChance, PassLevel, RiskReport, RunOffResult, SmallestPlan};

/// Share of runs that kept a limit, if there is one.
type Kept = fn(&PassLevel) -> Option<f64>;

/// The whole page.
pub(crate) fn run_off(found: &RunOffResult, ink: Ink) -> String {
    let mut page = format!("{}\n", safe(found.title.as_deref().unwrap_or("A line without a title")));
    page.push_str(&wrap(&plan(found), "Run-off of ", "  ", WIDTH));
    page.push('\n');
    page.push_str(&now(found, ink));
    page.push('\n');
    page.push_str(&characteristic(found, ink));
    if let Some(risks) = &found.risks {
        page.push('\n');
        page.push_str(&risk_page(found, risks, ink));
    }
    page
}

/// The chance to pass now, with inputs as known and with what is not known of them.
fn now(found: &RunOffResult, ink: Ink) -> String {
    let mut page = heading("CHANCE TO PASS now", ink);
    let mut table = Table::new(&["", "chance", "from", "to"]);
    let row =
        |name: &str, [chance, low, high]: [f64; 3]| [name.to_owned(), share(chance), share(low), share(high)];
    let known = &found.now.pass;
    let name = if found.with_ignorance.is_some() { "inputs as known" } else { "inputs as stated" };
    table.row(row(name, [known.chance, known.low, known.high]));
    if let Some(with) = &found.with_ignorance {
        table.row(row("with ignorance", [with.chance, with.low, with.high]));
        table.row(row("- this line's own chance", [with.own_median, with.own_low, with.own_high]));
    }
    page.push_str(&table.render(ink));
    let mut words = format!(
        "{} of {} simulated run-offs passed{}; seed {}. From, to: what the simulation leaves open, at {}.",
        grouped(known.passed),
        grouped(known.n),
        if found.retries > 0 { " at the first try" } else { "" },
        found.seed,
        stated(found.level)
    );
    if let Some(with) = &found.with_ignorance {
        words.push_str(&format!(
            " With ignorance: luck pooled with what is left open by {} ({} draws, {} run-offs each). The own chance: median, and where \
             it lies with a probability of {}, given the evidence.",
            counted(with.pieces as usize, "piece") + " of evidence",
            grouped(with.draws),
            with.runs_each,
            stated(found.level)
        ));
    }
    page.push_str(&wrap(&words, "  ", "  ", WIDTH));
    page
}

fn plan(found: &RunOffResult) -> String {
    let mut limits = Vec::new();
    if let Some(rate) = found.least_rate {
        let kind = if found.net { "net" } else { "gross" };
        limits.push(format!("{} good parts a minute or more ({kind})", plain(rate)));
    }
    if let Some(most) = found.most_jams {
        let which = match found.jams.as_str() {
            "attended" => " that somebody has to clear",
            "of good parts" => " that good parts have too",
            _ => "",
        };
        limits.push(format!("{most} jams{which} at most"));
    }
    if let Some(most) = &found.most_bad {
        limits.push(format!("{most} bad parts at most"));
    }
    if let Some(most) = found.most_stops {
        limits.push(format!("{most} stops of any kind at most"));
    }
    let retries = match found.retries {
        0 => String::new(),
        1 => "; may be tried once more".to_owned(),
        n => format!("; may be tried {n} times more"),
    };
    format!("{} h: {}{retries}.", plain(found.length_h), limits.join(", "))
}

fn share(chance: f64) -> String {
    format!("{:.1} %", 100.0 * chance)
}

fn characteristic(found: &RunOffResult, ink: Ink) -> String {
    let mut page = heading(&format!("CHANCE TO PASS against {}", safe(&found.varied)), ink);
    let mut titles = vec!["times as stated", "chance", "from", "to", "parts/min", "jams", "bad"];
    let kept: [(&str, Kept); 4] = [
        ("rate|kept", |level| level.rate_kept),
        ("jams|kept", |level| level.jams_kept),
        ("bad|kept", |level| level.bad_kept),
        ("stops|kept", |level| level.stops_kept),
    ];
    let shown: Vec<_> = kept.iter().filter(|(_, of)| of(&found.now).is_some()).collect();
    titles.extend(shown.iter().map(|(title, _)| *title));
    let mut table = Table::new(&titles);
    for level in &found.characteristic {
        let numbers = [
            plain(level.factor),
            share(level.pass.chance),
            share(level.pass.low),
            share(level.pass.high),
            number(level.mean_rate, None),
            number(level.mean_jams, None),
            number(level.mean_bad, None),
        ];
        let kept = shown.iter().map(|(_, of)| of(level).map_or("-".to_owned(), share));
        table.row(numbers.into_iter().chain(kept));
    }
    page.push_str(&table.render(ink));
    page.push_str(&wrap(
        &format!(
            "Intervals at {} (Clopper and Pearson). All factors see the same luck. A level is a line that is agreed upon: all inputs \
             are taken as known.",
            stated(found.level)
        ),
        "  ",
        "  ",
        WIDTH,
    ));
    page
}

fn risk_page(found: &RunOffResult, risks: &RiskReport, ink: Ink) -> String {
    let mut page = heading("RISKS of both sides", ink);
    let with_limits = |chance: &PassChance, most: f64| {
        let word = if chance.high <= most {
            "held"
        } else if chance.low > most {
            "not held"
        } else {
            "on the edge"
        };
        [share(chance.chance), share(chance.low), share(chance.high), share(most), word.to_owned()]
    };
    let mut table = Table::new(&["risk", "chance", "from", "to", "at most", ""]);
    let producer = format!("producer: {} x fails", plain(risks.good));
    let consumer = format!("consumer: {} x passes", plain(risks.bad));
    table.row(std::iter::once(producer).chain(with_limits(&risks.producer, risks.producer_most)));
    table.row(std::iter::once(consumer).chain(with_limits(&risks.consumer, risks.consumer_most)));
    page.push_str(&table.render(ink));
    for words in smallest(found, risks) {
        page.push_str(&wrap(&words, "  ", "  ", WIDTH));
    }
    page
}

/// The smallest plans: the one that surely holds both risks, and the one that does by the shares seen.
fn smallest(found: &RunOffResult, risks: &RiskReport) -> Vec<String> {
    let Some(seen) = &risks.smallest else {
        let hint = if found.most_jams.is_none() && found.varied == "how often jams come" {
            " The plan does not limit jams; add `most_jams`, or vary something else."
        } else {
            " The good and the bad line are too much alike, or another limit fails the good one."
        };
        return vec![format!("No plan of up to {} h holds both.{hint}", plain(risks.up_to_h))];
    };
    let sure = match &risks.smallest_sure {
        Some(sure) => format!(
            "The smallest plan that surely holds both: {}. Sure: {}, both sides and all lengths looked at together.",
            limits(sure),
            stated(found.level)
        ),
        None => format!(
            "No plan of up to {} h surely holds both ({}, both sides and all lengths looked at together): more --replications, or a \
             longer --up-to.",
            plain(risks.up_to_h),
            stated(found.level)
        ),
    };
    let by_shares = format!("By the shares seen alone: {}. Other limits as they are.", limits(seen));
    vec![sure, by_shares]
}

fn limits(smallest: &SmallestPlan) -> String {
    let jams = smallest.most_jams.map_or(String::new(), |most| format!(" with {most} jams at most"));
    let risk = |chance: &PassChance| {
        format!("{} (from {} to {})", share(chance.chance), share(chance.low), share(chance.high))
    };
    format!(
        "{} h{jams}; producer's risk {}, consumer's risk {}",
        plain(smallest.length_h),
        risk(&smallest.producer),
        risk(&smallest.consumer)
    )
}
