//! A recording cut where nobody skates, its stretches seen on all cores and told in order.
//!
//! Takes: an open recording, what sees (pose model and tracker), so many workers.
//! Gives: what happens in the lane, in order of time ([`Listener`]).
//! Fails: where the pose model does; what is damaged in a recording is told at the end of its
//! stretch ([`Ended`]) and the next goes on.
//!
//! # Why the number of workers changes nothing
//! A stretch begins with eyes that have seen nothing, at a place that the file alone decides
//! ([`Plan`]), and ends at the first such place at which nobody skates. So what is told of a
//! stretch, and where it ends, depends on the file, the settings and where it begins, and on
//! nothing else. The first begins with the recording, each further one where the one before
//! has ended: who walks this chain tells the recording. One worker does just that. More of
//! them begin at places that the chain has not come to yet; what was seen from a place that it
//! leaves out, because somebody was skating there, is let go ([`board`]). What goes on over
//! the whole recording (where the camera stands, the choice of cues, numbers) is for whoever
//! listens.

mod board;
mod plan;
mod run;

use crate::capture::Source;
use crate::config::Lane;
use crate::pose::{ModelKind, PoseCounters, PoseError};
use crate::standing::Glance;
use crate::station::vision::tracking::Vision;
use crate::track::{Pass, Tally, TrackSettings};
pub(super) use plan::{EVERY_S, Plan};
use run::{Reader, watch};

/// What happens in a stretch, in order.
pub(super) enum Step {
    /// What the camera's place is told from.
    Glance(Box<Glance>),
    /// Somebody has passed; tracks are counted from the beginning of the stretch.
    Pass(Box<Pass>, ModelKind),
    /// The stretch is over.
    Ended(Box<Ended>),
}

/// The end of a stretch.
pub(super) struct Ended {
    /// Where the next one begins; `None` at the end of the recording.
    pub(super) next: Option<usize>,
    /// Pictures in it.
    pub(super) frames: u64,
    /// Times of the first and the last of them, seconds.
    pub(super) span_s: Option<[f64; 2]>,
    /// Numbers that were given to tracks.
    pub(super) tracks: u32,
    pub(super) tally: Tally,
    pub(super) counters: PoseCounters,
    /// What was damaged in it first.
    pub(super) damage: Option<crate::capture::CaptureError>,
}

/// Whoever is told of a recording.
pub(super) trait Listener {
    /// So many pictures were looked at since the last stretch that was told. Whether to go on.
    fn looked_at(&mut self, frames: u64) -> bool;
    /// The next thing that happened.
    ///
    /// # Errors
    /// It cannot be kept.
    fn step(&mut self, step: Step) -> anyhow::Result<()>;
}

/// What sees, and on what lane.
pub(super) struct Eyes {
    pub(super) vision: Vision,
    pub(super) lane: Lane,
    pub(super) track: TrackSettings,
}

/// How a recording is read.
pub(super) enum Material {
    /// In parts, by any number of workers.
    Parts(Plan),
    /// From the beginning to the end by one.
    Whole(Box<dyn Source>),
}

/// Tells a recording from a place on; `false` where it was stopped before its end. `more` makes
/// further eyes, one for each worker but the first.
///
/// # Errors
/// What the listener says; a pose engine that fails.
pub(super) fn tell(
    mut eyes: Eyes,
    material: Material,
    from: usize,
    workers: usize,
    more: &(dyn Fn() -> Result<Eyes, PoseError> + Sync),
    listener: &mut dyn Listener,
) -> anyhow::Result<bool> {
    let plan;
    let mut reader = match material {
        Material::Parts(plan) if workers > 1 => {
            return board::tell(eyes, &plan, from, workers, more, listener);
        }
        Material::Parts(parts) => {
            plan = parts;
            Reader::of_parts(&plan)
        }
        Material::Whole(source) => Reader::of_whole(source),
    };
    // Nothing is seen of what was told before.
    while reader.skips(from) {
        if !listener.looked_at(0) {
            return Ok(false);
        }
    }
    let mut alone = Alone {
        listener,
        frames: 0,
        fault: Ok(()),
    };
    let mut place = Some(from);
    while let Some(at) = place {
        let ended = watch(&mut eyes, &mut reader, at, &mut alone)?;
        std::mem::replace(&mut alone.fault, Ok(()))?;
        let Some(ended) = ended else {
            return Ok(false);
        };
        place = ended.next;
        alone.frames = 0;
        alone.listener.step(Step::Ended(Box::new(ended)))?;
    }
    Ok(true)
}

/// One worker, which tells what it sees at once.
struct Alone<'l> {
    listener: &'l mut dyn Listener,
    frames: u64,
    fault: anyhow::Result<()>,
}

impl run::Told for Alone<'_> {
    fn frame(&mut self) -> bool {
        self.frames += 1;
        self.listener.looked_at(self.frames)
    }

    fn crossed(&mut self, _: usize) {}

    fn step(&mut self, step: Step) -> bool {
        self.fault = self.listener.step(step);
        self.fault.is_ok()
    }
}
