//! The file of a check: its holds, and what it was made with. No pictures, no names.

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use super::{Fitted, Pair, PairFault, of_pairs};
use crate::body::ModelKind;
use crate::calibration::{ADULT_M, Calibration, Checked, Found, Gauged, day};
use crate::config::{Lane, LaneErrors, Subject};
use crate::roster::HEIGHT_M;

/// The format this program writes and reads.
pub const FORMAT: u32 = 1;
/// More holds than any rink makes.
const MOST_HOLDS: usize = 2000;
/// Letters of a person or of gear.
const LONGEST_INITIALS: usize = 4;
const LONGEST_GEAR: usize = 40;

/// What a check holds for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Setting {
    /// The camera's id, or what stands for it.
    pub camera: String,
    /// How the camera stands. The stature plays no part, and a check is none of its own.
    pub lane: Lane,
    /// The pose model.
    pub model: ModelKind,
    /// The inference engine at work.
    pub engine: String,
}

/// One hold.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Hold {
    /// What was held.
    pub of: Gauged,
    /// What the instrument says, degrees or metres.
    pub reference: f64,
    /// What the station read with no shift of its own, degrees or metres.
    pub reading: f64,
    /// Initials, or a number: who are one person have one of them.
    pub person: String,
    /// The day.
    #[serde(with = "day")]
    pub date: Date,
    /// The person's stature, metres: lengths are for an adult's.
    pub stature_m: f64,
    /// What was worn.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub gear: String,
    /// Taken back. It stays in the file and counts no more.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub undone: bool,
}

/// A whole file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Record {
    /// [`FORMAT`].
    pub format: u32,
    /// What it holds for.
    pub setting: Setting,
    /// In the order they were made.
    pub holds: Vec<Hold>,
}

/// Why a file, or a hold, is refused. Nothing is changed then.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum RecordFault {
    /// No file of this program.
    #[error("it is no check that this program can read ({0}); make the check anew")]
    Unreadable(String),
    /// Another program's format.
    #[error("it has format {0}, this program reads format 1; make the check anew")]
    Format(u64),
    /// Made for something else.
    #[error(
        "it was made with another {0}; a check holds for its own camera, lane, model and engine alone"
    )]
    Another(Difference),
    /// Too much of it.
    #[error("a check has at most 2000 holds; begin a new one")]
    Full,
    /// A word that may be a name.
    #[error("'{0}' cannot be a person: give initials or a number, four letters at most")]
    Person(String),
    /// Too long a description.
    #[error("what is worn is told in 40 letters at most")]
    Gear,
    /// A stature nobody has.
    #[error("a stature of {0} m cannot be: 0.8 to 2.2 m")]
    Stature(f64),
    /// A hold's numbers.
    #[error(transparent)]
    Pair(#[from] PairFault),
}

/// In what two settings differ.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs, reason = "the names are the documentation")]
pub enum Difference {
    Camera,
    Lane,
    Model,
    Engine,
}

impl std::fmt::Display for Difference {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Difference::Camera => "camera",
            Difference::Lane => "lane",
            Difference::Model => "model",
            Difference::Engine => "engine",
        })
    }
}

impl Setting {
    /// The first thing in which another setting differs.
    pub fn differs(&self, other: &Setting) -> Option<Difference> {
        if self.camera != other.camera {
            Some(Difference::Camera)
        } else if self.lane.place_steps() != other.lane.place_steps()
            || (self.lane.view, self.lane.travel) != (other.lane.view, other.lane.travel)
        {
            Some(Difference::Lane)
        } else if self.model != other.model {
            Some(Difference::Model)
        } else if self.engine != other.engine {
            Some(Difference::Engine)
        } else {
            None
        }
    }
}

impl Hold {
    /// Refuses what cannot be.
    ///
    /// # Errors
    /// One sentence.
    pub fn possible(&self) -> Result<(), RecordFault> {
        self.of.holdable(self.reference)?;
        if !self.reading.is_finite() {
            return Err(PairFault::NoNumber.into());
        }
        let initials = self.person.chars().count();
        if initials == 0
            || initials > LONGEST_INITIALS
            || !self.person.chars().all(char::is_alphanumeric)
        {
            return Err(RecordFault::Person(self.person.clone()));
        }
        if self.gear.chars().count() > LONGEST_GEAR || self.gear.chars().any(char::is_control) {
            return Err(RecordFault::Gear);
        }
        if !HEIGHT_M.contains(&self.stature_m) {
            return Err(RecordFault::Stature(self.stature_m));
        }
        Ok(())
    }
}

impl Record {
    /// A check without a hold.
    pub fn new(mut setting: Setting) -> Self {
        setting.lane.checked = None;
        setting.lane.subject = Subject::People;
        // How sure its numbers are plays no part: a check is of the lane as it stands.
        setting.lane.errors = LaneErrors::default();
        Record {
            format: FORMAT,
            setting,
            holds: Vec::new(),
        }
    }

    /// The text of a file, checked; `wanted` is what it has to hold for.
    ///
    /// # Errors
    /// One sentence: it is no such file, or one of something else.
    pub fn parse(text: &str, wanted: &Setting) -> Result<Self, RecordFault> {
        let record = Self::read(text)?;
        match record.setting.differs(wanted) {
            Some(what) => Err(RecordFault::Another(what)),
            None => Ok(record),
        }
    }

    /// The text of any check's file, checked.
    ///
    /// # Errors
    /// One sentence: it is no such file.
    pub fn read(text: &str) -> Result<Self, RecordFault> {
        let unreadable = |e: serde_json::Error| RecordFault::Unreadable(e.to_string());
        let value: serde_json::Value = serde_json::from_str(text).map_err(unreadable)?;
        match value.get("format").and_then(serde_json::Value::as_u64) {
            Some(format) if format == u64::from(FORMAT) => {}
            Some(other) => return Err(RecordFault::Format(other)),
            None => return Err(RecordFault::Unreadable("it names no format".to_owned())),
        }
        let record: Record = serde_json::from_value(value).map_err(unreadable)?;
        if record.holds.len() > MOST_HOLDS {
            return Err(RecordFault::Full);
        }
        record.holds.iter().try_for_each(Hold::possible)?;
        Ok(record)
    }

    /// The text of the file.
    ///
    /// # Errors
    /// Never with a record that was checked.
    pub fn to_text(&self) -> Result<String, RecordFault> {
        serde_json::to_string_pretty(self)
            .map(|text| text + "\n")
            .map_err(|e| RecordFault::Unreadable(e.to_string()))
    }

    /// Adds a hold.
    ///
    /// # Errors
    /// One sentence; nothing is added then.
    pub fn add(&mut self, hold: Hold) -> Result<(), RecordFault> {
        hold.possible()?;
        if self.holds.len() >= MOST_HOLDS {
            return Err(RecordFault::Full);
        }
        self.holds.push(hold);
        Ok(())
    }

    /// Takes the last holds back that were made together, and gives them.
    pub fn undo(&mut self) -> Vec<Hold> {
        let Some(last) = self.holds.iter().rfind(|h| !h.undone).cloned() else {
            return Vec::new();
        };
        // One press reads a straight leg as a knee and as an extension.
        let together = |h: &Hold| {
            !h.undone
                && (h.reference, &h.person, h.date) == (last.reference, &last.person, last.date)
        };
        let mut back = Vec::new();
        for hold in self.holds.iter_mut().rev().filter(|h| !h.undone) {
            if !together(hold) || back.iter().any(|b: &Hold| b.of == hold.of) {
                break;
            }
            hold.undone = true;
            back.push(hold.clone());
        }
        back
    }

    /// The holds that count of one quantity, with their places.
    pub fn counting(&self, of: Gauged) -> impl Iterator<Item = (usize, &Hold)> {
        let all = self.holds.iter().enumerate();
        all.filter(move |(_, h)| !h.undone && h.of == of)
    }

    /// The persons who hold something that counts, in order of appearance.
    pub fn persons(&self) -> Vec<&str> {
        let mut persons: Vec<&str> = Vec::new();
        for hold in self.holds.iter().filter(|h| !h.undone) {
            if !persons.contains(&hold.person.as_str()) {
                persons.push(&hold.person);
            }
        }
        persons
    }

    /// What the check says of a quantity, and the places of holds far off the rest; `None`
    /// without one. Lengths are at an adult's stature.
    pub fn fitted(&self, of: Gauged) -> Option<Fitted> {
        let persons = self.persons();
        let (places, pairs): (Vec<usize>, Vec<Pair>) = self
            .counting(of)
            .map(|(place, h)| {
                let times = if of.is_length() {
                    ADULT_M / h.stature_m
                } else {
                    1.0
                };
                let person = persons.iter().position(|p| *p == h.person);
                let pair = Pair {
                    person: person.unwrap_or(usize::MAX),
                    reference: h.reference * times,
                    reading: h.reading * times,
                };
                (place, pair)
            })
            .unzip();
        let calibration = Calibration::of(Subject::People, self.setting.model);
        let prior = calibration.prior(of, self.setting.lane.view);
        let mut found = of_pairs(of, &pairs, &prior)?;
        for place in &mut found.outliers {
            *place = places[*place];
        }
        Some(found)
    }

    /// The day of the last hold that counts.
    pub fn day(&self) -> Option<jiff::civil::Date> {
        let counting = self.holds.iter().filter(|h| !h.undone);
        counting.map(|h| h.date).max()
    }

    /// What values follow; `None` without a hold that counts.
    pub fn checked(&self) -> Option<Checked> {
        let date = self.day()?;
        let found = |of| self.fitted(of).map(|fitted| rounded(fitted.found));
        Some(Checked {
            date: Some(date),
            persons: self.persons().len() as u32,
            model: self.setting.model,
            knee: found(Gauged::Knee),
            extension: found(Gauged::Extension),
            heel_gap: found(Gauged::HeelGap),
            trunk: found(Gauged::Trunk),
        })
    }

    /// Every hold as a table, those taken back as well.
    pub fn to_csv(&self) -> String {
        let mut out =
            "date,person,quantity,unit,reference,reading,difference,stature_m,gear,undone\n"
                .to_owned();
        for h in &self.holds {
            let (unit, times) = h.of.told_in();
            let round = |v: f64| (v * times * 100.0).round() / 100.0;
            // A word that begins so is a formula to a spreadsheet.
            let gear = h
                .gear
                .trim_start_matches(['=', '+', '-', '@'])
                .replace('"', "\"\"");
            out += &format!(
                "{},{},{},{unit},{},{},{},{},\"{gear}\",{}\n",
                h.date,
                h.person,
                h.of.name(),
                round(h.reference),
                round(h.reading),
                round(h.reading - h.reference),
                h.stature_m,
                h.undone,
            );
        }
        out
    }
}

/// As many places as matter: it is written into every record.
fn rounded(found: Found) -> Found {
    let round = |v: f64| (v * 1e5).round() / 1e5;
    Found {
        offset: round(found.offset),
        offset_error: round(found.offset_error),
        slope: round(found.slope),
        slope_error: round(found.slope_error),
        centre: round(found.centre),
        low: round(found.low),
        high: round(found.high),
        between: round(found.between),
        persons: found.persons,
    }
}
