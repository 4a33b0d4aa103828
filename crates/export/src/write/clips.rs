//! The clips: drawn and encoded on a thread of their own.

use crossbeam_channel::{Receiver, Sender};

use crate::build::sha256;
use crate::clip::{Captions, ClipError, ClipFiles, ClipMaker};
use crate::rules::{Leg, RuleId};
use crate::skeleton::Shown;
use crate::store::PictureStrip;
use crate::stride::Curves;
use crate::track::Pass;

/// Raised when what a clip looks like changes: clips of an unfinished export
/// are then made again.
const CLIP_STYLE: &str = "clip 2";
/// How far below normal the encoding thread stands: judging comes first.
const NICE: i32 = 10;

/// A clip to be made.
pub(super) struct Job {
    pub(super) strip: PictureStrip,
    pub(super) curves: Option<Curves>,
    pub(super) rule: RuleId,
    pub(super) leg: Leg,
    pub(super) value: f64,
    pub(super) limit: f64,
    pub(super) captions: Captions,
}

/// The thread that draws and encodes, below normal priority.
pub(super) fn make_clips(inbox: &Receiver<Job>, outbox: &Sender<Result<ClipFiles, ClipError>>) {
    // On Linux this is the priority of the calling thread alone.
    if let Err(e) = rustix::process::setpriority_process(None, NICE) {
        tracing::debug!("clips are made at normal priority: {e}");
    }
    let mut maker = ClipMaker::default();
    for job in inbox {
        let shown = Shown {
            rule: job.rule,
            leg: job.leg,
            value: job.value,
            limit: job.limit,
            flagged_at_s: job.strip.flagged_at_s,
        };
        let made = maker.make(&job.strip, job.curves.as_ref(), shown, &job.captions);
        if outbox.send(made).is_err() {
            return;
        }
    }
}

/// What a clip depends on.
pub(super) fn made_from(
    strip: &PictureStrip,
    points: Option<&Pass>,
    captions: &Captions,
    (value, limit): (f64, f64),
) -> String {
    let mut numbers: Vec<u8> = Vec::new();
    let mut add = |v: f64| numbers.extend(v.to_le_bytes());
    for v in [value, limit, strip.flagged_at_s] {
        add(v);
    }
    for side in strip.size_px.into_iter().chain(strip.frame_px) {
        add(f64::from(side));
    }
    for shot in &strip.shots {
        add(shot.captured_at_s);
    }
    for sample in points.into_iter().flat_map(|p| &p.samples) {
        add(sample.t_s);
        for p in &sample.points {
            add(f64::from(p.x_px));
            add(f64::from(p.y_px));
        }
    }
    let mut parts: Vec<&[u8]> = vec![
        CLIP_STYLE.as_bytes(),
        env!("CARGO_PKG_VERSION").as_bytes(),
        strip.rule.code().as_bytes(),
        captions.real_time.as_bytes(),
        captions.slow.as_bytes(),
        captions.numbers.as_bytes(),
        &numbers,
    ];
    parts.extend(strip.shots.iter().map(|s| s.jpeg.as_slice()));
    sha256(&parts)
}
