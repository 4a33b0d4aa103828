//! `docs/constants.md` and the code say the same: every number of the measuring rooms is
//! listed with its value and its class, and nobody but the calibration asks whether
//! it is a person who skates.

use std::path::{Path, PathBuf};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Where numbers decide values, from the project's folder.
const ROOMS: [&str; 8] = [
    "crates/measure/src/calibration",
    "crates/measure/src/quality",
    "crates/measure/src/ruler",
    "crates/measure/src/rules",
    "crates/measure/src/stride",
    "crates/measure/src/track",
    "crates/vision/src/pose",
    "crates/vision/src/standing",
];
/// No numbers of measuring: the engines, the cutting of pictures, the model files, stick
/// skaters and persons, and the reading of settings.
const NOT_LISTED: [&str; 7] = [
    "pose/engine/",
    "pose/crop.rs",
    "pose/models.rs",
    "stride/synthetic.rs",
    "rules/declare.rs",
    "rules/settings.rs",
    "ruler/stander.rs",
];
/// What a constant's type begins with where it is a number, or several.
const NUMBERS: [&str; 15] = [
    "f64",
    "f32",
    "usize",
    "isize",
    "u8",
    "u32",
    "u64",
    "i32",
    "[f64",
    "[(f64",
    "std::ops::Range",
    "Doubt",
    "Shift",
    "Spread",
    "SkateOut",
];

fn rust_files(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            rust_files(&path, found);
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
}

/// Path from the project's folder, and the source up to its tests.
fn sources() -> Vec<(String, String)> {
    let mut files = Vec::new();
    for room in ROOMS {
        rust_files(&root().join(room), &mut files);
    }
    files.sort();
    files
        .into_iter()
        .map(|path| {
            let name = path.strip_prefix(root()).unwrap().display().to_string();
            let text = std::fs::read_to_string(&path).unwrap();
            let code = text.split("#[cfg(test)]").next().unwrap().to_owned();
            (name, code)
        })
        .filter(|(name, _)| !name.ends_with("tests.rs"))
        .filter(|(name, _)| !NOT_LISTED.iter().any(|part| name.contains(part)))
        .collect()
}

/// Names and values of the numbers that are declared at the edge of a file.
fn numbers(code: &str) -> Vec<(String, String)> {
    let mut found = Vec::new();
    let mut rest = code;
    while let Some(at) = rest.find("const ") {
        let begins_line = rest[..at].rsplit('\n').next().unwrap();
        let declared = matches!(begins_line, "" | "pub " | "pub(super) " | "pub(crate) ");
        rest = &rest[at + "const ".len()..];
        let Some((head, tail)) = rest.split_once('=') else {
            break;
        };
        let Some((name, of_type)) = head.split_once(':') else {
            continue;
        };
        let number = NUMBERS.iter().any(|t| of_type.trim().starts_with(t));
        if declared && number && !name.contains(char::is_whitespace) {
            let value = tail.split_once(';').unwrap().0;
            let words: Vec<&str> = value.split_whitespace().collect();
            found.push((name.to_owned(), words.join(" ")));
        }
    }
    found
}

#[test]
fn every_number_is_listed_with_its_value_and_its_class() {
    let page = std::fs::read_to_string(root().join("docs/constants.md")).unwrap();
    let classes = [
        "geometry or physics",
        "people",
        "rendered: shifts",
        "rendered: selects",
        "work and memory",
    ];
    let (mut wrong, mut listed) = (Vec::new(), 0);
    for (file, code) in sources() {
        let section = page
            .split("\n### ")
            .find(|s| s.starts_with(&format!("`{file}`\n")))
            .unwrap_or_default();
        for (name, value) in numbers(&code) {
            // Long ones are cut in the table.
            let shown: String = value.chars().take(60).collect();
            let row = section
                .lines()
                .find(|line| line.starts_with(&format!("| `{name}` | {shown}")));
            let class = row.and_then(|row| row.trim_end_matches(" |").rsplit(" | ").next());
            match class {
                Some(class) if classes.contains(&class) => listed += 1,
                Some(class) => wrong.push(format!("{file}: {name}: '{class}' is no class")),
                None => wrong.push(format!("{file}: | `{name}` | {value} | ... | ... |")),
            }
            // What shifts stands in one file and in no other.
            let shifts = class == Some("rendered: shifts");
            if shifts != file.ends_with("calibration/rendered.rs") {
                wrong.push(format!("{file}: {name} is of class {class:?} there"));
            }
        }
    }
    assert!(
        wrong.is_empty(),
        "put these into docs/constants.md, with what they rest on and their class:\n{}",
        wrong.join("\n")
    );
    assert!(listed > 150, "only {listed} numbers were looked at");
}

#[test]
fn only_the_calibration_asks_who_skates() {
    for (file, code) in sources() {
        // A check with persons is for people: it asks for nothing of the rendered.
        if file.contains("/calibration/") || file.contains("/ruler/") {
            assert!(!file.contains("/ruler/") || !code.contains("Subject::Rendered"));
            continue;
        }
        for word in [
            "Subject::",
            "Basis::",
            "calibration::rendered",
            "calibration::people",
        ] {
            assert!(!code.contains(word), "{file} asks for {word}");
        }
    }
}
