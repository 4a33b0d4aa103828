//! The roster in the sessions file, whose pass is whose, and how a skater is
//! deleted without a trace.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use rusqlite::{OptionalExtension, Row, Transaction, params};
use serde_json::{Map, Value};

use super::archive::Archive;
use super::codec::{limits_from_json, limits_to_json};
use super::mentions::{self, MentionsGo, without_name};
use super::schema::BEFORE_VERSION;
use super::{ExportNote, PassKey, StoreError, clips, lineup};
use crate::roster::{BandColour, Consent, Skater, SkaterId};
use crate::rules::{AgeGroup, Limits, RuleId};

/// Ending of a damaged file that was set aside, with the time.
pub(super) const DAMAGED: &str = ".damaged-";

/// Ending of a folder of recordings that a restore has put aside, with the
/// time.
pub const BEFORE_RESTORE: &str = ".before-restore-";

/// A file larger than this is built anew later, when it holds up nobody,
/// bytes: on a slow disk this is a few seconds.
const REWRITE_AT_ONCE: u64 = 128 << 20;

const COLUMNS: &str =
    "id, name, bib, band, age_group, height_m, consent_on, consent_by, overrides, focus";

/// What went with a skater.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Erased {
    /// Passes, with their pushes, measures, points and notes.
    pub passes: u32,
    /// Sets of pictures.
    pub strips: u32,
    /// Comments on other skaters' pushes in which a part of the name stood.
    pub mentions: u32,
    /// What was done with these.
    pub mentions_go: MentionsGo,
    /// Copies that left this folder and may still hold the skater: they have
    /// to be deleted by hand where they are.
    pub exports: Vec<ExportNote>,
    /// Copies made before migrations and damaged files set aside, which were
    /// deleted whole because nobody can tell what is in them.
    pub old_files: Vec<PathBuf>,
    /// Folders from before a restore, which may still hold the skater: they
    /// have to be deleted by hand.
    pub kept_aside: Vec<PathBuf>,
    /// Whether building the file anew was put off to the next quiet moment.
    /// What was deleted is written over all the same.
    pub rewrite_put_off: bool,
}

impl Archive {
    /// Every skater, by number and name as a person would sort them.
    pub fn skaters(&self) -> Result<Vec<Skater>, StoreError> {
        let fault = |e| self.book.fault(e);
        let mut statement = self
            .book
            .connection
            .prepare_cached(&format!(
                "SELECT {COLUMNS} FROM skaters
                 ORDER BY bib IS NULL, CAST(bib AS INTEGER), bib, name COLLATE NOCASE, id"
            ))
            .map_err(fault)?;
        let raw: Vec<RawSkater> = statement
            .query_map([], RawSkater::read)
            .and_then(Iterator::collect)
            .map_err(fault)?;
        raw.into_iter()
            .map(|raw| {
                raw.into_skater()
                    .ok_or_else(|| self.book.damaged("a skater is unreadable"))
            })
            .collect()
    }

    /// Adds a skater; the id given is not looked at, the new one is returned.
    pub fn add_skater(&self, skater: &Skater) -> Result<SkaterId, StoreError> {
        let mut ids = self.add_skaters(std::slice::from_ref(skater))?;
        ids.pop()
            .ok_or_else(|| StoreError::NotThere("the new skater".to_owned()))
    }

    /// Adds skaters, all of them or none.
    pub fn add_skaters(&self, skaters: &[Skater]) -> Result<Vec<SkaterId>, StoreError> {
        self.write_roster(skaters, &[])
    }

    /// Changes a skater. Where the consent is taken back every picture of the
    /// skater is deleted before this returns.
    pub fn change_skater(&self, skater: &Skater) -> Result<(), StoreError> {
        self.write_roster(&[], std::slice::from_ref(skater))
            .map(|_| ())
    }

    /// Adds and changes skaters, all of them or none; gives the ids of the
    /// new ones.
    pub fn write_roster(
        &self,
        new: &[Skater],
        changed: &[Skater],
    ) -> Result<Vec<SkaterId>, StoreError> {
        self.book.check_still_there()?;
        let today = jiff::Zoned::now().date();
        let known = self.skaters()?;
        for skater in new.iter().chain(changed) {
            // What is there already stays possible, whatever the clock says.
            let before = known.iter().find(|k| k.id == skater.id);
            if before.is_none_or(|k| k.consent != skater.consent) {
                given_by(skater, today)?;
            }
            readable(skater)?;
        }
        let fault = |e| self.book.fault(e);
        let transaction = self.book.writing()?;
        let mut ids = Vec::with_capacity(new.len());
        for skater in new {
            transaction
                .execute(
                    "INSERT INTO skaters (name, bib, band, age_group, height_m, consent_on,
                         consent_by, overrides, focus) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
                    rusqlite::params_from_iter(values_of(skater)),
                )
                .map_err(fault)?;
            ids.push(SkaterId(transaction.last_insert_rowid()));
        }
        let mut files = Vec::new();
        for skater in changed {
            let values = values_of(skater).into_iter().chain([skater.id.0.into()]);
            let n = transaction
                .execute(
                    "UPDATE skaters SET name = ?1, bib = ?2, band = ?3, age_group = ?4,
                         height_m = ?5, consent_on = ?6, consent_by = ?7, overrides = ?8,
                         focus = ?9
                     WHERE id = ?10",
                    rusqlite::params_from_iter(values),
                )
                .map_err(fault)?;
            if n == 0 {
                return Err(StoreError::NotThere(skater.label()));
            }
            if skater.consent.is_none() {
                files.extend(take_strips(&transaction, "p.skater_id", skater.id.0).map_err(fault)?);
            }
        }
        transaction.commit().map_err(fault)?;
        self.remove_files(&files)?;
        if !changed.is_empty() {
            // Old names and consents are not to stay in the log. While
            // another connection reads it cannot be cut; it is later.
            if let Err(error) = self.empty_log() {
                tracing::debug!(%error, "the log was not emptied");
            }
        }
        Ok(ids)
    }

    /// Says whose pass it was. Pictures that the new skater has not agreed to
    /// are deleted.
    pub fn set_skater_of_pass(
        &self,
        pass: PassKey,
        skater: Option<SkaterId>,
    ) -> Result<(), StoreError> {
        self.book.check_still_there()?;
        let fault = |e| self.book.fault(e);
        let transaction = self.book.writing()?;
        let row = self.pass_row(&transaction, pass)?;
        let consents = match skater {
            None => false,
            Some(id) => transaction
                .query_row(
                    "SELECT consent_on IS NOT NULL FROM skaters WHERE id = ?1",
                    [id.0],
                    |r| r.get(0),
                )
                .optional()
                .map_err(fault)?
                .ok_or_else(|| StoreError::NotThere("this skater".to_owned()))?,
        };
        transaction
            .execute(
                "UPDATE passes SET skater_id = ?2 WHERE id = ?1",
                params![row, skater.map(|s| s.0)],
            )
            .map_err(fault)?;
        let files = if consents {
            Vec::new()
        } else {
            take_strips(&transaction, "p.id", row).map_err(fault)?
        };
        transaction.commit().map_err(fault)?;
        self.remove_files(&files)
    }

    /// Deletes a skater and everything that is stored of them: passes,
    /// pushes, measures, points, notes, pictures, export notes, old copies of
    /// the file. When this returns no file of the folder holds a byte of it,
    /// but for [`Erased::rewrite_put_off`]. Copies elsewhere are listed.
    ///
    /// # Errors
    /// What could not be deleted; trying again goes on where it stopped.
    pub fn delete_skater(&self, id: SkaterId) -> Result<Erased, StoreError> {
        self.delete_skater_and(id, MentionsGo::Strike)
    }

    /// The same, and `go` says what is done with comments on others' pushes in
    /// which a part of the name stands ([`Archive::mentions_of`]).
    ///
    /// # Errors
    /// As [`Archive::delete_skater`].
    pub fn delete_skater_and(&self, id: SkaterId, go: MentionsGo) -> Result<Erased, StoreError> {
        self.book.check_still_there()?;
        let fault = |e| self.book.fault(e);
        let transaction = self.book.writing()?;
        let name = self.name_of(&transaction, id)?;
        let exports = self.exports_of(&transaction, id)?;
        let files = take_strips(&transaction, "p.skater_id", id.0).map_err(fault)?;
        let passes = transaction
            .execute("DELETE FROM passes WHERE skater_id = ?1", [id.0])
            .map_err(fault)?;
        let mentions = mentions::let_go(&transaction, id, &name, go).map_err(fault)?;
        // A note of an export that others are in too stays for them, unless
        // its words name this one.
        for note in &exports {
            let alone = note.skaters.iter().all(|s| *s == id);
            if alone || without_name(&format!("{} {}", note.place, note.what), &name).is_some() {
                transaction
                    .execute("DELETE FROM exports WHERE id = ?1", [note.id])
                    .map_err(fault)?;
            }
        }
        transaction
            .execute("DELETE FROM skaters WHERE id = ?1", [id.0])
            .map_err(fault)?;
        lineup::forget(&transaction, id).map_err(fault)?;
        let (old_files, rewrite_put_off) =
            self.end_deletion(transaction, &files, &[BEFORE_VERSION, DAMAGED])?;
        Ok(Erased {
            passes: passes as u32,
            strips: files.len() as u32,
            mentions,
            mentions_go: go,
            exports,
            old_files,
            kept_aside: self.kept_aside(),
            rewrite_put_off,
        })
    }

    /// The name of a skater who is there.
    pub(super) fn name_of(
        &self,
        transaction: &Transaction<'_>,
        id: SkaterId,
    ) -> Result<String, StoreError> {
        transaction
            .query_row("SELECT name FROM skaters WHERE id = ?1", [id.0], |r| {
                r.get(0)
            })
            .optional()
            .map_err(|e| self.book.fault(e))?
            .ok_or_else(|| StoreError::NotThere("this skater".to_owned()))
    }

    /// Folders beside this one that a restore has put aside.
    fn kept_aside(&self) -> Vec<PathBuf> {
        let folder = self.folder();
        let Some(name) = folder.file_name().and_then(|n| n.to_str()) else {
            return Vec::new();
        };
        let begin = format!("{name}{BEFORE_RESTORE}");
        let Some(entries) = folder.parent().and_then(|p| std::fs::read_dir(p).ok()) else {
            return Vec::new();
        };
        entries
            .filter_map(Result::ok)
            .filter(|e| {
                e.file_name()
                    .to_str()
                    .is_some_and(|n| n.starts_with(&begin))
            })
            .map(|e| e.path())
            .collect()
    }

    /// Ends a deletion of passes: what only they used goes with them, then the
    /// picture `files`, then the files beside the sessions whose names go on
    /// with one of `endings`, then every trace in the sessions file. Gives the
    /// files that lay beside it, and whether the last of these was put off.
    pub(super) fn end_deletion(
        &self,
        transaction: Transaction<'_>,
        files: &[String],
        endings: &[&str],
    ) -> Result<(Vec<PathBuf>, bool), StoreError> {
        let fault = |e| self.book.fault(e);
        transaction
            .execute_batch(
                "DELETE FROM threshold_sets
                     WHERE id NOT IN (SELECT threshold_set_id FROM passes);
                 INSERT OR IGNORE INTO chores VALUES ('rewrite');",
            )
            .map_err(fault)?;
        transaction.commit().map_err(fault)?;
        self.remove_files(files)?;
        let beside = self.beside(endings)?;
        beside.iter().try_for_each(|file| remove(file))?;
        let large = std::fs::metadata(&self.book.file).is_ok_and(|m| m.len() > REWRITE_AT_ONCE);
        let put_off = large || self.rewrite().is_err();
        if put_off {
            self.empty_log()?;
        }
        Ok((beside, put_off))
    }

    /// Deletes picture files whose rows are gone.
    pub(super) fn remove_files(&self, names: &[String]) -> Result<(), StoreError> {
        let mut first = Ok(());
        for name in names {
            first = first.and(clips::remove(self.folder(), name));
        }
        first
    }
}

pub(super) fn remove(file: &Path) -> Result<(), StoreError> {
    std::fs::remove_file(file).map_err(|e| StoreError::NotDeleted {
        file: file.to_owned(),
        why: e.to_string(),
    })
}

/// Takes the clips whose `column` has this value out of the table and gives
/// the names of their files.
pub(super) fn take_strips(
    transaction: &Transaction<'_>,
    column: &str,
    value: i64,
) -> rusqlite::Result<Vec<String>> {
    transaction
        .prepare(&format!(
            "DELETE FROM picture_strips WHERE id IN
               (SELECT s.id FROM picture_strips s JOIN passes p ON p.id = s.pass_id
                WHERE {column} = ?1)
             RETURNING file"
        ))?
        .query_map([value], |r| r.get(0))?
        .collect()
}

/// No door to the roster lets in what cannot be seen.
fn readable(skater: &Skater) -> Result<(), StoreError> {
    let texts = [Some(&skater.name), skater.bib.as_ref()];
    if texts.into_iter().flatten().any(|t| t.chars().any(hides)) {
        return Err(StoreError::NotAllowed(format!(
            "the name or number of '{}' has characters that are not seen or turn the direction of the text; write it without them",
            skater
                .label()
                .chars()
                .filter(|c| !hides(*c))
                .collect::<String>()
        )));
    }
    Ok(())
}

/// Nor a consent of a day still to come.
fn given_by(skater: &Skater, today: jiff::civil::Date) -> Result<(), StoreError> {
    match &skater.consent {
        Some(consent) if consent.given_on > today => Err(StoreError::NotAllowed(format!(
            "the consent for {} is dated {}, a day still to come; write the day it was given",
            skater.label(),
            consent.given_on
        ))),
        _ => Ok(()),
    }
}

/// Control characters, embeddings, overrides and isolates of direction (UAX
/// #9), and spaces without width. Joiners belong to some scripts.
fn hides(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}'
            | '\u{200b}' | '\u{2060}' | '\u{feff}')
}

fn values_of(skater: &Skater) -> [rusqlite::types::Value; 9] {
    let text = |t: &Option<String>| t.clone().into();
    let overrides: Map<String, Value> = skater
        .overrides
        .iter()
        .map(|(rule, limits)| (rule.code().to_owned(), limits_to_json(limits)))
        .collect();
    [
        skater.name.clone().into(),
        text(&skater.bib),
        skater.band.map(|b| b.name().to_owned()).into(),
        skater.age_group.name().to_owned().into(),
        skater.height_m.into(),
        text(&skater.consent.as_ref().map(|c| c.given_on.to_string())),
        text(&skater.consent.as_ref().map(|c| c.given_by.clone())),
        Value::Object(overrides).to_string().into(),
        skater.focus.map(|rule| rule.code().to_owned()).into(),
    ]
}

struct RawSkater {
    id: i64,
    name: String,
    bib: Option<String>,
    band: Option<String>,
    age_group: String,
    height_m: Option<f64>,
    consent: [Option<String>; 2],
    overrides: String,
    focus: Option<String>,
}

impl RawSkater {
    fn read(row: &Row<'_>) -> rusqlite::Result<Self> {
        Ok(RawSkater {
            id: row.get(0)?,
            name: row.get(1)?,
            bib: row.get(2)?,
            band: row.get(3)?,
            age_group: row.get(4)?,
            height_m: row.get(5)?,
            consent: [row.get(6)?, row.get(7)?],
            overrides: row.get(8)?,
            focus: row.get(9)?,
        })
    }

    fn into_skater(self) -> Option<Skater> {
        let overrides: Map<String, Value> = serde_json::from_str(&self.overrides).ok()?;
        let consent = match self.consent {
            [Some(on), Some(given_by)] => Some(Consent {
                given_on: on.parse().ok()?,
                given_by,
            }),
            _ => None,
        };
        Some(Skater {
            id: SkaterId(self.id),
            name: self.name,
            bib: self.bib,
            // A colour of a later program is no colour here.
            band: self.band.as_deref().and_then(BandColour::from_name),
            age_group: AgeGroup::from_name(&self.age_group)?,
            height_m: self.height_m,
            consent,
            overrides: overrides
                .into_iter()
                // Limits of a rule this program does not know change nothing.
                .filter_map(|(rule, limits)| Some((RuleId::from_code(&rule)?, limits)))
                .map(|(rule, limits)| Some((rule, limits_from_json(&limits)?)))
                .collect::<Option<BTreeMap<RuleId, Limits>>>()?,
            // So does a rule to work on.
            focus: self.focus.as_deref().and_then(RuleId::from_code),
        })
    }
}
