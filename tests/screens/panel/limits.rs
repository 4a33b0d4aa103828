//! Limits of groups and of one skater.

use std::sync::Arc;

use egui::{Key, vec2};
use kickplate::panel::{Command, Effect, LimitEdit, PageId};
use kickplate::roster::SkaterId;
use kickplate::rules::{AgeGroup, AgeGroups, Limits, RULES, RuleId};

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
