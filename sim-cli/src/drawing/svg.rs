//! A laid out picture as SVG.
//!
//! Nothing is told by colour alone: loads are bars with numbers, the limit has a heavy frame and says so, what is sent
//! off is open where the way on is solid. Invariant: text from a scenario is escaped, so that it is shown and never run.

use super::picture::{Edge, Load, Node, Picture};
use super::routes::{Frame, Layout, Point};
use super::symbols::symbol_of;
use crate::screen::safe;
use maud::{Markup, PreEscaped, html};
use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

/// Style of a drawing that stands alone; within a page the page gives the colours.
pub(crate) const COLOURS: &str = include_str!("colours.css");
/// Style of the parts of a drawing.
pub(crate) const STYLE: &str = include_str!("drawing.css");

/// Widest stroke of a flow, px.
const WIDEST: f64 = 10.0;
/// Width of a character of a name, px.
const CHARACTER: f64 = 7.5;

/// The drawing as an `svg` element; `id` begins the names of its parts and must be its own on the page.
pub(crate) fn svg(picture: &Picture, layout: &Layout, id: &str, is_alone: bool) -> Markup {
    let (width, height) = (layout.width.ceil(), layout.height.ceil());
    let most = picture.most();
    // What is sent off lies under the way on.
    let mut order: Vec<usize> = (0..picture.edges.len()).collect();
    order.sort_by_key(|ix| picture.edges[*ix].is_way_on);
    html! {
        svg xmlns="http://www.w3.org/2000/svg" class="drawing" role="img" width=(width) height=(height)
            viewBox=(format!("0 0 {width} {height}")) aria-labelledby=(format!("{id}-title {id}-desc")) {
            title id=(format!("{id}-title")) { "The line: " (safe(&picture.title)) }
            desc id=(format!("{id}-desc")) { (safe(&in_words(picture))) }
            @if is_alone {
                style { (PreEscaped(COLOURS)) (PreEscaped(STYLE)) }
                rect class="paper" width=(width) height=(height) {}
            }
            @for ix in order { (edge(&picture.edges[ix], &layout.routes[ix], most, picture)) }
            @for (ix, (node, frame)) in picture.nodes.iter().zip(&layout.frames).enumerate() {
                @if node.word.is_some() { (station(ix, node, frame)) } @else { (way_out(node, frame)) }
            }
        }
    }
}

/// What the drawing shows, for those who do not see it.
fn in_words(picture: &Picture) -> String {
    let mut text = format!("Flows {}. ", picture.basis);
    for node in picture.nodes.iter().filter(|node| node.limits) {
        text.push_str(&format!("{} limits the line. ", node.name));
    }
    for edge in &picture.edges {
        let flow = edge.flow.map_or(String::new(), |flow| format!(", {} a minute", short(flow)));
        let (from, to) = (&picture.nodes[edge.from].name, &picture.nodes[edge.to].name);
        text.push_str(&format!("{from} to {to}{flow}. "));
    }
    text
}

/// A number in three digits or so.
pub(super) fn short(value: f64) -> String {
    match value.abs() {
        size if size >= 99.95 => format!("{value:.0}"),
        size if size >= 9.995 => format!("{value:.1}"),
        size if size > 0.0 && size < 0.005 => "<0.01".to_owned(),
        _ => format!("{value:.2}"),
    }
}

/// A share in percent.
fn percent(share: f64) -> String {
    format!("{:.0} %", 100.0 * share)
}

fn edge(edge: &Edge, route: &[Point], most: f64, picture: &Picture) -> Markup {
    let width = 1.6 + (WIDEST - 1.6) * edge.flow.unwrap_or(0.0) / most;
    let (line, head) = arrow(route, width);
    let class = match (edge.is_way_on, edge.flow) {
        (true, Some(_)) => "flow on",
        (false, Some(_)) => "flow off",
        (_, None) => "flow unknown",
    };
    let (from, to) = (&picture.nodes[edge.from].name, &picture.nodes[edge.to].name);
    let flow = edge.flow.map_or("flow not known".to_owned(), |flow| format!("{} /min", short(flow)));
    let told = format!("{from} to {to} ({}): {flow}", edge.keys.join(", "));
    html! {
        g class=(class) {
            title { (safe(&told)) }
            path class="line" d=(line) stroke-width=(format!("{width:.1}"))
                data-from=(edge.from) data-exits=(format!("{:?}", edge.exits)) {}
            @if class == "flow off" {
                path class="core" d=(line) stroke-width=(format!("{:.1}", (width - 2.0).max(0.6))) {}
            }
            path class="head" d=(head) {}
        }
    }
}

/// A path with rounded corners that ends in an arrow head, and the head.
fn arrow(route: &[Point], width: f64) -> (String, String) {
    let (Some(&tip), Some(&before)) = (route.last(), route.get(route.len().saturating_sub(2))) else {
        return (String::new(), String::new());
    };
    let far = |a: Point, b: Point| (a.x - b.x).hypot(a.y - b.y);
    let (length, half) = (5.0 + 0.55 * width, 3.0 + 0.75 * width);
    let last = far(tip, before).max(1e-6);
    let toward = Point { x: (tip.x - before.x) / last, y: (tip.y - before.y) / last };
    let foot = Point { x: tip.x - toward.x * length, y: tip.y - toward.y * length };
    let wing =
        |side: f64| format!("{:.1} {:.1}", foot.x - side * toward.y * half, foot.y + side * toward.x * half);
    let head = format!("M{:.1} {:.1}L{}L{}Z", tip.x, tip.y, wing(1.0), wing(-1.0));
    let mut corners = route.to_vec();
    if let Some(end) = corners.last_mut() {
        // The line ends a little inside the head.
        *end = Point { x: foot.x + toward.x, y: foot.y + toward.y };
    }
    let mut line = format!("M{:.1} {:.1}", corners[0].x, corners[0].y);
    for three in corners.windows(3) {
        let radius = (0.5 * far(three[0], three[1])).min(0.5 * far(three[1], three[2])).min(8.0);
        let on = |to: Point| {
            let share = radius / far(three[1], to).max(1e-6);
            let x = three[1].x + (to.x - three[1].x) * share;
            format!("{x:.1} {:.1}", three[1].y + (to.y - three[1].y) * share)
        };
        line.push_str(&format!("L{}Q{:.1} {:.1} {}", on(three[0]), three[1].x, three[1].y, on(three[2])));
    }
    let end = corners[corners.len() - 1];
    line.push_str(&format!("L{:.1} {:.1}", end.x, end.y));
    (line, head)
}

fn station(ix: usize, node: &Node, frame: &Frame) -> Markup {
    let symbol = symbol_of(node.word.unwrap_or_default());
    let is_wide = frame.width > 1.8 * frame.height;
    let name_x = if is_wide { 38.0 } else { 8.0 };
    let room = frame.width - name_x - 6.0;
    let name = if node.count > 1 { format!("{} × {}", node.count, node.name) } else { node.name.clone() };
    let lines = in_lines(&safe(&name), (room / CHARACTER) as usize);
    let first = if is_wide { 17.0 } else { 45.0 };
    let shown = node.flow.map(|flow| format!("{} /min", short(flow)));
    let class = if node.limits { "station limits" } else { "station" };
    html! {
        g class=(class) data-station=(ix) transform=(format!("translate({:.1} {:.1})", frame.x, frame.y)) {
            title { (safe(&told(node))) }
            @if node.count > 1 { rect class="behind" x="4" y="-4" width=(frame.width) height=(frame.height) rx="5" {} }
            rect class="box" width=(frame.width) height=(frame.height) rx="5" {}
            g class="symbol" transform="translate(7 7)" {
                path d=(symbol.strokes) {}
                @for (x, y) in symbol.dots { circle cx=(x) cy=(y) r="1.7" {} }
            }
            text class="name" x=(name_x) y=(first) {
                @for (n, line) in lines.iter().enumerate() {
                    tspan x=(name_x) dy=(if n == 0 { "0" } else { "13.5" }) { (line) }
                }
            }
            @if let Some(shown) = shown {
                @if is_wide {
                    text class="rate" x=(name_x) y=(frame.height - 8.0) { (shown) }
                } @else {
                    text class="rate end" x=(frame.width - 7.0) y="22" { (shown) }
                }
            }
            @if let Some(load) = &node.load { (bar(load, frame, is_wide)) }
            @if node.limits { (flag(frame)) }
        }
    }
}

/// How busy a station is: a bar, and the share beside it.
fn bar(load: &Load, frame: &Frame, is_wide: bool) -> Markup {
    let (x, y, width) = if is_wide {
        (frame.width - 97.0, frame.height - 14.5, 50.0)
    } else {
        (8.0, frame.height - 14.5, frame.width - 56.0)
    };
    let share = load.share();
    let stopped = match load {
        Load::Demanded(_) => 0.0,
        Load::Seen { stopped, .. } => *stopped,
    };
    let filled = width * share.clamp(0.0, 1.0);
    html! {
        g class="load" transform=(format!("translate({x:.1} {y:.1})")) {
            rect class="rail" width=(width) height="7" {}
            rect class="done" width=(format!("{filled:.1}")) height="7" {}
            @if stopped * width > 0.5 {
                rect class="stopped" x=(format!("{:.1}", width * (1.0 - stopped))) width=(format!("{:.1}", width * stopped)) height="7" {}
            }
            text class="share" x=(width + 40.0) y="7" { (percent(share)) }
        }
    }
}

/// Says that a station limits the line.
fn flag(frame: &Frame) -> Markup {
    html! {
        g class="flag" transform=(format!("translate({:.1} {:.1})", frame.width / 2.0, frame.height)) {
            path d="M-43 0H43V13H-43Z" {}
            text x="0" y="10" { "limits the line" }
        }
    }
}

fn told(node: &Node) -> String {
    let mut text = node.name.clone();
    if let Some(word) = node.word {
        text = format!("{text} ({word})");
    }
    if node.count > 1 {
        text.push_str(&format!(", {} side by side", node.count));
    }
    if let Some(flow) = node.flow {
        text.push_str(&format!(", {} parts a minute", short(flow)));
    }
    match &node.load {
        Some(Load::Demanded(share)) => text.push_str(&format!(", {} of its capacity", percent(*share))),
        Some(Load::Seen { working, stopped }) => {
            text.push_str(&format!(
                ", working {}, stopped {} of the time",
                percent(*working),
                percent(*stopped)
            ));
        }
        None => {}
    }
    if node.limits {
        text.push_str(", limits the line");
    }
    text
}

fn way_out(node: &Node, frame: &Frame) -> Markup {
    let shown = node.flow.map_or(String::new(), |flow| format!("{} /min", short(flow)));
    let (x, y) = (frame.x + 2.0, frame.y + 0.5 * frame.height);
    html! {
        g class="out" {
            title { "out of the line: " (shown) }
            text x=(format!("{x:.1}")) y=(format!("{:.1}", y - 2.0)) { "out" }
            text class="rate" x=(format!("{x:.1}")) y=(format!("{:.1}", y + 10.0)) { (shown) }
        }
    }
}

/// A name in at most two lines of so many columns.
fn in_lines(name: &str, columns: usize) -> Vec<String> {
    if name.width() <= columns {
        return vec![name.to_owned()];
    }
    let (mut first, mut rest) = (String::new(), String::new());
    for word in name.split_inclusive([' ', '-', '_']) {
        if rest.is_empty() && first.width() + word.trim_end().width() <= columns {
            first.push_str(word);
        } else {
            rest.push_str(word);
        }
    }
    if first.is_empty() {
        first = clipped(&rest, columns);
        rest = rest.chars().skip(first.chars().count().saturating_sub(1)).collect();
        first = first.trim_end_matches('…').to_owned() + if rest.is_empty() { "" } else { "‐" };
    }
    let lines = [first.trim_end().to_owned(), clipped(rest.trim(), columns)];
    lines.into_iter().filter(|line| !line.is_empty()).collect()
}

/// As much of a text as fits, with an ellipsis if something is left out.
fn clipped(text: &str, columns: usize) -> String {
    if text.width() <= columns {
        return text.to_owned();
    }
    let mut used = 1;
    let fits = |c: &char| {
        used += c.width().unwrap_or(0);
        used <= columns
    };
    text.chars().take_while(fits).collect::<String>() + "…"
}
