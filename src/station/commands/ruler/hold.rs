//! One hold: two seconds of a person who stands still.

use std::collections::VecDeque;
use std::path::Path;
use std::time::{Duration, Instant};

use super::{Place, PlaceOptions, table};
use crate::calibration::Gauged;
use crate::capture::{self, CameraRequest, Feed, Pace, SourceSpec, Taken};
use crate::pose::{Estimator, PoseFrame, PoseSettings};
use crate::ruler::stand::{HOLD_S, StandFault, Standing};
use crate::ruler::{Hold, PUCK_M, PairFault};
use crate::station::commands::review::usage_or_failure;
use crate::station::live::shutdown::stop_on_signals;
use crate::station::program::print;
use crate::station::usage::UsageError;
use crate::station::vision::{cores_up_to, pose_settings, set_view};

/// How long a camera is looked through for a hold.
const PATIENCE: Duration = Duration::from_secs(90);
/// Without a picture for so long the camera does not answer.
const NO_PICTURE: Duration = Duration::from_secs(10);
/// Longest recording of a hold, seconds.
const LONGEST_S: f64 = 300.0;
/// Passes until the region of a still person is settled.
const SETTLE_PASSES: usize = 2;
/// Of somebody who stands still and never moved ten pictures a second are enough.
const STILL_STEP_S: f64 = 0.095;

/// `kickplate ruler hold`.
#[derive(Debug, Clone, PartialEq, clap::Args)]
#[command(group = clap::ArgGroup::new("reference").required(true))]
pub struct HoldOptions {
    /// What is held: knee (and with it a straight leg), extension, heel-gap, trunk.
    #[arg(long)]
    pub quantity: QuantityChoice,
    /// What the goniometer or the template shows: 180 is a straight leg.
    #[arg(
        long,
        value_name = "DEGREES",
        group = "reference",
        allow_negative_numbers = true
    )]
    pub degrees: Option<f64>,
    /// What is between the heels, cm; 0 where they touch.
    #[arg(
        long,
        value_name = "CM",
        group = "reference",
        allow_negative_numbers = true
    )]
    pub cm: Option<f64>,
    /// A puck between the heels: flat (7.62 cm) or on edge (2.54 cm).
    #[arg(long, group = "reference")]
    pub puck: Option<PuckChoice>,
    /// Who holds: initials or a number, four letters at most.
    #[arg(long, value_name = "AB", default_value = "1")]
    pub person: String,
    /// The person's stature, metres, where it is not the lane file's.
    #[arg(long, value_name = "METRES")]
    pub stature: Option<f64>,
    /// What is worn, in a few words.
    #[arg(long, value_name = "TEXT", default_value = "")]
    pub gear: String,
    #[command(flatten)]
    pub place: PlaceOptions,
}

/// What can be held.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
#[allow(missing_docs, reason = "the names are the documentation")]
pub enum QuantityChoice {
    Knee,
    Extension,
    HeelGap,
    Trunk,
}

/// How a puck lies between the heels.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum PuckChoice {
    /// Flat on the ice: 7.62 cm.
    Flat,
    /// On its edge: 2.54 cm.
    Edge,
}

impl HoldOptions {
    fn of(&self) -> Gauged {
        match self.quantity {
            QuantityChoice::Knee => Gauged::Knee,
            QuantityChoice::Extension => Gauged::Extension,
            QuantityChoice::HeelGap => Gauged::HeelGap,
            QuantityChoice::Trunk => Gauged::Trunk,
        }
    }

    /// The reference in degrees or metres.
    fn reference(&self) -> Result<f64, UsageError> {
        let of = self.of();
        let given = match (self.degrees, self.cm, self.puck) {
            (Some(deg), ..) if !of.is_length() => Some(deg),
            (None, Some(cm), _) if of.is_length() => Some(cm / 100.0),
            (None, None, Some(puck)) if of.is_length() => Some(match puck {
                PuckChoice::Flat => PUCK_M[1],
                PuckChoice::Edge => PUCK_M[0],
            }),
            _ => None,
        };
        let reference = given.ok_or_else(|| {
            UsageError(if of.is_length() {
                "a gap is given in cm or as a puck: --cm or --puck".to_owned()
            } else {
                "an angle is given in degrees: --degrees".to_owned()
            })
        })?;
        of.holdable(reference)
            .map_err(|e: PairFault| UsageError(e.to_string()))?;
        Ok(reference)
    }
}

/// Reads a hold and adds it to the check.
pub fn hold(options: &HoldOptions) -> anyhow::Result<()> {
    let of = options.of();
    // All that can be wrong with the words before a camera is opened.
    let reference = options.reference()?;
    let place = Place::find(&options.place)?;
    of.seen_from(place.lane.view)
        .map_err(|e| UsageError(e.to_string()))?;
    let before = place.record()?;
    let mut record = before.clone();
    let hold = Hold {
        of,
        reference,
        reading: 0.0,
        person: options.person.trim().to_owned(),
        date: jiff::Zoned::now().date(),
        stature_m: options.stature.unwrap_or(place.lane.skater_height_m),
        gear: options.gear.trim().to_owned(),
        undone: false,
    };
    hold.possible().map_err(|e| UsageError(e.to_string()))?;
    let standing = match &options.place.clip {
        Some(clip) => in_clip(&place, clip)?,
        None => before_camera(&place)?,
    };
    let mut said = String::new();
    for hold in standing.holds(hold)? {
        said += &spoken(&hold);
        record.add(hold).map_err(|e| UsageError(e.to_string()))?;
    }
    // Another hold may have been added meanwhile, in another terminal.
    anyhow::ensure!(
        place.record()? == before,
        "the check was changed meanwhile; nothing was added, repeat the hold"
    );
    place.checks.save(&record)?;
    print(&(said + &table(&place, &record)?))
}

fn spoken(hold: &Hold) -> String {
    let (unit, times) = hold.of.told_in();
    format!(
        "{}: {} held {:.1} {unit}, read {:.1}: {:+.1}.\n",
        hold.of.name(),
        hold.person,
        hold.reference * times,
        hold.reading * times,
        (hold.reading - hold.reference) * times,
    )
}

fn estimator(place: &Place, cores: usize) -> anyhow::Result<Estimator> {
    let settings = pose_settings(place.model, place.engine);
    let cores = settings.cores.max(cores);
    let mut estimator = Estimator::new(&place.home, PoseSettings { cores, ..settings })?;
    set_view(&mut estimator, place.lane.view);
    Ok(estimator)
}

/// The first hold of a recording.
fn in_clip(place: &Place, clip: &Path) -> anyhow::Result<Standing> {
    let spec = SourceSpec::parse(&clip.to_string_lossy()).map_err(usage_or_failure)?;
    let mut estimator = estimator(place, cores_up_to(3))?;
    let mut read = |still_from_s: Option<f64>| -> anyhow::Result<Vec<PoseFrame>> {
        let mut source = capture::open(&spec).map_err(usage_or_failure)?;
        let mut frames: Vec<PoseFrame> = Vec::new();
        while let Some(frame) = source.next_frame().map_err(usage_or_failure)? {
            if frame.captured_at_s > LONGEST_S {
                return Err(UsageError(format!(
                    "'{}' is longer than five minutes; cut it to the hold",
                    source.info().name
                ))
                .into());
            }
            match still_from_s {
                None => frames.push(estimator.process(&frame)?),
                Some(from_s)
                    if frame.captured_at_s >= from_s
                        && frames.last().is_none_or(|f| {
                            frame.captured_at_s - f.captured_at_s > STILL_STEP_S
                        }) =>
                {
                    frames.push(PoseFrame {
                        seq: frame.seq,
                        captured_at_s: frame.captured_at_s,
                        width: frame.width,
                        height: frame.height,
                        bodies: estimator.still(&frame, SETTLE_PASSES)?,
                    })
                }
                Some(_) => {}
            }
        }
        Ok(frames)
    };
    let frames = read(None)?;
    let model = place.setting.model;
    let mut found = Standing::find(&frames, &place.lane, model);
    let last_s = frames.last().map_or(0.0, |f| f.captured_at_s);
    if matches!(found, Err(StandFault::Nobody)) && frames.iter().all(|f| f.bodies.is_empty()) {
        // Who stands there from the first picture on never moved: looked for without motion.
        let frames = read(Some(last_s - HOLD_S - 0.2))?;
        found = Standing::find(&frames, &place.lane, model);
    }
    Ok(found?)
}

/// The next hold before the camera.
fn before_camera(place: &Place) -> anyhow::Result<Standing> {
    let stop = stop_on_signals()?;
    let mut estimator = estimator(place, 1)?;
    let request = CameraRequest {
        id: Some(place.setting.camera.clone()).filter(|id| id != "auto"),
        width: place.station.width,
        height: place.station.height,
        fps: place.station.fps,
        ..CameraRequest::default()
    };
    let feed = Feed::start(
        SourceSpec::Camera(request),
        Pace::Live { repeat: false },
        None,
    );
    print("Step into the lane, look along it, and hold still for two seconds.\n")?;
    let began = Instant::now();
    let mut picture_at = Instant::now();
    let mut frames: VecDeque<PoseFrame> = VecDeque::new();
    let mut fault = StandFault::Nobody;
    let mut looked_at_s = 0.0;
    while began.elapsed() < PATIENCE && !stop.load(std::sync::atomic::Ordering::Relaxed) {
        let frame = match feed.take(Duration::from_millis(300)) {
            Taken::Frame(frame) => frame,
            _ => {
                anyhow::ensure!(
                    picture_at.elapsed() < NO_PICTURE,
                    "the camera gives no picture; see 'kickplate check', and end the station before a hold"
                );
                continue;
            }
        };
        picture_at = Instant::now();
        let read = estimator.process(&frame)?;
        let now_s = read.captured_at_s;
        frames.push_back(read);
        feed.give_back(frame);
        while frames
            .front()
            .is_some_and(|f| f.captured_at_s < now_s - HOLD_S - 0.05)
        {
            frames.pop_front();
        }
        if now_s - looked_at_s < 0.25 {
            continue;
        }
        looked_at_s = now_s;
        match Standing::find(frames.make_contiguous(), &place.lane, place.setting.model) {
            Ok(standing) => {
                feed.stop();
                return Ok(standing);
            }
            Err(why) => fault = why,
        }
    }
    feed.stop();
    Err(fault.into())
}
