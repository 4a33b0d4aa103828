//! The tables of pushes and of passes: their columns are made from the rules
//! and the quantities, their rows from the passes.
//!
//! A name ends with its unit. Angles at the knee stand twice, as the included
//! angle that is measured (180 is straight) and as flexion, 180 less that.

use crate::feedback::CueKind;
use crate::rules::{
    JudgedPush, Leg, QUANTITIES, Quantity, QuantityUnit, RULES, Rule, RuleId, Unit,
};

pub use kickplate_table::{Cell, Column, Kind, Table};

use super::dataset::{Material, PassPart, SessionPart};
use super::words::ExportWords;
use crate::store::Verdict;

fn column(name: impl Into<String>, kind: Kind) -> Column {
    Column {
        name: name.into(),
        kind,
    }
}

/// `glide_knee_included_deg` -> `glide_knee_included`.
pub(super) fn stem(rule: &Rule) -> &'static str {
    let ending = match rule.unit {
        Unit::Deg => "_deg",
        Unit::Metre => "_m",
    };
    rule.measure.strip_suffix(ending).unwrap_or(rule.measure)
}

/// `stride_rate_hz` -> `stride_rate`.
pub(super) fn stem_of_quantity(quantity: &Quantity) -> &'static str {
    let key = quantity.id.code();
    key.strip_suffix(quantity.unit.suffix())
        .and_then(|k| k.strip_suffix('_'))
        .unwrap_or(key)
}

/// The column of the flexion, for rules that measure an included angle.
fn flexion_column(rule: &Rule) -> Option<String> {
    (rule.unit == Unit::Deg)
        .then(|| stem(rule).strip_suffix("_included"))
        .flatten()
        .map(|stem| format!("{stem}_flexion_deg"))
}

fn places(unit: Unit) -> usize {
    match unit {
        Unit::Deg => 2,
        Unit::Metre => 4,
    }
}

/// How somebody stands in tables; text and number apart.
fn who(material: &Material, words: &ExportWords, part: &PassPart) -> [Cell; 2] {
    let Some((i, person)) = part.person.and_then(|i| Some((i, material.people.get(i)?))) else {
        return [Cell::Empty, Cell::Empty];
    };
    let name = if person.name.is_empty() {
        words.fill("page.skater_number", &[("n", &(i + 1).to_string())])
    } else {
        person.name.clone()
    };
    [
        name.as_str().into(),
        person.bib.as_deref().unwrap_or_default().into(),
    ]
}

/// One row a push. `flagged_only` leaves out pushes nothing stands against.
pub fn pushes(material: &Material, words: &ExportWords, flagged_only: bool) -> Table {
    let mut columns = vec![
        column("session", Kind::Whole),
        column("session_started_at", Kind::Text),
        column("pass", Kind::Whole),
        column("push", Kind::Whole),
        column("skater", Kind::Text),
        column("bib", Kind::Text),
        column("age_group", Kind::Text),
        column("view", Kind::Text),
        column("leg", Kind::Text),
        column("near_leg", Kind::Flag),
        column("push_start_s", Kind::Number(4)),
        column("toe_off_s", Kind::Number(4)),
        column("flagged", Kind::Flag),
        column("starred", Kind::Flag),
        column("comment", Kind::Text),
    ];
    for rule in RULES {
        let (stem, unit) = (stem(rule), rule.unit.suffix());
        let number = Kind::Number(places(rule.unit));
        columns.push(column(rule.measure, number));
        columns.extend(flexion_column(rule).map(|name| column(name, number)));
        columns.push(column(format!("{stem}_uncertainty_{unit}"), number));
        columns.push(column(format!("{stem}_judged"), Kind::Flag));
        columns.push(column(format!("{stem}_reason"), Kind::Text));
        columns.push(column(format!("{stem}_flagged"), Kind::Flag));
        columns.push(column(format!("{stem}_at_least_{unit}"), number));
        columns.push(column(format!("{stem}_at_most_{unit}"), number));
        columns.push(column(format!("{stem}_dead_band_{unit}"), number));
        columns.push(column(format!("{stem}_verdict"), Kind::Text));
    }
    let mut rows = Vec::new();
    for (session, part) in material.passes() {
        for (i, push) in part.pass.pushes.iter().enumerate() {
            if flagged_only && part.standing(i).next().is_none() {
                continue;
            }
            rows.push(push_row(material, words, (session, part), (i, push)));
        }
    }
    Table { columns, rows }
}

fn push_row(
    material: &Material,
    words: &ExportWords,
    (session, part): (&SessionPart, &PassPart),
    (i, push): (usize, &JudgedPush),
) -> Vec<Cell> {
    let pass = &part.pass;
    let note = part.note(i);
    let [name, bib] = who(material, words, part);
    let mut row = vec![
        Cell::Whole(session.number),
        session.started_at.as_deref().unwrap_or_default().into(),
        Cell::Whole(i64::from(part.key.number)),
        Cell::Whole(i as i64 + 1),
        name,
        bib,
        pass.thresholds.age_group.name().into(),
        pass.view.name().into(),
        leg(push.leg).into(),
        push.near_leg.map_or(Cell::Empty, Cell::Flag),
        push.push_start_s.into(),
        push.toe_off_s.into(),
        Cell::Flag(!push.flags.is_empty()),
        Cell::Flag(note.is_some_and(|n| n.starred)),
        note.map_or("", |n| n.comment.as_str()).into(),
    ];
    for (id, measure) in push.measures.iter() {
        let rule = id.rule();
        let limits = &pass.thresholds.limits[id];
        row.push(measure.value.into());
        if flexion_column(rule).is_some() {
            row.push(measure.value.map(|v| 180.0 - v).into());
        }
        row.push(measure.uncertainty.into());
        row.push(Cell::Flag(measure.is_judged()));
        row.push(words.why_or_how(measure).into());
        row.push(Cell::Flag(push.flags.iter().any(|f| f.rule == id)));
        row.push(limits.at_least.into());
        row.push(limits.at_most.into());
        row.push(Some(limits.dead_band).into());
        row.push(
            match part.verdict(i, id) {
                Some(Verdict::Confirmed) => "confirmed",
                Some(Verdict::Dismissed) => "dismissed",
                None => "",
            }
            .into(),
        );
    }
    row
}

/// One row a pass.
pub fn passes(material: &Material, words: &ExportWords) -> Table {
    let mut columns = vec![
        column("session", Kind::Whole),
        column("session_started_at", Kind::Text),
        column("pass", Kind::Whole),
        column("skater", Kind::Text),
        column("bib", Kind::Text),
        column("age_group", Kind::Text),
        column("view", Kind::Text),
        column("started_at_s", Kind::Number(4)),
        column("ended_at_s", Kind::Number(4)),
        column("speed_mps", Kind::Number(3)),
        column("pushes", Kind::Whole),
        column("pushes_flagged", Kind::Whole),
        column("pushes_flagged_and_not_dismissed", Kind::Whole),
        column("cue_kind", Kind::Text),
        column("cue_rule", Kind::Text),
    ];
    for quantity in QUANTITIES {
        let unit = quantity.unit.suffix();
        let key = quantity.id.code();
        let stem = stem_of_quantity(quantity);
        let number = Kind::Number(match quantity.unit {
            QuantityUnit::Deg => 2,
            QuantityUnit::Hertz => 3,
            QuantityUnit::Metre | QuantityUnit::Second => 4,
        });
        columns.push(column(key, number));
        columns.push(column(format!("{stem}_uncertainty_{unit}"), number));
        columns.push(column(format!("{stem}_judged"), Kind::Flag));
        columns.push(column(format!("{stem}_reason"), Kind::Text));
    }
    let rows = material
        .passes()
        .map(|(session, part)| pass_row(material, words, session, part))
        .collect();
    Table { columns, rows }
}

fn pass_row(
    material: &Material,
    words: &ExportWords,
    session: &SessionPart,
    part: &PassPart,
) -> Vec<Cell> {
    let pass = &part.pass;
    let n = pass.pushes.len();
    let flagged = pass.pushes.iter().filter(|p| !p.flags.is_empty()).count();
    let standing = (0..n)
        .filter(|&i| part.standing(i).next().is_some())
        .count();
    let [name, bib] = who(material, words, part);
    let mut row = vec![
        Cell::Whole(session.number),
        session.started_at.as_deref().unwrap_or_default().into(),
        Cell::Whole(i64::from(part.key.number)),
        name,
        bib,
        pass.thresholds.age_group.name().into(),
        pass.view.name().into(),
        pass.started_at_s.into(),
        pass.ended_at_s.into(),
        // Measured with a camera that lay elsewhere it is no speed.
        Some(pass.speed_mps).filter(|_| !pass.camera_moved()).into(),
        Cell::Whole(n as i64),
        Cell::Whole(flagged as i64),
        Cell::Whole(standing as i64),
        cue_kind(&part.cue.kind).into(),
        part.cue.kind.rule().map_or("", RuleId::code).into(),
    ];
    for measure in pass.quantities.values() {
        row.push(measure.value.into());
        row.push(measure.uncertainty.into());
        row.push(Cell::Flag(measure.is_judged()));
        row.push(words.why_or_how(measure).into());
    }
    row
}

/// The names of `docs/session-json.md`.
fn cue_kind(kind: &CueKind) -> &'static str {
    match kind {
        CueKind::Do { .. } => "do",
        CueKind::Praise => "praise",
        CueKind::Improved { .. } => "improved",
        CueKind::Unfed { .. } => "unfed",
        CueKind::NotJudged { .. } => "not_judged",
    }
}

fn leg(leg: Leg) -> &'static str {
    match leg {
        Leg::Left => "left",
        Leg::Right => "right",
    }
}
