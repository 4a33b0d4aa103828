//! `kickplate review`: judges a recording, as fast as it goes, without a
//! window.

use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};

use anyhow::Context;

use crate::capture::{self, SourceSpec};
use crate::config::{self, Lane, Travel, View};
use crate::feedback::Cue;
use crate::rules::{AgeGroup, AgeGroups, JudgedPass};
use crate::station::session::offline::Analyser;
use crate::station::session::pass_judge::{FinishedPass, Judging};
use crate::station::settings::choices::{EngineChoice, ModelChoice};
use crate::station::settings::{StationSettings, age_groups_file, station_file};
use crate::station::usage::{UsageError, age_group, view};
use crate::station::words;
use crate::store::{self, SessionFile};
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
    std::fs::create_dir_all(&options.out).with_context(|| {
        format!(
            "the folder '{}' cannot be made; choose another with --out",
            options.out.display()
        )
    })?;
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
    let mut analyser = Analyser::new(&home, options.model, options.engine, judging)?;

    let mut session = SessionFile::new(
        source_record(source.info()),
        lane,
        analyser.engine_record(options.model),
        &analyser.judging().thresholds,
        None,
    );
    let mut progress = Progress::new(source.info().frame_count);
    let mut frames = 0;
    let damage = loop {
        match source.next_frame() {
            Ok(Some(frame)) => {
                frames += 1;
                let (_, passes) = analyser.push(&frame)?;
                keep(&passes, &mut session, &mut progress)?;
                progress.show(frames);
                source.reuse(frame.rgb);
            }
            Ok(None) => break None,
            // What was judged before the damage is kept and written.
            Err(error) => break Some(error),
        }
    };
    keep(&analyser.finish(), &mut session, &mut progress)?;
    progress.end();
    session.source.frames = Some(frames);
    let path = options.out.join("session.json");
    session.write(&path)?;
    println!(
        "{} of '{}' in {frames} frames, written to {}",
        words::passes(session.passes.len()),
        source.info().name,
        path.display()
    );
    match damage {
        Some(error) => Err(usage_or_failure(error)),
        None => Ok(()),
    }
}

fn keep(
    passes: &[FinishedPass],
    session: &mut SessionFile,
    progress: &mut Progress,
) -> anyhow::Result<()> {
    for FinishedPass { pass, cue, .. } in passes {
        session.add_pass(pass, cue, &words::cue_sentence(cue))?;
        progress.clear();
        print_pass(pass, cue);
    }
    Ok(())
}

/// One pass as a table for the terminal.
pub fn print_pass(pass: &JudgedPass, cue: &Cue) {
    println!("{}", words::pass_table(pass, cue));
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

/// How far the review is, on one line of the terminal that writes over
/// itself; every tenth part on a line of its own where it is no terminal.
struct Progress {
    total: Option<u64>,
    live: bool,
    shown: u64,
}

impl Progress {
    fn new(total: Option<u64>) -> Self {
        Progress {
            total,
            live: std::io::stderr().is_terminal(),
            shown: 0,
        }
    }

    fn show(&mut self, frames: u64) {
        let Some(total) = self.total.filter(|t| *t > 0) else {
            if frames.is_multiple_of(100) {
                self.say(&format!("{frames} frames"));
            }
            return;
        };
        let step = if self.live { 1 } else { 10 };
        let percent = (100 * frames / total).min(100) / step * step;
        if percent > self.shown {
            self.shown = percent;
            self.say(&format!("{percent} % of {total} frames"));
        }
    }

    fn say(&self, text: &str) {
        if self.live {
            eprint!("\r{text}   ");
            let _ = std::io::stderr().flush();
        } else {
            eprintln!("{text}");
        }
    }

    fn clear(&self) {
        if self.live {
            eprint!("\r{:40}\r", "");
        }
    }

    fn end(&self) {
        self.clear();
    }
}
