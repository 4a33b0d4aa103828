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
use super::health::{HealthKeeper, HealthWatch};
use super::live::{open_store, say, stop_on_signals};
use super::options::is_there;
use super::run::{Lateness, Stop, run};
use super::stage::Stage;
use super::{EngineChoice, ModelChoice, UsageError, age_groups_file};
use crate::capture::{Feed, Pace, SourceSpec, open};
use crate::config::{self, Lane};
use crate::display::{ScreenGeometry, ScreenHandle, ScreenModel};
use crate::feedback::FeedbackSettings;
use crate::rules::{AgeGroup, AgeGroups, Thresholds};
use crate::sound::{SoundSettings, Speaker};
use crate::track::TrackSettings;

mod trend;
use trend::trend;

/// Clips that are there when none are named.
const DEMO: [&str; 4] = ["side-good", "side-faulty", "front-good", "front-child"];
/// A recorded session lasts no longer than this when nothing else is asked for.
const SHORT_SESSION: Duration = Duration::from_secs(300);
/// Rows of the table when nothing else is asked for.
const ROWS: f64 = 24.0;
/// How often the watching thread looks up.
const LOOK_EVERY: Duration = Duration::from_millis(200);
/// Waiting for the disk at the end of a session.
const ENDING: Duration = Duration::from_secs(10);
/// A trend over less than this says nothing, hours.
const SHORTEST_H: f64 = 0.15;
/// Growth below this in an hour is not called growth, megabytes: it would
/// take a week of ice to matter.
const NEGLIGIBLE_MB_PER_H: f64 = 1.0;

/// `kickplate soak`.
#[derive(Debug, Clone, PartialEq)]
pub struct SoakOptions {
    /// Clips, each with its lane file beside it; the demo's where empty.
    pub clips: Vec<PathBuf>,
    /// How long, hours of the wall.
    pub hours: f64,
    /// How many times as fast as recorded.
    pub speed: u32,
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

/// One row of the table.
#[derive(Debug, Clone, PartialEq)]
struct Row {
    at_s: f64,
    resident_mb: f64,
    descriptors: f64,
    threads: f64,
    analysed_per_s: f64,
    half_ms: f64,
    late_ms: f64,
    passes: u64,
    log_bytes: u64,
    recorded_bytes: u64,
}

impl Row {
    const HEAD: &str = "| min | memory MB | descriptors | threads | frames/s | result ms, half | 95 % | passes | log kB | recordings kB |\n|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|";

    fn text(&self) -> String {
        format!(
            "| {:.1} | {:.1} | {} | {} | {:.1} | {:.0} | {:.0} | {} | {} | {} |",
            self.at_s / 60.0,
            self.resident_mb,
            self.descriptors,
            self.threads,
            self.analysed_per_s,
            self.half_ms,
            self.late_ms,
            self.passes,
            self.log_bytes / 1000,
            self.recorded_bytes / 1000,
        )
    }
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
    let mut sessions = 0;
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
    say(&format!("\n{sessions} sessions. {}", lateness.sentence()));
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

/// The thread that writes the rows and ends sessions.
struct Watch {
    health: HealthWatch,
    out: PathBuf,
    started: Instant,
    lasting: Duration,
    session: Duration,
    every: Duration,
    /// Ends everything.
    all: Stop,
    /// Ends the session.
    this: Stop,
}

impl Watch {
    fn rows(self) -> Vec<Row> {
        let mut rows: Vec<Row> = Vec::new();
        let mut row_at = self.started + self.every;
        let mut session_began = self.started;
        let mut before = (self.started, 0);
        while !self.all.load(Ordering::Relaxed) {
            std::thread::sleep(LOOK_EVERY);
            let now = Instant::now();
            if now - self.started >= self.lasting {
                self.all.store(true, Ordering::Relaxed);
            }
            if now - session_began >= self.session || self.all.load(Ordering::Relaxed) {
                session_began = now;
                self.this.store(true, Ordering::Relaxed);
            }
            if now >= row_at {
                row_at += self.every;
                if let Some(row) = self.row(now, &mut before) {
                    say(&row.text());
                    rows.push(row);
                }
            }
        }
        self.this.store(true, Ordering::Relaxed);
        rows
    }

    fn row(&self, now: Instant, before: &mut (Instant, u64)) -> Option<Row> {
        let health = self.health.newest()?;
        let seconds = (now - before.0).as_secs_f64();
        let frames = health.pose.frames - before.1.min(health.pose.frames);
        *before = (now, health.pose.frames);
        Some(Row {
            at_s: (now - self.started).as_secs_f64(),
            resident_mb: health.host.resident_mb?,
            descriptors: health.host.descriptors?.into(),
            threads: health.host.threads?.into(),
            analysed_per_s: frames as f64 / seconds.max(1e-3),
            half_ms: health.pose.frame_to_result_ms_half.unwrap_or(0.0),
            late_ms: health.pose.frame_to_result_ms_95.unwrap_or(0.0),
            passes: health.pose.passes,
            log_bytes: bytes_in(&self.out.join("logs")),
            recorded_bytes: bytes_in(&self.out),
        })
    }
}

/// Bytes of the files in a folder, without those in folders below.
fn bytes_in(folder: &Path) -> u64 {
    std::fs::read_dir(folder)
        .into_iter()
        .flatten()
        .flatten()
        .filter_map(|entry| entry.metadata().ok())
        .filter(std::fs::Metadata::is_file)
        .map(|meta| meta.len())
        .sum()
}

/// Name, unit, change in an hour that is of no account, where it stands.
type Thing = (&'static str, &'static str, f64, fn(&Row) -> f64);

struct Verdict {
    text: String,
    grows: bool,
}

/// From the rows after the first quarter, in which caches fill.
fn verdict(rows: &[Row]) -> Verdict {
    let settled = &rows[rows.len() / 4..];
    let span_h = match settled {
        [first, .., last] => (last.at_s - first.at_s) / 3600.0,
        _ => 0.0,
    };
    let of = |value: fn(&Row) -> f64| {
        let points: Vec<(f64, f64)> = settled
            .iter()
            .map(|r| (r.at_s / 3600.0, value(r)))
            .collect();
        trend(&points)
    };
    let mut text = String::from("Verdict (rows after the first quarter, 95 % interval):");
    let mut grows = false;
    let things: [Thing; 4] = [
        ("memory", "MB", NEGLIGIBLE_MB_PER_H, |r| r.resident_mb),
        ("descriptors", "", 1.0, |r| r.descriptors),
        ("threads", "", 1.0, |r| r.threads),
        ("delay, half of the frames", "ms", 5.0, |r| r.half_ms),
    ];
    for (what, unit, negligible, value) in things {
        let (words, growing) = match of(value) {
            None => ("too few rows to tell".to_owned(), false),
            Some(_) if span_h < SHORTEST_H => ("too short a run to tell".to_owned(), false),
            Some(t) => {
                // Growth is what is above nothing for sure and not tiny.
                let growing = t.per_hour - t.plus_minus > 0.0 && t.per_hour > negligible;
                let space = if unit.is_empty() { "" } else { " " };
                let words = format!(
                    "{:+.2} ±{:.2}{space}{unit} an hour: {}",
                    t.per_hour,
                    t.plus_minus,
                    if growing { "GROWS" } else { "no growth seen" }
                );
                (words, growing)
            }
        };
        grows |= growing;
        text += &format!("\n- {what}: {words}");
    }
    Verdict { text, grows }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(minute: f64, resident_mb: f64, descriptors: f64) -> Row {
        Row {
            at_s: 60.0 * minute,
            resident_mb,
            descriptors,
            threads: 9.0,
            analysed_per_s: 30.0,
            half_ms: 20.0,
            late_ms: 30.0,
            passes: 1,
            log_bytes: 0,
            recorded_bytes: 0,
        }
    }

    /// A wobble of 1.5 MB, the same every time.
    fn wobble(n: u32) -> f64 {
        [0.0, 1.1, -0.7, 0.4, -1.5, 0.9, -0.2][n as usize % 7]
    }

    #[test]
    fn a_leak_is_seen_through_the_wobble_and_a_warm_up_is_none() {
        let still: Vec<Row> = (0..48)
            .map(|n| {
                let warm_up = if n < 8 {
                    -40.0 + 5.0 * f64::from(n)
                } else {
                    0.0
                };
                row(f64::from(n), 200.0 + warm_up + wobble(n), 12.0)
            })
            .collect();
        let v = verdict(&still);
        assert!(!v.grows, "{}", v.text);
        // 8 MB an hour.
        let leaking: Vec<Row> = (0..48)
            .map(|n| {
                row(
                    f64::from(n),
                    200.0 + 8.0 * f64::from(n) / 60.0 + wobble(n),
                    12.0,
                )
            })
            .collect();
        let v = verdict(&leaking);
        assert!(v.grows && v.text.contains("memory: +"), "{}", v.text);
    }

    #[test]
    fn descriptors_that_stay_open_are_growth() {
        let rows: Vec<Row> = (0..20)
            .map(|n| row(f64::from(n), 200.0, 12.0 + f64::from(n / 5)))
            .collect();
        let v = verdict(&rows);
        assert!(v.grows && v.text.contains("descriptors: +"), "{}", v.text);
    }

    #[test]
    fn too_few_rows_are_no_verdict() {
        assert!(verdict(&[]).text.contains("too few rows"));
        assert!(!verdict(&[row(0.0, 1.0, 1.0)]).grows);
    }
}
