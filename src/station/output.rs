//! Lines on the standard and the error output of a running station, which does
//! not end because nobody reads there or a disk is full.

use std::io::Write;

/// A line on the standard output.
pub fn say(text: &str) {
    let mut out = std::io::stdout().lock();
    let _ = writeln!(out, "{text}").and_then(|()| out.flush());
}

/// A line on the error output.
pub(super) fn complain(sentence: &str) {
    let _ = writeln!(std::io::stderr(), "{sentence}");
}
