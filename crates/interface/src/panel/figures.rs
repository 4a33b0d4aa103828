//! Numbers with their units, as a person reads them.

use super::words::PanelWords;
use crate::display::Units;
use crate::rules::{Limits, Rule, Unit};

const CM_PER_INCH: f64 = 2.54;

/// Writes numbers in one language and one system of units.
#[derive(Clone, Copy)]
pub(super) struct Figures<'a> {
    pub(super) words: &'a PanelWords,
    pub(super) units: Units,
}

impl Figures<'_> {
    /// A number with so many places after the decimal mark.
    pub(super) fn number(&self, value: f64, places: usize) -> String {
        let text = format!("{value:.places$}");
        let text = if text.trim_matches(['-', '0', '.']).is_empty() {
            text.trim_start_matches('-').to_owned()
        } else {
            text
        };
        text.replace('.', self.words.get("number.decimal_mark"))
    }

    /// A value of a rule's unit: degrees whole, lengths in whole centimetres
    /// or tenths of an inch.
    pub(super) fn value(&self, unit: Unit, value: f64) -> String {
        self.with_places(unit, value, 0)
    }

    /// A value that somebody set, as it is: with a decimal where it has one.
    pub(super) fn exact(&self, unit: Unit, value: f64) -> String {
        let shown = match unit {
            Unit::Deg => value,
            Unit::Metre => value * 100.0,
        };
        let whole = (shown - shown.round()).abs() < 0.05;
        self.with_places(unit, value, usize::from(!whole))
    }

    /// The same with one more place: dead-bands and spreads.
    pub(super) fn finer(&self, unit: Unit, value: f64) -> String {
        self.with_places(unit, value, 1)
    }

    fn with_places(&self, unit: Unit, value: f64, places: usize) -> String {
        match (unit, self.units) {
            (Unit::Deg, _) => format!("{}°", self.number(value, places)),
            (Unit::Metre, Units::Metric) => format!("{} cm", self.number(value * 100.0, places)),
            (Unit::Metre, Units::Imperial) => {
                format!("{} in", self.number(value * 100.0 / CM_PER_INCH, 1))
            }
        }
    }

    /// A length in metres, to the centimetre.
    pub(super) fn metres(&self, value: f64) -> String {
        match self.units {
            Units::Metric => format!("{} m", self.number(value, 2)),
            Units::Imperial => format!("{} ft", self.number(value * 100.0 / CM_PER_INCH / 12.0, 1)),
        }
    }

    /// A length in metres, said in centimetres.
    pub(super) fn cm(&self, value_m: f64, places: usize) -> String {
        match self.units {
            Units::Metric => format!("{} cm", self.number(value_m * 100.0, places)),
            Units::Imperial => format!("{} in", self.number(value_m * 100.0 / CM_PER_INCH, 1)),
        }
    }

    /// Speed in kilometres or miles an hour.
    pub(super) fn speed(&self, mps: f64) -> String {
        match self.units {
            Units::Metric => format!("{} km/h", self.number(mps * 3.6, 0)),
            Units::Imperial => format!("{} mph", self.number(mps * 2.236_936, 0)),
        }
    }

    /// Gigabytes with so many places.
    pub(super) fn gigabytes(&self, value: f64, places: usize) -> String {
        let n = self.number(value, places);
        self.words.say("number.gigabytes", &[("n", &n)])
    }

    /// Bytes as megabytes or gigabytes.
    pub(super) fn bytes(&self, bytes: u64) -> String {
        let mega = bytes as f64 / 1e6;
        if mega < 1000.0 {
            let n = self.number(mega, 0);
            self.words.say("number.megabytes", &[("n", &n)])
        } else {
            self.gigabytes(mega / 1000.0, 1)
        }
    }

    /// The limits of a rule in a few signs: 'at most 120°'.
    pub(super) fn limits(&self, rule: &Rule, limits: &Limits) -> String {
        let v = |value| self.exact(rule.unit, value);
        match (limits.at_least, limits.at_most) {
            (Some(low), Some(high)) => self
                .words
                .say("number.between", &[("low", &v(low)), ("high", &v(high))]),
            (Some(low), None) => self.words.say("number.at_least", &[("v", &v(low))]),
            (None, Some(high)) => self.words.say("number.at_most", &[("v", &v(high))]),
            (None, None) => String::new(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::display::Language;

    #[test]
    fn numbers_follow_language_and_units() {
        let english = PanelWords::english();
        let french = PanelWords::built_in(Language::Fr);
        let metric = Figures {
            words: &english,
            units: Units::Metric,
        };
        let imperial = Figures {
            words: &french,
            units: Units::Imperial,
        };
        assert_eq!(metric.value(Unit::Deg, 117.6), "118°");
        assert_eq!(metric.value(Unit::Metre, 0.123), "12 cm");
        assert_eq!(metric.finer(Unit::Metre, 0.025), "2.5 cm");
        assert_eq!(metric.exact(Unit::Metre, 0.115), "11.5 cm");
        assert_eq!(metric.exact(Unit::Deg, 6.5), "6.5°");
        assert_eq!(metric.exact(Unit::Metre, 0.12), "12 cm");
        assert_eq!(metric.number(-0.04, 1), "0.0");
        // 12 inches are 30.48 cm by definition.
        assert_eq!(imperial.value(Unit::Metre, 0.3048), "12,0 in");
        assert_eq!(metric.speed(5.0), "18 km/h");
        assert_eq!(metric.bytes(1_400_000_000), "1.4 GB");
        assert_eq!(imperial.bytes(1_400_000_000), "1,4 Go");
        assert_eq!(imperial.bytes(7_000_000), "7 Mo");
    }
}
