//! One skater of the roster.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::rules::{AgeGroup, AgeGroups, Limits, RuleId, Thresholds};

/// Names one skater in the sessions file. Never used again for another one.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize,
)]
pub struct SkaterId(pub i64);

/// Statures a skater may be given, metres: the bounds of a lane's.
pub const HEIGHT_M: std::ops::RangeInclusive<f64> = 0.8..=2.2;

/// The colour of a band or vest a skater wears, so that the coach and the
/// parents at the boards can tell who is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs, reason = "the names are the documentation")]
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
    /// Every colour.
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

    /// The name used in files.
    pub fn name(self) -> &'static str {
        match self {
            BandColour::Red => "red",
            BandColour::Orange => "orange",
            BandColour::Yellow => "yellow",
            BandColour::Green => "green",
            BandColour::Blue => "blue",
            BandColour::Violet => "violet",
            BandColour::White => "white",
            BandColour::Black => "black",
        }
    }

    /// The colour of that name; upper and lower case are the same.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL
            .into_iter()
            .find(|c| c.name().eq_ignore_ascii_case(name))
    }
}

/// That pictures of a skater may be kept, and who said so.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Consent {
    /// The day it was given.
    pub given_on: jiff::civil::Date,
    /// Who gave it, as the coach wrote it.
    pub given_by: String,
}

/// One skater.
#[derive(Debug, Clone, PartialEq)]
pub struct Skater {
    /// Names the skater in the sessions file.
    pub id: SkaterId,
    /// Name, nickname or number, as the coach wrote it.
    pub name: String,
    /// Number on the jersey, where there is one.
    pub bib: Option<String>,
    /// Colour of the band, where one is worn.
    pub band: Option<BandColour>,
    /// The group the skater is judged as.
    pub age_group: AgeGroup,
    /// Stature without skates, metres; `None` takes the lane's.
    pub height_m: Option<f64>,
    /// `None`: no picture of this skater is ever stored.
    pub consent: Option<Consent>,
    /// Limits that hold for this skater instead of the group's.
    pub overrides: BTreeMap<RuleId, Limits>,
    /// What this skater works on; `None`: what everybody does.
    pub focus: Option<RuleId>,
}

impl Skater {
    /// A skater of whom only the name and the group are known.
    pub fn new(name: &str, age_group: AgeGroup) -> Self {
        Skater {
            id: SkaterId::default(),
            name: name.to_owned(),
            bib: None,
            band: None,
            age_group,
            height_m: None,
            consent: None,
            overrides: BTreeMap::new(),
            focus: None,
        }
    }

    /// The limits this skater is judged with: the group's, and what was set
    /// for this skater alone.
    pub fn thresholds(&self, groups: &AgeGroups) -> Thresholds {
        let mut thresholds = groups.thresholds(self.age_group);
        for (rule, own) in &self.overrides {
            thresholds.limits[*rule] = *own;
        }
        thresholds
    }

    /// Number and name, as lists show them: `12 Robin`.
    pub fn label(&self) -> String {
        match &self.bib {
            Some(bib) if *bib != self.name => format!("{bib} {}", self.name),
            _ => self.name.clone(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn own_limits_take_the_place_of_the_groups_and_nothing_else_changes() {
        let groups = AgeGroups::defaults();
        let mut skater = Skater::new("Robin", AgeGroup::U11);
        assert_eq!(skater.thresholds(&groups), groups.thresholds(AgeGroup::U11));
        let own = Limits {
            at_most: Some(101.0),
            ..groups.thresholds(AgeGroup::U11).limits[RuleId::KneeBend]
        };
        skater.overrides.insert(RuleId::KneeBend, own);
        let mut expected = groups.thresholds(AgeGroup::U11);
        expected.limits[RuleId::KneeBend] = own;
        assert_eq!(skater.thresholds(&groups), expected);
    }

    #[test]
    fn a_label_says_the_number_once() {
        let mut skater = Skater::new("Robin", AgeGroup::U11);
        assert_eq!(skater.label(), "Robin");
        skater.bib = Some("12".into());
        assert_eq!(skater.label(), "12 Robin");
        skater.name = "12".into();
        assert_eq!(skater.label(), "12");
    }

    #[test]
    fn colours_are_found_by_their_names() {
        for colour in BandColour::ALL {
            assert_eq!(BandColour::from_name(colour.name()), Some(colour));
        }
        assert_eq!(BandColour::from_name("RED"), Some(BandColour::Red));
        assert_eq!(BandColour::from_name("pink"), None);
    }
}
