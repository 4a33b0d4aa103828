//! What was found, held against what was rendered.

use std::collections::BTreeMap;

use super::sight::{Said, said_in};
use super::speech::{CueCheck, Flagged, check_cue, false_flags, past_limit};
use super::truth::{Truth, TruthPush, TruthSkater, Visit};
use kickplate::rules::{JudgedPass, JudgedPush, RuleId};
use kickplate::stride::Leg;

/// A found push belongs to a true one of the same leg within this time.
const MATCH_S: f64 = 0.2;
/// Pushes of skaters smaller than this share of the frame height are not
/// asked for.
const MIN_HEIGHT_SHARE: f64 = 0.12;
/// A push during which this share of the skater is behind a nearer skater is
/// not asked for either.
const MAX_HIDDEN_SHARE: f64 = 0.25;
/// A hand this far past the line and called short of it is a silent miss,
/// metres.
const SILENT_MISS_M: f64 = 0.08;

/// Everything one clip has to say.
#[derive(Debug, Clone, Default)]
pub struct ClipScore {
    /// Name of the clip.
    pub name: String,
    /// View it was rendered from.
    pub view: String,
    /// Pushes asked for: whole in view and large enough.
    pub asked: usize,
    /// Of those, found.
    pub found: usize,
    /// Found where no push was.
    pub false_pushes: usize,
    /// All pushes reported.
    pub reported: usize,
    /// Toe-off error of every matched push, in frames of 1/30 s.
    pub toe_off_frames: Vec<f64>,
    /// Per measure, every matched push.
    pub measures: BTreeMap<RuleId, Vec<Compared>>,
    /// Per rule, whether it spoke and whether it should have.
    pub flags: BTreeMap<RuleId, Vec<Flagged>>,
    /// The cue of every true pass that was judged.
    pub cues: Vec<CueCheck>,
    /// What was said, pass by pass, against what was true of the whole clip.
    pub said: Said,
    /// Asked-for pushes that were not found: leg and toe-off time.
    pub missed: Vec<String>,
    /// Pushes found where none was.
    pub invented: Vec<String>,
    /// Hands well past the line that were called short of it.
    pub silent_misses: Vec<String>,
    /// Flags on values that are within their limit, also on pushes that are
    /// not asked for because they are small, cut or hidden.
    pub false_flags: Vec<String>,
}

/// One measure of one matched push.
#[derive(Debug, Clone, Copy)]
pub struct Compared {
    /// Whether the leg was the nearer one.
    pub near_leg: Option<bool>,
    /// What the station says.
    pub value: Option<f64>,
    /// What it says its standard deviation is.
    pub uncertainty: Option<f64>,
    /// Whether it stands by it.
    pub judged: bool,
    /// What was rendered.
    pub truth: f64,
}

/// Holds the judged passes of a clip against its truth.
pub fn compare(name: &str, truth: &Truth, passes: &[JudgedPass]) -> ClipScore {
    let mut score = ClipScore {
        name: name.to_owned(),
        view: truth.view.clone(),
        reported: passes.iter().map(|p| p.pushes.len()).sum(),
        ..ClipScore::default()
    };
    let stays: Vec<(usize, Visit)> = truth
        .skaters()
        .enumerate()
        .flat_map(|(k, s)| truth.visits(s).into_iter().map(move |v| (k, v)))
        .collect();
    let owner: Vec<Option<usize>> = passes.iter().map(|p| whose(p, truth, &stays)).collect();
    for (k, skater) in truth.skaters().enumerate() {
        let mine = passes.iter().zip(&owner);
        let mine: Vec<&JudgedPass> = mine
            .filter(|(_, o)| **o == Some(k))
            .map(|(p, _)| p)
            .collect();
        score.of_skater(truth, skater, &mine);
    }
    score.said = said_in(truth, passes, &owner);
    for (pass, _) in passes.iter().zip(&owner).filter(|(_, o)| o.is_none()) {
        for push in &pass.pushes {
            score.invent(push);
        }
    }
    score
}

/// The skater whose stay in the picture a pass is: the one that shares most
/// of its time and whose toe-offs lie closest to those found. A pass against
/// the lane's direction belongs to nobody.
fn whose(pass: &JudgedPass, truth: &Truth, stays: &[(usize, Visit)]) -> Option<usize> {
    let [from, to] = [pass.started_at_s, pass.ended_at_s];
    let share = |v: &Visit| {
        let both = to.min(v.span_s[1]) - from.max(v.span_s[0]);
        let either = to.max(v.span_s[1]) - from.min(v.span_s[0]);
        both / either.max(1e-9)
    };
    let skaters: Vec<&TruthSkater> = truth.skaters().collect();
    let rhythm = |k: usize| {
        let close = |push: &JudgedPush| {
            let toe_offs = skaters[k].toe_offs_s(push.leg, truth.fps);
            let off = toe_offs.iter().map(|t| (t - push.toe_off_s).abs());
            (1.0 - off.fold(f64::MAX, f64::min) / MATCH_S).max(0.0)
        };
        pass.pushes.iter().map(close).sum::<f64>() / pass.pushes.len().max(1) as f64
    };
    stays
        .iter()
        .filter(|(_, v)| v.direction == truth.direction && share(v) > 0.0)
        .map(|(k, v)| (*k, share(v) + rhythm(*k)))
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .map(|(k, _)| k)
}

impl ClipScore {
    fn of_skater(&mut self, truth: &Truth, skater: &TruthSkater, passes: &[&JudgedPass]) {
        let found: Vec<&JudgedPush> = passes.iter().flat_map(|p| &p.pushes).collect();
        let mut toe_offs: Vec<(Leg, f64)> = Vec::new();
        for leg in Leg::BOTH {
            toe_offs.extend(
                skater
                    .toe_offs_s(leg, truth.fps)
                    .into_iter()
                    .map(|t| (leg, t)),
            );
        }
        let pairs = pair(&toe_offs, &found);
        let true_push = |k: usize| {
            let (leg, at_s) = toe_offs[k];
            skater
                .pushes
                .iter()
                .find(|p| p.side == leg && (p.toe_off_s - at_s).abs() < 0.02)
        };
        let asked = |push: &TruthPush| {
            push.whole_in_view
                && push.direction == truth.direction
                && truth.height_share(skater, push.toe_off_frame) >= MIN_HEIGHT_SHARE
                && truth.hidden_share(skater, push) < MAX_HIDDEN_SHARE
        };
        for push in skater.pushes.iter().filter(|p| asked(p)) {
            self.asked += 1;
            let hit = pairs
                .iter()
                .position(|k| k.and_then(true_push).is_some_and(|p| std::ptr::eq(p, push)));
            match hit {
                Some(i) => {
                    self.found += 1;
                    self.compare_push(skater, push, found[i], passes);
                }
                None => self
                    .missed
                    .push(format!("{:?} {:.2}", push.side, push.toe_off_s)),
            }
        }
        for (push, pair) in found.iter().zip(&pairs) {
            if pair.is_none() {
                self.invent(push);
            }
        }
        let mut i = 0;
        for pass in passes {
            let mut trues: Vec<(&TruthPush, &JudgedPush)> = Vec::new();
            let mut cut: Vec<&JudgedPush> = Vec::new();
            for (push, pair) in pass.pushes.iter().zip(&pairs[i..]) {
                match pair.map(true_push) {
                    Some(Some(truth)) => trues.push((truth, push)),
                    Some(None) => cut.push(push),
                    None => {}
                }
            }
            i += pass.pushes.len();
            if !trues.is_empty() {
                self.cues.push(check_cue(skater, pass, &trues, &cut));
            }
            for (push, found) in trues {
                let share = truth.height_share(skater, push.toe_off_frame);
                let limits = &pass.thresholds.limits;
                self.false_flags
                    .extend(false_flags(skater, push, found, limits, share));
            }
        }
    }

    fn invent(&mut self, push: &JudgedPush) {
        self.false_pushes += 1;
        self.invented
            .push(format!("{:?} {:.2}", push.leg, push.toe_off_s));
    }

    fn compare_push(
        &mut self,
        skater: &TruthSkater,
        push: &TruthPush,
        found: &JudgedPush,
        passes: &[&JudgedPass],
    ) {
        self.toe_off_frames
            .push((found.toe_off_s - push.toe_off_s) * 30.0);
        let Some(thresholds) = passes.first().map(|p| &p.thresholds) else {
            return;
        };
        for (rule, measure) in found.measures.iter() {
            let limits = &thresholds.limits[rule];
            let Some(truth) = skater.measure(rule, push) else {
                continue;
            };
            self.measures.entry(rule).or_default().push(Compared {
                near_leg: found.near_leg,
                value: measure.value,
                uncertainty: measure.uncertainty,
                judged: measure.is_judged(),
                truth,
            });
            if !measure.is_judged() {
                continue;
            }
            if limits.flagged {
                self.flags.entry(rule).or_default().push(Flagged {
                    said: found.flags.iter().any(|f| f.rule == rule),
                    beyond: limits.beyond(truth).is_some(),
                    past_limit: past_limit(limits, truth),
                });
            }
            let called_short = measure.value.is_some_and(|v| v <= 0.0);
            if rule == RuleId::ArmCrossover && truth >= SILENT_MISS_M && called_short {
                self.silent_misses.push(format!(
                    "{:?} {:.2}: {:+.0} cm",
                    push.side,
                    push.toe_off_s,
                    100.0 * truth
                ));
            }
        }
    }
}

/// For each found push the true toe-off it is, each of these taken once, the
/// closest pairs first.
fn pair(toe_offs: &[(Leg, f64)], found: &[&JudgedPush]) -> Vec<Option<usize>> {
    let mut close: Vec<(f64, usize, usize)> = Vec::new();
    for (i, push) in found.iter().enumerate() {
        for (k, (leg, at_s)) in toe_offs.iter().enumerate() {
            let apart = (push.toe_off_s - at_s).abs();
            if push.leg == *leg && apart <= MATCH_S {
                close.push((apart, i, k));
            }
        }
    }
    close.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut pairs = vec![None; found.len()];
    let mut taken = vec![false; toe_offs.len()];
    for (_, i, k) in close {
        if pairs[i].is_none() && !taken[k] {
            pairs[i] = Some(k);
            taken[k] = true;
        }
    }
    pairs
}

#[cfg(test)]
mod tests {
    use super::super::truth::tests::truth;
    use super::*;
    use kickplate::config::View;
    use kickplate::rules::{AgeGroup, Flag, Measure, NotJudged, QuantityMap, RuleMap, Thresholds};

    fn push(leg: Leg, toe_off_s: f64, cross_m: f64) -> JudgedPush {
        let measures = RuleMap::from_fn(|rule| match rule {
            RuleId::ArmCrossover => Measure::judged(cross_m, 0.05, ""),
            RuleId::KneeBend => Measure::judged(133.0, 5.0, ""),
            _ => Measure::not_judged(NotJudged::Other),
        });
        JudgedPush {
            quality: None,
            leg,
            near_leg: None,
            push_start_s: toe_off_s - 0.2,
            toe_off_s,
            measures,
            flags: vec![Flag {
                rule: RuleId::KneeBend,
                value: 133.0,
                limit: 120.0,
            }],
        }
    }

    fn pass(span_s: [f64; 2], pushes: Vec<JudgedPush>) -> JudgedPass {
        JudgedPass {
            track_id: 1,
            started_at_s: span_s[0],
            ended_at_s: span_s[1],
            speed_mps: 5.0,
            view: View::Front,
            thresholds: Thresholds::defaults(AgeGroup::U15),
            pushes,
            quantities: QuantityMap::from_fn(|_| Measure::not_judged(NotJudged::Other)),
        }
    }

    #[test]
    fn a_push_found_twice_is_found_once_and_false_once() {
        let pushes = vec![
            push(Leg::Left, 0.25, 0.1),
            push(Leg::Left, 0.31, 0.1),
            push(Leg::Right, 0.62, -0.01),
        ];
        let score = compare("a", &truth("front"), &[pass([0.1, 0.9], pushes)]);
        assert_eq!((score.asked, score.found), (2, 2));
        assert_eq!((score.reported, score.false_pushes), (3, 1));
        assert!((score.toe_off_frames[0] - 0.3).abs() < 1e-6);
    }

    #[test]
    fn a_hand_called_short_that_is_well_past_is_a_silent_miss() {
        let pushes = vec![push(Leg::Left, 0.24, 0.02), push(Leg::Right, 0.64, -0.01)];
        let score = compare("a", &truth("front"), &[pass([0.1, 0.9], pushes)]);
        assert_eq!(score.silent_misses.len(), 1);
        let arm = &score.flags[&RuleId::ArmCrossover];
        assert!(arm.iter().all(|f| f.beyond && !f.said));
        let knee = &score.flags[&RuleId::KneeBend];
        assert!(knee.iter().all(|f| f.beyond && f.said));
        assert_eq!(
            score.cues[0].faults,
            [RuleId::KneeBend, RuleId::ArmCrossover]
        );
        assert_eq!(score.cues[0].said, Some(RuleId::KneeBend));
    }

    /// The clip ends before the feet are back: the push is there, its values
    /// are not.
    #[test]
    fn a_cue_on_a_push_the_clip_cuts_off_is_not_known_to_be_false() {
        let mut t = truth("front");
        let mut quiet = push(Leg::Left, 0.24, 0.1);
        quiet.flags.clear();
        let found = [pass([0.1, 0.9], vec![quiet, push(Leg::Right, 0.64, 0.1)])];
        assert!(!compare("a", &t, &found).cues[0].unknown);
        t.first.pushes.retain(|p| p.side == Leg::Left);
        let cue = &compare("a", &t, &found).cues[0];
        assert_eq!((cue.said, cue.unknown), (Some(RuleId::KneeBend), true));
        // A push that never was is false all the same.
        t.first.phase.insert("right".to_owned(), Vec::new());
        assert!(!compare("a", &t, &found).cues[0].unknown);
    }

    #[test]
    fn a_pass_against_the_lane_or_of_nobody_is_false() {
        let mut t = truth("side");
        t.first.directions = vec![-1; t.frames];
        let score = compare(
            "a",
            &t,
            &[pass([0.1, 0.9], vec![push(Leg::Left, 0.24, 0.0)])],
        );
        assert_eq!((score.found, score.false_pushes), (0, 1));
    }
}
