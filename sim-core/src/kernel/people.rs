//! Attendants: pools of people who are called, walk and work.
//!
//! A call = notice time + queue + walk + work. Calls are served by priority, then in order of calling, and
//! are not interrupted; a task begun before a break is finished first. A pool that *helps* another one answers its
//! calls too, but only while none of its own waits, and only those for which the other has nobody free. A walk
//! takes the pool's time, or that to the station if one is given, each from home or from the last task.

use super::calendar::TimerId;
use super::floor::{Floor, Message, OFF, StationId};
use super::luck::{Stream, StreamKey};
use super::observer::{Draw, Note, Observer};
use super::sampler::Sampler;
use super::state::State;
use crate::part::Nanos;

/// What an attendant is called for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Job {
    /// To clear the trouble with this number.
    Clear(u16),
    /// A task of the calling station, with its number and the time it takes, ns.
    Task(u8, Nanos),
    /// The same, but the station is told when it begins (by the number) and when it is done (by the next number).
    Visit(u8, Nanos),
}

#[derive(Clone, Copy, Debug)]
struct Call {
    priority: u8,
    order: u64,
    station: StationId,
    job: Job,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Doing {
    Nothing,
    Walking(StationId, Job),
    Working(StationId, Job),
}

/// One attendant.
#[derive(Clone, Debug)]
struct Attendant {
    /// Number among the posts, for the account of time.
    post: StationId,
    timer: TimerId,
    doing: Doing,
    at: Option<StationId>,
}

/// Where an attendant's walk begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WalkFrom {
    /// Always from home: every call costs a walk.
    Home,
    /// From the last task: no walk if it was at the same station.
    LastTask,
}

/// A pool of attendants with the same duties.
#[derive(Clone, Debug)]
pub struct Pool {
    attendants: Vec<Attendant>,
    walk: Sampler,
    /// Walks to some stations.
    walk_to: Vec<(StationId, Sampler)>,
    walk_from: WalkFrom,
    /// Pools whose calls it answers when it has none of its own.
    helps: Vec<u16>,
    /// Priority by station number, lower first; stations beyond the list have 0.
    priority: Vec<u8>,
    key: StreamKey,
    luck: Stream,
    calls: Vec<Call>,
    n_calls: u64,
}

impl Pool {
    /// A pool; `attendants` gives the post and timer of each.
    pub fn new(
        attendants: Vec<(StationId, TimerId)>,
        walk: Sampler,
        walk_from: WalkFrom,
        priority: Vec<u8>,
        key: StreamKey,
    ) -> Self {
        let free = |(post, timer)| Attendant { post, timer, doing: Doing::Nothing, at: None };
        let attendants = attendants.into_iter().map(free).collect();
        let luck = key.stream(0, 0);
        Pool {
            attendants,
            walk,
            walk_to: Vec::new(),
            walk_from,
            helps: Vec::new(),
            priority,
            key,
            luck,
            calls: Vec::with_capacity(16),
            n_calls: 0,
        }
    }

    /// The same pool with walks of their own to some stations.
    #[must_use]
    pub fn with_walks(self, walk_to: Vec<(StationId, Sampler)>) -> Self {
        Pool { walk_to, ..self }
    }

    /// The same pool that answers the calls of others when it has none of its own.
    #[must_use]
    pub fn with_helps(self, helps: Vec<u16>) -> Self {
        Pool { helps, ..self }
    }

    /// Mean time of a walk to a station that has none of its own, s.
    pub fn mean_walk_s(&self) -> f64 {
        self.walk.mean()
    }

    /// A walk, and what it is off its mean, ns.
    fn draw_walk(&mut self, to: StationId) -> (Nanos, f64) {
        let own = self.walk_to.iter().find(|(station, _)| *station == to);
        let law = own.map_or(&self.walk, |(_, walk)| walk);
        let time = law.draw_ns(&mut self.luck);
        (time, law.off_mean_ns(time))
    }

    /// Starts the pool's luck for a replication.
    pub fn seed(&mut self, seed: u64, replication: u64) {
        self.luck = self.key.stream(seed, replication);
    }

    /// Number of calls that wait.
    pub fn n_waiting(&self) -> usize {
        self.calls.len()
    }

    fn next_call(&mut self) -> Option<Call> {
        let first = self.calls.iter().enumerate().min_by_key(|(_, call)| (call.priority, call.order))?.0;
        Some(self.calls.remove(first))
    }
}

impl<O: Observer> Floor<O> {
    /// All pools, for seeding.
    pub fn pools_mut(&mut self) -> &mut [Pool] {
        &mut self.pools
    }

    /// Calls for somebody of a pool.
    pub fn call(&mut self, pool: u16, station: StationId, job: Job) {
        let crew = &mut self.pools[usize::from(pool)];
        let priority = crew.priority.get(station.ix()).copied().unwrap_or(0);
        crew.n_calls += 1;
        let order = crew.n_calls;
        crew.calls.push(Call { priority, order, station, job });
        self.note(station, Note::Called, None);
        self.assign(pool);
    }

    /// Sends free attendants to the calls of a pool and of those that it helps.
    pub(super) fn assign_all(&mut self, pool: u16) {
        self.assign(pool);
        for n in 0..self.pools[usize::from(pool)].helps.len() {
            self.assign(self.pools[usize::from(pool)].helps[n]);
        }
    }

    /// Sends free attendants to the waiting calls of a pool.
    fn assign(&mut self, pool: u16) {
        while self.pools[usize::from(pool)].n_waiting() > 0 {
            let Some((crew_ix, who)) = self.free_for(pool) else { return };
            let Some(call) = self.pools[usize::from(pool)].next_call() else { return };
            let crew = &mut self.pools[usize::from(crew_ix)];
            let there = crew.walk_from == WalkFrom::LastTask && crew.attendants[who].at == Some(call.station);
            let (walk, off) = if there { (0, 0.0) } else { crew.draw_walk(call.station) };
            let attendant = &mut crew.attendants[who];
            attendant.doing = Doing::Walking(call.station, call.job);
            let (post, timer) = (attendant.post, attendant.timer);
            self.observer.drew(Draw::Walk(crew_ix), off);
            self.set_state(post, State::Working);
            if walk == 0 { self.arrive(crew_ix, who) } else { self.set_timer(timer, walk) }
        }
    }

    /// The timer of the attendant who clears a trouble.
    pub(super) fn timer_of_clearing(&self, trouble: u16) -> Option<TimerId> {
        let mut attendants = self.pools.iter().flat_map(|pool| &pool.attendants);
        let clears = |a: &&Attendant| matches!(a.doing, Doing::Working(_, Job::Clear(ix)) if ix == trouble);
        attendants.find(clears).map(|attendant| attendant.timer)
    }

    /// Who is free to answer a call of `pool`: one of its own, or of a pool that helps it and has nothing else to do.
    fn free_for(&self, pool: u16) -> Option<(u16, usize)> {
        let free = |a: &Attendant| a.doing == Doing::Nothing && self.hot[a.post.ix()].bars & OFF == 0;
        let free_of = |ix: u16| Some((ix, self.pools[usize::from(ix)].attendants.iter().position(free)?));
        free_of(pool).or_else(|| {
            let helpers = (0..self.pools.len() as u16).filter(|ix| {
                let crew = &self.pools[usize::from(*ix)];
                crew.n_waiting() == 0 && crew.helps.contains(&pool)
            });
            helpers.filter_map(free_of).next()
        })
    }

    fn arrive(&mut self, pool: u16, who: usize) {
        let attendant = &mut self.pools[usize::from(pool)].attendants[who];
        let Doing::Walking(station, job) = attendant.doing else {
            panic!("only an attendant who walks arrives")
        };
        attendant.doing = Doing::Working(station, job);
        attendant.at = Some(station);
        let timer = attendant.timer;
        self.note(station, Note::Attended, None);
        let work = match job {
            Job::Clear(trouble) => self.attend_trouble(trouble),
            Job::Task(_, time) => time,
            Job::Visit(task, time) => {
                self.messages.push((station, Message::Attended(task)));
                self.dirty.insert(station.0);
                time
            }
        };
        self.set_timer(timer, work);
    }

    /// The timer of attendant `who` of `pool` has run out: the walk or the work is over.
    pub fn fire_attendant(&mut self, pool: u16, who: u16) {
        let who = usize::from(who);
        let attendant = &mut self.pools[usize::from(pool)].attendants[who];
        match attendant.doing {
            Doing::Walking(..) => self.arrive(pool, who),
            Doing::Working(station, job) => {
                attendant.doing = Doing::Nothing;
                let post = attendant.post;
                match job {
                    Job::Clear(trouble) => self.end(trouble),
                    Job::Task(task, _) => {
                        self.messages.push((station, Message::Attended(task)));
                        self.dirty.insert(station.0);
                    }
                    Job::Visit(task, _) => {
                        self.messages.push((station, Message::Attended(task + 1)));
                        self.dirty.insert(station.0);
                    }
                }
                self.assign_all(pool);
                let free = self.pools[usize::from(pool)].attendants[who].doing == Doing::Nothing;
                if free {
                    self.set_idle(post, false);
                }
            }
            Doing::Nothing => panic!("an attendant's timer runs only during a walk or a task"),
        }
    }
}

#[cfg(test)]
#[path = "people_tests.rs"]
mod tests;
