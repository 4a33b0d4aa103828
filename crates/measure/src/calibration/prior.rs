//! What is known of a quantity's readings before anybody was measured at the rink.

use super::{Calibration, people};
use crate::config::View;

/// The parts a stated doubt of people is made of that a check tells apart; in the unit of
/// the quantity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// Standard deviation from one person and gear to another.
    pub between: f64,
    /// How far a skater who moves may lie from one who stands still: no check sees it.
    pub moving: f64,
    /// Standard deviation from one hold of a person to the next.
    pub within: f64,
    /// What the reference itself may be off in all holds alike.
    pub of_reference: f64,
}

impl Spread {
    pub(super) const fn new(between: f64, moving: f64, within: f64, of_reference: f64) -> Self {
        Spread {
            between,
            moving,
            within,
            of_reference,
        }
    }
}

/// What is known of an offset before a check; lengths at an adult's stature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prior {
    /// Reading less truth, mean of what is published; 0 where nothing is.
    pub offset: f64,
    /// Its scale from one source, or one rink, to another.
    pub of_rink: f64,
    /// The parts that persons, holds and references bring.
    pub spread: Spread,
}

/// What a check can measure.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs, reason = "the names are the documentation")]
pub enum Gauged {
    Knee,
    Extension,
    HeelGap,
    Trunk,
}

impl Gauged {
    /// The id of the rule that judges it.
    pub fn rule(self) -> &'static str {
        match self {
            Gauged::Knee => "knee_bend",
            Gauged::Extension => "extension",
            Gauged::HeelGap => "recovery_gap",
            Gauged::Trunk => "trunk_lean",
        }
    }

    /// What a rule judges, by its id; `None` where persons cannot hold it.
    pub fn of_rule(rule: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|of| of.rule() == rule)
    }
}

impl Calibration {
    /// What is known of people, and of no one else, before a check.
    pub fn prior(self, of: Gauged, view: View) -> Prior {
        let mut by_scale = 0.0;
        let (add, doubt, spread) = match of {
            Gauged::Knee => {
                let shift = people::glide_knee(self.by, view);
                (shift.add, shift.doubt, people::KNEE_SPREAD)
            }
            Gauged::Extension => {
                let shift = people::EXTENSION;
                (shift.add, shift.doubt, people::EXTENSION_SPREAD)
            }
            Gauged::HeelGap => {
                let shift = people::heel_gap(view);
                by_scale = people::GAP_BY_SCALE_M;
                (shift.add, shift.doubt, people::GAP_SPREAD)
            }
            Gauged::Trunk => (0.0, people::TRUNK, people::TRUNK_SPREAD),
        };
        // What is left of the stated doubt is what the rink may bring.
        let left = doubt.shared.powi(2) - spread.between.powi(2) - spread.moving.powi(2);
        Prior {
            offset: -add,
            of_rink: left.max(0.0).sqrt().hypot(by_scale),
            spread,
        }
    }
}
