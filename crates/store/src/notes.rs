//! What the coach writes beside the measures: verdicts, comments, stars; and
//! what was exported.

use std::path::Path;

use jiff::Zoned;
use rusqlite::{Transaction, params};

use super::archive::Archive;
use super::read::rule;
use super::{PushKey, StoreError, Verdict};
use crate::roster::SkaterId;
use crate::rules::RuleId;

/// How often the coach agreed with the flags of a rule.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Agreement {
    /// The rule.
    pub rule: RuleId,
    /// Flags that were right.
    pub confirmed: u32,
    /// Flags that were not.
    pub dismissed: u32,
}

/// A copy that left the recordings.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ExportNote {
    /// Names the note.
    pub id: i64,
    /// Wall clock, RFC 9557.
    pub made_at: String,
    /// Where it was written to.
    pub place: String,
    /// What is in it, in a few words.
    pub what: String,
    /// Whether the names were left out.
    pub anonymous: bool,
    /// Whose passes are in it.
    pub skaters: Vec<SkaterId>,
}

impl Archive {
    /// Says of one flag whether it was right; `None` takes that back.
    pub fn set_verdict(
        &self,
        push: &PushKey,
        rule: RuleId,
        verdict: Option<Verdict>,
    ) -> Result<(), StoreError> {
        self.with_push(push, |transaction, row| match verdict {
            Some(verdict) => transaction.execute(
                "INSERT INTO flag_reviews (push_id, rule, verdict) VALUES (?1, ?2, ?3)
                 ON CONFLICT (push_id, rule) DO UPDATE SET verdict = excluded.verdict",
                params![row, rule.code(), verdict.name()],
            ),
            None => transaction.execute(
                "DELETE FROM flag_reviews WHERE push_id = ?1 AND rule = ?2",
                params![row, rule.code()],
            ),
        })
    }

    /// Writes a comment to a push; an empty one takes it away.
    pub fn set_comment(&self, push: &PushKey, comment: &str) -> Result<(), StoreError> {
        self.with_push(push, |transaction, row| {
            transaction.execute(
                "INSERT INTO push_notes (push_id, comment, starred) VALUES (?1, ?2, 0)
                 ON CONFLICT (push_id) DO UPDATE SET comment = excluded.comment",
                params![row, comment.trim()],
            )
        })
    }

    /// Marks a push to be found again.
    pub fn set_starred(&self, push: &PushKey, starred: bool) -> Result<(), StoreError> {
        self.with_push(push, |transaction, row| {
            transaction.execute(
                "INSERT INTO push_notes (push_id, comment, starred) VALUES (?1, '', ?2)
                 ON CONFLICT (push_id) DO UPDATE SET starred = excluded.starred",
                params![row, starred],
            )
        })
    }

    fn with_push(
        &self,
        push: &PushKey,
        write: impl FnOnce(&Transaction<'_>, i64) -> rusqlite::Result<usize>,
    ) -> Result<(), StoreError> {
        self.book.check_still_there()?;
        let transaction = self.book.writing()?;
        let row = self.push_row(&transaction, push)?;
        write(&transaction, row).map_err(|e| self.book.fault(e))?;
        transaction.commit().map_err(|e| self.book.fault(e))
    }

    /// How often the coach agreed with the flags, rule by rule.
    pub fn agreement(&self) -> Result<Vec<Agreement>, StoreError> {
        let fault = |e| self.book.fault(e);
        self.book
            .connection
            .prepare_cached(
                "SELECT rule, sum(verdict = 'confirmed'), sum(verdict = 'dismissed')
                 FROM flag_reviews GROUP BY rule ORDER BY rule",
            )
            .and_then(|mut s| {
                s.query_map([], |r| {
                    let Some(rule) = rule(r, 0)? else {
                        return Ok(None);
                    };
                    Ok(Some(Agreement {
                        rule,
                        confirmed: r.get(1)?,
                        dismissed: r.get(2)?,
                    }))
                })?
                .filter_map(Result::transpose)
                .collect()
            })
            .map_err(fault)
    }

    /// Notes that passes of these skaters were written to `place`.
    pub fn note_export(
        &self,
        place: &Path,
        what: &str,
        anonymous: bool,
        skaters: &[SkaterId],
    ) -> Result<(), StoreError> {
        self.book.check_still_there()?;
        let fault = |e| self.book.fault(e);
        let transaction = self.book.writing()?;
        transaction
            .execute(
                "INSERT INTO exports (made_at, place, what, anonymous) VALUES (?1, ?2, ?3, ?4)",
                params![
                    Zoned::now().to_string(),
                    place.to_string_lossy(),
                    what,
                    anonymous
                ],
            )
            .map_err(fault)?;
        let export = transaction.last_insert_rowid();
        for skater in skaters {
            transaction
                .execute(
                    "INSERT OR IGNORE INTO export_skaters (export_id, skater_id) VALUES (?1, ?2)",
                    params![export, skater.0],
                )
                .map_err(fault)?;
        }
        transaction.commit().map_err(fault)
    }

    /// Everything that was exported, newest first.
    pub fn exports(&self) -> Result<Vec<ExportNote>, StoreError> {
        let transaction = self
            .book
            .connection
            .unchecked_transaction()
            .map_err(|e| self.book.fault(e))?;
        self.read_exports(&transaction, None)
    }

    pub(super) fn exports_of(
        &self,
        transaction: &Transaction<'_>,
        skater: SkaterId,
    ) -> Result<Vec<ExportNote>, StoreError> {
        self.read_exports(transaction, Some(skater))
    }

    fn read_exports(
        &self,
        transaction: &Transaction<'_>,
        of: Option<SkaterId>,
    ) -> Result<Vec<ExportNote>, StoreError> {
        let read = || -> rusqlite::Result<Vec<ExportNote>> {
            let mut notes: Vec<ExportNote> = transaction
                .prepare_cached(
                    "SELECT id, made_at, place, what, anonymous FROM exports
                     WHERE ?1 IS NULL OR id IN
                       (SELECT export_id FROM export_skaters WHERE skater_id = ?1)
                     ORDER BY id DESC",
                )?
                .query_map([of.map(|s| s.0)], |r| {
                    Ok(ExportNote {
                        id: r.get(0)?,
                        made_at: r.get(1)?,
                        place: r.get(2)?,
                        what: r.get(3)?,
                        anonymous: r.get(4)?,
                        skaters: Vec::new(),
                    })
                })?
                .collect::<rusqlite::Result<_>>()?;
            for note in &mut notes {
                note.skaters = transaction
                    .prepare_cached(
                        "SELECT skater_id FROM export_skaters WHERE export_id = ?1
                         ORDER BY skater_id",
                    )?
                    .query_map([note.id], |r| r.get(0).map(SkaterId))?
                    .collect::<rusqlite::Result<_>>()?;
            }
            Ok(notes)
        };
        read().map_err(|e| self.book.fault(e))
    }
}
