use sim_core::kernel::dice::Outcomes;
use sim_core::kernel::people::*;
use sim_core::kernel::sampler::*;
use sim_core::kernel::troubles::*;
use sim_core::kernel::*;
use sim_core::measure::*;
use sim_core::network::*;
use sim_core::replication::*;
use sim_core::stations::*;
use sim_core::terms::law::*;
fn law(shape: Shape) -> Sampler {
    Sampler::new(&Law { minimum: 0.0, shape }, 1.0, Method::Fast)
}
fn fixed(s: f64) -> Sampler {
    law(Shape::Fixed(s))
}
const S: u64 = 1_000_000_000;
fn main() {
    // ranks: C1 0, C2 1, D 2, E 3, T.. no; O 4, F 5 ; carriers X1 6 X2 7 T 8 B 9 ; attendant 10
    let s = |n: u16| StationId(n);
    let (c1, c2, x1, x2, d, e, t, o, b, f) = (s(0), s(1), s(2), s(3), s(4), s(5), s(6), s(7), s(8), s(9));
    let n = 11;
    let mut posts: Vec<Post> = (0..n).map(|_| Post::default()).collect();
    let mut owners = vec![];
    let mut timer = |owner: Owner| {
        owners.push(owner);
        TimerId(owners.len() as u16 - 1)
    };
    let tc1 = timer(Owner::Station { ix: 0, which: 0 });
    let tc2 = timer(Owner::Station { ix: 1, which: 0 });
    let sc1 = timer(Owner::Stop(c1));
    let sc2 = timer(Owner::Stop(c2));
    let td = timer(Owner::Station { ix: d.0, which: 0 });
    let te = timer(Owner::Station { ix: e.0, which: 0 });
    let to = timer(Owner::Station { ix: o.0, which: 0 });
    let tf = timer(Owner::Station { ix: f.0, which: 0 });
    let ta = timer(Owner::Attendant { pool: 0, who: 0 });
    // places: 0 X1, 1 X2, 2 T, 3 B, 4 E.hand, 5 F.hand
    let p = |n: u16| PlaceId(n);
    let mut places = vec![
        Place::fifo(15, 3 * S),
        Place::fifo(15, 3 * S),
        Place::fifo(30, 4 * S),
        Place::fifo(UNLIMITED, 10 * S),
        Place::hand(e),
        Place::hand(f),
    ];
    places[0].set_takers(&[c1], Spread::Listed);
    places[0].set_carrier(x1);
    places[1].set_takers(&[c2], Spread::Listed);
    places[1].set_carrier(x2);
    places[2].set_takers(&[e], Spread::Listed);
    places[2].set_carrier(t);
    places[3].set_takers(&[o], Spread::Listed);
    places[3].set_carrier(b);
    places[4].set_takers(&[d], Spread::Listed);
    places[5].set_takers(&[o], Spread::Listed);
    let inl = |v: Vec<u16>| Inlets { places: v.into_iter().map(p).collect(), join: Join::Listed };
    let machine = |me, al, pl, name: &str| {
        Station::Machine(machine::Machine::new(
            me,
            Alarm::new(al),
            None,
            vec![machine::MachineInlet { inlets: inl(vec![pl]), per_stroke: 1, nest: None }],
            None,
            fixed(1.1),
            Exit::Leave,
            Dice::new(name, "cycle"),
        ))
    };
    let path = path::Path::new(
        o,
        Alarm::new(to),
        path::PathSetup {
            inlets: inl(vec![3, 5]),
            exits: vec![
                path::PathExit { exit: Exit::Store(p(2)), comeback: tools::Comeback::AsLeft },
                path::PathExit { exit: Exit::Store(p(3)), comeback: tools::Comeback::Remix },
            ],
            tools: vec![tools::Tool::new(vec![
                tools::Row::new(&[(tools::Fate::Onward(0), 0.5), (tools::Fate::Exit(1), 0.5)]).unwrap(),
            ])],
            classes: tools::Classes::new(&[(1, 1)]),
            overflow: None,
        },
        law(Shape::Uniform { from: 0.2, to: 0.3 }),
        Dice::new("O", "tools"),
    );
    let stations = vec![
        machine(c1, tc1, 0, "C1"),
        machine(c2, tc2, 1, "C2"),
        Station::Carrier(carrier::Carrier::new(x1, None, p(0))),
        Station::Carrier(carrier::Carrier::new(x2, None, p(1))),
        Station::Divider(divider::Divider::new(
            d,
            Alarm::new(td),
            inl(vec![4]),
            vec![Exit::Store(p(0)), Exit::Store(p(1))],
            divider::Rule::FirstWithRoom,
        )),
        Station::Work(work::Work::new(
            e,
            Alarm::new(te),
            work::Source::Inlets(inl(vec![2])),
            Exit::Hand(p(4)),
            1,
            fixed(0.6),
            Dice::new("E", "time"),
        )),
        Station::Carrier(carrier::Carrier::new(t, None, p(2))),
        Station::Path(path),
        Station::Carrier(carrier::Carrier::new(b, None, p(3))),
        Station::Work(work::Work::new(
            f,
            Alarm::new(tf),
            work::Source::Endless(0, Dice::new("F", "parts")),
            Exit::Hand(p(5)),
            1,
            law(Shape::Exponential { mean: 0.4 }),
            Dice::new("F", "time"),
        )),
    ];
    let mut troubles = vec![];
    for (c, st, tm) in [(c1, sc1, tc1), (c2, sc2, tc2)] {
        posts[c.ix()].troubles = vec![troubles.len() as u16];
        posts[c.ix()].stop_timer = Some(st);
        posts[c.ix()].timers = vec![tm];
        troubles.push(Trouble::new(
            c,
            StopKind::Jam,
            Trigger::Part { moment: Moment::After, chances: vec![0.002], countdowns: vec![], first: vec![] },
            None,
            Some(0),
            fixed(0.0),
            law(Shape::Exponential { mean: 20.0 }),
            None,
            StreamKey::new(if c == c1 { "C1" } else { "C2" }, "jam"),
        ));
    }
    let pools =
        vec![Pool::new(vec![(s(10), ta)], fixed(0.0), WalkFrom::Home, vec![], StreamKey::new("A", "walk"))];
    let one = Outcomes::new(&[1.0]).unwrap();
    let kinds = vec![KindNow { conditions: one.clone(), attitudes: one, right_way: 1, n_sizes: 0 }];
    let setup = TallySetup {
        n_posts: n,
        capacities: places.iter().map(|p| p.capacity()).collect(),
        n_troubles: 2,
        points: vec![c1, c2],
        right_way: vec![1],
        inlets: vec![],
        measures: vec![],
    };
    let plan = Plan {
        stations,
        outfit: Outfit { n_timers: owners.len(), places, posts, kinds, troubles, pools, sensors: vec![] },
        owners,
        breaks: vec![],
        first_sensor: 11,
        links: Links {
            inlets: vec![vec![]; n],
            exits: {
                let mut v = vec![vec![]; n];
                v[9] = vec![Exit::Hand(p(5))];
                v[3] = vec![Exit::Hand(p(4))];
                v[7] = vec![Exit::Store(p(2)), Exit::Store(p(3))];
                v
            },
            feeders: vec![vec![]; 6],
            bodies: vec![None; n],
        },
        fills: vec![],
        names: Names::default(),
        tally: TallySetup::default(),
        events_max: u64::MAX,
        open_ns: 600 * S,
        close_ns: 28800 * S,
    };
    let reps: u64 = std::env::args().nth(1).unwrap().parse().unwrap();
    let mut sums = [0.0f64; 14];
    let t0 = std::time::Instant::now();
    let mut events = 0;
    for rep in 0..reps {
        let mut r = Replica::new(&plan, 1, rep, Tally::new(&setup));
        assert_eq!(r.run_until(600 * S), Stop::TimeReached);
        r.floor.observer.open(600 * S);
        assert_eq!(r.run_until(28800 * S), Stop::TimeReached);
        r.floor.observer.close(28800 * S);
        assert!(r.conserves_parts());
        events += r.n_events;
        let y = &r.floor.observer;
        let w = 28200.0 * 1e9;
        let good = [y.points[0].good as f64, y.points[1].good as f64];
        let st =
            |i: StationId, s: &[State]| s.iter().map(|s| y.time[i.ix()][*s as usize] as f64 / w).sum::<f64>();
        let row = [
            (good[0] + good[1]) * 3600e9 / w,
            good[0] / (good[0] + good[1]),
            y.levels[2].area() as f64 / w,
            y.levels[3].area() as f64 / w,
            y.levels[0].area() as f64 / w,
            y.levels[1].area() as f64 / w,
            st(e, &[State::Starved]),
            st(e, &[State::Blocked]),
            st(o, &[State::Starved]),
            st(o, &[State::Blocked]),
            st(c1, &[State::Starved]),
            st(c2, &[State::Starved]),
            st(c1, &[State::JamWaiting, State::JamClearing]),
            st(c2, &[State::JamWaiting, State::JamClearing]),
        ];
        for (a, b) in sums.iter_mut().zip(row) {
            *a += b;
        }
    }
    let w = t0.elapsed().as_secs_f64();
    eprintln!("{:.1} reps/s, {:.1} ns/event {}", reps as f64 / w, w * 1e9 / events as f64, events / reps);
    let names =
        ["thr", "share1", "T", "B", "X1", "X2", "Est", "Ebl", "Ost", "Obl", "C1st", "C2st", "C1dn", "C2dn"];
    for (n, s) in names.iter().zip(sums) {
        println!("{n} {:.5}", s / reps as f64);
    }
}
