//! How long it takes to judge a pass.

use std::time::Duration;

/// What a pass took once it had ended.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct PassTimes {
    /// Cutting it into pushes, of both cameras where there are two.
    pub stride: Duration,
    /// Holding them against the rules.
    pub rules: Duration,
    /// Choosing the cue.
    pub cue: Duration,
}
