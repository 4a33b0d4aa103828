//! The whole group in one table: what each skater is to work on and what goes well.
//! In the order of the roster; children are not ranked here.

use egui::Ui;

use super::Desk;
use super::bib_of;
use crate::panel::model::PassRow;
use crate::panel::widgets::{Press, Voice, card, columns, say};
use crate::roster::SkaterId;
use crate::rules::{RuleId, RuleMap};
use crate::store::Verdict;

/// Fewer judged pushes say nothing of a rule.
const LEAST_PUSHES: u32 = 3;

/// How often a rule was judged and flagged.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
struct Count {
    judged: u32,
    flagged: u32,
    /// Of the judged ones, those that would have been flagged and were seen well enough for
    /// praise.
    seen_well: u32,
    /// Flags that the coach dismissed: no fault, and no reason for praise.
    dismissed: u32,
}

impl Count {
    fn share(self) -> f64 {
        f64::from(self.flagged) / f64::from(self.judged.max(1))
    }
}

/// What a skater did in the passes that are listed.
#[derive(Debug, Clone, PartialEq)]
struct Done {
    passes: usize,
    counts: RuleMap<Count>,
}

impl Done {
    /// Of one skater.
    fn of(passes: &[PassRow], skater: SkaterId) -> Self {
        let mut counts = RuleMap::from_fn(|_| Count::default());
        let mut n = 0;
        for pass in passes.iter().filter(|p| p.skater == Some(skater)) {
            n += 1;
            for push in &pass.pushes {
                for (rule, measure) in push.judged.measures.iter() {
                    // Where a rule is switched off nothing could have been flagged.
                    let judged = measure.is_judged() && pass.watched[rule];
                    let well = judged && push.judged.unsure(rule).is_none();
                    counts[rule].judged += u32::from(judged);
                    counts[rule].seen_well += u32::from(well);
                }
                for flag in &push.judged.flags {
                    let dismissed = push.note.verdicts.get(&flag.rule) == Some(&Verdict::Dismissed);
                    counts[flag.rule].flagged += u32::from(!dismissed);
                    counts[flag.rule].dismissed += u32::from(dismissed);
                }
            }
        }
        Done { passes: n, counts }
    }

    fn enough(&self) -> impl Iterator<Item = (RuleId, Count)> + '_ {
        self.counts
            .iter()
            .map(|(rule, count)| (rule, *count))
            .filter(|(_, count)| count.judged >= LEAST_PUSHES)
    }

    /// What was flagged the most, by its share; of equal ones the first rule.
    fn needs(&self) -> Option<(RuleId, Count)> {
        self.enough()
            .filter(|(_, count)| count.flagged > 0)
            .min_by(|a, b| b.1.share().total_cmp(&a.1.share()))
    }

    /// What was seen well the most often and never flagged, not even by a flag that was
    /// dismissed; of equal ones the first rule.
    fn goes_well(&self) -> Option<RuleId> {
        self.counts
            .iter()
            .filter(|(_, count)| count.seen_well >= LEAST_PUSHES)
            .filter(|(_, count)| count.flagged + count.dismissed == 0)
            .min_by_key(|(_, count)| std::cmp::Reverse(count.seen_well))
            .map(|(rule, _)| rule)
    }
}

/// The table; gives whose page is asked for.
pub(super) fn show(ui: &mut Ui, d: &Desk<'_>) -> Option<SkaterId> {
    let s = d.s;
    let mut chosen = None;
    let (skated, rest): (Vec<_>, Vec<_>) = d
        .view
        .roster
        .iter()
        .map(|skater| (skater.id, Done::of(&d.view.passes, skater.id)))
        .partition(|(_, done)| done.passes > 0);
    card(ui, s, d.w.get("team.title"), |ui| {
        if skated.is_empty() {
            say(ui, s, Voice::Body, d.w.get("team.nobody"));
            return;
        }
        let shares = [1.1, 1.5, 1.1];
        if !s.is_upright() {
            columns(ui, s, shares, |[_, needs, good]| {
                say(needs, s, Voice::Quiet, d.w.get("team.needs"));
                say(good, s, Voice::Quiet, d.w.get("team.good"));
            });
        }
        for (id, done) in &skated {
            let needs = match done.needs() {
                Some((rule, count)) => d.w.say(
                    "team.needs_rule",
                    &[
                        ("what", d.w.rule_name(rule.rule())),
                        ("n", &count.flagged.to_string()),
                        ("of", &count.judged.to_string()),
                    ],
                ),
                None if done.enough().next().is_some() => d.w.get("team.nothing").to_owned(),
                None => d.w.get("team.too_few").to_owned(),
            };
            let good = done
                .goes_well()
                .map_or("\u{2013}", |rule| d.w.rule_name(rule.rule()));
            let label = d.label(Some(*id));
            let passes = d.w.say("team.passes", &[("n", &done.passes.to_string())]);
            let mut name = |ui: &mut Ui| {
                let wide = ui.available_width();
                let key = Press::new(&label).left().swatch(bib_of(d, Some(*id)).1);
                if key.wide(wide).show(ui, s) {
                    chosen = Some(*id);
                }
            };
            if s.is_upright() {
                name(ui);
                say(ui, s, Voice::Body, &format!("{needs}  \u{b7}  {passes}"));
                continue;
            }
            columns(ui, s, shares, |[left, middle, right]| {
                name(left);
                say(middle, s, Voice::Body, &needs);
                say(right, s, Voice::Body, good);
                say(middle, s, Voice::Quiet, &passes);
            });
        }
    });
    if !rest.is_empty() && !skated.is_empty() {
        let names: Vec<String> = rest.iter().map(|(id, _)| d.label(Some(*id))).collect();
        let text = d.w.say("team.none_yet", &[("names", &names.join(", "))]);
        say(ui, s, Voice::Quiet, &text);
    }
    say(ui, s, Voice::Quiet, d.w.get("team.how"));
    chosen
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::View;
    use crate::panel::model::PushRow;
    use crate::rules::{Flag, JudgedPush, Leg, Measure};
    use crate::store::{PassKey, PushNote};
    use kickplate_measure::quality::Quality;

    const WHO: SkaterId = SkaterId(3);
    const RULE: RuleId = RuleId::TrunkLean;

    /// A pass of three pushes in which one rule was judged and goes well.
    fn good_pass() -> PassRow {
        let mut judged = JudgedPush {
            leg: Leg::Left,
            near_leg: None,
            push_start_s: 1.0,
            toe_off_s: 1.4,
            measures: RuleMap::from_fn(|_| Measure::default()),
            flags: Vec::new(),
            quality: None,
        };
        judged.measures[RULE] = Measure::judged(50.0, 2.0, "");
        let push = PushRow {
            judged,
            note: PushNote::default(),
            has_pictures: false,
        };
        PassRow {
            key: PassKey {
                session: 1,
                number: 1,
            },
            at: String::new(),
            skater: Some(WHO),
            view: View::Side,
            speed_mps: 5.0,
            cue: String::new(),
            watched: RuleMap::from_fn(|_| true),
            pushes: vec![push; 3],
            thumbnail: None,
        }
    }

    fn goes_well(pass: &PassRow) -> Option<RuleId> {
        Done::of(std::slice::from_ref(pass), WHO).goes_well()
    }

    #[test]
    fn what_was_not_seen_well_is_not_praised() {
        let mut pass = good_pass();
        assert_eq!(goes_well(&pass), Some(RULE));
        // Just enough pictures to be judged by.
        pass.pushes[0].judged.quality = Some(Quality {
            pictures_per_s: Some(15.0),
            sharpness: Some(0.37),
            contrast: Some(30.0),
            ..Quality::default()
        });
        assert!(pass.pushes[0].judged.unsure(RULE).is_some());
        assert_eq!(goes_well(&pass), None);
    }

    #[test]
    fn a_rule_that_is_switched_off_is_not_praised() {
        let mut pass = good_pass();
        pass.watched[RULE] = false;
        assert_eq!(goes_well(&pass), None);
    }

    #[test]
    fn pushes_of_a_rule_that_was_switched_off_do_not_thin_out_its_faults() {
        let fault = |pass: &mut PassRow| {
            pass.pushes[0].judged.flags = vec![Flag {
                rule: RULE,
                value: 70.0,
                limit: 60.0,
            }];
        };
        let (mut on, mut off) = (good_pass(), good_pass());
        fault(&mut on);
        off.watched[RULE] = false;
        let alone = Done::of(std::slice::from_ref(&on), WHO).needs();
        assert_eq!(alone.map(|(_, n)| (n.flagged, n.judged)), Some((1, 3)));
        assert_eq!(Done::of(&[on, off], WHO).needs(), alone);
    }

    #[test]
    fn a_rule_whose_flags_were_all_dismissed_is_neither_praised_nor_to_be_worked_on() {
        let mut pass = good_pass();
        pass.pushes[1].judged.flags = vec![Flag {
            rule: RULE,
            value: 70.0,
            limit: 60.0,
        }];
        pass.pushes[1]
            .note
            .verdicts
            .insert(RULE, Verdict::Dismissed);
        assert_eq!(goes_well(&pass), None);
        assert_eq!(Done::of(&[pass], WHO).needs(), None);
    }

    #[test]
    fn of_equal_rules_the_first_one_is_named() {
        let mut pass = good_pass();
        let [first, .., last] = RuleId::ALL else {
            panic!("several rules")
        };
        for push in &mut pass.pushes {
            push.judged.measures = RuleMap::from_fn(|_| Measure::judged(50.0, 2.0, ""));
        }
        assert_eq!(goes_well(&pass), Some(*first));
        for rule in [*first, *last] {
            pass.pushes[0].judged.flags.push(Flag {
                rule,
                value: 70.0,
                limit: 60.0,
            });
        }
        let needs = Done::of(&[pass], WHO).needs();
        assert_eq!(needs.map(|(rule, _)| rule), Some(*first));
    }
}
