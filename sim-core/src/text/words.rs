//! Text, names and words to choose from, as forms.

use serde_json::{Value as Json, json};

use super::fields::Reading;
use super::forms::{Form, Spanned};
use super::json::{Node, clipped};
use super::schema::Definitions;
use super::suggest::nearest;
use crate::diag::{Place, Problem, code};

/// Free text that says something.
#[derive(Debug, Clone, Copy)]
pub struct Text;

/// Free text, not empty.
pub fn text() -> Text {
    Text
}

impl Form for Text {
    type Out = String;

    fn fits(&self, node: &Node) -> bool {
        node.text().is_some()
    }

    fn wanted(&self) -> String {
        "text in double quotes".to_owned()
    }

    fn read(&self, node: &Node, at: &mut Reading) -> Option<String> {
        let Some(text) = node.text() else {
            at.wrong_type(node, &self.wanted());
            return None;
        };
        if text.trim().is_empty() {
            at.error(node.span, Problem::new(code::EMPTY, "the text is empty").expected(self.wanted()));
            return None;
        }
        Some(text.to_owned())
    }

    fn stand_in(&self) -> String {
        String::new()
    }

    fn schema(&self, _: &mut Definitions) -> Json {
        json!({ "type": "string", "minLength": 1 })
    }
}

/// The name of something, or a reference to it.
#[derive(Debug, Clone, Copy)]
pub struct Name;

/// The name of something, or a reference to it: 60 characters at most, all of which can be seen; none that ends a name in an
/// address or a message, and none at its beginning that makes a formula of it in a spreadsheet.
pub fn name() -> Name {
    Name
}

/// Longest name, in characters.
const LONGEST_NAME: usize = 60;

/// Whether a letter can stand in a name: it is shown as it is, and neither ends a name in an address or a message, nor is a
/// sign of the text around it.
fn is_of_name(letter: char) -> bool {
    const MARKS: [char; 6] = ['"', '\'', '`', '\\', '[', ']'];
    letter.is_alphanumeric() || (letter.escape_debug().len() == 1 && !MARKS.contains(&letter))
}

/// Whether a text can be a name.
pub(crate) fn is_name(text: &str) -> bool {
    name_problem(text).is_none()
}

/// Why a text is no name.
pub(super) fn name_problem(text: &str) -> Option<Problem> {
    let wanted =
        "a name of 60 characters at most, without quotes, backslash and square brackets, such as `lift 1`";
    let bad = |message: String| Some(Problem::new(code::BAD_NAME, message).expected(wanted));
    if text.trim().is_empty() {
        return Some(Problem::new(code::EMPTY, "the name is empty").expected(wanted));
    }
    if let Some(letter) = text.chars().find(|&letter| !is_of_name(letter)) {
        let letter = letter.escape_debug();
        return bad(format!("the name `{}` has the character `{letter}`", clipped(text)));
    }
    if text.trim() != text {
        return bad(format!("the name `{}` begins or ends with a space", clipped(text)));
    }
    if text.starts_with(['=', '+', '@']) {
        return bad(format!("the name `{}` would be a formula in a spreadsheet", clipped(text)));
    }
    if text.chars().count() > LONGEST_NAME {
        return bad(format!("the name `{}` is too long", clipped(text)));
    }
    None
}

impl Form for Name {
    type Out = Spanned<String>;

    fn fits(&self, node: &Node) -> bool {
        node.text().is_some()
    }

    fn wanted(&self) -> String {
        "a name in double quotes, such as \"lift 1\"".to_owned()
    }

    /// What can't be a name is reported, and is one all the same: others may refer to it, and it is not missing. What is no
    /// text at all becomes the empty name, which nobody has.
    fn read(&self, node: &Node, at: &mut Reading) -> Option<Spanned<String>> {
        let Some(text) = node.text() else {
            at.wrong_type(node, &self.wanted());
            return Some(Spanned { value: String::new(), place: at.place(node.span) });
        };
        if let Some(problem) = name_problem(text) {
            at.error(node.span, problem);
        }
        Some(Spanned { value: text.to_owned(), place: at.place(node.span) })
    }

    fn stand_in(&self) -> Spanned<String> {
        Spanned { value: String::new(), place: Place::default() }
    }

    fn schema(&self, _: &mut Definitions) -> Json {
        json!({ "type": "string", "minLength": 1, "maxLength": LONGEST_NAME })
    }
}

/// One of a few words: the word, what it becomes, what it means.
#[derive(Debug)]
pub struct OneOf<T: 'static> {
    list: &'static [(&'static str, T, &'static str)],
}

/// One of a few words, each with what it becomes and what it means. The first is the stand-in.
pub fn one_of<T: Clone>(list: &'static [(&'static str, T, &'static str)]) -> OneOf<T> {
    OneOf { list }
}

/// "one of `a`, `b`, `c`".
pub(crate) fn one_of_words<'w>(words: impl Iterator<Item = &'w str>) -> String {
    let quoted: Vec<String> = words.map(|word| format!("\"{word}\"")).collect();
    match quoted.as_slice() {
        [only] => only.clone(),
        _ => format!("one of {}", quoted.join(", ")),
    }
}

/// The problem of a word that is none of `words`.
pub(crate) fn unknown_word<'w>(typed: &str, words: impl Iterator<Item = &'w str> + Clone) -> Problem {
    let problem = Problem::new(code::UNKNOWN_WORD, format!("`{}` is not known here", clipped(typed)))
        .expected(one_of_words(words.clone()));
    match nearest(typed, words) {
        Some(near) => problem.help(format!("did you mean `{near}`?")),
        None => problem,
    }
}

impl<T: Clone> OneOf<T> {
    fn words(&self) -> impl Iterator<Item = &'static str> + Clone + use<T> {
        let list = self.list;
        list.iter().map(|(word, _, _)| *word)
    }
}

impl<T: Clone> Form for OneOf<T> {
    type Out = T;

    /// One of the words, or text that does not begin as a number does.
    fn fits(&self, node: &Node) -> bool {
        node.text().is_some_and(|text| {
            let number =
                text.trim_start().starts_with(|c: char| c.is_ascii_digit() || matches!(c, '.' | '-' | '+'));
            !number || self.words().any(|word| word == text)
        })
    }

    fn wanted(&self) -> String {
        one_of_words(self.words())
    }

    fn read(&self, node: &Node, at: &mut Reading) -> Option<T> {
        let Some(text) = node.text() else {
            at.wrong_type(node, &self.wanted());
            return None;
        };
        let found = self.list.iter().find(|(word, _, _)| *word == text);
        if found.is_none() {
            at.error(node.span, unknown_word(text, self.words()));
        }
        found.map(|(_, value, _)| value.clone())
    }

    fn stand_in(&self) -> T {
        let (_, value, _) = self.list.first().expect("a choice has words");
        value.clone()
    }

    fn schema(&self, _: &mut Definitions) -> Json {
        let words: Vec<&str> = self.words().collect();
        let meanings: Vec<String> =
            self.list.iter().map(|(word, _, doc)| format!("`{word}`: {doc}")).collect();
        json!({ "enum": words, "description": meanings.join("; ") })
    }
}
