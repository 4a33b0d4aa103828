//! Consent to keep pictures: given at once; withdrawn so that nothing is kept
//! from the press on, and deleted a few seconds later, unless that is taken
//! back.

use std::sync::Arc;
use std::time::{Duration, Instant};

use super::{Done, Service, said};
use crate::panel::{Message, Who, Withdrawing};
use crate::roster::{Consent, Skater, SkaterId};

/// How long a withdrawal can be taken back.
pub(super) const UNDO_FOR: Duration = Duration::from_secs(10);

impl Service {
    pub(super) fn set_consent(&mut self, id: SkaterId, consent: Option<Consent>) -> Done {
        let Some(consent) = consent else {
            return self.withdraw(id);
        };
        if consent.given_by.trim().is_empty() {
            return Err(said(Message::ConsentBy {}));
        }
        if self.withdrawing.is_some_and(|(of, _)| of == id) {
            self.end_withdrawal();
        }
        let mut skater = self.skater(id)?;
        skater.consent = Some(consent);
        self.archive()?.change_skater(&skater)?;
        self.roster_changed()?;
        self.listed = None;
        self.view.push = None;
        let who = Who::is(skater.label());
        Ok(Message::ConsentGiven { who })
    }

    /// From now on nothing is kept; what was kept goes after [`UNDO_FOR`].
    fn withdraw(&mut self, id: SkaterId) -> Done {
        // One at a time: the one before is done at once.
        self.end_withdrawal();
        let who = Who::is(self.skater(id)?.label());
        let strips = self.archive()?.would_erase(id)?.strips;
        let seconds = UNDO_FOR.as_secs() as u32;
        self.withdrawing = Some((id, Instant::now() + UNDO_FOR));
        self.view.withdrawing = Some(Withdrawing {
            skater: id,
            seconds,
            strips,
        });
        self.roster_changed()?;
        Ok(Message::ConsentWithdrawing {
            who,
            strips,
            seconds,
        })
    }

    pub(super) fn undo_withdrawal(&mut self) -> Done {
        let Some((id, _)) = self.withdrawing.take() else {
            return Err(said(Message::NoWithdrawal {}));
        };
        self.view.withdrawing = None;
        self.roster_changed()?;
        let who = Who::is(self.skater(id)?.label());
        Ok(Message::ConsentStays { who })
    }

    /// Counts down, and does it when its time has come.
    pub(super) fn look_after_withdrawal(&mut self) {
        let Some((_, at)) = self.withdrawing else {
            self.view.withdrawing = None;
            return;
        };
        let left = at.saturating_duration_since(Instant::now());
        if left.is_zero() {
            self.end_withdrawal();
        } else if let Some(view) = &mut self.view.withdrawing {
            view.seconds = left.as_secs_f64().ceil() as u32;
        }
    }

    /// Takes the consent off the roster and deletes what was kept.
    pub(super) fn end_withdrawal(&mut self) {
        let Some((id, _)) = self.withdrawing.take() else {
            return;
        };
        let strips = self.view.withdrawing.take().map_or(0, |w| w.strips);
        let done = self.skater(id).and_then(|mut skater| {
            skater.consent = None;
            self.archive()?.change_skater(&skater)?;
            self.roster_changed()?;
            self.listed = None;
            self.view.push = None;
            Ok(Message::ConsentWithdrawn {
                who: Who::is(skater.label()),
                strips,
            })
        });
        self.answer(done);
    }

    /// The roster as the judging is to have it: nobody whose consent is being
    /// withdrawn has given it.
    pub(super) fn without_withdrawn(&self, roster: Arc<Vec<Skater>>) -> Arc<Vec<Skater>> {
        let Some((id, _)) = self.withdrawing else {
            return roster;
        };
        let mut roster = (*roster).clone();
        for skater in roster.iter_mut().filter(|s| s.id == id) {
            skater.consent = None;
        }
        Arc::new(roster)
    }
}
