//! `kickplate-lab soak`: clips play as the camera over and over, and what must
//! not grow is written down: memory, descriptors, threads, delay, the log.
//!
//! Everything behind the camera is the live station's own path, recording
//! included; there is no window.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use anyhow::{Context, bail};

use kickplate::capture::{Feed, Pace, SourceSpec, open};
use kickplate::config::{self, Lane};
use kickplate::display::{ScreenGeometry, ScreenHandle, ScreenModel};
use kickplate::rules::{AgeGroup, AgeGroups};
use kickplate::sound::{SoundSettings, Speaker};
use kickplate::station::commands::review::source_record;
use kickplate::station::health::HealthKeeper;
use kickplate::station::live::runtime::{LiveSource, Parts, Runtime, SourceName};
use kickplate::station::live::shutdown::stop_on_signals;
use kickplate::station::presenter::Outputs;
use kickplate::station::settings::snapshot::{LiveSettings, SharedSettings};
use kickplate::station::usage::is_there;
use kickplate::station::vision::tracking::Vision;
use kickplate::station::{EngineChoice, ModelChoice, UsageError, age_groups_file, say};

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

/// `kickplate-lab soak`.
#[derive(Debug, Clone, PartialEq, clap::Args)]
pub struct SoakOptions {
    /// Clips, each with its lane file (CLIP.toml or lane.toml) beside it; the demo's where none is named.
    pub clips: Vec<PathBuf>,
    /// How long, hours.
    #[arg(long, default_value_t = 1.0)]
    pub hours: f64,
    /// How many times as fast as recorded.
    #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=100))]
    pub speed: u32,
    /// Seconds the lane is empty between two plays of a clip; they are left out.
    #[arg(long = "empty", default_value_t = 0, value_name = "SECONDS", value_parser = clap::value_parser!(u32).range(..=3600))]
    pub empty_s: u32,
    /// How long one recorded session lasts; each plays one clip. Without: 5 minutes, or an eighth of a short run.
    #[arg(long = "session-minutes", value_name = "MINUTES")]
    pub session_min: Option<f64>,
    /// Folder for recordings and log.
    #[arg(long, value_name = "DIR", default_value = "soak-out")]
    pub out: PathBuf,
    /// Pose model.
    #[arg(long, default_value = "full")]
    pub model: ModelChoice,
    /// Inference engine.
    #[arg(long, default_value = "auto")]
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
    let groups = AgeGroups::load(&age_groups_file(&home))?;
    let clips = clips(&home, options, &groups)?;
    let stop = stop_on_signals()?;

    let Some((_, first)) = clips.first() else {
        bail!("there are no clips");
    };
    let settings = SharedSettings::new(first.clone());
    let (lane, track) = (&first.source.lane, first.track);
    let mut vision = Vision::new(&home, options.model, options.engine, lane, track)?;
    let engine = vision.engine_record(options.model);
    say(&format!(
        "{:.2} h, {} times as fast as recorded, {} clips, {} model on the {} engine\n\n{}",
        hours,
        options.speed,
        clips.len(),
        engine.model,
        engine.backend,
        Row::HEAD
    ));
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
    // A screen nobody opened: what is drawn from the pictures is still made.
    let screen = ScreenHandle::new(ScreenModel::waiting(ScreenGeometry::default()));
    let sounds = home.join("sounds");
    let mut runtime = Runtime::start(Parts {
        with_pictures: true,
        recordings: Some(options.out.clone()),
        own_sessions: true,
        health: Some(keeper),
        ..Parts::bare(
            settings.clone(),
            Outputs {
                screen: Some(screen),
                speaker: Some(Arc::new(Speaker::start(&sounds, SoundSettings::default()))),
                ..Outputs::none()
            },
        )
    })?;
    let session_over = Arc::clone(&watch.this);
    let watching = std::thread::Builder::new()
        .name("soak".into())
        .spawn(move || watch.rows())?;

    let (mut sessions, mut camera_s) = (0, 0.0);
    for (clip, next) in clips.iter().cycle() {
        session_over.store(false, Ordering::Relaxed);
        // Looked at after that: the end is never missed.
        if stop.load(Ordering::Relaxed) {
            break;
        }
        settings.play_clip(next);
        let spec = SourceSpec::File { path: clip.clone() };
        let record = source_record(open(&spec)?.info());
        let pace = Pace::Faster {
            times: options.speed,
            empty_s: options.empty_s,
        };
        let source = LiveSource {
            feed: Feed::start(spec, pace, None),
            settings: settings.load(),
            model: options.model,
            name: SourceName {
                kind: record.kind,
                name: record.name,
                frames_per_second: record.frames_per_second,
            },
        };
        let over = || session_over.load(Ordering::Relaxed);
        let stored = runtime.play(&mut vision, &source, &over, ENDING, None);
        let clock = source.feed.clock();
        camera_s += clock.age_s(0.0).unwrap_or(0.0) * f64::from(options.speed.max(1));
        sessions += 1;
        if let Some(status) = stored
            && (status.waiting > 0 || status.lost > 0)
        {
            say(&format!(
                "NOT STORED: {} passes waiting, {} lost",
                status.waiting, status.lost
            ));
        }
    }
    let lateness = runtime.end(ENDING);
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

/// The clips, each with what it is played with.
fn clips(
    home: &Path,
    options: &SoakOptions,
    groups: &AgeGroups,
) -> anyhow::Result<Vec<(PathBuf, LiveSettings)>> {
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
            let settings = LiveSettings::of_clip(Lane::load(&lane)?, AgeGroup::U13, groups.clone());
            Ok((clip, settings))
        })
        .collect()
}
