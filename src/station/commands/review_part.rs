//! What a review has done so far, on the disk: an end in the middle costs
//! nothing but the last pass, and the same command goes on from there.
//!
//! `session.part/` in the folder of the results holds a sessions file with the
//! passes as they were judged, and `progress.json`: which video with which
//! settings, up to which place it is done, how many passes that gave, and what
//! goes on from there ([`Progress`]).

use std::path::{Path, PathBuf};

use anyhow::Context;
use serde::{Deserialize, Serialize};

use crate::config::write_atomically;
use crate::feedback::Cue;
use crate::pose::PoseCounters;
use crate::rules::JudgedPass;
use crate::standing::KeptWatch;
use crate::store::{SessionId, SessionInfo, Store};
use crate::track::Tally;

const FOLDER: &str = "session.part";
const PROGRESS: &str = "progress.json";

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Done {
    /// What is reviewed, and with what: see [`Part::open`].
    of: String,
    session: i64,
    passes: usize,
    progress: Progress,
}

/// What is known at a place where nobody skates, besides the passes.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Progress {
    /// The place from which on a recording is still to be told.
    pub(super) place: usize,
    /// Pictures before it.
    pub(super) frames: u64,
    /// Times of the first and the last of them, seconds.
    pub(super) span_s: Option<[f64; 2]>,
    /// Numbers that were given to tracks.
    pub(super) tracks: u32,
    pub(super) tally: Tally,
    pub(super) counters: PoseCounters,
    /// The watch of where the camera stands.
    pub(super) watch: Option<KeptWatch>,
    /// When it was seen that the camera had been moved, seconds.
    pub(super) moved_at_s: Option<f64>,
    /// What was damaged first.
    pub(super) damage: Option<String>,
}

/// A pass and what was said of it.
pub(super) type Judged = (JudgedPass, Cue);

/// An unfinished review.
pub(super) struct Part {
    folder: PathBuf,
    store: Store,
    session: SessionId,
    of: String,
    passes: usize,
}

impl Part {
    /// Opens the unfinished review in `out`, or begins one. `of` names the
    /// video and all settings that a result depends on: a part of another
    /// review is of no use and is let go. Gives the passes that are there, and
    /// what is known after them.
    ///
    /// # Errors
    /// The folder cannot be written to.
    pub(super) fn open(
        out: &Path,
        of: String,
        info: &SessionInfo,
    ) -> anyhow::Result<(Part, Vec<Judged>, Progress)> {
        let folder = out.join(FOLDER);
        let done = std::fs::read(folder.join(PROGRESS))
            .ok()
            .and_then(|bytes| serde_json::from_slice::<Done>(&bytes).ok())
            .filter(|done| done.of == of);
        if done.is_none() && folder.exists() {
            remove(&folder)?;
        }
        let mut store = Store::open(&folder)
            .with_context(|| format!("results cannot be written to '{}'", out.display()))?;
        let mut progress = Progress::default();
        let mut passes = Vec::new();
        if let Some(done) = done
            && store.set_aside().is_none()
            && let Ok(before) = store.load_session(done.session)
            && before.damaged.is_empty()
            && before.passes.len() >= done.passes
        {
            progress = done.progress;
            // Passes after the last quiet moment are judged once more.
            let kept = before.passes.into_iter().take(done.passes);
            passes = kept.map(|p| (p.pass, p.cue)).collect();
        }
        let session = store.begin_session(info)?;
        for pass in &passes {
            store.write_pass(&session, &pass.clone().into())?;
        }
        let part = Part {
            folder,
            store,
            session,
            of,
            passes: passes.len(),
        };
        part.quiet(&progress)?;
        Ok((part, passes, progress))
    }

    /// Keeps a pass.
    ///
    /// # Errors
    /// The disk does not take it.
    pub(super) fn keep(&mut self, pass: &JudgedPass, cue: &Cue) -> anyhow::Result<()> {
        self.store
            .write_pass(&self.session, &(pass.clone(), cue.clone()).into())?;
        self.passes += 1;
        Ok(())
    }

    /// Nobody skates at the place that the review has come to: it may go on here.
    ///
    /// # Errors
    /// The disk does not take it.
    pub(super) fn quiet(&self, progress: &Progress) -> anyhow::Result<()> {
        let done = Done {
            of: self.of.clone(),
            session: self.session.number(),
            passes: self.passes,
            progress: progress.clone(),
        };
        let path = self.folder.join(PROGRESS);
        write_atomically(&path, &serde_json::to_vec(&done)?, 0o600)
            .with_context(|| format!("'{}' cannot be written", path.display()))
    }

    /// The result is written: the part goes.
    ///
    /// # Errors
    /// It cannot be deleted.
    pub(super) fn finish(self) -> anyhow::Result<()> {
        let folder = self.folder.clone();
        drop(self);
        remove(&folder)
    }
}

fn remove(folder: &Path) -> anyhow::Result<()> {
    std::fs::remove_dir_all(folder).with_context(|| {
        format!(
            "'{}' cannot be deleted; delete it by hand",
            folder.display()
        )
    })
}

// What the samples name.
#[cfg(test)]
use crate::store::{EngineInfo, SourceInfo, SourceKind};
#[cfg(test)]
#[path = "../../../crates/store/src/samples.rs"]
mod samples;

#[cfg(test)]
mod tests {
    use super::*;

    /// A pass whose times are no round numbers.
    fn pass(number: u32) -> (JudgedPass, Cue) {
        let (bare, cue) = samples::pass(number);
        let pass = JudgedPass {
            started_at_s: 0.25,
            ended_at_s: f64::from(number) / 3.0,
            ..bare
        };
        (pass, cue)
    }

    #[test]
    fn a_review_that_was_cut_off_goes_on_after_its_last_quiet_moment() {
        let dir = tempfile::tempdir().unwrap();
        let open = |of: &str| Part::open(dir.path(), of.to_owned(), &samples::session()).unwrap();
        let at = |place: usize| Progress {
            place,
            frames: 300 * place as u64,
            tracks: 7,
            ..Progress::default()
        };
        let (mut part, before, progress) = open("a.mp4");
        assert_eq!((before.len(), progress), (0, Progress::default()));
        for n in 1..=2 {
            part.keep(&pass(n).0, &pass(n).1).unwrap();
        }
        part.quiet(&at(1)).unwrap();
        part.keep(&pass(3).0, &pass(3).1).unwrap();
        drop(part);

        for _ in 0..2 {
            let (_, before, progress) = open("a.mp4");
            assert_eq!(progress, at(1));
            let ends: Vec<f64> = before.iter().map(|(p, _)| p.ended_at_s).collect();
            assert_eq!(ends, [1.0 / 3.0, 2.0 / 3.0]);
        }
        // With another pass of that number this time.
        let (mut part, ..) = open("a.mp4");
        part.keep(
            &pass(5).0,
            &Cue {
                pass_number: 3,
                ..pass(5).1
            },
        )
        .unwrap();
        part.quiet(&at(2)).unwrap();
        drop(part);
        assert_eq!(open("a.mp4").1.len(), 3);

        // Another video or other limits: from the beginning.
        assert_eq!(open("b.mp4").2, Progress::default());
        let (part, before, progress) = open("a.mp4");
        assert_eq!((before.len(), progress.place), (0, 0));
        part.finish().unwrap();
        assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 0);
    }
}
