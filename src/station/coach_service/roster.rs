//! Skaters and the queue.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::{Done, Service, ServiceError, said};
use crate::config::write_atomically;
use crate::export::settle_deletions;
use crate::panel::{Command, Message, PanelWords, Question, QueueStep, Who, WouldDelete};
use crate::roster::{HEIGHT_M, Skater, SkaterId, export_csv, import_csv};
use crate::store::{Archive, DatasetNote, Erased, MentionsGo, PassKey};

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
        self.view.roster = Arc::clone(&roster);
        let roster = self.without_withdrawn(roster);
        self.settings.change(|now| now.roster = Arc::clone(&roster));
        self.session.settings_changed()?;
        Ok(())
    }

    /// Adds a skater. Whoever is new stands in no order until the coach puts
    /// them there: nobody's passes change hands.
    pub(super) fn add_skater(&mut self, skater: Skater) -> Done {
        let skater = checked(skater)?;
        self.archive()?.add_skater(&skater)?;
        self.roster_changed()?;
        Ok(Message::SkaterAdded {
            who: Who::is(skater.label()),
        })
    }

    pub(super) fn change_skater(&mut self, skater: Skater) -> Done {
        let mut skater = checked(skater)?;
        // What was typed began before; consent has a command of its own.
        skater.consent = self.skater(skater.id)?.consent;
        self.archive()?.change_skater(&skater)?;
        self.roster_changed()?;
        self.listed = None;
        Ok(Message::SkaterChanged {
            who: Who::is(skater.label()),
        })
    }

    pub(super) fn preview_delete(&mut self, id: SkaterId) -> Done {
        let who = Who::is(self.skater(id)?.label());
        let archive = self.archive()?;
        let would = archive.would_erase(id)?;
        let exports = archive.exports()?;
        let exports = exports.iter().filter(|e| e.skaters.contains(&id)).count() as u32;
        let (passes, strips) = (would.passes, would.strips);
        self.view.would_delete = Some(WouldDelete {
            skater: id,
            passes,
            strips,
            comments: would.mentions,
            exports,
        });
        Ok(Message::DeleteCounted {
            who,
            passes,
            strips,
        })
    }

    pub(super) fn delete_skater(&mut self, id: SkaterId) -> Done {
        let label = self.skater(id)?.label();
        let erased = self.archive()?.delete_skater(id)?;
        if self.withdrawing.is_some_and(|(of, _)| of == id) {
            self.withdrawing = None;
        }
        self.roster_changed()?;
        self.listed = None;
        self.view.push = None;
        self.view.progress = None;
        self.view.would_delete = None;
        self.view.given_away = None;
        let mut said = erased_saying(&label, &erased);
        if let Message::SkaterDeleted { more, .. } = &mut said {
            more.extend(self.delete_in_datasets()?);
        }
        Ok(said)
    }

    /// Deletes in the datasets as well, on a thread of its own: their disks may be slow
    /// or hang. What cannot be deleted now goes when sessions are next added.
    fn delete_in_datasets(&mut self) -> Result<Vec<Message>, ServiceError> {
        let archive = self.archive()?;
        let mut told = Vec::new();
        for DatasetNote { id, place } in archive.datasets()? {
            if !archive.owed_to_dataset(&id)?.is_empty() {
                told.push(Message::DeletedDataset { place });
            }
        }
        if !told.is_empty() {
            let folder = self.folder.clone();
            let work = move || match Archive::open(&folder).and_then(|a| settle_deletions(&a)) {
                Ok(settled) => tracing::info!(?settled, "deleted in datasets"),
                Err(error) => tracing::warn!(%error, "not deleted in datasets yet"),
            };
            let thread = std::thread::Builder::new().name("datasets".into());
            if let Err(error) = thread.spawn(work) {
                tracing::warn!(%error, "not deleted in datasets yet");
            }
        }
        Ok(told)
    }

    pub(super) fn import_roster(&mut self, path: &Path, sure: bool) -> Done {
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
        if !plan.changed.is_empty() && !sure {
            let names: Vec<String> = plan.changed.iter().map(Skater::label).collect();
            let sentence = Message::RosterChanges {
                new: plan.new.len(),
                changed: plan.changed.len(),
                names: names.join(", "),
            };
            let path = path.to_owned();
            let then = Command::ImportRoster { path, sure: true };
            return self.ask(sentence, Message::TakeRoster {}, then);
        }
        self.view.question = None;
        self.archive()?.write_roster(&plan.new, &plan.changed)?;
        self.roster_changed()?;
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

    pub(super) fn export_roster(&mut self, path: &Path, sure: bool) -> Done {
        self.archive()?;
        if path.exists() && !sure {
            return self.ask_to_replace(path, |path| Command::ExportRoster { path, sure: true });
        }
        self.view.question = None;
        write_roster_file(path, &self.view.roster)?;
        Ok(Message::RosterWritten {
            file: path.to_owned(),
        })
    }

    /// Asks before a file that is there is replaced.
    pub(super) fn ask_to_replace(
        &mut self,
        path: &Path,
        then: impl FnOnce(PathBuf) -> Command,
    ) -> Done {
        let file = path.to_owned();
        let then = then(file.clone());
        self.ask(Message::FileThere { file }, Message::ReplaceIt {}, then)
    }

    fn ask(&mut self, sentence: Message, yes: Message, then: Command) -> Done {
        self.view.question = Some(Question {
            sentence: sentence.say(&self.words),
            yes: yes.say(&self.words),
            then: Box::new(then),
        });
        Ok(Message::Asked {})
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
        let before = self.skater_of_pass(pass);
        let who = self.give_pass(pass, skater)?;
        self.view.given_away = before.filter(|b| *b != skater).map(|b| (pass, b));
        Ok(Message::PassIsOf {
            n: pass.number,
            who,
        })
    }

    pub(super) fn undo_skater_of_pass(&mut self) -> Done {
        let given = self.view.given_away.take();
        let (pass, before) = given.ok_or_else(|| said(Message::NoPassUndo {}))?;
        let who = self.give_pass(pass, before)?;
        Ok(Message::PassIsOfAgain {
            n: pass.number,
            who,
        })
    }

    /// Who a listed pass is of; the outer `None` where it is not listed.
    fn skater_of_pass(&self, pass: PassKey) -> Option<Option<SkaterId>> {
        let row = self.view.passes.iter().find(|p| p.key == pass);
        row.map(|p| p.skater).or(self.view.queue.last)
    }

    fn give_pass(&mut self, pass: PassKey, skater: Option<SkaterId>) -> Result<Who, ServiceError> {
        let label = skater.map(|id| self.skater(id)).transpose()?;
        self.archive()?.set_skater_of_pass(pass, skater)?;
        // Only passes of this run are in the choice of cues.
        let seen = self.session.view();
        let announced = seen.recording.as_ref().and_then(|r| r.announced_as(pass));
        if let Some(number) = announced {
            self.session.correct(number, skater)?;
        }
        self.listed = None;
        Ok(Who(label.map(|s| s.label())))
    }
}

/// What the deletion of a skater came to, in English.
pub(crate) fn erased_sentence(label: &str, erased: &Erased) -> String {
    erased_saying(label, erased).say(&PanelWords::english())
}

/// The same for the person who has to go on.
fn erased_saying(label: &str, erased: &Erased) -> Message {
    let mut more = Vec::new();
    let n = erased.mentions;
    if n > 0 {
        more.push(match erased.mentions_go {
            MentionsGo::Strike => Message::DeletedMentions { n },
            MentionsGo::Delete => Message::DeletedComments { n },
            MentionsGo::Keep => Message::KeptMentions { n },
        });
    }
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
