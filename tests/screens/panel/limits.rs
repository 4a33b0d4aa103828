//! Limits of groups and of one skater.

use std::sync::Arc;

use egui::{Key, vec2};
use egui_kittest::kittest::{NodeT, Queryable};
use kickplate::calibration::{Checked, Found};
use kickplate::panel::{CheckEnded, Command, Effect, LimitEdit, PageId};
use kickplate::roster::SkaterId;
use kickplate::ruler::Difference;
use kickplate::rules::{AgeGroup, AgeGroups, Limits, RULES, RuleId, Surety};

use super::{Coach, rich};

fn knee(group: AgeGroup, change: impl FnOnce(&mut Limits)) -> LimitEdit {
    let mut limits = AgeGroups::defaults().thresholds(group).limits[RuleId::KneeBend];
    change(&mut limits);
    LimitEdit {
        group,
        rule: RuleId::KneeBend,
        limits,
    }
}

#[test]
fn a_limit_is_moved_its_effect_is_shown_and_it_is_used() {
    let mut coach = Coach::at(PageId::Limits, rich());
    assert!(coach.shows("In use: at most 125°."));
    assert!(coach.find("Use this limit").is_none());
    let edit = knee(AgeGroup::U13, |l| l.at_most = Some(124.0));
    assert_eq!(
        coach.gives("At most: less"),
        [Command::PreviewLimits(edit.clone())]
    );
    assert!(coach.shows("Looking at the last pushes."));
    coach.change(|v| {
        v.effect = Some(Effect {
            edit: edit.clone(),
            pushes: 30,
            flagged: 7,
            flagged_now: 6,
        });
    });
    assert!(
        coach
            .shows("With this limit 7 of the last 30 pushes would have been flagged; now it is 6.")
    );
    assert_eq!(coach.gives("Use this limit"), [Command::SetLimits(edit)]);
    // What was asked about other limits is not shown for these.
    coach.press("At most: less");
    assert!(!coach.shows("7 of the last 30"));
    coach.press("Put it back");
    assert!(coach.shows("In use: at most 125°."));
}

#[test]
fn the_slider_goes_by_arrows_and_by_a_finger_and_stays_in_its_range() {
    let mut coach = Coach::at(PageId::Limits, rich());
    coach.thing("At most").focus();
    coach.h.run();
    coach.key(Key::ArrowRight);
    assert_eq!(
        coach.taken(),
        [Command::PreviewLimits(
            knee(AgeGroup::U13, |l| l.at_most = Some(126.0))
        )]
    );
    // One settled value at the end of a drag, and none on the way.
    coach.drag("At most", vec2(4000.0, 0.0));
    assert_eq!(
        coach.taken(),
        [Command::PreviewLimits(
            knee(AgeGroup::U13, |l| l.at_most = Some(170.0))
        )]
    );
    assert_eq!(coach.gives("At most: more"), []);
}

#[test]
fn the_two_limits_of_a_band_do_not_meet() {
    let mut coach = Coach::at(PageId::Limits, rich());
    coach.press("Trunk lean");
    coach.drag("At least", vec2(4000.0, 0.0));
    let given = coach.taken();
    let [Command::PreviewLimits(edit)] = &given[..] else {
        panic!("{given:?}");
    };
    assert!(edit.limits.at_least.unwrap() < edit.limits.at_most.unwrap());
}

#[test]
fn dead_band_and_silence_are_part_of_a_limit() {
    let mut coach = Coach::at(PageId::Limits, rich());
    // One step of half a degree above where it stands.
    let edit = knee(AgeGroup::U13, |l| l.dead_band += 0.5);
    assert_eq!(
        coach.gives("Leave alone at least this much beyond it: more"),
        [Command::PreviewLimits(edit)]
    );
    let edit = knee(AgeGroup::U13, |l| {
        l.dead_band += 0.5;
        l.flagged = false;
    });
    assert_eq!(
        coach.gives("Say it to the skater"),
        [Command::PreviewLimits(edit)]
    );
}

/// Made from the rules: every group, every rule, with its own limits.
#[test]
fn every_group_and_rule_is_there() {
    let mut coach = Coach::at(PageId::Limits, rich());
    for group in AgeGroup::ALL {
        let name = if group == AgeGroup::Adult {
            "Adult"
        } else {
            group.name()
        };
        coach.press(name);
        for (rule, word) in RULES.iter().zip([
            "Knee bend",
            "Leg extension",
            "Heels together",
            "Arm swing",
            "Trunk lean",
            "Toe direction",
        ]) {
            coach.press(word);
            let given = coach.gives("Say it to the skater");
            let [Command::PreviewLimits(edit)] = &given[..] else {
                panic!("{given:?}");
            };
            let mut limits = rule.defaults[group as usize];
            limits.flagged = !limits.flagged;
            assert_eq!((edit.group, edit.rule), (group, rule.id));
            assert_eq!(edit.limits, limits);
        }
    }
}

#[test]
fn limits_are_reset_copied_and_taken_back() {
    let mut coach = Coach::at(PageId::Limits, rich());
    let group = AgeGroup::U13;
    assert_eq!(
        coach.gives("Reset this rule"),
        [Command::ResetLimits {
            group,
            rule: Some(RuleId::KneeBend)
        }]
    );
    // A whole group takes two steps.
    assert_eq!(coach.gives("Reset the group"), []);
    assert_eq!(
        coach.gives("Reset all"),
        [Command::ResetLimits { group, rule: None }]
    );
    assert_eq!(coach.gives("Copy from a group"), []);
    assert!(coach.shows("All limits of U13 are replaced"));
    assert_eq!(
        coach.gives("From U15"),
        [Command::CopyLimits {
            from: AgeGroup::U15,
            to: group
        }]
    );
    assert_eq!(coach.gives("Undo the last change"), [Command::UndoLimits]);
    coach.change(|v| v.can_undo_limits = false);
    assert!(coach.find("Undo the last change").is_none());
}

#[test]
fn the_group_the_rest_is_judged_as() {
    let mut coach = Coach::at(PageId::Limits, rich());
    assert!(coach.shows("Skaters without a group are judged as this one."));
    coach.press("U15");
    assert_eq!(
        coach.gives("Judge skaters without a group as this"),
        [Command::UseAgeGroup(AgeGroup::U15)]
    );
}

#[test]
fn one_skater_gets_limits_of_their_own() {
    let mut coach = Coach::at(PageId::Limits, rich());
    coach.press("For one skater");
    coach.press("13 Alexis");
    assert!(coach.shows("Limits of 13 Alexis"));
    // Alexis is in U15.
    coach.press("At most: less");
    let edit = knee(AgeGroup::U15, |l| l.at_most = Some(119.0));
    let skater = SkaterId(4);
    assert_eq!(
        coach.gives("Use this limit"),
        [Command::OverrideLimits {
            skater,
            rule: RuleId::KneeBend,
            limits: Some(edit.limits)
        }]
    );
    assert!(coach.find("Take the own limit off").is_none());
    coach.change(|v| {
        let alexis = &mut Arc::make_mut(&mut v.roster)[3];
        alexis.overrides.insert(RuleId::KneeBend, edit.limits);
    });
    assert!(coach.shows("In use: at most 119°."));
    assert_eq!(
        coach.gives("Take the own limit off"),
        [Command::OverrideLimits {
            skater,
            rule: RuleId::KneeBend,
            limits: None
        }]
    );
    coach.press("Back to the group");
    assert!(coach.shows("In use: at most 125°."));
}

/// How sure it has to be is chosen for all groups, and the page says what it means for the lane
/// in use: before a check, after it, and when one counts no more.
#[test]
fn the_surety_is_chosen_and_what_it_means_is_said() {
    let mut coach = Coach::at(PageId::Limits, rich());
    assert!(coach.shows("How sure, before a push is flagged"));
    assert_eq!(coach.gives("90 %"), [], "it is in use");
    assert_eq!(coach.gives("95 %"), [Command::SetSurety(Surety::VerySure)]);
    assert_eq!(coach.gives("80 %"), [Command::SetSurety(Surety::Likely)]);

    let margin = |coach: &Coach| -> f64 {
        let mut said = coach
            .h
            .query_all_by_label_contains("beyond the limit, or when the pushes of its leg");
        let node = said.next().unwrap();
        let node = node.accesskit_node();
        let said = node.label().or_else(|| node.value()).unwrap();
        let after = said.split("more than ").nth(1).unwrap();
        after.split('°').next().unwrap().parse().unwrap()
    };
    assert!(coach.shows("Not checked at this rink: a push is flagged only when it is more than"));
    let before = margin(&coach);
    assert!(
        (8.0..9.0).contains(&before),
        "{before}: 1.28 of 6.9 degrees"
    );
    coach.change(|v| {
        v.groups = Arc::new(AgeGroups::from_toml("surety_percent = 80", "a").unwrap());
    });
    // Less than the dead-band it never is.
    let least = AgeGroups::defaults().thresholds(AgeGroup::U13).limits[RuleId::KneeBend].dead_band;
    let expected = (before * 0.8416 / 1.2816).max(least);
    assert!((margin(&coach) - expected).abs() < 0.1 && expected < before);
    coach.change(|v| {
        v.check_ended = Some(CheckEnded::MadeWithAnother(
            jiff::civil::date(2026, 11, 30),
            Difference::Lane,
        ));
    });
    assert!(coach.shows("The check of 2026-11-30 was made with another lane and counts no more."));
    coach.change(|v| {
        v.groups = Arc::new(AgeGroups::defaults());
        v.check_ended = None;
        for entry in Arc::make_mut(&mut v.lanes).iter_mut().filter(|l| l.in_use) {
            entry.lane.as_mut().unwrap().checked = Some(Checked {
                date: Some(jiff::civil::date(2026, 11, 30)),
                persons: 4,
                model: kickplate::body::ModelKind::Heavy,
                knee: Some(Found {
                    offset: 9.0,
                    offset_error: 1.0,
                    slope: 0.0,
                    slope_error: 0.0,
                    centre: 130.0,
                    low: 100.0,
                    high: 178.0,
                    between: 1.0,
                    persons: 4,
                }),
                extension: None,
                heel_gap: None,
                trunk: None,
            });
        }
    });
    assert!(coach.shows("Checked at this rink on 2026-11-30, persons: 4."));
    let after = margin(&coach);
    // 1, 1, 2 for who moves and 4.5 from push to push: 5.1, and 1.28 of it.
    assert!((after - 6.6).abs() < 0.3, "{after} after {before}");
}
