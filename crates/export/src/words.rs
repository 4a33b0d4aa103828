//! The words of what leaves: a view of the catalogue.

use std::path::Path;
use std::sync::Arc;

use crate::rules::{Limits, Measure, NotJudged, Quantity, QuantityUnit, Rule, Unit};
use kickplate_measure::words::{Catalogue, Language};

use super::ExportError;

/// The words of one export.
#[derive(Debug, Clone)]
pub struct ExportWords {
    words: Arc<Catalogue>,
    /// Reasons by their codes.
    codes: bool,
}

impl ExportWords {
    /// The words of the resources folder; where a file is missing there, the
    /// program's own.
    ///
    /// # Errors
    /// As [`Catalogue::load`].
    pub fn load(home: &Path, language: Language) -> Result<Self, ExportError> {
        let words = Catalogue::load(home, language).map_err(ExportError::Words)?;
        Ok(ExportWords {
            words,
            codes: false,
        })
    }

    /// The program's own words.
    pub fn built_in(language: Language) -> Self {
        ExportWords {
            words: Catalogue::built_in(language),
            codes: false,
        }
    }

    /// For tables that programs read: why something is not judged is said by its code,
    /// which is the same in every language and every version.
    pub fn codes() -> Self {
        ExportWords {
            codes: true,
            ..Self::built_in(Language::En)
        }
    }

    /// A text of the big screen.
    pub fn screen<'a>(&'a self, key: &'a str) -> &'a str {
        self.words.screen.get(key).map_or(key, String::as_str)
    }

    /// Two letters of the language (ISO 639-1).
    pub fn code(&self) -> &'static str {
        self.words.language.code()
    }

    /// The text of a key, or the key itself.
    pub fn get<'a>(&'a self, key: &'a str) -> &'a str {
        self.words.export.get(key).map_or(key, String::as_str)
    }

    /// The text of a key with its parts filled in.
    pub fn fill(&self, key: &str, parts: &[(&str, &str)]) -> String {
        let text = self.get(key);
        let mut out = String::with_capacity(text.len() + 32);
        let mut rest = text;
        // One way through, so that what is filled in is not searched again.
        while let Some(open) = rest.find('{') {
            out.push_str(&rest[..open]);
            rest = &rest[open..];
            let part = rest.find('}').and_then(|close| {
                let value = parts.iter().find(|(name, _)| *name == &rest[1..close])?.1;
                Some((close, value))
            });
            match part {
                Some((close, value)) => {
                    out.push_str(value);
                    rest = &rest[close + 1..];
                }
                None => {
                    out.push('{');
                    rest = &rest[1..];
                }
            }
        }
        out.push_str(rest);
        out
    }

    /// '1 pass', '3 passes'.
    pub fn count(&self, what: &str, n: usize) -> String {
        let key = if n == 1 { "one" } else { "many" };
        self.fill(&format!("page.{what}_{key}"), &[("n", &n.to_string())])
    }

    /// What a rule is about, in one word.
    pub fn name(&self, rule: &Rule) -> &str {
        self.words.of_rule(rule.id, "name").unwrap_or(rule.short)
    }

    /// What a rule measures, for who reads a page.
    pub fn about(&self, rule: &Rule) -> &str {
        self.words.of_rule(rule.id, "page").unwrap_or(rule.long)
    }

    /// What a quantity is called.
    pub fn quantity_name(&self, quantity: &Quantity) -> &str {
        self.words.quantity(quantity.id)
    }

    /// Why something is not judged, or how it was measured.
    pub fn why_or_how<'a>(&'a self, measure: &'a Measure) -> &'a str {
        match measure.not_judged {
            Some(why) if self.codes => why.code(),
            Some(why) => self.words.reason(why),
            None => &measure.how,
        }
    }

    /// Why something is not judged.
    pub fn reason(&self, why: NotJudged) -> &str {
        self.words.reason(why)
    }

    /// What to do next time.
    pub fn cue(&self, rule: &Rule, value: f64, limit: f64) -> &str {
        self.words.cue(rule.id, limit > value).unwrap_or(rule.short)
    }

    /// A value of a rule with its unit: whole degrees, or centimetres.
    pub fn value(&self, rule: &Rule, value: f64) -> String {
        match rule.unit {
            Unit::Deg => format!("{}°", self.number(value, 0)),
            Unit::Metre => format!("{}\u{a0}cm", self.number(100.0 * value, 1)),
        }
    }

    /// Value and uncertainty of a rule: '132° ±8°'.
    pub fn value_and_uncertainty(
        &self,
        rule: &Rule,
        value: f64,
        uncertainty: Option<f64>,
    ) -> String {
        let value = self.value(rule, value);
        uncertainty.map_or(value.clone(), |d| {
            format!("{value}\u{a0}±{}", self.value(rule, d))
        })
    }

    /// Value and uncertainty of a quantity.
    pub fn quantity(&self, unit: QuantityUnit, value: f64, uncertainty: f64) -> String {
        let with = |factor: f64, places: usize, unit: &str| {
            format!(
                "{}\u{a0}±{}{unit}",
                self.number(factor * value, places),
                self.number(factor * uncertainty, places)
            )
        };
        match unit {
            QuantityUnit::Deg => with(1.0, 0, "°"),
            QuantityUnit::Metre => with(100.0, 0, "\u{a0}cm"),
            QuantityUnit::Hertz => with(1.0, 2, self.get("unit.per_second")),
            QuantityUnit::Second => with(1.0, 2, &format!("\u{a0}{}", self.get("unit.second"))),
        }
    }

    /// The limits of a rule: 'at most 120°'.
    pub fn limits(&self, rule: &Rule, limits: &Limits) -> String {
        let of = |limit: Option<f64>| limit.map(|l| self.value(rule, l)).unwrap_or_default();
        let (low, high) = (of(limits.at_least), of(limits.at_most));
        let key = match (limits.at_least, limits.at_most) {
            (Some(_), Some(_)) => "work.limit_between",
            (Some(_), None) => "work.limit_least",
            (None, _) => "work.limit_most",
        };
        self.fill(key, &[("low", &low), ("high", &high)])
    }

    /// A number with the decimal mark of the language and a true minus.
    pub fn number(&self, value: f64, places: usize) -> String {
        let text = format!("{value:.places$}");
        let text = match text.strip_prefix('-') {
            Some(digits) if digits.chars().all(|c| matches!(c, '0' | '.')) => digits.to_owned(),
            Some(digits) => format!("\u{2212}{digits}"),
            None => text,
        };
        text.replace('.', self.screen("number.decimal_mark"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::RULES;

    #[test]
    fn what_is_filled_in_is_not_searched_again() {
        let words = ExportWords::built_in(Language::En);
        let text = words.fill(
            "well.better",
            &[("name", "{after}"), ("before", "1"), ("after", "2")],
        );
        assert!(text.starts_with("{after}: better"), "{text}");
        assert!(text.contains("(1 to 2)"));
    }

    #[test]
    fn numbers_read_as_in_the_language() {
        let fr = ExportWords::built_in(Language::Fr);
        assert_eq!(fr.number(-1.25, 1), "\u{2212}1,2");
        assert_eq!(fr.number(-0.01, 1), "0,0");
        let gap = RULES.iter().find(|r| r.unit == Unit::Metre).unwrap();
        assert_eq!(
            fr.value_and_uncertainty(gap, 0.123, Some(0.02)),
            "12,3\u{a0}cm\u{a0}±2,0\u{a0}cm"
        );
    }
}
