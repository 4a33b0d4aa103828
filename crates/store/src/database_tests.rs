//! A full disk, and files of earlier versions.

use super::*;
use proptest::prelude::*;

use crate::feedback::Cue;
use crate::rules::{AgeGroup, Leg, Measure};
use crate::rules::{JudgedPass, JudgedPush, NotJudged, QuantityId, QuantityMap, RuleId, RuleMap};
use crate::samples::{self, session};
use crate::schema::{BACK_TO_2, BACK_TO_3, BACK_TO_4};

/// A pass that takes its room on the disk.
fn pass(number: u32) -> (JudgedPass, Cue) {
    let long = || Measure::judged(1.0, 1.0, "long words ".repeat(50));
    let push = JudgedPush {
        quality: None,
        leg: Leg::Left,
        near_leg: None,
        push_start_s: 0.0,
        toe_off_s: 0.5,
        measures: RuleMap::from_fn(|_| long()),
        flags: Vec::new(),
    };
    let (bare, cue) = samples::pass(number);
    let pass = JudgedPass {
        pushes: vec![push; 4],
        quantities: QuantityMap::from_fn(|_| long()),
        ..bare
    };
    (pass, cue)
}

/// SQLite's page limit answers with the same code as a full disk
/// (SQLITE_FULL, sqlite.org/rescode.html).
#[test]
fn a_full_disk_refuses_a_whole_pass_and_takes_it_later() {
    let dir = tempfile::tempdir().unwrap();
    let mut store = Store::open(dir.path()).unwrap();
    let id = store.begin_session(&session()).unwrap();
    let limit = |store: &Store, pages: u32| {
        let set: u32 = store
            .book
            .connection
            .query_row(&format!("PRAGMA max_page_count = {pages}"), [], |r| {
                r.get(0)
            })
            .unwrap();
        set
    };
    limit(&store, 30);
    let mut written = 0;
    let refused = loop {
        let (pass, cue) = pass(written + 1);
        match store.write_pass(&id, &(pass, cue).into()) {
            Ok(()) => written += 1,
            Err(e) => break e,
        }
        assert!(written < 100, "the limit never came");
    };
    assert!(matches!(refused, StoreError::Full { .. }), "{refused}");
    assert!(!refused.is_permanent());
    let stored = |store: &Store| store.load_session(id.row).unwrap().passes;
    assert_eq!(stored(&store).len(), written as usize);

    limit(&store, 10_000);
    let (last, cue) = pass(written + 1);
    store.write_pass(&id, &(last, cue).into()).unwrap();
    let back = stored(&store);
    assert_eq!(back.len(), written as usize + 1);
    assert!(back.iter().all(|p| p.pass.pushes == pass(1).0.pushes));
}

#[test]
fn a_file_from_before_the_quantities_is_brought_up_and_says_so() {
    let dir = tempfile::tempdir().unwrap();
    let id = {
        let mut store = Store::open(dir.path()).unwrap();
        let id = store.begin_session(&session()).unwrap();
        let (pass, cue) = pass(1);
        store.write_pass(&id, &(pass, cue).into()).unwrap();
        // back to how the first version left it
        store
            .book
            .connection
            .execute_batch(&format!(
                "{BACK_TO_4}; {BACK_TO_2}; DROP TABLE pass_measures; PRAGMA user_version = 1;"
            ))
            .unwrap();
        id
    };
    let mut store = Store::open(dir.path()).unwrap();
    let old = store.load_session(id.row).unwrap().passes[0].pass.clone();
    assert_eq!(old.pushes, pass(1).0.pushes);
    let missing = Measure::not_judged(NotJudged::NotInRecording);
    assert!(old.quantities.values().all(|q| *q == missing));
    let copy = dir.path().join(format!("{SESSIONS_FILE}.before-version-2"));
    assert!(copy.exists());

    let (mut new, cue) = pass(2);
    new.quantities[QuantityId::StrideRate] = Measure::judged(2.5, 0.05, "mean of 4 steps");
    store.write_pass(&id, &(new.clone(), cue).into()).unwrap();
    assert_eq!(store.load_session(id.row).unwrap().passes[1].pass, new);
}

#[test]
fn a_file_from_before_the_roster_keeps_its_passes_and_takes_skaters() {
    use crate::roster::Skater;
    use crate::{Archive, PassKey, StoredPass};
    let dir = tempfile::tempdir().unwrap();
    let (session, written) = {
        let mut store = Store::open(dir.path()).unwrap();
        let id = store.begin_session(&session()).unwrap();
        for n in 1..=3 {
            store.write_pass(&id, &pass(n).into()).unwrap();
        }
        store.end_session(&id).unwrap();
        let written = store.load_session(id.row).unwrap();
        store
            .book
            .connection
            .execute_batch(&format!("{BACK_TO_4} {BACK_TO_2}"))
            .unwrap();
        (id.row, written)
    };
    // The archive may be the first to open an old file.
    let archive = Archive::open(dir.path()).unwrap();
    let back = archive.load_session(session).unwrap();
    assert_eq!(back, written);
    assert_eq!(back.passes[2], StoredPass::bare(pass(3).0, pass(3).1));
    let copy = dir.path().join(format!("{SESSIONS_FILE}.before-version-3"));
    assert!(copy.exists());
    let id = archive
        .add_skater(&Skater::new("Robin", AgeGroup::U9))
        .unwrap();
    let key = PassKey { session, number: 2 };
    archive.set_skater_of_pass(key, Some(id)).unwrap();
    let store = Store::open(dir.path()).unwrap();
    assert_eq!(
        store.load_session(session).unwrap().passes[1].skater,
        Some(id)
    );
}

/// A number of any kind, or none.
fn any_value() -> impl Strategy<Value = Option<f64>> {
    prop::option::of(prop_oneof![4 => -500.0..500.0, 1 => any::<f64>()])
}

fn any_measure() -> impl Strategy<Value = Measure> {
    (any_value(), any_value(), any::<bool>()).prop_map(|(value, uncertainty, judged)| Measure {
        value,
        uncertainty,
        random: None,
        set_up: None,
        praise_not: None,
        not_judged: (!judged).then_some(NotJudged::TooSmall),
        how: if judged {
            "as it was".to_owned()
        } else {
            String::new()
        },
    })
}

/// A pass with any times, pushes and values.
fn any_pass() -> impl Strategy<Value = JudgedPass> {
    let measures = prop::collection::vec(any_measure(), RuleId::ALL.len())
        .prop_map(|m| RuleMap::from_fn(|rule| m[rule as usize].clone()));
    let push = (any::<bool>(), any::<f64>(), any::<f64>(), measures).prop_map(|(left, a, b, m)| {
        JudgedPush {
            quality: None,
            leg: if left { Leg::Left } else { Leg::Right },
            near_leg: None,
            push_start_s: a,
            toe_off_s: b,
            measures: m,
            flags: Vec::new(),
        }
    });
    let pushes = prop::collection::vec(push, 0..4);
    let quantities = prop::collection::vec(any_measure(), QuantityId::ALL.len())
        .prop_map(|m| QuantityMap::from_fn(|q: QuantityId| m[q as usize].clone()));
    (any_value(), any_value(), pushes, quantities).prop_map(|(start, end, pushes, q)| JudgedPass {
        started_at_s: start.unwrap_or(0.0),
        ended_at_s: end.unwrap_or(1.0),
        pushes,
        quantities: q,
        ..pass(1).0
    })
}

proptest! {
    #![proptest_config(kickplate_testing::cases(24, None))]

    /// Whatever an old file holds, in whatever order it was written: what
    /// was in it before a newer program is in it after.
    #[test]
    fn any_passes_come_through_the_migrations(
        from in 1usize..=3,
        passes in prop::collection::hash_map(1u32..1000, any_pass(), 0..5),
    ) {
        let dir = tempfile::tempdir().unwrap();
        let mut store = Store::open(dir.path()).unwrap();
        let id = store.begin_session(&session()).unwrap();
        for (number, judged) in &passes {
            let cue = Cue { pass_number: *number, ..pass(1).1 };
            store.write_pass(&id, &(judged.clone(), cue).into()).unwrap();
        }
        let mut written = store.load_session(id.row).unwrap();
        let back = match from {
            3 => format!("{BACK_TO_4} {BACK_TO_3}"),
            2 => format!("{BACK_TO_4} {BACK_TO_2}"),
            _ => format!("{BACK_TO_4} {BACK_TO_2}; DROP TABLE pass_measures; PRAGMA user_version = 1;"),
        };
        store.book.connection.execute_batch(&back).unwrap();
        drop(store);

        let store = Store::open(dir.path()).unwrap();
        let read = store.load_session(id.row).unwrap();
        prop_assert_eq!(read.passes.len(), passes.len());
        for (was, is) in written.passes.iter_mut().zip(&read.passes) {
            if from == 1 {
                // It had no quantities of a pass.
                prop_assert!(is.pass.quantities.values().all(|q| !q.is_judged()));
                was.pass.quantities.clone_from(&is.pass.quantities);
            }
            prop_assert_eq!(&*was, is);
        }
    }
}
