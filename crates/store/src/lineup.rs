//! The queue as it stood, so that a start goes on where the last one ended.

use jiff::Zoned;
use rusqlite::{OptionalExtension, Transaction, params};
use serde::{Deserialize, Serialize};

use super::StoreError;
use super::archive::Archive;
use crate::roster::{Places, Queue, SkaterId};

/// The queue of an earlier start.
#[derive(Debug, Clone, PartialEq)]
pub struct KeptQueue {
    /// When it last changed, wall clock.
    pub changed_at: Zoned,
    /// How it stood.
    pub now: Places,
    /// The steps that can be taken back, oldest first.
    pub earlier: Vec<Places>,
}

/// One state as it is written.
#[derive(Serialize, Deserialize)]
struct Written {
    order: Vec<i64>,
    at: usize,
    nobody: bool,
}

#[derive(Serialize, Deserialize)]
struct Content {
    now: Written,
    earlier: Vec<Written>,
}

impl From<&Places> for Written {
    fn from(places: &Places) -> Self {
        Written {
            order: places.order.iter().map(|s| s.0).collect(),
            at: places.at,
            nobody: places.nobody,
        }
    }
}

impl From<Written> for Places {
    fn from(written: Written) -> Self {
        Places {
            order: written.order.into_iter().map(SkaterId).collect(),
            at: written.at,
            nobody: written.nobody,
        }
    }
}

impl Content {
    fn of(now: &Places, earlier: &[Places]) -> Result<String, StoreError> {
        let content = Content {
            now: now.into(),
            earlier: earlier.iter().map(Written::from).collect(),
        };
        serde_json::to_string(&content).map_err(|e| StoreError::Encoding(e.to_string()))
    }
}

impl Archive {
    /// Writes the queue down in the place of the one before.
    pub fn keep_queue(&self, queue: &Queue, changed_at: &Zoned) -> Result<(), StoreError> {
        self.book.check_still_there()?;
        let (now, earlier) = queue.states();
        self.book
            .connection
            .execute(
                "INSERT INTO kept_queue (id, changed_at, content) VALUES (1, ?1, ?2)
                 ON CONFLICT (id) DO UPDATE
                     SET changed_at = excluded.changed_at, content = excluded.content",
                params![changed_at.to_string(), Content::of(now, earlier)?],
            )
            .map(|_| ())
            .map_err(|e| self.book.fault(e))
    }

    /// The queue as it was kept last; `None` where there is none that can be
    /// read.
    pub fn kept_queue(&self) -> Result<Option<KeptQueue>, StoreError> {
        let row: Option<(String, String)> = self
            .book
            .connection
            .query_row("SELECT changed_at, content FROM kept_queue", [], |r| {
                Ok((r.get(0)?, r.get(1)?))
            })
            .optional()
            .map_err(|e| self.book.fault(e))?;
        Ok(row.and_then(|(at, content)| {
            let content: Content = serde_json::from_str(&content).ok()?;
            Some(KeptQueue {
                changed_at: at.parse().ok()?,
                now: content.now.into(),
                earlier: content.earlier.into_iter().map(Places::from).collect(),
            })
        }))
    }
}

/// Takes a skater who is being deleted out of the kept queue.
pub(super) fn forget(transaction: &Transaction<'_>, skater: SkaterId) -> rusqlite::Result<()> {
    let content: Option<String> = transaction
        .query_row("SELECT content FROM kept_queue", [], |r| r.get(0))
        .optional()?;
    let kept = content.and_then(|text| {
        let content: Content = serde_json::from_str(&text).ok()?;
        let places: Vec<Places> = content.earlier.into_iter().map(Places::from).collect();
        let queue = Queue::kept(&content.now.into(), &places, |s| s != skater);
        let (now, earlier) = queue.states();
        Content::of(now, earlier).ok()
    });
    match kept {
        Some(kept) => transaction.execute("UPDATE kept_queue SET content = ?1", [kept])?,
        // None, or one that nobody can read.
        None => transaction.execute("DELETE FROM kept_queue", [])?,
    };
    Ok(())
}

/// Takes a kept queue from before this moment away, and one nobody can read.
pub(super) fn forget_before(transaction: &Transaction<'_>, before: &Zoned) -> rusqlite::Result<()> {
    let at: Option<String> = transaction
        .query_row("SELECT changed_at FROM kept_queue", [], |r| r.get(0))
        .optional()?;
    if at.is_some_and(|at| at.parse::<Zoned>().map_or(true, |at| at < *before)) {
        transaction.execute("DELETE FROM kept_queue", [])?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::roster::Skater;
    use crate::rules::AgeGroup;
    use crate::schema::{BACK_TO_3, BACK_TO_4, BEFORE_VERSION};
    use crate::{SESSIONS_FILE, Store};

    fn at(text: &str) -> Zoned {
        text.parse().unwrap()
    }

    fn skaters(archive: &Archive) -> [SkaterId; 3] {
        ["a", "b", "c"].map(|n| archive.add_skater(&Skater::new(n, AgeGroup::U9)).unwrap())
    }

    #[test]
    fn a_queue_comes_back_and_a_later_one_takes_its_place() {
        let dir = tempfile::tempdir().unwrap();
        let archive = Archive::open(dir.path()).unwrap();
        assert_eq!(archive.kept_queue().unwrap(), None);
        let [a, b, c] = skaters(&archive);
        let mut queue = Queue::new(vec![a, b, c]);
        for when in [
            "2026-11-25T18:02:00+01:00[Europe/Zurich]",
            "2026-11-25T18:07:00+01:00[Europe/Zurich]",
        ] {
            queue.swap_with_next();
            queue.passed();
            queue.unknown();
            archive.keep_queue(&queue, &at(when)).unwrap();
            let kept = Archive::open(dir.path())
                .unwrap()
                .kept_queue()
                .unwrap()
                .unwrap();
            assert_eq!(kept.changed_at, at(when));
            assert_eq!((&kept.now, &kept.earlier[..]), queue.states());
        }
    }

    #[test]
    fn a_deleted_skater_is_not_in_the_kept_queue() {
        let dir = tempfile::tempdir().unwrap();
        let archive = Archive::open(dir.path()).unwrap();
        let [a, b, c] = skaters(&archive);
        let mut queue = Queue::new(vec![a, b, c]);
        queue.passed();
        archive.keep_queue(&queue, &Zoned::now()).unwrap();
        archive.delete_skater(b).unwrap();
        let kept = archive.kept_queue().unwrap().unwrap();
        assert_eq!((kept.now.order, kept.now.at), (vec![a, c], 1));
        assert!(kept.earlier.is_empty());
    }

    #[test]
    fn what_cannot_be_read_is_none_and_goes_with_the_next_deletion() {
        let dir = tempfile::tempdir().unwrap();
        let archive = Archive::open(dir.path()).unwrap();
        let [a, ..] = skaters(&archive);
        let put = |text: &str| {
            archive
                .book
                .connection
                .execute(
                    "INSERT OR REPLACE INTO kept_queue VALUES (1, 'today', ?1)",
                    [text],
                )
                .unwrap();
        };
        for text in [
            "",
            "[]",
            r#"{"now":{"order":[1],"at":0,"nobody":false},"earlier":[]}"#,
        ] {
            put(text);
            assert_eq!(archive.kept_queue().unwrap(), None, "{text}");
        }
        put("Quirin");
        archive.delete_skater(a).unwrap();
        let rows: i64 = archive
            .book
            .connection
            .query_row("SELECT count(*) FROM kept_queue", [], |r| r.get(0))
            .unwrap();
        assert_eq!(rows, 0);
    }

    #[test]
    fn a_file_from_before_the_kept_queue_is_brought_up_with_its_roster() {
        let dir = tempfile::tempdir().unwrap();
        let before = {
            let archive = Archive::open(dir.path()).unwrap();
            skaters(&archive);
            let known = archive.skaters().unwrap();
            archive.book.connection.execute_batch(BACK_TO_4).unwrap();
            archive.book.connection.execute_batch(BACK_TO_3).unwrap();
            known
        };
        let store = Store::open(dir.path()).unwrap();
        let archive = Archive::open(dir.path()).unwrap();
        assert_eq!(archive.skaters().unwrap(), before);
        let copy = dir.path().join(format!("{SESSIONS_FILE}{BEFORE_VERSION}4"));
        assert!(copy.exists());
        archive
            .keep_queue(&Queue::new(vec![before[0].id]), &Zoned::now())
            .unwrap();
        assert!(archive.kept_queue().unwrap().is_some());
        drop(store);
    }
}
