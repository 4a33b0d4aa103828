//! Passes, pushes and progress.

use std::sync::Arc;

use egui_kittest::kittest::{NodeT, Queryable};
use kickplate::panel::{Command, PageId, PanelView};
use kickplate::roster::SkaterId;
use kickplate::rules::RuleId;
use kickplate::store::{PushKey, Verdict};

use super::{Coach, rich, with_push};
use crate::coach_common::{pass_key, progress};

const FIRST: &str = "Pass 12, push 1, Kim, left, Knee bend 141°";

fn first_key() -> PushKey {
    PushKey {
        pass: pass_key(12),
        position: 0,
    }
}

fn listed(coach: &Coach) -> Vec<String> {
    let rows = coach.h.query_all_by_label_contains("Pass ");
    rows.map(|n| format!("{n:?}")).collect()
}

#[test]
fn sessions_are_leafed_through() {
    let mut view = rich();
    let mut coach = Coach::at(PageId::Passes, view.clone());
    assert!(coach.shows("Session 2, 2026-11-25 18:02"));
    // The older one has the number 1; there is no newer one than 2.
    assert!(coach.find("Evening after").is_none());
    assert_eq!(coach.gives("Evening before"), [Command::OpenSession(1)]);
    view.session = Some(1);
    let mut coach = Coach::at(PageId::Passes, view);
    assert_eq!(coach.gives("Evening after"), [Command::OpenSession(2)]);
}

#[test]
fn pushes_are_filtered() {
    let mut coach = Coach::at(PageId::Passes, rich());
    assert!(coach.shows("Page 1 of ") && coach.shows("Every push is shown."));
    coach.press("Filter");
    coach.press("Flagged");
    coach.press("Knee bend");
    coach.press("right");
    assert!(
        listed(&coach)
            .iter()
            .all(|r| r.contains("Knee bend") && r.contains("right"))
    );
    coach.press("Starred");
    let rows = listed(&coach);
    assert!(!rows.is_empty() && rows.iter().all(|r| r.contains("starred")));
    coach.press("left");
    coach.press("Skater: Everybody");
    coach.press("4 Robin");
    assert!(coach.shows("No push fits the filter."));
    coach.press("Close");
    assert!(coach.shows("Only: 4 Robin, left, Knee bend, Flagged, Starred"));
}

#[test]
fn a_push_is_opened_and_seen_slowly() {
    let mut coach = Coach::at(PageId::Passes, rich());
    assert_eq!(
        coach.gives(FIRST),
        [Command::OpenPush {
            push: first_key(),
            rule: None
        }]
    );
    assert!(coach.shows("It is being fetched."));
    coach.h.state_mut().view = with_push(rich(), first_key());
    coach.h.run();
    // It starts at the flagged instant.
    assert!(coach.shows("Picture 5 of 9, 0 ms from the instant"));
    coach.press("Step on");
    assert!(coach.shows("Picture 6 of 9, 80 ms"));
    coach.press("Step back");
    coach.press("Step back");
    assert!(coach.shows("Picture 4 of 9, -80 ms"));
    coach.thing("Play slowly").click();
    // Four times slower: 80 ms between pictures are 320 ms here, and a step
    // of the harness is a twentieth of a second: two seconds in all.
    let mut seen = std::collections::BTreeSet::new();
    for _ in 0..40 {
        coach.h.step();
        let shown = (1..=9).find(|n| coach.shows(&format!("Picture {n} of 9")));
        seen.insert(shown.unwrap());
    }
    assert!(coach.find("Pause").is_some());
    assert!((5..=7).contains(&seen.len()), "{seen:?}");
    coach.thing("Pause").click();
    coach.h.run();
    coach.press("To the instant");
    assert!(coach.shows("Picture 5 of 9"));
    assert!(coach.shows("Dashed: at most 125°."));
    coach.press("Back to the list");
    assert!(coach.shows("Page 1 of "));
}

#[test]
fn a_push_gets_verdict_star_and_comment() {
    let mut coach = Coach::at(PageId::Passes, with_push(rich(), first_key()));
    coach.press(FIRST);
    let verdict = |verdict| Command::SetVerdict {
        push: first_key(),
        rule: RuleId::KneeBend,
        verdict,
    };
    assert_eq!(
        coach.gives("Agree: Knee bend"),
        [verdict(Some(Verdict::Confirmed))]
    );
    assert_eq!(
        coach.gives("Dismiss: Knee bend"),
        [verdict(Some(Verdict::Dismissed))]
    );
    assert_eq!(
        coach.gives("Starred"),
        [Command::SetStarred(first_key(), true)]
    );
    assert!(coach.find("Save comment").is_none());
    coach.write("Comment", "Kept the head up.");
    assert_eq!(
        coach.gives("Save comment"),
        [Command::SetComment(
            first_key(),
            "Kept the head up.".to_owned()
        )]
    );
    // What was not judged says why.
    assert!(coach.shows("not judged (The far leg is partly hidden)"));
}

#[test]
fn a_push_without_pictures_or_points_says_why() {
    let mut view = with_push(rich(), first_key());
    let push = Arc::make_mut(view.push.as_mut().unwrap());
    push.pictures.clear();
    push.curve.clear();
    let mut coach = Coach::at(PageId::Passes, view);
    coach.press(FIRST);
    assert!(coach.shows("the skater has no consent on the roster"));
    assert!(coach.shows("so there is no curve"));
}

#[test]
fn another_rule_of_the_push_is_shown() {
    let mut coach = Coach::at(PageId::Passes, rich());
    coach.press("Pass 12, push 2, Kim, right, Leg extension 137°, Trunk lean 78°");
    let push = PushKey {
        pass: pass_key(12),
        position: 1,
    };
    assert_eq!(
        coach.gives("Show: Trunk lean"),
        [Command::OpenPush {
            push,
            rule: Some(RuleId::TrunkLean)
        }]
    );
}

#[test]
fn agreement_is_counted_by_rule() {
    let mut coach = Coach::at(PageId::Passes, rich());
    assert!(coach.shows("Knee bend: 21 of 24") && coach.shows("Trunk lean: 4 of 10"));
    coach.change(|v| v.agreement = Default::default());
    assert!(coach.shows("this says which rule to trust"));
}

#[test]
fn without_a_session_the_page_says_where_passes_come_from() {
    let mut coach = Coach::at(PageId::Passes, PanelView::default());
    assert!(coach.shows("passes come by themselves"));
    coach.press("Go to Now");
    assert!(coach.shows("No pass can be seen without a camera."));
}

#[test]
fn progress_is_of_one_skater_alone() {
    let mut coach = Coach::at(PageId::Progress, rich());
    // Before anybody is chosen the whole group stands there.
    assert!(coach.shows("Who needs what, in this session"));
    coach.press("Choose a skater");
    assert_eq!(
        coach.gives("13 Alexis"),
        [Command::OpenProgress(SkaterId(4))]
    );
    assert!(coach.shows("It is being fetched."));
    // What belongs to somebody else is not shown under this name.
    coach.change(|v| v.progress = Some(Arc::new(progress(SkaterId(1)))));
    assert!(coach.shows("It is being fetched."));
    coach.change(|v| v.progress = Some(Arc::new(progress(SkaterId(4)))));
    assert!(coach.shows("at most 125°."));
    for other in ["Robin", "Sascha", "Kim"] {
        assert!(!coach.shows(other), "{other}");
    }
    coach.change(|v| Arc::make_mut(v.progress.as_mut().unwrap()).series.clear());
    assert!(coach.shows("Nothing of this skater was judged yet."));
}

/// Curve and picture are one thing: a finger on the curve brings the picture there.
#[test]
fn a_finger_on_the_curve_moves_the_picture() {
    let mut coach = Coach::at(PageId::Passes, with_push(rich(), first_key()));
    coach.press(FIRST);
    assert!(coach.shows("Picture 5 of 9"));
    let curve = coach
        .h
        .query_all_by_label("Knee angle over the push")
        .find(|n| n.accesskit_node().role() == egui::accesskit::Role::Image)
        .unwrap()
        .rect();
    for (share, picture) in [(0.98, 9), (0.55, 5), (0.12, 1)] {
        let at = curve.left() + share * curve.width();
        coach.h.drag_at(egui::pos2(at, curve.center().y));
        coach.h.step();
        coach.h.drop_at(egui::pos2(at, curve.center().y));
        coach.h.run();
        assert!(coach.shows(&format!("Picture {picture} of 9")), "{share}");
    }
}

/// Who needs what, for the whole group: by the share of pushes, dismissed flags apart.
#[test]
fn the_group_is_one_table_in_the_order_of_the_roster() {
    let mut view = rich();
    {
        let passes = Arc::make_mut(&mut view.passes);
        passes.truncate(2);
        for pass in passes.iter_mut() {
            pass.skater = Some(SkaterId(4));
        }
        passes[1].skater = Some(SkaterId(2));
        // Of pass 12 every flag but one is dismissed.
        let mut first = true;
        for push in &mut passes[0].pushes {
            for flag in push.judged.flags.clone() {
                if flag.rule != RuleId::KneeBend || !std::mem::take(&mut first) {
                    push.note.verdicts.insert(flag.rule, Verdict::Dismissed);
                }
            }
        }
    }
    let judged = |rule: RuleId| {
        let pushes = &view.passes[0].pushes;
        let measures = pushes.iter().map(|p| &p.judged.measures[rule]);
        measures.filter(|m| m.is_judged()).count()
    };
    let said = format!("Knee bend: 1 of {} pushes", judged(RuleId::KneeBend));
    let mut coach = Coach::at(PageId::Progress, view);
    assert!(coach.shows(&said), "{said}");
    let top = |name: &str| coach.thing(name).rect().top();
    assert!(top("7 Sascha") < top("13 Alexis"));
    assert!(coach.shows("No pass yet: "));
    assert_eq!(
        coach.gives("13 Alexis"),
        [Command::OpenProgress(SkaterId(4))]
    );
    coach.press("Whole group");
    assert!(coach.shows(&said));
}
