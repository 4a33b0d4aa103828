//! Stands in until its room is built.
