//! The tables of the sessions file and their migrations.
//!
//! Measures and flags are rows, not JSON text: a coach's question ('the knee
//! bend of every push of this winter') is then one query in any SQLite tool.
//! Lane, source, engine and threshold sets are JSON: they are read back as a
//! whole and their fields grow with the program.

use std::path::Path;

use rusqlite::Connection;

use super::StoreError;

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
];

/// Brings the file to the newest version, one step per transaction. A file
/// that already holds sessions is copied first, beside itself.
pub(super) fn migrate(
    connection: &mut Connection,
    file: &Path,
    steps: &[&str],
) -> Result<(), StoreError> {
    let fault = |e| StoreError::sqlite(file, e);
    let version: usize = connection
        .query_row("PRAGMA user_version", [], |row| row.get::<_, i64>(0))
        .map_err(fault)?
        .try_into()
        .unwrap_or(usize::MAX);
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
        let transaction = connection.transaction().map_err(fault)?;
        transaction.execute_batch(step).map_err(fault)?;
        transaction
            .pragma_update(None, "user_version", (i + 1) as i64)
            .map_err(fault)?;
        transaction.commit().map_err(fault)?;
    }
    Ok(())
}

fn back_up(connection: &Connection, file: &Path, version: usize) -> Result<(), StoreError> {
    let mut copy = file.as_os_str().to_owned();
    copy.push(format!(".before-version-{}", version + 1));
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
