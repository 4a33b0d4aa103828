//! The roster as a CSV file: read whole or not at all, written for
//! spreadsheets.

use std::fmt;

use super::csv_text::{Encoding, decode, separator};
use super::{BandColour, Consent, HEIGHT_M, Skater};
use crate::rules::AgeGroup;

/// No team comes near these; a wrong file might.
const LARGEST_BYTES: usize = 1 << 20;
const MOST_SKATERS: usize = 2000;
const LONGEST_NAME: usize = 60;

/// The columns, as they are written; each with other headings that are taken.
const COLUMNS: [(&str, &[&str]); 8] = [
    ("name", &["nom", "skater", "player"]),
    ("bib", &["number", "no", "jersey", "numéro", "numero"]),
    ("band", &["colour", "color", "couleur"]),
    ("age_group", &["group", "age group", "groupe"]),
    ("height_cm", &["height", "taille"]),
    ("height_m", &[]),
    ("consent_on", &["consent"]),
    ("consent_by", &[]),
];

/// What an import would do; nothing is done yet.
#[derive(Debug, Clone, PartialEq)]
pub struct ImportPlan {
    /// Skaters that are new; their ids mean nothing yet.
    pub new: Vec<Skater>,
    /// Skaters that are known by their name, as they will be. What the file
    /// has no column for stays as it is.
    pub changed: Vec<Skater>,
    /// Skaters that are known and the same.
    pub unchanged: usize,
    /// How the file is written.
    pub encoding: Encoding,
    /// What the person who imports should know, one sentence each.
    pub notes: Vec<String>,
}

/// Why a file was not taken: every fault of it.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub struct ImportReport {
    /// The faults in the order of the lines.
    pub faults: Vec<LineFault>,
}

/// One fault of a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LineFault {
    /// The line, counted from 1; `None` for the file as a whole.
    pub line: Option<u64>,
    /// What is wrong and what to do.
    pub reason: String,
}

impl fmt::Display for LineFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.line {
            Some(line) => write!(f, "line {line}: {}", self.reason),
            None => f.write_str(&self.reason),
        }
    }
}

impl fmt::Display for ImportReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("nothing was imported")?;
        for fault in &self.faults {
            write!(f, "; {fault}")?;
        }
        Ok(())
    }
}

/// Reads a roster file and says what taking it would do. Skaters of `known`
/// are found by their names, upper and lower case being the same.
///
/// # Errors
/// Every fault with its line, where there is at least one.
pub fn import_csv(bytes: &[u8], known: &[Skater]) -> Result<ImportPlan, ImportReport> {
    let whole = |reason: &str| ImportReport {
        faults: vec![LineFault {
            line: None,
            reason: reason.to_owned(),
        }],
    };
    if bytes.len() > LARGEST_BYTES {
        return Err(whole("the file is larger than any roster (1 MB)"));
    }
    let (text, encoding) = decode(bytes).map_err(|reason| whole(&reason))?;
    let (text, lines_before, separator) = separator(&text);
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(separator as u8)
        .has_headers(false)
        .flexible(true)
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let mut rows = Vec::new();
    for record in reader.records() {
        // The text is UTF-8 and in memory: the reader has nothing to fail at.
        let record = record.map_err(|e| whole(&e.to_string()))?;
        let at = record.position().map_or(0, csv::Position::byte);
        let line = line_at(text, at as usize) + lines_before;
        if record.iter().any(|cell| !cell.is_empty()) {
            rows.push((line, record));
        }
        if rows.len() > MOST_SKATERS + 1 {
            return Err(whole("the file has more than 2000 lines; is it a roster?"));
        }
    }
    let mut rows = rows.into_iter();
    let Some((line, heading)) = rows.next() else {
        return Err(whole("the file is empty"));
    };
    let columns = columns_of(line, &heading)?;

    let mut taker = Taker {
        known,
        columns,
        faults: Vec::new(),
        names: Vec::new(),
        plan: ImportPlan {
            new: Vec::new(),
            changed: Vec::new(),
            unchanged: 0,
            encoding,
            notes: Vec::new(),
        },
        consents_kept: 0,
    };
    for (line, record) in rows {
        taker.take(line, &record);
    }
    taker.finish()
}

/// The line, counted from 1, of the record that begins at the byte `at` or
/// behind the empty lines there.
fn line_at(text: &str, at: usize) -> u64 {
    let bytes = text.as_bytes();
    let empty = bytes
        .iter()
        .skip(at)
        .take_while(|b| b"\r\n".contains(b))
        .count();
    let before = bytes.iter().take(at + empty);
    1 + before.filter(|b| **b == b'\n').count() as u64
}

/// Which column is which; `None` for one that has no meaning here.
fn columns_of(line: u64, heading: &csv::StringRecord) -> Result<Vec<Option<usize>>, ImportReport> {
    let mut faults = Vec::new();
    let mut fault = |reason: String| {
        faults.push(LineFault {
            line: Some(line),
            reason,
        });
    };
    let mut columns: Vec<Option<usize>> = Vec::new();
    for cell in heading {
        let word = cell.to_lowercase();
        let column = COLUMNS
            .iter()
            .position(|(name, others)| *name == word || others.contains(&word.as_str()));
        match column {
            Some(i) if columns.contains(&Some(i)) => {
                fault(format!("the column '{}' is there twice", COLUMNS[i].0));
            }
            None if !word.is_empty() => {
                let known: Vec<&str> = COLUMNS.iter().map(|c| c.0).collect();
                fault(format!(
                    "the column '{cell}' is not known; the first line names the columns, which are: {}",
                    known.join(", ")
                ));
            }
            _ => {}
        }
        columns.push(column);
    }
    for (i, name) in [(0, "name"), (3, "age_group")] {
        if !columns.contains(&Some(i)) && faults.is_empty() {
            faults.push(LineFault {
                line: Some(line),
                reason: format!("the column '{name}' is missing"),
            });
        }
    }
    if faults.is_empty() {
        Ok(columns)
    } else {
        Err(ImportReport { faults })
    }
}

struct Taker<'k> {
    known: &'k [Skater],
    columns: Vec<Option<usize>>,
    faults: Vec<LineFault>,
    /// Names so far, as they are compared, with their lines.
    names: Vec<(String, u64)>,
    plan: ImportPlan,
    consents_kept: usize,
}

impl Taker<'_> {
    fn take(&mut self, line: u64, record: &csv::StringRecord) {
        let before = self.faults.len();
        let mut fault = |reason: String| {
            self.faults.push(LineFault {
                line: Some(line),
                reason,
            });
        };
        // A column the file does not have is `None`, an empty cell is "".
        let cell = |name: &str| {
            let column = COLUMNS.iter().position(|c| c.0 == name)?;
            let at = self.columns.iter().position(|c| *c == Some(column))?;
            Some(without_guard(record.get(at).unwrap_or_default()))
        };
        if record.len() > self.columns.len()
            && record
                .iter()
                .skip(self.columns.len())
                .any(|c| !c.is_empty())
        {
            fault(format!(
                "it has {} cells, the first line has {}; put text with the separator in it into quotation marks",
                record.len(),
                self.columns.len()
            ));
        }
        if record.iter().any(|c| c.contains(['\n', '\r'])) {
            fault("a cell goes over several lines; is a quotation mark not closed?".to_owned());
            return;
        }
        let name = cell("name").unwrap_or_default();
        if name.is_empty() {
            fault("the name is missing".to_owned());
        } else if name.chars().count() > LONGEST_NAME || name.chars().any(char::is_control) {
            fault(format!(
                "the name is longer than {LONGEST_NAME} characters or has characters that cannot be shown"
            ));
        }
        let key = compared(name);
        if let Some((_, other)) = self.names.iter().find(|(n, _)| *n == key && !n.is_empty()) {
            fault(format!(
                "'{name}' stands already in line {other}; write names that differ, for example with the number"
            ));
        }
        let mut same = self.known.iter().filter(|s| compared(&s.name) == key);
        let old = same.next();
        if old.is_some() && same.next().is_some() {
            fault(format!(
                "two skaters of the roster are called '{name}'; give one of them another name first"
            ));
        }
        let group_word = cell("age_group").unwrap_or_default();
        let group = AgeGroup::from_name(group_word);
        if group.is_none() {
            fault(format!(
                "the age group '{group_word}' is not known; it must be one of: {}",
                AgeGroup::ALL.map(AgeGroup::name).join(", ")
            ));
        }
        let mut skater = match old {
            Some(old) => old.clone(),
            None => Skater::new(name, AgeGroup::Adult),
        };
        skater.name = name.to_owned();
        skater.age_group = group.unwrap_or(skater.age_group);
        if let Some(bib) = cell("bib") {
            skater.bib = (!bib.is_empty()).then(|| bib.to_owned());
        }
        if let Some(word) = cell("band") {
            skater.band = BandColour::from_name(word);
            if skater.band.is_none() && !word.is_empty() {
                fault(format!(
                    "the colour '{word}' is not known; it must be one of: {}",
                    BandColour::ALL.map(BandColour::name).join(", ")
                ));
            }
        }
        let heights = ["height_cm", "height_m"].map(cell);
        if heights.iter().any(Option::is_some) {
            let mut given = heights.into_iter().flatten().filter(|h| !h.is_empty());
            skater.height_m = None;
            if let Some(word) = given.next() {
                match height_m(word) {
                    Some(height) => skater.height_m = Some(height),
                    None => fault(format!(
                        "the height '{word}' is not between 80 and 220 cm; write it as 147 or 1.47"
                    )),
                }
            }
        }
        match (
            cell("consent_on").unwrap_or_default(),
            cell("consent_by").unwrap_or_default(),
        ) {
            // A file gives consent and never takes it back: that deletes
            // pictures and is a step of its own.
            ("", "") => self.consents_kept += usize::from(skater.consent.is_some()),
            ("", _) | (_, "") => fault(
                "a consent needs both the day it was given (consent_on) and who gave it (consent_by)"
                    .to_owned(),
            ),
            (on, by) => match on.parse() {
                Ok(given_on) => {
                    skater.consent = Some(Consent {
                        given_on,
                        given_by: by.to_owned(),
                    });
                }
                Err(_) => fault(format!("the day '{on}' is not written as 2026-09-30")),
            },
        }
        self.names.push((key, line));
        if self.faults.len() > before {
            return;
        }
        match old {
            Some(old) if *old == skater => self.plan.unchanged += 1,
            Some(_) => self.plan.changed.push(skater),
            None => self.plan.new.push(skater),
        }
    }

    fn finish(mut self) -> Result<ImportPlan, ImportReport> {
        if self.names.is_empty() && self.faults.is_empty() {
            self.faults.push(LineFault {
                line: None,
                reason: "the file has no skater below its first line".to_owned(),
            });
        }
        if !self.faults.is_empty() {
            return Err(ImportReport {
                faults: self.faults,
            });
        }
        if self.plan.encoding == Encoding::Windows1252 {
            self.plan.notes.push(
                "the file is not UTF-8 and was read as Windows-1252; look at the names with accents"
                    .to_owned(),
            );
        }
        if self.consents_kept > 0 {
            self.plan.notes.push(format!(
                "{} kept although the file does not give it; withdraw it on the skater's own page",
                match self.consents_kept {
                    1 => "one consent was".to_owned(),
                    n => format!("{n} consents were"),
                }
            ));
        }
        Ok(self.plan)
    }
}

/// Names as they are compared: case and spacing do not count.
fn compared(name: &str) -> String {
    name.to_lowercase()
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ")
}

/// A stature as people write it: `147`, `147 cm`, `1.47`, `1,47 m`, `1m47`.
/// Metres.
fn height_m(word: &str) -> Option<f64> {
    let word = word.to_lowercase().replace(',', ".");
    let word = word.trim().trim_end_matches("cm").trim_end();
    let number = match word.split_once('m') {
        Some((metres, "")) => metres.trim().to_owned(),
        Some((metres, cm)) if cm.len() == 2 => format!("{}.{cm}", metres.trim()),
        Some(_) => return None,
        None => word.to_owned(),
    };
    let value: f64 = number.parse().ok()?;
    // Nobody is taller than 3 m or smaller than 3 cm.
    let metres = if value > 3.0 { value / 100.0 } else { value };
    HEIGHT_M.contains(&metres).then_some(metres)
}

/// A cell that a spreadsheet would take for a formula is written with an
/// apostrophe in front, which is taken off again here.
fn without_guard(cell: &str) -> &str {
    match cell.strip_prefix('\'') {
        Some(rest) if rest.starts_with(FORMULA) => rest,
        _ => cell,
    }
}

const FORMULA: [char; 4] = ['=', '+', '-', '@'];

/// The roster as a CSV file that [`import_csv`] reads back. Limits of single
/// skaters are not in it.
pub fn export_csv(skaters: &[Skater], separator: char) -> String {
    let separator = u8::try_from(separator).unwrap_or(b',');
    let mut writer = csv::WriterBuilder::new()
        .delimiter(separator)
        .from_writer(Vec::new());
    let names = COLUMNS.iter().map(|c| c.0).filter(|c| *c != "height_m");
    let mut written = writer.write_record(names);
    for s in skaters {
        let guarded = |cell: &str| match cell.starts_with(FORMULA) {
            true => format!("'{cell}"),
            false => cell.to_owned(),
        };
        let cells = [
            guarded(&s.name),
            guarded(s.bib.as_deref().unwrap_or_default()),
            s.band.map_or("", BandColour::name).to_owned(),
            s.age_group.name().to_owned(),
            s.height_m
                .map_or_else(String::new, |h| format!("{}", (h * 1000.0).round() / 10.0)),
            s.consent
                .as_ref()
                .map_or_else(String::new, |c| c.given_on.to_string()),
            guarded(s.consent.as_ref().map_or("", |c| c.given_by.as_str())),
        ];
        written = written.and_then(|()| writer.write_record(cells));
    }
    // Writing into memory does not fail, and what was written is UTF-8.
    debug_assert!(written.is_ok());
    let bytes = writer.into_inner().unwrap_or_default();
    String::from_utf8(bytes).unwrap_or_default()
}

#[cfg(test)]
#[path = "csv_tests.rs"]
mod tests;
