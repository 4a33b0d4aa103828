//! Every word of the big screen, read from a file a coach can edit.
//!
//! A cue says what to do, never what was wrong, and points at the ice or the
//! way ahead rather than at a muscle: a review argues for attention turned
//! outward (Wulf and Lewthwaite 2016, doi 10.3758/s13423-015-0999-9). Words
//! of a cue have at most ten letters, so that they stay tall on a narrow
//! screen.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::{Arc, LazyLock};

use super::appearance::Language;
use crate::config::{ConfigError, Document, Problem, read_text};
use crate::feedback::{CueLeg, Good};
use crate::rules::{RULES, Sense, not_judged};

/// Title of the window.
pub(super) const WINDOW_TITLE: &str = "Kickplate";
/// Longest word of a cue, letters.
const LONGEST_CUE_WORD: usize = 10;

/// A key, and the parts in braces its text has to hold.
type Declared = (&'static str, &'static [&'static str]);

/// The texts by their section, but for those made from the rules. What a
/// text has to hold in braces stands beside it.
const TEXTS: [(&str, &[Declared]); 8] = [
    (
        "screen",
        &[
            ("next_skater", &[]),
            ("eyes_up", &[]),
            ("focus", &["{what}"]),
            ("in_lane", &[]),
            ("praise", &[]),
            ("praise_note", &[]),
            ("improved", &[]),
            ("improved_note", &["{what}", "{before}", "{now}"]),
            ("unfed", &[]),
            ("unfed_note", &[]),
            ("not_judged", &[]),
        ],
    ),
    (
        "good",
        &[
            ("improved", &["{what}"]),
            ("in_band", &["{what}"]),
            ("kept_going", &[]),
        ],
    ),
    ("side", &[("left", &[]), ("right", &[]), ("both", &[])]),
    (
        "summary",
        &[("in_band", &["{n}", "{of}"]), ("next", &["{what}"])],
    ),
    ("replay", &[("label", &[])]),
    (
        "number",
        &[("decimal_mark", &[]), ("centimetre", &[]), ("inch", &[])],
    ),
    (
        "fault",
        &[
            ("no_camera", &[]),
            ("no_camera_note", &[]),
            ("silent", &[]),
            ("silent_note", &[]),
            ("engine", &[]),
            ("engine_note", &[]),
            ("not_recording", &[]),
            ("not_recording_note", &[]),
            ("other", &[]),
        ],
    ),
    (
        "strip",
        &[
            ("rate", &["{n}"]),
            ("sound_off", &[]),
            ("no_speaker", &[]),
            ("not_recording", &[]),
            ("pictures_kept", &[]),
            ("no_pictures", &[]),
        ],
    ),
];

/// The keys of `[cue]`: one per rule, two where both sides of a band can be
/// missed.
fn cue_keys() -> Vec<String> {
    RULES
        .iter()
        .flat_map(|rule| match rule.sense {
            Sense::Between => vec![format!("{}_more", rule.id), format!("{}_less", rule.id)],
            Sense::AtMost | Sense::AtLeast => vec![rule.id.to_owned()],
        })
        .collect()
}

/// What is said where a reason is in no language file.
const OTHER_REASON: &str = "other";

/// The keys of `[reason]`: one per reason of the rules.
fn reason_keys() -> Vec<String> {
    let reasons = not_judged::ALL.iter().map(|reason| key_of(reason));
    reasons.chain([OTHER_REASON.to_owned()]).collect()
}

/// A reason's words as a key.
fn key_of(reason: &str) -> String {
    reason
        .split(|c: char| !c.is_alphanumeric())
        .filter(|w| !w.is_empty())
        .collect::<Vec<_>>()
        .join("_")
        .to_lowercase()
}

/// All words of one language.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Words {
    language: Language,
    texts: BTreeMap<String, String>,
}

static ENGLISH: LazyLock<Arc<Words>> = LazyLock::new(|| Arc::new(Words::built_in(Language::En)));

impl Words {
    /// The words of the program itself, in English.
    pub fn english() -> Arc<Words> {
        Arc::clone(&ENGLISH)
    }

    /// The words of the program itself.
    pub fn built_in(language: Language) -> Words {
        let text = match language {
            Language::En => include_str!("../../../../lang/en.toml"),
            Language::Fr => include_str!("../../../../lang/fr.toml"),
        };
        Words::from_toml(text, language.code(), language).unwrap_or_else(|fault| {
            // The tests read both files, so this is never seen; a screen that
            // shows the names of its texts is still better than none.
            tracing::error!("{fault}");
            Words {
                language,
                texts: BTreeMap::new(),
            }
        })
    }

    /// Reads `lang/<language>.toml` of the resources folder. Where there is
    /// no such file the words of the program itself are taken.
    ///
    /// # Errors
    /// A file that cannot be read, a key that is missing or that nobody
    /// knows, a text without the part in braces it needs.
    pub fn load(home: &Path, language: Language) -> Result<Words, ConfigError> {
        let path = home.join("lang").join(format!("{}.toml", language.code()));
        match read_text(&path) {
            Ok(text) => Words::from_toml(&text, &path.display().to_string(), language),
            Err(e) if *e.problem == Problem::NotFound => Ok(Words::built_in(language)),
            Err(e) => Err(e),
        }
    }

    /// Checks the text of a language file; `file_name` is the name faults are
    /// reported under.
    ///
    /// # Errors
    /// As [`Words::load`].
    pub fn from_toml(
        text: &str,
        file_name: &str,
        language: Language,
    ) -> Result<Words, ConfigError> {
        let document = Document::parse(text, file_name)?;
        let root = document.root();
        let mut known: Vec<&str> = TEXTS.iter().map(|(section, _)| *section).collect();
        known.extend(["cue", "name", "reason"]);
        root.only(&known)?;
        let mut texts = BTreeMap::new();
        let mut take = |section_name: &str,
                        keys: &[String],
                        parts: &dyn Fn(&str) -> Vec<&'static str>| {
            let section = root.section(section_name)?.ok_or_else(|| {
                root.conflict(
                    section_name,
                    format!("the table '[{section_name}]' is missing; copy it from the file that came with the program"),
                )
            })?;
            section.only(keys)?;
            for key in keys {
                let text = section.text(key, "\"...\"")?.ok_or_else(|| {
                    section.conflict(
                        key,
                        format!("the key '{section_name}.{key}' is missing; add a line such as '{key} = \"...\"'"),
                    )
                })?;
                if let Some(part) = parts(key).into_iter().find(|p| !text.contains(p)) {
                    return Err(section.conflict(
                        key,
                        format!("{section_name}.{key} has to contain {part}; put it where the program is to fill it in"),
                    ));
                }
                texts.insert(format!("{section_name}.{key}"), text.trim().to_owned());
            }
            Ok(())
        };
        for (section, entries) in TEXTS {
            let keys: Vec<String> = entries.iter().map(|(key, _)| (*key).to_owned()).collect();
            take(section, &keys, &|key| {
                let entry = entries.iter().find(|(k, _)| *k == key);
                entry.map_or(vec![], |(_, parts)| parts.to_vec())
            })?;
        }
        take("reason", &reason_keys(), &|_| vec![])?;
        take("cue", &cue_keys(), &|_| vec![])?;
        let names: Vec<String> = RULES.iter().map(|r| r.id.to_owned()).collect();
        take("name", &names, &|_| vec![])?;
        if let Some(section) = root.section("cue")? {
            for key in cue_keys() {
                let text = &texts[&format!("cue.{key}")];
                if let Some(word) = text
                    .split_whitespace()
                    .find(|w| w.chars().count() > LONGEST_CUE_WORD)
                {
                    return Err(section.conflict(
                        &key,
                        format!("cue.{key} has the word '{word}' of more than {LONGEST_CUE_WORD} letters, which would be too small to read from far away; use a shorter one"),
                    ));
                }
            }
        }
        Ok(Words { language, texts })
    }

    /// Every key with its text, in the order of the keys.
    pub fn all(&self) -> impl Iterator<Item = (&str, &str)> {
        self.texts.iter().map(|(k, v)| (k.as_str(), v.as_str()))
    }

    /// The text of a key, or the key itself.
    pub(super) fn get<'a>(&'a self, key: &'a str) -> &'a str {
        self.texts.get(key).map_or(key, String::as_str)
    }

    fn of_rule(&self, section: &str, rule: &str) -> Option<&str> {
        self.texts
            .get(&format!("{section}.{rule}"))
            .map(String::as_str)
    }

    /// What to do next time. The two sides of a band want opposite things:
    /// `more` says that the value has to grow.
    pub(super) fn cue(&self, rule: &str, more: bool) -> &str {
        let side = if more { "more" } else { "less" };
        self.of_rule("cue", rule)
            .or_else(|| self.of_rule("cue", &format!("{rule}_{side}")))
            .unwrap_or_default()
    }

    /// What a rule is about, in one word.
    pub(super) fn name(&self, rule: &str) -> &str {
        self.of_rule("name", rule).unwrap_or_default()
    }

    /// The side a cue is about.
    pub(super) fn leg(&self, leg: CueLeg) -> &str {
        self.get(match leg {
            CueLeg::Left => "side.left",
            CueLeg::Right => "side.right",
            CueLeg::Both => "side.both",
        })
    }

    /// What is good, in a few words.
    pub(super) fn good(&self, good: Good) -> String {
        let of = |key: &str, rule: &str| self.get(key).replace("{what}", self.name(rule));
        match good {
            Good::Improved { rule } => of("good.improved", rule),
            Good::InBand { rule } => of("good.in_band", rule),
            Good::KeptGoing => self.get("good.kept_going").to_owned(),
        }
    }

    /// Why a pass was not judged. The other rooms give their reasons in
    /// English; one that is in no file is said in English or in general.
    pub(crate) fn reason(&self, reason: &str) -> String {
        sentence(
            match self.texts.get(&format!("reason.{}", key_of(reason))) {
                Some(text) => text,
                None if self.language == Language::En => reason,
                None => self.get("reason.other"),
            },
        )
    }
}

/// First letter large, as a line of its own begins.
pub(super) fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    match chars.next() {
        Some(first) => first.to_uppercase().chain(chars).collect(),
        None => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_languages_are_whole_and_have_the_same_keys() {
        let of = |language| {
            let words = Words::built_in(language);
            words.texts.keys().cloned().collect::<Vec<_>>()
        };
        let keys = of(Language::En);
        // 8 sections of texts, the reasons and the general one, the cues (7 for 6
        // rules) and the names.
        assert_eq!(keys.len(), 38 + not_judged::ALL.len() + 1 + 7 + 6);
        assert_eq!(keys, of(Language::Fr));
    }

    #[test]
    fn every_rule_has_words_of_its_own() {
        for language in Language::ALL {
            let words = Words::built_in(language);
            for rule in RULES {
                for more in [true, false] {
                    let cue = words.cue(rule.id, more);
                    let count = cue.split_whitespace().count();
                    assert!((1..=3).contains(&count), "{}: {cue}", rule.id);
                }
                assert!(!words.name(rule.id).contains(' '));
            }
        }
    }

    /// The reasons are the rules' own.
    #[test]
    fn reasons_are_translated_and_unknown_ones_are_not_left_in_english() {
        let french = Words::built_in(Language::Fr);
        assert_eq!(french.reason("no push was seen"), "Aucune poussée vue");
        assert_eq!(french.reason("a new reason"), "Pas assez bien vu");
        let english = Words::english();
        assert_eq!(english.reason("a new reason"), "A new reason");
        for reason in not_judged::ALL {
            assert_eq!(english.reason(reason), sentence(reason));
            assert_ne!(french.reason(reason), "Pas assez bien vu", "{reason}");
        }
    }

    #[test]
    fn faults_of_a_language_file_name_file_line_and_key() {
        let good = include_str!("../../../../lang/en.toml");
        let fault = |text: String| {
            Words::from_toml(&text, "lang/en.toml", Language::En)
                .unwrap_err()
                .to_string()
        };
        let stray = fault(good.replace("praise_note =", "prase_note ="));
        assert!(
            stray.starts_with("lang/en.toml, line 11: unknown key 'prase_note'")
                && stray.contains("praise_note"),
            "{stray}"
        );
        let missing = fault(good.replace("praise_note = \"Do it again\"\n", ""));
        assert!(
            missing.contains("'screen.praise_note' is missing"),
            "{missing}"
        );
        let part = fault(good.replace("{of}", "all"));
        assert!(
            part.contains("summary.in_band has to contain {of}"),
            "{part}"
        );
        let long = fault(good.replace("Click heels", "Click together heels and ankles-close"));
        assert!(long.contains("'ankles-close'"), "{long}");
        let empty = fault(good.replace("\"Better\"", "\"\""));
        assert!(empty.contains("screen.improved"), "{empty}");
    }
}
