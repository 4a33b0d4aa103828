//! What bad pictures do to what is said.
//!
//! Takes: clips, the untouched and the spoilt ones (`tools/disturb/disturb.py`, or
//! `--rates`), each with what was said after its passes.
//! Gives: false orders, false praise and how many clear faults are still named, by
//! what the pictures were spoilt with.
//! Fails: never.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use super::ClipScore;
use super::speech::past_limit;
use super::truth::{Truth, TruthPush, TruthSkater};
use kickplate::config::View;
use kickplate::feedback::{CueKind, CueSelector, FeedbackSettings};
use kickplate::geometry::median;
use kickplate::rules::{JudgedPass, Limits, RuleId, RuleMap, Thresholds};
use kickplate::stride::Leg;

/// What was said after the passes of one clip, each as if it were the first of a session.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Said {
    /// Passes that were judged as far as they could be.
    pub passes: usize,
    /// Things to do.
    pub orders: usize,
    /// Of those, on what no push of the skater has.
    pub false_orders: usize,
    /// Passes that were praised.
    pub praised: usize,
    /// Of those, of skaters with a clear fault.
    pub false_praise: usize,
    /// True passes of skaters with a clear fault that the view shows.
    pub faulty: usize,
    /// Of those, with an order on what is truly beyond its limit.
    pub named: usize,
    /// The false ones, in words.
    pub list: Vec<String>,
}

/// From so far beyond its limit a fault is clear, in the rule's unit. The first four are what
/// 'a clear fault' is in this project's goals; the others are as far as these by their
/// stated uncertainty.
fn clear_by(rule: RuleId) -> f64 {
    match rule {
        RuleId::KneeBend => 12.0,
        RuleId::Extension => 10.0,
        RuleId::RecoveryGap => 0.04,
        RuleId::ArmCrossover => 0.08,
        RuleId::TrunkLean => 8.0,
        RuleId::ToeDirection => 30.0,
    }
}

/// What was said in a clip. `owner` is the skater of each pass; an order to nobody is
/// false.
pub fn said_in(truth: &Truth, passes: &[JudgedPass], owner: &[Option<usize>]) -> Said {
    let skaters: Vec<&TruthSkater> = truth.skaters().collect();
    let view = truth.lane().view;
    let limits = &Thresholds::defaults(truth.age_group()).limits;
    let mut said = Said::default();
    let mut named = vec![0; skaters.len()];
    for (pass, owner) in passes.iter().zip(owner) {
        let cue = CueSelector::new(FeedbackSettings::default()).after_pass(pass);
        let skater = owner.map(|k| skaters[k]);
        said.passes += 1;
        match cue.kind {
            CueKind::Do { rule, value, .. } => {
                said.orders += 1;
                let values = skater.map_or(Vec::new(), |s| values(s, rule, truth.direction));
                if values.iter().any(|(_, v)| past_limit(&limits[rule], *v)) {
                    owner.iter().for_each(|k| named[*k] += 1);
                } else {
                    said.false_orders += 1;
                    said.list.push(format!(
                        "false order {rule} {value:.3} for {:.3}",
                        middle(values.iter().map(|(_, v)| *v))
                    ));
                }
            }
            CueKind::Praise => {
                said.praised += 1;
                let faults = skater.map_or(Vec::new(), |s| clear_faults(s, truth, view, limits));
                if !faults.is_empty() {
                    said.false_praise += 1;
                    said.list.push(format!("false praise with {faults:?}"));
                }
            }
            _ => {}
        }
    }
    for (skater, named) in skaters.iter().zip(named) {
        if !clear_faults(skater, truth, view, limits).is_empty() {
            let visits = truth.visits(skater);
            let there = visits.iter().filter(|v| v.direction == truth.direction);
            let there = there.count();
            said.faulty += there;
            said.named += there.min(named);
        }
    }
    said
}

/// The true values of a rule in a skater's pushes.
fn values(skater: &TruthSkater, rule: RuleId, direction: i32) -> Vec<(Leg, f64)> {
    let of = |push: &TruthPush| Some((push.side, skater.measure(rule, push)?));
    let there = skater.pushes.iter().filter(|p| p.direction == direction);
    there.filter_map(of).collect()
}

/// The rules of the view that both legs break clearly.
fn clear_faults(
    skater: &TruthSkater,
    truth: &Truth,
    view: View,
    limits: &RuleMap<Limits>,
) -> Vec<RuleId> {
    let shown = |rule: &&RuleId| limits[**rule].flagged && rule.rule().views.contains(&view);
    let clear = |rule: &&RuleId| {
        let limits = Limits {
            dead_band: clear_by(**rule),
            ..limits[**rule]
        };
        let values = values(skater, **rule, truth.direction);
        Leg::BOTH.into_iter().all(|leg| {
            let of_leg = values.iter().filter(|(l, _)| *l == leg).map(|(_, v)| *v);
            limits.beyond(middle(of_leg)).is_some()
        })
    };
    RuleId::ALL
        .iter()
        .filter(shown)
        .filter(clear)
        .copied()
        .collect()
}

/// The middle value; no number of none.
fn middle(values: impl Iterator<Item = f64>) -> f64 {
    median(&mut values.collect::<Vec<_>>()).unwrap_or(f64::NAN)
}

/// What a clip's pictures were spoilt with, by its name: what follows '+' or '@'.
fn spoilt_by(name: &str) -> &str {
    name.split_once(['+', '@'])
        .map_or("untouched", |(_, by)| by)
}

/// The table by what pictures were spoilt with; empty where none was.
pub fn sight_table(clips: &[ClipScore]) -> String {
    let mut kinds: BTreeMap<&str, Said> = BTreeMap::new();
    let mut all = Said::default();
    for clip in clips {
        for sum in [kinds.entry(spoilt_by(&clip.name)).or_default(), &mut all] {
            sum.passes += clip.said.passes;
            sum.orders += clip.said.orders;
            sum.false_orders += clip.said.false_orders;
            sum.praised += clip.said.praised;
            sum.false_praise += clip.said.false_praise;
            sum.faulty += clip.said.faulty;
            sum.named += clip.said.named;
        }
    }
    if kinds.keys().all(|kind| *kind == "untouched") {
        return String::new();
    }
    let mut out = String::from(
        "\n| pictures | passes | orders | false | praised | false | clear faults | named |\n|---|---|---|---|---|---|---|---|\n",
    );
    for (kind, s) in kinds.iter().chain([(&"all", &all)]) {
        let _ = writeln!(
            out,
            "| {kind} | {} | {} | {} | {} | {} | {} | {} |",
            s.passes, s.orders, s.false_orders, s.praised, s.false_praise, s.faulty, s.named
        );
    }
    for clip in clips {
        for line in &clip.said.list {
            let _ = writeln!(out, "{}: {line}", clip.name);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::super::truth::tests::truth;
    use super::*;
    use kickplate::rules::{JudgedPush, Measure, NotJudged, QuantityMap, flag_all};

    /// A pass in which one rule was read so.
    fn pass(rule: RuleId, value: f64) -> JudgedPass {
        let thresholds = Thresholds::defaults(truth("front").age_group());
        let mut measures = RuleMap::from_fn(|_| Measure::not_judged(NotJudged::Other));
        measures[rule] = Measure::judged(value, 0.01, "");
        let mut pushes = vec![JudgedPush {
            quality: None,
            leg: Leg::Left,
            near_leg: None,
            push_start_s: 0.1,
            toe_off_s: 0.24,
            measures,
            flags: Vec::new(),
        }];
        flag_all(&mut pushes, &thresholds);
        JudgedPass {
            track_id: 1,
            started_at_s: 0.1,
            ended_at_s: 0.9,
            speed_mps: 5.0,
            view: View::Front,
            thresholds,
            pushes,
            quantities: QuantityMap::from_fn(|_| Measure::not_judged(NotJudged::Other)),
        }
    }

    /// The skater's hands are 10 cm past the line, the heels 2 cm apart.
    #[test]
    fn orders_and_praise_are_held_against_the_truth() {
        let truth = truth("front");
        let right = pass(RuleId::ArmCrossover, 0.11);
        let wrong = pass(RuleId::RecoveryGap, 0.3);
        let blind = pass(RuleId::ArmCrossover, -0.1);
        let said = said_in(&truth, &[right, wrong.clone(), blind], &[Some(0); 3]);
        assert_eq!((said.passes, said.orders, said.false_orders), (3, 2, 1));
        assert_eq!((said.praised, said.false_praise), (1, 1));
        assert_eq!((said.faulty, said.named), (2, 1), "two visits, one named");
        assert_eq!(said.list.len(), 2, "{:?}", said.list);
        // An order to nobody.
        assert_eq!(said_in(&truth, &[wrong], &[None]).false_orders, 1);
    }

    #[test]
    fn clips_are_told_apart_by_what_spoilt_them() {
        let clip = |name: &str| ClipScore {
            name: name.to_owned(),
            said: Said {
                passes: 2,
                ..Said::default()
            },
            ..ClipScore::default()
        };
        assert_eq!(sight_table(&[clip("a"), clip("b")]), "");
        let table = sight_table(&[clip("a"), clip("a+fog2"), clip("b+fog2"), clip("a@12")]);
        for row in [
            "| untouched | 2 |",
            "| fog2 | 4 |",
            "| 12 | 2 |",
            "| all | 8 |",
        ] {
            assert!(table.contains(row), "{row} in {table}");
        }
    }
}
