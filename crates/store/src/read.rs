//! The sessions file, read back.

use jiff::Zoned;
use rusqlite::{OptionalExtension, Row, params};

use super::codec::{Stored, by_id, cue_from_json, thresholds_from_json};
use super::connection::Book;
use super::{
    PushNote, SessionId, SessionInfo, SessionState, SessionSummary, StoreError, StoredPass,
    StoredSession, StripInfo, Verdict, whole,
};
use crate::config::View;
use crate::roster::SkaterId;
use crate::rules::{
    AgeGroup, Flag, JudgedPass, JudgedPush, Leg, Measure, QuantityId, QuantityMap, RuleId, RuleMap,
};

const SUMMARY: &str = "SELECT s.id, s.token, s.started_at, s.ended_at, s.state, s.passes_lost,
    (SELECT count(*) FROM passes p WHERE p.session_id = s.id) FROM sessions s";

impl Book {
    pub(super) fn sessions(&self) -> Result<Vec<SessionSummary>, StoreError> {
        let fault = |e| StoreError::sqlite(&self.file, e);
        let mut statement = self
            .connection
            .prepare(&format!("{SUMMARY} ORDER BY s.id"))
            .map_err(fault)?;
        let rows = statement.query_map([], summary).map_err(fault)?;
        rows.collect::<rusqlite::Result<_>>().map_err(fault)
    }

    pub(super) fn load_session(&self, id: i64) -> Result<StoredSession, StoreError> {
        let fault = |e| StoreError::sqlite(&self.file, e);
        let summary = self
            .connection
            .query_row(&format!("{SUMMARY} WHERE s.id = ?1"), [id], summary)
            .optional()
            .map_err(fault)?
            .ok_or_else(|| StoreError::NoSession {
                id,
                file: self.file.clone(),
            })?;
        let info = self.session_info(id)?;
        let mut statement = self
            .connection
            .prepare(
                "SELECT p.id, p.track_id, p.started_at_s, p.ended_at_s, p.speed_mps, p.view,
                        t.content, p.cue, p.number, p.skater_id, p.lane,
                        EXISTS (SELECT 1 FROM pass_points o WHERE o.pass_id = p.id),
                        p.engine, p.source, p.check_sum
                 FROM passes p JOIN threshold_sets t ON t.id = p.threshold_set_id
                 WHERE p.session_id = ?1 ORDER BY p.number",
            )
            .map_err(fault)?;
        let rows: Vec<PassRow> = statement
            .query_map([id], PassRow::read)
            .and_then(Iterator::collect)
            .map_err(fault)?;
        let mut passes = Vec::with_capacity(rows.len());
        let mut damaged = Vec::new();
        for row in rows {
            let number = row.number;
            // One bad pass does not take the evening with it.
            match self.load_pass(row) {
                Ok(pass) => passes.push(pass),
                Err(StoreError::Damaged { why, .. }) => {
                    tracing::error!(session = id, pass = number, %why, "a pass was left out");
                    damaged.push(number);
                }
                Err(error) => return Err(error),
            }
        }
        Ok(StoredSession {
            summary,
            info,
            passes,
            damaged,
        })
    }

    /// What was known of a session at its beginning.
    pub(super) fn session_info(&self, id: i64) -> Result<SessionInfo, StoreError> {
        let [source, lane, engine, group, started]: [String; 5] = self
            .connection
            .query_row(
                "SELECT source, lane, engine, age_group, started_at FROM sessions WHERE id = ?1",
                [id],
                |r| Ok([r.get(0)?, r.get(1)?, r.get(2)?, r.get(3)?, r.get(4)?]),
            )
            .map_err(|e| StoreError::sqlite(&self.file, e))?;
        let bad = |what: &str| self.damaged(&format!("the {what} of a session is unreadable"));
        Ok(SessionInfo {
            source: serde_json::from_str(&source).map_err(|_| bad("source"))?,
            lane: serde_json::from_str(&lane).map_err(|_| bad("lane"))?,
            engine: serde_json::from_str(&engine).map_err(|_| bad("engine"))?,
            age_group: AgeGroup::from_name(&group).ok_or_else(|| bad("age group"))?,
            started: started.parse::<Zoned>().map_err(|_| bad("beginning"))?,
        })
    }

    fn load_pass(&self, row: PassRow) -> Result<StoredPass, StoreError> {
        let bad = |what: &str| self.damaged(&format!("the {what} of a pass is unreadable"));
        let json = |text: &str, what| serde_json::from_str(text).map_err(|_| bad(what));
        let fault = |e| StoreError::sqlite(&self.file, e);
        if let Some(written) = row.check_sum {
            let now = whole::pass_sum(&self.connection, row.id).map_err(fault)?;
            if i64::from(now) != written {
                return Err(self.damaged("a pass does not read as it was written"));
            }
        }
        let mut statement = self
            .connection
            .prepare_cached(
                "SELECT id, leg, near_leg, push_start_s, toe_off_s, quality FROM pushes
                 WHERE pass_id = ?1 ORDER BY position",
            )
            .map_err(fault)?;
        let mut notes = Vec::new();
        let pushes = statement
            .query_map([row.id], |r| {
                Ok((
                    r.get::<_, i64>(0)?,
                    r.get::<_, Option<String>>(5)?,
                    JudgedPush {
                        quality: None,
                        leg: match r.get_ref(1)?.as_str()? {
                            "left" => Leg::Left,
                            _ => Leg::Right,
                        },
                        near_leg: r.get(2)?,
                        push_start_s: number(r, 3)?,
                        toe_off_s: number(r, 4)?,
                        measures: by_id(|rule: RuleId| rule.rule().measure, Vec::new()),
                        flags: Vec::new(),
                    },
                ))
            })
            .and_then(Iterator::collect::<rusqlite::Result<Vec<_>>>)
            .map_err(fault)?
            .into_iter()
            .map(|(id, quality, mut push)| {
                push.quality = quality
                    .map(|text| serde_json::from_str(&text).map_err(|_| bad("quality")))
                    .transpose()?;
                notes.push(self.load_note(id)?);
                push.measures = self.load_measures(id)?;
                push.flags = self.load_flags(id)?;
                Ok(push)
            })
            .collect::<Result<_, StoreError>>()?;
        Ok(StoredPass {
            pass: JudgedPass {
                track_id: row.track_id,
                started_at_s: row.started_at_s,
                ended_at_s: row.ended_at_s,
                speed_mps: row.speed_mps,
                view: View::from_name(&row.view).ok_or_else(|| bad("view"))?,
                thresholds: thresholds_from_json(&json(&row.thresholds, "thresholds")?)
                    .ok_or_else(|| bad("thresholds"))?,
                pushes,
                quantities: self.load_quantities(row.id)?,
            },
            cue: cue_from_json(&json(&row.cue, "cue")?).ok_or_else(|| bad("cue"))?,
            number: row.number,
            skater: row.skater,
            notes,
            strips: self.load_strips(row.id)?,
            has_points: row.has_points,
            lane: row
                .lane
                .map(|text| serde_json::from_str(&text).map_err(|_| bad("lane")))
                .transpose()?,
            engine: row
                .engine
                .map(|text| serde_json::from_str(&text).map_err(|_| bad("engine")))
                .transpose()?,
            source: row
                .source
                .map(|text| serde_json::from_str(&text).map_err(|_| bad("source")))
                .transpose()?,
        })
    }

    fn load_note(&self, push_row: i64) -> Result<PushNote, StoreError> {
        let fault = |e| self.fault(e);
        let mut note = self
            .connection
            .prepare_cached("SELECT comment, starred FROM push_notes WHERE push_id = ?1")
            .and_then(|mut s| {
                s.query_row([push_row], |r| {
                    Ok(PushNote {
                        comment: r.get(0)?,
                        starred: r.get(1)?,
                        ..PushNote::default()
                    })
                })
                .optional()
            })
            .map_err(fault)?
            .unwrap_or_default();
        let mut statement = self
            .connection
            .prepare_cached("SELECT rule, verdict FROM flag_reviews WHERE push_id = ?1")
            .map_err(fault)?;
        note.verdicts = statement
            .query_map([push_row], |r| {
                let verdict = match r.get_ref(1)?.as_str()? {
                    "confirmed" => Verdict::Confirmed,
                    _ => Verdict::Dismissed,
                };
                Ok(rule(r, 0)?.map(|rule| (rule, verdict)))
            })
            .and_then(|rows| rows.filter_map(Result::transpose).collect())
            .map_err(fault)?;
        Ok(note)
    }

    fn load_strips(&self, pass_row: i64) -> Result<Vec<StripInfo>, StoreError> {
        let fault = |e| self.fault(e);
        let mut statement = self
            .connection
            .prepare_cached(
                "SELECT id, push, rule, flagged_at_s, bytes, faces_blurred FROM picture_strips
                 WHERE pass_id = ?1 ORDER BY push, rule",
            )
            .map_err(fault)?;
        statement
            .query_map([pass_row], |r| {
                let Some(rule) = rule(r, 2)? else {
                    return Ok(None);
                };
                Ok(Some(StripInfo {
                    id: r.get(0)?,
                    push: r.get(1)?,
                    rule,
                    flagged_at_s: r.get(3)?,
                    bytes: r.get::<_, i64>(4)?.max(0) as u64,
                    faces_blurred: r.get(5)?,
                }))
            })
            .and_then(|rows| rows.filter_map(Result::transpose).collect())
            .map_err(fault)
    }

    fn load_measures(&self, push_row: i64) -> Result<RuleMap<Measure>, StoreError> {
        self.load_named(
            "SELECT measure, value, uncertainty, judged, reason FROM measures
             WHERE push_id = ?1",
            push_row,
        )
        .map(|named| by_id(|rule: RuleId| rule.rule().measure, named))
    }

    fn load_quantities(&self, pass_row: i64) -> Result<QuantityMap<Measure>, StoreError> {
        self.load_named(
            "SELECT measure, value, uncertainty, judged, reason FROM pass_measures
             WHERE pass_id = ?1",
            pass_row,
        )
        .map(|named| by_id(QuantityId::code, named))
    }

    fn load_named(&self, query: &str, row: i64) -> Result<Vec<(String, Stored)>, StoreError> {
        let fault = |e| StoreError::sqlite(&self.file, e);
        let mut statement = self.connection.prepare_cached(query).map_err(fault)?;
        statement
            .query_map([row], |r| {
                let measure = Stored {
                    value: r.get(1)?,
                    uncertainty: r.get(2)?,
                    judged: r.get(3)?,
                    reason: r.get(4)?,
                };
                Ok((r.get(0)?, measure))
            })
            .and_then(Iterator::collect)
            .map_err(fault)
    }

    fn load_flags(&self, push_row: i64) -> Result<Vec<Flag>, StoreError> {
        let fault = |e| StoreError::sqlite(&self.file, e);
        let mut statement = self
            .connection
            .prepare_cached(
                "SELECT rule, value, limit_value FROM flags WHERE push_id = ?1 ORDER BY position",
            )
            .map_err(fault)?;
        statement
            .query_map(params![push_row], |r| {
                // A flag of a rule this program does not know is passed over.
                let Some(rule) = rule(r, 0)? else {
                    return Ok(None);
                };
                Ok(Some(Flag {
                    rule,
                    value: number(r, 1)?,
                    limit: number(r, 2)?,
                }))
            })
            .and_then(|rows| rows.filter_map(Result::transpose).collect())
            .map_err(fault)
    }
}

/// `None` for a rule this program does not know.
pub(super) fn rule(row: &Row<'_>, column: usize) -> rusqlite::Result<Option<RuleId>> {
    Ok(RuleId::from_code(row.get_ref(column)?.as_str()?))
}

/// A number that was no number when it was written comes back as `NaN`.
fn number(row: &Row<'_>, column: usize) -> rusqlite::Result<f64> {
    Ok(row.get::<_, Option<f64>>(column)?.unwrap_or(f64::NAN))
}

fn summary(row: &Row<'_>) -> rusqlite::Result<SessionSummary> {
    Ok(SessionSummary {
        id: SessionId {
            row: row.get(0)?,
            token: row.get(1)?,
        },
        started_at: row.get(2)?,
        ended_at: row.get(3)?,
        state: match row.get_ref(4)?.as_str()? {
            "closed" => SessionState::Closed,
            "recovered" => SessionState::Recovered,
            _ => SessionState::Open,
        },
        passes_lost: row.get(5)?,
        passes: row.get(6)?,
    })
}

struct PassRow {
    id: i64,
    track_id: u32,
    started_at_s: f64,
    ended_at_s: f64,
    speed_mps: f64,
    view: String,
    thresholds: String,
    cue: String,
    number: u32,
    skater: Option<SkaterId>,
    lane: Option<String>,
    has_points: bool,
    engine: Option<String>,
    source: Option<String>,
    check_sum: Option<i64>,
}

impl PassRow {
    fn read(row: &Row<'_>) -> rusqlite::Result<Self> {
        Ok(PassRow {
            id: row.get(0)?,
            track_id: row.get(1)?,
            started_at_s: number(row, 2)?,
            ended_at_s: number(row, 3)?,
            speed_mps: number(row, 4)?,
            view: row.get(5)?,
            thresholds: row.get(6)?,
            cue: row.get(7)?,
            number: row.get(8)?,
            skater: row.get::<_, Option<i64>>(9)?.map(SkaterId),
            lane: row.get(10)?,
            has_points: row.get(11)?,
            engine: row.get(12)?,
            source: row.get(13)?,
            check_sum: row.get(14)?,
        })
    }
}
