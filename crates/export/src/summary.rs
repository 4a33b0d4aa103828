//! What the pages say of one skater: counts, middles, what to work on, what
//! went well.

use crate::geometry::median;
use crate::rules::{Limits, QUANTITIES, Quantity, RULES, Rule, Sense, Surety};

use super::dataset::{Material, PassPart, SessionPart};
use crate::store::Verdict;

/// Things to work on that are named at most.
const MOST_WORK: usize = 3;
/// Things that went well that are named at most.
const MOST_WELL: usize = 3;
/// Judged pushes before something is said to go well.
const ENOUGH_PUSHES: usize = 3;
/// Share of judged pushes in the band from which it goes well.
const WELL_SHARE: f64 = 0.8;
/// Passes before beginning and end are compared.
const ENOUGH_PASSES: usize = 6;

/// A pass and its session.
pub type Row<'a> = (&'a SessionPart, &'a PassPart);

/// One rule over some passes.
#[derive(Clone)]
pub struct RuleSummary {
    /// The rule.
    pub rule: &'static Rule,
    /// Its limits in the last of the passes.
    pub limits: Limits,
    /// Whether the limits were the same in all of them.
    pub same_limits: bool,
    /// Pushes it was judged in.
    pub judged: usize,
    /// Of those, flagged and not dismissed.
    pub flagged: usize,
    /// Flags the coach dismissed.
    pub dismissed: usize,
    /// Pushes that were flagged, or seen well enough for praise: what is said to go well is
    /// counted among them.
    pub seen_well: usize,
    /// Middle of the judged values, in the rule's unit.
    pub typical: f64,
    /// Middle of their uncertainties.
    pub uncertainty: Option<f64>,
    /// How far beyond a limit a value of this uncertainty has to be before it is
    /// flagged.
    pub margin: f64,
    /// Pass by pass, in order; only passes it was judged in.
    pub series: Vec<Dot>,
}

/// One rule in one pass.
#[derive(Debug, Clone, PartialEq)]
pub struct Dot {
    /// Number of the pass in its session.
    pub pass: u32,
    /// Session it is of.
    pub session: i64,
    /// Middle of the pass's judged values, in the rule's unit.
    pub value: f64,
    /// Middle of their uncertainties.
    pub uncertainty: f64,
    /// Whether a flag stands.
    pub flagged: bool,
}

/// One rule over some passes; `None` where it was never judged.
pub fn of_rule(rule: &'static Rule, passes: &[Row<'_>]) -> Option<RuleSummary> {
    let (mut values, mut uncertainties, mut series) = (Vec::new(), Vec::new(), Vec::new());
    let (mut flagged, mut dismissed, mut seen_well) = (0, 0, 0);
    let mut limits: Option<Limits> = None;
    let mut surety = Surety::default();
    let mut same_limits = true;
    for (session, part) in passes {
        let (mut of_pass, mut uncertainties_of_pass, mut stands) = (Vec::new(), Vec::new(), false);
        for (i, push) in part.pass.pushes.iter().enumerate() {
            let measure = &push.measures[rule.id];
            let Some(value) = measure.judged_value().filter(|v| v.is_finite()) else {
                continue;
            };
            of_pass.push(value);
            uncertainties_of_pass.extend(measure.uncertainty.filter(|v| v.is_finite()));
            if part.stands(i, rule) {
                flagged += 1;
                seen_well += 1;
                stands = true;
            } else if part.verdict(i, rule.id) == Some(Verdict::Dismissed) {
                dismissed += 1;
            } else if push.unsure(rule.id).is_none() {
                seen_well += 1;
            }
        }
        let Some(value) = median(&mut of_pass) else {
            continue;
        };
        let now = part.pass.thresholds.limits[rule.id];
        same_limits &= limits.is_none_or(|earlier| earlier == now);
        limits = Some(now);
        surety = part.pass.thresholds.surety;
        series.push(Dot {
            pass: part.key.number,
            session: session.number,
            value,
            uncertainty: median(&mut uncertainties_of_pass).unwrap_or(0.0),
            flagged: stands,
        });
        values.append(&mut of_pass);
        uncertainties.append(&mut uncertainties_of_pass);
    }
    let judged = values.len();
    let (limits, uncertainty) = (limits?, median(&mut uncertainties));
    Some(RuleSummary {
        rule,
        limits,
        margin: limits.margin(uncertainty.unwrap_or(0.0), surety),
        same_limits,
        judged,
        flagged,
        dismissed,
        seen_well,
        typical: median(&mut values)?,
        uncertainty,
        series,
    })
}

/// Every rule that was judged in some passes.
pub fn of_rules(passes: &[Row<'_>]) -> Vec<RuleSummary> {
    RULES
        .into_iter()
        .filter_map(|rule| of_rule(rule, passes))
        .collect()
}

/// What to work on, most often flagged first: at most three. What goes well
/// is not among it.
pub fn work(summaries: &[RuleSummary]) -> Vec<&RuleSummary> {
    let share = |s: &RuleSummary| s.flagged as f64 / s.judged.max(1) as f64;
    let mut work: Vec<&RuleSummary> = summaries
        .iter()
        .filter(|s| s.flagged > 0 && !goes_well(s))
        .collect();
    work.sort_by(|a, b| share(b).total_cmp(&share(a)));
    work.truncate(MOST_WORK);
    work
}

/// What went well.
#[derive(Clone)]
pub enum Well<'a> {
    /// Most pushes that were seen well were in the band.
    InBand(&'a RuleSummary),
    /// The last third of the passes is better than the first by the dead-band
    /// or more: middles of both.
    Better(&'a RuleSummary, f64, f64),
}

/// What went well: at most three.
pub fn well(summaries: &[RuleSummary]) -> Vec<Well<'_>> {
    let mut well = Vec::new();
    for s in summaries.iter().filter(|s| s.limits.flagged) {
        if goes_well(s) {
            well.push(Well::InBand(s));
        } else if let Some((before, after)) = better(s) {
            well.push(Well::Better(s, before, after));
        }
    }
    well.truncate(MOST_WELL);
    well
}

fn goes_well(s: &RuleSummary) -> bool {
    s.seen_well >= ENOUGH_PUSHES && s.good() as f64 >= WELL_SHARE * s.seen_well as f64
}

impl RuleSummary {
    /// Pushes that were seen well and not flagged.
    pub fn good(&self) -> usize {
        self.seen_well - self.flagged
    }
}

/// Middles of the first and the last third where the last is nearer to the
/// band by the dead-band or more.
fn better(s: &RuleSummary) -> Option<(f64, f64)> {
    if s.series.len() < ENOUGH_PASSES || !s.same_limits {
        return None;
    }
    let third = s.series.len() / 3;
    let middle = |dots: &[Dot]| median(&mut dots.iter().map(|d| d.value).collect::<Vec<_>>());
    let before = middle(&s.series[..third])?;
    let after = middle(&s.series[s.series.len() - third..])?;
    let off = |value: f64| match s.rule.sense {
        Sense::AtMost => value - s.limits.at_most.unwrap_or(value),
        Sense::AtLeast => s.limits.at_least.unwrap_or(value) - value,
        Sense::Between => (s.limits.at_least.unwrap_or(value) - value)
            .max(value - s.limits.at_most.unwrap_or(value)),
    };
    let gain = off(before).max(0.0) - off(after).max(0.0);
    (gain > 0.0 && gain >= s.limits.dead_band).then_some((before, after))
}

/// A quantity over some passes: middle value, middle uncertainty, passes.
pub fn of_quantities(passes: &[Row<'_>]) -> Vec<(&'static Quantity, f64, f64, usize)> {
    QUANTITIES
        .into_iter()
        .filter_map(|quantity| {
            let judged = || {
                passes
                    .iter()
                    .map(|(_, p)| &p.pass.quantities[quantity.id])
                    .filter(|m| m.is_judged())
            };
            let finite = |v: Option<f64>| v.filter(|v| v.is_finite());
            let mut values: Vec<f64> = judged().filter_map(|m| finite(m.value)).collect();
            let mut uncertainties: Vec<f64> =
                judged().filter_map(|m| finite(m.uncertainty)).collect();
            let n = values.len();
            Some((
                quantity,
                median(&mut values)?,
                median(&mut uncertainties)?,
                n,
            ))
        })
        .collect()
}

/// Pushes seen whole in some passes.
pub fn pushes(passes: &[Row<'_>]) -> usize {
    passes.iter().map(|(_, p)| p.pass.pushes.len()).sum()
}

impl Material {
    /// Age groups of somebody's passes, each once, in order.
    pub fn age_groups_of(&self, person: Option<usize>) -> Vec<&'static str> {
        let mut groups: Vec<_> = self
            .passes_of(person)
            .map(|(_, p)| p.pass.thresholds.age_group)
            .collect();
        groups.sort_unstable();
        groups.dedup();
        groups.into_iter().map(|g| g.name()).collect()
    }
}
