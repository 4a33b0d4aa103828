//! Stand-in until the real roster is merged.
#![allow(missing_docs)]
use crate::rules::{AgeGroup, Limits};
use std::collections::BTreeMap;

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SkaterId(pub i64);

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BandColour {
    Red,
    Orange,
    Yellow,
    Green,
    Blue,
    Violet,
    White,
    Black,
}

impl BandColour {
    pub const ALL: [BandColour; 8] = [
        BandColour::Red,
        BandColour::Orange,
        BandColour::Yellow,
        BandColour::Green,
        BandColour::Blue,
        BandColour::Violet,
        BandColour::White,
        BandColour::Black,
    ];
    pub fn name(self) -> &'static str {
        [
            "red", "orange", "yellow", "green", "blue", "violet", "white", "black",
        ][self as usize]
    }
}

#[derive(Debug, Clone, PartialEq)]
pub struct Consent {
    pub given_on: jiff::civil::Date,
    pub given_by: String,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Skater {
    pub id: SkaterId,
    pub name: String,
    pub bib: Option<String>,
    pub band: Option<BandColour>,
    pub age_group: AgeGroup,
    pub height_m: Option<f64>,
    pub consent: Option<Consent>,
    pub overrides: BTreeMap<String, Limits>,
}

impl Skater {
    pub fn label(&self) -> String {
        match &self.bib {
            Some(bib) => format!("{bib} {}", self.name),
            None => self.name.clone(),
        }
    }
}
