//! Shared pieces of the workspace's tests.

pub mod published;
