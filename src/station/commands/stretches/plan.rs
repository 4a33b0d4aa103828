//! Where a recording may be cut: what the file alone decides.

use std::sync::OnceLock;

use crate::capture::{CaptureError, Parts, Source};

/// A recording is cut this often at most, seconds, where nobody skates then.
pub(in crate::station::commands) const EVERY_S: f64 = 30.0;
/// The cut is in the first of them, seconds: no stretch is shorter than the rest.
const WITHIN_S: f64 = 20.0;

/// At so many places it is looked whether a recording can be cut at all.
const SAMPLE: usize = 4;

/// The places of a recording at which it may be cut, counted from 0, its beginning.
pub(in crate::station::commands) struct Plan {
    parts: Parts,
    /// The times among which there is a picture to begin with, each with the one that was
    /// chosen, once it was looked for.
    times: Vec<(f64, OnceLock<Option<usize>>)>,
}

impl Plan {
    pub(in crate::station::commands) fn new(parts: Parts) -> Plan {
        let mut times: Vec<(f64, OnceLock<Option<usize>>)> = Vec::new();
        for at_s in parts.begin_at_s() {
            let from_s = (at_s / EVERY_S).floor() * EVERY_S;
            let last_s = times.last().map_or(0.0, |(last_s, _)| *last_s);
            if from_s > last_s && at_s - from_s < WITHIN_S {
                times.push((from_s, OnceLock::new()));
            }
        }
        Plan { parts, times }
    }

    /// How many places there may be.
    pub(in crate::station::commands) fn places(&self) -> usize {
        self.times.len() + 1
    }

    /// Whether it can be cut at one of a few places, taken evenly from all. Where it cannot,
    /// somebody skates all the time, and one worker sees most of it.
    pub(in crate::station::commands) fn can_be_cut(&self) -> bool {
        let step = self.times.len().div_ceil(SAMPLE).max(1);
        (1..self.places())
            .step_by(step)
            .any(|place| self.begins(place).is_some())
    }

    /// The picture that the part from this place on begins with; `None` where there is none.
    pub(super) fn begins(&self, place: usize) -> Option<usize> {
        let Some(before) = place.checked_sub(1) else {
            return Some(0);
        };
        let (from_s, chosen) = self.times.get(before)?;
        *chosen.get_or_init(|| self.parts.calmest(*from_s, from_s + WITHIN_S))
    }

    /// The next place.
    pub(super) fn after(&self, place: usize) -> Option<usize> {
        (place + 1..self.places()).find(|next| self.begins(*next).is_some())
    }

    /// Reads from one place to the next.
    pub(super) fn open(&self, place: usize) -> Result<Box<dyn Source>, CaptureError> {
        let begins = self.begins(place).unwrap_or(self.parts.pictures());
        let ends = self.after(place).and_then(|next| self.begins(next));
        self.parts
            .open(begins..ends.unwrap_or(self.parts.pictures()))
    }

    /// The file, for messages.
    pub(super) fn path(&self) -> &std::path::Path {
        self.parts.path()
    }
}
