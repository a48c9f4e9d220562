//! Random networks against a plain power iteration that shares no code with the balance.

use super::{Routes, Sorter, balance, flow, put, scenario};

/// A few random numbers: xorshift64* (Vigna 2016), seeded.
struct Dice(u64);

impl Dice {
    fn share(&mut self) -> f64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn below(&mut self, n: usize) -> usize {
        ((self.share() * n as f64) as usize).min(n - 1)
    }
}

/// Stations `S0` ...; exit e of station s leads to `targets[s][e]` (n leaves the line).
struct Web {
    targets: Vec<Vec<usize>>,
    routes: Vec<Vec<Routes>>,
}

const CLASSES: usize = 6;

fn web(dice: &mut Dice) -> Web {
    let n = 2 + dice.below(9);
    let (mut targets, mut routes) = (Vec::new(), Vec::new());
    for station in 0..n {
        // Exit 0 leads on, so that every class can leave; the others lead anywhere.
        let mut own = vec![station + 1];
        (0..dice.below(3)).for_each(|_| own.push(dice.below(n + 1)));
        let of_class = |dice: &mut Dice, class: usize| -> Routes {
            if dice.share() < 0.4 {
                return vec![(0, class, 1.0)];
            }
            let weights: Vec<f64> = (0..3).map(|_| 0.05 + dice.share()).collect();
            let sum: f64 = weights.iter().sum();
            let way = |(k, weight): (usize, &f64)| {
                // The condition stays, the attitude may change (3 attitudes).
                let to = class / 3 * 3 + dice.below(3);
                ((if k == 0 { 0 } else { dice.below(own.len()) }) as u8, to, weight / sum)
            };
            weights.iter().enumerate().map(way).collect()
        };
        routes.push((0..CLASSES).map(|class| of_class(dice, class)).collect());
        targets.push(own);
    }
    Web { targets, routes }
}

/// Flow through each station for one fresh part: parts are pushed on until hardly any is left.
fn pushed(web: &Web, mix: &[f64; CLASSES]) -> (Vec<f64>, f64) {
    let n = web.targets.len();
    let mut wave = vec![[0.0; CLASSES]; n];
    wave[0] = *mix;
    let mut flow = vec![0.0; n];
    let mut good = 0.0;
    loop {
        let mut next = vec![[0.0; CLASSES]; n];
        for station in 0..n {
            for (class, &here) in wave[station].iter().enumerate() {
                flow[station] += here;
                for &(exit, to, share) in &web.routes[station][class] {
                    match web.targets[station][usize::from(exit)] {
                        target if target < n => next[target][to] += here * share,
                        _ => {}
                    }
                    // Good parts count when they go on from the last station.
                    if station == n - 1 && exit == 0 && to == 0 {
                        good += here * share;
                    }
                }
            }
        }
        wave = next;
        if wave.iter().flatten().sum::<f64>() < 1e-15 {
            return (flow, good);
        }
    }
}

#[test]
fn flows_agree_with_pushing_parts_on() {
    const MIX: [f64; CLASSES] = [0.45, 0.27, 0.18, 0.05, 0.03, 0.02];
    for seed in 1..=200_u64 {
        let mut dice = Dice(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15));
        let web = web(&mut dice);
        let n = web.targets.len();
        let work = |k: usize| format!(r#"{{"id": "S{k}", "type": "work", "time": "1 s"}}"#);
        let list: Vec<String> = (0..n).map(work).collect();
        let mut line = scenario(&format!(
            r#""parts": {{"p": {{"attitudes": {{"a": 0.5, "b": 0.3, "c": 0.2}}, "conditions": {{"bad": "10 %"}}}}}},
            "stations": [{{"id": "F", "type": "work", "endless": true, "time": "0 s"}}, {}],
            "promise": {{"at": "S{}", "clauses": {{"mean_rate": "60 /min"}}}}"#,
            list.join(", "),
            n - 1
        ));
        for station in 0..n {
            let name = |&to: &usize| if to < n { format!("S{to}") } else { "out".to_owned() };
            let exits = web.targets[station].iter().map(|to| ("to", name(to))).collect();
            let routes = web.routes[station].clone();
            put(&mut line, &format!("S{station}"), Sorter { exits, routes, seconds: vec![1.0; CLASSES] });
        }
        let found = balance(&line);
        let (wanted, good) = pushed(&web, &MIX);
        for (station, wanted) in wanted.iter().enumerate() {
            let (found, wanted) = (flow(&found, &format!("S{station}")), 60.0 * wanted / good);
            let error = (found - wanted).abs();
            assert!(error <= 1e-8 * wanted.max(1.0), "seed {seed}, S{station}: {found}, pushed {wanted}");
        }
        // The most by the busiest station: 60 of its parts a minute.
        let most = 60.0 * good / wanted.iter().fold(0.0, |a: f64, b| a.max(*b));
        let found = found.most_per_min.unwrap_or(0.0);
        assert!((found - most).abs() <= 1e-8 * most, "seed {seed}: most {found}, by hand {most}");
    }
}
