//! The tables of a dataset: those of an export, with what names a session or a skater
//! in the place of what names them to people.

use super::dataset::{Material, PassPart, SessionPart};
use super::table::{self, Cell, Column, Kind, Table};
use super::words::ExportWords;

/// The column of a skater's key.
pub const KEY: &str = "skater_key";

/// Whose pass it is: the key, and the name where it may leave.
pub type Who<'a> = &'a dyn Fn(&PassPart) -> Option<(String, Option<String>)>;

/// What an export has and a dataset does not: numbers of one station's sessions, the
/// wall clock, names as they stand on pages, and what the coach wrote.
const NOT_HERE: [&str; 5] = ["session", "session_started_at", "skater", "bib", "comment"];

/// One row a push.
pub fn pushes(material: &Material, session: &str, who: Who<'_>) -> Table {
    let table = table::pushes(material, &ExportWords::codes(), false);
    let parts = material
        .passes()
        .flat_map(|(_, part)| std::iter::repeat_n(part, part.pass.pushes.len()));
    named(table, parts, session, who)
}

/// One row a pass, with how the camera stood and what measured.
pub fn passes(material: &Material, session: &str, who: Who<'_>) -> Table {
    let table = table::passes(material, &ExportWords::codes());
    let parts = material.passes().map(|(_, part)| part);
    let mut table = named(table, parts, session, who);
    table
        .columns
        .extend(SET_UP.iter().map(|(name, kind, _)| Column {
            name: (*name).to_owned(),
            kind: *kind,
        }));
    for (row, (session, part)) in table.rows.iter_mut().zip(material.passes()) {
        row.extend(SET_UP.iter().map(|(_, _, value)| value(session, part)));
    }
    table
}

type Value = fn(&SessionPart, &PassPart) -> Cell;

/// How a pass was seen.
const SET_UP: [(&str, Kind, Value); 9] = [
    ("subject", Kind::Text, |_, p| p.lane.subject.name().into()),
    ("camera_height_m", Kind::Number(3), |_, p| {
        p.lane.camera_height_m.into()
    }),
    ("tilt_deg", Kind::Number(2), |_, p| p.lane.tilt_deg.into()),
    ("roll_deg", Kind::Number(2), |_, p| p.lane.roll_deg.into()),
    ("hfov_deg", Kind::Number(2), |_, p| p.lane.hfov_deg.into()),
    ("lane_distance_m", Kind::Number(3), |_, p| {
        p.lane.lane_distance_m.into()
    }),
    ("model", Kind::Text, |s, p| {
        let engine = p.engine.as_ref().unwrap_or(&s.engine);
        engine.model.as_str().into()
    }),
    ("engine", Kind::Text, |s, p| {
        let engine = p.engine.as_ref().unwrap_or(&s.engine);
        engine.backend.as_str().into()
    }),
    ("program_version", Kind::Text, |s, p| {
        let engine = p.engine.as_ref().unwrap_or(&s.engine);
        engine.program_version.as_str().into()
    }),
];

/// The rows of these passes with the names they have in a dataset.
fn named<'m>(
    table: Table,
    parts: impl Iterator<Item = &'m PassPart>,
    session: &str,
    who: Who<'_>,
) -> Table {
    let stays: Vec<bool> = table
        .columns
        .iter()
        .map(|c| !NOT_HERE.contains(&c.name.as_str()))
        .collect();
    fn kept<T>(all: Vec<T>, stays: &[bool]) -> impl Iterator<Item = T> {
        all.into_iter()
            .zip(stays)
            .filter_map(|(one, stays)| stays.then_some(one))
    }
    let text = |name: &str| Column {
        name: name.to_owned(),
        kind: Kind::Text,
    };
    let columns = ["session", KEY, "skater_name"].map(text);
    let rows = table.rows.into_iter().zip(parts).map(|(row, part)| {
        let (key, name) = who(part).unzip();
        let cell = |text: Option<String>| text.as_deref().unwrap_or_default().into();
        let names: [Cell; 3] = [session.into(), cell(key), cell(name.flatten())];
        names.into_iter().chain(kept(row, &stays)).collect()
    });
    let rows = rows.collect();
    Table {
        columns: columns
            .into_iter()
            .chain(kept(table.columns, &stays))
            .collect(),
        rows,
    }
}
