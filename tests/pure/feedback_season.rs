//! The coach over hundreds of passes of simulated skaters: what it promises
//! must hold whoever skates.

#![allow(clippy::unwrap_used, reason = "a test may end at once")]

use kickplate::config::View;
use kickplate::feedback::{Cue, CueKind, CueSelector, FeedbackSettings, Good, UnfedReason};
use kickplate::multi_camera::with_thresholds;
use kickplate::rules::{
    AgeGroup, Flag, JudgedPass, JudgedPush, Leg, Measure, NotJudged, QuantityMap, RuleId, RuleMap,
    Thresholds,
};
use proptest::prelude::*;

const KNEE: RuleId = RuleId::KneeBend;
const EXTENSION: RuleId = RuleId::Extension;
const TRUNK: RuleId = RuleId::TrunkLean;

/// A pass of four pushes with the given values of the rules, flagged as the
/// rules flag: beyond the limit by more than the dead-band.
fn pass(group: AgeGroup, values: &[(RuleId, [f64; 4])]) -> JudgedPass {
    let thresholds = Thresholds::defaults(group);
    let pushes = (0..4)
        .map(|n| {
            let mut measures =
                RuleMap::from_fn(|_: RuleId| Measure::not_judged(NotJudged::NotFromSide));
            let mut flags = vec![];
            for &(rule, values) in values {
                measures[rule] = Measure::judged(values[n], 1.0, "");
                let limits = &thresholds.limits[rule];
                if limits.flagged
                    && let Some(limit) = limits.beyond(values[n])
                {
                    flags.push(Flag {
                        rule,
                        value: values[n],
                        limit,
                    });
                }
            }
            JudgedPush {
                quality: None,
                leg: [Leg::Left, Leg::Right][n % 2],
                near_leg: None,
                push_start_s: n as f64,
                toe_off_s: n as f64 + 0.3,
                measures,
                flags,
            }
        })
        .collect();
    JudgedPass {
        track_id: 1,
        started_at_s: 0.0,
        ended_at_s: 4.0,
        speed_mps: 5.0,
        view: View::Side,
        thresholds,
        pushes,
        quantities: QuantityMap::from_fn(|_| Measure::not_judged(NotJudged::Other)),
    }
}

/// A pass with the same knee angle in every push, everything else good.
fn knee(group: AgeGroup, deg: f64) -> JudgedPass {
    let limits = Thresholds::defaults(group).limits;
    pass(
        group,
        &[
            (KNEE, [deg; 4]),
            (EXTENSION, [limits[EXTENSION].at_least.unwrap() + 1.0; 4]),
        ],
    )
}

fn limit(group: AgeGroup) -> (f64, f64) {
    let limits = Thresholds::defaults(group).limits[KNEE];
    (limits.at_most.unwrap(), limits.dead_band)
}

fn letter(cue: &Cue) -> char {
    match &cue.kind {
        CueKind::Do { good: None, .. } => 'd',
        CueKind::Do { good: Some(_), .. } => 'D',
        CueKind::Praise => 'p',
        CueKind::Improved { .. } => 'i',
        CueKind::Unfed {
            why: UnfedReason::Faded,
        } => '-',
        CueKind::Unfed {
            why: UnfedReason::Planned,
        } => '_',
        CueKind::NotJudged { .. } => 'n',
    }
}

fn run(coach: &mut CueSelector, passes: impl IntoIterator<Item = JudgedPass>) -> String {
    passes
        .into_iter()
        .map(|p| letter(&coach.after_pass(&p)))
        .collect()
}

/// Numbers between 0 and 1 that are the same in every run.
struct Dice(u64);

impl Dice {
    fn roll(&mut self) -> f64 {
        // xorshift64 (Marsaglia 2003)
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    fn about(&mut self, mean: f64, spread: f64) -> f64 {
        mean + spread * (self.roll() + self.roll() - 1.0)
    }
}

#[test]
fn a_skater_who_is_good_hears_it_often_at_first_and_less_later() {
    let adult = AgeGroup::Adult;
    let (high, _) = limit(adult);
    let settings = FeedbackSettings::default();
    let words = run(
        &mut CueSelector::new(settings.clone()),
        (0..300).map(|_| knee(adult, high - 5.0)),
    );
    assert!(words.starts_with("ppppp-p-p-"), "{words}");
    assert_eq!(words.matches('-').count(), 148);
    let child = AgeGroup::U11;
    let (high, _) = limit(child);
    let words = run(
        &mut CueSelector::new(settings),
        (0..300).map(|_| knee(child, high - 5.0)),
    );
    assert!(words.starts_with("ppppp-ppp-"), "{words}");
    assert_eq!(words.matches('-').count(), 74);
}

#[test]
fn inside_the_dead_band_nothing_is_corrected() {
    let group = AgeGroup::U13;
    let (high, dead_band) = limit(group);
    let words = run(
        &mut CueSelector::new(FeedbackSettings::default()),
        [
            knee(group, high + 0.9 * dead_band),
            knee(group, high + 1.1 * dead_band),
        ],
    );
    assert_eq!(words, "pd");
}

#[test]
fn improvement_is_praised_with_both_numbers_and_then_the_work_goes_on() {
    let group = AgeGroup::U13;
    let (high, dead_band) = limit(group);
    let mut coach = CueSelector::new(FeedbackSettings::default());
    let words = run(&mut coach, (0..3).map(|_| knee(group, high + 30.0)));
    assert_eq!(words, "dDd");
    // By a little less than the dead-band: no improvement.
    assert_eq!(
        run(&mut coach, [knee(group, high + 30.0 - 0.9 * dead_band)]),
        "D"
    );
    let cue = coach.after_pass(&knee(group, high + 30.0 - 1.5 * dead_band));
    let CueKind::Improved {
        rule,
        value,
        earlier,
        ..
    } = cue.kind
    else {
        panic!("{cue:?}")
    };
    assert_eq!(rule, RuleId::KneeBend);
    assert_eq!(
        (value, earlier),
        (high + 30.0 - 1.5 * dead_band, high + 30.0)
    );
    // As good again is no improvement on that; after three passes the same
    // step is one.
    let again = || knee(group, high + 30.0 - 1.5 * dead_band);
    assert_eq!(run(&mut coach, [again(), again(), again()]), "dDd");
    let more = || knee(group, high + 30.0 - 2.6 * dead_band);
    assert_eq!(run(&mut coach, [more(), more()]), "id");
    // Getting worse is never improvement.
    let words = run(&mut coach, (0..50).map(|_| knee(group, high + 60.0)));
    assert!(!words.contains('i') && !words.contains("dd"), "{words}");
}

#[test]
fn the_second_correction_names_what_improved_before_what_is_only_good() {
    let group = AgeGroup::U13;
    let limits = Thresholds::defaults(group).limits;
    let (high, _) = limit(group);
    let trunk_high = limits[TRUNK].at_most.unwrap();
    let extension_low = limits[EXTENSION].at_least.unwrap();
    let of = |trunk: f64| {
        pass(
            group,
            &[
                (KNEE, [high + 60.0; 4]),
                (TRUNK, [trunk_high + trunk; 4]),
                (EXTENSION, [extension_low + 5.0; 4]),
            ],
        )
    };
    let mut coach = CueSelector::new(FeedbackSettings {
        focus: Some(RuleId::KneeBend),
        ..Default::default()
    });
    let good = |cue: Cue| match cue.kind {
        CueKind::Do { rule, good, .. } => {
            assert_eq!(rule, RuleId::KneeBend);
            good
        }
        other => panic!("{other:?}"),
    };
    assert_eq!(good(coach.after_pass(&of(40.0))), None);
    assert_eq!(
        good(coach.after_pass(&of(40.0))),
        Some(Good::InBand {
            rule: RuleId::Extension
        })
    );
    assert_eq!(good(coach.after_pass(&of(40.0))), None);
    assert_eq!(
        good(coach.after_pass(&of(15.0))),
        Some(Good::Improved {
            rule: RuleId::TrunkLean
        })
    );
    // Where there is nothing to name, still no second bare correction.
    let bad = pass(group, &[(KNEE, [high + 60.0; 4])]);
    let mut coach = CueSelector::new(FeedbackSettings::default());
    assert_eq!(good(coach.after_pass(&bad)), None);
    assert_eq!(good(coach.after_pass(&bad)), Some(Good::KeptGoing));
}

#[test]
fn another_group_starts_anew() {
    let mut coach = CueSelector::new(FeedbackSettings::default());
    let adult = AgeGroup::Adult;
    let good = |group| knee(group, limit(group).0 - 5.0);
    assert_eq!(
        run(&mut coach, (0..7).map(|_| good(adult))),
        "ppppp-p",
        "cues are rarer"
    );
    assert_eq!(run(&mut coach, (0..3).map(|_| good(AgeGroup::U9))), "ppp");
}

/// A coach who moves one limit does not make a skater begin anew.
#[test]
fn a_moved_limit_keeps_what_was_before() {
    let adult = AgeGroup::Adult;
    let (high, dead_band) = limit(adult);
    let mut moved = Thresholds::defaults(adult);
    moved.limits[KNEE].at_most = Some(high - 1.0);
    let good = || knee(adult, high - 5.0);
    let mut coach = CueSelector::new(FeedbackSettings::default());
    assert_eq!(run(&mut coach, (0..6).map(|_| good())), "ppppp-");
    let after = (0..3).map(|_| with_thresholds(good(), &moved));
    assert_eq!(run(&mut coach, after), "p-p", "cues stay as rare");

    let mut coach = CueSelector::new(FeedbackSettings::default());
    run(&mut coach, (0..3).map(|_| knee(adult, high + 30.0)));
    let better = knee(adult, high + 30.0 - 1.5 * dead_band);
    assert_eq!(run(&mut coach, [with_thresholds(better, &moved)]), "i");
}

#[test]
fn a_set_is_summed_up_once_in_at_most_three_things() {
    let group = AgeGroup::U13;
    let (high, _) = limit(group);
    let mut coach = CueSelector::new(FeedbackSettings {
        set_passes: 6,
        ..Default::default()
    });
    let mut summaries = vec![];
    for n in 0..12 {
        // The knee gets better over the first set and stays so.
        let deg = if n < 3 { high + 40.0 } else { high + 10.0 };
        coach.after_pass(&knee(group, deg));
        if let Some(summary) = coach.take_summary() {
            summaries.push((n, summary));
        }
        assert_eq!(coach.take_summary(), None);
    }
    let [(5, first), (11, second)] = summaries[..] else {
        panic!("{summaries:?}")
    };
    assert_eq!((first.judged, first.in_band, first.last_pass), (6, 0, 6));
    assert_eq!(
        first.good,
        Some(Good::Improved {
            rule: RuleId::KneeBend
        })
    );
    let next = first.next.unwrap();
    assert_eq!((next.rule, next.more), (RuleId::KneeBend, false));
    assert_eq!(
        second.good,
        Some(Good::InBand {
            rule: RuleId::Extension
        })
    );
    assert_eq!(second.last_pass, 12);
}

#[test]
fn a_set_of_which_nothing_was_seen_is_not_summed_up() {
    let mut coach = CueSelector::new(FeedbackSettings {
        set_passes: 3,
        ..Default::default()
    });
    for _ in 0..9 {
        coach.after_pass(&pass(AgeGroup::U13, &[]));
        assert_eq!(coach.take_summary(), None);
    }
}

/// Half a degree a pass is far below the dead-band; every dead-band that was
/// gained is praised all the same.
#[test]
fn slow_progress_is_seen() {
    let group = AgeGroup::U13;
    let (high, _) = limit(group);
    let mut coach = CueSelector::new(FeedbackSettings::default());
    let words = run(
        &mut coach,
        (0..100).map(|n| knee(group, high + 60.0 - 0.5 * f64::from(n))),
    );
    // 50 degrees in steps of the dead-band of 7, counted from the middle of
    // the ten passes before.
    assert!((4..=7).contains(&words.matches('i').count()), "{words}");
}

/// A season: skaters who start badly and get better pass by pass, with a
/// spread that sometimes throws them back.
#[test]
fn over_a_season_the_share_of_cues_falls_and_the_promises_hold() {
    for (group, spread) in [
        (AgeGroup::U9, 6.0),
        (AgeGroup::U13, 12.0),
        (AgeGroup::Adult, 18.0),
    ] {
        let (high, dead_band) = limit(group);
        let mut dice = Dice(0x9E37_79B9_7F4A_7C15 ^ group as u64);
        let mut coach = CueSelector::new(FeedbackSettings::default());
        let mut words = String::new();
        for n in 0..400 {
            let mean = high + 40.0 * f64::exp(-f64::from(n) / 60.0) - 12.0;
            let values = [(); 4].map(|()| dice.about(mean, spread));
            words.push(letter(&coach.after_pass(&pass(group, &[(KNEE, values)]))));
        }
        let share = |part: &str, letters: &str| {
            part.chars().filter(|c| letters.contains(*c)).count() as f64 / part.len() as f64
        };
        let (early, late) = (&words[..50], &words[350..]);
        assert!(share(early, "-") < 0.05, "{group:?} {early}");
        assert!(share(late, "dD") < share(early, "dD"), "{group:?} {words}");
        assert!(share(late, "-") > 0.1, "{group:?} {late}");
        assert!(words.contains('i'), "{group:?} {words}");
        keeps_its_promises(&words, &FeedbackSettings::default());
        assert!(dead_band > 0.0);
    }
}

/// What holds for every sequence of cues.
fn keeps_its_promises(words: &str, settings: &FeedbackSettings) {
    let said: String = words.chars().filter(|c| !"-_n".contains(*c)).collect();
    if settings.say_what_is_good {
        assert!(
            !said.contains("dd"),
            "two bare corrections running: {words}"
        );
    }
    assert!(!said.contains("ii"), "improvement praised twice: {words}");
    assert!(
        !words.contains("__") && !words.contains("-_"),
        "planned silence after silence: {words}"
    );
    let judged = words.chars().filter(|c| *c != 'n');
    let full = judged.take(settings.full_feedback_passes as usize);
    assert!(!full.collect::<String>().contains(['-', '_']), "{words}");
}

prop_compose! {
    fn any_settings()(
        hold in 0u32..6, full in 0u32..8, fade in 0u32..5, child in 25u32..=100,
        misses in 1u32..4, unfed in 0u32..8, needs in 1u32..5, back in 1u32..12,
        good in any::<bool>(), improvement in any::<bool>(), set in 0u32..7,
    ) -> FeedbackSettings {
        FeedbackSettings {
            focus: None,
            hold_focus_passes: hold,
            full_feedback_passes: full,
            fade_after_in_band: fade,
            fade_percent_child: child,
            fade_percent_older: child,
            full_again_after_misses: misses,
            unfed_every: unfed,
            praise_improvement: improvement,
            improvement_needs_passes: needs,
            improvement_baseline_passes: back,
            say_what_is_good: good,
            set_passes: set,
        }
    }
}

proptest! {
    #![proptest_config(kickplate_testing::cases(256, None))]

    #[test]
    fn the_promises_hold_for_every_skater_and_every_setting(
        settings in any_settings(),
        offsets in prop::collection::vec((-30.0..60.0f64, -30.0..60.0f64, 0u8..10), 1..250),
    ) {
        let group = AgeGroup::U13;
        let limits = Thresholds::defaults(group).limits;
        let mut coach = CueSelector::new(settings.clone());
        let mut words = String::new();
        let mut in_band_run = 0u32;
        let mut misses = 0u32;
        for (knee, trunk, blind) in offsets {
            let judged = if blind == 0 {
                pass(group, &[])
            } else {
                pass(group, &[
                    (KNEE, [limits[KNEE].at_most.unwrap() + knee; 4]),
                    (TRUNK, [limits[TRUNK].at_most.unwrap() + trunk.min(0.0) / 3.0; 4]),
                ])
            };
            let in_band = judged.pushes.iter().all(|p| p.flags.is_empty());
            let was_in_band = in_band_run;
            if blind > 0 {
                in_band_run = if in_band { in_band_run + 1 } else { 0 };
                misses = if in_band { 0 } else { misses + 1 };
            }
            let cue = coach.after_pass(&judged);
            let letter = letter(&cue);
            words.push(letter);
            match letter {
                'n' => prop_assert!(blind == 0),
                'd' | 'D' | 'i' => prop_assert!(blind > 0 && !in_band),
                'p' => prop_assert!(blind > 0 && in_band),
                '-' => {
                    prop_assert!(settings.fade_after_in_band > 0);
                    // After enough misses nothing is held back any more.
                    prop_assert!(misses < settings.full_again_after_misses);
                    prop_assert!(in_band || was_in_band > 0 || misses > 1);
                }
                _ => prop_assert!(settings.unfed_every > 0),
            }
            if !settings.praise_improvement { prop_assert!(letter != 'i'); }
            if !settings.say_what_is_good { prop_assert!(letter != 'D'); }
            let summary = coach.take_summary();
            if settings.set_passes == 0 { prop_assert!(summary.is_none()); }
            if let Some(s) = summary {
                prop_assert!(s.in_band <= s.judged && s.judged <= settings.set_passes);
                prop_assert!(s.judged > 0);
                prop_assert_eq!(s.last_pass, cue.pass_number);
            }
        }
        // "Improved" of two rules may follow each other; here only the knee
        // is ever flagged.
        keeps_its_promises(&words, &settings);
    }
}
