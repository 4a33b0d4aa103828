//! The datasets that sessions were added to, and who is who in them.
//!
//! In a dataset a skater is a key that was drawn by lot for that dataset; only this file
//! knows whose it is. A skater that is deleted leaves the key alone behind: so what is
//! still to be deleted in a dataset is known also when its disk was not there.

use std::path::{Path, PathBuf};

use rusqlite::{OptionalExtension, params};

use super::archive::Archive;
use super::{StoreError, StoredSession};
use crate::roster::SkaterId;

/// A dataset that sessions were added to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DatasetNote {
    /// The name it bears inside.
    pub id: String,
    /// Where it was last.
    pub place: PathBuf,
}

impl StoredSession {
    /// What the session is called in datasets: no other has that name.
    pub fn name_in_datasets(&self) -> &str {
        &self.summary.id.token
    }
}

impl Archive {
    /// Every dataset that sessions were added to.
    pub fn datasets(&self) -> Result<Vec<DatasetNote>, StoreError> {
        self.book
            .connection
            .prepare_cached("SELECT id, place FROM datasets ORDER BY id")
            .and_then(|mut s| {
                s.query_map([], |r| {
                    Ok(DatasetNote {
                        id: r.get(0)?,
                        place: PathBuf::from(r.get::<_, String>(1)?),
                    })
                })?
                .collect()
            })
            .map_err(|e| self.book.fault(e))
    }

    /// Notes where a dataset is.
    pub fn note_dataset(&self, id: &str, place: &Path) -> Result<(), StoreError> {
        self.book.check_still_there()?;
        self.book
            .connection
            .execute(
                "INSERT INTO datasets (id, place) VALUES (?1, ?2)
                 ON CONFLICT (id) DO UPDATE SET place = excluded.place",
                params![id, place.to_string_lossy()],
            )
            .map(|_| ())
            .map_err(|e| self.book.fault(e))
    }

    /// The key of a skater in a noted dataset; drawn by lot the first time.
    pub fn key_in_dataset(&self, dataset: &str, skater: SkaterId) -> Result<String, StoreError> {
        let fault = |e| self.book.fault(e);
        let known = || {
            self.book
                .connection
                .query_row(
                    "SELECT skater_key FROM dataset_skaters
                     WHERE dataset_id = ?1 AND skater_id = ?2",
                    params![dataset, skater.0],
                    |r| r.get(0),
                )
                .optional()
                .map_err(fault)
        };
        if let Some(key) = known()? {
            return Ok(key);
        }
        self.book
            .connection
            .execute(
                "INSERT OR IGNORE INTO dataset_skaters (dataset_id, skater_key, skater_id)
                 VALUES (?1, lower(hex(randomblob(8))), ?2)",
                params![dataset, skater.0],
            )
            .map_err(fault)?;
        known()?.ok_or_else(|| StoreError::NotThere("this skater".to_owned()))
    }

    /// Keys of deleted skaters whose rows are still to be deleted in a dataset.
    pub fn owed_to_dataset(&self, dataset: &str) -> Result<Vec<String>, StoreError> {
        self.book
            .connection
            .prepare_cached(
                "SELECT skater_key FROM dataset_skaters
                 WHERE dataset_id = ?1 AND skater_id IS NULL ORDER BY skater_key",
            )
            .and_then(|mut s| s.query_map([dataset], |r| r.get(0))?.collect())
            .map_err(|e| self.book.fault(e))
    }

    /// The rows of these keys are deleted in the dataset.
    pub fn settled_in_dataset(&self, dataset: &str, keys: &[String]) -> Result<(), StoreError> {
        let fault = |e| self.book.fault(e);
        let transaction = self.book.writing()?;
        for key in keys {
            transaction
                .execute(
                    "DELETE FROM dataset_skaters
                     WHERE dataset_id = ?1 AND skater_key = ?2 AND skater_id IS NULL",
                    params![dataset, key],
                )
                .map_err(fault)?;
        }
        transaction.commit().map_err(fault)
    }
}
