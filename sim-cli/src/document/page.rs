//! A document as one HTML page that needs nothing else.
//!
//! No address outside the file, fonts of the reader's own, and no script but the player of a film if there is one. Invariant: all text goes through escaping; only
//! what this program itself has drawn is put in as it is.

use super::{Block, Document, Grid, Headline, Section, Tone};
use crate::charts::Chart;
use crate::drawing;
use crate::replay;
use crate::screen::safe;
use maud::{DOCTYPE, Markup, PreEscaped, html};

const STYLE: &str = include_str!("page.css");

/// The page.
pub(crate) fn page(document: &Document) -> String {
    let title = shown(&document.title);
    let mut blocks = document.sections.iter().flat_map(|section| &section.blocks);
    let has_film = blocks.any(|block| matches!(block, Block::Film(_)));
    let whole = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                meta name="generator" content=(concat!("feedproof ", env!("CARGO_PKG_VERSION")));
                title { (title) " · " (document.kind) }
                style { (PreEscaped(drawing::COLOURS)) (PreEscaped(drawing::STYLE)) (PreEscaped(STYLE)) }
                @if has_film { style { (PreEscaped(replay::STYLE)) } }
            }
            body {
                a class="skip" href="#content" { "Skip to the content" }
                header {
                    p class="kind" { (document.kind) }
                    h1 { (title) }
                    @if let Some(headline) = &document.headline { (verdict(headline)) }
                    @if !document.figures.is_empty() {
                        dl class="figures" {
                            @for (what, value, beside) in &document.figures {
                                div { dt { (shown(what)) } dd { strong { (shown(value)) } span { (shown(beside)) } } }
                            }
                        }
                    }
                }
                nav aria-label="Contents" {
                    ol { @for section in &document.sections {
                        li { a href=(format!("#{}", section.id)) { (shown(&section.title)) } }
                    } }
                }
                main id="content" { @for section in &document.sections { (show(section)) } }
                footer { p { "Made by feedproof " (env!("CARGO_PKG_VERSION")) "." } }
                @if has_film { script { (PreEscaped(replay::SCRIPT)) } }
            }
        }
    };
    whole.into_string() + "\n"
}

/// A text as it is set: signs that a typewriter lacks are put in, and units stay with their numbers.
fn shown(text: &str) -> String {
    const SET: [(&str, &str); 5] =
        [("+/-", "±"), ("+-", "±"), (" %", "\u{a0}%"), (" /min", "\u{a0}/min"), (" ± ", "\u{a0}±\u{a0}")];
    match text {
        crate::numbers::NONE => "–".to_owned(),
        _ => SET.iter().fold(safe(text), |text, (typed, set)| text.replace(typed, set)),
    }
}

fn verdict(headline: &Headline) -> Markup {
    let (class, mark) = match headline.tone {
        Tone::Good => ("verdict good", "M5 13L10 18L20 6"),
        Tone::Bad => ("verdict bad", "M6 6L18 18M18 6L6 18"),
        Tone::Open => ("verdict open", "M8 8A4 4 0 1 1 12 12V15M12 18.5V19"),
    };
    html! {
        div class=(class) {
            svg class="mark" viewBox="0 0 24 24" aria-hidden="true" { path d=(mark) {} }
            div {
                p class="sentence" { strong { (headline.word) "." } " " (shown(&headline.sentence)) }
                p class="detail" { (shown(&headline.detail)) }
            }
        }
    }
}

fn show(section: &Section) -> Markup {
    html! {
        section id=(&section.id) aria-labelledby=(format!("{}-head", section.id)) {
            h2 id=(format!("{}-head", section.id)) { (shown(&section.title)) }
            @for (n, block) in section.blocks.iter().enumerate() {
                (piece(block, &format!("{}-{n}", section.id)))
            }
        }
    }
}

fn piece(block: &Block, id: &str) -> Markup {
    match block {
        Block::Text(text) => html! { p { (shown(text)) } },
        Block::List(items) => html! { ul { @for item in items { li { (shown(item)) } } } },
        Block::Facts(facts) => html! {
            dl class="facts" { @for (what, value) in facts { div { dt { (shown(what)) } dd { (shown(value)) } } } }
        },
        Block::Chart(chart, grid) => figure(chart, grid, id),
        Block::Table(grid) => table(grid, id),
        Block::Archive(grid) => folded(grid, id),
        Block::Film(film) => film.clone(),
        Block::Code(text) => html! { pre tabindex="0" aria-label="file" { code { (safe(text)) } } },
        Block::Drawing { wide, narrow, table: grid } => html! {
            figure class="line" {
                div class="wide" { (wide) }
                div class="narrow" { (narrow) }
                (folded(grid, id))
            }
        },
    }
}

fn figure(chart: &Chart, grid: &Grid, id: &str) -> Markup {
    html! {
        figure {
            figcaption { strong { (shown(&chart.title)) } " " (shown(&chart.says)) }
            (chart.svg(id))
            (folded(grid, id))
        }
    }
}

/// The table behind a picture, which opens on demand.
fn folded(grid: &Grid, id: &str) -> Markup {
    html! {
        details {
            summary { "Numbers: " (shown(&grid.title)) }
            (table(grid, &format!("{id}-table")))
        }
    }
}

fn table(grid: &Grid, id: &str) -> Markup {
    html! {
        div class="scroll" tabindex="0" role="group" aria-labelledby=(format!("{id}-caption")) {
            table {
                caption id=(format!("{id}-caption")) { (shown(&grid.title)) }
                thead { tr { @for column in &grid.columns {
                    th scope="col" class=[(!column.is_text).then_some("n")] {
                        (shown(&column.title))
                        @if !column.unit.is_empty() { " " span class="unit" { (&column.unit) } }
                    }
                } } }
                tbody { @for row in &grid.rows { tr {
                    @for (n, (cell, column)) in row.iter().zip(&grid.columns).enumerate() {
                        @if n == 0 {
                            th scope="row" class=[(!column.is_text).then_some("n")] { (shown(&cell.text)) }
                        } @else {
                            td class=[(!column.is_text).then_some("n")] { (shown(&cell.text)) }
                        }
                    }
                } } }
            }
        }
    }
}
