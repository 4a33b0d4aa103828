//! What is wrong in a settings file, where, and what to write instead.

use std::fmt;

/// One fault of one settings file, as a sentence that names file, line and
/// key and says what would be right.
#[derive(Debug, Clone, PartialEq)]
pub struct ConfigError {
    /// The file as the user named it.
    pub file: String,
    /// Line of the fault, counted from 1; `None` where there is none, as for
    /// a key that is missing or a file that is not there.
    pub line: Option<usize>,
    /// What is wrong. Boxed: results carry it everywhere and faults are rare.
    pub problem: Box<Problem>,
}

/// The kinds of fault. Keys are full paths: `U15.knee_bend.at_most_deg`.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Problem {
    /// The path leads nowhere.
    #[error("there is no such file; check the path")]
    NotFound,
    /// The system refuses to read it; its own words.
    #[error("the file cannot be read ({0}); check its permissions and the disk")]
    Unreadable(String),
    /// A folder, a device or a pipe.
    #[error("this is not an ordinary file; name a text file")]
    NotAFile,
    /// Larger than any settings file can be.
    #[error("the file is larger than {0} bytes and cannot be a settings file; check the path")]
    TooLarge(u64),
    /// Bytes that are no text.
    #[error("this is not UTF-8 text; save the file as UTF-8")]
    NotUtf8,
    /// Not TOML; the parser's words.
    #[error(
        "this is not valid TOML ({0}); write 'key = value', with text in \"quotes\" and each key once"
    )]
    Syntax(String),
    /// A key nobody reads. It is an error because a mistyped key would
    /// silently leave the default in force.
    #[error("unknown key '{key}'; {}", hint(.near.as_deref(), .known))]
    UnknownKey {
        /// The key as written.
        key: String,
        /// The known key that looks most like it.
        near: Option<String>,
        /// Every key that may stand there.
        known: Vec<String>,
    },
    /// A value of the wrong kind.
    #[error("{key} = {found} is not {expected}; write for example '{short} = {example}'", short = last(.key))]
    WrongType {
        /// The key.
        key: String,
        /// The value as written.
        found: String,
        /// The kind of value wanted: 'a number'.
        expected: &'static str,
        /// A value that would do.
        example: String,
    },
    /// A key that has no default is not there.
    #[error("the key '{key}' is missing; add a line such as '{short} = {example}'", short = last(.key))]
    Missing {
        /// The key.
        key: String,
        /// A value that would do.
        example: String,
    },
    /// A number outside of its bounds.
    #[error("{key} = {found} is out of range; it must be between {low} and {high}")]
    OutOfRange {
        /// The key.
        key: String,
        /// The value as written.
        found: String,
        /// Smallest value allowed.
        low: f64,
        /// Largest value allowed.
        high: f64,
    },
    /// A word that is none of the choices.
    #[error("{key} = {found} is not known; it must be one of: {}", .choices.join(", "))]
    NotAChoice {
        /// The key.
        key: String,
        /// The value as written.
        found: String,
        /// Every choice.
        choices: Vec<String>,
    },
    /// A file that cannot be changed; the system's own words.
    #[error("the file cannot be written ({0}); check its permissions and the disk")]
    NotWritten(String),
    /// Values that contradict each other, with the remedy.
    #[error("{0}")]
    Conflict(String),
}

impl fmt::Display for ConfigError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.line {
            Some(line) => write!(f, "{}, line {line}: {}", self.file, self.problem),
            None => write!(f, "{}: {}", self.file, self.problem),
        }
    }
}

impl std::error::Error for ConfigError {}

/// The last part of a key path, as it is written in its own table.
fn last(key: &str) -> &str {
    key.rsplit('.').next().unwrap_or(key)
}

fn hint(near: Option<&str>, known: &[String]) -> String {
    match near {
        Some(near) => format!("did you mean '{near}'?"),
        None => format!("it must be one of: {}", known.join(", ")),
    }
}

/// The entry of `known` a person most likely meant by `word`, if any is close.
pub(crate) fn nearest<'a>(word: &str, known: impl IntoIterator<Item = &'a str>) -> Option<String> {
    let word = word.to_lowercase();
    known
        .into_iter()
        .map(|k| (strsim::damerau_levenshtein(&word, &k.to_lowercase()), k))
        // A quarter of the letters wrong, or an ending left out, is a slip;
        // more is another word.
        .filter(|(distance, k)| {
            distance * 4 <= k.len().max(word.len()) || (word.len() > 2 && k.starts_with(&word))
        })
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, k)| k.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_finds_its_key_and_another_word_does_not() {
        let known = ["camera_height_m", "tilt_deg", "hfov_deg"];
        assert_eq!(
            nearest("camera_hieght_m", known).as_deref(),
            Some("camera_height_m")
        );
        assert_eq!(nearest("TILT_DEG", known).as_deref(), Some("tilt_deg"));
        assert_eq!(nearest("tilt", known).as_deref(), Some("tilt_deg"));
        assert_eq!(nearest("colour", known), None);
        // Of two short words every one is near: better to list them all.
        assert_eq!(nearest("U14", ["U13", "U15"]), None);
    }
}
