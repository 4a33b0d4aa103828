//! The first stage of every settings file: TOML text with the place of every
//! key, before anything is believed.
//!
//! The second stage ([`crate::config::Lane`] and its like) asks a [`Section`]
//! for each value it needs; all checking and wording of faults is here, once.
//! The text is not read through derived deserialisation because the key names
//! of the age groups are made from the rule declarations, and because a fault
//! has to name its line, its key and the value as it was written.

use std::io::Read;
use std::path::Path;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::error::{ConfigError, Problem, nearest};
use super::key::{Absent, Key, Kind};

/// No settings file comes near this; a wrong path might.
const LARGEST_BYTES: u64 = 1 << 20;

/// The text of a settings file, read with bounds.
pub fn read_text(path: &Path) -> Result<String, ConfigError> {
    let file = path.display().to_string();
    let fault = |line, problem| ConfigError {
        file: file.clone(),
        line,
        problem: Box::new(problem),
    };
    let io = |e: std::io::Error| match e.kind() {
        std::io::ErrorKind::NotFound | std::io::ErrorKind::NotADirectory => Problem::NotFound,
        _ => Problem::Unreadable(e.to_string()),
    };
    // Asked before opening: opening a pipe nobody writes to would block.
    let kind = std::fs::metadata(path).map_err(|e| fault(None, io(e)))?;
    if !kind.is_file() {
        return Err(fault(None, Problem::NotAFile));
    }
    let mut bytes = Vec::new();
    std::fs::File::open(path)
        .and_then(|f| f.take(LARGEST_BYTES + 1).read_to_end(&mut bytes))
        .map_err(|e| fault(None, io(e)))?;
    if bytes.len() as u64 > LARGEST_BYTES {
        return Err(fault(None, Problem::TooLarge(LARGEST_BYTES)));
    }
    String::from_utf8(bytes).map_err(|e| {
        let good = &e.as_bytes()[..e.utf8_error().valid_up_to()];
        let line = 1 + good.iter().filter(|b| **b == b'\n').count();
        fault(Some(line), Problem::NotUtf8)
    })
}

/// Parsed TOML that knows where each key stands.
pub struct Document<'t> {
    file: String,
    text: &'t str,
    root: DeTable<'t>,
}

impl<'t> Document<'t> {
    /// Parses `text`; `file` is the name faults are reported under.
    pub fn parse(text: &'t str, file: &str) -> Result<Self, ConfigError> {
        let root = DeTable::parse(text).map_err(|e| ConfigError {
            file: file.to_owned(),
            line: e.span().map(|span| line_at(text, span.start)),
            problem: Box::new(Problem::Syntax(e.message().replace('\n', " "))),
        })?;
        Ok(Document {
            file: file.to_owned(),
            text,
            root: root.into_inner(),
        })
    }

    /// The top level of the file.
    pub fn root(&self) -> Section<'_> {
        Section {
            document: self,
            path: String::new(),
            table: &self.root,
            line: None,
        }
    }

    fn fault(&self, line: Option<usize>, problem: Problem) -> ConfigError {
        ConfigError {
            file: self.file.clone(),
            line,
            problem: Box::new(problem),
        }
    }
}

/// One table of a document.
pub struct Section<'d> {
    document: &'d Document<'d>,
    path: String,
    table: &'d DeTable<'d>,
    line: Option<usize>,
}

impl<'d> Section<'d> {
    /// Fails on the first key (by its place in the file) that is not `known`.
    pub fn only<S: AsRef<str>>(&self, known: &[S]) -> Result<(), ConfigError> {
        let stray = self
            .table
            .keys()
            .filter(|k| !known.iter().any(|n| n.as_ref() == k.get_ref().as_ref()))
            .min_by_key(|k| k.span().start);
        let Some(stray) = stray else { return Ok(()) };
        let names = || known.iter().map(AsRef::as_ref);
        Err(self.document.fault(
            Some(line_at(self.document.text, stray.span().start)),
            Problem::UnknownKey {
                key: stray.get_ref().to_string(),
                near: nearest(stray.get_ref(), names()),
                known: names().map(str::to_owned).collect(),
            },
        ))
    }

    /// The names of all keys, in the order of the file.
    pub fn names(&self) -> Vec<String> {
        let mut keys: Vec<_> = self.table.keys().collect();
        keys.sort_by_key(|k| k.span().start);
        keys.iter().map(|k| k.get_ref().to_string()).collect()
    }

    /// The number at `name`, checked against its bounds. Whole numbers do.
    pub fn number(&self, name: &str, low: f64, high: f64) -> Result<Option<f64>, ConfigError> {
        let Some(found) = self.find(name) else {
            return Ok(None);
        };
        let value = number_of(found.value.get_ref());
        // `contains` is false for NaN, so NaN is out of every range.
        match value {
            None => Err(self.wrong_type(name, &found, "a number", &format!("{low}"))),
            Some(v) if (low..=high).contains(&v) => Ok(Some(v)),
            Some(_) => Err(self.out_of_range(name, &found, low, high)),
        }
    }

    /// The whole number at `name`, checked against its bounds.
    pub fn whole(&self, name: &str, low: u32, high: u32) -> Result<Option<u32>, ConfigError> {
        let Some(found) = self.find(name) else {
            return Ok(None);
        };
        let DeValue::Integer(digits) = found.value.get_ref() else {
            return Err(self.wrong_type(name, &found, "a whole number", &low.to_string()));
        };
        let value = i64::from_str_radix(digits.as_str(), digits.radix())
            .ok()
            .and_then(|v| u32::try_from(v).ok());
        match value {
            Some(v) if (low..=high).contains(&v) => Ok(Some(v)),
            _ => Err(self.out_of_range(name, &found, low.into(), high.into())),
        }
    }

    /// `true` or `false` at `name`.
    pub fn flag(&self, name: &str) -> Result<Option<bool>, ConfigError> {
        let Some(found) = self.find(name) else {
            return Ok(None);
        };
        match found.value.get_ref() {
            DeValue::Boolean(b) => Ok(Some(*b)),
            _ => Err(self.wrong_type(name, &found, "true or false", "true")),
        }
    }

    /// The text at `name`, not empty.
    pub fn text(&self, name: &str, example: &str) -> Result<Option<&'d str>, ConfigError> {
        let Some(found) = self.find(name) else {
            return Ok(None);
        };
        match found.value.get_ref() {
            DeValue::String(s) if !s.trim().is_empty() => Ok(Some(s.as_ref())),
            DeValue::String(_) => Err(self.wrong_type(name, &found, "of any length", example)),
            _ => Err(self.wrong_type(name, &found, "text in quotes", example)),
        }
    }

    /// Which of `choices` the text at `name` is.
    pub fn choice(&self, name: &str, choices: &[&str]) -> Result<Option<usize>, ConfigError> {
        let example = format!("\"{}\"", choices.first().copied().unwrap_or_default());
        let Some(word) = self.text(name, &example)? else {
            return Ok(None);
        };
        match choices.iter().position(|c| *c == word) {
            Some(i) => Ok(Some(i)),
            None => Err(self.document.fault(
                self.line_of(name),
                Problem::NotAChoice {
                    key: self.path_of(name),
                    found: format!("\"{word}\""),
                    choices: choices.iter().map(|c| (*c).to_owned()).collect(),
                },
            )),
        }
    }

    /// The table at `name`.
    pub fn section(&self, name: &str) -> Result<Option<Section<'d>>, ConfigError> {
        let Some(found) = self.find(name) else {
            return Ok(None);
        };
        match found.value.get_ref() {
            DeValue::Table(table) => Ok(Some(Section {
                document: self.document,
                path: self.path_of(name),
                table,
                line: Some(found.line),
            })),
            _ => Err(self.conflict(
                name,
                format!(
                    "{0} has to be a table; write it as '[{0}]' on a line of its own",
                    self.path_of(name)
                ),
            )),
        }
    }

    /// The value of a declared key of kind [`Kind::Number`].
    pub fn declared_number(&self, key: &Key) -> Result<f64, ConfigError> {
        let Kind::Number { low, high } = key.kind else {
            return Err(self.misdeclared(key));
        };
        let given = self
            .number(key.name, low, high)
            .map_err(|e| with_example(e, key))?;
        self.or_default(key, given, |text| text.parse().ok())
    }

    /// The value of a declared key of kind [`Kind::Number`] that may be left out.
    pub fn optional_number(&self, key: &Key) -> Result<Option<f64>, ConfigError> {
        let Kind::Number { low, high } = key.kind else {
            return Err(self.misdeclared(key));
        };
        self.number(key.name, low, high)
            .map_err(|e| with_example(e, key))
    }

    /// The values of a declared key of kind [`Kind::Numbers`] that may be left out.
    pub fn optional_numbers<const N: usize>(
        &self,
        key: &Key,
    ) -> Result<Option<[f64; N]>, ConfigError> {
        let Kind::Numbers { count, low, high } = key.kind else {
            return Err(self.misdeclared(key));
        };
        if count != N {
            return Err(self.misdeclared(key));
        }
        let Some(found) = self.find(key.name) else {
            return Ok(None);
        };
        let wrong = || self.wrong_type(key.name, &found, "a list of as many numbers", key.example);
        let DeValue::Array(list) = found.value.get_ref() else {
            return Err(wrong());
        };
        let values: Option<Vec<f64>> = list.iter().map(|v| number_of(v.get_ref())).collect();
        let values: [f64; N] = values.and_then(|v| v.try_into().ok()).ok_or_else(wrong)?;
        if values.iter().all(|v| (low..=high).contains(v)) {
            Ok(Some(values))
        } else {
            Err(self.out_of_range(key.name, &found, low, high))
        }
    }

    /// The value of a declared key of kind [`Kind::Whole`].
    pub fn declared_whole(&self, key: &Key) -> Result<u32, ConfigError> {
        let Kind::Whole { low, high } = key.kind else {
            return Err(self.misdeclared(key));
        };
        let given = self
            .whole(key.name, low, high)
            .map_err(|e| with_example(e, key))?;
        self.or_default(key, given, |text| text.parse().ok())
    }

    /// The value of a declared key of kind [`Kind::Flag`].
    pub fn declared_flag(&self, key: &Key) -> Result<bool, ConfigError> {
        let given = self.flag(key.name)?;
        self.or_default(key, given, |text| text.parse().ok())
    }

    /// The value of a declared key of kind [`Kind::Text`], or `None` where it
    /// is left out and that has a meaning of its own.
    pub fn declared_text(&self, key: &Key) -> Result<Option<String>, ConfigError> {
        let given = self.text(key.name, key.example)?.map(str::to_owned);
        if given.is_none() && matches!(key.absent, Absent::Means(_)) {
            return Ok(None);
        }
        self.or_default(key, given, |text| Some(text.trim_matches('"').to_owned()))
            .map(Some)
    }

    /// Which choice a declared key of kind [`Kind::Choice`] names, or `None`
    /// where it is left out and that has a meaning of its own.
    pub fn declared_choice(&self, key: &Key) -> Result<Option<usize>, ConfigError> {
        let Kind::Choice(words) = key.kind else {
            return Err(self.misdeclared(key));
        };
        let given = self.choice(key.name, words)?;
        if given.is_none() && matches!(key.absent, Absent::Means(_)) {
            return Ok(None);
        }
        self.or_default(key, given, |text| {
            words.iter().position(|w| *w == text.trim_matches('"'))
        })
        .map(Some)
    }

    /// A contradiction found at the key `name`, with the remedy in `sentence`.
    pub fn conflict(&self, name: &str, sentence: String) -> ConfigError {
        self.document
            .fault(self.line_of(name), Problem::Conflict(sentence))
    }

    /// Line of the key `name`, or of this table where the key is left out.
    pub fn line_of(&self, name: &str) -> Option<usize> {
        self.find(name).map(|found| found.line).or(self.line)
    }

    fn or_default<T>(
        &self,
        key: &Key,
        given: Option<T>,
        parse: impl Fn(&str) -> Option<T>,
    ) -> Result<T, ConfigError> {
        if let Some(value) = given {
            return Ok(value);
        }
        match key.absent {
            Absent::Default(text) => parse(text).ok_or_else(|| self.misdeclared(key)),
            Absent::Refused | Absent::Means(_) => Err(self.document.fault(
                self.line,
                Problem::Missing {
                    key: self.path_of(key.name),
                    example: key.example.to_owned(),
                },
            )),
        }
    }

    /// A declaration of this program that contradicts itself. The tests read
    /// every declared key, so this is never seen; it is still no panic.
    fn misdeclared(&self, key: &Key) -> ConfigError {
        self.conflict(
            key.name,
            format!("the key '{}' is declared wrongly in this program", key.name),
        )
    }

    fn find(&self, name: &str) -> Option<Found<'d>> {
        let (key, value) = self.table.get_key_value(name)?;
        Some(Found {
            line: line_at(self.document.text, key.span().start),
            value,
        })
    }

    /// Whether a table stands at `name`.
    pub(crate) fn is_table(&self, name: &str) -> bool {
        let value = self.table.get(name);
        value.is_some_and(|value| matches!(value.get_ref(), DeValue::Table(_)))
    }

    /// The key with the tables it stands in: `screen.replay.label`.
    pub(crate) fn path_of(&self, name: &str) -> String {
        if self.path.is_empty() {
            name.to_owned()
        } else {
            format!("{}.{name}", self.path)
        }
    }

    /// The value as it stands in the file, shortened to one line.
    fn written(&self, found: &Found<'_>) -> String {
        let text = self
            .document
            .text
            .get(found.value.span())
            .unwrap_or_default();
        let line = text.lines().next().unwrap_or_default();
        if line.chars().count() > 40 || line.len() < text.trim_end().len() {
            line.chars().take(40).collect::<String>() + "..."
        } else {
            line.to_owned()
        }
    }

    fn wrong_type(
        &self,
        name: &str,
        found: &Found<'_>,
        expected: &'static str,
        example: &str,
    ) -> ConfigError {
        self.document.fault(
            Some(found.line),
            Problem::WrongType {
                key: self.path_of(name),
                found: self.written(found),
                expected,
                example: example.to_owned(),
            },
        )
    }

    fn out_of_range(&self, name: &str, found: &Found<'_>, low: f64, high: f64) -> ConfigError {
        self.document.fault(
            Some(found.line),
            Problem::OutOfRange {
                key: self.path_of(name),
                found: self.written(found),
                low,
                high,
            },
        )
    }
}

struct Found<'d> {
    line: usize,
    value: &'d Spanned<DeValue<'d>>,
}

/// A number as it is written; whole ones do.
fn number_of(value: &DeValue<'_>) -> Option<f64> {
    match value {
        DeValue::Float(f) => f.as_str().parse::<f64>().ok(),
        DeValue::Integer(i) => i64::from_str_radix(i.as_str(), i.radix())
            .ok()
            .map(|i| i as f64),
        _ => None,
    }
}

/// The example of the declaration says more than a bound of the range.
fn with_example(mut error: ConfigError, key: &Key) -> ConfigError {
    if let Problem::WrongType { example, .. } = &mut *error.problem {
        *example = key.example.to_owned();
    }
    error
}

/// The line, counted from 1, the byte `at` stands in.
fn line_at(text: &str, at: usize) -> usize {
    let before = &text.as_bytes()[..at.min(text.len())];
    1 + before.iter().filter(|b| **b == b'\n').count()
}
