//! Shared pieces of the workspace's benches.
