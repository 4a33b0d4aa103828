//! The ruler: what a check of the station against a physical reference says of its
//! readings.
//!
//! Takes: for one quantity the [`Pair`]s of some persons, each a reading and the reference
//! it was held against, and the [`Prior`] of what is published; and, for a reading, the
//! frames of a person who stands still ([`stand`]).
//! Gives: [`Fitted`]: offset and slope of the readings, how much persons differ, and
//! which pairs are far off.
//! Fails: a pair with a number that is none, or a reference nobody can hold, in one
//! sentence; then nothing is given.
//!
//! Pure: no I/O, no clock, no threads. The model is written down in `docs/ruler.md`
//! and held against statsmodels and SciPy in `tests/pure/ruler.rs`.

mod mixed;
mod posterior;
mod record;
pub mod stand;
#[doc(hidden)]
pub mod stander;

use std::ops::RangeInclusive;

use crate::calibration::{Found, Gauged, Prior};
use crate::config::View;
use crate::geometry::median;

pub use mixed::{Mixed, mixed};
pub use posterior::posterior;
pub use record::{Difference, FORMAT, Hold, Record, RecordFault, Setting};

/// One reading of one person, and what it should have been; both in the quantity's unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pair {
    /// Number of the person.
    pub person: usize,
    /// What the goniometer, the template or the gauge says.
    pub reference: f64,
    /// What the station read, with no shift of its own.
    pub reading: f64,
}

/// What the pairs say, with what was known before.
#[derive(Debug, Clone, PartialEq)]
pub struct Fitted {
    /// What values follow.
    pub found: Found,
    /// Standard deviation from hold to hold.
    pub within: f64,
    /// Places of pairs that lie far off the rest. They take part; they are said.
    pub outliers: Vec<usize>,
}

/// Why a pair cannot be used.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum PairFault {
    /// A number that is none.
    #[error("a reading or a reference is no number; enter it again")]
    NoNumber,
    /// A reference nobody can hold.
    #[error(
        "a reference of {shown} {unit} cannot be: {low} to {high} {unit} can be held; enter what the instrument shows"
    )]
    Impossible {
        /// As it was given, in the unit that is told.
        shown: f64,
        /// The least, in the unit that is told.
        low: f64,
        /// The most.
        high: f64,
        /// Degrees or cm.
        unit: &'static str,
    },
}

/// Standard deviations from where it should be from which on a pair is said to be far off.
const OUTLIER: f64 = 3.0;
/// Levels of the reference that a slope needs.
const SLOPE_LEVELS: usize = 3;
/// References this far apart are two levels, as a share of their whole range.
const LEVEL_SHARE: f64 = 0.1;
/// What is known of a slope before: its standard deviation, for each unit. 10 degrees
/// over a hundred (a proposal).
const SLOPE_BEFORE: f64 = 0.1;
/// As how many measured persons the published spread between persons counts (a proposal).
const SPREAD_AS_PERSONS: f64 = 3.0;

/// A puck on edge and flat, metres (IIHF rule book): a gauge between the heels.
pub const PUCK_M: [f64; 2] = [0.0254, 0.0762];

impl Gauged {
    /// All, in the order they are shown.
    pub const ALL: [Gauged; 4] = [
        Gauged::Knee,
        Gauged::Extension,
        Gauged::HeelGap,
        Gauged::Trunk,
    ];

    /// The name used in files and on the command line.
    pub fn name(self) -> &'static str {
        match self {
            Gauged::Knee => "knee",
            Gauged::Extension => "extension",
            Gauged::HeelGap => "heel_gap",
            Gauged::Trunk => "trunk",
        }
    }

    /// What a person can hold, in degrees or metres.
    pub fn possible(self) -> RangeInclusive<f64> {
        match self {
            Gauged::Knee => 60.0..=180.0,
            Gauged::Extension => 120.0..=180.0,
            Gauged::HeelGap => 0.0..=0.5,
            Gauged::Trunk => 0.0..=90.0,
        }
    }

    /// Whether it is a length, and scales with stature.
    pub fn is_length(self) -> bool {
        self == Gauged::HeelGap
    }

    /// The unit it is told in, and how many of them one of its own is.
    pub fn told_in(self) -> (&'static str, f64) {
        if self.is_length() {
            ("cm", 100.0)
        } else {
            ("degrees", 1.0)
        }
    }

    /// From where it is seen.
    pub fn views(self) -> &'static [View] {
        match self {
            Gauged::Knee => &[View::Side, View::Oblique],
            Gauged::Extension | Gauged::Trunk => &[View::Side],
            Gauged::HeelGap => &[View::Front, View::Rear],
        }
    }

    /// Refuses what nobody can hold.
    ///
    /// # Errors
    /// [`PairFault`].
    pub fn holdable(self, reference: f64) -> Result<(), PairFault> {
        if !reference.is_finite() {
            return Err(PairFault::NoNumber);
        }
        let possible = self.possible();
        if possible.contains(&reference) {
            return Ok(());
        }
        let (unit, times) = self.told_in();
        Err(PairFault::Impossible {
            shown: (reference * times * 100.0).round() / 100.0,
            low: possible.start() * times,
            high: possible.end() * times,
            unit,
        })
    }
}

/// What pairs say of a quantity, with what is known before. `None` without a pair: then
/// the published numbers hold as they are.
///
/// # Errors
/// [`PairFault`].
pub fn fitted(of: Gauged, pairs: &[Pair], prior: &Prior) -> Result<Option<Fitted>, PairFault> {
    for pair in pairs {
        of.holdable(pair.reference)?;
        if !pair.reading.is_finite() {
            return Err(PairFault::NoNumber);
        }
    }
    Ok(of_pairs(of, pairs, prior))
}

/// The same of pairs that were checked when they were held.
fn of_pairs(of: Gauged, pairs: &[Pair], prior: &Prior) -> Option<Fitted> {
    if pairs.is_empty() {
        return None;
    }
    let mut people: Vec<usize> = pairs.iter().map(|h| h.person).collect();
    people.sort_unstable();
    people.dedup();
    let measured = measured(pairs, prior, people.len(), of == Gauged::Knee);
    let n = people.len() as f64;
    // Between persons: what is published counts as so many persons, these as they are.
    let own = n - 1.0;
    let between2 = (SPREAD_AS_PERSONS * prior.spread.between.powi(2)
        + own * measured.between.powi(2))
        / (SPREAD_AS_PERSONS + own);
    let per_person = pairs.len() as f64 / n;
    // What the reference is off is in every hold and does not shrink.
    let error2 =
        (between2 + measured.within.powi(2) / per_person) / n + prior.spread.of_reference.powi(2);
    let before = [prior.offset, prior.of_rink.max(1e-9)];
    let [offset, offset_error] = posterior(before, [measured.offset, error2.sqrt()]);
    let kept = SLOPE_BEFORE.powi(2) / (SLOPE_BEFORE.powi(2) + measured.slope_error.powi(2));
    let slope = kept * measured.slope;
    let references = || pairs.iter().map(|h| h.reference);
    Some(Fitted {
        found: Found {
            offset,
            offset_error,
            slope,
            slope_error: measured.slope_error * kept.sqrt(),
            centre: measured.centre,
            low: references().fold(f64::MAX, f64::min),
            high: references().fold(f64::MIN, f64::max),
            between: between2.sqrt(),
            persons: people.len() as u32,
        },
        within: measured.within,
        outliers: far_off(pairs, slope, prior.spread.within),
    })
}

/// The model of the pairs; where they are too few for a spread of their own, their plain
/// mean with the published spreads.
fn measured(pairs: &[Pair], prior: &Prior, persons: usize, may_slope: bool) -> Mixed {
    let sloped = may_slope && levels(pairs) >= SLOPE_LEVELS;
    if let Some(found) = mixed(pairs, sloped) {
        return found;
    }
    let n = pairs.len() as f64;
    let offset = pairs.iter().map(|h| h.reading - h.reference).sum::<f64>() / n;
    Mixed {
        offset,
        offset_error: (prior.spread.between.powi(2) / persons.max(1) as f64
            + prior.spread.within.powi(2) / n)
            .sqrt(),
        slope: 0.0,
        slope_error: 0.0,
        centre: pairs.iter().map(|h| h.reference).sum::<f64>() / n,
        between: prior.spread.between,
        within: prior.spread.within,
    }
}

/// How many levels of the reference were held.
fn levels(pairs: &[Pair]) -> usize {
    let mut references: Vec<f64> = pairs.iter().map(|h| h.reference).collect();
    references.sort_by(f64::total_cmp);
    let (Some(first), Some(last)) = (references.first(), references.last()) else {
        return 0;
    };
    let apart = (LEVEL_SHARE * (last - first)).max(1e-9);
    1 + references
        .windows(2)
        .filter(|w| w[1] - w[0] > apart)
        .count()
}

/// Pairs far off their own person's others, once the slope is taken out. `usual` is what
/// one hold differs from another as published: a wild hold widens what was measured.
fn far_off(pairs: &[Pair], slope: f64, usual: f64) -> Vec<usize> {
    let left = |h: &Pair| h.reading - h.reference - slope * h.reference;
    let is_far = |&i: &usize| {
        let others = pairs.iter().enumerate();
        let mut others: Vec<f64> = others
            .filter(|(j, h)| *j != i && h.person == pairs[i].person)
            .map(|(_, h)| left(h))
            .collect();
        // Against the middle of the others: one wild hold among them moves it little.
        others.len() >= 2
            && median(&mut others).is_some_and(|m| (left(&pairs[i]) - m).abs() > OUTLIER * usual)
    };
    (0..pairs.len()).filter(is_far).collect()
}
