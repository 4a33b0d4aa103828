//! Whose pass it is.
//!
//! The skater of a pass is who is expected when the pass *starts*; that is
//! then fixed. The queue goes on when the pass *ends*. Where several skate at
//! once, the second to start is the second in the queue. Where the coach
//! moved the queue while somebody was in the lane, it stands where the coach
//! put it, and goes on only from the skater who has just passed.

use std::sync::Arc;

use crate::roster::{Queue, Skater, SkaterId};
use crate::rules::{AgeGroups, RuleId, Thresholds};

/// The skater of a pass with the limits that hold for it.
#[derive(Debug, Clone, PartialEq)]
pub struct CurrentSkater {
    /// Who it is.
    pub id: SkaterId,
    /// The limits of the group, and what was set for this skater alone.
    pub thresholds: Thresholds,
    /// Stature, metres, where it is known.
    pub height_m: Option<f64>,
    /// Whether pictures may be kept.
    pub consents: bool,
    /// What this skater works on, where it is not what everybody does.
    pub focus: Option<RuleId>,
}

impl CurrentSkater {
    /// A skater of the roster.
    fn of(known: &Skater, groups: &AgeGroups) -> Self {
        CurrentSkater {
            id: known.id,
            thresholds: known.thresholds(groups),
            height_m: known.height_m,
            consents: known.consent.is_some(),
            focus: known.focus,
        }
    }
}

/// The queue as it is shown.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct QueueState {
    /// Everybody in the queue, in order.
    pub order: Vec<SkaterId>,
    /// Whose pass the next one is.
    pub current: Option<SkaterId>,
    /// Who is in the lane now, in the order they came.
    pub running: Vec<Option<SkaterId>>,
    /// Whose the last pass was; `None` before the first.
    pub last: Option<Option<SkaterId>>,
    /// Whether a step can be taken back.
    pub can_undo: bool,
    /// How often the queue changed.
    pub changes: u64,
    /// How often a person changed it.
    pub by_hand: u64,
}

struct Running {
    track_id: u32,
    skater: Option<SkaterId>,
    by_hand: u64,
}

/// The queue and who is in the lane.
#[derive(Default)]
pub struct SkaterQueue {
    queue: Queue,
    running: Vec<Running>,
    last: Option<Option<SkaterId>>,
    kept: Arc<Queue>,
}

impl SkaterQueue {
    /// The queue as it is to be written down: copied once for every change.
    pub fn kept(&mut self) -> Arc<Queue> {
        if self.kept.changes() != self.queue.changes() {
            self.kept = Arc::new(self.queue.clone());
        }
        Arc::clone(&self.kept)
    }

    /// Another roster. Who is not in it any more leaves the queue for good.
    pub fn roster_changed(&mut self, roster: &[Skater]) {
        let gone = |id: &SkaterId| !roster.iter().any(|s| s.id == *id);
        let leaving: Vec<SkaterId> = self.queue.order().iter().copied().filter(gone).collect();
        for id in leaving {
            self.queue.forget(id);
        }
        if let Some(Some(last)) = self.last
            && gone(&last)
        {
            self.last = Some(None);
        }
    }

    /// The queue itself, to be changed.
    pub fn queue(&mut self) -> &mut Queue {
        &mut self.queue
    }

    /// Takes up a queue of an earlier start, but not where one was made since;
    /// whether it did.
    pub fn take_up(&mut self, queue: Queue) -> bool {
        let free = self.queue.order().is_empty() && !queue.order().is_empty();
        if free {
            self.queue = queue;
            self.kept = Arc::new(self.queue.clone());
        }
        free
    }

    /// The queue as it is shown.
    pub fn state(&self) -> QueueState {
        QueueState {
            order: self.queue.order().to_vec(),
            current: self.queue.current(),
            running: self.running.iter().map(|r| r.skater).collect(),
            last: self.last,
            can_undo: self.queue.can_undo(),
            changes: self.queue.changes(),
            by_hand: self.queue.by_hand(),
        }
    }

    /// Somebody starts a pass; `passing` are the tracks in the lane now, this
    /// one included. Fixes whose pass it is.
    pub fn pass_started(&mut self, track_id: u32, passing: &[u32]) {
        // A track that ended without a pass says nothing at its end.
        self.running.retain(|r| passing.contains(&r.track_id));
        let ahead = self.running.len();
        self.running.push(Running {
            track_id,
            skater: self.queue.ahead(ahead),
            by_hand: self.queue.by_hand(),
        });
    }

    /// A pass is over: who it was, and the queue goes on. `None`: nobody of
    /// the roster.
    pub fn pass_ended(
        &mut self,
        track_id: u32,
        roster: &[Skater],
        groups: &AgeGroups,
    ) -> Option<CurrentSkater> {
        let at = self.running.iter().position(|r| r.track_id == track_id);
        let (skater, by_hand) = match at.map(|i| self.running.remove(i)) {
            Some(running) => (running.skater, running.by_hand),
            // A pass whose start was not told: who is expected now.
            None => (self.queue.current(), self.queue.by_hand()),
        };
        let untouched = self.queue.by_hand() == by_hand;
        if !self.queue.order().is_empty() && (untouched || self.queue.current() == skater) {
            self.queue.passed();
        }
        self.last = Some(skater);
        let known = roster.iter().find(|s| Some(s.id) == skater)?;
        Some(CurrentSkater::of(known, groups))
    }

    /// Who is in the lane now, where that is known and there is only one.
    pub fn in_lane(&self) -> Option<SkaterId> {
        match self.running.as_slice() {
            [running] => running.skater,
            _ => None,
        }
    }

    /// The last pass was somebody else's: the queue goes on behind them.
    pub fn correct_last(&mut self, skater: Option<SkaterId>) {
        self.last = Some(skater);
        if let Some(skater) = skater
            && self.queue.order().contains(&skater)
        {
            self.queue.set_current(skater);
            self.queue.skip();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::roster::Consent;
    use crate::rules::AgeGroup;

    const A: SkaterId = SkaterId(1);
    const B: SkaterId = SkaterId(2);
    const C: SkaterId = SkaterId(3);

    /// The queue with the roster it is about.
    struct Rig {
        queue: SkaterQueue,
        roster: Vec<Skater>,
    }

    impl Rig {
        fn new() -> Self {
            let skater = |id: SkaterId, group| Skater {
                id,
                ..Skater::new("x", group)
            };
            let mut roster = vec![
                skater(A, AgeGroup::U9),
                skater(B, AgeGroup::U15),
                skater(C, AgeGroup::Adult),
            ];
            roster[1].consent = Some(Consent {
                given_on: "2026-01-01".parse().unwrap(),
                given_by: "y".into(),
            });
            let mut queue = SkaterQueue::default();
            queue.queue().set_order(vec![A, B, C]);
            Rig { queue, roster }
        }

        fn started(&mut self, track: u32, passing: &[u32]) {
            self.queue.pass_started(track, passing);
        }

        fn ended(&mut self, track: u32) -> Option<CurrentSkater> {
            let groups = AgeGroups::defaults();
            self.queue.pass_ended(track, &self.roster, &groups)
        }

        fn one_pass(&mut self, track: u32) -> Option<SkaterId> {
            self.started(track, &[track]);
            self.ended(track).map(|s| s.id)
        }
    }

    #[test]
    fn without_a_roster_everybody_is_nobody() {
        let mut rig = Rig {
            queue: SkaterQueue::default(),
            roster: Vec::new(),
        };
        assert_eq!(rig.one_pass(1), None);
        assert_eq!(rig.queue.state().last, Some(None));
        assert!(!rig.queue.state().can_undo);
    }

    #[test]
    fn the_queue_goes_on_with_each_pass_and_each_has_its_limits() {
        let mut rig = Rig::new();
        rig.started(1, &[1]);
        let first = rig.ended(1).unwrap();
        assert_eq!((first.id, first.consents), (A, false));
        assert_eq!(first.thresholds, Thresholds::defaults(AgeGroup::U9));
        rig.started(2, &[2]);
        let second = rig.ended(2).unwrap();
        assert_eq!((second.id, second.consents), (B, true));
        assert_eq!(rig.one_pass(3), Some(C));
        assert_eq!(rig.one_pass(4), Some(A));
    }

    #[test]
    fn who_it_is_is_fixed_at_the_start() {
        let mut rig = Rig::new();
        rig.started(1, &[1]);
        rig.queue.queue().set_current(C);
        assert_eq!(rig.ended(1).map(|s| s.id), Some(A));
        // The coach put the queue to C while A was in the lane.
        assert_eq!(rig.queue.state().current, Some(C));
        assert_eq!(rig.one_pass(2), Some(C));
    }

    #[test]
    fn two_in_the_lane_are_two_of_the_queue_whoever_ends_first() {
        for order in [[1, 2], [2, 1]] {
            let mut rig = Rig::new();
            rig.started(1, &[1]);
            rig.started(2, &[1, 2]);
            let mut ended: Vec<_> = order
                .into_iter()
                .map(|t| (t, rig.ended(t).map(|s| s.id)))
                .collect();
            ended.sort();
            assert_eq!(ended, [(1, Some(A)), (2, Some(B))]);
            assert_eq!(rig.queue.state().current, Some(C));
        }
    }

    #[test]
    fn a_track_that_ends_without_a_pass_takes_no_place() {
        let mut rig = Rig::new();
        rig.started(1, &[1]);
        // Track 1 is gone, no pass came of it.
        rig.started(2, &[2]);
        assert_eq!(rig.ended(2).map(|s| s.id), Some(A));
        assert_eq!(rig.queue.state().current, Some(B));
    }

    #[test]
    fn nobody_in_between() {
        let mut rig = Rig::new();
        rig.queue.queue().unknown();
        assert_eq!(rig.one_pass(1), None);
        assert_eq!(rig.one_pass(2), Some(A));
    }

    #[test]
    fn a_correction_of_the_last_pass_moves_the_queue_behind_it() {
        let mut rig = Rig::new();
        assert_eq!(rig.one_pass(1), Some(A));
        rig.queue.correct_last(Some(B));
        assert_eq!(rig.queue.state().last, Some(Some(B)));
        assert_eq!(rig.queue.state().current, Some(C));
    }

    #[test]
    fn a_deleted_skater_leaves_the_queue_and_the_pass_that_runs() {
        let mut rig = Rig::new();
        rig.started(1, &[1]);
        rig.roster = vec![Skater {
            id: B,
            ..Skater::new("y", AgeGroup::U9)
        }];
        rig.queue.roster_changed(&rig.roster);
        assert_eq!(rig.queue.state().order, [B]);
        assert_eq!(rig.ended(1), None);
    }
}
