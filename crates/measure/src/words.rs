//! Every word of the program in one file a language, which a coach can edit:
//! `lang/en.toml`, `lang/fr.toml`.
//!
//! The English file that came with the program says which texts there are and
//! what each has to hold in braces; another file is held against it. Screen,
//! panel and export look at it through views of their own.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::{Arc, LazyLock};

use crate::config::{ConfigError, Document, Problem, Section, read_text};
use crate::rules::{NotJudged, QuantityId, RuleId};

/// Longest word of a cue, letters: so that it stays tall on a narrow screen.
const LONGEST_CUE_WORD: usize = 10;

/// A language there are words for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Language {
    /// English.
    #[default]
    En,
    /// French.
    Fr,
}

/// The two letters of each language, in the order of [`Language::ALL`].
pub const LANGUAGE_CODES: [&str; 2] = ["en", "fr"];

impl Language {
    /// All languages, in the order of [`LANGUAGE_CODES`].
    pub const ALL: [Language; 2] = [Language::En, Language::Fr];

    /// Its two letters (ISO 639-1), and the name of its file.
    pub fn code(self) -> &'static str {
        LANGUAGE_CODES[self as usize]
    }

    /// The file that came with the program.
    fn built_in_text(self) -> &'static str {
        match self {
            Language::En => include_str!("../../../lang/en.toml"),
            Language::Fr => include_str!("../../../lang/fr.toml"),
        }
    }
}

/// Texts by their key: `fault.no_camera`.
pub type Texts = BTreeMap<String, String>;

/// All words of one language.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Catalogue {
    /// The language.
    pub language: Language,
    /// The big screen's, by `section.key`.
    pub screen: Texts,
    /// The panel's, by `section.key`.
    pub panel: Texts,
    /// What leaves the station, by `section.key`.
    pub export: Texts,
    /// The rules', by `rule.key`.
    pub rules: Texts,
    /// The quantities', by their key.
    pub quantities: Texts,
    /// Why something is not judged, by the key of the reason.
    pub reasons: Texts,
}

static BUILT_IN: LazyLock<[Arc<Catalogue>; 2]> = LazyLock::new(|| {
    Language::ALL.map(|language| {
        let read = Catalogue::from_toml(language.built_in_text(), language.code(), language);
        // The tests read both files, so the other case is never seen; a screen
        // that shows the names of its texts is still better than none.
        Arc::new(read.unwrap_or_else(|_| Catalogue::empty(language)))
    })
});

impl Catalogue {
    /// The words of the program itself.
    pub fn built_in(language: Language) -> Arc<Catalogue> {
        Arc::clone(&BUILT_IN[language as usize])
    }

    /// Reads `lang/<language>.toml` of the resources folder. Where there is
    /// no such file the words of the program itself are taken.
    ///
    /// # Errors
    /// A file that cannot be read, a key that is missing or that nobody
    /// knows, a text without the part in braces it needs.
    pub fn load(home: &Path, language: Language) -> Result<Arc<Catalogue>, ConfigError> {
        let path = home.join("lang").join(format!("{}.toml", language.code()));
        match read_text(&path) {
            Ok(text) => {
                Catalogue::from_toml(&text, &path.display().to_string(), language).map(Arc::new)
            }
            Err(e) if *e.problem == Problem::NotFound => Ok(Catalogue::built_in(language)),
            Err(e) => Err(e),
        }
    }

    /// Checks the text of a language file; `file_name` is the name faults are
    /// reported under.
    ///
    /// # Errors
    /// As [`Catalogue::load`].
    pub fn from_toml(
        text: &str,
        file_name: &str,
        language: Language,
    ) -> Result<Catalogue, ConfigError> {
        let pattern = Document::parse(Language::En.built_in_text(), "en")?;
        let document = Document::parse(text, file_name)?;
        let (wanted, root) = (pattern.root(), document.root());
        root.only(&wanted.names())?;
        let mut catalogue = Catalogue::empty(language);
        for name in wanted.names() {
            let (Some(wanted), Some(into)) = (wanted.section(&name)?, catalogue.table(&name))
            else {
                continue;
            };
            take(&wanted, &table(&root, &name)?, "", into)?;
        }
        Ok(catalogue)
    }

    fn empty(language: Language) -> Catalogue {
        Catalogue {
            language,
            screen: Texts::new(),
            panel: Texts::new(),
            export: Texts::new(),
            rules: Texts::new(),
            quantities: Texts::new(),
            reasons: Texts::new(),
        }
    }

    fn table(&mut self, name: &str) -> Option<&mut Texts> {
        match name {
            "screen" => Some(&mut self.screen),
            "panel" => Some(&mut self.panel),
            "export" => Some(&mut self.export),
            "rules" => Some(&mut self.rules),
            "quantities" => Some(&mut self.quantities),
            "reasons" => Some(&mut self.reasons),
            _ => None,
        }
    }

    /// A text of a rule.
    pub fn of_rule(&self, rule: RuleId, key: &str) -> Option<&str> {
        self.rules.get(&format!("{rule}.{key}")).map(String::as_str)
    }

    /// What to do next time. The two sides of a band want opposite things:
    /// `more` says that the value has to grow.
    pub fn cue(&self, rule: RuleId, more: bool) -> Option<&str> {
        let side = if more { "cue_more" } else { "cue_less" };
        self.of_rule(rule, "cue")
            .or_else(|| self.of_rule(rule, side))
    }

    /// What a quantity is called.
    pub fn quantity(&self, quantity: QuantityId) -> &str {
        let code = quantity.code();
        self.quantities.get(code).map_or(code, String::as_str)
    }

    /// Why something is not judged.
    pub fn reason(&self, reason: NotJudged) -> &str {
        let code = reason.code();
        self.reasons.get(code).map_or(code, String::as_str)
    }
}

fn table<'d>(of: &Section<'d>, name: &str) -> Result<Section<'d>, ConfigError> {
    of.section(name)?.ok_or_else(|| {
        let path = of.path_of(name);
        of.conflict(
            name,
            format!(
                "the table '[{path}]' is missing; copy it from the file that came with the program"
            ),
        )
    })
}

/// Takes every text the pattern has, and no other.
fn take(
    wanted: &Section<'_>,
    given: &Section<'_>,
    before: &str,
    into: &mut Texts,
) -> Result<(), ConfigError> {
    let keys = wanted.names();
    given.only(&keys)?;
    for key in keys {
        let path = given.path_of(&key);
        if wanted.is_table(&key) {
            if let Some(deeper) = wanted.section(&key)? {
                take(
                    &deeper,
                    &table(given, &key)?,
                    &format!("{before}{key}."),
                    into,
                )?;
            }
            continue;
        }
        let text = given.text(&key, "\"...\"")?.ok_or_else(|| {
            given.conflict(
                &key,
                format!("the key '{path}' is missing; add a line such as '{key} = \"...\"'"),
            )
        })?;
        let english = wanted.text(&key, "\"...\"")?.unwrap_or_default();
        if let Some(part) = parts(english).find(|p| !text.contains(p)) {
            return Err(given.conflict(
                &key,
                format!("{path} has to contain {part}; put it where the program is to fill it in"),
            ));
        }
        let too_long = |w: &&str| key.starts_with("cue") && w.chars().count() > LONGEST_CUE_WORD;
        if path.starts_with("rules.")
            && let Some(word) = text.split_whitespace().find(too_long)
        {
            return Err(given.conflict(
                &key,
                format!("{path} has the word '{word}' of more than {LONGEST_CUE_WORD} letters, which would be too small to read from far away; use a shorter one"),
            ));
        }
        into.insert(format!("{before}{key}"), text.trim().to_owned());
    }
    Ok(())
}

/// The parts in braces of a text, with their braces.
fn parts(text: &str) -> impl Iterator<Item = &str> {
    text.match_indices('{').filter_map(|(open, _)| {
        let rest = &text[open..];
        rest.find('}').map(|close| &rest[..=close])
    })
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;
    use crate::rules::{RULES, Sense};

    #[test]
    fn both_languages_are_whole_and_have_the_same_keys_and_parts() {
        let [en, fr] = Language::ALL.map(|language| {
            let text = language.built_in_text();
            Catalogue::from_toml(text, language.code(), language).unwrap()
        });
        let of = |c: &Catalogue| {
            let tables = [
                &c.screen,
                &c.panel,
                &c.export,
                &c.rules,
                &c.quantities,
                &c.reasons,
            ];
            tables.map(|texts| {
                texts
                    .iter()
                    .map(|(key, text)| {
                        let mut parts: Vec<String> = parts(text).map(str::to_owned).collect();
                        parts.sort();
                        (key.clone(), parts)
                    })
                    .collect::<Vec<_>>()
            })
        };
        assert_eq!(of(&en), of(&fr));
        assert!(of(&en).iter().all(|texts| !texts.is_empty()));
    }

    /// What the rest of the program asks for, and nothing that nobody asks for.
    #[test]
    fn every_rule_quantity_and_reason_has_words_and_nothing_else_has() {
        let mut rules: Vec<String> = vec![];
        for rule in RULES {
            let cues: &[&str] = match rule.sense {
                Sense::Between => &["cue_less", "cue_more"],
                Sense::AtMost | Sense::AtLeast => &["cue"],
            };
            let keys = cues.iter().chain(&["about", "name", "page", "title"]);
            rules.extend(keys.map(|key| format!("{}.{key}", rule.id)));
        }
        rules.sort();
        let mut quantities: Vec<&str> = QuantityId::ALL.iter().map(|q| q.code()).collect();
        quantities.sort_unstable();
        let mut reasons: Vec<&str> = NotJudged::ALL.iter().map(|r| r.code()).collect();
        reasons.sort_unstable();
        for language in Language::ALL {
            let words = Catalogue::built_in(language);
            assert_eq!(words.rules.keys().cloned().collect::<Vec<_>>(), rules);
            assert_eq!(words.quantities.keys().collect::<Vec<_>>(), quantities);
            assert_eq!(words.reasons.keys().collect::<Vec<_>>(), reasons);
            for rule in RULES {
                for more in [true, false] {
                    let cue = words.cue(rule.id, more).unwrap();
                    let count = cue.split_whitespace().count();
                    assert!((1..=3).contains(&count), "{}: {cue}", rule.id);
                }
                assert!(!words.of_rule(rule.id, "name").unwrap().contains(' '));
            }
        }
    }

    /// Every text between quotes in the sources below these folders.
    fn quoted(folders: &[&str]) -> BTreeSet<String> {
        let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
        let mut open: Vec<_> = folders.iter().map(|f| root.join(f)).collect();
        let mut found = BTreeSet::new();
        while let Some(path) = open.pop() {
            if path.is_dir() {
                open.extend(std::fs::read_dir(path).unwrap().map(|e| e.unwrap().path()));
            } else if path.extension().is_some_and(|e| e == "rs") {
                let text = std::fs::read_to_string(path).unwrap();
                found.extend(text.split('"').map(str::to_owned));
            }
        }
        found
    }

    /// No text that nobody shows, and none shown that is not there.
    #[test]
    fn screen_panel_and_export_ask_for_every_text_and_for_no_other() {
        let asked = quoted(&["crates/interface/src", "crates/export/src", "src"]);
        assert!(asked.len() > 1000, "the sources were not found");
        let words = Catalogue::built_in(Language::En);
        let there: BTreeSet<&String> = [&words.screen, &words.panel, &words.export]
            .into_iter()
            .flat_map(BTreeMap::keys)
            .collect();
        // '1 pass', '3 passes': the key is put together.
        let counted = |key: &str| {
            let what = key.strip_prefix("page.").unwrap_or_default();
            let stem = what.strip_suffix("_one").or(what.strip_suffix("_many"));
            stem.is_some_and(|stem| asked.contains(stem))
        };
        let unused: Vec<_> = there
            .iter()
            .filter(|key| !asked.contains(key.as_str()) && !counted(key))
            .collect();
        assert!(unused.is_empty(), "nobody asks for {unused:?}");
        let tables: BTreeSet<&str> = there.iter().filter_map(|k| k.split('.').next()).collect();
        let is_key = |text: &str| {
            let word =
                |w: &str| !w.is_empty() && w.chars().all(|c| c.is_ascii_lowercase() || c == '_');
            text.split_once('.').is_some_and(|(table, key)| {
                tables.contains(table)
                    && word(key)
                    && !matches!(key, "csv" | "tsv" | "css" | "json")
            })
        };
        let missing: Vec<_> = asked
            .iter()
            .filter(|text| is_key(text) && !there.contains(text))
            .collect();
        assert!(missing.is_empty(), "no words for {missing:?}");
    }

    #[test]
    fn faults_of_a_language_file_name_file_line_and_key() {
        let good = Language::En.built_in_text();
        let fault = |text: String| {
            Catalogue::from_toml(&text, "lang/en.toml", Language::En)
                .unwrap_err()
                .to_string()
        };
        let at = 1 + good
            .lines()
            .position(|l| l.starts_with("praise_note"))
            .unwrap();
        let stray = fault(good.replace("praise_note =", "prase_note ="));
        assert!(
            stray.starts_with(&format!(
                "lang/en.toml, line {at}: unknown key 'prase_note'"
            )) && stray.contains("praise_note"),
            "{stray}"
        );
        let missing = fault(good.replace("praise_note = \"Do it again\"\n", ""));
        assert!(
            missing.contains("'screen.message.praise_note' is missing"),
            "{missing}"
        );
        let table = fault(good.replace("[screen.replay]\nlabel = \"Slow motion\"\n", ""));
        assert!(table.contains("'[screen.replay]' is missing"), "{table}");
        let part = fault(good.replace("{flagged} of the last", "some of the last"));
        assert!(
            part.contains("panel.limits.effect has to contain {flagged}"),
            "{part}"
        );
        let long = fault(good.replace("Heels touch", "Heels touch ankles-close"));
        assert!(
            long.contains("rules.recovery_gap.cue") && long.contains("'ankles-close'"),
            "{long}"
        );
        let empty = fault(good.replace("\"Better\"", "\"\""));
        assert!(empty.contains("screen.message.improved"), "{empty}");
    }
}
