//! The summary at the end of a set of passes.

use super::history::{Values, gain_in_bands};
use super::summary::Deviation;
use super::{FeedbackSettings, Good};
use crate::geometry::true_median;
use crate::rules::{JudgedPass, RuleId, RuleMap};

/// What a set of passes was like: at most three lines on the screen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SetSummary {
    /// Number of the last pass of the set.
    pub last_pass: u32,
    /// Passes of which anything could be judged.
    pub judged: u32,
    /// How many of them were in the band in everything.
    pub in_band: u32,
    /// What improved from the first to the second half of the set, else what
    /// was in the band in most passes.
    pub good: Option<Good>,
    /// What to work on in the next set: the focus, else what was beyond its
    /// limit in most passes.
    pub next: Option<NextThing>,
}

/// A thing to do in the next set.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NextThing {
    /// The rule.
    pub rule: RuleId,
    /// Whether the value has to grow.
    pub more: bool,
}

/// Counts the passes of the running set.
#[derive(Debug, Clone, Default)]
pub(super) struct SetTally {
    passes: u32,
    judged: u32,
    in_band: u32,
    /// The judged passes, oldest first; as many as a set has.
    values: Vec<Values>,
    /// Passes beyond the low and beyond the high limit, rule by rule.
    beyond: RuleMap<[u32; 2]>,
}

impl SetTally {
    /// Takes in a pass of which nothing could be judged.
    pub(super) fn not_judged(&mut self) {
        self.passes += 1;
    }

    /// Takes in a judged pass; `deviations` is empty when it is in the band.
    pub(super) fn judged(&mut self, values: Values, deviations: &[Deviation]) {
        self.passes += 1;
        self.judged += 1;
        self.in_band += u32::from(deviations.is_empty());
        self.values.push(values);
        for d in deviations {
            self.beyond[d.rule][usize::from(d.value > d.limit)] += 1;
        }
    }

    /// The summary, and a new set, when this one is complete. `pass` is the
    /// one taken in last.
    pub(super) fn complete(
        &mut self,
        pass: &JudgedPass,
        last_pass: u32,
        settings: &FeedbackSettings,
    ) -> Option<SetSummary> {
        if settings.set_passes == 0 || self.passes < settings.set_passes {
            return None;
        }
        let set = std::mem::take(self);
        // A set of which nothing was judged says nothing.
        (set.judged > 0).then(|| SetSummary {
            last_pass,
            judged: set.judged,
            in_band: set.in_band,
            good: set.good(pass),
            next: set.next(settings.focus),
        })
    }

    fn good(&self, pass: &JudgedPass) -> Option<Good> {
        let (first, second) = self.values.split_at(self.values.len() / 2);
        let half = |half: &[Values], rule: RuleId| {
            let mut values: Vec<f64> = half.iter().filter_map(|v| v[rule]).collect();
            true_median(&mut values)
        };
        let improved = RuleId::ALL
            .iter()
            .filter_map(|&i| {
                let gain = gain_in_bands(pass, i, half(first, i)?, half(second, i)?);
                (gain >= 1.0).then_some((i, gain))
            })
            .max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)));
        if let Some((i, _)) = improved {
            return Some(Good::Improved { rule: i });
        }
        RuleId::ALL
            .iter()
            .filter_map(|&i| {
                let seen = self.values.iter().filter(|v| v[i].is_some()).count() as u32;
                let good = seen.saturating_sub(self.beyond[i][0].max(self.beyond[i][1]));
                (good > 0 && 2 * good >= self.judged).then_some((i, good))
            })
            .max_by(|a, b| a.1.cmp(&b.1).then(b.0.cmp(&a.0)))
            .map(|(i, _)| Good::InBand { rule: i })
    }

    fn next(&self, focus: Option<RuleId>) -> Option<NextThing> {
        let count = |i: RuleId| self.beyond[i][0] + self.beyond[i][1];
        focus
            .filter(|&i| count(i) > 0)
            .or_else(|| {
                RuleId::ALL
                    .iter()
                    .copied()
                    .filter(|&i| count(i) > 0)
                    .max_by(|&a, &b| count(a).cmp(&count(b)).then(b.cmp(&a)))
            })
            .map(|i| NextThing {
                rule: i,
                more: self.beyond[i][0] > self.beyond[i][1],
            })
    }
}
