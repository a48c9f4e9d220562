//! Shared pieces of the workspace's tests.
