//! What a child of nine has to read, held against reading formulas and word frequencies:
//! `tests/golden/reading.json`, made by `tools/golden/make_reading_golden.py` with textstat,
//! wordfreq and simplemma from the catalogues. A word or sentence that was changed since is
//! found missing there: make the file anew, and read what it says.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use kickplate::words::{Catalogue, Language};
use serde::Deserialize;

/// Least frequency of a word of one to four words on the screen, where a formula for
/// sentences means nothing: from 4 on the Zipf scale a word is called frequent (van
/// Heuven, Mandera, Keuleers and Brysbaert 2014, Quarterly Journal of Experimental
/// Psychology 67:1176). That a child of nine knows what is frequent is this project's
/// reading of it; no open list of ages was found for both languages.
const LEAST_ZIPF: f64 = 4.0;

/// Highest grade of a sentence in English: pupils of nine are in the fourth year of
/// school of the formula's country.
const HIGHEST_GRADE: f64 = 4.0;

/// Least reading ease in French: 'very easy', the highest of the seven steps of Flesch's
/// scale, which Kandel and Moles kept for their weights. The scale's steps are from memory.
const LEAST_EASE: f64 = 90.0;

#[derive(Deserialize)]
struct Row {
    text: String,
    words: u32,
    sentences: u32,
    syllables: u32,
    says: f64,
}

#[derive(Deserialize)]
struct OfLanguage {
    words: BTreeMap<String, f64>,
    texts: BTreeMap<String, Row>,
}

fn golden() -> BTreeMap<String, OfLanguage> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/golden/reading.json");
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

/// The short texts of the skater's screen: all but what is for the coach.
fn short_texts(of: &Catalogue) -> Vec<&str> {
    let tables = ["message.", "good.", "side.", "summary.", "replay."];
    let screen = of
        .screen
        .iter()
        .filter(|(key, _)| tables.iter().any(|table| key.starts_with(table)));
    let cues = [".cue", ".cue_more", ".cue_less", ".name"];
    let rules = of
        .rules
        .iter()
        .filter(|(key, _)| cues.iter().any(|cue| key.ends_with(cue)));
    screen.chain(rules).map(|(_, text)| text.as_str()).collect()
}

/// The words of a text in small letters, without what is put in later.
fn words_of(text: &str) -> Vec<String> {
    let mut kept = String::new();
    let mut depth = 0;
    for c in text.chars() {
        match c {
            '{' => depth += 1,
            '}' => depth -= 1,
            _ if depth == 0 => kept.push(c),
            _ => {}
        }
    }
    kept.to_lowercase()
        .split(|c: char| !c.is_alphabetic())
        .filter(|w| !w.is_empty())
        .map(str::to_owned)
        .collect()
}

#[test]
fn every_word_of_the_screen_is_a_frequent_one() {
    let golden = golden();
    for language in Language::ALL {
        let catalogue = Catalogue::built_in(language);
        let known = &golden[language.code()].words;
        let said: BTreeSet<String> = short_texts(&catalogue)
            .into_iter()
            .flat_map(words_of)
            .collect();
        let listed: BTreeSet<String> = known.keys().cloned().collect();
        assert_eq!(said, listed, "make tests/golden/reading.json anew");
        assert!(said.len() > 40, "{language:?}: {}", said.len());
        for (word, zipf) in known {
            assert!(*zipf >= LEAST_ZIPF, "{language:?}: '{word}' has {zipf}");
        }
    }
}

/// The grade of Kincaid, Fishburne, Rogers and Chissom 1975 in English; the ease of Flesch
/// with the weights of Kandel and Moles 1958 in French. Reckoned here from the counts, and
/// held against what textstat says, which rounds the syllables of a word to a tenth.
#[test]
fn every_sentence_of_the_skaters_own_page_is_easy() {
    let golden = golden();
    for language in Language::ALL {
        let catalogue = Catalogue::built_in(language);
        let rows = &golden[language.code()].texts;
        let next = catalogue.export.keys().filter(|k| k.starts_with("next."));
        let others = ["well.in_band", "well.better", "section.next"];
        let wanted: BTreeSet<String> = next
            .map(String::as_str)
            .chain(others)
            .map(|key| format!("export.{key}"))
            .collect();
        assert_eq!(wanted, rows.keys().cloned().collect::<BTreeSet<_>>());
        for (key, row) in rows {
            let now = &catalogue.export[key.strip_prefix("export.").unwrap()];
            assert_eq!(now, &row.text, "make tests/golden/reading.json anew");
            let of_sentence = f64::from(row.words) / f64::from(row.sentences);
            let of_word = f64::from(row.syllables) / f64::from(row.words);
            match language {
                Language::En => {
                    let grade = 0.39 * of_sentence + 11.8 * of_word - 15.59;
                    assert!((grade - row.says).abs() <= 11.8 * 0.05 + 0.1, "{key}");
                    assert!(grade <= HIGHEST_GRADE, "{key}: grade {grade:.1}");
                }
                Language::Fr => {
                    let ease = 207.0 - 1.015 * of_sentence - 73.6 * of_word;
                    assert!((ease - row.says).abs() <= 73.6 * 0.05 + 0.1, "{key}");
                    assert!(ease >= LEAST_EASE, "{key}: ease {ease:.1}");
                }
            }
        }
    }
}
