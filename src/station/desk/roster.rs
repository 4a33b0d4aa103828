//! Skaters and the queue.

use std::path::Path;
use std::sync::Arc;

use super::super::lineup::Correction;
use super::{Desk, DeskError, Done, said};
use crate::coach::QueueStep;
use crate::config::write_atomically;
use crate::roster::{Consent, HEIGHT_M, Queue, Skater, SkaterId, export_csv, import_csv};
use crate::store::{Erased, PassKey};

/// No roster is larger, bytes; a wrong path might be.
const LARGEST_FILE: u64 = 2 << 20;

impl Desk {
    /// A skater of the roster.
    pub(super) fn skater(&mut self, id: SkaterId) -> Result<Skater, DeskError> {
        self.archive()?;
        self.view
            .roster
            .iter()
            .find(|s| s.id == id)
            .cloned()
            .ok_or_else(|| said("this skater is not on the roster any more"))
    }

    /// Reads the roster anew and tells the judging.
    pub(super) fn roster_changed(&mut self) -> Result<(), DeskError> {
        let Some(archive) = &self.archive else {
            return Ok(());
        };
        let roster = Arc::new(archive.skaters()?);
        self.control.lineup.set_roster(Arc::clone(&roster));
        self.view.roster = roster;
        Ok(())
    }

    pub(super) fn add_skater(&mut self, skater: Skater) -> Done {
        let skater = checked(skater)?;
        let id = self.archive()?.add_skater(&skater)?;
        self.roster_changed()?;
        // Who is new skates last.
        self.control.lineup.queue(|q| {
            let mut order = q.order().to_vec();
            order.push(id);
            q.set_order(order);
        });
        Ok(format!("{} is on the roster.", skater.label()))
    }

    pub(super) fn change_skater(&mut self, skater: Skater) -> Done {
        let skater = checked(skater)?;
        self.archive()?.change_skater(&skater)?;
        self.roster_changed()?;
        self.listed = None;
        Ok(format!("{} is changed.", skater.label()))
    }

    pub(super) fn set_consent(&mut self, id: SkaterId, consent: Option<Consent>) -> Done {
        if let Some(consent) = &consent
            && consent.given_by.trim().is_empty()
        {
            return Err(said("write down who gave the consent"));
        }
        let mut skater = self.skater(id)?;
        skater.consent = consent;
        self.archive()?.change_skater(&skater)?;
        self.roster_changed()?;
        self.listed = None;
        self.view.push = None;
        Ok(match skater.consent {
            Some(_) => format!("Pictures of {} may be kept.", skater.label()),
            None => format!(
                "The consent of {} is withdrawn and every picture is deleted.",
                skater.label()
            ),
        })
    }

    pub(super) fn delete_skater(&mut self, id: SkaterId) -> Done {
        let label = self.skater(id)?.label();
        let erased = self.archive()?.delete_skater(id)?;
        self.roster_changed()?;
        self.listed = None;
        self.view.push = None;
        self.view.progress = None;
        Ok(erased_sentence(&label, &erased))
    }

    pub(super) fn import_roster(&mut self, path: &Path) -> Done {
        let bytes = read_small(path)?;
        self.archive()?;
        let plan = import_csv(&bytes, &self.view.roster).map_err(|e| said(e.to_string()))?;
        let ids = self.archive()?.write_roster(&plan.new, &plan.changed)?;
        self.roster_changed()?;
        self.control.lineup.queue(|q| {
            let mut order = q.order().to_vec();
            order.extend(&ids);
            q.set_order(order);
        });
        let mut sentence = format!(
            "{} new, {} changed, {} as they were.",
            plan.new.len(),
            plan.changed.len(),
            plan.unchanged
        );
        for note in &plan.notes {
            sentence += &format!(" Note: {note}.");
        }
        Ok(sentence)
    }

    pub(super) fn export_roster(&mut self, path: &Path) -> Done {
        self.archive()?;
        write_roster_file(path, &self.view.roster)?;
        Ok(format!(
            "The roster is written to {}. It holds names: keep it safe.",
            path.display()
        ))
    }

    pub(super) fn set_queue(&mut self, order: Vec<SkaterId>) -> Done {
        self.archive()?;
        let known: Vec<SkaterId> = order
            .into_iter()
            .filter(|id| self.view.roster.iter().any(|s| s.id == *id))
            .collect();
        let n = known.len();
        self.control.lineup.queue(|q| q.set_order(known));
        Ok(format!("{n} in the queue."))
    }

    pub(super) fn step(&mut self, step: QueueStep) -> Done {
        if let QueueStep::To(id) = step {
            self.skater(id)?;
        }
        let changed = self.control.lineup.queue(|q| {
            match step {
                QueueStep::Skip => q.skip(),
                QueueStep::Swap => q.swap_with_next(),
                QueueStep::Back => q.back(),
                QueueStep::Unknown => q.unknown(),
                QueueStep::To(id) => q.set_current(id),
                QueueStep::Undo => return q.undo(),
            }
            true
        });
        if !changed {
            return Err(said("there is no step to take back"));
        }
        let next = self.control.lineup.queue(|q: &mut Queue| q.current());
        let label = next.and_then(|id| self.view.roster.iter().find(|s| s.id == id));
        Ok(match label {
            Some(skater) => format!("Next: {}.", skater.label()),
            None => "Next: nobody known.".to_owned(),
        })
    }

    pub(super) fn set_skater_of_pass(&mut self, pass: PassKey, skater: Option<SkaterId>) -> Done {
        let label = match skater {
            Some(id) => self.skater(id)?.label(),
            None => "nobody known".to_owned(),
        };
        self.archive()?.set_skater_of_pass(pass, skater)?;
        // Only passes of the running session are in the choice of cues.
        if self.recording_session() == Some(pass.session) {
            let last = self.control.seen().last.as_ref().map(|c| c.pass_number);
            self.control.lineup.correct(
                Correction {
                    number: pass.number,
                    skater,
                },
                last == Some(pass.number),
            );
        }
        self.listed = None;
        Ok(format!("Pass {} is of {label}.", pass.number))
    }
}

/// What the deletion of a skater came to, for the person who has to go on.
pub(crate) fn erased_sentence(label: &str, erased: &Erased) -> String {
    let mut sentence = format!(
        "{label} is deleted with {} passes and {} sets of pictures.",
        erased.passes, erased.strips
    );
    if !erased.old_files.is_empty() {
        sentence += &format!(
            " {} old copies of the sessions file were deleted too.",
            erased.old_files.len()
        );
    }
    if erased.rewrite_put_off {
        sentence += " The sessions file is built anew at the next start.";
    }
    for folder in &erased.kept_aside {
        sentence += &format!(
            " A folder from before a restore may still hold this skater: delete {}.",
            folder.display()
        );
    }
    for note in &erased.exports {
        sentence += &format!(
            " An export of {} may still hold this skater: delete it at {}.",
            note.made_at.split('T').next().unwrap_or_default(),
            note.place
        );
    }
    sentence
}

/// A skater as it may be stored.
fn checked(mut skater: Skater) -> Result<Skater, DeskError> {
    skater.name = skater.name.trim().to_owned();
    skater.bib = skater
        .bib
        .map(|b| b.trim().to_owned())
        .filter(|b| !b.is_empty());
    if skater.name.is_empty() {
        return Err(said("a skater needs a name, a nickname or a number"));
    }
    if skater.height_m.is_some_and(|h| !HEIGHT_M.contains(&h)) {
        return Err(said("the height must be between 80 and 220 cm"));
    }
    Ok(skater)
}

/// The bytes of a file a person named, with a bound.
pub(crate) fn read_small(path: &Path) -> Result<Vec<u8>, DeskError> {
    let fault = |why: String| said(format!("{} cannot be read ({why})", path.display()));
    let meta = std::fs::metadata(path).map_err(|e| fault(e.to_string()))?;
    if !meta.is_file() || meta.len() > LARGEST_FILE {
        return Err(fault("it is no roster file".to_owned()));
    }
    std::fs::read(path).map_err(|e| fault(e.to_string()))
}

/// Writes a roster file only its owner can read; tabs where it is named
/// `.tsv`, else semicolons, which spreadsheets of many languages want, with
/// the mark by which they know UTF-8.
pub(crate) fn write_roster_file(path: &Path, skaters: &[Skater]) -> Result<(), DeskError> {
    let separator = match path.extension().and_then(|e| e.to_str()) {
        Some("tsv") => '\t',
        _ => ';',
    };
    let text = format!("\u{FEFF}{}", export_csv(skaters, separator));
    write_atomically(path, text.as_bytes(), 0o600)
        .map_err(|e| said(format!("{} cannot be written ({e})", path.display())))
}
