//! What a rule is, and the thresholds it is judged with.

use serde::{Deserialize, Serialize};

use super::{Measure, Needs, RuleId, RuleMap, Surety};
use crate::calibration::Calibration;
use crate::config::{Lane, View};
use crate::stride::{Curves, Leg, PassMotion, Push};

/// The age groups, by the age at the end of the year (Hockey Canada age
/// divisions: U7 up to 6, U9 7-8, U11 9-10, U13 11-12, U15 13-14, U18 15-17).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[allow(missing_docs, reason = "the names are the documentation")]
pub enum AgeGroup {
    U7,
    U9,
    U11,
    U13,
    U15,
    U18,
    #[serde(rename = "adult")]
    Adult,
}

impl AgeGroup {
    /// All groups, youngest first; the order of every per-group array.
    pub const ALL: [AgeGroup; 7] = [
        AgeGroup::U7,
        AgeGroup::U9,
        AgeGroup::U11,
        AgeGroup::U13,
        AgeGroup::U15,
        AgeGroup::U18,
        AgeGroup::Adult,
    ];

    /// The name used in files, on the command line and on screens.
    pub const fn name(self) -> &'static str {
        match self {
            AgeGroup::U7 => "U7",
            AgeGroup::U9 => "U9",
            AgeGroup::U11 => "U11",
            AgeGroup::U13 => "U13",
            AgeGroup::U15 => "U15",
            AgeGroup::U18 => "U18",
            AgeGroup::Adult => "adult",
        }
    }

    /// The group of that name; upper and lower case are the same.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL
            .into_iter()
            .find(|g| g.name().eq_ignore_ascii_case(name))
    }
}

/// The unit a measure is stored in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unit {
    /// Degrees of angle.
    Deg,
    /// Metres. Shown to people in centimetres.
    Metre,
}

impl Unit {
    /// The ending of file keys and column names: `deg` or `m`.
    pub fn suffix(self) -> &'static str {
        match self {
            Unit::Deg => "deg",
            Unit::Metre => "m",
        }
    }
}

/// Which side of the limit is wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sense {
    /// Small is good: only `at_most` is used.
    AtMost,
    /// Large is good: only `at_least` is used.
    AtLeast,
    /// Between `at_least` and `at_most`.
    Between,
}

/// The limits of one rule in one age group.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Whether a value beyond the limit is flagged. The measure is stored
    /// either way.
    pub flagged: bool,
    /// Smallest wanted value, in the rule's unit. `None` for `AtMost`.
    pub at_least: Option<f64>,
    /// Largest wanted value, in the rule's unit. `None` for `AtLeast`.
    pub at_most: Option<f64>,
    /// How far beyond the limit a value has to be at least before it is flagged,
    /// however sure it is.
    pub dead_band: f64,
}

/// The thresholds of one age group.
#[derive(Debug, Clone, PartialEq)]
pub struct Thresholds {
    /// The group these belong to.
    pub age_group: AgeGroup,
    /// The limits of each rule.
    pub limits: RuleMap<Limits>,
    /// How sure it has to be before a value is flagged.
    pub surety: Surety,
}

/// Where truth files (of rendered skaters) have the true value of a rule.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TruthKey {
    /// Field of a push.
    pub of_push: &'static str,
    /// Parameter of the skater that holds where the push has no such field.
    pub asked: Option<&'static str>,
}

/// One rule. The whole program reads everything about it from here.
pub struct Rule {
    /// Its id; the code is also the name of its sound: `knee_bend`.
    pub id: RuleId,
    /// Key of the measure in files: `glide_knee_included_deg`.
    pub measure: &'static str,
    /// Unit of the measure and of its limits.
    pub unit: Unit,
    /// Views the quantity can be judged from at all.
    pub views: &'static [View],
    /// Which side of the limit is wanted.
    pub sense: Sense,
    /// Default limits per age group, in the order of [`AgeGroup::ALL`].
    pub defaults: [Limits; 7],
    /// What a limit may be set to, in the rule's unit.
    pub range: std::ops::RangeInclusive<f64>,
    /// What the dead-band may be set to, in the rule's unit.
    pub dead_band_range: std::ops::RangeInclusive<f64>,
    /// A few words for tables: 'knee bend'.
    pub short: &'static str,
    /// One or two sentences for the reference and the panel.
    pub long: &'static str,
    /// Where the default comes from: a source, 'common practice, no source',
    /// or 'proposal of this project'.
    pub source: &'static str,
    /// What it needs of the picture.
    pub needs: Needs,
    /// Reads the quantity from one push, with its uncertainty. Only called for the
    /// rule's views.
    pub evaluate: fn(&PassMotion, &Push) -> Measure,
    /// When the quantity of a push was what it was judged by, seconds: the
    /// instant that is shown.
    pub shown_at_s: fn(&PassMotion, &Push) -> f64,
    /// The points that are drawn on the picture at a sample of the curves, pixels
    /// of the frame, in their order along the body: two, or three about a joint.
    pub marks: fn(&Curves, usize, Leg) -> Vec<[f64; 2]>,
    /// Whether it is an angle of the knee, so that its limit belongs into the
    /// curve of the knee over the push.
    pub of_knee: bool,
    /// Where truth files have its true value.
    pub truth: TruthKey,
}

impl Limits {
    /// How far beyond a limit a value with this standard deviation has to be before it
    /// is flagged, in the rule's unit: so far that it is sure, and never less than
    /// the dead-band.
    pub fn margin(&self, deviation: f64, surety: Surety) -> f64 {
        self.dead_band.max(surety.margin(deviation))
    }

    /// The same for a push by itself on a lane, near the limit; `None` where there is no
    /// such doubt to tell.
    pub fn margin_on(
        &self,
        rule: RuleId,
        calibration: Calibration,
        lane: &Lane,
        surety: Surety,
    ) -> Option<f64> {
        let near = self.at_least.or(self.at_most).unwrap_or_default();
        let doubt = calibration.doubt_of(rule.code(), lane.view, lane.skater_height_m, near)?;
        Some(self.margin(doubt.of_one(), surety))
    }

    /// The limit a value with this standard deviation is surely beyond, if any.
    pub fn surely_beyond(&self, value: f64, deviation: f64, surety: Surety) -> Option<f64> {
        Limits {
            dead_band: self.margin(deviation, surety),
            ..*self
        }
        .beyond(value)
    }

    /// The limit a value is beyond by more than the dead-band, if any.
    pub fn beyond(&self, value: f64) -> Option<f64> {
        match (self.at_least, self.at_most) {
            (Some(low), _) if value < low - self.dead_band => Some(low),
            (_, Some(high)) if value > high + self.dead_band => Some(high),
            _ => None,
        }
    }
}

/// Shorthand of the rule files.
pub(super) const fn limits(
    flagged: bool,
    at_least: Option<f64>,
    at_most: Option<f64>,
    dead_band: f64,
) -> Limits {
    Limits {
        flagged,
        at_least,
        at_most,
        dead_band,
    }
}

impl Thresholds {
    /// The defaults of the declarations for one group.
    pub fn defaults(age_group: AgeGroup) -> Self {
        let i = age_group as usize;
        Thresholds {
            age_group,
            limits: RuleMap::from_fn(|id| id.rule().defaults[i]),
            surety: Surety::default(),
        }
    }
}
