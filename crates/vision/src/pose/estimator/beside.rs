//! What needs no landmark run of this frame, beside it on a second core.
//!
//! The motion stage looks at the frame and the people of the one before, and the
//! square in which legs are read once more is
//! known before the body in it is. Both are the same numbers whether they are
//! made beside the landmark runs or after them.

use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

use rayon::{ThreadPool, ThreadPoolBuilder};

use super::super::body::{LegReading, Roi};
use super::super::error::PoseError;
use super::Estimator;
use super::push_end::LegReader;
use crate::capture::Frame;
use crate::pose::motion::Motion;

/// Legs read before it is known whether they will be asked for.
pub(super) struct Foreseen {
    chain: u32,
    square: Roi,
    reading: Option<LegReading>,
}

/// What the second core did, and how long it took.
struct Beside {
    foreseen: Vec<Foreseen>,
    motion: Duration,
    legs: Duration,
}

impl Estimator {
    /// Compares the frame with the background and reads everybody known anew,
    /// one look for each chain, in their order.
    pub(super) fn look_around(&mut self, frame: &Frame) -> Result<(), PoseError> {
        self.looks.clear();
        self.foreseen.clear();
        if self.second_core.is_some() && !self.chains.is_empty() {
            return self.look_around_on_two_cores(frame);
        }
        let start = Instant::now();
        self.motion.observe(frame);
        self.times.motion += start.elapsed();
        for chain in &self.chains {
            let roi = chain.ahead(frame.captured_at_s, self.lead);
            self.looks.push((roi, self.reader.look(frame, &roi)?));
        }
        Ok(())
    }

    fn look_around_on_two_cores(&mut self, frame: &Frame) -> Result<(), PoseError> {
        let squares = self.foreseen_squares(frame);
        let motion = ToCompare(Mutex::new(Some(&mut self.motion)));
        let (reader, legs) = (&mut self.reader, &mut self.leg_reader);
        let (looks, chains, lead) = (&mut self.looks, &self.chains, self.lead);
        let (read, beside) = side_by_side(
            self.second_core.as_ref(),
            || {
                for chain in chains {
                    let roi = chain.ahead(frame.captured_at_s, lead);
                    looks.push((roi, reader.look(frame, &roi)?));
                }
                Ok(motion.compare(frame))
            },
            || beside(frame, &motion, legs.as_mut(), &squares),
        );
        let (compared, beside) = (read?, beside?);
        self.counters.leg_runs += beside.foreseen.len() as u64;
        self.times.motion += compared + beside.motion;
        self.times.legs += beside.legs;
        self.foreseen = beside.foreseen;
        Ok(())
    }

    /// The legs that were read in this square, if they were.
    pub(super) fn foreseen_legs(&self, chain: u32, square: &Roi) -> Option<Option<LegReading>> {
        self.foreseen
            .iter()
            .find(|f| f.chain == chain && f.square == *square)
            .map(|f| f.reading)
    }
}

/// A thread for the second core, where there is one to use and the system gives a
/// thread.
pub(super) fn second_core(cores: usize) -> Option<ThreadPool> {
    let builder = ThreadPoolBuilder::new()
        .num_threads(1)
        .thread_name(|_| "beside".into());
    (cores > 1).then(|| builder.build().ok()).flatten()
}

/// Both: the other beside the one on that thread, where there is one.
pub(super) fn side_by_side<A, B: Send>(
    second_core: Option<&ThreadPool>,
    one: impl FnOnce() -> A,
    other: impl FnOnce() -> B + Send,
) -> (A, B) {
    let Some(thread) = second_core else {
        return (one(), other());
    };
    let mut second = None;
    let first = thread.in_place_scope(|scope| {
        scope.spawn(|_| second = Some(other()));
        one()
    });
    // A scope ends when all in it has; a fault there goes on here.
    (first, second.expect("the scope has ended"))
}

/// The motion stage of one frame, for whoever has time for it first.
struct ToCompare<'a>(Mutex<Option<&'a mut Motion>>);

impl ToCompare<'_> {
    /// Says how long it took; no time where it is done or being done.
    fn compare(&self, frame: &Frame) -> Duration {
        let taken = self.0.lock().unwrap_or_else(PoisonError::into_inner).take();
        let Some(motion) = taken else {
            return Duration::ZERO;
        };
        let start = Instant::now();
        motion.observe(frame);
        start.elapsed()
    }
}

fn beside(
    frame: &Frame,
    motion: &ToCompare<'_>,
    mut legs: Option<&mut LegReader>,
    squares: &[(u32, Roi)],
) -> Result<Beside, PoseError> {
    let start = Instant::now();
    let mut foreseen = Vec::with_capacity(squares.len());
    for (chain, square) in squares {
        if let Some(legs) = legs.as_deref_mut() {
            foreseen.push(Foreseen {
                chain: *chain,
                square: *square,
                reading: legs.read(frame, square)?,
            });
        }
    }
    let legs = start.elapsed();
    Ok(Beside {
        foreseen,
        motion: motion.compare(frame),
        legs: if squares.is_empty() {
            Duration::ZERO
        } else {
            legs
        },
    })
}
