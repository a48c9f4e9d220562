//! What an orienting path does with parts when there is no room, when they come too close, or when it is crowded: for the
//! balance.
//!
//! Surplus: what the tools let go on leaves through the overflow exit, in an attitude by its rule. *Too close:* a part comes
//! to a sensed tool closer behind the one before than its least spacing, and is rejected or passes unseen. How often that
//! happens hangs on when parts come, which no balance knows, but not on what the tools do to the part itself: so each set of
//! tools that find it too close is a way of its own, and what becomes of a class is some mixture of these ways.
//!
//! Nothing comes closer to a tool than it came in: parts enter length x gap factor / speed apart, travel at one speed, and
//! what is rejected leaves a gap. So no tool whose least spacing is that long finds any part too close; and from tool to
//! tool the one before is as far away, or further: who is too close for a tool is so for all ahead of it that need as much.

//!
//! *Crowded:* tools whose chances depend on the loading do what they do at some loading that no balance knows. What becomes of a
//! class then lies between what becomes of it with each of these tools as on an uncrowded and as on a crowded path: each choice
//! among these is a way of its own. The routes of the path have them half-way.

use super::{FileSpec, Motion, PathSpec};
use crate::part::Nanos;
use crate::stations::blueprint::{OtherWay, Routes, TrafficSite};
use crate::stations::tooling::{Tooling, class_names};
use crate::stations::tools::Fate;
use crate::stations::track::nanos;
use crate::terms::kind::Kind;

/// Most sets of tools that are counted, and most choices among crowded and uncrowded.
const SETS_MAX: usize = 64;

/// Tools that find a part too close: (number of the tool, least spacing, ns).
type Close = Vec<(usize, Nanos)>;

impl PathSpec {
    /// Tells the balance of surplus and of parts that come too close.
    pub(super) fn tell_other_ways(&self, tooling: &Tooling, traffic: &mut TrafficSite<'_>) {
        let kinds = traffic.kinds;
        let mut sets = vec![Close::new()];
        if let Motion::InFile(file) = &self.motion {
            let entry = file.entry_spacings(kinds);
            let tools = file.close_tools(self, &entry);
            let most = tools.iter().map(|(_, least)| *least).max().unwrap_or(0);
            traffic.close_behind = entry.iter().map(|spacing| *spacing < most).collect();
            match close_sets(&tools) {
                Some(found) => sets = found,
                None => traffic.has_uncounted_ways = true,
            }
        }
        let Some(corners) = corners(tooling).filter(|corners| corners.len() * sets.len() <= SETS_MAX) else {
            traffic.has_uncounted_ways = true;
            return;
        };
        let routes = |tooling: &Tooling| -> Vec<Routes> {
            (0..class_names(kinds).len()).map(|entry| tooling.through(kinds, entry)).collect()
        };
        for (set, (corner, crowded)) in sets.iter().flat_map(|set| corners.iter().map(move |of| (set, of))) {
            let seen = self.with_close(corner, set, kinds);
            let (too_close, crowded) = (!set.is_empty(), *crowded);
            // Without either, and with nothing that depends on the loading, these are the routes of the path.
            if too_close || corners.len() > 1 {
                let way = OtherWay { routes: routes(&seen), runs_over: false, too_close, crowded };
                traffic.other_ways.push(way);
            }
            if let Some(exit) = self.overflow_exit() {
                let routes = routes(&with_surplus(&seen, exit, kinds));
                traffic.other_ways.push(OtherWay { routes, runs_over: true, too_close, crowded });
            }
        }
    }

    /// The row of tools for a part that comes too close for some of them.
    fn with_close(&self, tooling: &Tooling, close: &Close, kinds: &[Kind]) -> Tooling {
        let rows = self.exit_rows();
        let mut tooling = tooling.clone();
        for &(tool, _) in close {
            let spec = &self.tools[tool];
            let passes = spec.sensed.as_ref().is_some_and(|sensed| sensed.passes_close);
            let exit = self.exit_of(&rows, spec).filter(|_| !passes);
            let fate = |attitude: u8| exit.map_or(Fate::Onward(attitude), Fate::Exit);
            tooling.tools[tool] =
                class_names(kinds).iter().map(|class| vec![(fate(class.attitude), 1.0)]).collect();
        }
        tooling
    }
}

impl FileSpec {
    /// How long after a part of each class the next one enters at the soonest, as the path is built.
    fn entry_spacings(&self, kinds: &[Kind]) -> Vec<Nanos> {
        let spacing = |class: &super::ClassName| {
            let kind = &kinds[usize::from(class.kind)];
            nanos(self.spacing_s(kind, usize::from(class.attitude)).unwrap_or(1.0)).max(1)
        };
        class_names(kinds).iter().map(spacing).collect()
    }

    /// The tools that may find a part too close.
    fn close_tools(&self, path: &PathSpec, entry: &[Nanos]) -> Close {
        let soonest = entry.iter().copied().min().unwrap_or(Nanos::MAX);
        let least = |(n, tool)| Some((n, nanos(self.least_spacing_s(tool)?)));
        path.tools.iter().enumerate().filter_map(least).filter(|(_, least)| *least > soonest).collect()
    }
}

/// All sets of these tools that can find one part too close, the empty one first; `None` if there are too many.
fn close_sets(tools: &Close) -> Option<Vec<Close>> {
    let mut sets = vec![Close::new()];
    for (n, &(tool, least)) in tools.iter().enumerate() {
        let can = |set: &&Close| {
            let asked = tools[..n].iter().filter(|(_, other)| *other >= least);
            asked.into_iter().all(|other| set.contains(other))
        };
        let with: Vec<Close> =
            sets.iter().filter(can).map(|set| set.iter().copied().chain([(tool, least)]).collect()).collect();
        sets.extend(with);
        if sets.len() > SETS_MAX {
            return None;
        }
    }
    Some(sets)
}

/// The tools with each choice of those that act as on a crowded path, and whether any does; `None` if there are too many.
fn corners(tooling: &Tooling) -> Option<Vec<(Tooling, bool)>> {
    let tools: Vec<usize> = tooling.crowded.iter().map(|(tool, ..)| *tool).collect();
    let n = 1_usize.checked_shl(tools.len() as u32).filter(|n| *n <= SETS_MAX)?;
    let is_chosen = |choice: usize, tool: usize| {
        tools.iter().position(|known| *known == tool).is_some_and(|at| choice >> at & 1 == 1)
    };
    let corner = |choice| (tooling.at_corner(|tool| is_chosen(choice, tool)), choice > 0);
    Some((0..n).map(corner).collect())
}

/// The row of tools for a part that finds no room on its way on.
fn with_surplus(tooling: &Tooling, overflow: u8, kinds: &[Kind]) -> Tooling {
    let mut tooling = tooling.clone();
    tooling.tools.push(vec![vec![(Fate::Exit(overflow), 1.0)]; class_names(kinds).len()]);
    tooling.leads_off.iter_mut().filter(|jam| jam.exit == 0).for_each(|jam| jam.exit = overflow);
    tooling
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(sets: Option<Vec<Close>>) -> Vec<Vec<usize>> {
        let sets = sets.expect("they are counted");
        sets.iter().map(|set| set.iter().map(|(tool, _)| *tool).collect()).collect()
    }

    #[test]
    fn who_is_too_close_for_a_tool_is_so_for_those_ahead_that_need_as_much() {
        assert_eq!(names(close_sets(&vec![])), [Vec::<usize>::new()]);
        // The same spacing: the first, or the first two, or all three.
        let same = names(close_sets(&vec![(0, 30), (2, 30), (5, 30)]));
        assert_eq!(same, [vec![], vec![0], vec![0, 2], vec![0, 2, 5]]);
        // The second needs more than the first: it may find close what the first did not.
        let more = names(close_sets(&vec![(0, 30), (1, 40)]));
        assert_eq!(more, [vec![], vec![0], vec![1], vec![0, 1]]);
        let many: Close = (0..60).map(|tool| (tool, 30)).collect();
        assert_eq!(names(close_sets(&many)).len(), 61);
        let rising: Close = (0..7).map(|tool| (tool, 30 + tool as Nanos)).collect();
        assert_eq!(close_sets(&rising), None, "128 sets");
    }
}
