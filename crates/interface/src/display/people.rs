//! Who is meant: what of a skater may stand on a screen in public.

use egui::Color32;

use crate::roster::BandColour;
use crate::rules::RuleId;

/// A skater as the big screen names her.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Person {
    /// Number on the jersey.
    pub bib: Option<String>,
    /// Name or nickname; `None` where the coach shows bibs only.
    pub name: Option<String>,
    /// Colour of the arm-band.
    pub band: Option<BandColour>,
    /// What she works on, where it is not what everybody does.
    pub focus: Option<RuleId>,
}

impl Person {
    /// Whether anything is known that can be shown.
    pub fn is_known(&self) -> bool {
        self.bib.is_some() || self.name.is_some() || self.band.is_some()
    }

    /// What stands in the disc: the bib, else the first letter of the name.
    pub(super) fn in_disc(&self) -> String {
        match (&self.bib, &self.name) {
            (Some(bib), _) => bib.chars().take(3).collect(),
            (None, Some(name)) => name.chars().take(1).flat_map(char::to_uppercase).collect(),
            (None, None) => String::new(),
        }
    }
}

/// Who is in the lane or was last, and who is next.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct People {
    /// Whose answer is shown, or who is in the lane.
    pub shown: Option<Person>,
    /// Who skates next.
    pub next: Option<Person>,
}

/// The disc of a band and the letters on it: at least 7:1.
pub(super) fn disc_of(band: Option<BandColour>, plain: (Color32, Color32)) -> (Color32, Color32) {
    const BLACK: Color32 = Color32::from_rgb(0x08, 0x0C, 0x10);
    const WHITE: Color32 = Color32::WHITE;
    let rgb = Color32::from_rgb;
    match band {
        None => plain,
        Some(BandColour::Red) => (rgb(0xA8, 0x14, 0x20), WHITE),
        Some(BandColour::Orange) => (rgb(0xFF, 0xA0, 0x38), BLACK),
        Some(BandColour::Yellow) => (rgb(0xFF, 0xDC, 0x4A), BLACK),
        Some(BandColour::Green) => (rgb(0x06, 0x5C, 0x32), WHITE),
        Some(BandColour::Blue) => (rgb(0x0B, 0x48, 0x9C), WHITE),
        Some(BandColour::Violet) => (rgb(0x58, 0x28, 0x8C), WHITE),
        Some(BandColour::White) => (WHITE, BLACK),
        Some(BandColour::Black) => (BLACK, WHITE),
    }
}

#[cfg(test)]
mod tests {
    use super::super::theme::contrast_ratio;
    use super::*;

    #[test]
    fn bibs_can_be_read_on_every_band() {
        for band in BandColour::ALL {
            let (disc, letters) = disc_of(Some(band), (Color32::WHITE, Color32::BLACK));
            let contrast = contrast_ratio(disc, letters);
            assert!(contrast >= 7.0, "{band:?}: {contrast:.1}");
        }
    }

    #[test]
    fn a_disc_holds_a_bib_or_a_letter() {
        let mila = Person {
            name: Some("mila".into()),
            ..Person::default()
        };
        assert_eq!(mila.in_disc(), "M");
        let seven = Person {
            bib: Some("7".into()),
            ..mila
        };
        assert_eq!(seven.in_disc(), "7");
        assert!(!Person::default().is_known());
    }
}
