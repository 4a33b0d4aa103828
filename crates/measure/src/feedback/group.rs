//! What somebody is to work on and what goes well, over all their passes.

use crate::rules::{JudgedPush, RuleId, RuleMap};

/// Fewer judged pushes say nothing of a rule.
const LEAST_PUSHES: u32 = 3;

/// How often a rule was judged and flagged.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct RuleCount {
    /// Pushes in which it was judged.
    pub judged: u32,
    /// Flags that stand.
    pub flagged: u32,
    /// Of the judged ones, those that would have been flagged and were seen well enough for
    /// praise.
    seen_well: u32,
    /// Flags that the coach dismissed: no fault, and no reason for praise.
    dismissed: u32,
}

impl RuleCount {
    fn share(self) -> f64 {
        f64::from(self.flagged) / f64::from(self.judged.max(1))
    }
}

/// How often each rule was judged and flagged in the pushes of one skater.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Counted(RuleMap<RuleCount>);

impl Default for Counted {
    fn default() -> Self {
        Counted(RuleMap::from_fn(|_| RuleCount::default()))
    }
}

impl Counted {
    /// Counts a push. `watched` says which rules were switched on, `dismissed` whose flag of
    /// this push the coach dismissed.
    pub fn add(
        &mut self,
        push: &JudgedPush,
        watched: impl Fn(RuleId) -> bool,
        dismissed: impl Fn(RuleId) -> bool,
    ) {
        for (rule, measure) in push.measures.iter() {
            let judged = measure.is_judged();
            let well = judged && watched(rule) && push.unsure(rule).is_none();
            self.0[rule].judged += u32::from(judged);
            self.0[rule].seen_well += u32::from(well);
        }
        for flag in &push.flags {
            let dismissed = dismissed(flag.rule);
            self.0[flag.rule].flagged += u32::from(!dismissed);
            self.0[flag.rule].dismissed += u32::from(dismissed);
        }
    }

    fn enough(&self) -> impl Iterator<Item = (RuleId, RuleCount)> + '_ {
        self.0
            .iter()
            .map(|(rule, count)| (rule, *count))
            .filter(|(_, count)| count.judged >= LEAST_PUSHES)
    }

    /// Whether there are enough pushes to say anything.
    pub fn is_enough(&self) -> bool {
        self.enough().next().is_some()
    }

    /// What was flagged the most, by its share; of equal ones the first rule.
    pub fn needs(&self) -> Option<(RuleId, RuleCount)> {
        self.enough()
            .filter(|(_, count)| count.flagged > 0)
            .min_by(|a, b| b.1.share().total_cmp(&a.1.share()))
    }

    /// What was seen well the most often and never flagged, not even by a flag that was
    /// dismissed; of equal ones the first rule.
    pub fn goes_well(&self) -> Option<RuleId> {
        self.0
            .iter()
            .filter(|(_, count)| count.seen_well >= LEAST_PUSHES)
            .filter(|(_, count)| count.flagged + count.dismissed == 0)
            .min_by_key(|(_, count)| std::cmp::Reverse(count.seen_well))
            .map(|(rule, _)| rule)
    }
}
