//! Errands: what haulers and attendants are called for, as the file states it.
//!
//! Containers that are brought and boxes that are exchanged are read alike; what is done differs and stays with the station.

use crate::terms::law::Law;
use crate::terms::law_form::law;
use crate::text::fields::Object;
use crate::text::forms::{Spanned, name};
use crate::units::Dimension;

/// Who is called, and how long it takes.
#[derive(Debug, Clone)]
pub(super) struct Errand {
    /// The pool of people; `None`: there is always somebody.
    pub(super) by: Option<Spanned<String>>,
    /// From the call, or from when somebody sets out, until it is done.
    pub(super) time: Law,
}

/// Reads the errand of a hauler, whose pool may be left out; the texts say what is done.
pub(super) fn read_hauler(object: &mut Object<'_>, lead_doc: &'static str, by_doc: &'static str) -> Errand {
    let lead = law(Dimension::Time).usual("3 min", "20 min", "3 to 20 min after the call");
    let time = object.required("lead", lead, lead_doc);
    Errand { by: object.maybe("by", name(), by_doc), time }
}

/// Reads the errand of attendants.
pub(super) fn read_by_hand(object: &mut Object<'_>, by_doc: &'static str, time_doc: &'static str) -> Errand {
    let by = Some(object.required("by", name(), by_doc));
    Errand { by, time: object.required("time", law(Dimension::Time), time_doc) }
}
