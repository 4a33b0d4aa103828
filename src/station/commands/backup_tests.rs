//! A backup and back, and files that only look like one.

use super::*;
use crate::roster::Skater;
use crate::rules::AgeGroup;

struct Places {
    _dir: tempfile::TempDir,
    home: PathBuf,
    folder: PathBuf,
    zip: PathBuf,
}

fn places() -> Places {
    let dir = tempfile::tempdir().unwrap();
    let home = dir.path().join("home");
    let config = home.join("config");
    std::fs::create_dir_all(&config).unwrap();
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
    for file in ["station.toml", "age-groups.toml", "lane-side.toml"] {
        std::fs::copy(root.join(file), config.join(file)).unwrap();
    }
    Places {
        home,
        folder: dir.path().join("recordings"),
        zip: dir.path().join("all.zip"),
        _dir: dir,
    }
}

fn names(folder: &Path) -> Vec<String> {
    let archive = Archive::open(folder).unwrap();
    let skaters = archive.skaters().unwrap();
    skaters.into_iter().map(|s| s.name).collect()
}

fn add(folder: &Path, name: &str) {
    let archive = Archive::open(folder).unwrap();
    archive
        .add_skater(&Skater::new(name, AgeGroup::U9))
        .unwrap();
}

#[test]
fn everything_comes_back_and_what_was_there_is_kept_beside() {
    let p = places();
    add(&p.folder, "Robin");
    let pictures = p.folder.join(PICTURES_FOLDER);
    std::fs::create_dir(&pictures).unwrap();
    std::fs::write(pictures.join("s1-p1-0-knee_bend.mjpeg"), b"jpeg").unwrap();
    std::fs::write(p.folder.join(PIN_FILE), "hash").unwrap();
    let checks = p.folder.join(RULER_FOLDER);
    std::fs::create_dir(&checks).unwrap();
    std::fs::write(checks.join("side-0a1b2c3d.json"), b"a check").unwrap();
    let lane = p.home.join("config/lane-side.toml");
    let lane_text = std::fs::read_to_string(&lane).unwrap();

    let made = back_up(&p.home, &p.folder, &p.zip).unwrap();
    // The manifest, three settings files, sessions, PIN, one picture, one check.
    assert_eq!(made.files, 8);
    assert_eq!(made.bytes, p.zip.metadata().unwrap().len());
    let left: Vec<_> = std::fs::read_dir(p.zip.parent().unwrap())
        .unwrap()
        .collect();
    assert_eq!(left.len(), 3, "{left:?}");

    add(&p.folder, "Sasha");
    std::fs::write(&lane, "changed = 1\n").unwrap();
    std::fs::remove_dir_all(&pictures).unwrap();
    std::fs::remove_dir_all(&checks).unwrap();
    let restored = restore(&p.home, &p.folder, &p.zip).unwrap();
    assert_eq!(names(&p.folder), ["Robin"]);
    assert_eq!(std::fs::read_to_string(&lane).unwrap(), lane_text);
    assert_eq!(
        std::fs::read(pictures.join("s1-p1-0-knee_bend.mjpeg")).unwrap(),
        b"jpeg"
    );
    assert_eq!(
        std::fs::read(checks.join("side-0a1b2c3d.json")).unwrap(),
        b"a check"
    );
    assert_eq!(
        std::fs::read_to_string(p.folder.join(PIN_FILE)).unwrap(),
        "hash"
    );
    assert_eq!(names(&restored.old_recordings.unwrap()), ["Robin", "Sasha"]);
    let old_lane = std::fs::read_to_string(restored.old_config.join("lane-side.toml"));
    assert_eq!(old_lane.unwrap(), "changed = 1\n");
}

#[test]
fn a_restore_into_nothing_makes_everything() {
    let p = places();
    add(&p.folder, "Robin");
    back_up(&p.home, &p.folder, &p.zip).unwrap();
    std::fs::remove_dir_all(&p.folder).unwrap();
    let restored = restore(&p.home, &p.folder, &p.zip).unwrap();
    assert_eq!(restored.old_recordings, None);
    assert_eq!(names(&p.folder), ["Robin"]);
}

/// Each keeps what was there before it, also within one second.
#[test]
fn restores_that_follow_each_other_at_once_keep_everything() {
    let p = places();
    add(&p.folder, "Robin");
    back_up(&p.home, &p.folder, &p.zip).unwrap();
    let mut kept = Vec::new();
    for _ in 0..3 {
        let restored = restore(&p.home, &p.folder, &p.zip).unwrap();
        kept.push(restored.old_recordings.unwrap());
        kept.push(restored.old_config);
    }
    kept.sort();
    kept.dedup();
    assert_eq!(kept.len(), 6);
    assert!(kept.iter().all(|folder| folder.is_dir()));
}

#[test]
fn a_backup_that_is_stopped_leaves_nothing() {
    let p = places();
    add(&p.folder, "Robin");
    let before = p.zip.parent().unwrap().read_dir().unwrap().count();
    let stopped = back_up_unless(&p.home, &p.folder, &p.zip, &AtomicBool::new(true));
    assert!(matches!(stopped, Err(BackupError::Stopped)), "{stopped:?}");
    assert_eq!(p.zip.parent().unwrap().read_dir().unwrap().count(), before);
}

#[test]
fn recordings_in_use_are_not_replaced() {
    let p = places();
    add(&p.folder, "Robin");
    back_up(&p.home, &p.folder, &p.zip).unwrap();
    let _recording = crate::store::Store::open(&p.folder).unwrap();
    let said = restore(&p.home, &p.folder, &p.zip).unwrap_err();
    assert!(
        matches!(said, BackupError::Store(StoreError::InUse { .. })),
        "{said}"
    );
}

/// A zip with these entries, each `name` with its bytes.
fn zip_of(path: &Path, entries: &[(&str, &[u8])]) {
    let mut zip = ZipWriter::new(File::create(path).unwrap());
    for (name, bytes) in entries {
        zip.start_file(*name, SimpleFileOptions::default()).unwrap();
        zip.write_all(bytes).unwrap();
    }
    zip.finish().unwrap();
}

/// Every file below a folder, with its bytes.
fn everything(folder: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    let mut all = Vec::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            all.extend(everything(&path));
        } else {
            all.push((path.clone(), std::fs::read(&path).unwrap()));
        }
    }
    all.sort();
    all
}

#[test]
fn files_that_only_look_like_a_backup_change_nothing() {
    let p = places();
    add(&p.folder, "Robin");
    back_up(&p.home, &p.folder, &p.zip).unwrap();
    let sessions = {
        let mut zip = ZipArchive::new(File::open(&p.zip).unwrap()).unwrap();
        let mut bytes = Vec::new();
        zip.by_name("recordings/sessions.sqlite3")
            .unwrap()
            .read_to_end(&mut bytes)
            .unwrap();
        bytes
    };
    let good: &[u8] = br#"{"format":1,"program_version":"0","made_at":"x"}"#;
    let new: &[u8] = br#"{"format":2,"program_version":"9.9","made_at":"x"}"#;
    let db = ("recordings/sessions.sqlite3", sessions.as_slice());
    let whole = std::fs::read(&p.zip).unwrap();
    let root = p.zip.parent().unwrap().to_owned();
    // The lock file is the station's own and comes with looking.
    drop(crate::store::hold(&p.folder).unwrap());
    std::fs::remove_file(&p.zip).unwrap();
    let before = everything(&root);

    let mut cases: Vec<(&str, Vec<u8>)> = vec![
        ("not a zip", b"not a zip at all".to_vec()),
        ("cut off", whole[..whole.len() / 2].to_vec()),
    ];
    let mut flipped = whole.clone();
    let at = whole.len() / 3;
    flipped[at] ^= 0xFF;
    cases.push(("a flipped byte", flipped));
    type Parts<'a> = Vec<(&'a str, &'a [u8])>;
    let named: [(&str, Parts<'_>); 12] = [
        ("no manifest", vec![db]),
        ("newer", vec![(MANIFEST, new), db]),
        (
            "climbs out",
            vec![(MANIFEST, good), db, ("../evil.toml", b"x")],
        ),
        (
            "climbs out of config",
            vec![(MANIFEST, good), db, ("config/../../evil.toml", b"x")],
        ),
        (
            "absolute",
            vec![(MANIFEST, good), db, ("/tmp/evil.toml", b"x")],
        ),
        (
            "backslashes",
            vec![(MANIFEST, good), db, ("config/..\\evil.toml", b"x")],
        ),
        (
            "pictures up",
            vec![
                (MANIFEST, good),
                db,
                ("recordings/pictures/../x.mjpeg", b"x"),
            ],
        ),
        (
            "a program",
            vec![(MANIFEST, good), db, ("recordings/run.sh", b"x")],
        ),
        ("hidden", vec![(MANIFEST, good), db, ("config/.toml", b"x")]),
        (
            "bad settings",
            vec![
                (MANIFEST, good),
                db,
                ("config/station.toml", b"fps = \"x\""),
            ],
        ),
        ("no sessions", vec![(MANIFEST, good)]),
        (
            "sessions that are none",
            vec![
                (MANIFEST, good),
                ("recordings/sessions.sqlite3", b"rubbish rubbish rubbish"),
            ],
        ),
    ];
    for (what, entries) in &named {
        zip_of(&p.zip, entries);
        cases.push((what, std::fs::read(&p.zip).unwrap()));
        std::fs::remove_file(&p.zip).unwrap();
    }
    for (what, bytes) in cases {
        std::fs::write(&p.zip, &bytes).unwrap();
        let result = restore(&p.home, &p.folder, &p.zip);
        let said = result
            .err()
            .unwrap_or_else(|| panic!("{what} was taken"))
            .to_string();
        assert!(said.contains("nothing was changed"), "{what}: {said}");
        std::fs::remove_file(&p.zip).unwrap();
        assert_eq!(everything(&root), before, "{what}");
    }
}
