//! Orienting path as a scenario states it: one part at a time, or parts in file.
//!
//! *One at a time*: `pass` is the time of a pass by law; the next part is taken when the path is empty
//! ([`super::path`]). *In file*: `speed`, `live_length` and the length of the parts give the flow; tools act
//! where they stand ([`super::path_in_file`]). What the tools do is in [`super::tool_spec`], in which attitude
//! rejects come back in [`super::comes_back`], clumps in [`super::clumps`].
//!
//! Unoriented parts that reach the end go on as they are: an escape of the tooling is no error of the file.
//!
//! In the balance the routes of each class are exact: the tools as stochastic matrices multiplied in order,
//! misreads of sensed tools and jams that send their part off included, with the rule of each exit for the attitude. Surplus that
//! runs over and parts that come too close for a sensed tool hang on chance: they are other ways of a part (`other_ways`), for
//! bounds. A path in file is busy for the time in which a part clears the entry.

use super::Station;
use super::blueprint::{Blueprint, ExitSpec, Site, To, TrafficSite, moment, part_needs, read_to};
use super::clumps::{self, ClumpSpec, Clumps};
use super::comes_back::{ComebackSpec, comes_back};
use super::path::{Path, PathExit, PathSetup};
use super::path_in_file::{FileSetup, PathInFile, Point, Spacing};
use super::times::Times;
use super::tool_spec::{self, ToolSpec, all_names};
use super::tooling::{ClassName, LeadsOff, ToolTable, Tooling, class_names};
use super::tools::look_ahead;
use super::track::nanos;
use crate::diag::{Diagnostics, Place as FilePlace, Problem, code};
use crate::kernel::{Exit, Moment};
use crate::part::Nanos;
use crate::terms::kind::{Kind, must_be_one_of};
use crate::terms::law::Law;
use crate::terms::law_form::law;
use crate::terms::stops::{Cause, StopSpec};
use crate::text::fields::Object;
use crate::text::forms::{Choice, Spanned, length, list_of, map_of, name, nested, placed, real, speed};
use crate::units::Dimension;

/// Most exits of a path: they are counted one by one.
const EXITS_MAX: usize = 8;
/// Most tools of a path.
const TOOLS_MAX: usize = 60;
/// Longest time from entry to the end, s: a day.
const TRAVEL_MAX_S: f64 = 86_400.0;

/// How parts move along the path.
#[derive(Debug, Clone)]
pub(super) enum Motion {
    /// One part at a time, a time by law for each.
    OneAtATime(Law),
    /// In file.
    InFile(FileSpec),
}

/// Motion of parts in file.
#[derive(Debug, Clone)]
pub(super) struct FileSpec {
    speed_m_s: f64,
    live_length_m: f64,
    gap: f64,
    lengths_m: Vec<(Spanned<String>, f64)>,
}

/// An orienting path as the file states it.
#[derive(Debug, Clone)]
pub struct PathSpec {
    place: FilePlace,
    to: To,
    rejects_to: Option<Spanned<String>>,
    overflow_to: Option<Spanned<String>>,
    comes_back: ComebackSpec,
    overflow_comes_back: Option<ComebackSpec>,
    motion: Motion,
    tools: Vec<ToolSpec>,
    clumps: Option<Spanned<ClumpSpec>>,
}

/// Reads an orienting path.
pub fn read(object: &mut Object<'_>) -> PathSpec {
    let motion = read_motion(object);
    let spec = PathSpec {
        place: object.place(),
        to: read_to(object),
        rejects_to: object.maybe(
            "rejects_to",
            name(),
            "The station that gets rejected parts, unless their tool names another; left out: nothing is rejected otherwise",
        ),
        overflow_to: object.maybe(
            "overflow_to",
            name(),
            "The station to which parts fall when the way on is full; left out: they stay, and the path stands",
        ),
        comes_back: object.optional(
            "comes_back",
            comes_back(),
            "remixed",
            "How parts that leave through `rejects_to` or `overflow_to` lie when they come back",
        ),
        overflow_comes_back: object.maybe(
            "overflow_comes_back",
            comes_back(),
            "How surplus parts lie when they come back; left out: as `comes_back`",
        ),
        motion,
        tools: object.optional(
            "tools",
            list_of(nested("tool", tool_spec::read)),
            "[]",
            "The tools, in the order in which parts meet them",
        ),
        clumps: object.maybe(
            "clumps",
            placed(nested("clumps", clumps::read)),
            "Parts that come tangled and go round until they break up; left out: none",
        ),
    };
    spec.check_tools(object);
    spec
}

fn read_motion(object: &mut Object<'_>) -> Motion {
    let pass = object.maybe(
        "pass",
        law(Dimension::Time).positive(),
        "One part at a time: time of a pass. Give this, or `speed` and `live_length`",
    );
    let speed_m_s = object.maybe(
        "speed",
        speed().positive().usual("10 ft/min", "120 ft/min", "10 to 120 ft/min"),
        "Parts in file: their speed",
    );
    let live_length_m = object.maybe("live_length", length().positive(), "Parts in file: from entry to end");
    let gap = object.optional(
        "gap",
        real().at_least(1.0).at_most(1000.0),
        "1",
        "Parts in file: least distance from front to front, in part lengths; 1 is touching",
    );
    let lengths_m = object.optional(
        "lengths",
        map_of(length().positive()),
        "{}",
        "Parts in file: length along the path by attitude, where it is not the `length` of the part",
    );
    match (pass, speed_m_s, live_length_m) {
        (Some(pass), None, None) => {
            for key in ["gap", "lengths"] {
                if object.has(key) {
                    let problem =
                        Problem::new(code::BAD_CONNECTION, "it has a meaning for parts in file only");
                    object.fail(key, problem.help("take it out, or give `speed` and `live_length`"));
                }
            }
            Motion::OneAtATime(pass)
        }
        (None, Some(speed_m_s), Some(live_length_m)) => {
            if live_length_m / speed_m_s > TRAVEL_MAX_S {
                let problem = Problem::new(code::OUT_OF_RANGE, "parts travel for longer than a day");
                object.fail("live_length", problem.help("check `live_length` and `speed`"));
            }
            Motion::InFile(FileSpec { speed_m_s, live_length_m, gap, lengths_m })
        }
        (None, speed, length) if !object.sound(&["speed", "live_length"]) => {
            in_file(speed, length, gap, lengths_m)
        }
        (pass, speed, length) => {
            if object.sound(&["pass", "speed", "live_length"]) {
                let problem = Problem::new(code::MISSING_KEY, "how parts move along the path is not clear");
                object.fail_here(problem.expected(
                    "`pass` (one part at a time), or `speed` and `live_length` (parts in file), not both",
                ));
            }
            if pass.is_none() && (speed.is_some() || length.is_some()) {
                in_file(speed, length, gap, lengths_m)
            } else {
                Motion::OneAtATime(Law::fixed(1.0))
            }
        }
    }
}

/// Parts in file on a path with an error: what is not known is compared with nothing.
fn in_file(
    speed: Option<f64>,
    length: Option<f64>,
    gap: f64,
    lengths_m: Vec<(Spanned<String>, f64)>,
) -> Motion {
    let (speed_m_s, live_length_m) = (speed.unwrap_or(f64::NAN), length.unwrap_or(f64::NAN));
    Motion::InFile(FileSpec { speed_m_s, live_length_m, gap, lengths_m })
}

/// One exit: key, destination, rule.
type ExitRow<'s> = (&'static str, To, &'s ComebackSpec);

impl PathSpec {
    fn check_tools(&self, object: &mut Object<'_>) {
        if !object.sound(&["tools"]) {
            return;
        }
        if self.tools.len() > TOOLS_MAX {
            object.fail("tools", Problem::new(code::OUT_OF_RANGE, "a path has at most 60 tools"));
        }
        if self.exit_rows().len() > EXITS_MAX {
            object.fail("tools", Problem::new(code::OUT_OF_RANGE, "a path has at most 8 exits"));
        }
        for (n, tool) in self.tools.iter().enumerate() {
            if self.tools[..n].iter().any(|other| other.id.value == tool.id.value) {
                let message = format!("two tools are named `{}`", tool.id.value);
                object.fail("tools", Problem::new(code::DUPLICATE_NAME, message));
            }
        }
    }

    /// All exits: the way on, rejects, overflow, then those of the tools, each (destination, rule) once.
    fn exit_rows(&self) -> Vec<ExitRow<'_>> {
        let named = |name: &Spanned<String>| To::Named(name.clone());
        let mut rows: Vec<ExitRow<'_>> = vec![("to", self.to.clone(), &self.comes_back)];
        if let Some(name) = &self.rejects_to {
            rows.push(("rejects_to", named(name), &self.comes_back));
        }
        if let Some(name) = &self.overflow_to {
            let rule = self.overflow_comes_back.as_ref().unwrap_or(&self.comes_back);
            rows.push(("overflow_to", named(name), rule));
        }
        for tool in &self.tools {
            if let (Some((name, rule)), None) = (self.destination(tool), self.exit_of(&rows, tool)) {
                rows.push(("tools", named(name), rule));
            }
        }
        rows
    }

    fn destination<'s>(&'s self, tool: &'s ToolSpec) -> Option<(&'s Spanned<String>, &'s ComebackSpec)> {
        let rule = tool.comes_back.as_ref().unwrap_or(&self.comes_back);
        tool.to.as_ref().or(self.rejects_to.as_ref()).map(|name| (name, rule))
    }

    /// Number of the exit of a tool. Overflow is counted apart, so it is never shared with a tool.
    fn exit_of(&self, rows: &[ExitRow<'_>], tool: &ToolSpec) -> Option<u8> {
        let (name, rule) = self.destination(tool)?;
        let same = |(key, to, known): &ExitRow<'_>| {
            let here = matches!(to, To::Named(known) if known.value == name.value);
            here && *known == rule && !matches!(*key, "to" | "overflow_to")
        };
        rows.iter().position(same).map(|ix| ix as u8)
    }

    fn overflow_exit(&self) -> Option<u8> {
        self.exit_rows().iter().position(|(key, ..)| *key == "overflow_to").map(|ix| ix as u8)
    }

    /// What the tools do, as plain shares.
    fn tooling(&self, kinds: &[Kind], comes_back: &[bool]) -> Tooling {
        let rows = self.exit_rows();
        let table = |tool: &ToolSpec, is_crowded: bool| -> ToolTable {
            let exit = self.exit_of(&rows, tool);
            let row = |class: ClassName| {
                let kind = &kinds[usize::from(class.kind)];
                tool.row(kind, usize::from(class.condition), usize::from(class.attitude), exit, is_crowded)
            };
            class_names(kinds).into_iter().map(row).collect()
        };
        let first_exit = self.tools.first().and_then(|tool| self.exit_of(&rows, tool));
        let tangled = match (&self.clumps, first_exit) {
            (Some(clumps), Some(exit)) => {
                let tangled = comes_back.get(usize::from(exit)).is_some_and(|comes_back| *comes_back);
                Some((clumps.value.share(tangled), exit))
            }
            (Some(_) | None, _) => None,
        };
        Tooling {
            tools: self.tools.iter().map(|tool| table(tool, false)).collect(),
            crowded: self
                .tools
                .iter()
                .enumerate()
                .filter_map(|(no, tool)| Some((no, tool.crowding()?, table(tool, true))))
                .collect(),
            rules: rows.iter().map(|(_, _, rule)| rule.rule(kinds)).collect(),
            tangled,
            leads_off: Vec::new(),
        }
    }

    /// The jams of the path and of its tools that send their part through a stated exit, for the balance.
    fn leads_off(&self, kinds: &[Kind], own: &[StopSpec]) -> Vec<LeadsOff> {
        let exits = self.exits();
        let own = own.iter().map(|stop| (stop.clone(), moment(stop.when)));
        let leads_off = |(stop, at): (StopSpec, Moment)| {
            let exit = exits
                .iter()
                .position(|exit| stop.then.as_ref().is_some_and(|then| exit.key == then.value))?;
            let chance = |class: ClassName| {
                let kind = &kinds[usize::from(class.kind)];
                stop.cause.chance(&kind.conditions[usize::from(class.condition)])
            };
            let chances = class_names(kinds).into_iter().map(chance).collect();
            Some(LeadsOff { at, chances, exit: exit as u8 })
        };
        own.chain(self.inner_stops()).filter_map(leads_off).collect()
    }

    fn check_exits(&self, tools: &[&ToolSpec], kinds: &[Kind], problems: &mut Diagnostics) {
        let rows = self.exit_rows();
        for tool in tools.iter().filter(|tool| self.exit_of(&rows, tool).is_none()) {
            let close = tool.sensed.as_ref().is_some_and(|sensed| !sensed.passes_close);
            if tool.rejects(kinds) || (close && matches!(self.motion, Motion::InFile(_))) {
                let message =
                    format!("the tool `{}` rejects parts, and nothing says where to", tool.id.value);
                let problem = Problem::new(code::MISSING_KEY, message);
                problems
                    .error(&tool.place, problem.expected("`rejects_to` at the path, or `to` at the tool"));
            }
        }
        if let Some(clumps) = &self.clumps {
            let exit = self.tools.first().and_then(|tool| self.exit_of(&rows, tool));
            if exit.is_none() {
                let problem =
                    Problem::new(code::MISSING_KEY, "the first tool rejects clumps, and there is none");
                problems.error(&clumps.place, problem.expected("a tool, and `rejects_to`"));
            }
        }
    }

    fn clumps(&self, site: &Site<'_>) -> Option<Clumps> {
        let rows = self.exit_rows();
        let spec = &self.clumps.as_ref()?.value;
        let exit = self.exit_of(&rows, self.tools.first()?)?;
        Some(spec.compiled(site.law(spec.parts()), site.dice("clumps"), exit))
    }
}

impl FileSpec {
    /// Time in which a part of a class clears the entry, s; `None` if its length is not known.
    fn spacing_s(&self, kind: &Kind, attitude: usize) -> Option<f64> {
        let name = &kind.attitudes[attitude];
        let own = self.lengths_m.iter().find(|(known, _)| known.value == *name).map(|(_, length)| *length);
        Some(own.or(kind.length_m)? * self.gap / self.speed_m_s)
    }

    /// Where a tool acts, m from the entry.
    fn position_m(&self, tool: &ToolSpec) -> f64 {
        tool.position_m.as_ref().map_or(self.live_length_m, |position| position.value)
    }

    fn least_spacing_s(&self, tool: &ToolSpec) -> Option<f64> {
        let sensed = tool.sensed.as_ref()?;
        Some(match sensed.least_spacing {
            Some(Choice::First(length_m)) => length_m / self.speed_m_s,
            Some(Choice::Second(time_s)) => time_s,
            None => sensed.reaction_s,
        })
    }

    fn check(&self, path: &PathSpec, kinds: &[Kind], problems: &mut Diagnostics) {
        let attitudes = all_names(kinds, |kind| &kind.attitudes);
        self.lengths_m.iter().for_each(|(name, _)| must_be_one_of(name, "attitude", &attitudes, problems));
        for kind in kinds {
            if (0..kind.attitudes.len()).any(|attitude| self.spacing_s(kind, attitude).is_none()) {
                part_needs(&path.place, kind, "length", "a path with parts in file", problems);
            }
        }
        let mut before = 0.0;
        for tool in &path.tools {
            let position = self.position_m(tool);
            if position > self.live_length_m || position < before {
                let message = if position < before {
                    "it stands before the tool that comes before it in the list"
                } else {
                    "it stands beyond the end of the path"
                };
                let place = tool.position_m.as_ref().map_or(&tool.place, |position| &position.place);
                let problem = Problem::new(code::OUT_OF_RANGE, message);
                problems.error(place, problem.expected("tools in order, none beyond `live_length`"));
            }
            before = position;
            self.check_spacing(tool, kinds, problems);
        }
    }

    fn check_spacing(&self, tool: &ToolSpec, kinds: &[Kind], problems: &mut Diagnostics) {
        let Some(least) = self.least_spacing_s(tool) else { return };
        let spacings = kinds.iter().flat_map(|k| (0..k.attitudes.len()).filter_map(|a| self.spacing_s(k, a)));
        if spacings.fold(f64::INFINITY, f64::min) < least * (1.0 - 1e-9) {
            let message = format!(
                "parts may enter closer together than the least spacing of the sensed tool `{}`",
                tool.id.value
            );
            let problem = Problem::new(code::UNUSUAL_VALUE, message);
            problems.warning(
                &tool.place,
                problem.help("at full flow it can't tell them apart: a wider `gap` may give more good parts"),
            );
        }
        if tool.sensed.as_ref().is_some_and(|s| s.reaction_s * self.speed_m_s > self.position_m(tool)) {
            let problem = Problem::new(code::OUT_OF_RANGE, "its sensor would stand before the entry");
            problems.error(
                &tool.place,
                problem.help("a part travels for the `reaction` time between sensor and ejector"),
            );
        }
    }

    /// The points where tools act, the end last.
    fn points(&self, tools: &[ToolSpec]) -> Vec<Point> {
        let mut points: Vec<Point> = Vec::new();
        let mut at: Nanos = 0;
        for (n, tool) in tools.iter().enumerate() {
            let here = nanos(self.position_m(tool) / self.speed_m_s);
            match points.last_mut() {
                Some(last) if here == at => last.end = n + 1,
                Some(_) | None => points.push(Point { travel: here - at, first: n, end: n + 1 }),
            }
            at = here;
        }
        let end = nanos(self.live_length_m / self.speed_m_s);
        if points.is_empty() || at < end {
            points.push(Point { travel: end - at, first: tools.len(), end: tools.len() });
        }
        points
    }

    fn build(&self, path: &PathSpec, site: &mut Site<'_>, setup: PathSetup) -> Station {
        let rows = path.exit_rows();
        let classes = class_names(site.kinds).into_iter().map(|class| {
            let spacing = self.spacing_s(&site.kinds[usize::from(class.kind)], usize::from(class.attitude));
            nanos(spacing.unwrap_or(1.0)).max(1)
        });
        let spacing: Vec<Nanos> = classes.collect();
        let watched = |tool: &ToolSpec| {
            let least = nanos(self.least_spacing_s(tool)?);
            let passes = tool.sensed.as_ref().is_some_and(|sensed| sensed.passes_close);
            let fate = if passes { None } else { path.exit_of(&rows, tool) };
            Some(Spacing { least, exit: fate })
        };
        let points = self.points(&path.tools);
        let early_end = points.last().map_or(0, |last| last.first);
        let by_part = |stop: &StopSpec| !matches!(stop.cause, Cause::Every(..));
        let goes_on = path.tools[..early_end].iter().any(|tool| tool.jams.iter().any(by_part));
        if goes_on {
            for exit in site.exits.clone() {
                if let Exit::Store(place) | Exit::Hand(place) = exit {
                    site.watch(place);
                }
            }
        }
        let alarm = site.alarm();
        let free = goes_on.then(|| site.free_alarm());
        let file = FileSetup {
            path: setup,
            points,
            spacing,
            sensed: path.tools.iter().map(watched).collect(),
            clumps: path.clumps(site),
        };
        Station::PathInFile(PathInFile::new(site.me, alarm, free, file, site.dice("tools")))
    }
}

impl Blueprint for PathSpec {
    fn redirects_jammed_parts(&self) -> bool {
        true
    }

    fn exits(&self) -> Vec<ExitSpec> {
        self.exit_rows().into_iter().map(|(key, to, _)| ExitSpec { key, to }).collect()
    }

    fn has_speed(&self) -> bool {
        true
    }

    fn clock_jams_hold_a_part(&self) -> bool {
        matches!(self.motion, Motion::OneAtATime(_))
    }

    fn inner_stops(&self) -> Vec<(StopSpec, Moment)> {
        let stops = |(n, tool): (usize, &ToolSpec)| {
            let moment = Moment::Tool(n as u8);
            tool.jams.iter().map(move |stop| (stop.clone(), moment)).collect::<Vec<_>>()
        };
        self.tools.iter().enumerate().flat_map(stops).collect()
    }

    fn check(&self, kinds: &[Kind], problems: &mut Diagnostics) {
        let are_known = kinds.iter().all(Kind::has_known_attitudes);
        let mut sound_tools: Vec<&ToolSpec> = Vec::with_capacity(self.tools.len());
        for tool in &self.tools {
            let before = problems.error_count();
            tool.check(kinds, problems);
            sound_tools.extend((problems.error_count() == before).then_some(tool));
        }
        for (_, _, rule) in self.exit_rows().iter().skip(1) {
            rule.check(kinds, problems);
        }
        if are_known {
            self.check_exits(&sound_tools, kinds, problems);
        }
        match &self.motion {
            Motion::InFile(file) => file.check(self, kinds, problems),
            Motion::OneAtATime(_) => {
                for position in self.tools.iter().filter_map(|tool| tool.position_m.as_ref()) {
                    let message = "a tool of a path that carries one part at a time has no position";
                    let problem = Problem::new(code::BAD_CONNECTION, message);
                    problems.error(&position.place, problem.help("take it out: all tools act at the end"));
                }
            }
        }
    }

    fn exit_of_lasting_clumps(&self) -> Option<(u8, &FilePlace)> {
        let clumps = self.clumps.as_ref().filter(|clumps| clumps.value.never_breaks_up())?;
        let exit = self.exit_of(&self.exit_rows(), self.tools.first()?)?;
        Some((exit, &clumps.place))
    }

    fn traffic(&self, traffic: &mut TrafficSite<'_>) {
        let mut tooling = self.tooling(traffic.kinds, &traffic.comes_back);
        tooling.leads_off = self.leads_off(traffic.kinds, traffic.stops);
        traffic.routes_hold_jams = true;
        self.tell_other_ways(&tooling, traffic);
        let tooling = tooling.half_way();
        let names = class_names(traffic.kinds);
        for (entry, routes) in traffic.routes.iter_mut().enumerate() {
            *routes = tooling.through(traffic.kinds, entry);
        }
        for (seconds, class) in traffic.seconds.iter_mut().zip(names) {
            let kind = &traffic.kinds[usize::from(class.kind)];
            *seconds = match &self.motion {
                Motion::OneAtATime(pass) => pass.mean(),
                Motion::InFile(file) => file.spacing_s(kind, usize::from(class.attitude)).unwrap_or(0.0),
            };
        }
    }

    fn build(&self, site: &mut Site<'_>) -> Station {
        let tooling = self.tooling(site.kinds, &[]);
        let exits = site.exits.iter().zip(&tooling.rules);
        let mut tools = tooling.compiled();
        look_ahead(&mut tools, site.classes);
        let setup = PathSetup {
            inlets: site.inlets.clone(),
            exits: exits
                .map(|(&exit, rule)| PathExit { exit, comeback: rule.compiled_for(site.kinds) })
                .collect(),
            tools,
            classes: site.classes.clone(),
            overflow: self.overflow_exit(),
        };
        match &self.motion {
            Motion::InFile(file) => file.build(self, site, setup),
            Motion::OneAtATime(pass) => {
                let pass = Times::new(site.law(pass), site.dice("pass"));
                let path = Path::new(site.me, site.alarm(), setup, pass, site.dice("tools"));
                Station::Path(match self.clumps(site) {
                    Some(clumps) => path.with_clumps(clumps),
                    None => path,
                })
            }
        }
    }
}

mod other_ways;
#[cfg(test)]
mod tests;
