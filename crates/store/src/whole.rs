//! Whether a sessions file is whole: its tables as they are meant to be, its
//! pages and indexes, what refers to what, and each pass as it was written.

use std::path::Path;

use flate2::Crc;
use rusqlite::types::ValueRef;
use rusqlite::{Connection, Transaction};

use super::StoreError;
use super::schema::{self, MIGRATIONS};

/// Every table with its columns, keys, indexes and references, a line each.
/// What SQLite has understood of them, not the text they were made from.
const SHAPE: &[&str] = &[
    "SELECT 'table', t.name, t.strict, t.wr FROM pragma_table_list t
     WHERE t.schema = 'main' AND t.type = 'table' AND t.name NOT LIKE 'sqlite\\_%' ESCAPE '\\'",
    "SELECT 'column', m.name, x.cid, x.name, x.type, x.\"notnull\", x.dflt_value, x.pk
     FROM sqlite_schema m, pragma_table_xinfo(m.name) x WHERE m.type = 'table'
       AND m.name NOT LIKE 'sqlite\\_%' ESCAPE '\\'",
    "SELECT 'reference', m.name, f.seq, f.\"table\", f.\"from\", f.\"to\", f.on_delete
     FROM sqlite_schema m, pragma_foreign_key_list(m.name) f WHERE m.type = 'table'",
    "SELECT 'index', m.name, i.\"unique\", i.origin, x.seqno, x.cid, x.name, x.\"desc\", x.coll, x.key
     FROM sqlite_schema m, pragma_index_list(m.name) i, pragma_index_xinfo(i.name) x
     WHERE m.type = 'table'",
];

/// The tables and nothing of their content: fast, for every opening.
pub(super) fn check_tables(
    transaction: &Transaction<'_>,
    file: &Path,
    version: usize,
) -> Result<(), StoreError> {
    let wanted = match MIGRATIONS.get(..version) {
        Some([]) => return no_table_of_ours(transaction, file),
        Some(steps) => wanted(steps).map_err(|e| StoreError::sqlite(file, e))?,
        None => return Ok(()),
    };
    let there = shape(transaction).map_err(|e| as_damage(file, e))?;
    // More may be there: somebody's view or index is no damage.
    match wanted.iter().find(|line| !there.contains(line)) {
        None => Ok(()),
        Some(line) => Err(StoreError::Damaged {
            file: file.to_owned(),
            why: format!("the description of its tables lacks: {line}"),
        }),
    }
}

/// All of the file: pages, rows, indexes, references.
pub(super) fn check_content(connection: &Connection, file: &Path) -> Result<(), StoreError> {
    let damaged = |why: String| StoreError::Damaged {
        file: file.to_owned(),
        why,
    };
    // Not quick_check: an index that says other than its table is found only
    // by this one, and rows written later are looked for through indexes.
    let said: String = connection
        .query_row("PRAGMA integrity_check(1)", [], |row| row.get(0))
        .map_err(|e| as_damage(file, e))?;
    if said != "ok" {
        return Err(damaged(said));
    }
    let lost: Option<String> = connection
        .prepare("SELECT \"table\" FROM pragma_foreign_key_check LIMIT 1")
        .and_then(|mut s| s.query_map([], |row| row.get(0))?.next().transpose())
        .map_err(|e| as_damage(file, e))?;
    match lost {
        None => Ok(()),
        Some(table) => Err(damaged(format!(
            "a row of {table} belongs to nothing that is there"
        ))),
    }
}

/// A file that says it holds nothing yet and holds our tables was damaged in
/// what it says.
fn no_table_of_ours(transaction: &Transaction<'_>, file: &Path) -> Result<(), StoreError> {
    let tables: i64 = transaction
        .query_row(
            "SELECT count(*) FROM sqlite_schema WHERE name IN ('sessions', 'passes')",
            [],
            |row| row.get(0),
        )
        .map_err(|e| as_damage(file, e))?;
    if tables == 0 {
        return Ok(());
    }
    Err(StoreError::Damaged {
        file: file.to_owned(),
        why: "its version number is lost".to_owned(),
    })
}

/// How the tables are after these steps.
fn wanted(steps: &[&str]) -> rusqlite::Result<Vec<String>> {
    let fresh = Connection::open_in_memory()?;
    steps
        .iter()
        .try_for_each(|step| fresh.execute_batch(step))?;
    shape(&fresh)
}

fn shape(connection: &Connection) -> rusqlite::Result<Vec<String>> {
    let mut lines = Vec::new();
    for query in SHAPE {
        let mut statement = connection.prepare(query)?;
        let columns = statement.column_count();
        let mut rows = statement.query([])?;
        while let Some(row) = rows.next()? {
            let words = (0..columns)
                .map(|i| row.get_ref(i).map(word))
                .collect::<rusqlite::Result<Vec<_>>>()?;
            lines.push(words.join(" "));
        }
    }
    Ok(lines)
}

fn word(value: ValueRef<'_>) -> String {
    match value {
        ValueRef::Null => "-".to_owned(),
        ValueRef::Integer(n) => n.to_string(),
        ValueRef::Real(x) => x.to_string(),
        ValueRef::Text(bytes) | ValueRef::Blob(bytes) => {
            String::from_utf8_lossy(bytes).into_owned()
        }
    }
}

/// A check that could not be made because of what is in the file: SQLite
/// then takes it for a fault of the question. A disk that does not read
/// (SQLITE_IOERR) or others that write say nothing about the file.
fn as_damage(file: &Path, error: rusqlite::Error) -> StoreError {
    match StoreError::sqlite(file, error) {
        StoreError::Database { file, why } if !why.contains("disk I/O error") => {
            StoreError::Damaged { file, why }
        }
        other => other,
    }
}

/// Version of a file.
pub(super) fn version(connection: &Connection, file: &Path) -> Result<usize, StoreError> {
    schema::version_of(connection).map_err(|e| as_damage(file, e))
}

/// What a pass is made of, in an order that is always the same. Whose it is
/// and what the coach wrote are not in it: these change.
const PASS: &[&str] = &[
    "SELECT p.number, p.track_id, p.started_at_s, p.ended_at_s, p.speed_mps, p.view, p.cue,
            p.written_at, p.lane, p.engine, p.source, t.content
     FROM passes p JOIN threshold_sets t ON t.id = p.threshold_set_id WHERE p.id = ?1",
    "SELECT position, leg, near_leg, push_start_s, toe_off_s FROM pushes
     WHERE pass_id = ?1 ORDER BY position",
    "SELECT u.position, m.measure, m.value, m.uncertainty, m.judged, m.reason
     FROM pushes u JOIN measures m ON m.push_id = u.id
     WHERE u.pass_id = ?1 ORDER BY u.position, m.measure",
    "SELECT u.position, f.position, f.rule, f.value, f.limit_value
     FROM pushes u JOIN flags f ON f.push_id = u.id
     WHERE u.pass_id = ?1 ORDER BY u.position, f.position",
    "SELECT measure, value, uncertainty, judged, reason FROM pass_measures
     WHERE pass_id = ?1 ORDER BY measure",
];

/// What later versions added, only where it is there: the check sums of passes that were
/// written before stay as they were.
const LATER: &[&str] = &["SELECT position, quality FROM pushes
     WHERE pass_id = ?1 AND quality IS NOT NULL ORDER BY position"];

/// The check sum of a stored pass: CRC-32 (ISO 3309, as in gzip) of its rows.
/// SQLite has no check sums in its pages; a value changed inside a good
/// record is found by this alone.
pub(super) fn pass_sum(connection: &Connection, pass_row: i64) -> rusqlite::Result<u32> {
    sum_of(connection, pass_row, PASS, LATER)
}

/// Writes the check sum of a pass: of what is in the file now, not of what was meant to get
/// there.
pub(super) fn seal(transaction: &Transaction<'_>, pass_row: i64) -> rusqlite::Result<()> {
    let sum = pass_sum(transaction, pass_row)?;
    transaction.execute(
        "UPDATE passes SET check_sum = ?2 WHERE id = ?1",
        rusqlite::params![pass_row, sum],
    )?;
    Ok(())
}

fn sum_of(
    connection: &Connection,
    pass_row: i64,
    always: &[&str],
    where_there: &[&str],
) -> rusqlite::Result<u32> {
    let mut sum = Crc::new();
    for (k, query) in always.iter().chain(where_there).enumerate() {
        let mut statement = connection.prepare_cached(query)?;
        let columns = statement.column_count();
        let mut rows = statement.query([pass_row])?;
        let mut any = false;
        while let Some(row) = rows.next()? {
            any = true;
            for i in 0..columns {
                // Kind and length before the content: no two rows read alike.
                match row.get_ref(i)? {
                    ValueRef::Null => sum.update(b"n"),
                    ValueRef::Integer(n) => {
                        sum.update(b"i");
                        sum.update(&n.to_le_bytes());
                    }
                    ValueRef::Real(x) => {
                        sum.update(b"r");
                        sum.update(&x.to_bits().to_le_bytes());
                    }
                    ValueRef::Text(bytes) | ValueRef::Blob(bytes) => {
                        sum.update(b"t");
                        sum.update(&(bytes.len() as u64).to_le_bytes());
                        sum.update(bytes);
                    }
                }
            }
        }
        if any || k < always.len() {
            sum.update(b";");
        }
    }
    Ok(sum.sum())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Store;
    use crate::quality::Quality;
    use crate::rules::{JudgedPush, Leg, RuleMap};
    use crate::samples::{pass, session};

    /// How well a push was seen is kept and guarded; a pass without it has the check sum
    /// that the program had before this was kept.
    #[test]
    fn how_well_a_push_was_seen_is_part_of_the_pass() {
        let dir = tempfile::tempdir().unwrap();
        let mut store = Store::open(dir.path()).unwrap();
        let id = store.begin_session(&session()).unwrap();
        let known = Quality {
            pictures_per_s: Some(29.97),
            sharpness: Some(0.512_345),
            stature_px: 301.0,
            ..Quality::default()
        };
        for (number, quality) in [(1, Some(known)), (2, None)] {
            let (mut judged, cue) = pass(number);
            judged.pushes.push(JudgedPush {
                quality,
                leg: Leg::Left,
                near_leg: None,
                push_start_s: 0.0,
                toe_off_s: 0.5,
                measures: RuleMap::default(),
                flags: Vec::new(),
            });
            store.write_pass(&id, &(judged, cue).into()).unwrap();
        }
        let read = store.load_session(id.row).unwrap();
        let quality = |k: usize| read.passes[k].pass.pushes[0].quality;
        assert_eq!(quality(0), Some(known.rounded()));
        assert_eq!(quality(1), None);

        let connection = &store.book.connection;
        let sums = |row: i64| {
            let bare = sum_of(connection, row, PASS, &[]).unwrap();
            (bare, pass_sum(connection, row).unwrap())
        };
        let (bare, with) = sums(1);
        assert_ne!(bare, with);
        let (bare, without) = sums(2);
        assert_eq!(bare, without);
        let changed = "UPDATE pushes SET quality = replace(quality, '301', '305')";
        connection.execute_batch(changed).unwrap();
        let left = store.load_session(id.row).unwrap().passes;
        assert_eq!(left.iter().map(|p| p.number).collect::<Vec<_>>(), [2]);
    }
}
