//! Settings files of earlier programs: the format a file says it has, and the
//! steps that bring it to the newest.
//!
//! A key that gets another name or meaning is a new step at the end; steps
//! already released are never edited. A file is brought up in memory when it
//! is read, and on the disk when the program changes something in it: what a
//! person wrote is not written over by merely looking at it.

use std::borrow::Cow;

use super::document::Document;
use super::edit::{Edit, Written, edit_toml};
use super::error::{ConfigError, Problem};

/// The key that says the format of a file; left out it is 1.
pub const FORMAT_KEY: &str = "format";

/// Brings the text of a file from one format to the next; also given the name
/// faults are reported under.
pub type Step = fn(&str, &str) -> Result<String, ConfigError>;

/// The text in the newest format, which is one more than there are steps.
///
/// # Errors
/// A file of a newer program, and what a step says.
pub fn brought_up<'t>(
    text: &'t str,
    file_name: &str,
    steps: &[Step],
) -> Result<Cow<'t, str>, ConfigError> {
    let newest = steps.len() as u32 + 1;
    let format = {
        let document = Document::parse(text, file_name)?;
        let root = document.root();
        let format = root.whole(FORMAT_KEY, 1, u32::MAX)?.unwrap_or(1);
        if format > newest {
            return Err(root.conflict(
                FORMAT_KEY,
                format!(
                    "{FORMAT_KEY} = {format} is of a newer Kickplate, this one reads up to {newest}; use that one, or a settings file of this one"
                ),
            ));
        }
        format
    };
    let mut text = Cow::Borrowed(text);
    for step in steps.iter().skip(format as usize - 1) {
        text = Cow::Owned(step(&text, file_name)?);
    }
    if format < newest {
        let newest = Edit::new(&[FORMAT_KEY], Written::Number(f64::from(newest)));
        text = Cow::Owned(edit_toml(&text, file_name, &[newest])?);
    }
    Ok(text)
}

/// A fault of a text that was brought up, with its line in the text that the
/// person wrote: steps take lines out and put lines in. A line that the person
/// did not write gets none.
pub fn in_written_lines(fault: ConfigError, written: &str, brought_up: &str) -> ConfigError {
    if written == brought_up {
        return fault;
    }
    let line = fault.line.and_then(|line| {
        let wanted = brought_up.lines().nth(line.checked_sub(1)?)?;
        let same = written.lines().enumerate().filter(|(_, l)| *l == wanted);
        same.map(|(at, _)| at + 1)
            .min_by_key(|at| at.abs_diff(line))
    });
    ConfigError { line, ..fault }
}

/// Gives a key of a table another name and leaves everything else alone: the
/// most usual step.
///
/// # Errors
/// Text that is no TOML.
pub fn renamed(
    text: &str,
    file_name: &str,
    table: &[&str],
    old: &str,
    new: &str,
) -> Result<String, ConfigError> {
    let fault = |problem| ConfigError {
        file: file_name.to_owned(),
        line: None,
        problem: Box::new(problem),
    };
    let mut document: toml_edit::DocumentMut =
        text.parse().map_err(|e: toml_edit::TomlError| {
            fault(Problem::Syntax(e.message().replace('\n', " ")))
        })?;
    let mut inner = Some(document.as_table_mut());
    for name in table {
        inner = inner
            .and_then(|t| t.get_mut(name))
            .and_then(toml_edit::Item::as_table_mut);
    }
    if let Some(table) = inner
        && let Some((key, value)) = table.remove_entry(old)
    {
        // The comment above the key stays with it.
        let decor = key.leaf_decor().clone();
        table.insert(new, value);
        if let Some(mut key) = table.key_mut(new) {
            *key.leaf_decor_mut() = decor;
        }
    }
    Ok(document.to_string())
}

/// Takes a key out of a table and leaves everything else alone.
///
/// # Errors
/// Text that is no TOML.
pub fn without(
    text: &str,
    file_name: &str,
    table: &[&str],
    key: &str,
) -> Result<String, ConfigError> {
    let fault = |e: toml_edit::TomlError| ConfigError {
        file: file_name.to_owned(),
        line: None,
        problem: Box::new(Problem::Syntax(e.message().replace('\n', " "))),
    };
    let mut document: toml_edit::DocumentMut = text.parse().map_err(fault)?;
    let mut inner = Some(document.as_table_mut());
    for name in table {
        inner = inner
            .and_then(|t| t.get_mut(name))
            .and_then(toml_edit::Item::as_table_mut);
    }
    if let Some(table) = inner {
        table.remove(key);
    }
    Ok(document.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// As a later program might have them.
    const STEPS: &[Step] = &[
        |text, file| renamed(text, file, &[], "speed", "speed_mps"),
        |text, file| renamed(text, file, &["screen"], "dark", "dark_theme"),
    ];

    #[test]
    fn a_file_goes_through_the_steps_it_lacks_and_no_other() {
        let one = "# Mine.\nspeed = 2 # slow\n\n[screen]\n# It dazzles.\ndark = true\n";
        let up = brought_up(one, "x", STEPS).unwrap();
        for kept in [
            "# Mine.",
            "speed_mps = 2 # slow",
            "# It dazzles.\ndark_theme = true",
            "format = 3",
        ] {
            assert!(up.contains(kept), "{kept} is not in {up}");
        }
        assert_eq!(brought_up(&up, "x", STEPS).unwrap(), up);
        assert!(matches!(brought_up(&up, "x", STEPS), Ok(Cow::Borrowed(_))));
        // In format 2 the first key has its new name; an old one is a mistake
        // and stays to be found as an unknown key.
        let two = "format = 2\nspeed = 2\n[screen]\ndark = true\n";
        let up = brought_up(two, "x", STEPS).unwrap();
        assert_eq!(up, "format = 3\nspeed = 2\n[screen]\ndark_theme = true\n");
    }

    #[test]
    fn a_file_of_a_newer_program_and_a_format_that_is_none_are_said() {
        let said = |text: &str| brought_up(text, "x", STEPS).unwrap_err().to_string();
        assert!(
            said("\nformat = 4\n").starts_with(
                "x, line 2: format = 4 is of a newer Kickplate, this one reads up to 3;"
            )
        );
        assert!(said("format = 0\n").contains("out of range"));
        assert!(said("format = \"new\"\n").contains("not a whole number"));
        assert!(said("format = \n").contains("not valid TOML"));
    }

    #[test]
    fn without_steps_a_file_is_as_it_was() {
        for text in ["", "a = 1\n", "format = 1\n"] {
            assert_eq!(brought_up(text, "x", &[]).unwrap(), text);
        }
        assert!(brought_up("format = 2\n", "x", &[]).is_err());
    }

    /// The lines, in the order of the alphabet.
    fn lines(text: &str) -> Vec<String> {
        let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
        lines.sort();
        lines
    }

    #[test]
    fn a_fault_is_told_where_the_person_wrote_it() {
        let written = "speed = 5.0\n\n[screen]\nwidth = 1\n";
        let up = brought_up(written, "x", STEPS).unwrap();
        let fault = |line| ConfigError {
            file: "x".into(),
            line: Some(line),
            problem: Box::new(Problem::NotFound),
        };
        let at = 1 + up.lines().position(|l| l == "width = 1").unwrap();
        assert_eq!(at, 5, "the format's line came in");
        assert_eq!(in_written_lines(fault(at), written, &up).line, Some(4));
        assert_eq!(in_written_lines(fault(99), written, &up).line, None);
        assert_eq!(in_written_lines(fault(3), written, written).line, Some(3));
    }

    proptest! {
        #![proptest_config(kickplate_testing::cases(256, None))]

        /// Keys and comments in any order and of any number come through, but for
        /// those that got another name; a second time nothing changes.
        #[test]
        fn any_file_comes_through_the_steps_whole(
            format in prop::option::of(1u32..=3),
            top in prop::sample::subsequence(vec!["speed = 2 # slow", "level = 0.5", "name = \"x = y\"", "list = [1, 2]"], 0..=4).prop_shuffle(),
            screen in prop::option::of(prop::sample::subsequence(vec!["dark = true", "big = 1 # glove", "speed = 7"], 0..=3).prop_shuffle()),
        ) {
            let old = format.unwrap_or(1);
            let mut rest: Vec<&str> = top;
            if let Some(screen) = screen {
                rest.extend(["[screen]"].into_iter().chain(screen));
            }
            let said = format.map(|f| format!("format = {f}"));
            let all: Vec<&str> = said.as_deref().into_iter().chain(rest.iter().copied()).collect();
            let up = brought_up(&all.join("\n"), "x", STEPS).unwrap().into_owned();

            let mut in_screen = false;
            let mut wanted: Vec<String> = rest.iter().map(|line| {
                in_screen |= *line == "[screen]";
                match *line {
                    "speed = 2 # slow" if old < 2 && !in_screen => "speed_mps = 2 # slow".to_owned(),
                    "dark = true" if old < 3 && in_screen => "dark_theme = true".to_owned(),
                    other => other.to_owned(),
                }
            }).collect();
            // Before the first table, wherever that is.
            wanted.push("format = 3".to_owned());
            wanted.sort();
            let got: Vec<String> = lines(&up).into_iter().filter(|l| !l.is_empty()).collect();
            prop_assert_eq!(got, wanted, "{}", up);
            let again = brought_up(&up, "x", STEPS).unwrap();
            prop_assert_eq!(&*again, &up);
        }
    }
}
