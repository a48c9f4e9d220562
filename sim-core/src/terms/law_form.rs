//! Random amounts as they stand in a file.
