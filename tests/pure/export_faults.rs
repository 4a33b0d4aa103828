//! What can go wrong with an export: each is one sentence, and under the
//! final name there is nothing or a whole export.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use std::path::Path;
use std::process::{Command, Output};
use std::sync::atomic::{AtomicBool, Ordering};

use crate::export_common::{Recorded, recorded, request, run};
use kickplate::export::{ExportError, ExportRequest, Format, Step, export};
use kickplate::store::{PICTURES_FOLDER, Store};

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = std::fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

/// One sentence: it names something, has no line break and no program words.
fn is_a_sentence(said: &str) {
    assert!(!said.contains('\n') && said.len() > 20, "{said}");
    for word in ["Err(", "None", "unwrap", "Os {", "kind:"] {
        assert!(!said.contains(word), "{said}");
    }
}

fn strip_files(recorded: &Recorded) -> Vec<std::path::PathBuf> {
    let mut files: Vec<_> = std::fs::read_dir(recorded.dir.path().join(PICTURES_FOLDER))
        .unwrap()
        .map(|e| e.unwrap().path())
        .collect();
    files.sort();
    files
}

#[test]
fn damaged_and_missing_pictures_cost_their_clips_only() {
    let recorded = recorded();
    let strips = strip_files(&recorded);
    // Gone; cut short; of the right length and no pictures.
    std::fs::remove_file(&strips[0]).unwrap();
    let bytes = std::fs::read(&strips[1]).unwrap();
    std::fs::write(&strips[1], &bytes[..bytes.len() / 2]).unwrap();
    let length = std::fs::metadata(&strips[2]).unwrap().len() as usize;
    std::fs::write(&strips[2], vec![0x55; length]).unwrap();
    let home = tempfile::tempdir().unwrap();
    let out = home.path().join("x");
    let exported = run(&recorded, &request(&recorded, &out)).unwrap();
    // One of the three may be the dismissed one, of which there is no clip.
    assert!((2..=3).contains(&exported.clips_broken), "{exported:?}");
    assert_eq!(exported.clips + exported.clips_broken, 9);
    let pages: String = names(&out.join("skaters"))
        .iter()
        .map(|p| std::fs::read_to_string(out.join("skaters").join(p)).unwrap())
        .collect();
    assert!(pages.contains("their pictures are damaged or missing"));
}

#[test]
fn an_interrupted_session_is_exported_and_says_so() {
    let recorded = recorded();
    let mut store = Store::open(recorded.dir.path()).unwrap();
    let id = store
        .begin_session(&crate::store_common::session())
        .unwrap();
    let pass = (crate::store_common::pass(1), crate::store_common::cue(1)).into();
    store.write_pass(&id, &pass).unwrap();
    // The program is killed here; the next start finds it.
    drop(store);
    drop(Store::open(recorded.dir.path()).unwrap());
    let home = tempfile::tempdir().unwrap();
    let out = home.path().join("x");
    let request = ExportRequest {
        sessions: vec![id.number()],
        ..request(&recorded, &out)
    };
    run(&recorded, &request).unwrap();
    let page = std::fs::read_to_string(out.join("index.html")).unwrap();
    assert!(page.contains("stopped in the middle"), "{page}");
    assert!(page.contains("skaters/no-name.html"));
}

#[test]
fn stopping_leaves_nothing() {
    let recorded = recorded();
    let home = tempfile::tempdir().unwrap();
    for (format, at) in [
        (Format::Folder, Step::Clips),
        (Format::Folder, Step::Pages),
        (Format::Zip, Step::Packing),
    ] {
        let cancel = AtomicBool::new(false);
        let request = ExportRequest {
            format,
            ..request(&recorded, &home.path().join("x"))
        };
        let stop = |p: kickplate::export::Progress| {
            assert!(p.done <= p.of);
            if p.step == at {
                cancel.store(true, Ordering::Relaxed);
            }
        };
        let e = export(&recorded.archive, &request, &stop, &cancel).unwrap_err();
        assert!(matches!(e, ExportError::Cancelled), "{e}");
        is_a_sentence(&e.to_string());
        assert!(names(home.path()).is_empty(), "{:?}", names(home.path()));
    }
    assert!(recorded.archive.exports().unwrap().is_empty());
}

#[test]
fn a_target_that_goes_away_is_one_sentence() {
    let recorded = recorded();
    let home = tempfile::tempdir().unwrap();
    let stick = home.path().join("stick");
    std::fs::create_dir(&stick).unwrap();
    let pull = |p: kickplate::export::Progress| {
        if p.step == Step::Clips {
            let _ = std::fs::remove_dir_all(&stick);
        }
    };
    let request = request(&recorded, &stick.join("x"));
    let e = export(&recorded.archive, &request, &pull, &AtomicBool::new(false)).unwrap_err();
    assert!(matches!(e, ExportError::Gone { .. }), "{e}");
    is_a_sentence(&e.to_string());
    assert!(names(home.path()).is_empty());
}

#[test]
fn names_that_are_taken_or_lead_nowhere_are_refused_before_anything_is_written() {
    let recorded = recorded();
    let home = tempfile::tempdir().unwrap();
    let taken = home.path().join("taken");
    std::fs::write(&taken, "mine").unwrap();
    for out in [
        taken.clone(),
        home.path().join("no/such/folder"),
        home.path().join(".."),
    ] {
        let e = run(&recorded, &request(&recorded, &out)).unwrap_err();
        is_a_sentence(&e.to_string());
    }
    assert_eq!(std::fs::read_to_string(&taken).unwrap(), "mine");
    assert_eq!(names(home.path()), ["taken"]);
}

/// The built program on its own recordings.
fn kickplate(recorded: &Recorded, shell: &str) -> Output {
    let home = recorded.dir.path().join("home of it");
    for room in ["models", "sounds", "config"] {
        std::fs::create_dir_all(home.join(room)).unwrap();
    }
    let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/station.toml");
    let settings = std::fs::read_to_string(shipped).unwrap();
    let settings = format!(
        "sessions_folder = \"{}\"\n{}",
        recorded.dir.path().display(),
        settings
            .lines()
            .filter(|l| !l.starts_with("sessions_folder"))
            .collect::<Vec<_>>()
            .join("\n")
    );
    std::fs::write(home.join("config/station.toml"), settings).unwrap();
    Command::new("sh")
        .args(["-c", shell])
        .env("KICKPLATE", env!("CARGO_BIN_EXE_kickplate"))
        .env("KICKPLATE_HOME", &home)
        .current_dir(recorded.dir.path())
        .output()
        .unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

#[test]
fn the_command_exports_with_spaces_in_its_path_and_says_where() {
    let recorded = recorded();
    let output = kickplate(
        &recorded,
        "\"$KICKPLATE\" export --skater 'b4711 ROBIN' --language fr --out 'Robin, 25 nov'",
    );
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    let said = text(&output.stdout);
    assert!(
        said.contains("Robin, 25 nov: ") && said.contains("5 clips"),
        "{said}"
    );
    let page = recorded.dir.path().join("Robin, 25 nov/index.html");
    assert!(std::fs::read_to_string(page).unwrap().contains("Rapport"));
    // Once more: the name is taken, which is for the user to change.
    for (words, wanted) in [
        ("--out 'Robin, 25 nov'", "is there already"),
        ("--session 99 --out y", "no session 99; there are: 1"),
        ("--skater Nobody --out y", "no skater 'Nobody'"),
        ("--out no/such/y", "does not exist"),
    ] {
        let output = kickplate(&recorded, &format!("\"$KICKPLATE\" export {words}"));
        assert_eq!(output.status.code(), Some(2), "{words}");
        let said = text(&output.stderr);
        // Lines of progress, then one sentence.
        assert!(one_sentence(&said).contains(wanted), "{said}");
    }
}

/// The one line of the error output that tells what went wrong; the others say how
/// far the work was.
fn one_sentence(said: &str) -> &str {
    let mut faults = said.lines().filter(|line| line.starts_with("kickplate: "));
    let first = faults.next().unwrap_or_default();
    assert_eq!(faults.next(), None, "{said}");
    assert_eq!(said.lines().last(), Some(first), "{said}");
    first
}

/// A limit on the size of files stands in for a full disk: the same call
/// fails in the middle of a file.
#[test]
fn a_disk_that_becomes_full_is_one_sentence_and_leaves_nothing() {
    let recorded = recorded();
    let output = kickplate(
        &recorded,
        "trap '' XFSZ; ulimit -f 8; \"$KICKPLATE\" export --out x",
    );
    assert_eq!(output.status.code(), Some(1));
    let said = text(&output.stderr);
    assert!(one_sentence(&said).contains("became full"), "{said}");
    let left: Vec<String> = names(recorded.dir.path())
        .into_iter()
        .filter(|n| n.starts_with('x'))
        .collect();
    assert!(left.is_empty(), "{left:?}");
}
