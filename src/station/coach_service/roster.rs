//! Skaters and the queue.

use std::path::Path;
use std::sync::Arc;

use super::{Done, Service, ServiceError, said};
use crate::config::write_atomically;
use crate::panel::{Message, PanelWords, QueueStep, Who};
use crate::roster::{Consent, HEIGHT_M, Skater, SkaterId, export_csv, import_csv};
use crate::store::{Erased, PassKey};

/// No roster is larger, bytes; a wrong path might be.
const LARGEST_FILE: u64 = 2 << 20;

impl Service {
    /// A skater of the roster.
    pub(super) fn skater(&mut self, id: SkaterId) -> Result<Skater, ServiceError> {
        self.archive()?;
        self.view
            .roster
            .iter()
            .find(|s| s.id == id)
            .cloned()
            .ok_or_else(|| said(Message::SkaterGone {}))
    }

    /// Reads the roster anew and tells the judging.
    pub(super) fn roster_changed(&mut self) -> Result<(), ServiceError> {
        let Some(archive) = &self.archive else {
            return Ok(());
        };
        let roster = Arc::new(archive.skaters()?);
        self.settings.change(|now| now.roster = Arc::clone(&roster));
        self.view.roster = roster;
        self.session.settings_changed()?;
        Ok(())
    }

    pub(super) fn add_skater(&mut self, skater: Skater) -> Done {
        let skater = checked(skater)?;
        let id = self.archive()?.add_skater(&skater)?;
        self.roster_changed()?;
        // Who is new skates last.
        self.session.queue(move |q| {
            let mut order = q.order().to_vec();
            order.push(id);
            q.set_order(order);
        })?;
        Ok(Message::SkaterAdded {
            who: Who::is(skater.label()),
        })
    }

    pub(super) fn change_skater(&mut self, skater: Skater) -> Done {
        let skater = checked(skater)?;
        self.archive()?.change_skater(&skater)?;
        self.roster_changed()?;
        self.listed = None;
        Ok(Message::SkaterChanged {
            who: Who::is(skater.label()),
        })
    }

    pub(super) fn set_consent(&mut self, id: SkaterId, consent: Option<Consent>) -> Done {
        if let Some(consent) = &consent
            && consent.given_by.trim().is_empty()
        {
            return Err(said(Message::ConsentBy {}));
        }
        let mut skater = self.skater(id)?;
        skater.consent = consent;
        self.archive()?.change_skater(&skater)?;
        self.roster_changed()?;
        self.listed = None;
        self.view.push = None;
        let who = Who::is(skater.label());
        Ok(match skater.consent {
            Some(_) => Message::ConsentGiven { who },
            None => Message::ConsentWithdrawn { who },
        })
    }

    pub(super) fn delete_skater(&mut self, id: SkaterId) -> Done {
        let label = self.skater(id)?.label();
        let erased = self.archive()?.delete_skater(id)?;
        self.roster_changed()?;
        self.listed = None;
        self.view.push = None;
        self.view.progress = None;
        Ok(erased_saying(&label, &erased))
    }

    pub(super) fn import_roster(&mut self, path: &Path) -> Done {
        let bytes = read_small(path)?;
        self.archive()?;
        let plan = import_csv(&bytes, &self.view.roster).map_err(|report| {
            let faults = report.faults.into_iter().map(|fault| match fault.line {
                Some(line) => Message::RosterLine {
                    line,
                    why: fault.reason,
                },
                None => Message::RosterFault { why: fault.reason },
            });
            said(Message::RosterFaults {
                faults: faults.collect(),
            })
        })?;
        let ids = self.archive()?.write_roster(&plan.new, &plan.changed)?;
        self.roster_changed()?;
        self.session.queue(move |q| {
            let mut order = q.order().to_vec();
            order.extend(&ids);
            q.set_order(order);
        })?;
        Ok(Message::RosterRead {
            new: plan.new.len(),
            changed: plan.changed.len(),
            same: plan.unchanged,
            notes: plan
                .notes
                .into_iter()
                .map(|note| Message::RosterNote { note })
                .collect(),
        })
    }

    pub(super) fn export_roster(&mut self, path: &Path) -> Done {
        self.archive()?;
        write_roster_file(path, &self.view.roster)?;
        Ok(Message::RosterWritten {
            file: path.to_owned(),
        })
    }

    pub(super) fn set_queue(&mut self, order: Vec<SkaterId>) -> Done {
        self.archive()?;
        let known: Vec<SkaterId> = order
            .into_iter()
            .filter(|id| self.view.roster.iter().any(|s| s.id == *id))
            .collect();
        let n = known.len();
        self.session.queue(move |q| q.set_order(known))?;
        Ok(Message::OrderSet { n })
    }

    pub(super) fn step(&mut self, step: QueueStep) -> Done {
        if let QueueStep::To(id) = step {
            self.skater(id)?;
        }
        let changed = self.session.queue(move |q| {
            match step {
                QueueStep::Skip => q.skip(),
                QueueStep::Swap => q.swap_with_next(),
                QueueStep::Back => q.back(),
                QueueStep::Unknown => q.unknown(),
                QueueStep::To(id) => q.set_current(id),
                QueueStep::Undo => return q.undo(),
            }
            true
        })?;
        if !changed {
            return Err(said(Message::NoQueueUndo {}));
        }
        let next = self.session.view().queue.current;
        let skater = next.and_then(|id| self.view.roster.iter().find(|s| s.id == id));
        Ok(Message::NextIs {
            who: Who(skater.map(Skater::label)),
        })
    }

    pub(super) fn set_skater_of_pass(&mut self, pass: PassKey, skater: Option<SkaterId>) -> Done {
        let label = skater.map(|id| self.skater(id)).transpose()?;
        self.archive()?.set_skater_of_pass(pass, skater)?;
        // Only passes of this run are in the choice of cues.
        let seen = self.session.view();
        let announced = seen.recording.as_ref().and_then(|r| r.announced_as(pass));
        if let Some(number) = announced {
            self.session.correct(number, skater)?;
        }
        self.listed = None;
        Ok(Message::PassIsOf {
            n: pass.number,
            who: Who(label.map(|s| s.label())),
        })
    }
}

/// What the deletion of a skater came to, in English.
pub(crate) fn erased_sentence(label: &str, erased: &Erased) -> String {
    erased_saying(label, erased).say(&PanelWords::english())
}

/// The same for the person who has to go on.
fn erased_saying(label: &str, erased: &Erased) -> Message {
    let mut more = Vec::new();
    if !erased.old_files.is_empty() {
        more.push(Message::DeletedCopies {
            n: erased.old_files.len(),
        });
    }
    if erased.rewrite_put_off {
        more.push(Message::DeletedLater {});
    }
    more.extend(
        erased
            .kept_aside
            .iter()
            .map(|folder| Message::DeletedAside {
                place: folder.clone(),
            }),
    );
    more.extend(erased.exports.iter().map(|note| {
        Message::DeletedExport {
            day: note
                .made_at
                .split('T')
                .next()
                .unwrap_or_default()
                .to_owned(),
            place: note.place.clone(),
        }
    }));
    Message::SkaterDeleted {
        who: Who::is(label),
        passes: erased.passes,
        strips: erased.strips,
        more,
    }
}

/// A skater as it may be stored.
fn checked(mut skater: Skater) -> Result<Skater, ServiceError> {
    skater.name = skater.name.trim().to_owned();
    skater.bib = skater
        .bib
        .map(|b| b.trim().to_owned())
        .filter(|b| !b.is_empty());
    if skater.name.is_empty() {
        return Err(said(Message::NoName {}));
    }
    if skater.height_m.is_some_and(|h| !HEIGHT_M.contains(&h)) {
        return Err(said(Message::HeightWrong {}));
    }
    Ok(skater)
}

/// The bytes of a file a person named, with a bound.
pub(crate) fn read_small(path: &Path) -> Result<Vec<u8>, ServiceError> {
    let fault = |e: std::io::Error| {
        said(Message::NotRead {
            file: path.to_owned(),
            why: e.to_string(),
        })
    };
    let meta = std::fs::metadata(path).map_err(fault)?;
    if !meta.is_file() || meta.len() > LARGEST_FILE {
        return Err(said(Message::NoRosterFile {
            file: path.to_owned(),
        }));
    }
    std::fs::read(path).map_err(fault)
}

/// Writes a roster file only its owner can read; tabs where it is named
/// `.tsv`, else semicolons, which spreadsheets of many languages want, with
/// the mark by which they know UTF-8.
pub(crate) fn write_roster_file(path: &Path, skaters: &[Skater]) -> Result<(), ServiceError> {
    let separator = match path.extension().and_then(|e| e.to_str()) {
        Some("tsv") => '\t',
        _ => ';',
    };
    let text = format!("\u{FEFF}{}", export_csv(skaters, separator));
    write_atomically(path, text.as_bytes(), 0o600).map_err(|e| {
        said(Message::NotWritten {
            file: path.to_owned(),
            why: e.to_string(),
        })
    })
}
