//! `kickplate review`: judges a recording, as fast as it goes, without a
//! window.

use std::io::Write;
use std::os::unix::fs::DirBuilderExt;
use std::path::{Path, PathBuf};
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

use anyhow::Context;
use indicatif::{ProgressBar, ProgressStyle};

use super::nothing_judged::{Looked, Nothing};
use super::review_part::Part;
use crate::capture::{self, SourceSpec};
use crate::config::{self, Lane, Travel, View};
use crate::rules::{AgeGroup, AgeGroups};
use crate::station::live::shutdown::stop_on_signals;
use crate::station::ruler::{Checks, recordings_of};
use crate::station::session::offline::Analyser;
use crate::station::session::pass_judge::{FinishedPass, Judging};
use crate::station::settings::choices::{EngineChoice, ModelChoice};
use crate::station::settings::{StationSettings, age_groups_file, station_file};
use crate::station::usage::{UsageError, age_group, view};
use crate::station::words;
use crate::store::{self, SessionFile, SessionInfo};
use crate::track::TrackSettings;

/// `kickplate review`: a recorded video, from a fixed camera.
#[derive(Debug, Clone, PartialEq, clap::Args)]
pub struct ReviewOptions {
    /// The video.
    pub file: PathBuf,
    /// The set-up of the camera.
    #[arg(long, value_name = "LANE.toml")]
    pub lane: PathBuf,
    /// The group the skaters are judged as: U7, U9, U11, U13, U15, U18, adult.
    #[arg(long, value_name = "GROUP", value_parser = age_group)]
    pub age_group: AgeGroup,
    /// Folder for the results.
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,
    /// View, where it differs from the lane file: side, front, rear, oblique.
    #[arg(long, value_parser = view)]
    pub view: Option<View>,
    /// Pose model.
    #[arg(long, default_value = "full")]
    pub model: ModelChoice,
    /// Inference engine.
    #[arg(long, default_value = "auto")]
    pub engine: EngineChoice,
    /// Also where the folder holds the result of another video.
    #[arg(long)]
    pub replace: bool,
}

/// Judges one recording and writes `session.json` into the folder asked for.
///
/// # Errors
/// One sentence: what cannot be read or written, and what to do about it.
pub fn review(options: &ReviewOptions) -> anyhow::Result<()> {
    let home = config::home()?;
    let mut lane = Lane::load(&options.lane)?;
    if let Some(view) = options.view {
        look_from(&mut lane, view);
    }
    let station = StationSettings::load(&station_file(&home))?;
    let groups = AgeGroups::load(&age_groups_file(&home))?;
    let spec = SourceSpec::parse(&options.file.to_string_lossy()).map_err(usage_or_failure)?;
    let mut source = capture::open_ahead(&spec).map_err(usage_or_failure)?;
    let record = source_record(source.info());
    // A check that was made with recordings of this lane.
    let recordings = recordings_of(source.info().width, source.info().height);
    let checks = Checks::new(
        &home,
        &station.recordings_folder()?,
        options.model,
        options.engine,
    )?;
    let check = checks.state(&checks.setting(&recordings, &lane));
    lane = checks.applied(&recordings, &lane);
    // Before anything that takes long.
    let path = options.out.join("session.json");
    make_folder(&options.out)?;
    may_write(&path, &record, options.replace)?;
    let judging = Judging {
        lane: lane.clone(),
        thresholds: groups.thresholds(options.age_group),
        // A recording is judged as the station would have judged it.
        track: TrackSettings {
            min_pass_speed_mps: station.min_pass_speed_mps,
            ..TrackSettings::default()
        },
        feedback: station.feedback,
    };
    let thresholds = judging.thresholds.clone();
    let name = name_of(options, &judging);
    let mut analyser = Analyser::new(&home, options.model, options.engine, judging)?;
    let engine = analyser.engine_record(options.model);
    let info = SessionInfo {
        source: record.clone(),
        lane: lane.clone(),
        engine: engine.clone(),
        age_group: options.age_group,
        started: jiff::Zoned::now(),
    };
    let stop = stop_on_signals()?;
    let (part, before) = Part::open(&options.out, format!("{name} {engine:?}"), &info)?;
    let mut work = Work {
        session: SessionFile::new(record, lane, engine, &thresholds, None),
        first_track: before
            .iter()
            .map(|(pass, _)| pass.track_id)
            .max()
            .unwrap_or(0),
        bar: Bar::new(source.info().frame_count),
        out: Output::default(),
        part,
    };
    for (pass, cue) in &before {
        // The choice of cues depends on what was said before.
        analyser.remember(pass);
        work.session
            .add_pass(pass, cue, &words::cue_sentence(cue))?;
    }
    if work.part.frames > 0 {
        let done = format!(
            "goes on after {} frames with {}",
            work.part.frames,
            words::passes(before.len())
        );
        work.bar.say(&done);
    }
    let mut frames = 0;
    let mut looked = Looked::default();
    for (pass, _) in &before {
        looked.pass(pass);
    }
    let mut quiet_since = work.part.frames;
    let damage = loop {
        if stop.load(Ordering::Relaxed) {
            work.bar.end();
            return Err(stopped(&options.out, &work));
        }
        match source.next_frame() {
            Ok(Some(frame)) => {
                frames += 1;
                looked.frame(frame.captured_at_s);
                if frames > work.part.frames {
                    let (_, finished) = analyser.push(&frame)?;
                    finished.iter().for_each(|done| looked.pass(&done.pass));
                    let judged = work.keep(&finished)?;
                    let often = frames - quiet_since >= QUIET_EVERY;
                    if (judged || often) && !analyser.somebody_passing() {
                        work.part.quiet(frames)?;
                        quiet_since = frames;
                    }
                }
                work.bar.show(frames, work.session.passes.len());
                source.reuse(frame.rgb);
            }
            Ok(None) => break None,
            // What was judged before the damage is kept and written.
            Err(error) => break Some(error),
        }
    };
    let finished = analyser.finish();
    finished.iter().for_each(|done| looked.pass(&done.pass));
    work.keep(&finished)?;
    work.bar.end();
    let Work {
        mut session,
        part,
        mut out,
        ..
    } = work;
    session.source.frames = Some(frames);
    let rests_on = words::rests_on(&session.lane);
    session.write(&path)?;
    part.finish()?;
    out.print(&format!(
        "{} of '{}' in {frames} frames, written to {}\n",
        words::passes(session.passes.len()),
        source.info().name,
        path.display()
    ));
    out.print(&format!("{rests_on}\n"));
    if let Some(why) = check.ended() {
        out.print(&format!("Not those of a check: {why}.\n"));
    }
    if let Some(error) = out.fault {
        return Err(error).context(format!(
            "not all of it could be printed; the result is in {}",
            path.display()
        ));
    }
    let nothing = looked.nothing(
        analyser.tally(),
        analyser.estimator().counters(),
        &analyser.judging().lane,
        source.info(),
    );
    match (damage, nothing) {
        (Some(error), nothing) => {
            if let Some(Nothing::Skated(why) | Nothing::Empty(why)) = nothing {
                out.print(&format!("{why}\n"));
            }
            Err(usage_or_failure(error))
        }
        (None, Some(Nothing::Skated(why))) => {
            anyhow::bail!("nothing in '{}' could be judged: {why}", source.info().name)
        }
        (None, Some(Nothing::Empty(why))) => {
            out.print(&format!("{why}\n"));
            Ok(())
        }
        (None, None) => Ok(()),
    }
}

/// A quiet moment is noted at least this often, frames.
const QUIET_EVERY: u64 = 300;

/// A review on its way.
struct Work {
    session: SessionFile,
    part: Part,
    bar: Bar,
    out: Output,
    /// Tracks are counted on from here.
    first_track: u32,
}

impl Work {
    /// Keeps and prints what was judged; whether that was anything.
    fn keep(&mut self, finished: &[FinishedPass]) -> anyhow::Result<bool> {
        for judged in finished {
            let (mut pass, mut cue) = (judged.pass.clone(), judged.cue.clone());
            pass.track_id += self.first_track;
            cue.track_id += self.first_track;
            self.part.keep(&pass, &cue)?;
            self.session
                .add_pass(&pass, &cue, &words::cue_sentence(&cue))?;
            let table = words::pass_table(&pass, &cue) + "\n";
            let out = &mut self.out;
            self.bar.beside(|| out.print(&table));
        }
        Ok(!finished.is_empty())
    }
}

/// The sentence of a review that was told to stop.
fn stopped(out: &Path, work: &Work) -> anyhow::Error {
    anyhow::anyhow!(
        "the review was stopped; {} are kept in '{}', and the same command goes on from there",
        words::passes(work.session.passes.len()),
        out.display()
    )
}

/// The results go into a folder for their owner only.
fn make_folder(out: &Path) -> anyhow::Result<()> {
    std::fs::DirBuilder::new()
        .recursive(true)
        .mode(0o700)
        .create(out)
        .with_context(|| {
            format!(
                "the folder '{}' cannot be made; choose another with --out",
                out.display()
            )
        })
}

/// A result of another video is not replaced unasked.
fn may_write(path: &Path, record: &store::SourceInfo, replace: bool) -> Result<(), UsageError> {
    if path.is_dir() {
        return Err(UsageError(format!(
            "'{}' is a folder; choose another with --out",
            path.display()
        )));
    }
    if replace || path.symlink_metadata().is_err() {
        return Ok(());
    }
    let same = SessionFile::read(path).is_ok_and(|there| {
        let there = there.source;
        let of_frames = record.frames.is_none() || there.frames == record.frames;
        (there.name, there.width, there.height)
            == (record.name.clone(), record.width, record.height)
            && of_frames
    });
    if same {
        return Ok(());
    }
    Err(UsageError(format!(
        "'{}' is the result of another video; choose another folder with --out, or give --replace",
        path.display()
    )))
}

/// The video and all settings that its result depends on.
fn name_of(options: &ReviewOptions, judging: &Judging) -> String {
    let file = std::fs::canonicalize(&options.file).unwrap_or_else(|_| options.file.clone());
    let meta = std::fs::metadata(&file).ok();
    let changed = meta.as_ref().and_then(|m| m.modified().ok());
    format!(
        "{} {:?} {changed:?} {judging:?}",
        file.display(),
        meta.map(|m| m.len())
    )
}

/// Standard output. Whoever reads it may have had enough (`| head`), which is
/// no fault; the result is a file.
#[derive(Default)]
struct Output {
    closed: bool,
    fault: Option<std::io::Error>,
}

impl Output {
    fn print(&mut self, text: &str) {
        if self.closed {
            return;
        }
        let mut out = std::io::stdout().lock();
        if let Err(error) = out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
            self.closed = true;
            self.fault = Some(error).filter(|e| e.kind() != std::io::ErrorKind::BrokenPipe);
        }
    }
}

/// A view given on the command line; the direction follows where the lane
/// file's does not fit it.
fn look_from(lane: &mut Lane, view: View) {
    lane.view = view;
    lane.travel = match (view, lane.travel) {
        (View::Front, _) => Travel::Toward,
        (View::Rear, _) => Travel::Away,
        (View::Side, Travel::Toward | Travel::Away) => Travel::LeftToRight,
        (_, travel) => travel,
    };
}

/// Exit code 2 for what the user named, 1 for what failed.
pub fn usage_or_failure(error: capture::CaptureError) -> anyhow::Error {
    if error.is_usage() {
        UsageError(error.to_string()).into()
    } else {
        error.into()
    }
}

/// The source as a session stores it: no path, only the last name.
pub fn source_record(info: &capture::SourceInfo) -> store::SourceInfo {
    store::SourceInfo {
        kind: match info.kind {
            capture::SourceKind::Camera => store::SourceKind::Camera,
            capture::SourceKind::Video => store::SourceKind::Video,
            capture::SourceKind::Pictures => store::SourceKind::Images,
        },
        name: Path::new(&info.name)
            .file_name()
            .map_or_else(|| info.name.clone(), |n| n.to_string_lossy().into_owned()),
        width: info.width,
        height: info.height,
        frames_per_second: info.nominal_fps,
        frames: info.frame_count,
    }
}

/// How far the review is: a bar with the time left on a terminal, a line now
/// and then elsewhere.
struct Bar {
    bar: ProgressBar,
    total: Option<u64>,
    shown: u64,
    said_at: Instant,
}

/// Without a terminal a line is written at each tenth, or as often as this
/// where the length is not known.
const LINE_EVERY: Duration = Duration::from_secs(10);

impl Bar {
    fn new(total: Option<u64>) -> Self {
        let total = total.filter(|t| *t > 0);
        let bar = match total {
            Some(total) => ProgressBar::new(total),
            None => ProgressBar::no_length(),
        };
        let form = match total {
            Some(_) => "{wide_bar} {percent} %, {msg}, {eta} left",
            None => "{spinner} {pos} frames, {msg}",
        };
        if let Ok(style) = ProgressStyle::with_template(form) {
            bar.set_style(style);
        }
        Bar {
            bar,
            total,
            shown: 0,
            said_at: Instant::now(),
        }
    }

    fn show(&mut self, frames: u64, passes: usize) {
        if !self.bar.is_hidden() {
            self.bar.set_message(words::passes(passes));
            self.bar.set_position(frames);
            return;
        }
        let passes = words::passes(passes);
        match self.total {
            Some(total) => {
                let tenths = (10 * frames / total).min(10);
                if tenths > self.shown {
                    self.shown = tenths;
                    self.say(&format!("{} % of {total} frames, {passes}", 10 * tenths));
                }
            }
            None if self.said_at.elapsed() >= LINE_EVERY => {
                self.said_at = Instant::now();
                self.say(&format!("{frames} frames, {passes}"));
            }
            None => {}
        }
    }

    fn say(&self, text: &str) {
        // Nobody may be listening; that is no fault.
        self.bar.suspend(|| {
            let _ = writeln!(std::io::stderr(), "{text}");
        });
    }

    /// Does something that writes to the terminal too.
    fn beside(&self, write: impl FnOnce()) {
        self.bar.suspend(write);
    }

    fn end(&self) {
        self.bar.finish_and_clear();
    }
}
