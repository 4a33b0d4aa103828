//! `kickplate-lab score`: the whole chain against rendered clips whose truth is
//! exact.
//!
//! Takes: a folder of clips, each a folder with `clip.mp4` and `truth.json`
//! (made by `tools/skater`).
//! Gives: a [`ScoreReport`]: pushes found, toe-off times, for every measure
//! how far off it is by view, for every rule whether it speaks when it
//! should, and what was said after each pass.
//! Fails: a clip that cannot be read is named; the others are scored.

mod compare;
mod poses;
mod report;
mod sight;
mod speech;
mod truth;

use std::path::{Path, PathBuf};

use anyhow::Context;

use kickplate::config::{self, Lane};
use kickplate::feedback::{CueSelector, FeedbackSettings};
use kickplate::pose::{Estimator, ModelKind, PoseFrame};
use kickplate::rules::{JudgedPass, JudgedPush, Thresholds, judge};
use kickplate::station::{EngineChoice, ModelChoice, UsageError, fault, model_kind, pose_settings};
use kickplate::stride::{PassMotion, cut};
use kickplate::track::{TrackEvent, TrackSettings, Tracker};

pub use compare::{ClipScore, Compared};
pub use poses::{cached_poses, read_poses, read_poses_at};
pub use report::{ScoreReport, Tally};
pub use sight::{Said, sight_table};
pub use speech::{CueCheck, Flagged};
pub use truth::{Subject, Truth, TruthCamera, TruthPush, TruthSkater, Visit};

/// `kickplate-lab score`: what to score and with what.
#[derive(Debug, Clone, PartialEq, clap::Args)]
pub struct ScoreOptions {
    /// Folder of clips, as tools/skater/render_set.py makes it.
    pub clips: PathBuf,
    /// Folder for pose traces: <clip>/poses.json is read where it is there, written where not.
    #[arg(long, value_name = "DIR")]
    pub poses: Option<PathBuf>,
    /// Pose model.
    #[arg(long, default_value = "full")]
    pub model: ModelChoice,
    /// Inference engine.
    #[arg(long, default_value = "auto")]
    pub engine: EngineChoice,
    /// Each clip as from a camera or a computer that gives so many pictures a second: the
    /// others are left out before the model sees them. Several with commas.
    #[arg(long, value_name = "N", value_delimiter = ',', value_parser = pictures_per_second)]
    pub rates: Vec<f64>,
    /// Folder for what was judged and said, pass by pass: <clip>.json.
    #[arg(long, value_name = "DIR")]
    pub passes: Option<PathBuf>,
    /// Also the errors when each correction is refitted on the other clips.
    #[arg(long)]
    pub leave_one_out: bool,
    /// Document to write the tables into, between its two marker lines.
    #[arg(long, value_name = "FILE.md")]
    pub write: Option<PathBuf>,
}

fn pictures_per_second(text: &str) -> Result<f64, String> {
    match text.parse() {
        Ok(rate) if (1.0..=1000.0).contains(&rate) => Ok(rate),
        _ => Err("a number from 1 to 1000".to_owned()),
    }
}

/// Scores every clip of a folder, prints the tables, writes them where asked.
///
/// # Errors
/// No clips there, no model, or a document that cannot be written. A clip
/// that cannot be read is named on the error output and left out; the command
/// then fails after the others are done.
pub fn score(options: &ScoreOptions) -> anyhow::Result<()> {
    let home = config::home()?;
    let folders = clip_folders(&options.clips)?;
    let rates: Vec<Option<f64>> = match options.rates.as_slice() {
        [] => vec![None],
        rates => rates.iter().copied().map(Some).collect(),
    };
    let runs: Vec<(&PathBuf, Option<f64>)> = folders
        .iter()
        .flat_map(|folder| rates.iter().map(move |rate| (folder, *rate)))
        .collect();
    let mut estimator: Option<Estimator> = None;
    let mut clips = Vec::new();
    let mut faults = Vec::new();
    for (i, (folder, rate)) in runs.iter().enumerate() {
        let name = match rate {
            Some(rate) => format!("{}@{rate}", folder_name(folder)),
            None => folder_name(folder),
        };
        eprintln!("{} of {}: {name}", i + 1, runs.len());
        let scored = || -> anyhow::Result<ClipScore> {
            let truth = Truth::load(&folder.join("truth.json"))?;
            let trace = options.poses.as_ref().map(|p| p.join(&name));
            let frames = match &trace {
                Some(trace) => cached_poses(&trace.join("poses.json"), &folder.join("clip.mp4"))?,
                None => None,
            };
            let frames = match frames {
                Some(frames) => frames,
                None => {
                    let estimator = match &mut estimator {
                        Some(e) => e,
                        None => estimator.insert(Estimator::new(
                            &home,
                            pose_settings(options.model, options.engine),
                        )?),
                    };
                    let view = truth.lane().view;
                    let frames = read_poses_at(&folder.join("clip.mp4"), view, *rate, estimator)?;
                    if let Some(trace) = &trace {
                        poses::keep(&trace.join("poses.json"), &frames)?;
                    }
                    frames
                }
            };
            let read_by = model_kind(options.model);
            let thresholds = Thresholds::defaults(truth.age_group());
            let passes = judge_poses(frames.into_iter(), read_by, &truth.lane(), &thresholds);
            if let Some(folder) = &options.passes {
                keep_passes(folder, &name, &passes)?;
            }
            Ok(compare::compare(&name, &truth, &passes))
        }();
        match scored {
            Ok(score) => clips.push(score),
            Err(error) => {
                eprintln!("kickplate: {name}: {}", fault(&error));
                faults.push(name);
            }
        }
    }
    let measured_with = match &estimator {
        Some(e) => format!(
            "engine {:?} {}, model {}",
            e.engine().kind,
            e.engine().version,
            options.model.name()
        ),
        None => format!("kept pose traces, model {}", options.model.name()),
    };
    let report = ScoreReport {
        set: folder_name(&options.clips),
        measured_with,
        clips,
        leave_one_out: options.leave_one_out,
    };
    println!("{report}");
    if let Some(path) = &options.write {
        report.write_into(path)?;
        println!("written into '{}'", path.display());
    }
    anyhow::ensure!(
        faults.is_empty(),
        "these clips could not be scored: {}; render them again",
        faults.join(", ")
    );
    Ok(())
}

/// Writes down what was judged of a clip, and what each pass alone would be told.
fn keep_passes(folder: &Path, name: &str, passes: &[JudgedPass]) -> anyhow::Result<()> {
    let of_push = |push: &JudgedPush| {
        let measures: serde_json::Map<String, serde_json::Value> = push
            .measures
            .iter()
            .map(|(rule, m)| {
                let measure = serde_json::json!({
                    "value": m.value,
                    "uncertainty": m.uncertainty,
                    "not_judged": m.not_judged,
                });
                (rule.code().to_owned(), measure)
            })
            .collect();
        serde_json::json!({
            "leg": push.leg,
            "toe_off_s": push.toe_off_s,
            "quality": push.quality,
            "measures": measures,
        })
    };
    let told: Vec<serde_json::Value> = passes
        .iter()
        .map(|pass| {
            let cue = CueSelector::new(FeedbackSettings::default()).after_pass(pass);
            let pushes: Vec<serde_json::Value> = pass.pushes.iter().map(of_push).collect();
            serde_json::json!({ "cue": cue, "pushes": pushes })
        })
        .collect();
    let text = serde_json::Value::from(told).to_string();
    let file = folder.join(format!("{name}.json"));
    std::fs::create_dir_all(folder)
        .and_then(|()| std::fs::write(&file, text))
        .with_context(|| {
            format!(
                "'{}' cannot be written; choose another folder with --passes",
                file.display()
            )
        })
}

fn folder_name(folder: &Path) -> String {
    folder
        .file_name()
        .map_or_else(String::new, |n| n.to_string_lossy().into_owned())
}

fn clip_folders(clips: &Path) -> anyhow::Result<Vec<PathBuf>> {
    let entries = std::fs::read_dir(clips).map_err(|e| {
        UsageError(format!(
            "the folder of clips '{}' cannot be read ({e}); name a folder made by tools/skater/render_set.py",
            clips.display()
        ))
    })?;
    let mut folders = Vec::new();
    for entry in entries {
        let folder = entry
            .context("the folder of clips cannot be read to its end")?
            .path();
        // A clip that is still being rendered has another ending.
        let unfinished = folder.extension().is_some_and(|e| e == "part");
        if !unfinished && folder.join("truth.json").is_file() {
            folders.push(folder);
        }
    }
    folders.sort();
    if folders.is_empty() {
        return Err(UsageError(format!(
            "'{}' holds no clips; each clip is a folder with clip.mp4 and truth.json",
            clips.display()
        ))
        .into());
    }
    Ok(folders)
}

/// Judges poses that a model has read as the station does, from the first frame
/// to the last.
pub fn judge_poses(
    frames: impl Iterator<Item = PoseFrame>,
    read_by: ModelKind,
    lane: &Lane,
    thresholds: &Thresholds,
) -> Vec<JudgedPass> {
    let mut tracker = Tracker::new(lane.clone(), TrackSettings::default());
    let mut passes = Vec::new();
    let mut take = |events: Vec<TrackEvent>| {
        for event in events {
            if let TrackEvent::PassEnded(pass) = event {
                let motion = PassMotion {
                    read_by,
                    ..cut(&pass, lane)
                };
                passes.push(judge(&motion, thresholds));
            }
        }
    };
    for frame in frames {
        take(tracker.push(&frame));
    }
    take(tracker.finish());
    passes
}

/// Scores one clip from its poses, judged as the age group of its skater.
pub fn score_clip(
    name: &str,
    truth: &Truth,
    read_by: ModelKind,
    frames: impl Iterator<Item = PoseFrame>,
) -> ClipScore {
    let thresholds = Thresholds::defaults(truth.age_group());
    let passes = judge_poses(frames, read_by, &truth.lane(), &thresholds);
    compare::compare(name, truth, &passes)
}
