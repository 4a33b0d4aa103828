//! What one pass offers to speak about.

use crate::geometry::true_median;
use crate::rules::{JudgedPass, JudgedPush, Leg, NotJudged, RuleId};

use super::CueLeg;

/// No dead-band is taken to be narrower than this share of the widest one
/// that may be set. A coach may set a dead-band to 0, and the deviation is
/// measured in dead-bands.
const NARROWEST_BAND_SHARE: f64 = 0.1;

/// The flagged pushes of one rule beyond one of its limits.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Deviation {
    /// The rule.
    pub(super) rule: RuleId,
    /// Median of the flagged values, in the rule's unit.
    pub(super) value: f64,
    /// The limit they passed, in the rule's unit.
    pub(super) limit: f64,
    /// How far the median is beyond the limit, in dead-band widths.
    pub(super) widths: f64,
    /// The legs that were flagged.
    pub(super) leg: CueLeg,
    /// How many pushes were flagged.
    pub(super) pushes: usize,
}

/// Everything a pass says, before one thing is chosen.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Summary {
    /// Beyond limits: at least one entry, largest deviation first.
    Beyond(Vec<Deviation>),
    /// Something was judged and nothing is beyond its limit.
    InBand,
    /// Nothing could be judged, and why.
    NotJudged(NotJudged),
}

/// Sums up one pass.
pub(super) fn sum_up(pass: &JudgedPass) -> Summary {
    let deviations = deviations(pass);
    if !deviations.is_empty() {
        return Summary::Beyond(deviations);
    }
    // A flag that cannot be read is still no reason to praise.
    if pass.pushes.iter().any(|p| !p.flags.is_empty()) {
        return Summary::NotJudged(NotJudged::ValuesUnreadable);
    }
    // A fault may lie in what the picture did not show: praise is for what was seen.
    if let Some(why) = hidden_by_picture(pass) {
        return Summary::NotJudged(why);
    }
    if anything_judged(pass) {
        return Summary::InBand;
    }
    Summary::NotJudged(why_not_judged(pass))
}

/// One entry per rule and passed limit, largest deviation first. A rule with
/// two limits can be passed on both sides in one pass; the median over both
/// sides would then be a value that was never beyond anything.
fn deviations(pass: &JudgedPass) -> Vec<Deviation> {
    struct Group {
        rule: RuleId,
        limit: f64,
        values: Vec<f64>,
        left: bool,
        right: bool,
    }
    let mut groups: Vec<Group> = Vec::new();
    for push in &pass.pushes {
        for flag in &push.flags {
            if !flag.value.is_finite() || !flag.limit.is_finite() {
                continue;
            }
            let at = groups
                .iter()
                .position(|g| g.rule == flag.rule && g.limit == flag.limit)
                .unwrap_or_else(|| {
                    groups.push(Group {
                        rule: flag.rule,
                        limit: flag.limit,
                        values: Vec::new(),
                        left: false,
                        right: false,
                    });
                    groups.len() - 1
                });
            let group = &mut groups[at];
            group.values.push(flag.value);
            match push.leg {
                Leg::Left => group.left = true,
                Leg::Right => group.right = true,
            }
        }
    }
    let mut out: Vec<Deviation> = groups
        .into_iter()
        .map(|mut g| {
            let pushes = g.values.len();
            let value = true_median(&mut g.values).unwrap_or(f64::NAN);
            Deviation {
                rule: g.rule,
                value,
                limit: g.limit,
                widths: (value - g.limit).abs() / band_width(pass, g.rule),
                leg: match (g.left, g.right) {
                    (true, false) => CueLeg::Left,
                    (false, true) => CueLeg::Right,
                    _ => CueLeg::Both,
                },
                pushes,
            }
        })
        .collect();
    // Equal deviations: the one seen more often, then the order of the table.
    out.sort_by(|a, b| {
        b.widths
            .total_cmp(&a.widths)
            .then(b.pushes.cmp(&a.pushes))
            .then(a.rule.cmp(&b.rule))
    });
    out
}

/// Width of the dead-band of a rule in this pass, in the rule's unit; finite
/// and above 0.
pub(super) fn band_width(pass: &JudgedPass, rule: RuleId) -> f64 {
    let narrowest = rule.rule().dead_band_range.end() * NARROWEST_BAND_SHARE;
    let dead_band = pass.thresholds.limits[rule].dead_band;
    if dead_band.is_finite() {
        dead_band.max(narrowest)
    } else {
        narrowest
    }
}

/// Whether a rule is switched on in this pass: only then would a value
/// beyond its limit have been flagged, and only then does silence mean good.
pub(super) fn switched_on(pass: &JudgedPass, rule: RuleId) -> bool {
    pass.thresholds.limits[rule].flagged
}

fn anything_judged(pass: &JudgedPass) -> bool {
    pass.pushes.iter().any(|push| {
        push.measures.iter().any(|(rule, m)| {
            m.judged_value().is_some_and(f64::is_finite) && switched_on(pass, rule)
        })
    })
}

/// Why a rule that this view shows and that is switched on was judged in no push well enough
/// to be sure of a fault, where that lies with the picture.
fn hidden_by_picture(pass: &JudgedPass) -> Option<NotJudged> {
    RuleId::ALL
        .iter()
        .filter(|rule| rule.rule().views.contains(&pass.view) && switched_on(pass, **rule))
        .find_map(|&rule| {
            let why =
                |push: &JudgedPush| push.measures[rule].not_judged.or_else(|| push.unsure(rule));
            // Seen well once is enough.
            let whys: Option<Vec<NotJudged>> = pass.pushes.iter().map(why).collect();
            whys?.into_iter().find(|why| why.is_of_the_picture())
        })
}

/// The reason given most often among the rules that this view could have
/// shown; the first one where several are equally common. Rules the view
/// cannot show give the same reason for every push and would always win.
fn why_not_judged(pass: &JudgedPass) -> NotJudged {
    if pass.camera_moved() {
        return NotJudged::CameraMoved;
    }
    if pass.pushes.is_empty() {
        return NotJudged::NoPush;
    }
    let mut counts: Vec<(NotJudged, usize)> = Vec::new();
    for push in &pass.pushes {
        for (rule, measure) in push.measures.iter() {
            let wanted = rule.rule().views.contains(&pass.view) && switched_on(pass, rule);
            let Some(why) = measure.not_judged.filter(|_| wanted) else {
                continue;
            };
            match counts.iter_mut().find(|(r, _)| *r == why) {
                Some((_, n)) => *n += 1,
                None => counts.push((why, 1)),
            }
        }
    }
    let most = counts.iter().map(|(_, n)| *n).max();
    counts
        .iter()
        .find(|(_, n)| Some(*n) == most)
        .map_or(NotJudged::NoRuleOn, |(r, _)| *r)
}
