//! What a check with persons at the rink found ([`crate::ruler`]), as it stands in a lane
//! and its records.

use serde::{Deserialize, Serialize};

use super::{Doubt, Gauged, Shift};
use crate::body::ModelKind;

/// How readings of one quantity lie to what was held; in its unit, lengths at an adult's
/// stature. Reading less truth.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Found {
    /// At the centre, with what was known before.
    pub offset: f64,
    /// Its standard deviation.
    pub offset_error: f64,
    /// Change of it for each unit of the truth.
    pub slope: f64,
    /// Its standard deviation.
    pub slope_error: f64,
    /// The truth the offset holds at.
    pub centre: f64,
    /// Smallest reference that was held.
    pub low: f64,
    /// Largest reference that was held.
    pub high: f64,
    /// Standard deviation from person to person, with what was known before.
    pub between: f64,
    /// How many persons held it.
    pub persons: u32,
}

/// A check of the station with persons, for one camera, lane, pose model and engine.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Checked {
    /// Day of its last hold; none in an anonymous copy.
    #[serde(default, with = "day_or_none", skip_serializing_if = "Option::is_none")]
    pub date: Option<jiff::civil::Date>,
    /// How many persons took part.
    pub persons: u32,
    /// The model it was made with.
    pub model: ModelKind,
    /// The knee of a gliding leg, degrees.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub knee: Option<Found>,
    /// The knee of a leg at the end of its push, degrees.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub extension: Option<Found>,
    /// The gap between the heels, metres.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub heel_gap: Option<Found>,
    /// The lean of the trunk, degrees.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub trunk: Option<Found>,
}

impl Checked {
    /// What was found of a quantity; `None` where nobody held it.
    pub fn found(&self, of: Gauged) -> Option<Found> {
        match of {
            Gauged::Knee => self.knee,
            Gauged::Extension => self.extension,
            Gauged::HeelGap => self.heel_gap,
            Gauged::Trunk => self.trunk,
        }
    }

    /// What was held.
    pub fn held(&self) -> impl Iterator<Item = Gauged> {
        Gauged::ALL
            .into_iter()
            .filter(|of| self.found(*of).is_some())
    }
}

impl Found {
    /// What is added to a reading, and how sure the value is then. `moving` is how far a
    /// moving skater may lie from one who stands, `random` what differs from push to push.
    pub(super) fn shift(&self, reading: f64, moving: f64, random: f64) -> Shift {
        // The slope is of the truth, which is what the shift has to give back.
        let truth = self.centre + (reading - self.centre - self.offset) / (1.0 + self.slope);
        // Beyond what was held nothing is known of the slope.
        let held = truth.max(self.low).min(self.high);
        let away = held - self.centre;
        let offset_error = self.offset_error.hypot(self.slope_error * away);
        Shift {
            add: -(self.offset + self.slope * away),
            doubt: Doubt::new(offset_error.hypot(self.between).hypot(moving), random),
        }
    }
}

/// A day as '2026-11-30'.
pub mod day {
    use serde::{Deserialize, Deserializer, Serializer, de::Error};

    pub fn serialize<S: Serializer>(day: &jiff::civil::Date, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(day)
    }

    pub fn deserialize<'d, D: Deserializer<'d>>(from: D) -> Result<jiff::civil::Date, D::Error> {
        let text = String::deserialize(from)?;
        text.parse().map_err(D::Error::custom)
    }
}

/// The same where it may be left out.
pub mod day_or_none {
    use serde::{Deserialize, Deserializer, Serializer, de::Error};

    pub fn serialize<S: Serializer>(
        day: &Option<jiff::civil::Date>,
        to: S,
    ) -> Result<S::Ok, S::Error> {
        match day {
            Some(day) => to.collect_str(day),
            None => to.serialize_none(),
        }
    }

    pub fn deserialize<'d, D: Deserializer<'d>>(
        from: D,
    ) -> Result<Option<jiff::civil::Date>, D::Error> {
        let text = Option::<String>::deserialize(from)?;
        let day = text.map(|text| text.parse().map_err(D::Error::custom));
        day.transpose()
    }
}
