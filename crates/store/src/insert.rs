//! Writing one pass into the tables.

use jiff::{Timestamp, Zoned};
use rusqlite::{OptionalExtension, Transaction, params};

use super::clips::{self, Laid};
use super::codec::{Stored, cue_to_json, finite, leg_name, thresholds_to_json};
use super::connection::Book;
use super::{NewPass, PictureStrip, SessionId, StoreError, points, whole};
use crate::feedback::Cue;
use crate::roster::SkaterId;
use crate::rules::{JudgedPass, JudgedPush, Measure, QuantityMap, Thresholds};

/// What goes with a pass into the file, made before the file is locked.
struct Made<'n> {
    new: &'n NewPass,
    cue: String,
    lane: Option<String>,
    engine: Option<String>,
    source: Option<String>,
    points: Option<Vec<u8>>,
    laid: Vec<Laid<'n>>,
}

impl<'n> Made<'n> {
    fn of(book: &Book, session: &SessionId, new: &'n NewPass) -> Result<Self, StoreError> {
        Ok(Made {
            new,
            cue: cue_to_json(&new.cue)?.to_string(),
            lane: text(new.lane.as_ref())?,
            engine: text(new.engine.as_ref())?,
            source: text(new.source.as_ref())?,
            points: new.points.as_deref().and_then(points::encode),
            laid: lay_all(book, session, new.cue.pass_number, &new.strips)?,
        })
    }

    /// `false` where its pictures may not be kept.
    fn insert(
        &self,
        book: &Book,
        transaction: &Transaction<'_>,
        session: &SessionId,
    ) -> Result<bool, StoreError> {
        let fault = |e| book.fault(e);
        let new = self.new;
        let stored = already_stored(transaction, session, &new.pass, &new.cue);
        match stored.map_err(fault)? {
            Some(true) => return Ok(true),
            Some(false) => {
                let number = new.cue.pass_number;
                return Err(StoreError::DuplicatePass { number });
            }
            None => {}
        }
        // The skater may have been deleted since the pass was skated.
        let skater = match new.skater {
            Some(id) => known(transaction, id).map_err(fault)?,
            None => None,
        };
        let forgotten = skater.is_none() && new.skater.is_some();
        let row = insert_pass(transaction, session, self, skater).map_err(fault)?;
        if let Some(content) = self.points.as_ref().filter(|_| !forgotten) {
            transaction
                .execute(
                    "INSERT INTO pass_points (pass_id, content) VALUES (?1, ?2)",
                    params![row, content],
                )
                .map_err(fault)?;
        }
        insert_strips(transaction, row, &self.laid).map_err(fault)
    }
}

/// JSON of what there is.
fn text(value: Option<&impl serde::Serialize>) -> Result<Option<String>, StoreError> {
    value
        .map(serde_json::to_string)
        .transpose()
        .map_err(|e| StoreError::Encoding(e.to_string()))
}

/// Writes passes and all that comes with them; see
/// [`super::Store::write_passes`].
pub(super) fn passes(
    book: &Book,
    session: &SessionId,
    news: &[&NewPass],
) -> Result<(), StoreError> {
    let made = news
        .iter()
        .map(|new| Made::of(book, session, new))
        .collect::<Result<Vec<_>, _>>()?;
    let transaction = book.writing()?;
    let mut unwanted = Vec::new();
    for one in &made {
        if !one.insert(book, &transaction, session)? {
            unwanted.push(&one.laid);
        }
    }
    transaction.commit().map_err(|e| book.fault(e))?;
    book.make_sure()?;
    unwanted.into_iter().try_for_each(|laid| let_go(book, laid))
}

/// Writes pictures of a stored pass; see [`super::Store::write_strips`].
pub(super) fn strips(
    book: &Book,
    session: &SessionId,
    number: u32,
    strips: &[PictureStrip],
) -> Result<(), StoreError> {
    let laid = lay_all(book, session, number, strips)?;
    let fault = |e| book.fault(e);
    let transaction = book.writing()?;
    let row: Option<i64> = transaction
        .query_row(
            "SELECT id FROM passes WHERE session_id = ?1 AND number = ?2",
            params![session.row, number],
            |r| r.get(0),
        )
        .optional()
        .map_err(fault)?;
    let kept = match row {
        Some(row) => insert_strips(&transaction, row, &laid).map_err(fault)?,
        None => laid.is_empty(),
    };
    transaction.commit().map_err(fault)?;
    book.make_sure()?;
    if kept { Ok(()) } else { let_go(book, &laid) }
}

fn lay_all<'s>(
    book: &Book,
    session: &SessionId,
    number: u32,
    strips: &'s [PictureStrip],
) -> Result<Vec<Laid<'s>>, StoreError> {
    strips
        .iter()
        .filter(|strip| !strip.shots.is_empty())
        .map(|strip| clips::lay(book.folder(), session.row, number, strip))
        .collect()
}

/// Pictures nobody may have are not left lying about.
fn let_go(book: &Book, laid: &[Laid<'_>]) -> Result<(), StoreError> {
    tracing::info!("pictures of a skater without consent were let go");
    laid.iter()
        .try_for_each(|l| clips::remove(book.folder(), &l.name))
}

fn known(transaction: &Transaction<'_>, id: SkaterId) -> rusqlite::Result<Option<SkaterId>> {
    transaction
        .query_row("SELECT id FROM skaters WHERE id = ?1", [id.0], |r| {
            r.get(0).map(SkaterId)
        })
        .optional()
}

/// Puts strips into the tables, where the skater of the pass consents;
/// `false` where not.
fn insert_strips(
    transaction: &Transaction<'_>,
    pass_row: i64,
    laid: &[Laid<'_>],
) -> rusqlite::Result<bool> {
    if laid.is_empty() {
        return Ok(true);
    }
    let consents: bool = transaction.query_row(
        "SELECT count(*) FROM passes p JOIN skaters s ON s.id = p.skater_id
         WHERE p.id = ?1 AND s.consent_on IS NOT NULL",
        [pass_row],
        |r| r.get::<_, i64>(0).map(|n| n > 0),
    )?;
    if !consents {
        return Ok(false);
    }
    let mut insert = transaction.prepare_cached(
        "INSERT INTO picture_strips (pass_id, push, rule, flagged_at_s, width, height,
             frame_width, frame_height, faces_blurred, file, bytes, shots, kept_since_s)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13)
         ON CONFLICT DO NOTHING",
    )?;
    for l in laid {
        insert.execute(params![
            pass_row,
            l.strip.push,
            l.strip.rule.code(),
            finite(l.strip.flagged_at_s).unwrap_or(0.0),
            l.strip.size_px[0],
            l.strip.size_px[1],
            l.strip.frame_px[0],
            l.strip.frame_px[1],
            l.strip.faces_blurred,
            l.name,
            l.bytes as i64,
            l.shots,
            Timestamp::now().as_second(),
        ])?;
    }
    Ok(true)
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

/// Row of a set of thresholds, which is written once.
pub(super) fn threshold_set(
    transaction: &Transaction<'_>,
    thresholds: &Thresholds,
) -> rusqlite::Result<i64> {
    let content = thresholds_to_json(thresholds).to_string();
    transaction.execute(
        "INSERT OR IGNORE INTO threshold_sets (content) VALUES (?1)",
        [&content],
    )?;
    transaction.query_row(
        "SELECT id FROM threshold_sets WHERE content = ?1",
        [&content],
        |row| row.get(0),
    )
}

fn insert_pass(
    transaction: &Transaction<'_>,
    session: &SessionId,
    made: &Made<'_>,
    skater: Option<SkaterId>,
) -> rusqlite::Result<i64> {
    let new = made.new;
    let pass = &new.pass;
    let set = threshold_set(transaction, &pass.thresholds)?;
    transaction.execute(
        "INSERT INTO passes (session_id, number, track_id, started_at_s, ended_at_s, speed_mps,
                             view, threshold_set_id, cue, written_at, skater_id, lane,
                             engine, source)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14)",
        params![
            session.row,
            new.cue.pass_number,
            pass.track_id,
            finite(pass.started_at_s),
            finite(pass.ended_at_s),
            finite(pass.speed_mps),
            pass.view.name(),
            set,
            made.cue,
            Zoned::now().to_string(),
            skater.map(|s| s.0),
            made.lane,
            made.engine,
            made.source,
        ],
    )?;
    let pass_row = transaction.last_insert_rowid();
    for (position, push) in pass.pushes.iter().enumerate() {
        insert_push(transaction, pass_row, position, push)?;
    }
    insert_measures_of_pass(transaction, pass_row, &pass.quantities)?;
    whole::seal(transaction, pass_row)?;
    Ok(pass_row)
}

/// What is reported of a pass as a whole.
pub(super) fn insert_measures_of_pass(
    transaction: &Transaction<'_>,
    pass_row: i64,
    quantities: &QuantityMap<Measure>,
) -> rusqlite::Result<()> {
    let mut measures = transaction.prepare_cached(
        "INSERT INTO pass_measures (pass_id, measure, value, uncertainty, judged, reason)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
    )?;
    for (quantity, measure) in quantities.iter() {
        let m = Stored::of(measure);
        measures.execute(params![
            pass_row,
            quantity.code(),
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
            "INSERT INTO pushes (pass_id, position, leg, near_leg, push_start_s, toe_off_s, quality)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
        )?
        .execute(params![
            pass_row,
            position as i64,
            leg_name(push.leg),
            push.near_leg,
            finite(push.push_start_s),
            finite(push.toe_off_s),
            // Numbers and nothing else: that can be written.
            push.quality
                .and_then(|quality| serde_json::to_string(&quality.rounded()).ok()),
        ])?;
    insert_measures_of_push(transaction, transaction.last_insert_rowid(), push)
}

/// The measures and flags of a push.
pub(super) fn insert_measures_of_push(
    transaction: &Transaction<'_>,
    push_row: i64,
    push: &JudgedPush,
) -> rusqlite::Result<()> {
    let mut measures = transaction.prepare_cached(
        "INSERT INTO measures (push_id, measure, value, uncertainty, judged, reason)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
    )?;
    for (rule, measure) in push.measures.iter() {
        let m = Stored::of(measure);
        measures.execute(params![
            push_row,
            rule.rule().measure,
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
            flag.rule.code(),
            finite(flag.value),
            finite(flag.limit)
        ])?;
    }
    Ok(())
}
