//! Whose pass it is: the queue and the roster, shared between the judging
//! and the desk.
//!
//! The skater of a pass is who is expected when the pass *starts*; that is
//! then fixed. The queue goes on when the pass *ends*. Where several skate at
//! once, the second to start is the second in the queue. Where the coach
//! moved the queue while somebody was in the lane, it stands where the coach
//! put it, and goes on only from the skater who has just passed.
//!
//! The lock is held for a few instructions; nothing here waits for anything.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use crate::roster::{Queue, Skater, SkaterId};
use crate::rules::{AgeGroups, Thresholds};

/// Corrections that may wait for the judging: one is made by hand.
const CORRECTIONS: usize = 64;

/// The skater of a pass with the limits that hold for it.
#[derive(Debug, Clone, PartialEq)]
pub struct Skating {
    /// Who it is.
    pub id: SkaterId,
    /// The limits of the group, and what was set for this skater alone.
    pub thresholds: Thresholds,
    /// Stature, metres, where it is known.
    pub height_m: Option<f64>,
    /// Whether pictures may be kept.
    pub consents: bool,
}

/// Says that an earlier pass was somebody else's.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Correction {
    /// Number of the pass in the session.
    pub number: u32,
    /// Whose it was.
    pub skater: Option<SkaterId>,
}

/// The queue as it is shown.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Standing {
    /// Everybody in the queue, in order.
    pub order: Vec<SkaterId>,
    /// Whose pass the next one is.
    pub current: Option<SkaterId>,
    /// Whose the last pass was; `None` before the first.
    pub last: Option<Option<SkaterId>>,
    /// Whether a step can be taken back.
    pub can_undo: bool,
}

struct Running {
    track_id: u32,
    skater: Option<SkaterId>,
    by_hand: u64,
}

#[derive(Default)]
struct State {
    queue: Queue,
    roster: Arc<Vec<Skater>>,
    groups: Option<Arc<AgeGroups>>,
    running: Vec<Running>,
    last: Option<Option<SkaterId>>,
    corrections: VecDeque<Correction>,
}

/// The queue and the roster, shared.
#[derive(Default)]
pub struct Lineup(Mutex<State>);

impl Lineup {
    fn state(&self) -> MutexGuard<'_, State> {
        // Plain values are whole at every moment, also after a panic elsewhere.
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The limits passes of skaters are judged with from now on.
    pub fn set_groups(&self, groups: Arc<AgeGroups>) {
        self.state().groups = Some(groups);
    }

    /// Another roster. Who is not in it any more leaves the queue for good.
    pub fn set_roster(&self, roster: Arc<Vec<Skater>>) {
        let mut state = self.state();
        let gone = |id: &SkaterId| !roster.iter().any(|s| s.id == *id);
        let leaving: Vec<SkaterId> = state.queue.order().iter().copied().filter(gone).collect();
        for id in leaving {
            state.queue.forget(id);
        }
        if let Some(Some(last)) = state.last
            && gone(&last)
        {
            state.last = Some(None);
        }
        state.roster = roster;
    }

    /// Changes the queue.
    pub fn queue<T>(&self, change: impl FnOnce(&mut Queue) -> T) -> T {
        change(&mut self.state().queue)
    }

    /// Takes up a queue of an earlier start, but not where one was made since;
    /// whether it did.
    pub fn take_up(&self, queue: Queue) -> bool {
        let mut state = self.state();
        let free = state.queue.order().is_empty() && !queue.order().is_empty();
        if free {
            state.queue = queue;
        }
        free
    }

    /// How often the queue changed.
    pub fn changes(&self) -> u64 {
        self.state().queue.changes()
    }

    /// The queue as it is shown.
    pub fn standing(&self) -> Standing {
        let state = self.state();
        Standing {
            order: state.queue.order().to_vec(),
            current: state.queue.current(),
            last: state.last,
            can_undo: state.queue.can_undo(),
        }
    }

    /// Somebody starts a pass; `passing` are the tracks in the lane now, this
    /// one included. Fixes whose pass it is.
    pub fn pass_started(&self, track_id: u32, passing: &[u32]) {
        let mut state = self.state();
        // A track that ended without a pass says nothing at its end.
        state.running.retain(|r| passing.contains(&r.track_id));
        let ahead = state.running.len();
        let running = Running {
            track_id,
            skater: state.queue.ahead(ahead),
            by_hand: state.queue.by_hand(),
        };
        state.running.push(running);
    }

    /// A pass is over: who it was, and the queue goes on. `None`: nobody of
    /// the roster.
    pub fn pass_ended(&self, track_id: u32) -> Option<Skating> {
        let mut state = self.state();
        let at = state.running.iter().position(|r| r.track_id == track_id);
        let (skater, by_hand) = match at.map(|i| state.running.remove(i)) {
            Some(running) => (running.skater, running.by_hand),
            // A pass whose start was not told: who is expected now.
            None => (state.queue.current(), state.queue.by_hand()),
        };
        let untouched = state.queue.by_hand() == by_hand;
        if !state.queue.order().is_empty() && (untouched || state.queue.current() == skater) {
            state.queue.passed();
        }
        state.last = Some(skater);
        let known = state.roster.iter().find(|s| Some(s.id) == skater)?;
        let groups = state.groups.as_ref()?;
        Some(Skating {
            id: known.id,
            thresholds: known.thresholds(groups),
            height_m: known.height_m,
            consents: known.consent.is_some(),
        })
    }

    /// Says whose an earlier pass was, for the choice of the next cues. Where
    /// it was the last pass, the queue goes on behind its skater.
    pub fn correct(&self, correction: Correction, is_last: bool) {
        let mut state = self.state();
        if is_last {
            state.last = Some(correction.skater);
            if let Some(skater) = correction.skater
                && state.queue.order().contains(&skater)
            {
                state.queue.set_current(skater);
                state.queue.skip();
            }
        }
        if state.corrections.len() == CORRECTIONS {
            state.corrections.pop_front();
        }
        state.corrections.push_back(correction);
    }

    /// The corrections since the last call.
    pub fn take_corrections(&self) -> Vec<Correction> {
        self.state().corrections.drain(..).collect()
    }

    /// Whether pictures of anybody on the roster may be kept.
    pub fn anybody_consents(&self) -> bool {
        self.state().roster.iter().any(|s| s.consent.is_some())
    }

    /// The limits of a skater; `None` for one who is not on the roster.
    pub fn thresholds_of(&self, skater: SkaterId) -> Option<Thresholds> {
        let state = self.state();
        let known = state.roster.iter().find(|s| s.id == skater)?;
        Some(known.thresholds(state.groups.as_ref()?))
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

    fn lineup() -> Lineup {
        let lineup = Lineup::default();
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
        lineup.set_roster(Arc::new(roster));
        lineup.set_groups(Arc::new(AgeGroups::defaults()));
        lineup.queue(|q| q.set_order(vec![A, B, C]));
        lineup
    }

    fn one_pass(lineup: &Lineup, track: u32) -> Option<SkaterId> {
        lineup.pass_started(track, &[track]);
        lineup.pass_ended(track).map(|s| s.id)
    }

    #[test]
    fn without_a_roster_everybody_is_nobody() {
        let lineup = Lineup::default();
        assert_eq!(one_pass(&lineup, 1), None);
        assert_eq!(lineup.standing().last, Some(None));
        assert!(!lineup.standing().can_undo);
    }

    #[test]
    fn the_queue_goes_on_with_each_pass_and_each_has_its_limits() {
        let lineup = lineup();
        lineup.pass_started(1, &[1]);
        let first = lineup.pass_ended(1).unwrap();
        assert_eq!((first.id, first.consents), (A, false));
        assert_eq!(first.thresholds, Thresholds::defaults(AgeGroup::U9));
        lineup.pass_started(2, &[2]);
        let second = lineup.pass_ended(2).unwrap();
        assert_eq!((second.id, second.consents), (B, true));
        assert_eq!(one_pass(&lineup, 3), Some(C));
        assert_eq!(one_pass(&lineup, 4), Some(A));
    }

    #[test]
    fn who_it_is_is_fixed_at_the_start() {
        let lineup = lineup();
        lineup.pass_started(1, &[1]);
        lineup.queue(|q| q.set_current(C));
        assert_eq!(lineup.pass_ended(1).map(|s| s.id), Some(A));
        // The coach put the queue to C while A was in the lane.
        assert_eq!(lineup.standing().current, Some(C));
        assert_eq!(one_pass(&lineup, 2), Some(C));
    }

    #[test]
    fn two_in_the_lane_are_two_of_the_queue_whoever_ends_first() {
        for order in [[1, 2], [2, 1]] {
            let lineup = lineup();
            lineup.pass_started(1, &[1]);
            lineup.pass_started(2, &[1, 2]);
            let mut ended: Vec<_> = order
                .into_iter()
                .map(|t| (t, lineup.pass_ended(t).map(|s| s.id)))
                .collect();
            ended.sort();
            assert_eq!(ended, [(1, Some(A)), (2, Some(B))]);
            assert_eq!(lineup.standing().current, Some(C));
        }
    }

    #[test]
    fn a_track_that_ends_without_a_pass_takes_no_place() {
        let lineup = lineup();
        lineup.pass_started(1, &[1]);
        // Track 1 is gone, no pass came of it.
        lineup.pass_started(2, &[2]);
        assert_eq!(lineup.pass_ended(2).map(|s| s.id), Some(A));
        assert_eq!(lineup.standing().current, Some(B));
    }

    #[test]
    fn nobody_in_between() {
        let lineup = lineup();
        lineup.queue(Queue::unknown);
        assert_eq!(one_pass(&lineup, 1), None);
        assert_eq!(one_pass(&lineup, 2), Some(A));
    }

    #[test]
    fn a_correction_of_the_last_pass_moves_the_queue_behind_it() {
        let lineup = lineup();
        assert_eq!(one_pass(&lineup, 1), Some(A));
        let correction = Correction {
            number: 1,
            skater: Some(B),
        };
        lineup.correct(correction, true);
        assert_eq!(lineup.standing().last, Some(Some(B)));
        assert_eq!(lineup.standing().current, Some(C));
        assert_eq!(lineup.take_corrections(), [correction]);
        assert!(lineup.take_corrections().is_empty());
        // An earlier one leaves it where it is.
        lineup.correct(correction, false);
        assert_eq!(lineup.standing().current, Some(C));
    }

    #[test]
    fn a_deleted_skater_leaves_the_queue_and_the_pass_that_runs() {
        let lineup = lineup();
        lineup.pass_started(1, &[1]);
        let rest = vec![Skater {
            id: B,
            ..Skater::new("y", AgeGroup::U9)
        }];
        lineup.set_roster(Arc::new(rest));
        assert_eq!(lineup.standing().order, [B]);
        assert_eq!(lineup.pass_ended(1), None);
    }
}
