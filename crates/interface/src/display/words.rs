//! The words of the big screen: a view of the catalogue.
//!
//! A cue says what to do, never what was wrong, and points at the ice or the
//! way ahead rather than at a muscle: a review argues for attention turned
//! outward (Wulf and Lewthwaite 2016, doi 10.3758/s13423-015-0999-9). Words
//! of a cue have at most ten letters, so that they stay tall on a narrow
//! screen.

use std::path::Path;
use std::sync::{Arc, LazyLock};

use crate::config::ConfigError;
use crate::feedback::{CueKind, CueLeg, Good};
use crate::rules::{NotJudged, RuleId};
use crate::words::{Catalogue, Language};

/// Title of the window.
pub(super) const WINDOW_TITLE: &str = "Kickplate";

/// The words of the big screen in one language.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Words(Arc<Catalogue>);

static ENGLISH: LazyLock<Arc<Words>> = LazyLock::new(|| Arc::new(Words::built_in(Language::En)));

impl Words {
    /// The words of the program itself, in English.
    pub fn english() -> Arc<Words> {
        Arc::clone(&ENGLISH)
    }

    /// The words of the program itself.
    pub fn built_in(language: Language) -> Words {
        Words(Catalogue::built_in(language))
    }

    /// The words of the resources folder.
    ///
    /// # Errors
    /// As [`Catalogue::load`].
    pub fn load(home: &Path, language: Language) -> Result<Words, ConfigError> {
        Catalogue::load(home, language).map(Words)
    }

    /// Every text the screen may show with its key, in the order of the keys.
    pub fn all(&self) -> impl Iterator<Item = (&str, &str)> {
        let tables = [&self.0.screen, &self.0.rules, &self.0.reasons];
        tables
            .into_iter()
            .flat_map(|texts| texts.iter().map(|(k, v)| (k.as_str(), v.as_str())))
    }

    /// The text of a key, or the key itself.
    pub(super) fn get<'a>(&'a self, key: &'a str) -> &'a str {
        self.0.screen.get(key).map_or(key, String::as_str)
    }

    /// What to do next time. The two sides of a band want opposite things:
    /// `more` says that the value has to grow.
    pub(super) fn cue(&self, rule: RuleId, more: bool) -> &str {
        self.0.cue(rule, more).unwrap_or_default()
    }

    /// What a rule is about, in one word.
    pub(super) fn name(&self, rule: RuleId) -> &str {
        self.0.of_rule(rule, "name").unwrap_or_default()
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
        let of = |key: &str, rule: RuleId| self.get(key).replace("{what}", self.name(rule));
        match good {
            Good::Improved { rule } => of("good.improved", rule),
            Good::InBand { rule } => of("good.in_band", rule),
            Good::KeptGoing => self.get("good.kept_going").to_owned(),
        }
    }

    /// The large words the skater is shown for a cue.
    pub fn headline(&self, cue: &CueKind) -> String {
        match cue {
            CueKind::Do {
                rule, value, limit, ..
            } => self.cue(*rule, limit > value).to_owned(),
            CueKind::Improved { .. } => self.get("message.improved").to_owned(),
            CueKind::Praise => self.get("message.praise").to_owned(),
            CueKind::Unfed { .. } => self.get("message.unfed").to_owned(),
            CueKind::NotJudged { .. } => self.get("message.not_judged").to_owned(),
        }
    }

    /// Why a pass was not judged.
    pub(crate) fn reason(&self, reason: NotJudged) -> String {
        sentence(self.0.reason(reason))
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
    fn a_reason_is_a_sentence_in_the_language() {
        let said = |language| Words::built_in(language).reason(NotJudged::NoPush);
        assert_eq!(said(Language::Fr), "Aucune poussée vue");
        assert_eq!(said(Language::En), "No push was seen");
    }
}
