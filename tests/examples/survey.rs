//! Lists all broken claims with one smallest text each.
use feedproof_tests::{judge::*, random_line::random_line, shrink::shrink, trials::*};
use std::collections::BTreeMap;
fn main() {
    be_quiet();
    let limits = Limits { events: 20_000, time: 400_000_000_000, steps: 40, may_loop: false };
    let mut all: BTreeMap<&str, (u64, Vec<(u64, String, _)>)> = BTreeMap::new();
    let (mut knots, mut cut, mut events) = (0, 0, 0);
    let (from, n) = (number("FEEDPROOF_SEED", 1), number("FEEDPROOF_LINES", 3000));
    for seed in from..from + n {
        if std::env::var("VERBOSE").is_ok() {
            eprintln!("{seed}");
        }
        let text = random_line(seed, 1 + (seed % 12) as usize);
        match judge(&text, seed, limits) {
            Err(b) => {
                let e = all.entry(b.claim).or_default();
                e.0 += 1;
                if e.1.len() < 2 {
                    e.1.push((seed, text, b));
                }
            }
            Ok(Verdict::Ran { knotted, cut: c, events: ev, .. }) => {
                knots += u64::from(knotted);
                cut += u64::from(c);
                events += ev;
            }
            Ok(_) => {}
        }
    }
    println!("{n} lines, {knots} knots, {cut} cut, {events} events");
    for (claim, (n, firsts)) in all {
        println!("== {n} x {claim}");
        for (seed, text, b) in firsts {
            println!("   ({seed}: {})", b.found);
            let (small, b) = shrink(&text, seed, limits, b);
            if small.is_empty() {
                continue;
            }
            println!("   seed {seed}: {}\n   {small}", b.found);
        }
    }
}
