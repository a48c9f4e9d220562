//! Objects inside of objects, variants of an object, and forms made of forms.

use serde_json::{Value as Json, json};

use super::fields::{Object, Reading, Relax, describe_object, known_keys, read_object, stand_in_object};
use super::forms::{Form, Spanned};
use super::json::{Node, Value};
use super::schema::Definitions;
use super::suggest::{keys_fit, near_entry, nearest};
use super::words::{one_of_words, unknown_word};
use crate::diag::{Place, Problem, code};

/// An object with its own read function; described once, under its name.
#[derive(Debug)]
pub struct Nested<T> {
    name: &'static str,
    read: fn(&mut Object<'_>) -> T,
}

/// An object with its own read function. `name` is its name in the schema; one name, one read function.
pub fn nested<T>(name: &'static str, read: fn(&mut Object<'_>) -> T) -> Nested<T> {
    Nested { name, read }
}

impl<T> Form for Nested<T> {
    type Out = T;

    fn fits(&self, node: &Node) -> bool {
        matches!(node.value, Value::Object(_))
    }

    fn wanted(&self) -> String {
        format!("an object in braces (a {})", self.name)
    }

    fn read(&self, node: &Node, at: &mut Reading) -> Option<T> {
        if !self.fits(node) {
            at.wrong_type(node, &self.wanted());
            return None;
        }
        read_object(node, at, self.read)
    }

    fn stand_in(&self) -> T {
        stand_in_object(self.read)
    }

    fn schema(&self, definitions: &mut Definitions) -> Json {
        definitions.define(self.name, |definitions| describe_object(definitions, self.read))
    }
}

/// One of the things that an object may be, by the word at its tag.
#[derive(Debug)]
pub struct Variant<T: 'static> {
    /// The word at the tag.
    pub word: &'static str,
    /// What it is, for the schema.
    pub doc: &'static str,
    /// Reads the object; the tag is known already, and must not be asked for.
    pub read: fn(&mut Object<'_>) -> T,
}

/// An object that may be one of several things, told apart by the word at one key.
#[derive(Debug)]
pub struct Variants<T: 'static> {
    name: &'static str,
    tag: &'static str,
    list: &'static [Variant<T>],
    otherwise: Option<fn(&mut Object<'_>) -> T>,
}

/// An object that may be one of several things, told apart by the word at the key `tag`. In the schema each has
/// the name `name-word`. The first is the stand-in.
pub fn variants<T>(name: &'static str, tag: &'static str, list: &'static [Variant<T>]) -> Variants<T> {
    Variants { name, tag, list, otherwise: None }
}

impl<T> Variants<T> {
    /// How to read as much as there is to be read of an object that is none of these things, after that was reported:
    /// something then keeps its place in a list.
    #[must_use]
    pub fn otherwise(self, read: fn(&mut Object<'_>) -> T) -> Self {
        Variants { otherwise: Some(read), ..self }
    }

    fn words(&self) -> impl Iterator<Item = &'static str> + Clone + use<T> {
        let list = self.list;
        list.iter().map(|variant| variant.word)
    }

    fn run(&self, variant: &Variant<T>, object: &mut Object<'_>) -> T {
        object.constant(self.tag, variant.word, variant.doc);
        (variant.read)(object)
    }

    /// The variant that the object says it is, or that it nearly says; anything else is reported.
    fn chosen(&self, node: &Node, at: &mut Reading) -> Option<&'static Variant<T>> {
        if !self.fits(node) {
            at.wrong_type(node, &self.wanted());
            return None;
        }
        let Some(entry) = node.entry(self.tag).or_else(|| near_entry(node, self.tag)) else {
            let problem = Problem::new(code::MISSING_KEY, format!("`{}` is missing", self.tag))
                .expected(format!("\"{}\": {}", self.tag, one_of_words(self.words())));
            at.error(node.span, problem);
            return None;
        };
        at.in_key(&entry.key, |at| {
            let Some(word) = entry.node.text() else {
                at.wrong_type(&entry.node, &one_of_words(self.words()));
                return None;
            };
            let found = self.list.iter().find(|variant| variant.word == word);
            if found.is_none() {
                at.error(entry.node.span, unknown_word(word, self.words()));
            }
            // A slip of the fingers is read as what was meant, so that what else is wrong is told as well.
            let meant = || {
                let meant = nearest(word, self.words())?;
                let variant = self.list.iter().find(|variant| variant.word == meant)?;
                let keys = known_keys(|object| self.run(variant, object))?;
                keys_fit(node, &keys).then_some(variant)
            };
            found.or_else(meant)
        })
    }
}

impl<T> Form for Variants<T> {
    type Out = T;

    fn fits(&self, node: &Node) -> bool {
        matches!(node.value, Value::Object(_))
    }

    fn wanted(&self) -> String {
        let example = self.list.first().map_or("", |variant| variant.word);
        format!("an object with the key `{}`, such as `{{\"{}\": \"{example}\", …}}`", self.tag, self.tag)
    }

    fn read(&self, node: &Node, at: &mut Reading) -> Option<T> {
        match (self.chosen(node, at), self.otherwise) {
            (Some(variant), _) => read_object(node, at, |object| self.run(variant, object)),
            (None, Some(read)) if node.is_object() => read_object(node, at, read),
            (None, Some(read)) => Some(stand_in_object(read)),
            (None, None) => None,
        }
    }

    fn stand_in(&self) -> T {
        let first = self.list.first().expect("an object of several variants has one at least");
        stand_in_object(|object| self.run(first, object))
    }

    fn schema(&self, definitions: &mut Definitions) -> Json {
        definitions.define(self.name, |definitions| {
            let mut all = Vec::with_capacity(self.list.len());
            for variant in self.list {
                let name = format!("{}-{}", self.name, variant.word.replace(' ', "-"));
                all.push(definitions.define(&name, |definitions| {
                    describe_object(definitions, |object| self.run(variant, object))
                }));
            }
            json!({ "type": "object", "required": [self.tag], "oneOf": all })
        })
    }
}

/// What a value of two possible forms was.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Choice<A, B> {
    /// Of the first form.
    First(A),
    /// Of the second form.
    Second(B),
}

/// A value of one of two forms that can be told apart, see [`Form::fits`].
#[derive(Debug, Clone, Copy)]
pub struct Either<A, B> {
    first: A,
    second: B,
}

/// A value of one of two forms that can be told apart: by sort (text, number, list, object), by the dimension of a
/// quantity, or a word from a quantity. The first that fits reads it; the first is the stand-in. May be nested.
pub fn either<A: Form, B: Form>(first: A, second: B) -> Either<A, B> {
    Either { first, second }
}

impl<A: Form, B: Form> Form for Either<A, B> {
    type Out = Choice<A::Out, B::Out>;

    fn fits(&self, node: &Node) -> bool {
        self.first.fits(node) || self.second.fits(node)
    }

    fn wanted(&self) -> String {
        format!("{}; or {}", self.first.wanted(), self.second.wanted())
    }

    fn read(&self, node: &Node, at: &mut Reading) -> Option<Self::Out> {
        if self.first.fits(node) {
            self.first.read(node, at).map(Choice::First)
        } else if self.second.fits(node) {
            self.second.read(node, at).map(Choice::Second)
        } else {
            at.wrong_type(node, &self.wanted());
            None
        }
    }

    fn stand_in(&self) -> Self::Out {
        Choice::First(self.first.stand_in())
    }

    fn schema(&self, definitions: &mut Definitions) -> Json {
        json!({ "anyOf": [self.first.schema(definitions), self.second.schema(definitions)] })
    }
}

/// A form with another outcome.
#[derive(Debug, Clone, Copy)]
pub struct Mapped<F: Form, U> {
    pub(super) form: F,
    pub(super) change: fn(F::Out) -> U,
}

impl<F: Form, U> Form for Mapped<F, U> {
    type Out = U;

    fn fits(&self, node: &Node) -> bool {
        self.form.fits(node)
    }

    fn wanted(&self) -> String {
        self.form.wanted()
    }

    fn read(&self, node: &Node, at: &mut Reading) -> Option<U> {
        self.form.read(node, at).map(self.change)
    }

    fn stand_in(&self) -> U {
        (self.change)(self.form.stand_in())
    }

    fn schema(&self, definitions: &mut Definitions) -> Json {
        self.form.schema(definitions)
    }
}

/// A form whose numbers are relaxed in a way of their own.
#[derive(Debug, Clone, Copy)]
pub struct Relaxed<F> {
    form: F,
    relax: Relax,
}

/// A form of what is no limit of the line: a level, or what a product is made of.
pub fn no_limit<F: Form>(form: F) -> Relaxed<F> {
    Relaxed { form, relax: Relax::Never }
}

/// A form of numbers of which more helps, where less would be supposed, or nothing: a chance of something good.
pub fn more_helps<F: Form>(form: F) -> Relaxed<F> {
    Relaxed { form, relax: Relax::Up }
}

/// A form of numbers of which less helps, where more would be supposed, or nothing: a distance.
pub fn less_helps<F: Form>(form: F) -> Relaxed<F> {
    Relaxed { form, relax: Relax::Down }
}

impl<F: Form> Form for Relaxed<F> {
    type Out = F::Out;

    fn fits(&self, node: &Node) -> bool {
        self.form.fits(node)
    }

    fn wanted(&self) -> String {
        self.form.wanted()
    }

    fn read(&self, node: &Node, at: &mut Reading) -> Option<F::Out> {
        let before = at.setting_count();
        let value = self.form.read(node, at);
        at.relax_settings(before, self.relax);
        value
    }

    fn stand_in(&self) -> F::Out {
        self.form.stand_in()
    }

    fn schema(&self, definitions: &mut Definitions) -> Json {
        self.form.schema(definitions)
    }
}

/// A form whose outcome keeps its place.
#[derive(Debug, Clone, Copy)]
pub struct Placed<F>(F);

/// A form whose outcome keeps its place, for problems that are found after reading.
pub fn placed<F: Form>(form: F) -> Placed<F> {
    Placed(form)
}

impl<F: Form> Form for Placed<F> {
    type Out = Spanned<F::Out>;

    fn fits(&self, node: &Node) -> bool {
        self.0.fits(node)
    }

    fn wanted(&self) -> String {
        self.0.wanted()
    }

    fn read(&self, node: &Node, at: &mut Reading) -> Option<Self::Out> {
        let value = self.0.read(node, at)?;
        Some(Spanned { value, place: at.place(node.span) })
    }

    fn stand_in(&self) -> Self::Out {
        Spanned { value: self.0.stand_in(), place: Place::default() }
    }

    fn schema(&self, definitions: &mut Definitions) -> Json {
        self.0.schema(definitions)
    }
}
