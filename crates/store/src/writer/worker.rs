//! The thread itself: takes what is handed over, writes it when the disk lets
//! it, and keeps it while the disk does not.

use std::collections::VecDeque;
use std::sync::Arc;
use std::time::{Duration, Instant};

use crossbeam_channel::Receiver;

use super::{Job, STRIPS_WAITING, Shared, What, WriterPolicy, WriterState, Written, lock};
use crate::backend::Sink;
use crate::{NewPass, StoreError};

/// Passes that are written in one step at most: a slow disk that was asked for
/// each would never catch up.
const TOGETHER: usize = 32;

pub(super) struct Worker<S> {
    pub(super) sink: S,
    pub(super) policy: WriterPolicy,
    pub(super) incoming: Receiver<Job>,
    pub(super) shared: Arc<Shared>,
    pub(super) backlog: VecDeque<Job>,
    /// When to try again; `None` while everything works.
    pub(super) retry_at: Option<Instant>,
    pub(super) pause: Duration,
}

/// How often an idle writer looks whether it is to end.
pub(super) const LOOK_EVERY: Duration = Duration::from_millis(50);

impl<S: Sink> Worker<S> {
    pub(super) fn run(mut self) {
        loop {
            // Read before the queue is emptied: whatever was submitted
            // before the end was asked for is then in the queue.
            let ending = self
                .shared
                .ending
                .load(std::sync::atomic::Ordering::Acquire);
            self.take_incoming(ending);
            let due = self.retry_at.is_none_or(|at| Instant::now() >= at);
            if due || ending {
                self.work(ending);
            }
            self.shared.status().waiting = self.backlog.len();
            if ending {
                break;
            }
        }
        for job in std::mem::take(&mut self.backlog) {
            self.shared.lose(
                job,
                "the recording ended before it could be written".to_owned(),
            );
        }
        self.shared.status().waiting = 0;
    }

    fn take_incoming(&mut self, ending: bool) {
        let wait = if ending { Duration::ZERO } else { LOOK_EVERY };
        let first = self.incoming.recv_timeout(wait).ok();
        for job in first.into_iter().chain(self.incoming.try_iter()) {
            let strips = |job: &Job| matches!(job.what, What::Strips { .. });
            let room = self.backlog.len() < self.policy.keep_in_memory
                && !(strips(&job)
                    && self.backlog.iter().filter(|j| strips(j)).count() >= STRIPS_WAITING);
            if room {
                self.backlog.push_back(job);
            } else {
                self.shared.lose(
                    job,
                    "nothing can be written and the memory for waiting passes is full".to_owned(),
                );
            }
        }
        self.shared.status().waiting = self.backlog.len();
    }

    /// Opens what is not open, writes what waits, ends when asked to.
    fn work(&mut self, ending: bool) {
        // Nothing to do and nothing wrong: do not touch the disk.
        if self.backlog.is_empty() && self.retry_at.is_none() && !ending {
            return;
        }
        *lock(&self.shared.busy_since) = Some(Instant::now());
        let result = self.try_work(ending);
        *lock(&self.shared.busy_since) = None;
        let mut status = self.shared.status();
        match result {
            Ok(()) => {
                status.state = if ending {
                    WriterState::Ended
                } else {
                    WriterState::Writing
                };
                status.retries = 0;
                self.retry_at = None;
                self.pause = self.policy.first_retry;
            }
            Err(error) => {
                let message = error.to_string();
                if status.state != WriterState::Stopped(message.clone()) {
                    tracing::error!(%message, "recording stopped");
                }
                status.state = WriterState::Stopped(message);
                status.retries += 1;
                self.retry_at = Some(Instant::now() + self.pause);
                self.pause = (self.pause * 2).min(self.policy.longest_retry);
                drop(status);
                self.sink.close();
            }
        }
    }

    fn try_work(&mut self, ending: bool) -> Result<(), StoreError> {
        let opened = self.sink.open()?;
        {
            let mut status = self.shared.status();
            if !opened.recovered.is_empty() {
                status.recovered = opened.recovered;
            }
            if opened.set_aside.is_some() {
                status.set_aside = opened.set_aside;
            }
        }
        // So many at the front are not written in one step: one of them cannot
        // be written at all.
        let mut singly = 0;
        loop {
            let most = if singly > 0 { 1 } else { TOGETHER };
            let passes: Vec<&NewPass> = self
                .backlog
                .iter()
                .map_while(|job| job.what.pass())
                .take(most)
                .collect();
            let (count, result) = match (passes.len(), self.backlog.front().map(|job| &job.what)) {
                (0, Some(What::Strips { number, strips })) => {
                    (1, self.sink.write_strips(*number, strips))
                }
                (0, Some(What::EndSession)) => (1, self.sink.end_session()),
                (0, _) => break,
                (count, _) => (count, self.sink.write(&passes)),
            };
            match &result {
                Err(error) if !error.is_permanent() => return result,
                Err(_) if count > 1 => {
                    singly = count;
                    continue;
                }
                _ => singly = singly.saturating_sub(count),
            }
            if let Some(place) = self.sink.place() {
                let mut status = self.shared.status();
                status.number_shift = place.shift;
                status.session = Some(place.id);
            }
            for job in self.backlog.drain(..count).collect::<Vec<_>>() {
                match &result {
                    Ok(()) => {
                        {
                            let mut status = self.shared.status();
                            match job.what {
                                What::Pass(_) => status.written += 1,
                                What::Strips { .. } => status.pictures_written += 1,
                                What::EndSession => {}
                            }
                            status.waiting = self.backlog.len();
                        }
                        // The caller may not want the answer.
                        let _ = job.answer.send(Written::OnDisk);
                    }
                    Err(error) => self.shared.lose(job, error.to_string()),
                }
            }
        }
        let lost = self.shared.status().lost;
        self.sink.note_lost(lost)?;
        if ending {
            self.sink.end()?;
        }
        Ok(())
    }
}
