//! `session.json` of a stored session, with what the coach added.
//!
//! The store's own format (`docs/session-json.md`) and within it the further
//! fields `session`, `number`, `skater`, `bib`, `verdicts`, `comment` and
//! `starred`.

use serde_json::{Map, Value};

use super::ExportError;
use super::dataset::{Material, PassPart, SessionPart};
use super::page::label;
use super::words::ExportWords;
use crate::feedback::{Cue, CueKind};
use crate::rules::Thresholds;
use crate::store::Verdict;
use crate::store::{SessionFile, limits_to_json};

/// The text of the file.
pub fn session_json(
    words: &ExportWords,
    material: &Material,
    session: &SessionPart,
) -> Result<String, ExportError> {
    let thresholds = thresholds_of_group(session);
    let mut file = SessionFile::new(
        session.source.clone(),
        session.lane.clone(),
        session.engine.clone(),
        &thresholds,
        None,
    );
    file.started_at.clone_from(&session.started_at);
    for part in &session.passes {
        file.add_pass(&part.pass, &part.cue, &cue_text(words, &part.cue))?;
    }
    let bad = |e: serde_json::Error| ExportError::Encoding {
        file: "session.json".to_owned(),
        why: e.to_string(),
    };
    let mut value = serde_json::to_value(&file).map_err(bad)?;
    value["session"] = session.number.into();
    value["interrupted"] = session.interrupted.into();
    if let Some(passes) = value.get_mut("passes").and_then(Value::as_array_mut) {
        for (pass, part) in passes.iter_mut().zip(&session.passes) {
            if part.lane != session.lane && !material.anonymous {
                pass["lane"] = serde_json::to_value(&part.lane).map_err(bad)?;
            }
            add_coach(words, material, pass, part);
        }
    }
    Ok(serde_json::to_string_pretty(&value).map_err(bad)? + "\n")
}

/// What the group of the session was judged with: what most passes of that
/// group have, as a skater may have limits of their own. Each pass says its
/// own beside it.
fn thresholds_of_group(session: &SessionPart) -> Thresholds {
    let of_group: Vec<&Thresholds> = session
        .passes
        .iter()
        .map(|p| &p.pass.thresholds)
        .filter(|t| t.age_group == session.age_group)
        .collect();
    let count = |t: &Thresholds| of_group.iter().filter(|other| **other == t).count();
    of_group
        .iter()
        .rev()
        .max_by_key(|t| count(t))
        .map_or_else(|| Thresholds::defaults(session.age_group), |t| (*t).clone())
}

fn add_coach(words: &ExportWords, material: &Material, pass: &mut Value, part: &PassPart) {
    pass["number"] = part.key.number.into();
    // One training may be measured by several models and cameras.
    if let Ok(engine @ Value::Object(_)) = serde_json::to_value(&part.engine) {
        pass["engine"] = engine;
    }
    if let Ok(source @ Value::Object(_)) = serde_json::to_value(&part.source) {
        pass["source"] = source;
    }
    // The thresholds may have been changed during the session, or be a
    // skater's own.
    pass["age_group"] = part.pass.thresholds.age_group.name().into();
    pass["limits"] = part
        .pass
        .thresholds
        .limits
        .iter()
        .map(|(rule, limits)| (rule.code().to_owned(), limits_to_json(limits)))
        .collect::<Map<_, _>>()
        .into();
    let person = part.person.and_then(|i| material.people.get(i));
    pass["skater"] = match person {
        Some(p) if !p.name.is_empty() => p.name.as_str().into(),
        Some(_) => label(words, material, part.person).into(),
        None => Value::Null,
    };
    pass["bib"] = person.and_then(|p| p.bib.as_deref()).into();
    let Some(pushes) = pass.get_mut("pushes").and_then(Value::as_array_mut) else {
        return;
    };
    for (i, push) in pushes.iter_mut().enumerate() {
        let Some(note) = part.note(i) else { continue };
        push["verdicts"] = note
            .verdicts
            .iter()
            .map(|(rule, verdict)| {
                let said = match verdict {
                    Verdict::Confirmed => "confirmed",
                    Verdict::Dismissed => "dismissed",
                };
                (rule.code().to_owned(), said.into())
            })
            .collect::<Map<_, _>>()
            .into();
        push["comment"] = note.comment.as_str().into();
        push["starred"] = note.starred.into();
    }
}

/// What the screen said, in the language of the export.
fn cue_text(words: &ExportWords, cue: &Cue) -> String {
    match &cue.kind {
        CueKind::Do {
            rule, value, limit, ..
        } => words.cue(rule.rule(), *value, *limit).to_owned(),
        CueKind::Praise => words.screen("message.praise").to_owned(),
        CueKind::Improved { rule, .. } => {
            let name = words.name(rule.rule());
            format!("{}: {name}", words.screen("message.improved"))
        }
        CueKind::Unfed { .. } => words.screen("message.unfed").to_owned(),
        CueKind::NotJudged { .. } => words.screen("message.not_judged").to_owned(),
    }
}
