//! The catalogue: which stations a scenario may name, and what they all have in common.

use super::blueprint::Blueprint;
use super::{
    air_tube, bath, bin, boxes, divider, dumper, elevator, escapement, gauge, hand_fill, hopper,
    indexing_table, machine, magazine, meter, path_spec, receiver, robot, row_pusher, screen, selector,
    stream, track, unread, work,
};
use crate::diag::Place;
use crate::kernel::Spread;
use crate::terms::stops::{StopSpec, read_stops};
use crate::text::fields::Object;
use crate::text::forms::{Spanned, Variant, Variants, count, flag, list_of, name, one_of, variants};

/// A station of the file: what all have in common, and its blueprint.
#[derive(Debug)]
pub struct Entry {
    /// Its name.
    pub id: Spanned<String>,
    /// Where it stands.
    pub place: Place,
    /// The word for its type.
    pub word: &'static str,
    /// Equal stations side by side.
    pub count: u32,
    /// How the flow spreads over them.
    pub spread: Spread,
    /// Whether they deliver strictly in turn.
    pub in_turn: bool,
    /// Stations that feed it, the most important first.
    pub priority: Vec<Spanned<String>>,
    /// Jams and breakdowns.
    pub stops: Vec<StopSpec>,
    /// What is its own.
    pub blueprint: Box<dyn Blueprint>,
}

impl Entry {
    /// Whether it is known what it is: its type is one of the catalogue.
    pub fn is_read(&self) -> bool {
        self.word != unread::WORD
    }
}

fn entry<B: Blueprint + 'static>(
    object: &mut Object<'_>,
    word: &'static str,
    read: fn(&mut Object<'_>) -> B,
) -> Entry {
    const SPREADS: &[(&str, Spread, &str)] = &[
        ("listed", Spread::Listed, "the first that is free"),
        ("in turn", Spread::InTurn, "one after the other, past those that are not free"),
        ("longest idle", Spread::LongestIdle, "the one that has been free for longest"),
    ];
    Entry {
        id: object.required("id", name(), "Its name; messages, reports and other stations use it"),
        place: object.place(),
        word,
        count: object.optional(
            "count",
            count().at_least(1).at_most(64),
            "1",
            "Equal stations side by side, named `id 1`, `id 2` and so on; other stations name them all by `id`",
        ) as u32,
        spread: object.optional(
            "spread",
            one_of(SPREADS),
            "listed",
            "How what comes is spread over equal stations, or over all that take from this one",
        ),
        in_turn: object.optional(
            "in_turn",
            flag(),
            "false",
            "Equal stations deliver strictly one after the other, waiting for the one whose turn it is",
        ),
        priority: object.optional(
            "priority",
            list_of(name()),
            "[]",
            "Stations that feed this one, the most important first; without it the one that has waited longest goes first",
        ),
        stops: read_stops(object),
        blueprint: Box::new(read(object)),
    }
}

/// One line of the catalogue.
macro_rules! station {
    ($word:literal, $read:path, $doc:literal) => {
        Variant { word: $word, doc: $doc, read: |object| entry(object, $word, $read) }
    };
}

/// All station types: the word for `type`, its read function, and what it is.
pub const CATALOGUE: &[Variant<Entry>] = &[
    station!("work", work::read, "Plain work station: a time for each part, blocking after service"),
    station!("stream", stream::read, "Parts that come from a process upstream on a clock of their own"),
    station!("dumper", dumper::read, "Dumper: lifts containers and tips their parts into a bin"),
    station!("filling by hand", hand_fill::read, "Filling by hand: an attendant tops up a bin"),
    station!("bin", bin::read, "Bin: a store of parts in bulk, well mixed"),
    station!("hopper", hopper::read, "Hopper: a bin that people top up, or for which they swap in a spare"),
    station!("elevator", elevator::read, "Elevator, cleated or magnetic: lifts parts out of a bin"),
    station!("meter conveyor", meter::read, "Meter conveyor: brings on parts by the index, or at a rate"),
    station!(
        "metering tray",
        meter::read,
        "Metering tray: a vibrating tray that brings parts on at a rate, or by the index; as a meter conveyor"
    ),
    station!("step feeder", meter::read, "Step feeder: brings on parts by the step; as a meter conveyor"),
    station!("bath", bath::read, "Process bath: parts stay in it for a while, in bulk or one by one"),
    station!("tunnel", bath::read, "Process tunnel (hot air, washing, cooling): as a bath"),
    station!("track", track::read_track, "Track: parts slide or are driven and close up at its end"),
    station!("belt", track::read_belt, "Belt: driven; accumulating or stopping"),
    station!(
        "recirculation belt",
        track::read_recirculation_belt,
        "Belt that brings rejected parts back to an earlier point of the line"
    ),
    station!(
        "orienting path",
        path_spec::read,
        "Orienting path: tools let parts pass, turn them or reject them, one at a time or in file"
    ),
    station!(
        "screen",
        screen::read,
        "Screen: takes foreign pieces and bad parts out, with a chance per pass"
    ),
    station!(
        "selector",
        selector::read,
        "Selector: probes one part at a time, then turns, passes or rejects it"
    ),
    station!(
        "gauge",
        gauge::read,
        "Gauge: measures or looks at one part at a time and rejects what seems bad"
    ),
    station!(
        "scrap box",
        boxes::read_scrap_box,
        "Scrap box: takes every part at once and ends the line for it; it may fill up and be exchanged"
    ),
    station!(
        "box out",
        boxes::read_box_out,
        "Box out: fills with parts and is exchanged; may be emptied into a bin to be run again"
    ),
    station!("escapement", escapement::read, "Escapement: releases parts by the stroke"),
    station!("divider", divider::read, "Divider: hands each part to one of several exits, in no time"),
    station!("air tube", air_tube::read, "Air tube: blows parts on, one shot at a time"),
    station!(
        "row pusher",
        row_pusher::read,
        "Row pusher: makes up rows of parts and pushes each on in one go"
    ),
    station!(
        "indexing table",
        indexing_table::read,
        "Indexing table: nests in groups that are loaded at rest and carried on to be discharged"
    ),
    station!(
        "robot",
        robot::read,
        "Robot: fetches parts from several stations one after the other and sets them down"
    ),
    station!(
        "magazine",
        magazine::read,
        "Magazine: collects a batch by the recipe of the product model and releases it"
    ),
    station!(
        "receiver",
        receiver::read,
        "Receiver: keeps one part, or one batch, ready for the tool that takes it"
    ),
    station!(
        "machine",
        machine::read,
        "Machine: a stroke when every inlet shows its parts; the usual point of use"
    ),
];

/// The form that reads a station of the file.
pub fn station() -> Variants<Entry> {
    variants("station", "type", CATALOGUE).otherwise(|object| entry(object, unread::WORD, unread::read))
}
