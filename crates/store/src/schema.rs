//! The tables of the sessions file and their migrations.
//!
//! Measures and flags are rows, not JSON text: a coach's question ('the knee
//! bend of every push of this winter') is then one query in any SQLite tool.
//! Lane, source, engine and threshold sets are JSON: they are read back as a
//! whole and their fields grow with the program.

use std::path::Path;

use rusqlite::{Connection, TransactionBehavior};

use super::StoreError;

/// Ending of the copy that is made before a migration, with a number.
pub(super) const BEFORE_VERSION: &str = ".before-version-";

/// Step `i` takes a file from version `i` to `i + 1`. Steps already released
/// are never edited; a change is a new step at the end.
pub(super) const MIGRATIONS: &[&str] = &[
    "
CREATE TABLE sessions (
    id INTEGER PRIMARY KEY,
    -- Names the session also after the file was replaced under the program.
    token TEXT NOT NULL UNIQUE,
    -- Wall clock, RFC 3339 with offset and zone (RFC 9557).
    started_at TEXT NOT NULL,
    ended_at TEXT,
    -- open: being recorded; closed: ended by the program;
    -- recovered: the program was stopped, found at the next start.
    state TEXT NOT NULL CHECK (state IN ('open', 'closed', 'recovered')),
    source TEXT NOT NULL,
    lane TEXT NOT NULL,
    engine TEXT NOT NULL,
    age_group TEXT NOT NULL,
    -- Passes that could not be kept while the disk refused to write.
    passes_lost INTEGER NOT NULL DEFAULT 0
) STRICT;

CREATE TABLE threshold_sets (
    id INTEGER PRIMARY KEY,
    content TEXT NOT NULL UNIQUE
) STRICT;

CREATE TABLE passes (
    id INTEGER PRIMARY KEY,
    session_id INTEGER NOT NULL REFERENCES sessions(id) ON DELETE CASCADE,
    number INTEGER NOT NULL,
    track_id INTEGER NOT NULL,
    -- Seconds on the source's clock.
    started_at_s REAL,
    ended_at_s REAL,
    speed_mps REAL,
    view TEXT NOT NULL,
    threshold_set_id INTEGER NOT NULL REFERENCES threshold_sets(id),
    cue TEXT NOT NULL,
    written_at TEXT NOT NULL,
    UNIQUE (session_id, number)
) STRICT;

CREATE TABLE pushes (
    id INTEGER PRIMARY KEY,
    pass_id INTEGER NOT NULL REFERENCES passes(id) ON DELETE CASCADE,
    position INTEGER NOT NULL,
    leg TEXT NOT NULL CHECK (leg IN ('left', 'right')),
    near_leg INTEGER CHECK (near_leg IN (0, 1)),
    push_start_s REAL,
    toe_off_s REAL,
    UNIQUE (pass_id, position)
) STRICT;

-- One row per rule. The measure names its unit: heel_gap_m.
CREATE TABLE measures (
    push_id INTEGER NOT NULL REFERENCES pushes(id) ON DELETE CASCADE,
    measure TEXT NOT NULL,
    value REAL,
    uncertainty REAL,
    judged INTEGER NOT NULL CHECK (judged IN (0, 1)),
    reason TEXT NOT NULL,
    PRIMARY KEY (push_id, measure)
) STRICT, WITHOUT ROWID;

CREATE TABLE flags (
    push_id INTEGER NOT NULL REFERENCES pushes(id) ON DELETE CASCADE,
    position INTEGER NOT NULL,
    rule TEXT NOT NULL,
    value REAL,
    limit_value REAL,
    PRIMARY KEY (push_id, position)
) STRICT, WITHOUT ROWID;
",
    "
-- What is reported of a pass as a whole, one row per quantity. The measure
-- names its unit: stride_rate_hz.
CREATE TABLE pass_measures (
    pass_id INTEGER NOT NULL REFERENCES passes(id) ON DELETE CASCADE,
    measure TEXT NOT NULL,
    value REAL,
    uncertainty REAL,
    judged INTEGER NOT NULL CHECK (judged IN (0, 1)),
    reason TEXT NOT NULL,
    PRIMARY KEY (pass_id, measure)
) STRICT, WITHOUT ROWID;
",
    "
-- AUTOINCREMENT: the id of a deleted skater is never given to another one.
CREATE TABLE skaters (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    name TEXT NOT NULL,
    bib TEXT,
    band TEXT,
    age_group TEXT NOT NULL,
    height_m REAL,
    -- Both or neither: without consent no picture is kept.
    consent_on TEXT,
    consent_by TEXT,
    -- Limits of this skater alone: JSON by rule id.
    overrides TEXT NOT NULL,
    CHECK ((consent_on IS NULL) = (consent_by IS NULL))
) STRICT;

-- NULL: nobody of the roster. What is left of a deleted skater goes too.
ALTER TABLE passes ADD COLUMN skater_id INTEGER REFERENCES skaters(id) ON DELETE CASCADE;
-- JSON: the camera set-up it was measured with, where it is not the session's.
ALTER TABLE passes ADD COLUMN lane TEXT;
CREATE INDEX passes_by_skater ON passes (skater_id);

-- The body points as they were tracked: docs/points.md.
CREATE TABLE pass_points (
    pass_id INTEGER PRIMARY KEY REFERENCES passes(id) ON DELETE CASCADE,
    content BLOB NOT NULL
) STRICT;

-- Pictures around a flagged instant. The pictures are in the folder
-- pictures/, one file per strip: the JPEGs one after the other.
CREATE TABLE picture_strips (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    pass_id INTEGER NOT NULL REFERENCES passes(id) ON DELETE CASCADE,
    push INTEGER NOT NULL,
    rule TEXT NOT NULL,
    flagged_at_s REAL NOT NULL,
    width INTEGER NOT NULL,
    height INTEGER NOT NULL,
    frame_width INTEGER NOT NULL,
    frame_height INTEGER NOT NULL,
    faces_blurred INTEGER NOT NULL CHECK (faces_blurred IN (0, 1)),
    file TEXT NOT NULL UNIQUE,
    bytes INTEGER NOT NULL,
    -- JSON: [capture time in seconds as text, bytes] of each picture.
    shots TEXT NOT NULL,
    -- Wall clock, seconds since 1970 UTC.
    kept_since_s INTEGER NOT NULL,
    UNIQUE (pass_id, push, rule)
) STRICT;

-- What the coach says of a flag.
CREATE TABLE flag_reviews (
    push_id INTEGER NOT NULL REFERENCES pushes(id) ON DELETE CASCADE,
    rule TEXT NOT NULL,
    verdict TEXT NOT NULL CHECK (verdict IN ('confirmed', 'dismissed')),
    PRIMARY KEY (push_id, rule)
) STRICT, WITHOUT ROWID;

CREATE TABLE push_notes (
    push_id INTEGER PRIMARY KEY REFERENCES pushes(id) ON DELETE CASCADE,
    comment TEXT NOT NULL,
    starred INTEGER NOT NULL CHECK (starred IN (0, 1))
) STRICT;

-- What left this machine's recordings, so that it can be found again when a
-- skater asks to be deleted.
CREATE TABLE exports (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    made_at TEXT NOT NULL,
    place TEXT NOT NULL,
    what TEXT NOT NULL,
    anonymous INTEGER NOT NULL CHECK (anonymous IN (0, 1))
) STRICT;
CREATE TABLE export_skaters (
    export_id INTEGER NOT NULL REFERENCES exports(id) ON DELETE CASCADE,
    skater_id INTEGER NOT NULL REFERENCES skaters(id) ON DELETE CASCADE,
    PRIMARY KEY (export_id, skater_id)
) STRICT, WITHOUT ROWID;

-- Work that could not be done at once: 'rewrite' builds the file anew, so
-- that nothing deleted is left between its pages.
CREATE TABLE chores (name TEXT PRIMARY KEY) STRICT, WITHOUT ROWID;
",
    "
-- Who is next, one row: as it stood when it last changed.
CREATE TABLE kept_queue (
    id INTEGER PRIMARY KEY CHECK (id = 1),
    -- Wall clock, RFC 9557: an old one is not taken up again.
    changed_at TEXT NOT NULL,
    -- JSON: how it stands and the steps that can be taken back, skaters by id.
    content TEXT NOT NULL
) STRICT;
",
    "
-- One training is one session, whatever measured its passes. JSON, where it
-- is not the session's.
ALTER TABLE passes ADD COLUMN engine TEXT;
ALTER TABLE passes ADD COLUMN source TEXT;
-- CRC-32 of the pass as it was written. NULL: written before there was one.
ALTER TABLE passes ADD COLUMN check_sum INTEGER;
-- 1: no further pass belongs to it, also after a restart.
ALTER TABLE sessions ADD COLUMN ended_for_good INTEGER NOT NULL DEFAULT 0;
",
    "
-- How a pass was judged before it was judged anew, oldest first.
CREATE TABLE earlier_judgements (
    id INTEGER PRIMARY KEY,
    pass_id INTEGER NOT NULL REFERENCES passes(id) ON DELETE CASCADE,
    -- Wall clock of the replacement, RFC 9557.
    replaced_at TEXT NOT NULL,
    -- The program that judged anew.
    program_version TEXT NOT NULL,
    -- points: measured again from the body points; values: stored values, other limits.
    basis TEXT NOT NULL CHECK (basis IN ('points', 'values')),
    -- JSON: thresholds, pushes with measures and flags, quantities, as they stood.
    content TEXT NOT NULL
) STRICT;
CREATE INDEX earlier_judgements_by_pass ON earlier_judgements (pass_id);
",
    "
-- Datasets that sessions were added to, by the name they bear inside.
CREATE TABLE datasets (
    id TEXT PRIMARY KEY,
    place TEXT NOT NULL
) STRICT, WITHOUT ROWID;
-- Who is who in them. NULL: the skater is deleted, and the rows of the key are to be.
CREATE TABLE dataset_skaters (
    dataset_id TEXT NOT NULL REFERENCES datasets(id) ON DELETE CASCADE,
    skater_key TEXT NOT NULL,
    skater_id INTEGER REFERENCES skaters(id) ON DELETE SET NULL,
    PRIMARY KEY (dataset_id, skater_key),
    UNIQUE (dataset_id, skater_id)
) STRICT, WITHOUT ROWID;
",
    "
-- How well a push was seen, JSON. NULL: not known.
ALTER TABLE pushes ADD COLUMN quality TEXT;
",
    "
-- The rule this skater works on, by its id. NULL: what everybody works on.
ALTER TABLE skaters ADD COLUMN focus TEXT;
",
];

/// Brings the file to the newest version, one step per transaction. A file
/// that already holds sessions is copied first, beside itself.
pub(super) fn migrate(
    connection: &mut Connection,
    file: &Path,
    steps: &[&str],
) -> Result<(), StoreError> {
    let fault = |e| StoreError::sqlite(file, e);
    let version = version_of(connection).map_err(fault)?;
    if version > steps.len() {
        return Err(StoreError::TooNew {
            file: file.to_owned(),
        });
    }
    if version == steps.len() {
        return Ok(());
    }
    if version > 0 {
        back_up(connection, file, version)?;
    }
    for (i, step) in steps.iter().enumerate().skip(version) {
        // Two connections may open an old file at once: one does the step,
        // the other finds it done.
        let transaction = connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .map_err(fault)?;
        if version_of(&transaction).map_err(fault)? > i {
            continue;
        }
        transaction.execute_batch(step).map_err(fault)?;
        transaction
            .pragma_update(None, "user_version", (i + 1) as i64)
            .map_err(fault)?;
        transaction.commit().map_err(fault)?;
    }
    Ok(())
}

pub(super) fn version_of(connection: &Connection) -> rusqlite::Result<usize> {
    let version: i64 = connection.query_row("PRAGMA user_version", [], |row| row.get(0))?;
    Ok(version.try_into().unwrap_or(usize::MAX))
}

fn back_up(connection: &Connection, file: &Path, version: usize) -> Result<(), StoreError> {
    let mut copy = file.as_os_str().to_owned();
    copy.push(format!("{BEFORE_VERSION}{}", version + 1));
    let copy = std::path::PathBuf::from(copy);
    // A copy of an earlier try that failed half way is older or equal: keep it.
    if copy.exists() {
        return Ok(());
    }
    super::create_private(&copy).map_err(|e| StoreError::io(&copy, &e))?;
    connection
        .execute("VACUUM INTO ?1", [copy.to_string_lossy()])
        .map_err(|e| StoreError::sqlite(&copy, e))?;
    Ok(())
}

/// Takes a file of today back to version 4, for the tests of migrations.
#[cfg(test)]
pub(super) const BACK_TO_4: &str = "
DROP TABLE dataset_skaters; DROP TABLE datasets; DROP TABLE earlier_judgements;
ALTER TABLE passes DROP COLUMN engine; ALTER TABLE passes DROP COLUMN source;
ALTER TABLE passes DROP COLUMN check_sum; ALTER TABLE sessions DROP COLUMN ended_for_good;
ALTER TABLE pushes DROP COLUMN quality; ALTER TABLE skaters DROP COLUMN focus;
PRAGMA user_version = 4;";

/// From version 4 back to version 3.
#[cfg(test)]
pub(super) const BACK_TO_3: &str = "DROP TABLE kept_queue; PRAGMA user_version = 3;";

/// From version 4 back to version 2.
#[cfg(test)]
pub(super) const BACK_TO_2: &str = "
DROP TABLE kept_queue; DROP TABLE chores; DROP TABLE export_skaters; DROP TABLE exports; DROP TABLE push_notes;
DROP TABLE flag_reviews; DROP TABLE picture_strips; DROP TABLE pass_points;
DROP INDEX passes_by_skater;
ALTER TABLE passes DROP COLUMN lane; ALTER TABLE passes DROP COLUMN skater_id;
DROP TABLE skaters; PRAGMA user_version = 2;";

#[cfg(test)]
mod tests {
    use super::*;

    fn version(c: &Connection) -> i64 {
        c.query_row("PRAGMA user_version", [], |r| r.get(0))
            .unwrap()
    }

    #[test]
    fn steps_run_once_and_in_order_and_keep_a_copy() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("s.sqlite3");
        let mut c = Connection::open(&file).unwrap();
        let one = "CREATE TABLE t (a INTEGER); INSERT INTO t VALUES (1);";
        let two = "ALTER TABLE t ADD COLUMN b INTEGER; UPDATE t SET b = a + 1;";
        migrate(&mut c, &file, &[one]).unwrap();
        migrate(&mut c, &file, &[one]).unwrap();
        assert_eq!(version(&c), 1);
        migrate(&mut c, &file, &[one, two]).unwrap();
        assert_eq!(version(&c), 2);
        let rows: (i64, i64, i64) = c
            .query_row("SELECT count(*), a, b FROM t", [], |r| {
                Ok((r.get(0)?, r.get(1)?, r.get(2)?))
            })
            .unwrap();
        assert_eq!(rows, (1, 1, 2));
        let copy = Connection::open(dir.path().join("s.sqlite3.before-version-2")).unwrap();
        assert_eq!(version(&copy), 1);
    }

    #[test]
    fn a_failing_step_changes_nothing() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("s.sqlite3");
        let mut c = Connection::open(&file).unwrap();
        let bad = "CREATE TABLE t (a INTEGER); NONSENSE;";
        assert!(migrate(&mut c, &file, &[bad]).is_err());
        assert_eq!(version(&c), 0);
        let tables: i64 = c
            .query_row("SELECT count(*) FROM sqlite_master", [], |r| r.get(0))
            .unwrap();
        assert_eq!(tables, 0);
    }

    #[test]
    fn a_file_of_a_newer_program_is_left_alone() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("s.sqlite3");
        let mut c = Connection::open(&file).unwrap();
        c.pragma_update(None, "user_version", 99).unwrap();
        let error = migrate(&mut c, &file, MIGRATIONS).unwrap_err();
        assert!(matches!(error, StoreError::TooNew { .. }), "{error}");
        assert_eq!(version(&c), 99);
    }
}
