//! From points to values: each point a scenario, each scenario some shifts.
//!
//! Points are prepared and run a few at a time, so that memory holds few lines; what stays is one number for each
//! shift. Invariant: the value of a shift depends on the point and the number of the shift alone.

use super::dial::Dial;
use super::{ScreenError, ScreenOptions, ScreenWatch};
use crate::study::{Crew, Shifts, Task, Variant, settle_warm_up};
use crate::sweep::prepare;
use crate::vary::set;

/// Shifts under way for each worker: the wait for the last one is short against them all.
const SHIFTS_AT_ONCE: u64 = 64;

/// A point: the dials that are turned, with their shares, and the first of its shifts.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Point {
    pub(super) turned: Vec<(usize, f64)>,
    pub(super) first_shift: u64,
}

/// Values of points, or why there are none.
#[derive(Debug)]
pub(super) struct Values {
    /// All shifts of the first point, then those of the second, and so on.
    pub(super) values: Vec<f64>,
    /// For each point, what kept it from being run.
    pub(super) faults: Vec<Option<String>>,
}

/// What runs points.
pub(super) struct Runs<'a, 'w, C> {
    bench: Bench<'a>,
    pub(super) dials: &'a [Dial],
    pub(super) options: &'a ScreenOptions,
    crew: &'a C,
    watch: &'a mut ScreenWatch<'w>,
}

/// What makes lines of points.
struct Bench<'a> {
    source: &'a str,
    dials: &'a [Dial],
    base: Variant,
    output: &'a str,
}

/// A point that is being prepared.
struct Blank {
    point: Point,
    made: Option<Result<(Variant, usize), String>>,
}

impl<'a, 'w, C: Crew> Runs<'a, 'w, C> {
    /// Around a scenario. A warm-up that is to be found is found for it, and used for all points. None if cancelled.
    pub(super) fn new(
        source: &'a str,
        dials: &'a [Dial],
        base: Variant,
        options: &'a ScreenOptions,
        crew: &'a C,
        watch: &'a mut ScreenWatch<'w>,
    ) -> Result<Option<Self>, ScreenError> {
        let mut base = [base];
        if !settle_warm_up(&mut base, options.seed, crew, watch.cancelled).map_err(ScreenError::Run)? {
            return Ok(None);
        }
        let [base] = base;
        let bench = Bench { source, dials, base, output: &options.output };
        Ok(Some(Runs { bench, dials, options, crew, watch }))
    }

    /// Shifts at each point.
    pub(super) fn replications(&self) -> usize {
        self.options.replications as usize
    }

    /// Values at so many points. None if cancelled.
    pub(super) fn values(&mut self, n: u64, point: &dyn Fn(u64) -> Point) -> Option<Values> {
        let replications = self.options.replications;
        let at_once = (SHIFTS_AT_ONCE * self.crew.size() as u64).div_ceil(replications);
        let mut all = Values { values: Vec::new(), faults: Vec::new() };
        let mut done = 0;
        while done < n {
            let some = done..n.min(done + at_once);
            done = some.end;
            self.run_some(some.map(point).collect(), &mut all)?;
            (self.watch.progress)(done, n);
        }
        Some(all)
    }

    fn run_some(&mut self, points: Vec<Point>, all: &mut Values) -> Option<()> {
        let mut blanks: Vec<Blank> = points.into_iter().map(|point| Blank { point, made: None }).collect();
        let mut hands = vec![(); self.crew.size()];
        let bench = &self.bench;
        let n = self.crew.fill(&mut hands, &mut blanks, self.watch.cancelled, &|(), blank: &mut Blank| {
            blank.made = Some(bench.made(&blank.point));
        });
        if n < blanks.len() {
            return None;
        }
        let replications = self.options.replications;
        let (first, first_value) = (all.faults.len(), all.values.len());
        let (mut variants, mut of_variant, mut tasks) = (Vec::new(), Vec::new(), Vec::new());
        for (ix, blank) in blanks.into_iter().enumerate() {
            let fault = match blank.made {
                Some(Ok((variant, output))) => {
                    let variant_ix = variants.len();
                    variants.push(variant);
                    of_variant.push((ix, output));
                    let numbers = blank.point.first_shift..blank.point.first_shift + replications;
                    tasks.extend(numbers.map(|number| Task { variant: variant_ix, number }));
                    None
                }
                Some(Err(why)) => Some(why),
                None => panic!("every point is prepared before it is run"),
            };
            all.faults.push(fault);
        }
        all.values.resize(all.faults.len() * replications as usize, f64::NAN);
        let mut heard = 0;
        let shifts = Shifts {
            variants: &variants,
            tasks: &tasks,
            seed: self.options.seed,
            line: &|variant| (first + of_variant[variant].0) as u64,
            wanted: &|variant, outputs| [outputs[of_variant[variant].1]],
        };
        let done = shifts.run(self.crew, self.watch.cancelled, self.watch.kept, &mut |task, values| {
            let (ix, _) = of_variant[task.variant];
            let value = match values {
                Ok([value]) if value.is_finite() => Ok(value),
                Ok(_) => Err(format!("`{}` does not exist in a shift", self.options.output)),
                Err(why) => Err(why.to_string()),
            };
            let place = first_value + ix * replications as usize + heard % replications as usize;
            heard += 1;
            match value {
                Ok(value) => all.values[place] = value,
                Err(why) => all.faults[first + ix] = Some(why),
            }
        });
        (done == tasks.len()).then_some(())
    }

    /// Where the dials stand at a point.
    pub(super) fn words(&self, point: &Point) -> String {
        let word = |(dial, share): &(usize, f64)| {
            let dial = &self.dials[*dial];
            format!("{} = {}", dial.name, dial.at(*share).map_or("?".to_owned(), |stand| stand.label))
        };
        point.turned.iter().map(word).collect::<Vec<_>>().join(", ")
    }
}

impl Bench<'_> {
    /// The line of a point, and where its output stands.
    fn made(&self, point: &Point) -> Result<(Variant, usize), String> {
        let mut settings = Vec::new();
        for (dial, share) in &point.turned {
            let stand = self.dials[*dial].at(*share).ok_or("it cannot be moved this way")?;
            settings.extend(stand.settings);
        }
        let text =
            set(self.source, &settings).map_err(|why| format!("{}: {}", why.address, why.problem.message))?;
        let mut variant = prepare(text).map_err(|why| why.reason())?;
        variant.measure_as(&self.base);
        let name = self.output;
        match variant.outputs().iter().position(|output| output.name == *name) {
            Some(output) => Ok((variant, output)),
            None => Err(format!("there is no output `{name}` here")),
        }
    }
}
