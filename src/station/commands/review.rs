//! `kickplate review`: judges a recording, as fast as it goes, without a
//! window.

use std::path::{Path, PathBuf};

use anyhow::Context;

use super::nothing_judged::Nothing;
use super::review_folder;
use super::review_out::Output;
use super::review_recording::review_one;
use crate::capture;
use crate::config::{self, Lane, Travel, View};
use crate::rules::{AgeGroup, AgeGroups};
use crate::station::live::shutdown::{Stop, stop_on_signals};
use crate::station::ruler::{CheckState, Checks, recordings_of};
use crate::station::session::pass_judge::Judging;
use crate::station::settings::choices::{EngineChoice, ModelChoice};
use crate::station::settings::{StationSettings, age_groups_file, station_file};
use crate::station::usage::{UsageError, age_group, view};
use crate::station::words;
use crate::store::{self, SessionFile};
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
    /// Cores to use; all of them where it is not given. The result is the same.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..))]
    pub cores: Option<u16>,
}

impl ReviewOptions {
    /// How many cores may be used.
    pub(super) fn cores(&self) -> usize {
        self.cores.map_or_else(
            || std::thread::available_parallelism().map_or(1, usize::from),
            usize::from,
        )
    }
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
    let reviewed = review_one(options, &desk, &one, options.cores(), Some(&mut out))?;
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
    pub(super) path: PathBuf,
    /// The video and all settings it was judged with ([`name_of`]).
    pub(super) of: String,
    /// How it stands with a check that was made with recordings of its lane.
    pub(super) check: CheckState,
    /// When it was seen that the camera had been moved, seconds.
    pub(super) moved_at_s: Option<f64>,
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
pub(super) fn may_write(
    path: &Path,
    record: &store::SourceInfo,
    replace: bool,
) -> Result<(), UsageError> {
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
