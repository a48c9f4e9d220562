//! Mutations of scenario texts.
