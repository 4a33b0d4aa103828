//! Changing values in a settings file a person wrote: comments, order and
//! everything else stay as they are.

use std::path::{Path, PathBuf};

use toml_edit::{DocumentMut, Item, Table, Value};

use super::error::{ConfigError, Problem};
use super::version::{Step, brought_up};
use super::{read_text, write_atomically};

/// Changes that can be taken back.
const STEPS_KEPT: usize = 50;

/// A value as it is written.
#[derive(Debug, Clone, PartialEq)]
pub enum Written {
    /// A number; whole ones are written without a point.
    Number(f64),
    /// `true` or `false`.
    Flag(bool),
    /// Text in quotes.
    Text(String),
    /// Taken out of the file, so that the default holds.
    Absent,
}

/// One value to be written.
#[derive(Debug, Clone, PartialEq)]
pub struct Edit {
    /// The tables from the outside in, then the key.
    pub path: Vec<String>,
    /// What it is from now on.
    pub value: Written,
}

impl Edit {
    /// A value at a place such as `["U15", "knee_bend", "at_most_deg"]`.
    pub fn new(path: &[&str], value: Written) -> Self {
        Edit {
            path: path.iter().map(|p| (*p).to_owned()).collect(),
            value,
        }
    }
}

impl Written {
    fn text(&self) -> String {
        match self {
            Written::Number(v) => v.to_string(),
            Written::Flag(v) => v.to_string(),
            Written::Text(v) => Value::from(v.as_str()).to_string(),
            Written::Absent => String::new(),
        }
    }

    fn value(&self) -> Value {
        match self {
            // Parsed from the shortest text, so that 120 is not 120.0.
            Written::Number(v) => self.text().parse().unwrap_or_else(|_| Value::from(*v)),
            Written::Flag(v) => Value::from(*v),
            Written::Text(v) => Value::from(v.as_str()),
            Written::Absent => Value::from(""),
        }
    }
}

/// The text of a settings file with these values in it. A default that stands
/// there as a comment is opened in its place; a key that is not there is put
/// at the end of its table, which is made where there is none.
///
/// # Errors
/// Text that is no TOML, or a value where a table has to be; `file_name` is
/// the name faults are reported under.
pub fn edit_toml(text: &str, file_name: &str, edits: &[Edit]) -> Result<String, ConfigError> {
    let mut text = text.to_owned();
    for edit in edits {
        text = edit_one(&text, file_name, edit)?;
    }
    Ok(text)
}

fn edit_one(text: &str, file_name: &str, edit: &Edit) -> Result<String, ConfigError> {
    let fault = |problem| ConfigError {
        file: file_name.to_owned(),
        line: None,
        problem: Box::new(problem),
    };
    let mut document: DocumentMut = text.parse().map_err(|e: toml_edit::TomlError| {
        fault(Problem::Syntax(e.message().replace('\n', " ")))
    })?;
    let Some((key, tables)) = edit.path.split_last() else {
        return Ok(text.to_owned());
    };
    let there = tables
        .iter()
        .try_fold(document.as_item(), |item, name| item.get(name))
        .and_then(|item| item.get(key))
        .is_some();
    if edit.value == Written::Absent {
        if there {
            let mut table: &mut Item = document.as_item_mut();
            for name in tables {
                table = &mut table[name.as_str()];
            }
            if let Some(table) = table.as_table_like_mut() {
                table.remove(key);
            }
        }
        return Ok(document.to_string());
    }
    if !there && let Some(opened) = open_comment(text, tables, key, &edit.value) {
        return Ok(opened);
    }
    let mut table: &mut Table = document.as_table_mut();
    for (i, name) in tables.iter().enumerate() {
        let inner = table.entry(name).or_insert_with(|| {
            let mut new = Table::new();
            // A table of tables needs no line of its own.
            new.set_implicit(i + 1 < tables.len());
            Item::Table(new)
        });
        table = inner.as_table_mut().ok_or_else(|| {
            fault(Problem::Conflict(format!(
                "{0} has to be a table; write it as '[{0}]' on a line of its own",
                tables[..=i].join(".")
            )))
        })?;
    }
    let mut value = edit.value.value();
    match table.get_mut(key).and_then(Item::as_value_mut) {
        Some(old) => {
            // The spaces and the comment around the old value stay.
            *value.decor_mut() = old.decor().clone();
            *old = value;
        }
        None => {
            table.insert(key, Item::Value(value));
        }
    }
    Ok(document.to_string())
}

/// Takes the mark off a line `# key = default` of the table and puts the
/// value into it. `None` where there is no such line.
fn open_comment(text: &str, tables: &[String], key: &str, value: &Written) -> Option<String> {
    let header = tables.join(".");
    let mut current = String::new();
    let mut out = String::new();
    let mut opened = false;
    for line in text.split_inclusive('\n') {
        let bare = line.trim();
        if let Some(name) = bare.strip_prefix('[').and_then(|l| l.split(']').next()) {
            current = name.trim().to_owned();
        }
        let commented = bare
            .strip_prefix('#')
            .and_then(|l| l.split_once('='))
            .is_some_and(|(name, _)| name.trim() == key);
        if commented && current == header && !opened {
            opened = true;
            let end = if line.ends_with("\r\n") { "\r\n" } else { "\n" };
            out += &format!("{key} = {}{end}", value.text());
        } else {
            out += line;
        }
    }
    opened.then_some(out)
}

/// A settings file that is changed by the program, with a way back.
#[derive(Debug)]
pub struct EditedFile {
    path: PathBuf,
    formats: &'static [Step],
    /// Text before and after each change, oldest first.
    steps: Vec<(String, String)>,
}

impl EditedFile {
    /// The file at `path`; it is read when it is changed, and then brought to
    /// the newest format by the steps it lacks.
    pub fn new(path: PathBuf, formats: &'static [Step]) -> Self {
        EditedFile {
            path,
            formats,
            steps: Vec::new(),
        }
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Whether a change can be taken back.
    pub fn can_undo(&self) -> bool {
        !self.steps.is_empty()
    }

    /// Writes values into the file, in one step, once `check` takes the new
    /// text; gives what `check` gives. A file that is not there counts as
    /// `otherwise`.
    ///
    /// # Errors
    /// What is wrong with the file as it is or as it would be; then nothing
    /// is written.
    pub fn apply<T>(
        &mut self,
        edits: &[Edit],
        otherwise: &str,
        check: impl FnOnce(&str, &str) -> Result<T, ConfigError>,
    ) -> Result<T, ConfigError> {
        let name = self.path.display().to_string();
        let before = match read_text(&self.path) {
            Err(e) if *e.problem == Problem::NotFound => otherwise.to_owned(),
            other => other?,
        };
        let newest = brought_up(&before, &name, self.formats)?;
        let after = edit_toml(&newest, &name, edits)?;
        let checked = check(&after, &name)?;
        if after != before {
            self.write(&after)?;
            if self.steps.len() == STEPS_KEPT {
                self.steps.remove(0);
            }
            self.steps.push((before, after));
        }
        Ok(checked)
    }

    /// Takes the last change back; gives what `check` gives for the text that
    /// holds again. `None` where there is no change.
    ///
    /// # Errors
    /// Also where the file was changed by another hand since: that would be
    /// lost.
    pub fn undo<T>(
        &mut self,
        check: impl FnOnce(&str, &str) -> Result<T, ConfigError>,
    ) -> Result<Option<T>, ConfigError> {
        let Some((before, after)) = self.steps.last() else {
            return Ok(None);
        };
        let name = self.path.display().to_string();
        if read_text(&self.path)? != *after {
            self.steps.clear();
            return Err(ConfigError {
                file: name,
                line: None,
                problem: Box::new(Problem::Conflict(
                    "it was changed by another hand since; nothing was taken back".to_owned(),
                )),
            });
        }
        let checked = check(before, &name)?;
        self.write(before)?;
        self.steps.pop();
        Ok(Some(checked))
    }

    fn write(&self, text: &str) -> Result<(), ConfigError> {
        write_atomically(&self.path, text.as_bytes(), 0o644).map_err(|e| ConfigError {
            file: self.path.display().to_string(),
            line: None,
            problem: Box::new(Problem::NotWritten(e.to_string())),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "# My limits.\n\
        [U15.knee_bend]\n\
        # tried 118 in March\n\
        at_most_deg = 120   # as agreed\n\
        dead_band_deg = 4\n\
        \n\
        [adult.trunk_lean] # later\n\
        flagged = false\n";

    fn number(path: &[&str], v: f64) -> Edit {
        Edit::new(path, Written::Number(v))
    }

    #[test]
    fn a_value_changes_and_every_comment_stays() {
        let edits = [
            number(&["U15", "knee_bend", "at_most_deg"], 112.5),
            Edit::new(&["adult", "trunk_lean", "flagged"], Written::Flag(true)),
        ];
        let after = edit_toml(TEXT, "x", &edits).unwrap();
        let expected = TEXT
            .replace("at_most_deg = 120 ", "at_most_deg = 112.5 ")
            .replace("flagged = false", "flagged = true");
        assert_eq!(after, expected);
    }

    #[test]
    fn a_key_is_taken_out_and_the_rest_stays() {
        let text = "# head\n[second_camera]\ncamera = \"b\" # the tall one\nfps = 60\n";
        let absent = |path: &[&str]| Edit::new(path, Written::Absent);
        let without = edit_toml(text, "f", &[absent(&["second_camera", "camera"])]).unwrap();
        assert_eq!(without, "# head\n[second_camera]\nfps = 60\n");
        for path in [&["second_camera", "no"][..], &["none", "camera"]] {
            assert_eq!(edit_toml(text, "f", &[absent(path)]).unwrap(), text);
        }
    }

    #[test]
    fn what_is_not_there_is_made() {
        let edits = [
            number(&["U15", "knee_bend", "new"], 7.0),
            number(&["U7", "knee_bend", "at_most_deg"], 140.0),
            Edit::new(&["lane"], Written::Text("a \"b\".toml".into())),
        ];
        let after = edit_toml(TEXT, "x", &edits).unwrap();
        assert!(after.contains("dead_band_deg = 4\nnew = 7\n"), "{after}");
        assert!(
            after.contains("[U7.knee_bend]\nat_most_deg = 140\n"),
            "{after}"
        );
        assert!(!after.contains("[U7]\n"), "{after}");
        let back: DocumentMut = after.parse().unwrap();
        assert_eq!(back["lane"].as_str(), Some("a \"b\".toml"));
        for line in TEXT.lines() {
            assert!(after.contains(line), "{line}");
        }
    }

    #[test]
    fn a_commented_default_is_opened_in_its_own_table() {
        let text =
            "# Pictures a second. (whole, 5 to 120)\n# fps = 30\n\n[screen]\n# Words.\n# fps = 1\n";
        let root = edit_toml(text, "x", &[number(&["fps"], 60.0)]).unwrap();
        assert_eq!(root, text.replace("# fps = 30", "fps = 60"));
        let again = edit_toml(&root, "x", &[number(&["fps"], 50.0)]).unwrap();
        assert_eq!(again, text.replace("# fps = 30", "fps = 50"));
        let table = edit_toml(text, "x", &[number(&["screen", "fps"], 2.0)]).unwrap();
        assert_eq!(table, text.replace("# fps = 1", "fps = 2"));
    }

    #[test]
    fn a_value_where_a_table_has_to_be_is_a_fault() {
        let said = edit_toml("U15 = 3\n", "x", &[number(&["U15", "knee_bend", "a"], 1.0)]);
        assert!(said.unwrap_err().to_string().contains("has to be a table"));
        assert!(edit_toml("= 3", "x", &[number(&["a"], 1.0)]).is_err());
    }

    #[test]
    fn a_file_is_written_when_it_is_good_and_taken_back_step_by_step() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("a.toml");
        std::fs::write(&path, TEXT).unwrap();
        let mut file = EditedFile::new(path.clone(), &[]);
        let at = ["U15", "knee_bend", "at_most_deg"];
        for v in [111.0, 112.0] {
            file.apply(&[number(&at, v)], "", |_, _| Ok(())).unwrap();
        }
        let refused = file.apply(&[number(&at, 999.0)], "", |_, name| {
            Err::<(), _>(ConfigError {
                file: name.to_owned(),
                line: None,
                problem: Box::new(Problem::NotAFile),
            })
        });
        assert!(refused.is_err());
        let now = || std::fs::read_to_string(&path).unwrap();
        assert!(now().contains("= 112 "));
        assert_eq!(file.undo(|_, _| Ok(())), Ok(Some(())));
        assert!(now().contains("= 111 "));
        assert_eq!(file.undo(|_, _| Ok(())), Ok(Some(())));
        assert_eq!(now(), TEXT);
        assert_eq!(file.undo(|_, _| Ok(())), Ok(None));

        // Nobody's own change is lost.
        file.apply(&[number(&at, 113.0)], "", |_, _| Ok(()))
            .unwrap();
        std::fs::write(&path, "mine = 1\n").unwrap();
        assert!(file.undo(|_, _| Ok(())).is_err());
        assert_eq!(now(), "mine = 1\n");
    }

    #[test]
    fn a_file_that_is_not_there_begins_as_it_would_be() {
        let dir = tempfile::tempdir().unwrap();
        let mut file = EditedFile::new(dir.path().join("a.toml"), &[]);
        file.apply(&[number(&["fps"], 50.0)], "# what\n# fps = 30\n", |_, _| {
            Ok(())
        })
        .unwrap();
        let text = std::fs::read_to_string(file.path()).unwrap();
        assert_eq!(text, "# what\nfps = 50\n");
    }
}
