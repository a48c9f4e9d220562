use super::*;

fn laws() -> Vec<Law> {
    let shapes = vec![
        Shape::Uniform { from: 1.0, to: 4.0 },
        Shape::Triangular { low: 1.0, likely: 1.5, high: 4.0 },
        Shape::Triangular { low: 1.0, likely: 1.0, high: 4.0 },
        Shape::Exponential { mean: 2.0 },
        Shape::Gamma { mean: 2.0, spread: 0.5 },
        Shape::Gamma { mean: 2.0, spread: 2.0 },
        Shape::Gamma { mean: 2.0, spread: 3.5 },
        Shape::Gamma { mean: 2.0, spread: 0.01 },
        Shape::Lognormal { mean: 2.0, spread: 0.6 },
        Shape::Weibull { shape: 0.8, scale: 3.0 },
        Shape::Weibull { shape: 1.0, scale: 3.0 },
        Shape::Weibull { shape: 2.5, scale: 3.0 },
        Shape::Geometric { mean: 2.0, step: 0.5 },
        Shape::Geometric { mean: 1.05, step: 1.0 },
        Shape::Binomial { trials: 12, chance: 0.3 },
        Shape::Binomial { trials: 4_000_000, chance: 0.9 },
        Shape::Poisson { mean: 0.02 },
        Shape::Poisson { mean: 3.4 },
        Shape::Poisson { mean: 2.5e5 },
        Shape::Table(vec![(5.0, 1.0), (1.0, 3.0), (9.0, 0.0), (2.0, 0.5)]),
        Shape::Observed(vec![3.0, 1.0, 2.0, 1.0, 8.0]),
    ];
    shapes.into_iter().map(|shape| Law { minimum: 0.25, shape }).collect()
}

const METHODS: [Method; 2] = [Method::Fast, Method::Inversion];

/// Mean and variance against the law, with the standard errors of the sample itself. 42 rows, two checks each,
/// 5 standard errors: false alarm about 5e-5 (a little more for the skewed variances).
#[test]
fn moments_are_those_of_the_law() {
    const N: u32 = 40_000;
    for (i, law) in laws().iter().enumerate() {
        law.check().expect("laws of the test are sound");
        for method in METHODS {
            let sampler = Sampler::new(law, 3.0, method);
            assert_eq!(sampler.mean(), 3.0 * law.mean());
            let mut stream = Stream::new(11, i as u64, "test", "moments");
            let n = f64::from(N);
            let (mean, variance) = (3.0 * law.mean(), 9.0 * law.variance());
            let (mut sum, mut squares, mut fourth) = (0.0, 0.0, 0.0);
            for _ in 0..N {
                let x = sampler.draw(&mut stream);
                assert!(x >= 3.0 * law.least(), "{law:?} gave {x}");
                let square = (x - mean) * (x - mean);
                sum += x - mean;
                squares += square;
                fourth += square * square;
            }
            let error = (variance / n).sqrt();
            assert!((sum / n).abs() < 5.0 * error, "{law:?} {method:?}: mean off by {} ({error})", sum / n);
            let error = ((fourth / n - variance * variance).max(0.0) / n).sqrt() + 1e-12 * variance;
            let off = squares / n - variance;
            assert!(off.abs() < 5.0 * error, "{law:?} {method:?}: variance off by {off} ({error})");
        }
    }
}

/// Both methods draw the same law: distribution functions compared at 2.5 / sqrt(n / 2) (Smirnov, 1939:
/// false alarm 2 exp(-2 * 2.5^2) = 7.5e-6 each, less for discrete laws).
#[test]
fn methods_agree_in_distribution() {
    const N: usize = 20_000;
    for (i, law) in laws().iter().enumerate() {
        let [a, b] = METHODS.map(|method| {
            let sampler = Sampler::new(law, 1.0, method);
            let mut stream =
                Stream::new(12, i as u64, "test", if method == Method::Fast { "f" } else { "i" });
            let mut draws: Vec<f64> = (0..N).map(|_| sampler.draw(&mut stream)).collect();
            draws.sort_by(f64::total_cmp);
            draws
        });
        let worst = a.iter().chain(&b).fold(0.0_f64, |worst, x| {
            let below = |list: &[f64]| list.partition_point(|y| y <= x) as f64 / N as f64;
            worst.max((below(&a) - below(&b)).abs())
        });
        assert!(worst < 2.5 / (N as f64 / 2.0).sqrt(), "{law:?}: distance {worst}");
    }
}

#[test]
fn inversion_takes_one_word_and_is_monotone_in_it() {
    for law in laws() {
        let sampler = Sampler::new(&law, 1.0, Method::Inversion);
        let stream = Stream::new(13, 0, "test", "monotone");
        let mut rows: Vec<(u64, f64, f64)> = Vec::new();
        let (mut words, mut plain, mut mirror) = (stream.clone(), stream.clone(), stream.mirrored());
        for _ in 0..3000 {
            rows.push((words.next_u64(), sampler.draw(&mut plain), sampler.draw(&mut mirror)));
            assert_eq!(words, plain, "{law:?}: not one word per draw");
        }
        rows.sort_by_key(|row| row.0);
        for pair in rows.windows(2) {
            assert!(pair[0].1 <= pair[1].1, "{law:?}: falls from {:?} to {:?}", pair[0], pair[1]);
            assert!(pair[0].2 >= pair[1].2, "{law:?}: mirrored rises from {:?} to {:?}", pair[0], pair[1]);
        }
        assert!(rows[0].1 < rows[2999].1 && rows[0].2 > rows[2999].2);
    }
}

#[test]
fn a_fixed_law_leaves_the_stream_alone() {
    let stream = Stream::new(14, 0, "test", "fixed");
    let shapes = [
        Shape::Fixed(0.6),
        Shape::Gamma { mean: 0.6, spread: 0.0 },
        Shape::Table(vec![(0.6, 2.0)]),
        Shape::Geometric { mean: 0.6, step: 0.6 },
    ];
    for shape in shapes {
        for method in METHODS {
            let sampler = Sampler::new(&shape.clone().into(), 1.0, method);
            let mut used = stream.clone();
            assert!(sampler.is_fixed());
            assert_eq!(sampler.draw_ns(&mut used), 600_000_000);
            assert_eq!(sampler.draw(&mut used), 0.6);
            assert_eq!(used, stream);
        }
    }
    // A chance of nothing, or of everything, is a fixed count.
    for (chance, count) in [(0.0, 0), (1.0, 5)] {
        let sampler = Sampler::new(&Shape::Binomial { trials: 5, chance }.into(), 1.0, Method::Fast);
        assert_eq!(sampler.draw_count(&mut stream.clone()), count);
    }
}

#[test]
fn times_are_rounded_to_the_nearest_nanosecond_and_bounded() {
    let mut stream = Stream::new(15, 0, "test", "rounding");
    let ns = |x: f64, scale: f64| {
        Sampler::new(&Law::fixed(x), scale, Method::Fast).draw_ns(&mut Stream::new(0, 0, "", ""))
    };
    assert_eq!(ns(1.4e-9, 1.0), 1);
    assert_eq!(ns(1.6e-9, 1.0), 2);
    assert_eq!(ns(0.9, 2.0 / 3.0), 600_000_000);
    assert_eq!(ns(1e300, 1.0), LONGEST_NS);
    assert_eq!((nearest(-3.0), nearest(0.49), nearest(0.499_999_999_999_999_94)), (0, 0, 0));
    assert_eq!((nearest(1e15 + 0.75), nearest(2.5), nearest(3.5)), (1_000_000_000_000_001, 2, 4));
    for law in laws() {
        for method in METHODS {
            let sampler = Sampler::new(&law, 0.5, method);
            for _ in 0..200 {
                let (mut a, mut b) = (stream.clone(), stream.clone());
                let seconds = sampler.draw(&mut a);
                let off = sampler.draw_ns(&mut stream) as f64 - (seconds * 1e9).min(LONGEST_NS as f64);
                // Beyond the rounding itself only the last bits of the product.
                assert!(off.abs() <= 0.5 + 1e-15 * seconds * 1e9, "{law:?}: {off}");
                assert!((sampler.draw_count(&mut b) as f64 - seconds).abs() <= 0.5);
            }
        }
    }
}

/// Check value S-38: exponentials made by inversion from U and 1 - U have correlation 1 - pi^2/6, whatever the
/// means (variance-reduction textbooks; closed form).
#[test]
fn mirrored_exponentials_have_the_textbook_correlation() {
    const N: u32 = 400_000;
    let first = Sampler::new(&Shape::Exponential { mean: 1.0 }.into(), 1.0, Method::Inversion);
    let second = Sampler::new(&Shape::Exponential { mean: 5.0 }.into(), 1.0, Method::Inversion);
    let mut plain = Stream::new(16, 0, "test", "mirror");
    let mut mirror = plain.clone().mirrored();
    // Known means and spreads, so the estimate is a mean of products with an error of its own.
    let (mut sum, mut squares) = (0.0, 0.0);
    for _ in 0..N {
        let product = (first.draw(&mut plain) - 1.0) * (second.draw(&mut mirror) / 5.0 - 1.0);
        sum += product;
        squares += product * product;
    }
    let n = f64::from(N);
    let mean = sum / n;
    let error = ((squares / n - mean * mean) / n).sqrt();
    assert!((mean + 0.644_934_066_8).abs() < 4.5 * error, "{mean} +- {error}");
    assert!(error < 0.002);
}

/// Check value T-09: mean of min(G1, max(G2, G3)) for Weibull lives of shape 0.5 and scale 1 is 7/9 (Law and
/// Kelton, Simulation Modeling and Analysis; printed as 0.778, from memory; closed form agrees).
#[test]
fn weibull_lives_of_a_device_have_the_textbook_mean() {
    const N: u32 = 200_000;
    for method in METHODS {
        let life = Sampler::new(&Shape::Weibull { shape: 0.5, scale: 1.0 }.into(), 1.0, method);
        let mut stream = Stream::new(17, 0, "test", "device");
        let (mut sum, mut squares) = (0.0, 0.0);
        for _ in 0..N {
            let [a, b, c] = [(); 3].map(|()| life.draw(&mut stream));
            let device = a.min(b.max(c));
            sum += device;
            squares += device * device;
        }
        let n = f64::from(N);
        let mean = sum / n;
        let error = ((squares / n - mean * mean) / n).sqrt();
        assert!((mean - 7.0 / 9.0).abs() < 4.5 * error, "{method:?}: {mean} +- {error}");
        assert!(error < 0.01);
    }
}

#[test]
fn samplers_stay_small() {
    assert!(size_of::<Sampler>() <= 72, "{} bytes", size_of::<Sampler>());
}

/// First draws of every law and method, so that a change of any algorithm is noticed: results would change.
#[test]
fn draws_are_pinned() {
    let found: Vec<(u64, u64)> = laws()
        .iter()
        .map(|law| {
            let [fast, inversion] = METHODS.map(|method| {
                let sampler = Sampler::new(law, 1.0, method);
                let mut stream = Stream::new(18, 0, "test", "pinned");
                (0..100).fold(0, |hash: u64, _| {
                    let draw = sampler.draw(&mut stream).to_bits();
                    (hash ^ draw).wrapping_mul(0x9e37_79b9_7f4a_7c15).rotate_left(29)
                })
            });
            (fast, inversion)
        })
        .collect();
    assert_eq!(found, PINNED);
}
#[rustfmt::skip]
const PINNED: [(u64, u64); 21] = [
    (0xb769_adbd_e5af_7b41, 0xb769_adbd_e5af_7b41),
    (0xa99b_f9f3_1cfe_5994, 0xa99b_f9f3_1cfe_5994),
    (0xbb0b_709b_694b_d9a6, 0xbb0b_709b_694b_d9a6),
    (0xf914_7f57_89f8_e69a, 0xa118_9daf_88db_e419),
    (0x1f23_6db3_2b64_682d, 0xb75a_9763_55e8_1a7a),
    (0xf914_7f57_89f8_e69a, 0xa118_9daf_88db_e419),
    (0x80ec_8831_57a2_375b, 0x4962_4a37_fbe9_41d5),
    (0x9dc1_4c3f_9460_4e3d, 0x146f_42a2_2222_ceac),
    (0x34ac_9bfa_ce30_6a58, 0x69ef_9b56_7aa8_30f7),
    (0x1acc_0ed8_1047_0a60, 0x8674_8c6a_fbeb_9b6f),
    (0x36cc_37f7_fa6e_69e0, 0xd186_802a_e6ca_a35e),
    (0x4cda_7c59_d2b8_64ff, 0xd7ad_1510_0ff2_b734),
    (0xcc8a_28cc_c32b_2a00, 0xe036_eeea_bce5_107d),
    (0x14aa_6179_38f4_3e59, 0x15f4_045c_c192_d467),
    (0xdd2c_ccaf_757e_b348, 0xdd2c_ccaf_757e_b348),
    (0x74c7_1ac4_0cb3_8378, 0x74c7_1ac4_0cb3_8378),
    (0x081a_b708_244b_b03b, 0x081a_b708_244b_b03b),
    (0x4b33_a842_4b8b_03e5, 0x4b33_a842_4b8b_03e5),
    (0x703c_e98a_c9dd_e840, 0x703c_e98a_c9dd_e840),
    (0x8510_0e56_df6e_ffd2, 0xecbc_7640_aac2_08bc),
    (0x83fb_1fc8_ad0f_c51b, 0x83fb_1fc8_ad0f_c51b),
];
