//! The archive beside a running recording: roster, notes, points, pictures.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::sync::Arc;

use crate::store_common::{cue, lane, pass, session, strip, tracked};
use kickplate::roster::{BandColour, Consent, Skater, SkaterId};
use kickplate::rules::{AgeGroup, Limits, RuleId};
use kickplate::store::{
    Agreement, Archive, MentionsGo, NewPass, PICTURES_FOLDER, PassKey, PushKey, PushNote,
    Retention, Store, StoreError, StoredPass, Verdict,
};

fn robin() -> Skater {
    Skater {
        bib: Some("12".into()),
        band: Some(BandColour::Violet),
        height_m: Some(1.47),
        consent: Some(Consent {
            given_on: "2026-09-01".parse().unwrap(),
            given_by: "Kim, mother".into(),
        }),
        overrides: [(
            RuleId::KneeBend,
            Limits {
                flagged: true,
                at_least: None,
                at_most: Some(118.0),
                dead_band: 4.0,
            },
        )]
        .into(),
        focus: Some(RuleId::TrunkLean),
        ..Skater::new("Robin", AgeGroup::U13)
    }
}

fn whole(number: u32, skater: Option<SkaterId>) -> NewPass {
    NewPass {
        skater,
        points: Some(Arc::new(tracked(number))),
        strips: vec![strip(0, RuleId::KneeBend), strip(1, RuleId::TrunkLean)],
        ..(pass(number), cue(number)).into()
    }
}

fn key(session: i64, number: u32) -> PassKey {
    PassKey { session, number }
}

fn pictures(folder: &Path) -> usize {
    std::fs::read_dir(folder.join(PICTURES_FOLDER)).map_or(0, Iterator::count)
}

#[test]
fn a_pass_comes_back_with_its_skater_points_pictures_and_lane() {
    let dir = tempfile::tempdir().unwrap();
    let archive = Archive::open(dir.path()).unwrap();
    let id = archive.add_skater(&robin()).unwrap();
    // The recording runs beside the archive that is open.
    let mut store = Store::open(dir.path()).unwrap();
    let s = store.begin_session(&session()).unwrap();
    let mut other_lane = lane();
    other_lane.skater_height_m = 1.47;
    let new = NewPass {
        lane: Some(other_lane.clone()),
        ..whole(1, Some(id))
    };
    store.write_pass(&s, &new).unwrap();
    store.write_pass(&s, &new).unwrap();
    store.write_pass(&s, &(pass(2), cue(2)).into()).unwrap();

    let back = archive.load_session(s.number()).unwrap();
    assert_eq!(back.passes[1], StoredPass::bare(pass(2), cue(2)));
    assert_eq!(back.lane_of(&back.passes[1]), &lane());
    let first = &back.passes[0];
    assert_eq!((first.number, first.skater), (1, Some(id)));
    assert_eq!(back.lane_of(first), &other_lane);
    assert!(first.has_points);
    let points = archive.points(key(s.number(), 1)).unwrap().unwrap();
    assert_eq!(points, tracked(1));
    assert_eq!(archive.points(key(s.number(), 2)).unwrap(), None);
    let rules: Vec<_> = first.strips.iter().map(|i| (i.push, i.rule)).collect();
    assert_eq!(rules, [(0, RuleId::KneeBend), (1, RuleId::TrunkLean)]);
    assert_eq!(
        archive.strip(first.strips[0].id).unwrap(),
        strip(0, RuleId::KneeBend)
    );

    let folder = dir.path().join(PICTURES_FOLDER);
    assert_eq!(pictures(dir.path()), 2);
    assert_eq!(
        folder.metadata().unwrap().permissions().mode() & 0o777,
        0o700
    );
    for file in std::fs::read_dir(&folder).unwrap() {
        let file = file.unwrap();
        assert_eq!(file.metadata().unwrap().permissions().mode() & 0o777, 0o600);
        // A plain Motion-JPEG stream: the pictures one after the other.
        let bytes = std::fs::read(file.path()).unwrap();
        let jpegs: Vec<u8> = strip(0, RuleId::KneeBend)
            .shots
            .iter()
            .flat_map(|s| s.jpeg.clone())
            .collect();
        assert_eq!(bytes, jpegs);
    }
}

#[test]
fn skaters_are_added_changed_and_sorted() {
    let dir = tempfile::tempdir().unwrap();
    let archive = Archive::open(dir.path()).unwrap();
    let mut robin = robin();
    robin.id = archive.add_skater(&robin).unwrap();
    let mut sasha = Skater::new("sasha", AgeGroup::U9);
    sasha.bib = Some("7".into());
    let alex = Skater::new("Alex", AgeGroup::Adult);
    let ids = archive.add_skaters(&[alex, sasha]).unwrap();
    let all = archive.skaters().unwrap();
    let labels: Vec<String> = all.iter().map(Skater::label).collect();
    assert_eq!(labels, ["7 sasha", "12 Robin", "Alex"]);
    assert_eq!(all[1], robin);
    robin.overrides.clear();
    robin.band = None;
    archive.change_skater(&robin).unwrap();
    assert_eq!(archive.skaters().unwrap()[1], robin);

    // All or none.
    let ghost = Skater {
        id: SkaterId(99),
        ..robin.clone()
    };
    let refused = archive.write_roster(&[Skater::new("New", AgeGroup::U7)], &[ghost]);
    assert!(
        matches!(refused, Err(StoreError::NotThere(_))),
        "{refused:?}"
    );
    assert_eq!(archive.skaters().unwrap().len(), 3);

    // A number is never given twice.
    archive.delete_skater(ids[1]).unwrap();
    let next = archive
        .add_skater(&Skater::new("Next", AgeGroup::U9))
        .unwrap();
    assert!(next > ids[1]);
}

#[test]
fn what_the_coach_writes_comes_back_and_counts() {
    let dir = tempfile::tempdir().unwrap();
    let mut store = Store::open(dir.path()).unwrap();
    let s = store.begin_session(&session()).unwrap();
    store.write_pass(&s, &whole(1, None)).unwrap();
    let archive = Archive::open(dir.path()).unwrap();
    let push = PushKey {
        pass: key(s.number(), 1),
        position: 1,
    };
    archive
        .set_verdict(&push, RuleId::KneeBend, Some(Verdict::Confirmed))
        .unwrap();
    archive
        .set_verdict(&push, RuleId::TrunkLean, Some(Verdict::Confirmed))
        .unwrap();
    archive
        .set_verdict(&push, RuleId::TrunkLean, Some(Verdict::Dismissed))
        .unwrap();
    archive.set_comment(&push, "  good arms ").unwrap();
    archive.set_starred(&push, true).unwrap();
    let notes = archive.load_session(s.number()).unwrap().passes[0]
        .notes
        .clone();
    assert_eq!(notes.len(), 3);
    assert_eq!(notes[0], PushNote::default());
    assert_eq!(
        notes[1],
        PushNote {
            verdicts: [
                (RuleId::KneeBend, Verdict::Confirmed),
                (RuleId::TrunkLean, Verdict::Dismissed),
            ]
            .into(),
            comment: "good arms".into(),
            starred: true,
        }
    );
    let count = |rule: RuleId, confirmed, dismissed| Agreement {
        rule,
        confirmed,
        dismissed,
    };
    assert_eq!(
        archive.agreement().unwrap(),
        [
            count(RuleId::KneeBend, 1, 0),
            count(RuleId::TrunkLean, 0, 1)
        ]
    );
    archive.set_verdict(&push, RuleId::TrunkLean, None).unwrap();
    archive.set_comment(&push, "").unwrap();
    assert_eq!(
        archive.agreement().unwrap(),
        [count(RuleId::KneeBend, 1, 0)]
    );
    let nowhere = PushKey {
        position: 3,
        ..push
    };
    let said = archive.set_starred(&nowhere, true).unwrap_err().to_string();
    assert_eq!(said, "push 4 of pass 1 is not in the recordings any more");
}

#[test]
fn no_picture_is_kept_without_consent_and_none_stays_when_it_is_taken_back() {
    let dir = tempfile::tempdir().unwrap();
    let archive = Archive::open(dir.path()).unwrap();
    let mut yes = robin();
    yes.id = archive.add_skater(&yes).unwrap();
    let no = archive
        .add_skater(&Skater::new("No", AgeGroup::U13))
        .unwrap();
    let mut store = Store::open(dir.path()).unwrap();
    let s = store.begin_session(&session()).unwrap();
    for (n, skater) in [(1, Some(yes.id)), (2, Some(no)), (3, None)] {
        store.write_pass(&s, &whole(n, skater)).unwrap();
    }
    let strips = || -> Vec<usize> {
        let back = archive.load_session(s.number()).unwrap();
        back.passes.iter().map(|p| p.strips.len()).collect()
    };
    assert_eq!((strips(), pictures(dir.path())), (vec![2, 0, 0], 2));

    // The same for pictures that come after their pass.
    store.write_pass(&s, &(pass(4), cue(4)).into()).unwrap();
    archive
        .set_skater_of_pass(key(s.number(), 4), Some(yes.id))
        .unwrap();
    for n in [2, 4, 77] {
        store
            .write_strips(&s, n, &[strip(0, RuleId::KneeBend)])
            .unwrap();
    }
    assert_eq!((strips(), pictures(dir.path())), (vec![2, 0, 0, 1], 3));

    // The pass was another one's: the pictures are of somebody who did not
    // agree.
    archive
        .set_skater_of_pass(key(s.number(), 4), Some(no))
        .unwrap();
    assert_eq!((strips(), pictures(dir.path())), (vec![2, 0, 0, 0], 2));
    archive
        .set_skater_of_pass(key(s.number(), 1), Some(yes.id))
        .unwrap();
    assert_eq!(strips()[0], 2, "it stays with one who did");

    yes.consent = None;
    archive.change_skater(&yes).unwrap();
    assert_eq!((strips(), pictures(dir.path())), (vec![0; 4], 0));
}

#[test]
fn the_oldest_pictures_go_first_and_measures_stay() {
    let dir = tempfile::tempdir().unwrap();
    let archive = Archive::open(dir.path()).unwrap();
    let id = archive.add_skater(&robin()).unwrap();
    let mut store = Store::open(dir.path()).unwrap();
    let s = store.begin_session(&session()).unwrap();
    for n in 1..=4 {
        store.write_pass(&s, &whole(n, Some(id))).unwrap();
    }
    let one = archive.load_session(s.number()).unwrap().passes[0].strips[0].bytes;
    let keep = |strips: u64, free: u64| Retention {
        keep_days: 30,
        keep_bytes: strips * one,
        free_bytes: free,
    };
    let used = archive.usage().unwrap();
    assert_eq!((used.strips, used.picture_bytes), (8, 8 * one));
    assert!(used.database_bytes > 0 && used.passes == 4);

    let nothing = archive.prune(&keep(8, 0), 0).unwrap();
    assert_eq!((nothing.bytes, nothing.still_full), (0, false));
    let pruned = archive.prune(&keep(5, 0), 0).unwrap();
    assert_eq!((pruned.too_many, pruned.bytes), (3, 3 * one));
    let left = |n: usize| {
        archive.load_session(s.number()).unwrap().passes[n]
            .strips
            .len()
    };
    assert_eq!([left(0), left(1), left(2), left(3)], [0, 1, 2, 2]);
    // One is missing on the disk: one goes.
    let pruned = archive.prune(&keep(8, 10 * one), 9 * one).unwrap();
    assert_eq!((pruned.disk_full, pruned.still_full), (1, false));
    let pruned = archive.prune(&keep(8, 100 * one), 0).unwrap();
    assert_eq!((pruned.disk_full, pruned.still_full), (4, true));
    assert_eq!(pictures(dir.path()), 0);
    let back = archive.load_session(s.number()).unwrap();
    assert_eq!(back.passes.len(), 4);
    assert!(back.passes.iter().all(|p| p.has_points));
}

#[test]
fn files_that_belong_to_nothing_are_swept_when_they_are_old() {
    let dir = tempfile::tempdir().unwrap();
    let archive = Archive::open(dir.path()).unwrap();
    let folder = dir.path().join(PICTURES_FOLDER);
    std::fs::create_dir(&folder).unwrap();
    let keep = Retention {
        keep_days: 30,
        keep_bytes: u64::MAX,
        free_bytes: 0,
    };
    for (name, seconds) in [("new.mjpeg", 0), ("old.mjpeg", 3600), (".half.tmp", 3600)] {
        let file = std::fs::File::create(folder.join(name)).unwrap();
        let then = std::time::SystemTime::now() - std::time::Duration::from_secs(seconds);
        file.set_modified(then).unwrap();
    }
    assert_eq!(archive.prune(&keep, 0).unwrap().left_over, 2);
    assert!(folder.join("new.mjpeg").exists());
}

#[test]
fn an_archive_notices_that_its_file_is_another_one() {
    let dir = tempfile::tempdir().unwrap();
    let archive = Archive::open(dir.path()).unwrap();
    assert!(archive.is_current());
    std::fs::remove_file(archive.file()).unwrap();
    assert!(!archive.is_current());
    let said = archive.add_skater(&robin());
    assert!(matches!(said, Err(StoreError::Gone { .. })), "{said:?}");
}

#[test]
fn names_that_hide_something_and_consents_of_tomorrow_are_refused_at_every_door() {
    let dir = tempfile::tempdir().unwrap();
    let archive = Archive::open(dir.path()).unwrap();
    let id = archive.add_skater(&robin()).unwrap();
    for name in ["Ro\u{202e}bin", "Robin\u{200b}", "Ro\nbin", "\u{2066}Robin"] {
        let said = archive
            .add_skater(&Skater::new(name, AgeGroup::U9))
            .unwrap_err();
        assert!(matches!(said, StoreError::NotAllowed(_)), "{said:?}");
    }
    // Letters of every script are names, joiners included.
    for name in ["נועה לוי", "علی\u{200c}رضا", "佐藤", "Zoë 🏒"] {
        archive
            .add_skater(&Skater::new(name, AgeGroup::U9))
            .unwrap();
    }
    let tomorrow = jiff::Zoned::now().date().tomorrow().unwrap();
    let early = Skater {
        id,
        consent: Some(Consent {
            given_on: tomorrow,
            given_by: "Kim".into(),
        }),
        ..robin()
    };
    let said = archive.change_skater(&early).unwrap_err().to_string();
    assert!(said.contains(&tomorrow.to_string()), "{said}");
    assert_eq!(archive.skaters().unwrap().len(), 5);
}

#[test]
fn what_a_deletion_takes_is_counted_before_and_comments_go_as_asked() {
    for go in [MentionsGo::Keep, MentionsGo::Strike, MentionsGo::Delete] {
        let dir = tempfile::tempdir().unwrap();
        let archive = Archive::open(dir.path()).unwrap();
        let mut named = robin();
        named.name = "Zoë Vossberg".into();
        let id = archive.add_skater(&named).unwrap();
        let mut store = Store::open(dir.path()).unwrap();
        let s = store.begin_session(&session()).unwrap();
        for (number, skater) in [(1, Some(id)), (2, Some(id)), (3, None)] {
            store.write_pass(&s, &whole(number, skater)).unwrap();
        }
        let push = |number, position| PushKey {
            pass: key(s.number(), number),
            position,
        };
        archive.set_comment(&push(1, 0), "own").unwrap();
        archive.set_comment(&push(3, 0), "as ZOE did").unwrap();
        archive.set_comment(&push(3, 1), "Vossbergs").unwrap();
        let mentions = archive.mentions_of(id).unwrap();
        assert_eq!(mentions.len(), 1);
        assert_eq!(
            (mentions[0].push, mentions[0].without.as_str()),
            (push(3, 0), "as [deleted] did")
        );
        let would = archive.would_erase(id).unwrap();
        assert_eq!(
            (would.passes, would.strips, would.comments, would.mentions),
            (2, 4, 1, 1)
        );
        let erased = archive.delete_skater_and(id, go).unwrap();
        assert_eq!(
            (erased.passes, erased.strips, erased.mentions),
            (would.passes, would.strips, would.mentions)
        );
        let left = archive.load_session(s.number()).unwrap().passes;
        let wanted = match go {
            MentionsGo::Keep => "as ZOE did",
            MentionsGo::Strike => "as [deleted] did",
            MentionsGo::Delete => "",
        };
        let comments: Vec<&str> = left[0].notes.iter().map(|n| n.comment.as_str()).collect();
        assert_eq!(comments, [wanted, "Vossbergs", ""]);
    }
}
