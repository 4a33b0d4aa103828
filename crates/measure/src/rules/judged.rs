//! A pass after judging.

use serde::{Deserialize, Serialize};

use super::Thresholds;
use crate::config::View;
use crate::stride::Leg;

/// One measured quantity, or the reason why it was not judged.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Measure {
    /// The value in the unit its key ends with, where there is one. A value
    /// may stand here and yet not be judged.
    pub value: Option<f64>,
    /// One standard deviation, same unit.
    pub uncertainty: Option<f64>,
    /// Whether rules may speak about it.
    pub judged: bool,
    /// Why it is not judged, or how it was measured, in a few plain words.
    pub reason: String,
}

impl Measure {
    /// A quantity rules may speak about: value and standard deviation in the
    /// measure's unit, and how it was measured.
    pub fn judged(value: f64, uncertainty: f64, how: impl Into<String>) -> Self {
        Measure {
            value: Some(value),
            uncertainty: Some(uncertainty),
            judged: true,
            reason: how.into(),
        }
    }

    /// A quantity that cannot be spoken about, and why.
    pub fn not_judged(reason: impl Into<String>) -> Self {
        Measure {
            value: None,
            uncertainty: None,
            judged: false,
            reason: reason.into(),
        }
    }
}

/// A value beyond its limit by more than the dead-band.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Flag {
    /// Id of the rule.
    pub rule: String,
    /// The measured value, in the rule's unit.
    pub value: f64,
    /// The limit it passed, in the rule's unit.
    pub limit: f64,
}

/// One push, judged.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct JudgedPush {
    /// The pushing leg.
    pub leg: Leg,
    /// Whether it is the leg nearer to the camera; `None` where the view has
    /// no nearer leg.
    pub near_leg: Option<bool>,
    /// When the leg starts to push, seconds on the source's clock.
    pub push_start_s: f64,
    /// When the skate leaves the ice, seconds on the source's clock.
    pub toe_off_s: f64,
    /// One measure per rule, in the order of the rule table.
    pub measures: Vec<Measure>,
    /// What was beyond its limit.
    pub flags: Vec<Flag>,
}

/// One pass, judged with the thresholds it carries.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct JudgedPass {
    /// Number of the track, unique in the session.
    pub track_id: u32,
    /// First sample of the pass, seconds on the source's clock.
    pub started_at_s: f64,
    /// Last sample of the pass, seconds on the source's clock.
    pub ended_at_s: f64,
    /// Mean speed along the lane, metres a second.
    pub speed_mps: f64,
    /// The view it was seen from.
    pub view: View,
    /// The thresholds it was judged with.
    pub thresholds: Thresholds,
    /// The pushes in order of toe-off.
    pub pushes: Vec<JudgedPush>,
    /// What is reported of the pass as a whole, in the order of
    /// [`QUANTITIES`](super::QUANTITIES); never flagged.
    pub quantities: Vec<Measure>,
}
