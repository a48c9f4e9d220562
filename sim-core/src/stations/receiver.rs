//! Receiver: keeps one part, or one batch, ready for the tool that takes it; a nest at the end of a tube.
//!
//! **Keys.** `holds`: parts that it holds (default 1; of a receiver for batches, the largest batch). `time`: from the
//! release until a part is there (default none). `each`: the same for each further piece of a batch (default none).
//!
//! **Timing.** A part is ready `time` after it has been given to the receiver, a batch of x pieces all together after
//! `time` + (x - 1) `each`. Parts and batches under way stand in the receiver from the start of their release: its
//! room is taken from then on. A batch comes only into an empty receiver. The receiver is free again when the tool
//! has taken what is in it. It works for nobody by itself and has no breaks.
//!
//! The presence sensor, with false readings both ways, belongs to the tool: see the `check` of a
//! [machine](super::machine). In the balance a part keeps the receiver for `time` + (holds - 1) `each`, shared by all
//! that it holds.

use super::Station;
use super::blueprint::{Blueprint, ExitSpec, Site, To, TrafficSite, read_to};
use super::carrier::Carrier;
use super::track::nanos;
use crate::kernel::Place;
use crate::terms::kind::Kind;
use crate::terms::stops::MomentWord;
use crate::text::fields::Object;
use crate::text::forms::{count, time};

/// A receiver as the file states it.
#[derive(Debug, Clone)]
pub struct ReceiverSpec {
    to: To,
    holds: u32,
    time_s: f64,
    each_s: f64,
}

/// Reads a receiver.
pub fn read(object: &mut Object<'_>) -> ReceiverSpec {
    ReceiverSpec {
        to: read_to(object),
        holds: object.optional(
            "holds",
            count().at_least(1).at_most(10_000),
            "1",
            "Parts that it holds: one, or the largest batch",
        ) as u32,
        time_s: object.optional(
            "time",
            time().at_most("1 h"),
            "0 s",
            "Time from the release until the part, or the first of a batch, is there",
        ),
        each_s: object.optional(
            "each",
            time().at_most("1 h"),
            "0 s",
            "Further time for each further piece of a batch",
        ),
    }
}

impl Blueprint for ReceiverSpec {
    fn exits(&self) -> Vec<ExitSpec> {
        vec![ExitSpec { key: "to", to: self.to.clone() }]
    }

    fn body(&self, _kinds: &[Kind], _name: &str) -> Option<Place> {
        Some(Place::fifo(self.holds, nanos(self.time_s)).for_batches(nanos(self.each_s)))
    }

    fn ignores_breaks(&self) -> bool {
        true
    }

    fn jam_moments(&self) -> (&'static [MomentWord], &'static str) {
        (&[MomentWord::Start, MomentWord::End], "at a receiver parts jam when they come")
    }

    fn traffic(&self, traffic: &mut TrafficSite<'_>) {
        let holds = f64::from(self.holds);
        traffic.seconds.fill(self.time_s + (holds - 1.0) * self.each_s);
        traffic.places = holds;
    }

    fn build(&self, site: &mut Site<'_>) -> Station {
        let Some(body) = site.body else { panic!("a receiver is built around its body") };
        Station::Carrier(Carrier::new(site.me, None, body))
    }
}

#[cfg(test)]
mod tests {
    use crate::kernel::Note;
    use crate::stations::trial::{Trial, levels, times};

    /// A part is there at 0.1 s and ready 0.5 s later; the machine takes it, and the next one sets off at that moment.
    #[test]
    fn a_part_is_ready_its_time_after_its_release_and_its_room_is_taken_until_then() {
        let trial = Trial::new(
            r#"{"id": "F", "type": "work", "endless": true, "time": "0.1 s"},
            {"id": "T", "type": "track", "capacity": 9, "travel": "0 s"},
            {"id": "R", "type": "receiver", "time": "0.5 s"},
            {"id": "M", "type": "machine", "cycle": "0.3 s"}"#,
            "",
        );
        let run = trial.run(0, 2.2);
        assert_eq!(times(&run, trial.post("M"), Note::Took), [0.6, 1.1, 1.6, 2.1]);
        let taken: Vec<f64> =
            levels(&run, trial.place("R")).into_iter().filter(|(_, n)| *n == 1).map(|(at, _)| at).collect();
        assert_eq!(taken, [0.1, 0.6, 1.1, 1.6, 2.1]);
        // The balance: one part in half a second, which limits the line.
        let balance = trial.balance();
        assert!((balance.most_per_min.expect("a limit") - 120.0).abs() < 1e-9);
        assert_eq!(balance.limiting.as_deref(), Some("R"));
    }
}
