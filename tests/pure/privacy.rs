//! What is left of a deleted skater: nothing, in any byte of the folder.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use std::path::Path;
use std::sync::Arc;

use crate::store_common::{cue, pass, session, tracked};
use kickplate::roster::{Consent, Skater, SkaterId};
use kickplate::rules::{AgeGroup, RuleId};
use kickplate::store::{
    Aged, Archive, NewPass, PassKey, PictureStrip, PushKey, SESSIONS_FILE, Shot, Store, Verdict,
};

/// Words that stand nowhere else.
const NAME: &str = "Quirinquax";
const BIB: &str = "bib-7731904";
const GIVEN_BY: &str = "Mother Zwoltraum";
const COMMENT: &str = "stays low for long, vlurb";
const PICTURE: &[u8] = b"\xFF\xD8 the pixels of Quirinquax 5502 \xFF\xD9";

fn strip() -> PictureStrip {
    PictureStrip {
        push: 0,
        rule: RuleId::KneeBend,
        flagged_at_s: 10.1,
        size_px: [640, 360],
        frame_px: [1280, 720],
        faces_blurred: true,
        shots: vec![Shot {
            captured_at_s: 10.1,
            jpeg: PICTURE.to_vec(),
        }],
    }
}

fn skater(name: &str, bib: &str, by: &str) -> Skater {
    Skater {
        bib: Some(bib.into()),
        consent: Some(Consent {
            given_on: "2026-09-01".parse().unwrap(),
            given_by: by.into(),
        }),
        ..Skater::new(name, AgeGroup::U13)
    }
}

/// Files below the folder that hold these bytes.
fn files_with(folder: &Path, needle: &[u8]) -> Vec<String> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(files_with(&path, needle));
        } else {
            let bytes = std::fs::read(&path).unwrap();
            let name = path.file_name().unwrap().to_string_lossy().into_owned();
            let in_name = name.as_bytes().windows(needle.len()).any(|w| w == needle);
            if in_name || bytes.windows(needle.len()).any(|w| w == needle) {
                found.push(name);
            }
        }
    }
    found.sort();
    found
}

fn is_anywhere(folder: &Path) -> Vec<(&'static str, Vec<String>)> {
    [
        ("name", NAME.as_bytes()),
        ("bib", BIB.as_bytes()),
        ("given by", GIVEN_BY.as_bytes()),
        ("comment", COMMENT.as_bytes()),
        ("picture", PICTURE),
    ]
    .map(|(what, needle)| (what, files_with(folder, needle)))
    .to_vec()
}

/// A season with many skaters and passes around the one that goes, so that
/// pages are split, joined and used again.
fn season(folder: &Path, archive: &Archive) -> (Store, SkaterId, i64) {
    let others: Vec<SkaterId> = (0..20)
        .map(|i| {
            let other = skater(&format!("Other {i}"), &format!("{i}"), "Somebody");
            archive.add_skater(&other).unwrap()
        })
        .collect();
    // Changed once: the old values are not to stay either.
    let mut gone = skater("Quirinquax the first", "bib-7731904-old", GIVEN_BY);
    gone.id = archive.add_skater(&gone).unwrap();
    gone.name = NAME.into();
    gone.bib = Some(BIB.into());
    archive.change_skater(&gone).unwrap();
    let mut store = Store::open(folder).unwrap();
    let s = store.begin_session(&session()).unwrap();
    for n in 1..=60 {
        let whose = if n % 3 == 0 {
            gone.id
        } else {
            others[n as usize % 20]
        };
        let new = NewPass {
            skater: Some(whose),
            points: Some(Arc::new(tracked(n))),
            strips: if whose == gone.id {
                vec![strip()]
            } else {
                Vec::new()
            },
            ..(pass(n), cue(n)).into()
        };
        store.write_pass(&s, &new).unwrap();
        let push = PushKey {
            pass: PassKey {
                session: s.number(),
                number: n,
            },
            position: 0,
        };
        if whose == gone.id {
            archive.set_comment(&push, COMMENT).unwrap();
            archive
                .set_verdict(&push, RuleId::KneeBend, Some(Verdict::Confirmed))
                .unwrap();
        } else if n == 4 {
            archive
                .set_comment(&push, &format!("lower than {NAME} today"))
                .unwrap();
        }
    }
    (store, gone.id, s.number())
}

#[test]
fn nothing_is_left_of_a_deleted_skater_in_any_byte() {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("recordings");
    let archive = Archive::open(&folder).unwrap();
    let (store, gone, session) = season(&folder, &archive);
    let others: Vec<SkaterId> = archive
        .skaters()
        .unwrap()
        .into_iter()
        .map(|s| s.id)
        .filter(|id| *id != gone)
        .collect();
    archive
        .note_export(
            "/media/stick/everybody.zip".as_ref(),
            "all passes",
            false,
            &[others[0], gone],
        )
        .unwrap();
    archive
        .note_export(
            format!("/media/stick/{NAME}.zip").as_ref(),
            "one skater",
            false,
            &[gone],
        )
        .unwrap();
    // Copies an earlier program left behind.
    let beside = |ending: &str| folder.join(format!("{SESSIONS_FILE}{ending}"));
    std::fs::copy(beside(""), beside(".before-version-3")).unwrap();
    std::fs::write(beside(".damaged-20260101-120000"), NAME).unwrap();

    for (what, files) in is_anywhere(&folder) {
        assert!(!files.is_empty(), "the search does not find the {what}");
    }
    let before = archive.load_session(session).unwrap();

    // The recording goes on beside it.
    let erased = archive.delete_skater(gone).unwrap();
    assert_eq!((erased.passes, erased.strips), (20, 20));
    assert_eq!((erased.mentions, erased.old_files.len()), (1, 2));
    assert!(!erased.rewrite_put_off);
    let places: Vec<&str> = erased.exports.iter().map(|e| e.place.as_str()).collect();
    assert_eq!(places.len(), 2, "{places:?}");
    for (what, files) in is_anywhere(&folder) {
        assert!(files.is_empty(), "the {what} is still in {files:?}");
    }

    // Everybody else is as before.
    let after = archive.load_session(session).unwrap();
    let kept: Vec<_> = before
        .passes
        .iter()
        .filter(|p| p.skater != Some(gone))
        .map(|p| (p.number, &p.pass, p.skater))
        .collect();
    let now: Vec<_> = after
        .passes
        .iter()
        .map(|p| (p.number, &p.pass, p.skater))
        .collect();
    assert_eq!(now, kept);
    let note = &after.passes.iter().find(|p| p.number == 4).unwrap().notes[0];
    assert_eq!(note.comment, "lower than [deleted] today");
    let exports = archive.exports().unwrap();
    assert_eq!(exports.len(), 1);
    assert_eq!(exports[0].skaters, [others[0]]);

    // Nor after the recording has ended and everything is opened again.
    drop((store, archive));
    Store::open(&folder).unwrap();
    for (what, files) in is_anywhere(&folder) {
        assert!(files.is_empty(), "the {what} came back in {files:?}");
    }
}

/// A pass that was skated before and is written after.
#[test]
fn what_comes_after_the_deletion_is_nobodys() {
    let dir = tempfile::tempdir().unwrap();
    let archive = Archive::open(dir.path()).unwrap();
    let id = archive.add_skater(&skater(NAME, BIB, GIVEN_BY)).unwrap();
    let mut store = Store::open(dir.path()).unwrap();
    let s = store.begin_session(&session()).unwrap();
    archive.delete_skater(id).unwrap();
    let late = NewPass {
        skater: Some(id),
        points: Some(Arc::new(tracked(1))),
        strips: vec![strip()],
        ..(pass(1), cue(1)).into()
    };
    store.write_pass(&s, &late).unwrap();
    let back = archive.load_session(s.number()).unwrap();
    let first = &back.passes[0];
    assert_eq!(
        (first.skater, first.has_points, first.strips.len()),
        (None, false, 0)
    );
    for (what, files) in is_anywhere(dir.path()) {
        assert!(files.is_empty(), "the {what} is in {files:?}");
    }
    assert!(archive.delete_skater(id).is_err(), "told once");
}

/// Withdrawn consent: the pictures go, the passes stay.
#[test]
fn a_withdrawn_consent_leaves_no_picture_and_no_name_of_who_gave_it() {
    let dir = tempfile::tempdir().unwrap();
    let archive = Archive::open(dir.path()).unwrap();
    let (store, id, session) = season(dir.path(), &archive);
    let mut skater = archive
        .skaters()
        .unwrap()
        .into_iter()
        .find(|s| s.id == id)
        .unwrap();
    skater.consent = None;
    archive.change_skater(&skater).unwrap();
    for (what, files) in is_anywhere(dir.path()) {
        let stays = matches!(what, "name" | "bib" | "comment");
        assert_eq!(files.is_empty(), !stays, "{what}: {files:?}");
    }
    assert_eq!(archive.load_session(session).unwrap().passes.len(), 60);
    drop(store);
}

/// Words of the old session that stand nowhere else.
const OLD_SOURCE: &str = "camera-zwirlfax";
const OLD_REASON: &str = "the blade was hidden, krombel";

/// What is kept by age: the old goes in every byte, the new stays.
#[test]
fn nothing_is_left_of_what_was_measured_too_long_ago() {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("recordings");
    let archive = Archive::open(&folder).unwrap();
    let id = archive.add_skater(&skater(NAME, BIB, GIVEN_BY)).unwrap();
    let mut store = Store::open(&folder).unwrap();
    let mut info = session();
    info.source.name = OLD_SOURCE.into();
    info.started = "2024-10-05T18:00:00+02:00[Europe/Zurich]".parse().unwrap();
    let old = store.begin_session(&info).unwrap();
    let write = |store: &mut Store, s: &kickplate::store::SessionId, n: u32, reason: &str| {
        let (mut judged, cue) = (pass(n), cue(n));
        judged.pushes[0].measures[RuleId::KneeBend].how = reason.into();
        let new = NewPass {
            skater: Some(id),
            points: Some(Arc::new(tracked(n))),
            strips: vec![strip()],
            ..(judged, cue).into()
        };
        store.write_pass(s, &new).unwrap();
        PushKey {
            pass: PassKey {
                session: s.number(),
                number: n,
            },
            position: 0,
        }
    };
    for n in 1..=40 {
        let push = write(&mut store, &old, n, OLD_REASON);
        archive.set_comment(&push, COMMENT).unwrap();
        archive.set_starred(&push, true).unwrap();
        archive
            .set_verdict(&push, RuleId::KneeBend, Some(Verdict::Dismissed))
            .unwrap();
    }
    store.end_session(&old).unwrap();
    std::thread::sleep(std::time::Duration::from_millis(20));
    let before = jiff::Zoned::now();
    let new = store.begin_session(&session()).unwrap();
    for n in 1..=20 {
        write(&mut store, &new, n, "seen");
    }
    let beside = |ending: &str| folder.join(format!("{SESSIONS_FILE}{ending}"));
    // Copies of an earlier program, one damaged file from then, one from now.
    std::fs::copy(beside(""), beside(".before-version-3")).unwrap();
    for (name, file_time) in [
        (
            ".damaged-20241006-120000",
            before.timestamp() - jiff::SignedDuration::from_hours(1),
        ),
        (".damaged-20261125-120000", jiff::Timestamp::now()),
    ] {
        std::fs::write(beside(name), "damaged").unwrap();
        let file = std::fs::File::options()
            .write(true)
            .open(beside(name))
            .unwrap();
        file.set_modified(file_time.into()).unwrap();
    }
    let whole = |number| archive.load_session(number).unwrap();
    let kept = whole(new.number());
    let needles = [
        ("source", OLD_SOURCE.as_bytes()),
        ("reason", OLD_REASON.as_bytes()),
        ("comment", COMMENT.as_bytes()),
    ];
    for (what, needle) in needles {
        assert!(
            !files_with(&folder, needle).is_empty(),
            "the search does not find the {what}"
        );
    }
    assert_eq!(files_with(&folder, PICTURE).len(), 60);

    // Nothing is that old yet.
    let earlier = "2020-01-01T00:00:00+00:00[UTC]".parse().unwrap();
    assert_eq!(archive.older_than(&earlier).unwrap(), Aged::default());
    assert_eq!(
        archive.delete_older_than(&earlier).unwrap(),
        Aged::default()
    );
    assert!(beside(".before-version-3").exists());

    let would_go = archive.older_than(&before).unwrap();
    assert_eq!((would_go.passes, would_go.sessions), (40, 1));
    let gone = archive.delete_older_than(&before).unwrap();
    assert_eq!((gone.passes, gone.sessions, gone.strips), (40, 1, 40));
    for (what, needle) in needles {
        let files = files_with(&folder, needle);
        assert!(files.is_empty(), "the {what} is still in {files:?}");
    }
    assert_eq!(files_with(&folder, PICTURE).len(), 20, "the new ones stay");
    assert!(!beside(".before-version-3").exists());
    assert!(!beside(".damaged-20241006-120000").exists());
    assert!(beside(".damaged-20261125-120000").exists());

    // The new session is as it was, and goes on; the roster too.
    assert_eq!(whole(new.number()), kept);
    assert!(archive.load_session(old.number()).is_err());
    write(&mut store, &new, 21, "seen");
    assert_eq!(whole(new.number()).passes.len(), 21);
    assert_eq!(archive.skaters().unwrap().len(), 1);
    assert_eq!(archive.older_than(&before).unwrap(), Aged::default());

    // Nor after everything is opened again.
    drop((store, archive));
    Store::open(&folder).unwrap();
    for (what, needle) in needles {
        let files = files_with(&folder, needle);
        assert!(files.is_empty(), "the {what} came back in {files:?}");
    }
}

/// A session that runs is never deleted, nor one with a pass that is kept.
#[test]
fn only_sessions_that_are_over_and_empty_go_by_age() {
    let dir = tempfile::tempdir().unwrap();
    let archive = Archive::open(dir.path()).unwrap();
    let mut store = Store::open(dir.path()).unwrap();
    let mut long_ago = session();
    long_ago.started = "2024-10-05T18:00:00+02:00[Europe/Zurich]".parse().unwrap();
    let kept = store.begin_session(&long_ago).unwrap();
    store.write_pass(&kept, &(pass(1), cue(1)).into()).unwrap();
    store.end_session(&kept).unwrap();
    let empty = store.begin_session(&long_ago).unwrap();
    store.end_session(&empty).unwrap();
    let running = store.begin_session(&long_ago).unwrap();
    let since = "2025-01-01T00:00:00+01:00[Europe/Zurich]".parse().unwrap();
    let gone = archive.delete_older_than(&since).unwrap();
    assert_eq!((gone.passes, gone.sessions), (0, 1));
    let left: Vec<i64> = archive
        .sessions()
        .unwrap()
        .iter()
        .map(|s| s.id.number())
        .collect();
    assert_eq!(left, [kept.number(), running.number()]);
}
