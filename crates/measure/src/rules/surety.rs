//! How sure it has to be that a true value lies beyond a limit before it is flagged.

use serde::{Deserialize, Serialize};

/// The coach's choice. A value is flagged when the probability that the true one lies
/// beyond the limit is at least this.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
pub enum Surety {
    /// 80 %.
    #[serde(rename = "80")]
    Likely,
    /// 90 %.
    #[default]
    #[serde(rename = "90")]
    Sure,
    /// 95 %.
    #[serde(rename = "95")]
    VerySure,
}

impl Surety {
    /// All, the least sure first.
    pub const ALL: [Surety; 3] = [Surety::Likely, Surety::Sure, Surety::VerySure];

    /// In percent, as it is written and shown.
    pub fn percent(self) -> u32 {
        match self {
            Surety::Likely => 80,
            Surety::Sure => 90,
            Surety::VerySure => 95,
        }
    }

    /// The one of that percentage.
    pub fn from_percent(percent: u32) -> Option<Self> {
        Self::ALL.into_iter().find(|s| s.percent() == percent)
    }

    /// How many standard deviations a value has to be beyond a limit: the normal
    /// distribution's quantile (SciPy `stats.norm.ppf`; `tests/golden/outside/surety.json`).
    pub fn deviations(self) -> f64 {
        match self {
            Surety::Likely => 0.841_621_233_572_914_3,
            Surety::Sure => 1.281_551_565_544_600_4,
            Surety::VerySure => 1.644_853_626_951_472_2,
        }
    }

    /// How far beyond a limit a value with this standard deviation has to be, in its
    /// unit. Infinite for a deviation that is no number: then nothing is sure.
    pub fn margin(self, deviation: f64) -> f64 {
        if deviation.is_finite() && deviation >= 0.0 {
            self.deviations() * deviation
        } else {
            f64::INFINITY
        }
    }
}
