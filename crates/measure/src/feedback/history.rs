//! What the earlier passes were like, rule by rule.

use super::summary::{band_width, median, switched_on};
use super::{FeedbackSettings, Good};
use crate::rules::{JudgedPass, Limits, RuleId, RuleMap};

/// One number per rule; `None` where the rule was not judged or is off.
pub(super) type Values = RuleMap<Option<f64>>;

/// Median of all judged pushes of a pass that were seen well enough to praise by, rule by
/// rule. Not only of the flagged ones: a pass is better also when fewer pushes are beyond.
pub(super) fn values_of(pass: &JudgedPass) -> Values {
    RuleMap::from_fn(|i| {
        if !switched_on(pass, i) {
            return None;
        }
        let mut values: Vec<f64> = pass
            .pushes
            .iter()
            .filter(|push| push.unsure(i).is_none())
            .filter_map(|push| push.measures[i].judged_value())
            .filter(|v| v.is_finite())
            .collect();
        (!values.is_empty()).then(|| median(&mut values))
    })
}

/// How far a value is outside of the limits, in the rule's unit; 0 inside.
fn outside(limits: &Limits, value: f64) -> f64 {
    let under = limits.at_least.map_or(0.0, |low| low - value);
    let over = limits.at_most.map_or(0.0, |high| value - high);
    under.max(over).max(0.0)
}

/// How much nearer to the band `now` is than `before`, in dead-bands;
/// negative where it is farther.
pub(super) fn gain_in_bands(pass: &JudgedPass, rule: RuleId, before: f64, now: f64) -> f64 {
    let limits = &pass.thresholds.limits[rule];
    (outside(limits, before) - outside(limits, now)) / band_width(pass, rule)
}

/// The first passes since improvement was last spoken of, rule by rule. Not
/// the latest ones: against those, slow progress would never be the dead-band
/// better.
#[derive(Debug, Clone, Default)]
pub(super) struct History {
    baseline: RuleMap<Vec<f64>>,
}

impl History {
    /// Takes in a pass.
    pub(super) fn push(&mut self, values: &Values, settings: &FeedbackSettings) {
        // As many as are needed, also where the baseline is set shorter.
        let keep = settings
            .improvement_baseline_passes
            .max(settings.improvement_needs_passes)
            .max(1) as usize;
        for (past, value) in self.baseline.values_mut().zip(values.values()) {
            if past.len() < keep {
                past.extend(value);
            }
        }
    }

    /// Improvement of a rule was spoken of: what comes next is the new before.
    pub(super) fn spoken_of(&mut self, rule: RuleId) {
        self.baseline[rule].clear();
    }

    /// Median of the earlier passes; `None` where there are too few.
    pub(super) fn earlier(&self, rule: RuleId, settings: &FeedbackSettings) -> Option<f64> {
        let past = &self.baseline[rule];
        let enough = past.len() >= settings.improvement_needs_passes.max(1) as usize;
        enough.then(|| median(&mut past.clone()))
    }

    /// The earlier median of a rule that this pass is better than by the
    /// dead-band or more, and by how many dead-bands.
    pub(super) fn improvement(
        &self,
        pass: &JudgedPass,
        rule: RuleId,
        now: &Values,
        settings: &FeedbackSettings,
    ) -> Option<(f64, f64)> {
        let earlier = self.earlier(rule, settings)?;
        let gain = gain_in_bands(pass, rule, earlier, now[rule]?);
        (gain >= 1.0).then_some((earlier, gain))
    }

    /// The best thing to say of this pass: what improved most, else a rule
    /// that is in its band, another one than `last` where there is one.
    pub(super) fn best(
        &self,
        pass: &JudgedPass,
        now: &Values,
        last: Option<Good>,
        settings: &FeedbackSettings,
    ) -> Good {
        let improved = RuleId::ALL
            .iter()
            .filter_map(|&i| Some((i, self.improvement(pass, i, now, settings)?.1)))
            .max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)));
        if let Some((i, _)) = improved {
            return Good::Improved { rule: i };
        }
        let flagged = |id: RuleId| {
            pass.pushes
                .iter()
                .flat_map(|p| &p.flags)
                .any(|f| f.rule == id)
        };
        let in_band = || {
            RuleId::ALL
                .iter()
                .filter(|&&rule| now[rule].is_some() && !flagged(rule))
                .map(|&rule| Good::InBand { rule })
        };
        in_band()
            .find(|&g| Some(g) != last)
            .or_else(|| in_band().next())
            .unwrap_or(Good::KeptGoing)
    }
}
