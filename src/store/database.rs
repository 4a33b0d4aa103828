//! The sessions file: opening, recovery, writing.

use std::fs::{File, OpenOptions, TryLockError};
use std::io;
use std::os::unix::fs::{DirBuilderExt, MetadataExt, OpenOptionsExt, PermissionsExt};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use jiff::Zoned;
use rusqlite::{Connection, OpenFlags, OptionalExtension, Transaction, params};

use super::codec::{cue_to_json, finite, leg_name, storable, thresholds_to_json};
use super::schema::{MIGRATIONS, migrate};
use super::{SessionId, SessionInfo, SessionState, SessionSummary, StoreError};
use crate::feedback::Cue;
use crate::rules::{JudgedPass, JudgedPush, QUANTITIES, RULES};

/// Name of the sessions file in its folder.
pub const SESSIONS_FILE: &str = "sessions.sqlite3";
const LOCK_FILE: &str = "sessions.lock";

/// The recordings of one folder. One program run at a time holds it.
pub struct Store {
    pub(super) connection: Connection,
    pub(super) file: PathBuf,
    /// Device and inode the connection writes to. A file that was deleted
    /// takes writes without a fault, so it has to be looked at.
    identity: (u64, u64),
    recovered: Vec<SessionSummary>,
    set_aside: Option<PathBuf>,
    /// Held for as long as the store is open; a killed program lets go of it.
    _lock: File,
}

impl Store {
    /// Opens the sessions file in `folder`, making both where they are not
    /// there. Sessions the last run did not end are marked as recovered; a
    /// damaged file is set aside under another name and a new one is made.
    pub fn open(folder: &Path) -> Result<Store, StoreError> {
        let file = folder.join(SESSIONS_FILE);
        // The folder itself is what the user can do something about.
        let io = |e: io::Error| StoreError::io(&file, &e);
        std::fs::DirBuilder::new()
            .recursive(true)
            .mode(0o700)
            .create(folder)
            .map_err(io)?;
        let lock = lock(folder)?;
        let mut set_aside = None;
        let connection = match connect(&file) {
            Err(StoreError::Damaged { why, .. }) => {
                let aside = move_aside(&file).map_err(io)?;
                tracing::error!(file = %aside.display(), %why, "damaged sessions file set aside");
                set_aside = Some(aside);
                connect(&file)?
            }
            other => other?,
        };
        let identity = identity_of(&file).map_err(io)?;
        let mut store = Store {
            connection,
            file,
            identity,
            recovered: Vec::new(),
            set_aside,
            _lock: lock,
        };
        store.recover()?;
        Ok(store)
    }

    /// The sessions that had no proper end when the store was opened, and
    /// what is in them.
    pub fn recovered(&self) -> &[SessionSummary] {
        &self.recovered
    }

    /// Where a damaged sessions file was moved to when the store was opened.
    pub fn set_aside(&self) -> Option<&Path> {
        self.set_aside.as_deref()
    }

    /// The sessions file.
    pub fn file(&self) -> &Path {
        &self.file
    }

    /// Begins a session; it is on the disk when this returns.
    pub fn begin_session(&mut self, info: &SessionInfo) -> Result<SessionId, StoreError> {
        self.check_still_there()?;
        let token = new_token(info);
        let text =
            |v: serde_json::Result<String>| v.map_err(|e| StoreError::Encoding(e.to_string()));
        let source = text(serde_json::to_string(&info.source))?;
        let lane = text(serde_json::to_string(&info.lane))?;
        let engine = text(serde_json::to_string(&info.engine))?;
        self.connection
            .execute(
                "INSERT INTO sessions (token, started_at, state, source, lane, engine, age_group)
                 VALUES (?1, ?2, 'open', ?3, ?4, ?5, ?6)",
                params![
                    token,
                    info.started.to_string(),
                    source,
                    lane,
                    engine,
                    info.age_group.name()
                ],
            )
            .map_err(|e| StoreError::sqlite(&self.file, e))?;
        Ok(SessionId {
            row: self.connection.last_insert_rowid(),
            token,
        })
    }

    /// Takes up a session again after the store was opened anew; `false`
    /// where this file does not hold it.
    pub fn resume_session(&mut self, session: &SessionId) -> Result<bool, StoreError> {
        let changed = self
            .connection
            .execute(
                "UPDATE sessions SET state = 'open', ended_at = NULL WHERE id = ?1 AND token = ?2",
                params![session.row, session.token],
            )
            .map_err(|e| StoreError::sqlite(&self.file, e))?;
        if changed == 1 {
            self.recovered.retain(|s| s.id != *session);
        }
        Ok(changed == 1)
    }

    /// Writes one pass and its cue. When this returns the pass is on the
    /// disk and outlives a kill or a power cut. Writing the same pass again
    /// changes nothing.
    pub fn write_pass(
        &mut self,
        session: &SessionId,
        pass: &JudgedPass,
        cue: &Cue,
    ) -> Result<(), StoreError> {
        self.check_still_there()?;
        let cue_text = cue_to_json(cue)?.to_string();
        let file = &self.file;
        let fault = |e| StoreError::sqlite(file, e);
        let transaction = self.connection.transaction().map_err(fault)?;
        if let Some(same) = already_stored(&transaction, session, pass, cue).map_err(fault)? {
            return if same {
                Ok(())
            } else {
                Err(StoreError::DuplicatePass {
                    number: cue.pass_number,
                })
            };
        }
        insert_pass(&transaction, session, pass, cue.pass_number, &cue_text).map_err(fault)?;
        transaction.commit().map_err(fault)
    }

    /// Notes how many passes of the session could not be kept.
    pub fn note_lost(&mut self, session: &SessionId, passes: u64) -> Result<(), StoreError> {
        let passes = i64::try_from(passes).unwrap_or(i64::MAX);
        self.connection
            .execute(
                "UPDATE sessions SET passes_lost = ?2 WHERE id = ?1",
                params![session.row, passes],
            )
            .map(|_| ())
            .map_err(|e| StoreError::sqlite(&self.file, e))
    }

    /// Ends a session properly.
    pub fn end_session(&mut self, session: &SessionId) -> Result<(), StoreError> {
        self.check_still_there()?;
        self.connection
            .execute(
                "UPDATE sessions SET state = 'closed', ended_at = ?2 WHERE id = ?1",
                params![session.row, Zoned::now().to_string()],
            )
            .map(|_| ())
            .map_err(|e| StoreError::sqlite(&self.file, e))
    }

    /// The lock says that no other run records here, so every session still
    /// open belongs to a run that was stopped in the middle.
    fn recover(&mut self) -> Result<(), StoreError> {
        let mut found = self.sessions()?;
        found.retain(|s| s.state == SessionState::Open);
        if found.is_empty() {
            return Ok(());
        }
        self.connection
            .execute(
                "UPDATE sessions SET state = 'recovered', ended_at =
                   (SELECT max(written_at) FROM passes WHERE session_id = sessions.id)
                 WHERE state = 'open'",
                [],
            )
            .map_err(|e| StoreError::sqlite(&self.file, e))?;
        let mut now = self.sessions()?;
        now.retain(|s| found.iter().any(|f| f.id == s.id));
        for session in &now {
            tracing::warn!(
                session = session.id.row,
                passes = session.passes,
                "a session that was not ended properly was recovered"
            );
        }
        self.recovered = now;
        Ok(())
    }

    fn check_still_there(&self) -> Result<(), StoreError> {
        match identity_of(&self.file) {
            Ok(now) if now == self.identity => Ok(()),
            _ => Err(StoreError::Gone {
                file: self.file.clone(),
            }),
        }
    }
}

fn lock(folder: &Path) -> Result<File, StoreError> {
    let path = folder.join(LOCK_FILE);
    let file = OpenOptions::new()
        .create(true)
        .truncate(false)
        .write(true)
        .mode(0o600)
        .open(&path)
        .map_err(|e| StoreError::io(&path, &e))?;
    match file.try_lock() {
        Ok(()) => Ok(file),
        Err(TryLockError::WouldBlock) => Err(StoreError::InUse {
            folder: folder.to_owned(),
        }),
        Err(TryLockError::Error(e)) => Err(StoreError::io(&path, &e)),
    }
}

/// Makes an empty file only its owner can read, or makes an old one so.
/// SQLite gives its side files the same permissions.
pub(super) fn create_private(file: &Path) -> io::Result<()> {
    OpenOptions::new()
        .create(true)
        .truncate(false)
        .write(true)
        .mode(0o600)
        .open(file)?
        .set_permissions(std::fs::Permissions::from_mode(0o600))
}

fn connect(file: &Path) -> Result<Connection, StoreError> {
    let fault = |e| StoreError::sqlite(file, e);
    create_private(file).map_err(|e| StoreError::io(file, &e))?;
    let mut connection = Connection::open_with_flags(
        file,
        OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX,
    )
    .map_err(fault)?;
    connection
        .busy_timeout(Duration::from_secs(2))
        .map_err(fault)?;
    // FULL: in WAL mode, NORMAL may lose the last commits on a power cut.
    connection
        .execute_batch(
            "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON;",
        )
        .map_err(fault)?;
    let check: String = connection
        .query_row("PRAGMA quick_check(1)", [], |row| row.get(0))
        .map_err(|e| match fault(e) {
            // The check could not even be made: what describes the tables is
            // damaged in a way that SQLite takes for a fault of the question.
            StoreError::Database { file, why } if !disk_fails(&why) => {
                StoreError::Damaged { file, why }
            }
            other => other,
        })?;
    if check != "ok" {
        return Err(StoreError::Damaged {
            file: file.to_owned(),
            why: check,
        });
    }
    migrate(&mut connection, file, MIGRATIONS)?;
    crate::config::sync_folder_of(file).map_err(|e| StoreError::io(file, &e))?;
    Ok(connection)
}

/// SQLite's words for a disk that does not read (sqlite3_errstr of
/// SQLITE_IOERR): then the file may be good.
fn disk_fails(why: &str) -> bool {
    why.contains("disk I/O error")
}

/// Renames a damaged file, with its side files, to a name not yet taken.
fn move_aside(file: &Path) -> io::Result<PathBuf> {
    let with = |path: &Path, ending: &str| {
        let mut name = path.as_os_str().to_owned();
        name.push(ending);
        PathBuf::from(name)
    };
    let stamp = Zoned::now().strftime("%Y%m%d-%H%M%S").to_string();
    let mut aside = with(file, &format!(".damaged-{stamp}"));
    let mut n = 1;
    while aside.exists() {
        n += 1;
        aside = with(file, &format!(".damaged-{stamp}-{n}"));
    }
    std::fs::rename(file, &aside)?;
    for side in ["-wal", "-shm"] {
        match std::fs::rename(with(file, side), with(&aside, side)) {
            Err(e) if e.kind() != io::ErrorKind::NotFound => return Err(e),
            _ => {}
        }
    }
    Ok(aside)
}

fn identity_of(file: &Path) -> io::Result<(u64, u64)> {
    let meta = std::fs::metadata(file)?;
    Ok((meta.dev(), meta.ino()))
}

/// Different for every session that can meet another in one file.
fn new_token(info: &SessionInfo) -> String {
    static COUNT: AtomicU64 = AtomicU64::new(0);
    format!(
        "{}-{}-{}",
        info.started.timestamp().as_nanosecond(),
        std::process::id(),
        COUNT.fetch_add(1, Ordering::Relaxed)
    )
}

/// `Some(true)`: this very pass is there; `Some(false)`: another one has its
/// number.
fn already_stored(
    transaction: &Transaction<'_>,
    session: &SessionId,
    pass: &JudgedPass,
    cue: &Cue,
) -> rusqlite::Result<Option<bool>> {
    transaction
        .query_row(
            "SELECT track_id, ended_at_s FROM passes WHERE session_id = ?1 AND number = ?2",
            params![session.row, cue.pass_number],
            |row| {
                let track: u32 = row.get(0)?;
                let ended: Option<f64> = row.get(1)?;
                Ok(track == pass.track_id && ended == finite(pass.ended_at_s))
            },
        )
        .optional()
}

fn insert_pass(
    transaction: &Transaction<'_>,
    session: &SessionId,
    pass: &JudgedPass,
    number: u32,
    cue_text: &str,
) -> rusqlite::Result<()> {
    let thresholds = thresholds_to_json(&pass.thresholds).to_string();
    transaction.execute(
        "INSERT OR IGNORE INTO threshold_sets (content) VALUES (?1)",
        [&thresholds],
    )?;
    let set: i64 = transaction.query_row(
        "SELECT id FROM threshold_sets WHERE content = ?1",
        [&thresholds],
        |row| row.get(0),
    )?;
    transaction.execute(
        "INSERT INTO passes (session_id, number, track_id, started_at_s, ended_at_s, speed_mps,
                             view, threshold_set_id, cue, written_at)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
        params![
            session.row,
            number,
            pass.track_id,
            finite(pass.started_at_s),
            finite(pass.ended_at_s),
            finite(pass.speed_mps),
            pass.view.name(),
            set,
            cue_text,
            Zoned::now().to_string(),
        ],
    )?;
    let pass_row = transaction.last_insert_rowid();
    for (position, push) in pass.pushes.iter().enumerate() {
        insert_push(transaction, pass_row, position, push)?;
    }
    let mut measures = transaction.prepare_cached(
        "INSERT INTO pass_measures (pass_id, measure, value, uncertainty, judged, reason)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
    )?;
    for (quantity, measure) in QUANTITIES.iter().zip(&pass.quantities) {
        let m = storable(measure);
        measures.execute(params![
            pass_row,
            quantity.key,
            m.value,
            m.uncertainty,
            m.judged,
            m.reason
        ])?;
    }
    Ok(())
}

fn insert_push(
    transaction: &Transaction<'_>,
    pass_row: i64,
    position: usize,
    push: &JudgedPush,
) -> rusqlite::Result<()> {
    transaction
        .prepare_cached(
            "INSERT INTO pushes (pass_id, position, leg, near_leg, push_start_s, toe_off_s)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
        )?
        .execute(params![
            pass_row,
            position as i64,
            leg_name(push.leg),
            push.near_leg,
            finite(push.push_start_s),
            finite(push.toe_off_s),
        ])?;
    let push_row = transaction.last_insert_rowid();
    let mut measures = transaction.prepare_cached(
        "INSERT INTO measures (push_id, measure, value, uncertainty, judged, reason)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
    )?;
    for (rule, measure) in RULES.iter().zip(&push.measures) {
        let m = storable(measure);
        measures.execute(params![
            push_row,
            rule.measure,
            m.value,
            m.uncertainty,
            m.judged,
            m.reason
        ])?;
    }
    let mut flags = transaction.prepare_cached(
        "INSERT INTO flags (push_id, position, rule, value, limit_value)
         VALUES (?1, ?2, ?3, ?4, ?5)",
    )?;
    for (position, flag) in push.flags.iter().enumerate() {
        flags.execute(params![
            push_row,
            position as i64,
            flag.rule,
            finite(flag.value),
            finite(flag.limit)
        ])?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::{Lane, View};
    use crate::feedback::CueKind;
    use crate::rules::{AgeGroup, Leg, Measure, Thresholds};
    use crate::store::{EngineInfo, SourceInfo, SourceKind};

    fn session() -> SessionInfo {
        let lane = include_str!("../../config/lane-side.toml");
        SessionInfo {
            source: SourceInfo {
                kind: SourceKind::Camera,
                name: "rink".to_owned(),
                width: 1280,
                height: 720,
                frames_per_second: None,
                frames: None,
            },
            lane: Lane::from_toml(lane, "lane-side.toml").unwrap(),
            engine: EngineInfo {
                program_version: "0".to_owned(),
                backend: "embedded".to_owned(),
                model: "full".to_owned(),
                model_sha256: None,
            },
            age_group: AgeGroup::U13,
            started: Zoned::now(),
        }
    }

    fn pass(number: u32) -> (JudgedPass, Cue) {
        let push = JudgedPush {
            leg: Leg::Left,
            near_leg: None,
            push_start_s: 0.0,
            toe_off_s: 0.5,
            measures: vec![Measure::not_judged("long words ".repeat(50)); RULES.len()],
            flags: Vec::new(),
        };
        let pass = JudgedPass {
            track_id: number,
            started_at_s: 0.0,
            ended_at_s: f64::from(number),
            speed_mps: 5.0,
            view: View::Side,
            thresholds: Thresholds::defaults(AgeGroup::U13),
            pushes: vec![push; 4],
            quantities: vec![Measure::not_judged("long words ".repeat(50)); QUANTITIES.len()],
        };
        let cue = Cue {
            pass_number: number,
            track_id: number,
            kind: CueKind::Praise,
        };
        (pass, cue)
    }

    /// SQLite's page limit answers with the same code as a full disk
    /// (SQLITE_FULL, sqlite.org/rescode.html).
    #[test]
    fn a_full_disk_refuses_a_whole_pass_and_takes_it_later() {
        let dir = tempfile::tempdir().unwrap();
        let mut store = Store::open(dir.path()).unwrap();
        let id = store.begin_session(&session()).unwrap();
        let limit = |store: &Store, pages: u32| {
            let set: u32 = store
                .connection
                .query_row(&format!("PRAGMA max_page_count = {pages}"), [], |r| {
                    r.get(0)
                })
                .unwrap();
            set
        };
        limit(&store, 30);
        let mut written = 0;
        let refused = loop {
            let (pass, cue) = pass(written + 1);
            match store.write_pass(&id, &pass, &cue) {
                Ok(()) => written += 1,
                Err(e) => break e,
            }
            assert!(written < 100, "the limit never came");
        };
        assert!(matches!(refused, StoreError::Full { .. }), "{refused}");
        assert!(!refused.is_permanent());
        let stored = |store: &Store| store.load_session(id.row).unwrap().passes;
        assert_eq!(stored(&store).len(), written as usize);

        limit(&store, 10_000);
        let (last, cue) = pass(written + 1);
        store.write_pass(&id, &last, &cue).unwrap();
        let back = stored(&store);
        assert_eq!(back.len(), written as usize + 1);
        assert!(
            back.iter()
                .all(|p| p.pass.pushes.len() == 4 && p.pass.pushes[3].measures.len() == RULES.len())
        );
    }

    #[test]
    fn a_file_from_before_the_quantities_is_brought_up_and_says_so() {
        let dir = tempfile::tempdir().unwrap();
        let id = {
            let mut store = Store::open(dir.path()).unwrap();
            let id = store.begin_session(&session()).unwrap();
            let (pass, cue) = pass(1);
            store.write_pass(&id, &pass, &cue).unwrap();
            // back to how the first version left it
            store
                .connection
                .execute_batch("DROP TABLE pass_measures; PRAGMA user_version = 1;")
                .unwrap();
            id
        };
        let mut store = Store::open(dir.path()).unwrap();
        let old = store.load_session(id.row).unwrap().passes[0].pass.clone();
        assert_eq!(old.pushes, pass(1).0.pushes);
        assert_eq!(old.quantities.len(), QUANTITIES.len());
        assert!(old.quantities.iter().all(|q| !q.judged
            && q.value.is_none()
            && q.reason.contains("not measured when this pass was stored")));
        let copy = dir.path().join(format!("{SESSIONS_FILE}.before-version-2"));
        assert!(copy.exists());

        let (mut new, cue) = pass(2);
        new.quantities[0] = Measure::judged(2.5, 0.05, "mean of 4 steps");
        store.write_pass(&id, &new, &cue).unwrap();
        assert_eq!(store.load_session(id.row).unwrap().passes[1].pass, new);
    }
}
