//! Several workers: who sees which stretch, and in which order they are told.
//!
//! A worker takes the first place that nobody has begun at and that no stretch on its way has
//! gone over. What it sees waits in a bounded channel until the chain of stretches comes to its
//! place; where it never does, it is let go. Held at once: two stretches for each worker.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Condvar, Mutex};
use std::time::Duration;

use crossbeam_channel::{Receiver, RecvTimeoutError, SendTimeoutError, Sender, bounded};

use super::plan::Plan;
use super::run::{Reader, Told, watch};
use super::{Eyes, Listener, Step};
use crate::pose::PoseError;
use crate::station::lock;

/// What may happen in a stretch before its worker waits to be heard: a minute's glances at
/// where the camera stands, each a quarter of a megabyte.
const STEPS: usize = 128;
/// Stretches on their way or waiting to be told, for each worker.
const AHEAD: usize = 2;
/// After so many places more that the chain went over than it stopped at, nobody begins ahead
/// of it: somebody skates all the time, and it goes faster with the cores for itself.
const IN_VAIN: u32 = 2;
/// It is tried again after the chain has stopped twice.
const MOST_IN_VAIN: u32 = 3;
/// How often it is looked whether the review is stopped.
const TICK: Duration = Duration::from_millis(100);

type Heard = Result<Step, PoseError>;

/// A stretch on its way or waiting to be told.
struct Begun {
    number: u64,
    /// The last place it has gone over, or where it began.
    at: usize,
    steps: Receiver<Heard>,
    with: Arc<Shared>,
}

/// What a stretch and its worker share.
#[derive(Default)]
struct Shared {
    /// Nobody will ask for it.
    let_go: AtomicBool,
    /// Pictures looked at.
    frames: AtomicU64,
}

impl Shared {
    fn let_go(&self) {
        self.let_go.store(true, Ordering::Relaxed);
    }
}

#[derive(Default)]
struct State {
    /// Where the chain of stretches is.
    told_from: usize,
    begun: BTreeMap<usize, Begun>,
    number: u64,
    /// See [`IN_VAIN`].
    in_vain: u32,
    workers: usize,
    ended: bool,
}

/// What a worker is to do.
struct Job {
    place: usize,
    number: u64,
    steps: Sender<Heard>,
    with: Arc<Shared>,
}

struct Board {
    state: Mutex<State>,
    changed: Condvar,
    most_begun: usize,
    places: usize,
}

impl Board {
    /// The next job; waits for one. `None` at the end.
    fn job(&self) -> Option<Job> {
        let mut state = lock(&self.state);
        loop {
            if state.ended {
                return None;
            }
            if let Some(place) = self.free_place(&state) {
                let (steps, heard) = bounded(STEPS);
                let with = Arc::<Shared>::default();
                state.number += 1;
                let number = state.number;
                let begun = Begun {
                    number,
                    at: place,
                    steps: heard,
                    with: Arc::clone(&with),
                };
                state.begun.insert(place, begun);
                self.changed.notify_all();
                return Some(Job {
                    place,
                    number,
                    steps,
                    with,
                });
            }
            state = self
                .changed
                .wait_timeout(state, TICK)
                .unwrap_or_else(std::sync::PoisonError::into_inner)
                .0;
        }
    }

    fn free_place(&self, state: &State) -> Option<usize> {
        let waited_for = !state.begun.contains_key(&state.told_from);
        let ahead = state.in_vain < IN_VAIN && state.begun.len() < self.most_begun;
        if !waited_for && !ahead {
            return None;
        }
        (state.told_from..self.places).find(|place| {
            let gone_over = |(from, begun): (&usize, &Begun)| from < place && *place <= begun.at;
            !state.begun.contains_key(place) && !state.begun.iter().any(gone_over)
        })
    }

    /// A stretch has gone over a place: whoever has begun there saw half of somebody's pass.
    fn crossed(&self, job: &Job, place: usize) {
        let mut state = lock(&self.state);
        let own = state.begun.get_mut(&job.place);
        let Some(own) = own.filter(|own| own.number == job.number) else {
            return;
        };
        own.at = place;
        if job.place == state.told_from {
            state.in_vain = (state.in_vain + 1).min(MOST_IN_VAIN);
        }
        if let Some(other) = state.begun.remove(&place) {
            other.with.let_go();
        }
        drop(state);
        self.changed.notify_all();
    }

    /// Lets a stretch go that waits to be heard while nobody has begun at the place that all
    /// wait for; whether that is so.
    fn gives_way(&self, job: &Job) -> bool {
        let mut state = lock(&self.state);
        if state.begun.contains_key(&state.told_from) {
            return false;
        }
        let own = state.begun.get(&job.place);
        if own.is_some_and(|own| own.number == job.number) {
            state.begun.remove(&job.place);
        }
        true
    }

    /// Pictures looked at and not told of yet.
    fn frames(&self) -> u64 {
        let state = lock(&self.state);
        let counts = state.begun.values();
        counts.map(|b| b.with.frames.load(Ordering::Relaxed)).sum()
    }

    /// The chain of stretches has come to a place: what is before it is told or let go.
    fn told_from(&self, place: usize) {
        let mut state = lock(&self.state);
        state.told_from = place;
        state.in_vain = state.in_vain.saturating_sub(1);
        let later = state.begun.split_off(&place);
        for begun in std::mem::replace(&mut state.begun, later).values() {
            begun.with.let_go();
        }
        drop(state);
        self.changed.notify_all();
    }

    /// What is seen from the place the chain is at; `None` until somebody has begun there.
    fn heard(&self) -> anyhow::Result<Option<Receiver<Heard>>> {
        let state = lock(&self.state);
        let begun = |state: &State| {
            let begun = state.begun.get(&state.told_from);
            begun.map(|begun| begun.steps.clone())
        };
        if let Some(steps) = begun(&state) {
            return Ok(Some(steps));
        }
        anyhow::ensure!(state.workers > 0, "no worker is left");
        let (state, _) = self
            .changed
            .wait_timeout(state, TICK)
            .unwrap_or_else(std::sync::PoisonError::into_inner);
        Ok(begun(&state))
    }
}

/// Ends the work of all, whatever ends the work of one.
struct Ends<'b>(&'b Board);

impl Drop for Ends<'_> {
    fn drop(&mut self) {
        let mut state = lock(&self.0.state);
        state.ended = true;
        for begun in std::mem::take(&mut state.begun).values() {
            begun.with.let_go();
        }
        drop(state);
        self.0.changed.notify_all();
    }
}

/// Says when a worker is gone.
struct Leaves<'b>(&'b Board);

impl Drop for Leaves<'_> {
    fn drop(&mut self) {
        lock(&self.0.state).workers -= 1;
        self.0.changed.notify_all();
    }
}

/// As [`super::tell`], with several workers.
pub(super) fn tell(
    first: Eyes,
    plan: &Plan,
    from: usize,
    workers: usize,
    more: &(dyn Fn() -> Result<Eyes, PoseError> + Sync),
    listener: &mut dyn Listener,
) -> anyhow::Result<bool> {
    let board = Board {
        state: Mutex::new(State {
            told_from: from,
            workers,
            ..State::default()
        }),
        changed: Condvar::new(),
        most_begun: AHEAD * workers,
        places: plan.places(),
    };
    std::thread::scope(|scope| {
        let board = &board;
        let _ends = Ends(board);
        let mut first = Some(first);
        for _ in 0..workers {
            let eyes = first.take();
            scope.spawn(move || {
                let _leaves = Leaves(board);
                match eyes.map_or_else(more, Ok) {
                    Ok(eyes) => work(board, plan, eyes),
                    // The others do it.
                    Err(error) => tracing::warn!("one worker less: {error}"),
                }
            });
        }
        in_order(board, from, listener)
    })
}

fn in_order(board: &Board, from: usize, listener: &mut dyn Listener) -> anyhow::Result<bool> {
    let mut place = Some(from);
    while let Some(at) = place {
        board.told_from(at);
        let heard = loop {
            if !listener.looked_at(board.frames()) {
                return Ok(false);
            }
            if let Some(heard) = board.heard()? {
                break heard;
            }
        };
        place = loop {
            if !listener.looked_at(board.frames()) {
                return Ok(false);
            }
            let step = match heard.recv_timeout(TICK) {
                Ok(step) => step?,
                Err(RecvTimeoutError::Timeout) => continue,
                Err(RecvTimeoutError::Disconnected) => anyhow::bail!("a worker fell"),
            };
            let next = match &step {
                Step::Ended(ended) => Some(ended.next),
                Step::Glance(_) | Step::Pass(..) => None,
            };
            listener.step(step)?;
            if let Some(next) = next {
                break next;
            }
        };
    }
    Ok(true)
}

fn work(board: &Board, plan: &Plan, mut eyes: Eyes) {
    let mut reader = Reader::of_parts(plan);
    while let Some(job) = board.job() {
        if plan.begins(job.place).is_none() {
            // The chain never comes here; the place stays taken until it is past it.
            continue;
        }
        let mut told = Telling { board, job: &job };
        let ended = watch(&mut eyes, &mut reader, job.place, &mut told);
        let last = match ended {
            Ok(Some(ended)) => Some(Ok(Step::Ended(Box::new(ended)))),
            Ok(None) => None,
            Err(error) => Some(Err(error)),
        };
        if let Some(last) = last {
            // It may have been let go meanwhile.
            let _ = job.steps.send(last);
        }
    }
}

/// A worker at a stretch.
struct Telling<'b> {
    board: &'b Board,
    job: &'b Job,
}

impl Told for Telling<'_> {
    fn frame(&mut self) -> bool {
        self.job.with.frames.fetch_add(1, Ordering::Relaxed);
        !self.job.with.let_go.load(Ordering::Relaxed)
    }

    fn crossed(&mut self, place: usize) {
        self.board.crossed(self.job, place);
    }

    fn step(&mut self, step: Step) -> bool {
        let mut step = Ok(step);
        loop {
            match self.job.steps.send_timeout(step, TICK) {
                Ok(()) => return true,
                Err(SendTimeoutError::Disconnected(_)) => return false,
                Err(SendTimeoutError::Timeout(_)) if self.board.gives_way(self.job) => {
                    return false;
                }
                Err(SendTimeoutError::Timeout(again)) => step = again,
            }
        }
    }
}
