//! The parts of a dataset, session by session in the order of their days.
//!
//! Takes: the folder of a dataset.
//! Gives: where each session's two parts are, and the rows of one at a time; of a part
//! only the columns that the report needs are read.
//! Fails: with a [`ClubError`] that names the file.

use std::collections::{BTreeMap, HashMap};
use std::ffi::OsStr;
use std::fs::File;
use std::path::{Path, PathBuf};

use jiff::civil::Date;
use kickplate_table::{Cell, Kind, PartFile};

use super::error::ClubError;
use super::figures::{OfPush, PassRow, PushRow};
use crate::config::{Subject, View};
use crate::hive::{DATASET_VERSION, TABLES, VERSION_NOTE, parts, read_about, season_of};
use crate::hive_table::KEY;
use crate::rules::{AgeGroup, NotJudged, QuantityMap, Rule, RuleMap};
use crate::store::Verdict;
use crate::table::{stem, stem_of_quantity};

/// A session of the dataset.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Session {
    /// Its day.
    pub date: Date,
    /// What its station is called.
    pub station: String,
    passes: PathBuf,
    /// `None` where no push was seen.
    pushes: Option<PathBuf>,
}

/// Every session of a dataset, oldest first. No part is read yet.
pub fn sessions(folder: &Path) -> Result<Vec<Session>, ClubError> {
    let unusable = |why: String| ClubError::Dataset {
        folder: folder.to_owned(),
        why,
    };
    let unread = |e: std::io::Error| unusable(format!("it cannot be read ({e})"));
    let about = read_about(folder).map_err(unusable)?;
    if about.is_none() {
        return Err(ClubError::NoDataset {
            folder: folder.to_owned(),
        });
    }
    let [passes, pushes] = TABLES.map(|table| folder.join(table));
    let mut pushes_by_place: BTreeMap<PathBuf, PathBuf> = BTreeMap::new();
    for part in parts(&pushes).map_err(unread)? {
        place_of(&pushes, &part)?;
        let place = part.strip_prefix(&pushes).unwrap_or(&part).to_owned();
        pushes_by_place.insert(place, part);
    }
    let mut sessions = Vec::new();
    let mut by_name: HashMap<std::ffi::OsString, PathBuf> = HashMap::new();
    for part in parts(&passes).map_err(unread)? {
        let (date, station) = place_of(&passes, &part)?;
        let name = part.file_name().unwrap_or_default().to_owned();
        if let Some(other) = by_name.insert(name, part.clone()) {
            return Err(bad(
                &part,
                format!(
                    "the same session is also in '{}' and would count twice; delete one of the two",
                    other.display()
                ),
            ));
        }
        let place = part.strip_prefix(&passes).unwrap_or(&part);
        sessions.push(Session {
            date,
            station,
            pushes: pushes_by_place.remove(place),
            passes: part,
        });
    }
    if let Some(part) = pushes_by_place.into_values().next() {
        return Err(bad(
            &part,
            "the passes of this session are missing; add the session once more with 'kickplate export --dataset'",
        ));
    }
    if sessions.is_empty() {
        return Err(ClubError::Empty {
            folder: folder.to_owned(),
        });
    }
    sessions.sort_by(|a, b| (a.date, &a.passes).cmp(&(b.date, &b.passes)));
    Ok(sessions)
}

fn bad(part: &Path, why: impl Into<String>) -> ClubError {
    ClubError::Part {
        part: part.to_owned(),
        why: why.into(),
    }
}

fn foreign(part: &Path) -> ClubError {
    bad(
        part,
        "it is no part of a dataset of Kickplate; move it away",
    )
}

/// Day and station of a part, from its path below the folder of its table.
fn place_of(table: &Path, part: &Path) -> Result<(Date, String), ClubError> {
    let below = part.strip_prefix(table).unwrap_or(part);
    let names: Vec<&str> = below.iter().filter_map(OsStr::to_str).collect();
    let place = match names[..] {
        [season, station, date, _] => Some((season, station, date)),
        _ => None,
    };
    place
        .and_then(|(season, station, date)| {
            let date: Date = date.strip_prefix("date=")?.parse().ok()?;
            let station = station.strip_prefix("station=")?;
            let season = season.strip_prefix("season=")?;
            (season == season_of(date)).then(|| (date, station.to_owned()))
        })
        .ok_or_else(|| foreign(part))
}

impl Session {
    /// Its passes and pushes.
    pub fn read(&self) -> Result<(Vec<PassRow>, Vec<PushRow>), ClubError> {
        let passes = passes_of(&self.passes)?;
        let pushes = self.pushes.as_deref().map_or(Ok(Vec::new()), pushes_of)?;
        Ok((passes, pushes))
    }
}

/// Some columns of a part.
struct Rows {
    part: PathBuf,
    at: HashMap<String, usize>,
    rows: Vec<Vec<Cell>>,
}

impl Rows {
    /// Reads these columns. Those that have to be there come first.
    fn read(
        part: &Path,
        needed: &[(&str, Kind)],
        more: &[(String, Kind)],
    ) -> Result<Self, ClubError> {
        let broken = |e: &dyn std::fmt::Display| {
            bad(
                part,
                format!(
                    "it is damaged or no whole Parquet file ({e}); delete it and add its session once more"
                ),
            )
        };
        let file = File::open(part).map_err(|e| bad(part, format!("it cannot be read ({e})")))?;
        let file = PartFile::open(file).map_err(|e| broken(&e))?;
        let version = file.notes.iter().find(|(key, _)| key == VERSION_NOTE);
        let version = version.and_then(|(_, version)| version.parse::<u32>().ok());
        match version {
            None => return Err(foreign(part)),
            Some(version) if version > DATASET_VERSION => {
                return Err(bad(
                    part,
                    format!(
                        "it was made by a newer Kickplate (version {version} of the tables, this one knows {DATASET_VERSION}); use that one"
                    ),
                ));
            }
            Some(_) => {}
        }
        let wanted: Vec<(&str, Kind)> = needed
            .iter()
            .copied()
            .chain(more.iter().map(|(name, kind)| (name.as_str(), *kind)))
            .collect();
        let names: Vec<&str> = wanted.iter().map(|(name, _)| *name).collect();
        let table = file.read(&names).map_err(|e| broken(&e))?;
        let mut at = HashMap::new();
        for (i, column) in table.columns.into_iter().enumerate() {
            let kind = wanted.iter().find(|(name, _)| *name == column.name);
            if !kind.is_some_and(|(_, kind)| alike(*kind, column.kind)) {
                return Err(foreign(part));
            }
            at.insert(column.name, i);
        }
        match needed.iter().all(|(name, _)| at.contains_key(*name)) {
            false => Err(foreign(part)),
            true => Ok(Rows {
                part: part.to_owned(),
                at,
                rows: table.rows,
            }),
        }
    }

    fn has(&self, column: &str) -> bool {
        self.at.contains_key(column)
    }

    fn cell<'r>(&self, row: &'r [Cell], column: &str) -> &'r Cell {
        let cell = self.at.get(column).and_then(|i| row.get(*i));
        cell.unwrap_or(&Cell::Empty)
    }

    fn text<'r>(&self, row: &'r [Cell], column: &str) -> Option<&'r str> {
        match self.cell(row, column) {
            Cell::Text(text) => Some(text),
            _ => None,
        }
    }

    fn number(&self, row: &[Cell], column: &str) -> Option<f64> {
        match self.cell(row, column) {
            Cell::Number(value) => Some(*value),
            _ => None,
        }
    }

    fn is_set(&self, row: &[Cell], column: &str) -> bool {
        *self.cell(row, column) == Cell::Flag(true)
    }

    fn pass(&self, row: &[Cell]) -> Result<i64, ClubError> {
        match self.cell(row, "pass") {
            Cell::Whole(number) => Ok(*number),
            _ => Err(bad(&self.part, "a row in it says of no pass")),
        }
    }

    /// A word of a column, as this program understands it.
    fn word<T>(
        &self,
        row: &[Cell],
        column: &str,
        read: impl Fn(&str) -> Option<T>,
    ) -> Result<T, ClubError> {
        let word = self.text(row, column).unwrap_or_default();
        read(word).ok_or_else(|| {
            bad(
                &self.part,
                format!("'{word}' in its column {column} is nothing that this program knows; use a newer one"),
            )
        })
    }

    fn skater(&self, row: &[Cell]) -> Option<String> {
        self.text(row, KEY).map(str::to_owned)
    }
}

/// Decimals are a matter of writing.
fn alike(a: Kind, b: Kind) -> bool {
    matches!((a, b), (Kind::Number(_), Kind::Number(_))) || a == b
}

const NUMBER: Kind = Kind::Number(0);

fn passes_of(part: &Path) -> Result<Vec<PassRow>, ClubError> {
    let needed = [
        ("pass", Kind::Whole),
        (KEY, Kind::Text),
        ("age_group", Kind::Text),
        ("subject", Kind::Text),
    ];
    let columns = QuantityMap::from_fn(|id| {
        let quantity = id.quantity();
        (
            id.code().to_owned(),
            format!("{}_judged", stem_of_quantity(quantity)),
        )
    });
    let more: Vec<(String, Kind)> = columns
        .values()
        .flat_map(|(value, judged)| [(value.clone(), NUMBER), (judged.clone(), Kind::Flag)])
        .collect();
    let rows = Rows::read(part, &needed, &more)?;
    let subject = |word: &str| Subject::ALL.into_iter().find(|s| s.name() == word);
    let one = |row: &Vec<Cell>| {
        Ok(PassRow {
            number: rows.pass(row)?,
            skater: rows.skater(row),
            group: rows.word(row, "age_group", AgeGroup::from_name)?,
            subject: rows.word(row, "subject", subject)?,
            judged: QuantityMap::from_fn(|id| {
                let (value, judged) = &columns[id];
                let value = rows.number(row, value);
                value.filter(|_| rows.is_set(row, judged))
            }),
        })
    };
    rows.rows.iter().map(one).collect()
}

/// The columns of a rule.
struct RuleColumns {
    value: String,
    judged: String,
    reason: String,
    flagged: String,
    verdict: String,
}

impl RuleColumns {
    fn of(rule: &Rule) -> Self {
        let stem = stem(rule);
        RuleColumns {
            value: rule.measure.to_owned(),
            judged: format!("{stem}_judged"),
            reason: format!("{stem}_reason"),
            flagged: format!("{stem}_flagged"),
            verdict: format!("{stem}_verdict"),
        }
    }

    fn all(&self) -> [(String, Kind); 5] {
        [
            (self.value.clone(), NUMBER),
            (self.judged.clone(), Kind::Flag),
            (self.reason.clone(), Kind::Text),
            (self.flagged.clone(), Kind::Flag),
            (self.verdict.clone(), Kind::Text),
        ]
    }
}

fn pushes_of(part: &Path) -> Result<Vec<PushRow>, ClubError> {
    let needed = [
        ("pass", Kind::Whole),
        (KEY, Kind::Text),
        ("age_group", Kind::Text),
        ("view", Kind::Text),
    ];
    let columns = RuleMap::from_fn(|id: crate::rules::RuleId| RuleColumns::of(id.rule()));
    let more: Vec<(String, Kind)> = columns.values().flat_map(RuleColumns::all).collect();
    let rows = Rows::read(part, &needed, &more)?;
    let one = |row: &Vec<Cell>| {
        Ok(PushRow {
            pass: rows.pass(row)?,
            skater: rows.skater(row),
            group: rows.word(row, "age_group", AgeGroup::from_name)?,
            view: rows.word(row, "view", View::from_name)?,
            rules: RuleMap::from_fn(|id| of_push(&rows, row, &columns[id])),
        })
    };
    rows.rows.iter().map(one).collect()
}

fn of_push(rows: &Rows, row: &[Cell], columns: &RuleColumns) -> Option<OfPush> {
    if !rows.has(&columns.judged) {
        return None;
    }
    if !rows.is_set(row, &columns.judged) {
        let code = rows.text(row, &columns.reason).unwrap_or_default();
        return Some(OfPush::Not(NotJudged::from_recording(code)));
    }
    let verdict = rows.text(row, &columns.verdict);
    Some(OfPush::Judged {
        value: rows.number(row, &columns.value),
        flagged: rows.is_set(row, &columns.flagged),
        verdict: [Verdict::Confirmed, Verdict::Dismissed]
            .into_iter()
            .find(|v| Some(v.name()) == verdict),
    })
}
