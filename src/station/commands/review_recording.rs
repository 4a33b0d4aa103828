//! One recording, judged: what was seen of its stretches put together in order of time.

use std::path::Path;
use std::sync::atomic::Ordering;

use super::nothing_judged::Looked;
use super::review::{
    Desk, Recording, ReviewOptions, Reviewed, judging_of, make_folder, may_write, name_of,
    source_record, usage_or_failure,
};
use super::review_out::{Bar, Output};
use super::review_part::{Part, Progress};
use super::stretches::{self, EVERY_S, Ended, Eyes, Listener, Material, Plan, Step};
use crate::capture::{self, CaptureError, SourceKind, SourceSpec};
use crate::standing::{Standing, StandingWatch};
use crate::station::session::pass_judge::PassJudge;
use crate::station::vision::tracking::Vision;
use crate::station::words;
use crate::store::{SessionFile, SessionInfo};

/// The most workers at one recording: each takes some 150 MB for its models and what it has
/// seen and nobody has asked for yet.
const MOST_WORKERS: usize = 16;
/// More cores than this are of no use to one worker.
const MOST_CORES: usize = 3;

/// Judges one recording on so many cores. Passes and progress are told where there is
/// an output. What comes of it does not depend on the number of cores.
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
    let (source, parts) = capture::open_in_parts(&spec).map_err(usage_or_failure)?;
    let source_info = source.info().clone();
    let record = source_record(&source_info);
    let (judging, check) = judging_of(options, desk, recording, [record.width, record.height])?;
    let lane = judging.lane.clone();
    // Before anything that takes long.
    let path = recording.out.join("session.json");
    make_folder(&recording.out)?;
    may_write(&path, &record, options.replace)?;

    let material = match parts.map(Plan::new).filter(|plan| plan.places() > 1) {
        Some(plan) => Material::Parts(plan),
        None if source_info.kind == SourceKind::Camera => Material::Whole(source),
        None => {
            let ahead = capture::read_ahead(source, recording.file.clone());
            Material::Whole(ahead.map_err(usage_or_failure)?)
        }
    };
    let places = match &material {
        Material::Parts(plan) => plan.places(),
        Material::Whole(_) => 1,
    };
    let workers = match &material {
        Material::Parts(plan) if cores > 1 && plan.can_be_cut() => cores.min(places),
        Material::Parts(_) | Material::Whole(_) => 1,
    };
    let workers = workers.clamp(1, MOST_WORKERS);
    tracing::info!(
        workers,
        places,
        "a recording with {places} places to be cut at is seen by {workers} at a time"
    );
    let (model, engine) = (options.model, options.engine);
    let eyes = || {
        // No core is asked to do two things at once: threads that wait for one another take
        // more time from it than they give.
        let each = (cores / workers).clamp(1, MOST_CORES);
        let (lane, track) = (&judging.lane, judging.track);
        Ok(Eyes {
            vision: Vision::for_recordings(&desk.home, model, engine, lane, track, each)?,
            lane: lane.clone(),
            track,
        })
    };
    let first = eyes()?;
    let engine = first.vision.engine_record(model);
    let info = SessionInfo {
        source: record.clone(),
        lane: lane.clone(),
        engine: engine.clone(),
        age_group: options.age_group,
        started: jiff::Zoned::now(),
    };
    let name = name_of(&recording.file, &judging);
    let of = format!("{name} {engine:?}, cut every {EVERY_S} s");
    let (part, before, mut progress) = Part::open(&recording.out, of, &info)?;
    let watch = progress.watch.take().map(StandingWatch::from);
    let mut work = Work {
        session: SessionFile::new(record, lane, engine, &judging.thresholds, None),
        part,
        judge: PassJudge::new(judging.clone()),
        watch: watch.unwrap_or_else(|| StandingWatch::new(judging.lane.hfov_deg, None)),
        looked: Looked::default(),
        told: out.map(|out| Told {
            bar: Bar::new(source_info.frame_count),
            out,
        }),
        desk,
        damage: None,
        progress,
    };
    for (pass, cue) in &before {
        // The choice of cues depends on what was said before.
        work.judge.remember(pass);
        work.looked.pass(pass);
        work.session
            .add_pass(pass, cue, &words::cue_sentence(cue))?;
    }
    work.looked
        .frames(work.progress.frames, work.progress.span_s);
    if let (Some(told), true) = (&work.told, work.progress.frames > 0) {
        let done = format!(
            "goes on after {} frames with {}",
            work.progress.frames,
            words::passes(before.len())
        );
        told.bar.say(&done);
    }
    let from = work.progress.place;
    let whole = stretches::tell(first, material, from, workers, &eyes, &mut work)?;
    work.told.iter().for_each(|told| told.bar.end());
    if !whole {
        return Err(stopped(&recording.out, work.session.passes.len()));
    }
    let Work {
        mut session,
        part,
        looked,
        progress,
        damage,
        ..
    } = work;
    session.source.frames = Some(progress.frames);
    session.write(&path)?;
    part.finish()?;
    let nothing = looked.nothing(
        progress.tally,
        progress.counters,
        (&judging.lane, judging.track.min_pass_speed_mps),
        &source_info,
    );
    let damage = damage.or_else(|| {
        progress.damage.map(|detail| CaptureError::Damaged {
            path: recording.file.clone(),
            delivered: progress.frames,
            detail,
        })
    });
    Ok(Reviewed {
        name: source_info.name,
        session,
        frames: progress.frames,
        path,
        of: name,
        check,
        moved_at_s: progress.moved_at_s,
        damage: damage.map(usage_or_failure),
        nothing,
    })
}

/// Where passes and progress are told.
struct Told<'o> {
    bar: Bar,
    out: &'o mut Output,
}

/// A review on its way.
struct Work<'o> {
    session: SessionFile,
    part: Part,
    judge: PassJudge,
    watch: StandingWatch,
    looked: Looked,
    told: Option<Told<'o>>,
    desk: &'o Desk,
    /// What ended the recording before its end.
    damage: Option<CaptureError>,
    /// Where the last stretch that was told has ended; of the one that is being told only when
    /// the camera was seen to have been moved, and what was damaged.
    progress: Progress,
}

impl Listener for Work<'_> {
    fn looked_at(&mut self, frames: u64) -> bool {
        if let Some(told) = &mut self.told {
            let frames = self.progress.frames + frames;
            told.bar.show(frames, self.session.passes.len());
        }
        !self.desk.stop.load(Ordering::Relaxed)
    }

    fn step(&mut self, step: Step) -> anyhow::Result<()> {
        match step {
            Step::Glance(glance) => {
                let at_s = glance.at_s();
                self.watch.take(*glance);
                if self.watch.standing() == Standing::Moved {
                    self.progress.moved_at_s.get_or_insert(at_s);
                }
            }
            Step::Pass(mut pass, read_by) => {
                // A number is given once in a recording.
                pass.track_id += self.progress.tracks;
                let moved = self.watch.is_doubtful_since(pass.started_at_s());
                let measured = self.judge.measure(*pass, read_by, None);
                let measured = measured.of_moved_camera(moved);
                let done = self.judge.finish(measured);
                self.looked.pass(&done.pass);
                self.part.keep(&done.pass, &done.cue)?;
                self.session
                    .add_pass(&done.pass, &done.cue, &words::cue_sentence(&done.cue))?;
                if let Some(Told { bar, out }) = &mut self.told {
                    let table = words::pass_table(&done.pass, &done.cue) + "\n";
                    bar.beside(|| out.print(&table));
                }
            }
            Step::Ended(ended) => self.ended(*ended)?,
        }
        Ok(())
    }
}

impl Work<'_> {
    fn ended(&mut self, ended: Ended) -> anyhow::Result<()> {
        self.looked.frames(ended.frames, ended.span_s);
        let progress = &mut self.progress;
        progress.frames += ended.frames;
        progress.span_s = self.looked.span_s();
        progress.tracks += ended.tracks;
        progress.tally = progress.tally.and(ended.tally);
        progress.counters = progress.counters.and(ended.counters);
        match ended.damage {
            Some(CaptureError::Damaged { detail, .. }) => {
                progress.damage.get_or_insert(detail);
            }
            Some(other) => self.damage = Some(other),
            None => {}
        }
        if let Some(next) = ended.next {
            progress.place = next;
            let kept = Progress {
                watch: Some(self.watch.keep()),
                ..progress.clone()
            };
            self.part.quiet(&kept)?;
        }
        Ok(())
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
