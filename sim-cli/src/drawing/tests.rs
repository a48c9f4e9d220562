//! Every line of the gallery is drawn without anything lying on anything else.

use super::routes::{Frame, Point};
use super::*;
use crate::builtin;
use sim_core::{balance, scenario};

fn picture(text: &str) -> Picture {
    let checked = scenario::read(text);
    let Some(scenario) = checked.scenario else { panic!("{:?}", checked.problems) };
    let balance = balance::solve(&scenario).expect("gallery lines have a balance");
    Picture::of(&scenario, &balance, None)
}

fn touches(a: &Frame, b: &Frame) -> bool {
    a.x < b.x + b.width && b.x < a.x + a.width && a.y < b.y + b.height && b.y < a.y + a.height
}

fn crosses(a: Point, b: Point, frame: &Frame) -> bool {
    let (left, right) = (a.x.min(b.x), a.x.max(b.x));
    let (top, bottom) = (a.y.min(b.y), a.y.max(b.y));
    left < frame.x + frame.width - 0.5
        && right > frame.x + 0.5
        && top < frame.y + frame.height - 0.5
        && bottom > frame.y + 0.5
}

#[test]
fn boxes_lie_apart_and_no_arrow_runs_through_one() {
    for line in builtin::ALL {
        for direction in [Direction::Across, Direction::Down] {
            let picture = picture(line.text);
            let layout = picture.layout(direction);
            for (n, frame) in layout.frames.iter().enumerate() {
                let inside = frame.x >= 0.0
                    && frame.y >= 0.0
                    && frame.x + frame.width <= layout.width
                    && frame.y + frame.height <= layout.height;
                assert!(inside, "{}: `{}` lies outside", line.name, picture.nodes[n].name);
                for (m, other) in layout.frames.iter().enumerate().skip(n + 1) {
                    let (a, b) = (&picture.nodes[n].name, &picture.nodes[m].name);
                    assert!(!touches(frame, other), "{}: `{a}` lies on `{b}` ({direction:?})", line.name);
                }
            }
            for (edge, route) in picture.edges.iter().zip(&layout.routes) {
                let (from, to) = (&picture.nodes[edge.from].name, &picture.nodes[edge.to].name);
                for two in route.windows(2) {
                    for (n, frame) in layout.frames.iter().enumerate() {
                        let through = crosses(two[0], two[1], frame);
                        let name = &picture.nodes[n].name;
                        assert!(
                            !through,
                            "{}: {from} to {to} runs through `{name}` ({direction:?})",
                            line.name
                        );
                    }
                    let is_level = two[0].x == two[1].x || two[0].y == two[1].y;
                    assert!(is_level, "{}: {from} to {to} runs askew ({direction:?})", line.name);
                }
            }
        }
    }
}

#[test]
fn names_are_shown_and_never_run() {
    let mut picture = picture(builtin::ALL[0].text);
    picture.title = "<script>alert(1)</script>".to_owned();
    picture.nodes[0].name = "<script>alert(2)</script>".to_owned();
    let drawn = svg(&picture, &picture.layout(Direction::Across), "x", true).into_string();
    assert!(!drawn.contains("<script"));
    assert!(drawn.contains("&lt;script&gt;alert(1)"));
}

#[test]
fn the_drawing_in_the_readme_is_the_one_that_is_drawn() {
    let picture = picture(builtin::ALL[0].text);
    let drawn = svg(&picture, &picture.layout(Direction::Across), "line", true).into_string() + "\n";
    let kept = include_str!("../../../docs/default-line.svg").replace("\r\n", "\n");
    assert!(drawn == kept, "make it again: feedproof draw --out docs/default-line.svg --force");
}

#[test]
fn a_loop_is_drawn_as_a_loop() {
    let picture = picture(builtin::ALL[0].text);
    let layout = picture.layout(Direction::Across);
    let at = |name: &str| {
        let node = picture.nodes.iter().position(|node| node.name == name);
        layout.frames[node.expect("a station of the default line")]
    };
    let (path, belt) = (at("path"), at("recirculation"));
    assert!(belt.y > path.y && belt.x == path.x, "what brings back lies below what it serves");
    let edge = |from: &str, to: &str| {
        let is_it = |edge: &&picture::Edge| {
            picture.nodes[edge.from].name == from && picture.nodes[edge.to].name == to
        };
        picture.edges.iter().find(is_it).expect("an edge of the default line")
    };
    let (off, back) = (edge("path", "recirculation"), edge("recirculation", "path"));
    assert!(!off.is_way_on && back.is_way_on);
    // What goes round is the same on both sides of the belt.
    let (off, back) = (off.flow.unwrap_or(0.0), back.flow.unwrap_or(1.0));
    assert!((off - back).abs() < 1e-6 * back, "{off} against {back}");
}
