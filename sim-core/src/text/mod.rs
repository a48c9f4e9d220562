//! From the text of a file to typed values: spanned JSON, forms of values, and the nearest valid word.
//!
//! A read function written once against [`fields::Object`] both reads a file and describes it as JSON Schema.
//! [`forms`] names all forms of values.

pub mod evidence;
pub mod fields;
pub mod forms;
pub mod hash;
pub mod json;
pub mod schema;
pub mod suggest;

mod chance;
mod lists;
mod nested;
mod numbers;
mod quantity;
mod reading;
mod syntax;
mod words;

pub(crate) use chance::without_dust;
pub(crate) use quantity::warn_unusual;
pub(crate) use words::{is_name, one_of_words, unknown_word};

#[cfg(test)]
mod tests;
