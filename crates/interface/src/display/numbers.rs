//! How measured numbers are written.

use super::appearance::{Appearance, Units};
use crate::rules::{RuleId, Unit};

/// Centimetres in an inch, by definition.
const CM_PER_INCH: f64 = 2.54;

/// Two numbers of the same quantity, as they are shown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Numbers {
    pub(super) measured: String,
    pub(super) wanted: String,
    /// The unit that stands once, behind the second number; empty where both
    /// carry their sign.
    pub(super) once: String,
}

/// Writes a value against its limit: whole degrees or centimetres, tenths
/// of an inch, with the unit of a length once. Two numbers that would read
/// the same although one is beyond the other get one decimal more. `None`
/// when there is nothing to write.
pub(super) fn numbers(look: &Appearance, unit: Unit, value: f64, limit: f64) -> Option<Numbers> {
    if !value.is_finite() || !limit.is_finite() {
        return None;
    }
    let (factor, places, once) = match (unit, look.units) {
        (Unit::Deg, _) => (1.0, 0, None),
        (Unit::Metre, Units::Metric) => (100.0, 0, Some("number.centimetre")),
        (Unit::Metre, Units::Imperial) => (100.0 / CM_PER_INCH, 1, Some("number.inch")),
    };
    let same = write(look, value * factor, places) == write(look, limit * factor, places);
    let places = places + usize::from(same && value != limit);
    let each = if once.is_some() { "" } else { "°" };
    let once = once.map_or(String::new(), |key| {
        let unit = look.words.get(key);
        // Signs stand close, as the degree does; words do not.
        let space = if unit.starts_with(char::is_alphabetic) {
            " "
        } else {
            ""
        };
        format!("{space}{unit}")
    });
    Some(Numbers {
        measured: format!("{}{each}", write(look, value * factor, places)),
        wanted: format!("{}{each}{once}", write(look, limit * factor, places)),
        once,
    })
}

fn write(look: &Appearance, value: f64, places: usize) -> String {
    let rounded = format!("{value:.places$}");
    // "-0" is no number to show a child; a true minus is wider.
    let text = match rounded.strip_prefix('-') {
        Some(digits) if digits.chars().all(|c| matches!(c, '0' | '.')) => digits.to_owned(),
        Some(digits) => format!("\u{2212}{digits}"),
        None => rounded,
    };
    text.replace('.', look.words.get("number.decimal_mark"))
}

/// The unit a rule is measured in.
pub(super) fn unit_of(rule: RuleId) -> Unit {
    rule.rule().unit
}

#[cfg(test)]
mod tests {
    use super::super::words::Words;
    use super::*;
    use crate::words::Language;
    use std::sync::Arc;

    #[test]
    fn numbers_read_as_people_say_them() {
        let of = |look: &Appearance, unit, value, limit| {
            let n = numbers(look, unit, value, limit).unwrap();
            format!("{} to {}", n.measured, n.wanted)
        };
        let english = Appearance::default();
        assert_eq!(of(&english, Unit::Deg, 131.6, 120.0), "132° to 120°");
        assert_eq!(of(&english, Unit::Metre, 0.18, 0.12), "18 to 12 cm");
        assert_eq!(
            of(&english, Unit::Metre, -0.06, -0.002),
            "\u{2212}6 to 0 cm"
        );
        assert_eq!(of(&english, Unit::Deg, 120.4, 120.0), "120.4° to 120.0°");
        assert_eq!(numbers(&english, Unit::Deg, f64::NAN, 1.0), None);

        let french = Appearance {
            words: Arc::new(Words::built_in(Language::Fr)),
            ..Appearance::default()
        };
        assert_eq!(of(&french, Unit::Deg, 120.4, 120.0), "120,4° to 120,0°");
        let inches = Appearance {
            units: Units::Imperial,
            ..french
        };
        // 0.18 m / 0.0254 = 7.087; 0.12 m / 0.0254 = 4.724
        assert_eq!(of(&inches, Unit::Metre, 0.18, 0.12), "7,1 to 4,7\"");
    }
}
