//! `kickplate review`: judges a recording, as fast as it goes, without a
//! window.

use std::path::{Path, PathBuf};
use std::sync::atomic::Ordering;

use anyhow::Context;

use super::nothing_judged::{Looked, Nothing};
use super::review_folder;
use super::review_out::{Bar, Output};
use super::review_part::Part;
use crate::capture::{self, SourceSpec};
use crate::config::{self, Lane, Travel, View};
use crate::rules::{AgeGroup, AgeGroups};
use crate::station::live::shutdown::{Stop, stop_on_signals};
use crate::station::ruler::{CheckState, Checks, recordings_of};
use crate::station::session::offline::Analyser;
use crate::station::session::pass_judge::{FinishedPass, Judging};
use crate::station::settings::choices::{EngineChoice, ModelChoice};
use crate::station::settings::{StationSettings, age_groups_file, station_file};
use crate::station::usage::{UsageError, age_group, view};
use crate::station::vision::cores_up_to;
use crate::station::words;
use crate::store::{self, SessionFile, SessionInfo};
use crate::track::TrackSettings;

/// `kickplate review`: a recorded video, from a fixed camera.
#[derive(Debug, Clone, PartialEq, clap::Args)]
pub struct ReviewOptions {
    /// The video, or a folder of videos: all of them are judged, on all cores.
    pub file: PathBuf,
    /// The set-up of the camera. In a folder, NAME.toml beside a video is used for it, where
    /// there is one.
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

/// Judges a recording and writes `session.json` into the folder asked for; of a folder
/// of recordings all of them, each into a folder of its own.
///
/// # Errors
/// One sentence: what cannot be read or written, and what to do about it.
pub fn review(options: &ReviewOptions) -> anyhow::Result<()> {
    let home = config::home()?;
    let desk = Desk {
        station: StationSettings::load(&station_file(&home))?,
        groups: AgeGroups::load(&age_groups_file(&home))?,
        home,
        stop: stop_on_signals()?,
    };
    let recordings = review_folder::recordings(&options.file);
    if !recordings.is_empty() {
        return review_folder::review_all(options, &desk, recordings);
    }
    let one = Recording {
        file: options.file.clone(),
        lane: options.lane.clone(),
        out: options.out.clone(),
    };
    let mut out = Output::default();
    let reviewed = review_one(options, &desk, &one, cores_up_to(3), Some(&mut out))?;
    out.print(&format!(
        "{} of '{}' in {} frames, written to {}\n",
        words::passes(reviewed.session.passes.len()),
        reviewed.name,
        reviewed.frames,
        reviewed.path.display()
    ));
    out.print(&(words::rests_on(&reviewed.session.lane) + "\n"));
    if let Some(why) = reviewed.check.ended() {
        out.print(&format!(
            "The check with persons does not count here: {why}.\n"
        ));
    }
    if let Some(moved) = reviewed.moved() {
        out.print(&(moved + ".\n"));
    }
    if let Some(error) = out.fault {
        return Err(error).context(format!(
            "not all of it could be printed; the result is in {}",
            reviewed.path.display()
        ));
    }
    match (reviewed.damage, reviewed.nothing) {
        (Some(error), nothing) => {
            if let Some(Nothing::Skated(why) | Nothing::Empty(why)) = nothing {
                out.print(&format!("{why}\n"));
            }
            Err(error)
        }
        (None, Some(Nothing::Skated(why))) => {
            anyhow::bail!("nothing in '{}' could be judged: {why}", reviewed.name)
        }
        (None, Some(Nothing::Empty(why))) => {
            out.print(&format!("{why}\n"));
            Ok(())
        }
        (None, None) => Ok(()),
    }
}

/// What every recording of a call is judged with.
pub(super) struct Desk {
    pub(super) home: PathBuf,
    pub(super) station: StationSettings,
    pub(super) groups: AgeGroups,
    pub(super) stop: Stop,
}

/// A recording and where its result goes.
#[derive(Debug, Clone)]
pub(super) struct Recording {
    pub(super) file: PathBuf,
    pub(super) lane: PathBuf,
    pub(super) out: PathBuf,
}

/// What came of a recording; it is written.
pub(super) struct Reviewed {
    pub(super) name: String,
    pub(super) session: SessionFile,
    pub(super) frames: u64,
    path: PathBuf,
    /// The video and all settings it was judged with ([`name_of`]).
    pub(super) of: String,
    /// How it stands with a check that was made with recordings of its lane.
    pub(super) check: CheckState,
    /// When it was seen that the camera had been moved, seconds.
    moved_at_s: Option<f64>,
    /// Where its reading ended before its end, and why.
    pub(super) damage: Option<anyhow::Error>,
    pub(super) nothing: Option<Nothing>,
}

impl Reviewed {
    /// That the camera had been moved, in a sentence.
    pub(super) fn moved(&self) -> Option<String> {
        self.moved_at_s.map(|at_s| {
            format!(
                "By second {at_s:.0} the camera had been moved: what was skated from then on, until it stood as before, is not judged"
            )
        })
    }
}

/// What a recording with pictures of this size is judged with, as the station would have
/// judged it; and how it stands with a check that was made with recordings of its lane.
///
/// # Errors
/// Its lane file; an engine that is not there.
pub(super) fn judging_of(
    options: &ReviewOptions,
    desk: &Desk,
    recording: &Recording,
    [width, height]: [u32; 2],
) -> anyhow::Result<(Judging, CheckState)> {
    let mut lane = Lane::load(&recording.lane)?;
    if let Some(view) = options.view {
        look_from(&mut lane, view);
    }
    let recordings = recordings_of(width, height);
    let folder = desk.station.recordings_folder()?;
    let checks = Checks::new(&desk.home, &folder, options.model, options.engine)?;
    let check = checks.state(&checks.setting(&recordings, &lane));
    let judging = Judging {
        lane: checks.applied(&recordings, &lane),
        thresholds: desk.groups.thresholds(options.age_group),
        track: TrackSettings {
            min_pass_speed_mps: desk.station.min_pass_speed_mps,
            ..TrackSettings::default()
        },
        feedback: desk.station.feedback.clone(),
    };
    Ok((judging, check))
}

/// Judges one recording on so many cores. Passes and progress are told where there is
/// an output.
///
/// # Errors
/// What cannot be read or written; that it was stopped.
pub(super) fn review_one(
    options: &ReviewOptions,
    desk: &Desk,
    recording: &Recording,
    cores: usize,
    out: Option<&mut Output>,
) -> anyhow::Result<Reviewed> {
    let spec = SourceSpec::parse(&recording.file.to_string_lossy()).map_err(usage_or_failure)?;
    let mut source = capture::open_ahead(&spec).map_err(usage_or_failure)?;
    let record = source_record(source.info());
    let size_px = [record.width, record.height];
    let (judging, check) = judging_of(options, desk, recording, size_px)?;
    let lane = judging.lane.clone();
    // Before anything that takes long.
    let path = recording.out.join("session.json");
    make_folder(&recording.out)?;
    may_write(&path, &record, options.replace)?;
    let thresholds = judging.thresholds.clone();
    let name = name_of(&recording.file, &judging);
    let (model, engine) = (options.model, options.engine);
    let mut analyser = Analyser::on_cores(&desk.home, model, engine, judging, cores)?;
    analyser.watch_standing();
    let engine = analyser.engine_record(model);
    let info = SessionInfo {
        source: record.clone(),
        lane: lane.clone(),
        engine: engine.clone(),
        age_group: options.age_group,
        started: jiff::Zoned::now(),
    };
    let (part, before) = Part::open(&recording.out, format!("{name} {engine:?}"), &info)?;
    let mut work = Work {
        session: SessionFile::new(record, lane, engine, &thresholds, None),
        first_track: before
            .iter()
            .map(|(pass, _)| pass.track_id)
            .max()
            .unwrap_or(0),
        told: out.map(|out| Told {
            bar: Bar::new(source.info().frame_count),
            out,
        }),
        part,
    };
    for (pass, cue) in &before {
        // The choice of cues depends on what was said before.
        analyser.remember(pass);
        work.session
            .add_pass(pass, cue, &words::cue_sentence(cue))?;
    }
    if let (Some(told), true) = (&work.told, work.part.frames > 0) {
        let done = format!(
            "goes on after {} frames with {}",
            work.part.frames,
            words::passes(before.len())
        );
        told.bar.say(&done);
    }
    let mut frames = 0;
    let mut looked = Looked::default();
    for (pass, _) in &before {
        looked.pass(pass);
    }
    let mut quiet_since = work.part.frames;
    let mut moved_at_s = None;
    let damage = loop {
        if desk.stop.load(Ordering::Relaxed) {
            work.told.iter().for_each(|told| told.bar.end());
            return Err(stopped(&recording.out, work.session.passes.len()));
        }
        match source.next_frame() {
            Ok(Some(frame)) => {
                frames += 1;
                looked.frame(frame.captured_at_s);
                if frames <= work.part.frames {
                    analyser.look_only(&frame);
                } else {
                    let (_, finished) = analyser.push(&frame)?;
                    finished.iter().for_each(|done| looked.pass(&done.pass));
                    let judged = work.keep(&finished)?;
                    let often = frames - quiet_since >= QUIET_EVERY;
                    if (judged || often) && !analyser.somebody_passing() {
                        work.part.quiet(frames)?;
                        quiet_since = frames;
                    }
                }
                if moved_at_s.is_none() && analyser.camera_moved() {
                    moved_at_s = Some(frame.captured_at_s);
                }
                if let Some(told) = &mut work.told {
                    told.bar.show(frames, work.session.passes.len());
                }
                source.reuse(frame.rgb);
            }
            Ok(None) => break None,
            // What was judged before the damage is kept and written.
            Err(error) => break Some(usage_or_failure(error)),
        }
    };
    let finished = analyser.finish();
    finished.iter().for_each(|done| looked.pass(&done.pass));
    work.keep(&finished)?;
    work.told.iter().for_each(|told| told.bar.end());
    let Work {
        mut session, part, ..
    } = work;
    session.source.frames = Some(frames);
    session.write(&path)?;
    part.finish()?;
    let nothing = looked.nothing(
        analyser.tally(),
        analyser.estimator().counters(),
        (
            &analyser.judging().lane,
            analyser.judging().track.min_pass_speed_mps,
        ),
        source.info(),
    );
    Ok(Reviewed {
        name: source.info().name.clone(),
        session,
        frames,
        path,
        of: name,
        check,
        moved_at_s,
        damage,
        nothing,
    })
}

/// A quiet moment is noted at least this often, frames.
const QUIET_EVERY: u64 = 300;

/// Where passes and progress are told.
struct Told<'o> {
    bar: Bar,
    out: &'o mut Output,
}

/// A review on its way.
struct Work<'o> {
    session: SessionFile,
    part: Part,
    told: Option<Told<'o>>,
    /// Tracks are counted on from here.
    first_track: u32,
}

impl Work<'_> {
    /// Keeps and prints what was judged; whether that was anything.
    fn keep(&mut self, finished: &[FinishedPass]) -> anyhow::Result<bool> {
        for judged in finished {
            let (mut pass, mut cue) = (judged.pass.clone(), judged.cue.clone());
            pass.track_id += self.first_track;
            cue.track_id += self.first_track;
            self.part.keep(&pass, &cue)?;
            self.session
                .add_pass(&pass, &cue, &words::cue_sentence(&cue))?;
            if let Some(Told { bar, out }) = &mut self.told {
                let table = words::pass_table(&pass, &cue) + "\n";
                bar.beside(|| out.print(&table));
            }
        }
        Ok(!finished.is_empty())
    }
}

/// The sentence of a review that was told to stop.
fn stopped(out: &Path, passes: usize) -> anyhow::Error {
    anyhow::anyhow!(
        "the review was stopped; {} are kept in '{}', and the same command goes on from there",
        words::passes(passes),
        out.display()
    )
}

/// The results go into a folder for their owner only.
pub(super) fn make_folder(out: &Path) -> anyhow::Result<()> {
    config::private_folder(out).with_context(|| {
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
pub(super) fn name_of(file: &Path, judging: &Judging) -> String {
    let file = std::fs::canonicalize(file).unwrap_or_else(|_| file.to_owned());
    let meta = std::fs::metadata(&file).ok();
    let changed = meta.as_ref().and_then(|m| m.modified().ok());
    format!(
        "{} {:?} {changed:?} {judging:?}",
        file.display(),
        meta.map(|m| m.len())
    )
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
