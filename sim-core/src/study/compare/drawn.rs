//! Designs whose inputs are drawn anew for each shift, from what the evidence leaves open.
//!
//! A shift of a comparison is then a shift of another line each time: its number is that of the outer draw, too. A piece of
//! evidence is drawn by its name, so that all designs that rest on it get the same draw. Invariant: a line
//! depends on the text of its design, the seed and the number of the shift alone.

use crate::evidence::Known;
use crate::evidence::known;
use crate::evidence::outer::outer;
use crate::study::crew::Crew;
use crate::study::run::RunError;
use crate::study::variant::{Task, Variant};

/// What is drawn anew.
#[derive(Debug)]
pub(super) struct Drawing {
    /// Of each design its text and its evidence.
    designs: Vec<(String, Vec<Known>)>,
    seed: u64,
}

/// A line that is being drawn.
struct Blank {
    task: Task,
    made: Option<Result<Variant, RunError>>,
}

impl Drawing {
    /// Of the texts of all designs, and the lines they make as known.
    pub(super) fn new(texts: Vec<String>, as_known: &[Variant], seed: u64) -> Self {
        let of = |(text, variant): (String, &Variant)| (text, known(&variant.scenario));
        Drawing { designs: texts.into_iter().zip(as_known).map(of).collect(), seed }
    }

    /// Whether there is any evidence in any of the designs.
    pub(super) fn is_any(&self) -> bool {
        self.designs.iter().any(|(_, known)| !known.is_empty())
    }

    /// The line of each of these shifts, `variant` being the design, measured like it. None if it was cancelled.
    pub(super) fn lines<C: Crew>(
        &self,
        as_known: &[Variant],
        tasks: &[Task],
        crew: &C,
        cancelled: &(dyn Fn() -> bool + Sync),
    ) -> Result<Option<Vec<Variant>>, RunError> {
        let mut blanks: Vec<Blank> = tasks.iter().map(|task| Blank { task: *task, made: None }).collect();
        let mut hands = vec![(); crew.size()];
        let n = crew.fill(&mut hands, &mut blanks, cancelled, &|(), blank: &mut Blank| {
            let Task { variant, number } = blank.task;
            let (text, known) = &self.designs[variant];
            blank.made = Some(outer(text, known, self.seed, number).map(|drawn| {
                let mut line = Variant::new(drawn.scenario);
                line.measure_as(&as_known[variant]);
                line
            }));
        });
        if n < blanks.len() {
            return Ok(None);
        }
        blanks.into_iter().filter_map(|blank| blank.made).collect::<Result<Vec<_>, _>>().map(Some)
    }
}
