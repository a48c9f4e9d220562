use sim_core::kernel::State;
use sim_core::measure::Tally;
use sim_core::replication::{Replica, Stop};
use sim_core::{network, scenario};
fn main() {
    let file = std::env::args().nth(1).unwrap();
    let reps: u64 = std::env::args().nth(2).unwrap().parse().unwrap();
    let text = std::fs::read_to_string(file).unwrap();
    let checked = scenario::read(&text);
    for p in &checked.problems {
        println!("{p:?}");
    }
    let Some(s) = checked.scenario else { return };
    let plan = network::compile(&s);
    let mut tallies: Vec<Tally> = vec![];
    let t0 = std::time::Instant::now();
    let mut events = 0;
    let mut stops = 0;
    for rep in 0..reps {
        let mut r = Replica::new(&plan, 1, rep, Tally::new(&plan.tally));
        let a = r.run_until(plan.open_ns);
        r.floor.observer.open(plan.open_ns);
        let b = r.run_until(plan.close_ns);
        if b != Stop::TimeReached {
            println!("{a:?} {b:?}");
            stops += 1;
        }
        r.floor.now = plan.close_ns;
        r.floor.observer.close(plan.close_ns);
        assert!(r.conserves_parts());
        events += r.n_events;
        tallies.push(r.floor.observer);
    }
    let w = t0.elapsed().as_secs_f64();
    println!(
        "{} reps/s, {:.1} ns/event, {} events/rep, {stops} stops",
        reps as f64 / w,
        w * 1e9 / events as f64,
        events / reps
    );
    let n = reps as f64;
    let win = (plan.close_ns - plan.open_ns) as f64;
    for (ix, name) in plan.names.posts.iter().enumerate() {
        let mut line = format!("{name:24}");
        for st in State::ALL {
            let x = tallies.iter().map(|t| t.time[ix][st as usize] as f64).sum::<f64>() / n / win;
            if x > 0.0 {
                line += &format!(" {} {:.4}", st.word(), x);
            }
        }
        let ex: Vec<f64> =
            (0..4).map(|e| tallies.iter().map(|t| t.counts[ix].exits[e] as f64).sum::<f64>() / n).collect();
        println!("{line} exits {ex:?}");
    }
    for (ix, name) in plan.names.places.iter().enumerate() {
        println!(
            "{name:24} mean {:.4}",
            tallies.iter().map(|t| t.levels[ix].area() as f64).sum::<f64>() / n / win
        );
    }
    for (k, p) in plan.tally.points.iter().enumerate() {
        let g = tallies.iter().map(|t| t.points[k].good as f64).sum::<f64>() / n;
        println!(
            "point {} good/min {:.4} bad {}",
            plan.names.posts[p.ix()],
            g / (win / 60e9),
            tallies.iter().map(|t| t.points[k].bad).sum::<u64>()
        );
    }
}
