//! Quantile plots as pictures (SVG): measured times against those of the fitted law.
//!
//! One panel for each law. A point for each time that ended, at most [`POINTS_MAX`] of them: across, the time at which the law has the
//! share that lies below; up, the time itself. Points on the line: the law is right. Both axes are logarithmic, since times are. It
//! only draws; the fits come as they are.

use sim_core::fit::{Family, Fitted, Sample, TimesFit, survival};
use std::fmt::Write;

/// Most points in a panel.
const POINTS_MAX: usize = 400;
/// Size of a panel.
const SIDE: f64 = 300.0;
/// Room around a panel.
const MARGIN: f64 = 56.0;

/// The plot of all laws that were fitted.
pub(crate) fn quantiles(sample: &Sample, found: &TimesFit) -> String {
    let laws: Vec<Fitted> =
        found.laws.iter().filter_map(|fit| sim_core::fit::estimators::fit(fit.law, sample).ok()).collect();
    let columns = laws.len().clamp(1, 2);
    let rows = laws.len().div_ceil(2).max(1);
    let (width, height) =
        (columns as f64 * (SIDE + MARGIN) + MARGIN, rows as f64 * (SIDE + 1.4 * MARGIN) + MARGIN);
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" width=\"{width}\" \
         height=\"{height}\" font-family=\"sans-serif\" font-size=\"12\">\n\
         <rect width=\"100%\" height=\"100%\" fill=\"white\"/>\n"
    );
    if laws.is_empty() {
        svg.push_str("<text x=\"20\" y=\"40\">No law was fitted.</text>\n");
    }
    for (n, law) in laws.iter().enumerate() {
        let x = MARGIN + (n % 2) as f64 * (SIDE + MARGIN);
        let y = MARGIN + (n / 2) as f64 * (SIDE + 1.4 * MARGIN);
        panel(&mut svg, (x, y), &points(sample, law), law.family, &found.unit);
    }
    svg.push_str("</svg>\n");
    svg
}

/// Quantile of the law and time, for each time that ended and is above zero. Shares lie in the middle of each step of the
/// empirical law (Hazen 1914).
fn points(sample: &Sample, law: &Fitted) -> Vec<(f64, f64)> {
    let steps = survival::steps(sample);
    let stride = steps.len().div_ceil(POINTS_MAX).max(1);
    steps
        .iter()
        .step_by(stride)
        .filter(|step| step.time > 0.0)
        .map(|step| (law.quantile(1.0 - 0.5 * (step.before + step.after)), step.time))
        .collect()
}

fn panel(svg: &mut String, (x, y): (f64, f64), points: &[(f64, f64)], family: Family, unit: &str) {
    let all = || points.iter().flat_map(|(a, b)| [*a, *b]).filter(|value| *value > 0.0);
    let low = all().fold(f64::INFINITY, f64::min);
    let high = all().fold(0.0, f64::max);
    let (low, high) = if low < high { (low / 1.1, high * 1.1) } else { (0.5, 2.0) };
    let at = |value: f64| SIDE * (value.max(low) / low).ln() / (high / low).ln();
    // Writing to a text cannot fail.
    let mut put = |line: String| {
        let _ = writeln!(svg, "{line}");
    };
    put(format!("<g transform=\"translate({x:.1} {y:.1})\">"));
    put(format!("<text x=\"0\" y=\"-10\" font-weight=\"bold\">{}</text>", family.word()));
    put(format!("<rect width=\"{SIDE}\" height=\"{SIDE}\" fill=\"none\" stroke=\"#888\"/>"));
    put(format!("<line x1=\"0\" y1=\"{SIDE}\" x2=\"{SIDE}\" y2=\"0\" stroke=\"#c33\"/>"));
    for tick in ticks(low, high) {
        let place = at(tick);
        put(format!("<text x=\"{place:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{tick}</text>", SIDE + 16.0));
        put(format!("<text x=\"-6\" y=\"{:.1}\" text-anchor=\"end\">{tick}</text>", SIDE - place + 4.0));
    }
    for (law, time) in points {
        put(format!(
            "<circle cx=\"{:.1}\" cy=\"{:.1}\" r=\"2.5\" fill=\"#236\" fill-opacity=\"0.6\"/>",
            at(*law),
            SIDE - at(*time)
        ));
    }
    put(format!(
        "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">quantile of the law, {unit}</text>",
        SIDE / 2.0,
        SIDE + 34.0
    ));
    put(format!(
        "<text transform=\"translate(-40 {:.1}) rotate(-90)\" text-anchor=\"middle\">time, {unit}</text>",
        SIDE / 2.0
    ));
    put("</g>".to_owned());
}

/// Round numbers on a logarithmic axis: 1, 2 and 5 of each decade, fewer where there are many.
fn ticks(low: f64, high: f64) -> Vec<f64> {
    let wide = (high / low).log10() > 3.0;
    let steps: &[f64] = if wide { &[1.0] } else { &[1.0, 2.0, 5.0] };
    let (first, last) = (low.log10().floor() as i32, high.log10().ceil() as i32);
    let decades = (first..=last).flat_map(|decade| {
        steps.iter().filter_map(move |step| format!("{step}e{decade}").parse::<f64>().ok())
    });
    decades.filter(|tick| (low..=high).contains(tick)).collect()
}
