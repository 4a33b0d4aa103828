//! What a review has done so far, on the disk: an end in the middle costs
//! nothing but the last pass, and the same command goes on from there.
//!
//! `session.part/` in the folder of the results holds a sessions file with the
//! passes as they were judged, and `progress.json`: which video with which
//! settings, how many of its frames are done, and how many passes those gave.

use std::path::{Path, PathBuf};

use anyhow::Context;
use serde::{Deserialize, Serialize};

use crate::config::write_atomically;
use crate::feedback::Cue;
use crate::rules::JudgedPass;
use crate::store::{SessionId, SessionInfo, Store};

const FOLDER: &str = "session.part";
const PROGRESS: &str = "progress.json";

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Done {
    /// What is reviewed, and with what: see [`Part::open`].
    of: String,
    session: i64,
    frames: u64,
    passes: usize,
}

/// An unfinished review.
pub(super) struct Part {
    folder: PathBuf,
    store: Store,
    session: SessionId,
    of: String,
    passes: usize,
    /// Frames that need not be judged again.
    pub(super) frames: u64,
}

impl Part {
    /// Opens the unfinished review in `out`, or begins one. `of` names the
    /// video and all settings that a result depends on: a part of another
    /// review is of no use and is let go. Gives the passes that are there.
    ///
    /// # Errors
    /// The folder cannot be written to.
    pub(super) fn open(
        out: &Path,
        of: String,
        info: &SessionInfo,
    ) -> anyhow::Result<(Part, Vec<(JudgedPass, Cue)>)> {
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
        let mut frames = 0;
        let mut passes = Vec::new();
        if let Some(done) = done
            && store.set_aside().is_none()
            && let Ok(before) = store.load_session(done.session)
            && before.damaged.is_empty()
            && before.passes.len() >= done.passes
        {
            frames = done.frames;
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
            frames,
        };
        part.note(frames)?;
        Ok((part, passes))
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

    /// Nobody is in the lane after so many frames: a review may go on here.
    ///
    /// # Errors
    /// The disk does not take it.
    pub(super) fn quiet(&mut self, frames: u64) -> anyhow::Result<()> {
        self.note(frames)?;
        self.frames = frames;
        Ok(())
    }

    fn note(&self, frames: u64) -> anyhow::Result<()> {
        let done = Done {
            of: self.of.clone(),
            session: self.session.number(),
            frames,
            passes: self.passes,
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
        let (mut part, before) = open("a.mp4");
        assert_eq!((part.frames, before.len()), (0, 0));
        for n in 1..=2 {
            part.keep(&pass(n).0, &pass(n).1).unwrap();
        }
        part.quiet(300).unwrap();
        part.keep(&pass(3).0, &pass(3).1).unwrap();
        drop(part);

        for _ in 0..2 {
            let (part, before) = open("a.mp4");
            assert_eq!(part.frames, 300);
            let ends: Vec<f64> = before.iter().map(|(p, _)| p.ended_at_s).collect();
            assert_eq!(ends, [1.0 / 3.0, 2.0 / 3.0]);
        }
        // With another pass of that number this time.
        let (mut part, _) = open("a.mp4");
        part.keep(
            &pass(5).0,
            &Cue {
                pass_number: 3,
                ..pass(5).1
            },
        )
        .unwrap();
        part.quiet(500).unwrap();
        drop(part);
        assert_eq!(open("a.mp4").1.len(), 3);

        // Another video or other limits: from the beginning.
        assert_eq!(open("b.mp4").0.frames, 0);
        let (part, before) = open("a.mp4");
        assert_eq!((part.frames, before.len()), (0, 0));
        part.finish().unwrap();
        assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 0);
    }
}
