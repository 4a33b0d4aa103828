//! Every word of the panel, read from a file a coach can edit.
//!
//! The English file that came with the program says which texts there are and
//! what each has to hold in braces; another file is held against it.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::{Arc, LazyLock};

use crate::config::{ConfigError, Document, Problem, read_text};
use crate::display::Language;
use crate::rules::{AgeGroup, Rule};

/// All words of one language.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PanelWords {
    texts: BTreeMap<String, String>,
}

static ENGLISH: LazyLock<Arc<PanelWords>> =
    LazyLock::new(|| Arc::new(PanelWords::built_in(Language::En)));

fn built_in_text(language: Language) -> &'static str {
    match language {
        Language::En => include_str!("../../../../lang/coach-en.toml"),
        Language::Fr => include_str!("../../../../lang/coach-fr.toml"),
    }
}

impl PanelWords {
    /// The words of the program itself, in English.
    pub fn english() -> Arc<PanelWords> {
        Arc::clone(&ENGLISH)
    }

    /// The words of the program itself.
    pub fn built_in(language: Language) -> PanelWords {
        PanelWords::from_toml(built_in_text(language), language.code()).unwrap_or_else(|fault| {
            // The tests read both files, so this is never seen; a panel that
            // shows the names of its texts is still better than none.
            tracing::error!("{fault}");
            PanelWords {
                texts: BTreeMap::new(),
            }
        })
    }

    /// The words of the resources folder `home`, `lang/coach-<code>.toml`;
    /// those of the program itself where that file is not there.
    ///
    /// # Errors
    /// A file that cannot be read, a text that is missing or that nobody
    /// knows, a text without the part in braces it needs.
    pub fn load(home: &Path, language: Language) -> Result<PanelWords, ConfigError> {
        let path = home
            .join("lang")
            .join(format!("coach-{}.toml", language.code()));
        match read_text(&path) {
            Ok(text) => PanelWords::from_toml(&text, &path.display().to_string()),
            Err(e) if *e.problem == Problem::NotFound => Ok(PanelWords::built_in(language)),
            Err(e) => Err(e),
        }
    }

    /// Checks the text of a language file; `file_name` is the name faults are
    /// reported under.
    ///
    /// # Errors
    /// As [`PanelWords::load`].
    pub fn from_toml(text: &str, file_name: &str) -> Result<PanelWords, ConfigError> {
        let pattern = Document::parse(built_in_text(Language::En), "en")?;
        let document = Document::parse(text, file_name)?;
        let (wanted, root) = (pattern.root(), document.root());
        root.only(&wanted.names())?;
        let mut texts = BTreeMap::new();
        for name in wanted.names() {
            let Some(of_pattern) = wanted.section(&name)? else {
                continue;
            };
            let section = root.section(&name)?.ok_or_else(|| {
                root.conflict(
                    &name,
                    format!("the table '[{name}]' is missing; copy it from the file that came with the program"),
                )
            })?;
            let keys = of_pattern.names();
            section.only(&keys)?;
            for key in keys {
                let text = section.text(&key, "\"...\"")?.ok_or_else(|| {
                    section.conflict(
                        &key,
                        format!("the key '{name}.{key}' is missing; add a line such as '{key} = \"...\"'"),
                    )
                })?;
                let english = of_pattern.text(&key, "\"...\"")?.unwrap_or_default();
                if let Some(part) = parts(english).into_iter().find(|p| !text.contains(p)) {
                    return Err(section.conflict(
                        &key,
                        format!("{name}.{key} has to contain {part}; put it where the program is to fill it in"),
                    ));
                }
                texts.insert(format!("{name}.{key}"), kept_together(text.trim()));
            }
        }
        Ok(PanelWords { texts })
    }

    /// The text of a key, or the key itself.
    pub fn get<'a>(&'a self, key: &'a str) -> &'a str {
        self.texts.get(key).map_or(key, String::as_str)
    }

    /// The text of a key with its parts in braces filled in.
    pub fn say(&self, key: &str, parts: &[(&str, &str)]) -> String {
        self.say_all(key, parts)
    }

    /// A thing and what is said of it, with the language's colon.
    pub(super) fn pair(&self, name: &str, what: &str) -> String {
        self.say("list.pair", &[("name", name), ("what", what)])
    }

    /// The same with parts of any kind of text. What is filled in is not
    /// looked through again.
    pub(super) fn say_all(&self, key: &str, parts: &[(&str, impl AsRef<str>)]) -> String {
        let mut said = String::new();
        let mut rest = self.get(key);
        while let Some((before, after)) = rest.split_once('{') {
            said += before;
            let part = after.split_once('}').and_then(|(name, after)| {
                let (_, value) = parts.iter().find(|(part, _)| *part == name)?;
                Some((value, after))
            });
            match part {
                Some((value, after)) => {
                    said += value.as_ref();
                    rest = after;
                }
                None => {
                    said.push('{');
                    rest = after;
                }
            }
        }
        said += rest;
        said.truncate(said.trim_end().len());
        said
    }

    /// What an age group is called.
    pub(super) fn group_name(&self, group: AgeGroup) -> &str {
        match group {
            AgeGroup::Adult => self.get("group.adult"),
            _ => group.name(),
        }
    }

    /// What a rule is called in a few words.
    pub(super) fn rule_name<'a>(&'a self, rule: &'a Rule) -> &'a str {
        self.of_rule("rule", rule).unwrap_or(rule.short)
    }

    /// What a rule measures, in one or two sentences.
    pub(super) fn rule_about<'a>(&'a self, rule: &'a Rule) -> &'a str {
        self.of_rule("about", rule).unwrap_or(rule.long)
    }

    fn of_rule(&self, section: &str, rule: &Rule) -> Option<&str> {
        self.texts
            .get(&format!("{section}.{}", rule.id))
            .map(String::as_str)
    }

    /// Every key with its text, in the order of the keys.
    pub fn all(&self) -> impl Iterator<Item = (&str, &str)> {
        self.texts.iter().map(|(k, v)| (k.as_str(), v.as_str()))
    }
}

/// The text with spaces that end no line where a mark follows a space, as in
/// French: a mark never begins a line.
fn kept_together(text: &str) -> String {
    [" ;", " :", " !", " ?", " »"]
        .into_iter()
        .fold(text.replace("« ", "«\u{a0}"), |text, mark| {
            text.replace(mark, &mark.replace(' ', "\u{a0}"))
        })
}

/// The parts in braces of a text.
fn parts(text: &str) -> Vec<&str> {
    let mut found = vec![];
    let mut rest = text;
    while let Some(from) = rest.find('{') {
        let Some(length) = rest[from..].find('}') else {
            break;
        };
        found.push(&rest[from..=from + length]);
        rest = &rest[from + length..];
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::RULES;

    #[test]
    fn both_languages_are_whole_and_have_the_same_keys() {
        let keys = |language| {
            let words = PanelWords::built_in(language);
            words.texts.into_keys().collect::<Vec<_>>()
        };
        let english = keys(Language::En);
        assert!(english.len() > 200, "{}", english.len());
        assert_eq!(english, keys(Language::Fr));
    }

    #[test]
    fn no_mark_begins_a_line() {
        assert_eq!(
            kept_together("« Une » : deux ; trois ?"),
            "«\u{a0}Une\u{a0}»\u{a0}: deux\u{a0}; trois\u{a0}?"
        );
        assert_eq!(kept_together("One: two; 'three'?"), "One: two; 'three'?");
    }

    #[test]
    fn every_rule_has_words_of_its_own() {
        for language in Language::ALL {
            let words = PanelWords::built_in(language);
            for rule in RULES {
                assert!(words.of_rule("rule", rule).is_some(), "{}", rule.id);
                assert!(words.of_rule("about", rule).is_some(), "{}", rule.id);
            }
        }
    }

    #[test]
    fn faults_of_a_language_file_name_file_line_and_key() {
        let good = built_in_text(Language::En);
        let fault = |text: String| {
            PanelWords::from_toml(&text, "lang/coach-en.toml")
                .unwrap_err()
                .to_string()
        };
        let stray = fault(good.replace("\nskip =", "\nskpi ="));
        assert!(
            stray.starts_with("lang/coach-en.toml, line ") && stray.contains("'skpi'"),
            "{stray}"
        );
        let part = fault(good.replace("{flagged} of the last", "some of the last"));
        assert!(
            part.contains("limits.effect has to contain {flagged}"),
            "{part}"
        );
    }
}
