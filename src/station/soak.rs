//! `kickplate soak`: clips play as the camera over and over, and what must
//! not grow is written down: memory, descriptors, threads, delay, the log.
//!
//! Everything behind the camera is the live station's own path, recording
//! included; there is no window.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use anyhow::{Context, bail};

use super::analyser::{Analyser, Judging};
use super::health::HealthKeeper;
use super::live::{open_store, say, stop_on_signals};
use super::options::is_there;
use super::run::{Lateness, run};
use super::stage::Stage;
use super::{EngineChoice, ModelChoice, UsageError, age_groups_file};
use crate::capture::{Feed, Pace, SourceSpec, open};
use crate::config::{self, Lane};
use crate::display::{ScreenGeometry, ScreenHandle, ScreenModel};
use crate::feedback::FeedbackSettings;
use crate::rules::{AgeGroup, AgeGroups, Thresholds};
use crate::sound::{SoundSettings, Speaker};
use crate::track::TrackSettings;

mod rows;
mod trend;
mod verdict;

use rows::{Row, Watch};
use verdict::verdict;

/// Clips that are there when none are named.
const DEMO: [&str; 4] = ["side-good", "side-faulty", "front-good", "front-child"];
/// A recorded session lasts no longer than this when nothing else is asked for.
const SHORT_SESSION: Duration = Duration::from_secs(300);
/// Rows of the table when nothing else is asked for.
const ROWS: f64 = 24.0;
/// Waiting for the disk at the end of a session.
const ENDING: Duration = Duration::from_secs(10);

/// `kickplate soak`.
#[derive(Debug, Clone, PartialEq)]
pub struct SoakOptions {
    /// Clips, each with its lane file beside it; the demo's where empty.
    pub clips: Vec<PathBuf>,
    /// How long, hours of the wall.
    pub hours: f64,
    /// How many times as fast as recorded.
    pub speed: u32,
    /// How long the lane is empty between two plays of a clip, seconds of the
    /// camera's clock, which are left out.
    pub empty_s: u32,
    /// How long a recorded session lasts, minutes of the wall; short ones
    /// where nothing is said, so that opening and ending are part of the run.
    pub session_min: Option<f64>,
    /// Where recordings and log go.
    pub out: PathBuf,
    /// Pose model.
    pub model: ModelChoice,
    /// Inference engine.
    pub engine: EngineChoice,
}

/// Plays the clips, prints the table and the verdict.
///
/// # Errors
/// Clips or settings that cannot be used; growth that was found.
pub fn soak(options: &SoakOptions) -> anyhow::Result<()> {
    let home = config::home()?;
    let hours = options.hours;
    if !(hours.is_finite() && hours > 0.0 && hours <= 1000.0) {
        return Err(UsageError("--hours must be above 0 and at most 1000".to_owned()).into());
    }
    let lasting = Duration::from_secs_f64(hours * 3600.0);
    let session = match options.session_min {
        None => SHORT_SESSION.min(lasting / 8),
        Some(min) if min.is_finite() && min > 0.0 && min <= 60_000.0 => {
            Duration::from_secs_f64(min * 60.0)
        }
        Some(_) => {
            let words = "--session-minutes must be above 0 and at most 60000";
            return Err(UsageError(words.to_owned()).into());
        }
    };
    std::fs::create_dir_all(&options.out).with_context(|| {
        format!(
            "the folder '{}' cannot be made; choose another with --out",
            options.out.display()
        )
    })?;
    let thresholds = AgeGroups::load(&age_groups_file(&home))?.thresholds(AgeGroup::U13);
    let clips = clips(&home, options, &thresholds)?;
    let stop = stop_on_signals()?;

    let Some((_, first)) = clips.first() else {
        bail!("there are no clips");
    };
    let mut analyser = Analyser::new(&home, options.model, options.engine, first.clone())?;
    let engine = analyser.engine_record(options.model);
    say(&format!(
        "{:.2} h, {} times as fast as recorded, {} clips, {} model on the {} engine\n\n{}",
        hours,
        options.speed,
        clips.len(),
        engine.model,
        engine.backend,
        Row::HEAD
    ));
    let mut stage = Stage::new(ScreenGeometry::default(), engine.backend.clone());
    stage.model = Some(options.model);
    // A screen nobody opened: what is drawn from the pictures is still made.
    stage.screen = Some(ScreenHandle::new(ScreenModel::waiting(
        ScreenGeometry::default(),
    )));
    stage.speaker = Some(Arc::new(Speaker::start(
        &home.join("sounds"),
        SoundSettings::default(),
    )));
    let keeper = HealthKeeper::start(None, options.out.clone());
    let watch = Watch {
        health: keeper.watch(),
        out: options.out.clone(),
        started: Instant::now(),
        lasting,
        session,
        every: lasting.div_f64(ROWS).max(Duration::from_secs(2)),
        all: Arc::clone(&stop),
        this: Arc::new(AtomicBool::new(false)),
    };
    stage.health = Some(keeper);
    let session_over = Arc::clone(&watch.this);
    let watching = std::thread::Builder::new()
        .name("soak".into())
        .spawn(move || watch.rows())?;

    let mut lateness = Lateness::default();
    let (mut sessions, mut camera_s) = (0, 0.0);
    for (clip, judging) in clips.iter().cycle() {
        session_over.store(false, Ordering::Relaxed);
        // Looked at after that: the end is never missed.
        if stop.load(Ordering::Relaxed) {
            break;
        }
        analyser.change(judging.clone());
        let source = open(&SourceSpec::File { path: clip.clone() })?;
        let record = super::review::source_record(source.info());
        drop(source);
        stage.open_store = Some(open_store(
            &options.out,
            record.name,
            record.kind,
            record.frames_per_second,
            &analyser,
            engine.clone(),
        ));
        let feed = Feed::start(
            SourceSpec::File { path: clip.clone() },
            Pace::Faster {
                times: options.speed,
                empty_s: options.empty_s,
            },
            None,
        );
        run(
            &feed,
            &mut analyser,
            &mut stage,
            &session_over,
            &mut lateness,
            |_, _, _| {},
        );
        camera_s += feed.clock().age_s(0.0).unwrap_or(0.0) * f64::from(options.speed.max(1));
        drop(feed);
        sessions += 1;
        if let Some(status) = stage.end_recording(ENDING)
            && (status.waiting > 0 || status.lost > 0)
        {
            say(&format!(
                "NOT STORED: {} passes waiting, {} lost",
                status.waiting, status.lost
            ));
        }
    }
    stop.store(true, Ordering::Relaxed);
    let rows = watching
        .join()
        .map_err(|_| anyhow::anyhow!("the watching ended by a fault of the program"))?;
    say(&format!(
        "\n{sessions} sessions, {:.2} h of the camera's clock. {}",
        camera_s / 3600.0,
        lateness.sentence()
    ));
    let verdict = verdict(&rows);
    say(&verdict.text);
    if verdict.grows {
        bail!("something grows: see the lines above");
    }
    Ok(())
}

/// The clips, each with what it is judged by.
fn clips(
    home: &Path,
    options: &SoakOptions,
    thresholds: &Thresholds,
) -> anyhow::Result<Vec<(PathBuf, Judging)>> {
    let named: Vec<PathBuf> = if options.clips.is_empty() {
        let demo = home.join("demo");
        DEMO.map(|name| demo.join(format!("{name}.mp4"))).to_vec()
    } else {
        options.clips.clone()
    };
    named
        .into_iter()
        .map(|clip| {
            is_there(&clip)?;
            let beside = clip.with_extension("toml");
            let in_folder = clip.with_file_name("lane.toml");
            let lane = if beside.exists() { beside } else { in_folder };
            let judging = Judging {
                lane: Lane::load(&lane)?,
                thresholds: thresholds.clone(),
                track: TrackSettings::default(),
                corrections: true,
                feedback: FeedbackSettings::default(),
            };
            Ok((clip, judging))
        })
        .collect()
}
