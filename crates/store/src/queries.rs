//! Questions over many passes.

use rusqlite::params;

use super::StoreError;
use super::archive::Archive;
use crate::roster::SkaterId;
use crate::rules::{AgeGroup, RULES, RuleId};

/// One judged measure of one push.
#[derive(Debug, Clone, PartialEq)]
pub struct ValueOf {
    /// Number of the session.
    pub session: i64,
    /// Beginning of the session, as stored.
    pub started_at: String,
    /// The rule whose measure it is.
    pub rule: RuleId,
    /// The value, in the rule's unit.
    pub value: f64,
    /// One standard deviation, same unit, where known.
    pub uncertainty: Option<f64>,
}

impl Archive {
    /// The values of the last `count` pushes of skaters judged as `group` in
    /// which the measure of `rule` was judged, each with one standard deviation
    /// where it was told, newest first.
    pub fn last_values(
        &self,
        rule: RuleId,
        group: AgeGroup,
        count: u32,
    ) -> Result<Vec<(f64, Option<f64>)>, StoreError> {
        self.book
            .connection
            .prepare_cached(
                "SELECT m.value, m.uncertainty FROM passes p
                   JOIN threshold_sets t ON t.id = p.threshold_set_id
                   JOIN pushes u ON u.pass_id = p.id
                   JOIN measures m ON m.push_id = u.id
                 WHERE m.measure = ?1 AND m.judged = 1 AND m.value IS NOT NULL
                   AND json_extract(t.content, '$.age_group') = ?2
                 ORDER BY p.id DESC, u.position DESC LIMIT ?3",
            )
            .and_then(|mut s| {
                s.query_map(params![rule.rule().measure, group.name(), count], |r| {
                    Ok((r.get(0)?, r.get(1)?))
                })?
                .collect()
            })
            .map_err(|e| self.book.fault(e))
    }

    /// Every judged measure of a skater, oldest session first.
    pub fn values_of_skater(&self, skater: SkaterId) -> Result<Vec<ValueOf>, StoreError> {
        self.book
            .connection
            .prepare_cached(
                "SELECT s.id, s.started_at, m.measure, m.value, m.uncertainty FROM passes p
                   JOIN sessions s ON s.id = p.session_id
                   JOIN pushes u ON u.pass_id = p.id
                   JOIN measures m ON m.push_id = u.id
                 WHERE p.skater_id = ?1 AND m.judged = 1 AND m.value IS NOT NULL
                 ORDER BY s.id, p.number, u.position",
            )
            .and_then(|mut s| {
                s.query_map([skater.0], |r| {
                    let measure = r.get_ref(2)?.as_str()?;
                    let Some(rule) = RULES.iter().find(|rule| rule.measure == measure) else {
                        return Ok(None);
                    };
                    Ok(Some(ValueOf {
                        session: r.get(0)?,
                        started_at: r.get(1)?,
                        rule: rule.id,
                        value: r.get(3)?,
                        uncertainty: r.get(4)?,
                    }))
                })?
                .filter_map(Result::transpose)
                .collect()
            })
            .map_err(|e| self.book.fault(e))
    }

    /// When each pass of a session was written, by its number: RFC 9557.
    pub fn written_times(&self, session: i64) -> Result<Vec<(u32, String)>, StoreError> {
        self.book
            .connection
            .prepare_cached("SELECT number, written_at FROM passes WHERE session_id = ?1")
            .and_then(|mut s| {
                s.query_map([session], |r| Ok((r.get(0)?, r.get(1)?)))?
                    .collect()
            })
            .map_err(|e| self.book.fault(e))
    }

    /// Since when the oldest pictures are kept, seconds since 1970 UTC.
    pub fn oldest_pictures_s(&self) -> Result<Option<i64>, StoreError> {
        self.book
            .connection
            .query_row("SELECT min(kept_since_s) FROM picture_strips", [], |r| {
                r.get(0)
            })
            .map_err(|e| self.book.fault(e))
    }
}
