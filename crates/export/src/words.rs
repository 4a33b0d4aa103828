//! Every word of what leaves, read from files a coach can edit:
//! `lang/export.<language>.toml`, and the big screen's for names and reasons.

use std::collections::BTreeMap;
use std::path::Path;

use crate::config::{ConfigError, Problem, read_text};
use crate::display::{Language, Words};
use crate::rules::{Limits, QuantityUnit, Rule, Unit};

use super::ExportError;

/// The words of one export.
#[derive(Debug, Clone)]
pub struct ExportWords {
    language: Language,
    texts: BTreeMap<String, String>,
}

type Tables = BTreeMap<String, BTreeMap<String, String>>;

impl ExportWords {
    /// The words of the resources folder; where a file is missing there, the
    /// program's own.
    ///
    /// # Errors
    /// A file that cannot be read or that lacks a text or a part in braces.
    pub fn load(home: &Path, language: Language) -> Result<Self, ExportError> {
        let screen = Words::load(home, language).map_err(ExportError::Words)?;
        let path = home.join("lang").join(file_name(language));
        match read_text(&path) {
            Ok(text) => Self::from_texts(&text, &path.display().to_string(), &screen, language),
            Err(ConfigError { problem, .. }) if *problem == Problem::NotFound => {
                Ok(Self::built_in(language))
            }
            Err(e) => Err(ExportError::Words(e)),
        }
    }

    /// The program's own words.
    pub fn built_in(language: Language) -> Self {
        let screen = Words::built_in(language);
        let own = built_in_text(language);
        Self::from_texts(own, "lang/export", &screen, language).unwrap_or_else(|fault| {
            // The tests read both files, so this is never seen.
            tracing::error!("{fault}");
            ExportWords {
                language,
                texts: BTreeMap::new(),
            }
        })
    }

    fn from_texts(
        own: &str,
        file: &str,
        screen: &Words,
        language: Language,
    ) -> Result<Self, ExportError> {
        let given = flat(own).map_err(|e| ExportError::BadWords {
            file: file.to_owned(),
            why: e.message().to_owned(),
        })?;
        let wanted = flat(built_in_text(language)).unwrap_or_default();
        for (key, text) in &wanted {
            let why = match given.get(key) {
                None => format!("the key '{key}' is missing"),
                Some(given) => match braces(text).find(|part| !given.contains(part)) {
                    Some(part) => format!("'{key}' has to contain {part}"),
                    None => continue,
                },
            };
            return Err(ExportError::BadWords {
                file: file.to_owned(),
                why,
            });
        }
        let mut texts: BTreeMap<String, String> = screen
            .all()
            .map(|(key, text)| (format!("screen.{key}"), text.to_owned()))
            .collect();
        texts.extend(given);
        Ok(ExportWords { language, texts })
    }

    /// Two letters of the language (ISO 639-1).
    pub fn code(&self) -> &'static str {
        self.language.code()
    }

    /// The text of a key, or the key itself.
    pub fn get<'a>(&'a self, key: &'a str) -> &'a str {
        self.texts.get(key).map_or(key, String::as_str)
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
        let key = format!("screen.name.{}", rule.id);
        self.texts.get(&key).map_or(rule.short, String::as_str)
    }

    /// What to do next time.
    pub fn cue(&self, rule: &Rule, value: f64, limit: f64) -> &str {
        let side = if limit > value { "more" } else { "less" };
        [
            format!("screen.cue.{}", rule.id),
            format!("screen.cue.{}_{side}", rule.id),
        ]
        .iter()
        .find_map(|key| self.texts.get(key))
        .map_or(rule.short, String::as_str)
    }

    /// A value of a rule with its unit: whole degrees, or centimetres.
    pub fn value(&self, rule: &Rule, value: f64) -> String {
        match rule.unit {
            Unit::Deg => format!("{}°", self.number(value, 0)),
            Unit::Metre => format!("{}\u{a0}cm", self.number(100.0 * value, 1)),
        }
    }

    /// Value and uncertainty of a rule: '132° ±8°'.
    pub fn value_and_doubt(&self, rule: &Rule, value: f64, doubt: Option<f64>) -> String {
        let value = self.value(rule, value);
        doubt.map_or(value.clone(), |d| {
            format!("{value}\u{a0}±{}", self.value(rule, d))
        })
    }

    /// Value and uncertainty of a quantity.
    pub fn quantity(&self, unit: QuantityUnit, value: f64, doubt: f64) -> String {
        let with = |factor: f64, places: usize, unit: &str| {
            format!(
                "{}\u{a0}±{}{unit}",
                self.number(factor * value, places),
                self.number(factor * doubt, places)
            )
        };
        match unit {
            QuantityUnit::Deg => with(1.0, 0, "°"),
            QuantityUnit::Metre => with(100.0, 0, "\u{a0}cm"),
            QuantityUnit::Hertz => with(1.0, 2, self.get("unit.per_second")),
            QuantityUnit::Second => with(1.0, 2, &format!("\u{a0}{}", self.get("unit.second"))),
            QuantityUnit::Share => with(100.0, 0, "\u{a0}%"),
        }
    }

    /// What is wanted of a rule: 'at most 120°'.
    pub fn wanted(&self, rule: &Rule, limits: &Limits) -> String {
        let of = |limit: Option<f64>| limit.map(|l| self.value(rule, l)).unwrap_or_default();
        let (low, high) = (of(limits.low), of(limits.high));
        let key = match (limits.low, limits.high) {
            (Some(_), Some(_)) => "work.wanted_between",
            (Some(_), None) => "work.wanted_least",
            (None, _) => "work.wanted_most",
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
        text.replace('.', self.get("screen.number.decimal_mark"))
    }
}

fn file_name(language: Language) -> String {
    format!("export.{}.toml", language.code())
}

fn built_in_text(language: Language) -> &'static str {
    match language {
        Language::En => include_str!("../../../lang/export.en.toml"),
        Language::Fr => include_str!("../../../lang/export.fr.toml"),
    }
}

fn flat(text: &str) -> Result<BTreeMap<String, String>, toml::de::Error> {
    let tables: Tables = toml::from_str(text)?;
    Ok(tables
        .into_iter()
        .flat_map(|(table, texts)| {
            texts
                .into_iter()
                .map(move |(key, text)| (format!("{table}.{key}"), text))
        })
        .collect())
}

/// The parts in braces of a text, with their braces.
fn braces(text: &str) -> impl Iterator<Item = &str> {
    text.match_indices('{').filter_map(|(open, _)| {
        let rest = &text[open..];
        rest.find('}').map(|close| &rest[..=close])
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::{QUANTITIES, RULES};

    #[test]
    fn both_languages_have_the_same_keys_and_parts() {
        let [en, fr] = Language::ALL.map(|l| flat(built_in_text(l)).unwrap());
        assert!(en.len() > 100);
        assert_eq!(en.keys().collect::<Vec<_>>(), fr.keys().collect::<Vec<_>>());
        for (key, text) in &en {
            let mut parts = [braces(text).collect::<Vec<_>>(), braces(&fr[key]).collect()];
            parts.iter_mut().for_each(|p| p.sort_unstable());
            assert_eq!(parts[0], parts[1], "{key}");
        }
    }

    #[test]
    fn every_rule_and_quantity_has_words() {
        for language in Language::ALL {
            let words = ExportWords::built_in(language);
            for rule in RULES {
                assert!(words.texts.contains_key(&format!("rule.{}", rule.id)));
                assert!(
                    words
                        .texts
                        .contains_key(&format!("screen.name.{}", rule.id))
                );
                assert_ne!(words.cue(rule, 2.0, 1.0), rule.short);
            }
            for quantity in QUANTITIES {
                assert!(
                    words
                        .texts
                        .contains_key(&format!("quantity.{}", quantity.key))
                );
            }
        }
    }

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
    fn a_file_that_lacks_a_part_is_named() {
        let bad = built_in_text(Language::En).replace("{n} passes could", "Passes could");
        let screen = Words::built_in(Language::En);
        let e = ExportWords::from_texts(&bad, "mine.toml", &screen, Language::En).unwrap_err();
        let said = e.to_string();
        assert!(
            said.contains("mine.toml") && said.contains("page.lost_passes"),
            "{said}"
        );
    }

    #[test]
    fn numbers_read_as_in_the_language() {
        let fr = ExportWords::built_in(Language::Fr);
        assert_eq!(fr.number(-1.25, 1), "\u{2212}1,2");
        assert_eq!(fr.number(-0.01, 1), "0,0");
        let gap = RULES.iter().find(|r| r.unit == Unit::Metre).unwrap();
        assert_eq!(
            fr.value_and_doubt(gap, 0.123, Some(0.02)),
            "12,3\u{a0}cm\u{a0}±2,0\u{a0}cm"
        );
    }
}
