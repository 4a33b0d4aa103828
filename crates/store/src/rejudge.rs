//! Passes that were judged anew: new measures and flags in the place of the old
//! ones, which are kept beside them with the day and what they were replaced from.

use jiff::Zoned;
use rusqlite::{Transaction, params};
use serde_json::{Map, Value, json};

use super::archive::Archive;
use super::codec::{Stored, finite, leg_name, thresholds_to_json};
use super::insert::{insert_measures_of_pass, insert_measures_of_push, threshold_set};
use super::{PassKey, StoreError, StoredPass, whole};
use crate::rules::{JudgedPass, Measure, QuantityMap, RuleMap};

/// From what a pass was judged anew.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Basis {
    /// From its body points: measured and judged.
    Points,
    /// From the values that were stored, held against other limits.
    Values,
}

impl Basis {
    /// The word in the file.
    pub fn name(self) -> &'static str {
        match self {
            Basis::Points => "points",
            Basis::Values => "values",
        }
    }
}

/// What a pass was judged like before.
#[derive(Debug, Clone, PartialEq)]
pub struct EarlierJudgement {
    /// Wall clock of its replacement, RFC 9557.
    pub replaced_at: String,
    /// Version of the program that judged anew.
    pub program_version: String,
    /// From what that was: `points` or `values`.
    pub basis: String,
    /// The thresholds, pushes and quantities as they stood.
    pub content: Value,
}

impl Archive {
    /// Puts new judgements in the place of stored ones: all of them, or none where one
    /// cannot be. Pushes stay the pushes they were, with what the coach wrote to them;
    /// the cue that was given stays as well.
    ///
    /// # Errors
    /// A pass that is not there any more or has other pushes; a disk that does not
    /// take it.
    pub fn rejudge(
        &self,
        passes: &[(&StoredPass, PassKey, &JudgedPass, Basis)],
        program_version: &str,
    ) -> Result<(), StoreError> {
        self.book.check_still_there()?;
        let transaction = self.book.writing()?;
        let now = Zoned::now().to_string();
        for (old, key, new, basis) in passes {
            let row = self.pass_row(&transaction, *key)?;
            let gone = || {
                StoreError::NotThere(format!(
                    "pass {} of session {} as it was read",
                    key.number, key.session
                ))
            };
            let pushes = push_rows(&transaction, row).map_err(|e| self.book.fault(e))?;
            if pushes.len() != new.pushes.len() || old.pass.pushes.len() != pushes.len() {
                return Err(gone());
            }
            transaction
                .execute(
                    "INSERT INTO earlier_judgements
                         (pass_id, replaced_at, program_version, basis, content)
                     VALUES (?1, ?2, ?3, ?4, ?5)",
                    params![
                        row,
                        now,
                        program_version,
                        basis.name(),
                        content(&old.pass).to_string()
                    ],
                )
                .and_then(|_| replace(&transaction, row, &pushes, new))
                .map_err(|e| self.book.fault(e))?;
        }
        transaction.commit().map_err(|e| self.book.fault(e))?;
        self.book.make_sure()
    }

    /// What a pass was judged like before, oldest first; empty where it was judged once.
    pub fn earlier_judgements(&self, pass: PassKey) -> Result<Vec<EarlierJudgement>, StoreError> {
        let fault = |e| self.book.fault(e);
        let rows: Vec<(EarlierJudgement, String)> = self
            .book
            .connection
            .prepare_cached(
                "SELECT e.replaced_at, e.program_version, e.basis, e.content
                 FROM earlier_judgements e JOIN passes p ON p.id = e.pass_id
                 WHERE p.session_id = ?1 AND p.number = ?2 ORDER BY e.id",
            )
            .and_then(|mut s| {
                s.query_map(params![pass.session, pass.number], |r| {
                    let earlier = EarlierJudgement {
                        replaced_at: r.get(0)?,
                        program_version: r.get(1)?,
                        basis: r.get(2)?,
                        content: Value::Null,
                    };
                    Ok((earlier, r.get(3)?))
                })?
                .collect()
            })
            .map_err(fault)?;
        rows.into_iter()
            .map(|(earlier, text)| {
                let content = serde_json::from_str(&text)
                    .map_err(|_| self.book.damaged("an earlier judgement is unreadable"))?;
                Ok(EarlierJudgement { content, ..earlier })
            })
            .collect()
    }
}

fn push_rows(transaction: &Transaction<'_>, pass_row: i64) -> rusqlite::Result<Vec<i64>> {
    transaction
        .prepare_cached("SELECT id FROM pushes WHERE pass_id = ?1 ORDER BY position")?
        .query_map([pass_row], |r| r.get(0))?
        .collect()
}

fn replace(
    transaction: &Transaction<'_>,
    pass_row: i64,
    pushes: &[i64],
    new: &JudgedPass,
) -> rusqlite::Result<()> {
    let set = threshold_set(transaction, &new.thresholds)?;
    transaction.execute(
        "UPDATE passes SET threshold_set_id = ?2 WHERE id = ?1",
        params![pass_row, set],
    )?;
    for (row, push) in pushes.iter().zip(&new.pushes) {
        transaction
            .prepare_cached(
                "UPDATE pushes SET near_leg = ?2, push_start_s = ?3, toe_off_s = ?4 WHERE id = ?1",
            )?
            .execute(params![
                row,
                push.near_leg,
                finite(push.push_start_s),
                finite(push.toe_off_s)
            ])?;
        for table in ["measures", "flags"] {
            transaction
                .prepare_cached(&format!("DELETE FROM {table} WHERE push_id = ?1"))?
                .execute([row])?;
        }
        insert_measures_of_push(transaction, *row, push)?;
    }
    transaction
        .prepare_cached("DELETE FROM pass_measures WHERE pass_id = ?1")?
        .execute([pass_row])?;
    insert_measures_of_pass(transaction, pass_row, &new.quantities)?;
    whole::seal(transaction, pass_row)?;
    Ok(())
}

/// A judgement with every digit it had.
fn content(pass: &JudgedPass) -> Value {
    let pushes: Vec<Value> = pass
        .pushes
        .iter()
        .map(|push| {
            let flags: Vec<Value> = push
                .flags
                .iter()
                .map(|f| {
                    json!({
                        "rule": f.rule.code(),
                        "value": finite(f.value),
                        "limit": finite(f.limit),
                    })
                })
                .collect();
            json!({
                "leg": leg_name(push.leg),
                "near_leg": push.near_leg,
                "push_start_s": finite(push.push_start_s),
                "toe_off_s": finite(push.toe_off_s),
                "measures": of_rules(&push.measures),
                "flags": flags,
            })
        })
        .collect();
    json!({
        "thresholds": thresholds_to_json(&pass.thresholds),
        "pushes": pushes,
        "quantities": of_quantities(&pass.quantities),
    })
}

fn of_rules(measures: &RuleMap<Measure>) -> Map<String, Value> {
    let named = measures.iter().map(|(rule, m)| (rule.rule().measure, m));
    named
        .map(|(name, m)| (name.to_owned(), stored(m)))
        .collect()
}

fn of_quantities(measures: &QuantityMap<Measure>) -> Map<String, Value> {
    let named = measures.iter().map(|(quantity, m)| (quantity.code(), m));
    named
        .map(|(name, m)| (name.to_owned(), stored(m)))
        .collect()
}

fn stored(measure: &Measure) -> Value {
    let m = Stored::of(measure);
    json!({
        "value": m.value,
        "uncertainty": m.uncertainty,
        "judged": m.judged,
        "reason": m.reason,
    })
}
