use sim_core::{kernel::*, network::compile, replication::*, scenario};
fn main() {
    let text = std::fs::read_to_string(std::env::args().nth(1).unwrap()).unwrap();
    let seed: u64 = std::env::args().nth(2).unwrap().parse().unwrap();
    let s = scenario::read(&text).scenario.unwrap();
    let plan = compile(&s);
    let mut r = Replica::new(&plan, seed, 0, ());
    for _ in 0..12 {
        let stop = r.run_until(400_000_000_000);
        println!("{stop:?} now {} events {}", r.floor.now, r.n_events);
        for ix in 0..plan.names.posts.len() {
            println!(
                "   {ix} {} {:?} {:?} body {:?}",
                plan.names.posts[ix],
                r.floor.state(StationId(ix as u16)),
                plan.links.exits.get(ix),
                plan.links.bodies.get(ix)
            );
        }
        for ix in 0..r.floor.n_places() {
            let p = r.floor.place(PlaceId(ix as u16));
            println!(
                "   place {ix} {} {}/{} due {:?} waiting {:?}",
                plan.names.places[ix],
                p.len(),
                p.capacity(),
                p.head_due(),
                p.waiting()
            );
        }
        for s in r.floor.sensors() {
            println!(
                "   sensor {} on {} pending {} high {} low {}",
                s.post.0, s.on, s.pending, s.high, s.low
            );
        }
        if stop == Stop::TimeReached {
            break;
        }
    }
}
