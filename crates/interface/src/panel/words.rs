//! The words of the panel: a view of the catalogue.

use std::path::Path;
use std::sync::{Arc, LazyLock};

use crate::config::ConfigError;
use crate::rules::{AgeGroup, Rule};
use crate::sound::{Ending, SoundId};
use crate::words::{Catalogue, Language, Texts};

/// The words of the panel in one language.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PanelWords {
    texts: Texts,
    rules: Texts,
}

static ENGLISH: LazyLock<Arc<PanelWords>> =
    LazyLock::new(|| Arc::new(PanelWords::built_in(Language::En)));

impl PanelWords {
    /// The words of the program itself, in English.
    pub fn english() -> Arc<PanelWords> {
        Arc::clone(&ENGLISH)
    }

    /// The words of the program itself.
    pub fn built_in(language: Language) -> PanelWords {
        PanelWords::of(&Catalogue::built_in(language))
    }

    /// The words of the resources folder.
    ///
    /// # Errors
    /// As [`Catalogue::load`].
    pub fn load(home: &Path, language: Language) -> Result<PanelWords, ConfigError> {
        Catalogue::load(home, language).map(|words| PanelWords::of(&words))
    }

    fn of(catalogue: &Catalogue) -> PanelWords {
        let kept = |texts: &Texts| {
            texts
                .iter()
                .map(|(key, text)| (key.clone(), kept_together(text)))
                .collect()
        };
        PanelWords {
            texts: kept(&catalogue.panel),
            rules: kept(&catalogue.rules),
        }
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

    /// What the sounds of a cue are called: praise, go again, a rule.
    pub(super) fn sound_family(&self, id: SoundId) -> &str {
        match id {
            SoundId::Praise => self.get("voice.praise"),
            SoundId::GoAgain => self.get("voice.go_again"),
            SoundId::Order(rule, _) => self.rule_name(rule.rule()),
        }
    }

    /// What the sounds of a rule differ by.
    pub(super) fn sound_ending(&self, id: SoundId) -> Option<&str> {
        let SoundId::Order(_, ending) = id else {
            return None;
        };
        Some(self.get(match ending {
            Ending::Left => "voice.left",
            Ending::Right => "voice.right",
            Ending::Both => "voice.both",
            Ending::More => "voice.more",
            Ending::Less => "voice.less",
        }))
    }

    /// What a sound is called.
    pub(super) fn sound_name(&self, id: SoundId) -> String {
        let family = self.sound_family(id);
        self.sound_ending(id)
            .map_or_else(|| family.to_owned(), |ending| format!("{family}, {ending}"))
    }

    /// What a rule is called in a few words.
    pub(super) fn rule_name<'a>(&'a self, rule: &'a Rule) -> &'a str {
        self.of_rule(rule, "title").unwrap_or(rule.short)
    }

    /// What a rule measures, in one or two sentences.
    pub(super) fn rule_about<'a>(&'a self, rule: &'a Rule) -> &'a str {
        self.of_rule(rule, "about").unwrap_or(rule.long)
    }

    fn of_rule(&self, rule: &Rule, key: &str) -> Option<&str> {
        self.rules
            .get(&format!("{}.{key}", rule.id))
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_mark_begins_a_line() {
        assert_eq!(
            kept_together("« Une » : deux ; trois ?"),
            "«\u{a0}Une\u{a0}»\u{a0}: deux\u{a0}; trois\u{a0}?"
        );
        assert_eq!(kept_together("One: two; 'three'?"), "One: two; 'three'?");
    }
}
