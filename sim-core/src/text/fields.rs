//! Reading an object field by field, and describing it with the same calls.
//!
//! A read function takes `&mut Object`, asks for every field it knows, and returns its value:
//!
//! ```
//! use sim_core::text::fields::{Object, read_text};
//! use sim_core::text::forms::*;
//! use sim_core::text::schema::describe;
//!
//! struct Track { length_m: f64, speed_m_s: f64, gates: u64 }
//!
//! fn read_track(object: &mut Object<'_>) -> Track {
//!     Track {
//!         length_m: object.required("length", length().positive(), "Length along the flow"),
//!         speed_m_s: object.optional("speed", speed().positive(), "30 ft/min", "Conveying speed"),
//!         gates: object.optional("gates", count(), "1", "Number of gates"),
//!     }
//! }
//!
//! let (track, problems) = read_text(r#"{"length": "6 ft", "note": "as built"}"#, read_track);
//! assert!(problems.is_empty());
//! let track = track.unwrap();
//! assert_eq!((track.length_m, track.gates), (1.8288, 1));
//! assert_eq!(describe("Track", read_track)["properties"]["gates"]["default"], 1);
//! ```
//!
//! The same function runs in four modes: *reading* (every problem is reported, reading goes on with stand-ins),
//! *listing* (its keys are gathered beforehand, so that a misspelt one is read as what was meant), *describing* (a
//! schema is recorded) and *standing in* (nothing is read; stand-ins are returned). So it has to ask for its fields
//! unconditionally, and must not rely on what the values are. When any error was reported, the value may hold
//! stand-ins and is good for nothing but finding more errors; checks between fields ask [`Object::sound`], so that
//! one error makes up no other.
//!
//! `note` (text or a list of texts) is allowed in every object and is declared nowhere.

use serde_json::{Map, Value as Json, json};

use crate::diag::{Diagnostics, Place, Problem, Span, code};
use crate::text::forms::Form;
use crate::text::json::{self, Entry, Node, Value};
pub use crate::text::reading::{Input, NOTE, Reading, Recorded, Relax, Setting, SettingSort, Unread};
use crate::text::reading::{check_note, note_schema};
use crate::text::schema::Definitions;
use crate::text::suggest::nearest;

/// Reads a whole file whose root is an object. The value is `None` if the text is not JSON or its root is no
/// object; otherwise it may hold stand-ins where errors were reported.
pub fn read_text<T>(source: &str, read: impl Fn(&mut Object<'_>) -> T) -> (Option<T>, Diagnostics) {
    let (value, recorded) = read_recorded(source, read);
    (value, recorded.problems)
}

/// As [`read_text`]; hands out all that was recorded on the way as well.
pub fn read_recorded<T>(source: &str, read: impl Fn(&mut Object<'_>) -> T) -> (Option<T>, Recorded) {
    let mut diagnostics = Diagnostics::new();
    let parsed = json::parse_all(source, &mut diagnostics);
    let mut at = Reading::new(diagnostics);
    let value = parsed.and_then(|parsed| {
        at.skip(&parsed);
        read_object(&parsed.root, &mut at, read)
    });
    (value, at.into_recorded())
}

/// Reads one object, for forms that are objects. `None`, reported, if `node` is no object.
pub fn read_object<T>(node: &Node, at: &mut Reading, read: impl Fn(&mut Object<'_>) -> T) -> Option<T> {
    let Value::Object(entries) = &node.value else {
        at.wrong_type(node, "an object in braces, such as `{ … }`");
        return None;
    };
    let mut object = Object {
        mode: Mode::Reading(Source {
            entries,
            span: node.span,
            at,
            known: vec![NOTE],
            slips: slips_of(entries, &read),
            misfits: Vec::new(),
            others: None,
            missing: Vec::new(),
            unsound: Vec::new(),
        }),
    };
    let value = read(&mut object);
    object.finish();
    Some(value)
}

/// The schema of one object, for forms that are objects.
pub fn describe_object<T>(definitions: &mut Definitions, read: impl FnOnce(&mut Object<'_>) -> T) -> Json {
    let described = Described { properties: Map::new(), required: Vec::new(), definitions };
    let mut object = Object { mode: Mode::Describing(described) };
    read(&mut object);
    match object.mode {
        Mode::Describing(described) => described.schema(),
        Mode::Reading(_) | Mode::Listing(_) | Mode::StandingIn => {
            unreachable!("the mode of an object never changes")
        }
    }
}

/// What `read` returns when there is nothing to read, for forms that are objects.
pub fn stand_in_object<T>(read: impl FnOnce(&mut Object<'_>) -> T) -> T {
    read(&mut Object { mode: Mode::StandingIn })
}

/// One object of a file under reading; without a file, one object under description, or a stand-in.
#[derive(Debug)]
pub struct Object<'a> {
    mode: Mode<'a>,
}

#[derive(Debug)]
enum Mode<'a> {
    Reading(Source<'a>),
    Describing(Described<'a>),
    /// Nothing is read; the keys that are asked for are listed.
    Listing(Known),
    StandingIn,
}

/// The keys that an object asks for.
#[derive(Debug, Default)]
struct Known {
    keys: Vec<&'static str>,
    /// Others may stand there, of which nothing is known.
    is_open: bool,
}

#[derive(Debug)]
struct Source<'a> {
    entries: &'a [Entry],
    span: Span,
    at: &'a mut Reading,
    known: Vec<&'static str>,
    /// Keys that were misspelt: the key that was meant, and what stands in the file.
    slips: Vec<(&'static str, &'a Entry)>,
    /// Of these, those whose value is of another sort than the key that was meant takes, with the phrase for what it takes.
    misfits: Vec<(&'static str, String)>,
    /// Keys that are passed over though nobody asks for them: it is not known which of them may stand here.
    others: Option<Vec<&'static str>>,
    /// Required keys that were not there, with the phrase for what they take. Reported at the end, so that a
    /// misspelt key and its missing self are one error.
    missing: Vec<(&'static str, String)>,
    /// Keys that are missing, or whose value had an error of its own.
    unsound: Vec<&'static str>,
}

#[derive(Debug)]
struct Described<'a> {
    properties: Map<String, Json>,
    required: Vec<&'static str>,
    definitions: &'a mut Definitions,
}

/// What came of asking for a field.
enum Field<T> {
    Read(T),
    Absent,
    Unsound,
}

impl Object<'_> {
    /// A field that must be there. Missing or wrong, it is reported, and the form's stand-in is returned.
    /// `doc` is one sentence for the schema.
    pub fn required<F: Form>(&mut self, key: &'static str, form: F, doc: &'static str) -> F::Out {
        self.describe(key, &form, doc, Presence::Required);
        match self.read(key, &form) {
            Field::Read(value) => value,
            Field::Unsound => form.stand_in(),
            Field::Absent => {
                if let Mode::Reading(source) = &mut self.mode {
                    source.missing.push((key, form.wanted()));
                    source.unsound.push(key);
                }
                form.stand_in()
            }
        }
    }

    /// A field that may be left out; then it is as if `default` stood in the file: `"0.5 s"`, `"3"`, `"[]"`, `"{}"`.
    ///
    /// # Panics
    /// If the form cannot read its own default, at the first reading, describing or standing in.
    pub fn optional<F: Form>(
        &mut self,
        key: &'static str,
        form: F,
        default: &'static str,
        doc: &'static str,
    ) -> F::Out {
        self.describe(key, &form, doc, Presence::Default(default));
        match self.read(key, &form) {
            Field::Read(value) => value,
            Field::Absent | Field::Unsound => read_default(key, &form, default),
        }
    }

    /// A field that may be left out, without a default: `doc` has to say what leaving it out means.
    pub fn maybe<F: Form>(&mut self, key: &'static str, form: F, doc: &'static str) -> Option<F::Out> {
        self.describe(key, &form, doc, Presence::Maybe);
        match self.read(key, &form) {
            Field::Read(value) => Some(value),
            Field::Absent | Field::Unsound => None,
        }
    }

    /// Passes over these keys though nobody asks for them, if it is not known what the object is.
    pub fn pass_over(&mut self, others: impl FnOnce() -> Vec<&'static str>) {
        match &mut self.mode {
            Mode::Reading(source) => source.others = Some(others()),
            Mode::Listing(known) => known.is_open = true,
            Mode::Describing(_) | Mode::StandingIn => {}
        }
    }

    /// A field that was looked at before this object was read, and whose text is always `word`: it is known and
    /// described, and not read again.
    pub fn constant(&mut self, key: &'static str, word: &'static str, doc: &'static str) {
        match &mut self.mode {
            Mode::Reading(source) => source.known.push(key),
            Mode::Describing(described) => {
                described.properties.insert(key.to_owned(), json!({ "const": word, "description": doc }));
                described.required.push(key);
            }
            Mode::Listing(known) => known.keys.push(key),
            Mode::StandingIn => {}
        }
    }

    /// Reports an error at the value of `key`, or at the object if the key is not there: for checks between
    /// fields. Nothing is reported when the field itself was missing or wrong, since its value is a stand-in
    /// then; ask [`Object::sound`] when a check uses more than one field.
    pub fn fail(&mut self, key: &'static str, problem: Problem) {
        if let Some((place, source)) = self.checked(key) {
            source.at.error_at(&place, problem);
        }
    }

    /// Reports an error at a place inside of this object that was read with its place.
    pub fn fail_at(&mut self, place: &Place, problem: Problem) {
        if let Mode::Reading(source) = &mut self.mode {
            source.at.error_at(place, problem);
        }
    }

    /// Reports an error of the object as a whole.
    pub fn fail_here(&mut self, problem: Problem) {
        if let Mode::Reading(source) = &mut self.mode {
            source.at.error(source.span, problem);
        }
    }

    /// As [`Object::fail`], with a warning.
    pub fn warn(&mut self, key: &'static str, problem: Problem) {
        if let Some((place, source)) = self.checked(key) {
            source.at.warning_at(&place, problem);
        }
    }

    /// Reports a warning about the object as a whole.
    pub fn warn_here(&mut self, problem: Problem) {
        if let Mode::Reading(source) = &mut self.mode {
            source.at.warning(source.span, problem);
        }
    }

    /// Whether a file is being read, and none of these fields was missing or wrong when it was asked for: then,
    /// and only then, a check between them makes sense.
    pub fn sound(&self, keys: &[&str]) -> bool {
        match &self.mode {
            Mode::Reading(source) => !keys.iter().any(|key| source.unsound.contains(key)),
            Mode::Describing(_) | Mode::Listing(_) | Mode::StandingIn => false,
        }
    }

    /// Whether the key stands in the file.
    pub fn has(&self, key: &str) -> bool {
        self.entry(key).is_some()
    }

    /// Bytes of the value of `key`; of the object, if the key is not there; 0..0 without a file.
    pub fn span_of(&self, key: &str) -> Span {
        self.entry(key).map_or_else(|| self.span(), |entry| entry.node.span)
    }

    /// Bytes of the object; 0..0 without a file.
    pub fn span(&self) -> Span {
        match &self.mode {
            Mode::Reading(source) => source.span,
            Mode::Describing(_) | Mode::Listing(_) | Mode::StandingIn => Span::default(),
        }
    }

    /// Place of the object, for problems that are found after reading.
    pub fn place(&self) -> Place {
        match &self.mode {
            Mode::Reading(source) => source.at.place(source.span),
            Mode::Describing(_) | Mode::Listing(_) | Mode::StandingIn => Place::default(),
        }
    }

    /// Place of the value of `key`, or of the object if the key is not there.
    pub fn place_of(&self, key: &str) -> Place {
        let mut place = self.place();
        if let Some(entry) = self.entry(key) {
            place.span = entry.node.span;
            json::push_key(&mut place.path, &entry.key);
        }
        place
    }

    /// The unread value of a key, for forms whose shape depends on it.
    pub fn node(&self, key: &str) -> Option<&Node> {
        self.entry(key).map(|entry| &entry.node)
    }

    fn entry(&self, key: &str) -> Option<&Entry> {
        match &self.mode {
            Mode::Reading(source) => source.entry(key),
            Mode::Describing(_) | Mode::Listing(_) | Mode::StandingIn => None,
        }
    }
}

enum Presence {
    Required,
    Default(&'static str),
    Maybe,
}

impl<'a> Object<'a> {
    fn describe<F: Form>(&mut self, key: &'static str, form: &F, doc: &'static str, presence: Presence) {
        let Mode::Describing(described) = &mut self.mode else {
            return;
        };
        let mut schema = match form.schema(described.definitions) {
            Json::Object(schema) => schema,
            Json::Null | Json::Bool(_) | Json::Number(_) | Json::String(_) | Json::Array(_) => Map::new(),
        };
        let doc = match schema.get("description") {
            Some(Json::String(of_form)) if !of_form.is_empty() => format!("{doc} ({of_form})"),
            _ => doc.to_owned(),
        };
        schema.insert("description".to_owned(), json!(doc));
        match presence {
            Presence::Required => described.required.push(key),
            Presence::Default(default) => {
                let default = serde_json::from_str(default).unwrap_or_else(|_| json!(default));
                schema.insert("default".to_owned(), default);
            }
            Presence::Maybe => {}
        }
        let twice = described.properties.insert(key.to_owned(), Json::Object(schema));
        debug_assert!(twice.is_none(), "the key `{key}` is declared once");
    }

    fn read<F: Form>(&mut self, key: &'static str, form: &F) -> Field<F::Out> {
        let source = match &mut self.mode {
            Mode::Reading(source) => source,
            Mode::Listing(known) => {
                known.keys.push(key);
                return Field::Absent;
            }
            Mode::Describing(_) | Mode::StandingIn => return Field::Absent,
        };
        source.known.push(key);
        let Some(entry) = source.entry(key) else {
            return Field::Absent;
        };
        if entry.key != key && !form.fits(&entry.node) {
            // It may be no slip at all.
            source.unsound.push(key);
            source.misfits.push((key, form.wanted()));
            source.at.leave_unread_entry(entry);
            return Field::Unsound;
        }
        let before = source.at.error_count();
        let value = source.at.in_key(&entry.key, |at| form.read(&entry.node, at));
        if source.at.error_count() > before || entry.key != key {
            source.unsound.push(key);
        }
        value.map_or(Field::Unsound, Field::Read)
    }

    /// The place of a field's value, unless the field is unsound or there is no file.
    fn checked(&mut self, key: &'static str) -> Option<(Place, &mut Source<'a>)> {
        let place = self.place_of(key);
        match &mut self.mode {
            Mode::Reading(source) if !source.unsound.contains(&key) => Some((place, source)),
            Mode::Reading(_) | Mode::Describing(_) | Mode::Listing(_) | Mode::StandingIn => None,
        }
    }

    fn finish(self) {
        match self.mode {
            Mode::Reading(source) => source.finish(),
            Mode::Describing(_) | Mode::Listing(_) | Mode::StandingIn => {}
        }
    }
}

impl<'a> Source<'a> {
    /// What stands in the file for this key, misspelt or not.
    fn entry(&self, key: &str) -> Option<&'a Entry> {
        let written = self.entries.iter().find(|entry| entry.key == key);
        written.or_else(|| self.slips.iter().find(|(meant, _)| *meant == key).map(|(_, entry)| *entry))
    }

    /// Reports keys that nobody asked for and keys that nobody wrote.
    fn finish(mut self) {
        let entries = self.entries;
        let unused = |key: &&str| *key != NOTE && self.entry(key).is_none();
        let open: Vec<&str> = self.known.iter().copied().filter(unused).collect();
        for entry in entries {
            if self.at.is_full() {
                break;
            }
            if !self.known.contains(&entry.key.as_str()) {
                self.unknown(entry, &open);
            }
        }
        for (key, wanted) in &self.missing {
            let problem = Problem::new(code::MISSING_KEY, format!("`{key}` is missing"))
                .expected(format!("\"{key}\": {wanted}"));
            self.at.error(self.span, problem);
        }
        if let Some(note) = entries.iter().find(|entry| entry.key == NOTE) {
            self.at.in_key(NOTE, |at| check_note(&note.node, at));
        }
    }

    /// Reports a key that is not known; `open` are the known keys that do not stand in the file.
    fn unknown(&mut self, entry: &Entry, open: &[&str]) {
        let key = json::clipped(&entry.key);
        let mut problem = Problem::new(code::UNKNOWN_KEY, format!("the key `{key}` is not known here"));
        if let Some((meant, _)) = self.slips.iter().find(|(_, slip)| std::ptr::eq(*slip, entry)) {
            let misfit = self.misfits.iter().find(|(key, _)| key == meant);
            let takes =
                misfit.map(|(_, wanted)| format!(" It takes {wanted}; {} stands here", entry.node.found()));
            problem = problem.help(format!("did you mean `{meant}`?{}", takes.unwrap_or_default()));
        } else {
            self.at.leave_unread_entry(entry);
            match &self.others {
                Some(others) if others.contains(&entry.key.as_str()) => return,
                Some(others) => {
                    if let Some(near) = nearest(&entry.key, self.known.iter().chain(others).copied()) {
                        problem = problem.help(format!("did you mean `{near}`?"));
                    }
                }
                None => problem = self.not_near(problem, entry, open),
            }
        }
        let span = entry.key_span;
        self.at.in_key(&entry.key, |at| at.error(span, problem));
    }

    /// What to do about a key that is near to none that is missing.
    fn not_near(&self, problem: Problem, entry: &Entry, open: &[&str]) -> Problem {
        if let Some(near) =
            nearest(&entry.key, self.known.iter().copied().filter(|key| self.entry(key).is_some()))
        {
            return problem.help(format!("`{near}`, which is near to it, stands here already"));
        }
        if open.is_empty() {
            return problem.help("take it out, or write what you want to say as a \"note\"");
        }
        const MOST: usize = 12;
        let shown: Vec<String> = open.iter().take(MOST).map(|key| format!("`{key}`")).collect();
        let more = if open.len() > MOST { ", …" } else { "" };
        problem.expected(format!("one of {}{more}, `{NOTE}`", shown.join(", ")))
    }
}

/// The keys that `read` asks for; none if others may stand there.
pub(crate) fn known_keys<T>(read: impl Fn(&mut Object<'_>) -> T) -> Option<Vec<&'static str>> {
    let mut object = Object { mode: Mode::Listing(Known { keys: vec![NOTE], is_open: false }) };
    read(&mut object);
    let Mode::Listing(known) = object.mode else { unreachable!("the mode of an object never changes") };
    (!known.is_open).then_some(known.keys)
}

/// Keys that were misspelt, each with its entry: it is read as what was meant, so that what is wrong in it is told as well.
fn slips_of<'a, T>(
    entries: &'a [Entry],
    read: impl Fn(&mut Object<'_>) -> T,
) -> Vec<(&'static str, &'a Entry)> {
    let Some(known) = known_keys(read) else { return Vec::new() };
    let stands = |key: &&'static str| entries.iter().any(|entry| entry.key == *key);
    let mut open: Vec<&'static str> = known.iter().copied().filter(|key| !stands(key)).collect();
    let mut slips: Vec<(&'static str, &'a Entry)> = Vec::new();
    let unknown = entries.iter().filter(|entry| !known.contains(&entry.key.as_str()));
    // Nobody is told of more.
    for entry in unknown.take(Diagnostics::LIMIT) {
        if let Some(meant) = nearest(&entry.key, open.iter().copied()) {
            open.retain(|key| *key != meant);
            slips.push((meant, entry));
        }
    }
    slips
}

impl Described<'_> {
    fn schema(mut self) -> Json {
        self.properties.insert(NOTE.to_owned(), note_schema());
        json!({
            "type": "object",
            "properties": self.properties,
            "required": self.required,
            "additionalProperties": false,
        })
    }
}

fn read_default<F: Form>(key: &str, form: &F, default: &'static str) -> F::Out {
    let as_json = json::parse(default, &mut Diagnostics::new());
    let text = || Node { span: Span::default(), value: Value::Text(default.to_owned()) };
    let node = as_json.unwrap_or_else(text);
    let mut at = Reading::default();
    match form.read(&node, &mut at) {
        Some(value) if at.error_count() == 0 => value,
        Some(_) | None => {
            panic!("the default `{default}` of `{key}` is read by its own form: {:?}", at.into_diagnostics())
        }
    }
}
