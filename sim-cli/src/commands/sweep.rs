//! `feedproof sweep`: one scenario at many points.

use super::pages::{OpenPages, Pages, quoted};
use crate::ending::{Ending, Failure};
use crate::identity::Identity;
use crate::ink::Ink;
use crate::numbers::{grouped, with_error};
use crate::progress::{self, Bar};
use crate::sweep::{Finished, Folder, Job, Journal, Part, entry_of, summary};
use crate::{interrupt, problems, proof, screen};
use sim_core::study::Crew;
use sim_core::sweep::{PointResult, SweepWatch, run};
use sim_core::units::{Dimension, parse};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

/// What to run, and where to put it.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// Sweep file; `feedproof schema --of sweep` describes it
    file: PathBuf,
    /// Write points.csv, sweep.csv and sweep.json into this folder. Started again with the same folder, a sweep that was
    /// interrupted goes on
    #[arg(long, value_name = "DIR", required_unless_present = "check")]
    out: Option<PathBuf>,
    /// Shifts of each point, instead of what the file says
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(2..=1_000_000))]
    replications: Option<u64>,
    /// Seed of all luck, instead of what the file says
    #[arg(long, value_name = "S")]
    seed: Option<u64>,
    /// Threads; left out: one for each core. The result is the same on any number
    #[arg(long, value_name = "T", value_parser = clap::value_parser!(u16).range(1..=1024))]
    threads: Option<u16>,
    /// Run part I of N only, for several machines; `feedproof merge` puts the parts together
    #[arg(long, value_name = "I/N", value_parser = Part::read)]
    part: Option<Part>,
    /// If another process is at work in the folder, wait for it, so long at most, such as "1 h"
    #[arg(long, value_name = "TIME", default_value = "0 s", value_parser = wait)]
    wait: Duration,
    /// Say what is wrong with the points, and run none
    #[arg(long, conflicts_with_all = ["out", "report", "xlsx"])]
    check: bool,
    #[command(flatten)]
    pages: Pages,
}

fn wait(text: &str) -> Result<Duration, String> {
    let seconds = parse(text, Dimension::Time).map_err(|error| error.to_string())?;
    Duration::try_from_secs_f64(seconds).map_err(|_| "a time of 0 s or more, such as \"1 h\"".to_owned())
}

/// Runs the sweep, or goes on with it.
pub(super) fn sweep(args: &Args) -> Result<Ending, Failure> {
    let job = Job::load(&args.file, args.replications, args.seed)?;
    interrupt::listen()?;
    let part = args.part.unwrap_or(Part::WHOLE);
    let Some(out) = &args.out else { return check(&job, part, args.threads) };
    let pages = args.pages.open()?;
    let identity = Identity::of_sweep(&job, part);
    let folder = Folder::open(out, args.wait)?;
    if let Some(finished) = folder.finished(&identity)? {
        screen::say(&format!("`{}` holds this sweep already; nothing was run\n", out.display()));
        return show(&folder, &finished, pages, &job, args);
    }
    let mut journal = folder.journal(&identity)?;
    if journal.count() > 0 {
        screen::say(&format!("going on: {} points are done\n", grouped(journal.count())));
    }
    simulate(&job, part, args.threads, &mut journal)?;
    let finished = folder.write(&identity, |tables| {
        part.points(job.points.count()).try_for_each(|point| {
            let entry = journal.entry(point)?;
            tables.add(&entry.state, &entry.row, &entry.rows)
        })
    });
    let finished = finished.map_err(|failure| resumable(failure, &journal))?;
    journal.remove()?;
    show(&folder, &finished, pages, &job, args)
}

fn show(
    folder: &Folder,
    finished: &Finished,
    pages: Option<OpenPages>,
    job: &Job,
    args: &Args,
) -> Result<Ending, Failure> {
    if let Some(pages) = pages {
        let (scenario, _) = job.base.check()?;
        let swept = proof::Swept {
            folder: folder.path(),
            finished,
            texts: Some((&job.source, &job.base)),
            demand: proof::demand_of(&scenario),
            command: &command(args, folder.path()),
        };
        pages.keep(&proof::sweeping(&swept)?)?;
    }
    screen::print(&summary(folder.path(), finished, Ink::of_stdout())?)?;
    Ok(Ending::Done)
}

/// The command that makes this sweep again.
fn command(args: &Args, out: &Path) -> String {
    let path = |path: &Path| quoted(&path.display().to_string());
    let mut words = vec!["feedproof sweep".to_owned(), path(&args.file)];
    words.extend(args.replications.map(|n| format!("--replications {n}")));
    words.extend(args.seed.map(|seed| format!("--seed {seed}")));
    words.extend(args.part.map(|part| format!("--part {}", part.words())));
    words.push(format!("--out {}", path(out)));
    words.join(" ")
}

/// Runs all points that are not in the journal yet.
fn simulate(job: &Job, part: Part, threads: Option<u16>, journal: &mut Journal) -> Result<(), Failure> {
    let todo: Vec<u64> = part.points(job.points.count()).filter(|point| !journal.has(*point)).collect();
    let (before, all) = (journal.count() as f64, journal.count() + todo.len() as u64);
    let bar = Bar::with_time_left("points", journal.count(), all);
    let unwritten = AtomicBool::new(false);
    let mut failure = None;
    let mut best = f64::NEG_INFINITY;
    let mut each = |result: PointResult| {
        note_best(&bar, &result, &mut best);
        if failure.is_none()
            && let Err(why) = entry_of(job, &result).and_then(|entry| journal.add(&entry))
        {
            unwritten.store(true, Ordering::Relaxed);
            failure = Some(why);
        }
    };
    let mut watch = SweepWatch {
        cancelled: &|| interrupt::asked() || unwritten.load(Ordering::Relaxed),
        each: &mut each,
        progress: &mut |done| bar.share(before + done, all),
    };
    let crew = progress::crew(threads);
    let is_all = run(&job.points, todo.into_iter(), &job.terms, &crew, &mut watch);
    bar.clear();
    if let Some(failure) = failure {
        let _ = journal.sync();
        return Err(resumable(failure, journal));
    }
    journal.sync().map_err(|failure| resumable(failure, journal))?;
    if is_all && journal.count() == all {
        return Ok(());
    }
    let message = format!("interrupted; {} of {} points are done", grouped(journal.count()), grouped(all));
    Err(Failure::new(Ending::Interrupted, message).help("the same command goes on"))
}

/// Shows the highest first output of the points so far, with its interval.
fn note_best(bar: &Bar, result: &PointResult, best: &mut f64) {
    let Some((output, figure)) = result.figures.first() else { return };
    if let Some(mean) = figure.mean.filter(|mean| mean > best) {
        *best = mean;
        bar.note(&format!("highest {} {} {}", output.name, with_error(figure), output.unit));
    }
}

fn resumable(failure: Failure, journal: &Journal) -> Failure {
    let safe = grouped(journal.count());
    failure.help(format!("{safe} points are safe; once there is room again, the same command goes on"))
}

/// Says what is wrong with the points.
fn check(job: &Job, part: Part, threads: Option<u16>) -> Result<Ending, Failure> {
    const SHOWN: usize = 10;
    const AT_ONCE: usize = 1000;
    let crew = progress::crew(threads);
    let mut hands = vec![(); crew.size()];
    let (mut n, mut n_unsound) = (0, 0);
    let mut pages = Vec::new();
    let todo: Vec<u64> = part.points(job.points.count()).collect();
    let bar = Bar::with_time_left("points", 0, todo.len() as u64);
    for some in todo.chunks(AT_ONCE) {
        let mut sheets: Vec<(u64, Option<_>)> = some.iter().map(|point| (*point, None)).collect();
        crew.fill(&mut hands, &mut sheets, &interrupt::asked, &|(), sheet| {
            sheet.1 = job.points.prepare(sheet.0).err();
        });
        if interrupt::asked() {
            bar.clear();
            return Err(Failure::interrupted("all points were checked"));
        }
        for (point, why) in sheets {
            n += 1;
            let Some(why) = why else { continue };
            n_unsound += 1;
            if pages.len() < SHOWN {
                let name = format!("point {} ({})", point + 1, job.words(point));
                pages.push(problems::page(&why.problems, &name, &why.text, Ink::PLAIN));
            }
        }
        bar.share(n as f64, todo.len() as u64);
    }
    bar.clear();
    let mut page = pages.join("\n");
    if n_unsound > pages.len() {
        page.push_str(&format!(
            "\n{} more points are not sound\n",
            grouped((n_unsound - pages.len()) as u64)
        ));
    }
    if !page.is_empty() {
        page.push('\n');
    }
    page.push_str(&format!("{} points, {} of them sound\n", grouped(n), grouped(n - n_unsound as u64)));
    screen::print(&page)?;
    Ok(Ending::Done)
}
