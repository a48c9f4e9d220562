//! Attendants: pools of people who are called, walk and work.
//!
//! A call = notice time + queue + walk + work. Calls are served by priority, then in order of calling, and
//! are not interrupted; a task begun before a break is finished first.

use super::calendar::TimerId;
use super::floor::{Floor, Message, OFF, StationId};
use super::luck::{Stream, StreamKey};
use super::observer::{Note, Observer};
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
    walk_from: WalkFrom,
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
        Pool { attendants, walk, walk_from, priority, key, luck, calls: Vec::with_capacity(16), n_calls: 0 }
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

    /// Sends free attendants to waiting calls.
    pub(super) fn assign(&mut self, pool: u16) {
        loop {
            let crew = &mut self.pools[usize::from(pool)];
            let hot = &self.hot;
            let free = |a: &Attendant| a.doing == Doing::Nothing && hot[a.post.ix()].bars & OFF == 0;
            let Some(who) = crew.attendants.iter().position(free) else { return };
            let Some(call) = crew.next_call() else { return };
            let there = crew.walk_from == WalkFrom::LastTask && crew.attendants[who].at == Some(call.station);
            let walk = if there { 0 } else { crew.walk.draw_ns(&mut crew.luck) };
            let attendant = &mut crew.attendants[who];
            attendant.doing = Doing::Walking(call.station, call.job);
            let (post, timer) = (attendant.post, attendant.timer);
            self.set_state(post, State::Working);
            if walk == 0 { self.arrive(pool, who) } else { self.set_timer(timer, walk) }
        }
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
                }
                self.assign(pool);
                let free = self.pools[usize::from(pool)].attendants[who].doing == Doing::Nothing;
                if free {
                    self.set_idle(post, false);
                }
            }
            Doing::Nothing => panic!("an attendant's timer runs only during a walk or a task"),
        }
    }
}
