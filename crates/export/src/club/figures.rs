//! The figures of a season, gathered session by session. Pure.
//!
//! Takes: the sessions in the order of their days, each as rows.
//! Gives: [`ClubFigures`].
//! Fails: never.
//!
//! Only the values of one day and the skaters of one month are held at a time: what is
//! held grows with days, stations and groups, not with passes.

use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::Date;

use crate::config::{Subject, View};
use crate::rules::{AgeGroup, NotJudged, QuantityId, QuantityMap, RuleId, RuleMap};
use crate::store::Verdict;

/// Skaters behind a figure of how somebody skates, at least: of fewer nothing is shown,
/// since who knows who skated when might know a child again (common practice of
/// published tables, no source).
pub const FEWEST_SKATERS: usize = 5;
/// Cases from which a share is given in per cent (proposal of this project).
pub const FEWEST_FOR_PERCENT: usize = 20;

/// A measured quantity: of a push, or of a pass.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Measured {
    /// What a rule judges.
    Rule(RuleId),
    /// What is reported of a pass.
    Quantity(QuantityId),
}

impl Measured {
    /// Its column in the dataset.
    pub fn column(self) -> &'static str {
        match self {
            Measured::Rule(rule) => rule.rule().measure,
            Measured::Quantity(quantity) => quantity.code(),
        }
    }
}

/// A pass as the dataset has it.
#[derive(Debug, Clone, PartialEq)]
pub struct PassRow {
    /// Its number in the session.
    pub number: i64,
    /// Whose it is; `None` where nobody was chosen.
    pub skater: Option<String>,
    /// The group it was judged as.
    pub group: AgeGroup,
    /// Who stood before the camera.
    pub subject: Subject,
    /// The judged quantities, each in its unit.
    pub judged: QuantityMap<Option<f64>>,
}

/// A push as the dataset has it.
#[derive(Debug, Clone, PartialEq)]
pub struct PushRow {
    /// Number of its pass.
    pub pass: i64,
    /// Whose it is; `None` where nobody was chosen.
    pub skater: Option<String>,
    /// The group it was judged as.
    pub group: AgeGroup,
    /// From where it was seen.
    pub view: View,
    /// What the rules say of it; a rule that the part does not know is empty.
    pub rules: RuleMap<Option<OfPush>>,
}

/// One rule of one push.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum OfPush {
    /// It may be spoken about.
    Judged {
        /// In the rule's unit; `None` where the dataset has no number.
        value: Option<f64>,
        /// Surely beyond the limit.
        flagged: bool,
        /// What the coach said of the flag.
        verdict: Option<Verdict>,
    },
    /// Why not.
    Not(NotJudged),
}

/// A station in a month.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Month {
    /// Sessions with a pass of people.
    pub sessions: usize,
    /// Their passes.
    pub passes: usize,
    /// Passes for which nobody was chosen.
    pub of_nobody: usize,
    /// Skaters with a pass.
    pub skaters: usize,
}

/// The judged values of a group on a day.
#[derive(Debug, Clone, PartialEq)]
pub struct Day {
    /// The day.
    pub date: Date,
    /// Judged values.
    pub values: usize,
    /// Skaters behind them, at least: those of the station where most were. A skater
    /// has another key at each station, so that keys of two stations may be of one.
    pub skaters: usize,
    /// First quartile, median, third quartile, in the quantity's unit.
    pub quartiles: [f64; 3],
}

/// A rule over the whole dataset, in pushes.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct RuleCounts {
    /// Judged.
    pub judged: usize,
    /// Of those, flagged.
    pub flagged: usize,
    /// Of those, confirmed by the coach.
    pub confirmed: usize,
    /// Or dismissed.
    pub dismissed: usize,
    /// Skaters behind the judged ones, at least, counted to [`FEWEST_SKATERS`].
    pub skaters: usize,
}

/// How many pushes were judged.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Seen {
    /// Pushes for which the rule was asked.
    pub pushes: usize,
    /// Judged.
    pub judged: usize,
}

/// Everything the page says.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ClubFigures {
    /// The first day and the last.
    pub days: Option<[Date; 2]>,
    /// By month ('2026-11') and station.
    pub months: BTreeMap<(String, String), Month>,
    /// By group and quantity, day by day.
    pub progress: BTreeMap<(AgeGroup, Measured), Vec<Day>>,
    /// By rule.
    pub rules: RuleMap<RuleCounts>,
    /// By station, view and rule.
    pub seen: BTreeMap<(String, View), RuleMap<Seen>>,
    /// Why not, by view and rule: the pushes of each reason.
    pub reasons: BTreeMap<(View, RuleId), BTreeMap<NotJudged, usize>>,
    /// Pushes of people.
    pub pushes: usize,
    /// Passes of rendered bodies, which are left out.
    pub rendered_passes: usize,
}

impl ClubFigures {
    /// Sessions in all.
    pub fn sessions(&self) -> usize {
        self.months.values().map(|month| month.sessions).sum()
    }

    /// Passes in all.
    pub fn passes(&self) -> usize {
        self.months.values().map(|month| month.passes).sum()
    }
}

/// Skaters by station.
#[derive(Debug, Default)]
struct Skaters(BTreeMap<String, BTreeSet<String>>);

impl Skaters {
    /// Adds one, where there are not `enough` at that station yet.
    fn add(&mut self, station: &str, skater: Option<&str>, enough: usize) {
        let Some(skater) = skater else { return };
        if !self.0.contains_key(station) {
            self.0.insert(station.to_owned(), BTreeSet::new());
        }
        if let Some(here) = self.0.get_mut(station)
            && here.len() < enough
            && !here.contains(skater)
        {
            here.insert(skater.to_owned());
        }
    }

    /// How many different people they are at least.
    fn at_least(&self) -> usize {
        self.0.values().map(BTreeSet::len).max().unwrap_or(0)
    }
}

/// The values of one group and quantity on the day at hand.
#[derive(Debug, Default)]
struct Heap {
    values: Vec<f64>,
    skaters: Skaters,
}

/// Gathers the figures.
#[derive(Debug, Default)]
pub struct Gathering {
    told: ClubFigures,
    date: Option<Date>,
    today: BTreeMap<(AgeGroup, Measured), Heap>,
    /// Who skated at a station this month.
    this_month: BTreeMap<String, BTreeSet<String>>,
    of_rule: RuleMap<Skaters>,
}

impl Gathering {
    /// Adds a session. Sessions come in the order of their days.
    pub fn session(&mut self, station: &str, date: Date, passes: &[PassRow], pushes: &[PushRow]) {
        if self.date != Some(date) {
            self.end_of_day(Some(date));
        }
        let people: BTreeMap<i64, &PassRow> = passes
            .iter()
            .filter(|pass| pass.subject == Subject::People)
            .map(|pass| (pass.number, pass))
            .collect();
        let rendered = |pass: &&PassRow| pass.subject == Subject::Rendered;
        self.told.rendered_passes += passes.iter().filter(rendered).count();
        if people.is_empty() {
            return;
        }
        let first = self.told.days.map_or(date, |days| days[0]);
        self.told.days = Some([first, date]);
        let month = self.told.months.entry((month_of(date), station.to_owned()));
        let month = month.or_default();
        month.sessions += 1;
        month.passes += people.len();
        let here = self.this_month.entry(station.to_owned()).or_default();
        for pass in people.values() {
            match &pass.skater {
                Some(skater) => {
                    here.insert(skater.clone());
                }
                None => month.of_nobody += 1,
            }
            for (id, value) in pass.judged.iter() {
                let at = (pass.group, Measured::Quantity(id));
                let who = (station, pass.skater.as_deref());
                heap(&mut self.today, at, *value, who);
            }
        }
        for push in pushes.iter().filter(|push| people.contains_key(&push.pass)) {
            self.push(station, push);
        }
    }

    fn push(&mut self, station: &str, push: &PushRow) {
        self.told.pushes += 1;
        let view = push.view;
        let seen = self.told.seen.entry((station.to_owned(), view));
        let seen = seen.or_default();
        for (rule, of) in push.rules.iter() {
            let Some(of) = *of else { continue };
            seen[rule].pushes += 1;
            let (value, flagged, verdict) = match of {
                OfPush::Not(why) => {
                    let reasons = self.told.reasons.entry((view, rule)).or_default();
                    *reasons.entry(why).or_default() += 1;
                    continue;
                }
                OfPush::Judged {
                    value,
                    flagged,
                    verdict,
                } => (value, flagged, verdict),
            };
            seen[rule].judged += 1;
            let counts = &mut self.told.rules[rule];
            counts.judged += 1;
            counts.flagged += usize::from(flagged);
            counts.confirmed += usize::from(flagged && verdict == Some(Verdict::Confirmed));
            counts.dismissed += usize::from(flagged && verdict == Some(Verdict::Dismissed));
            let who = (station, push.skater.as_deref());
            self.of_rule[rule].add(who.0, who.1, FEWEST_SKATERS);
            let at = (push.group, Measured::Rule(rule));
            heap(&mut self.today, at, value, who);
        }
    }

    /// What was held for the day becomes its figures; of the month likewise.
    fn end_of_day(&mut self, next: Option<Date>) {
        let Some(date) = std::mem::replace(&mut self.date, next) else {
            return;
        };
        for (at, mut heap) in std::mem::take(&mut self.today) {
            let Some(quartiles) = quartiles(&mut heap.values) else {
                continue;
            };
            self.told.progress.entry(at).or_default().push(Day {
                date,
                values: heap.values.len(),
                skaters: heap.skaters.at_least(),
                quartiles,
            });
        }
        let month = month_of(date);
        if next.map(month_of).as_ref() != Some(&month) {
            for (station, skaters) in std::mem::take(&mut self.this_month) {
                if let Some(told) = self.told.months.get_mut(&(month.clone(), station)) {
                    told.skaters = skaters.len();
                }
            }
        }
    }

    /// The figures of all sessions that were added.
    pub fn finish(mut self) -> ClubFigures {
        self.end_of_day(None);
        for (rule, skaters) in self.of_rule.iter() {
            self.told.rules[rule].skaters = skaters.at_least();
        }
        self.told
    }
}

fn heap(
    today: &mut BTreeMap<(AgeGroup, Measured), Heap>,
    at: (AgeGroup, Measured),
    value: Option<f64>,
    (station, skater): (&str, Option<&str>),
) {
    let Some(value) = value else { return };
    let heap = today.entry(at).or_default();
    heap.values.push(value);
    heap.skaters.add(station, skater, usize::MAX);
}

fn month_of(date: Date) -> String {
    format!("{:04}-{:02}", date.year(), date.month())
}

/// The quartiles, between two values in proportion (Hyndman and Fan 1996, type 7; the
/// default of NumPy, and `quantile_cont` of DuckDB). Sorts the values.
fn quartiles(values: &mut [f64]) -> Option<[f64; 3]> {
    values.sort_by(f64::total_cmp);
    let last = values.len().checked_sub(1)?;
    Some([1, 2, 3].map(|quarter| {
        let (below, rest) = (quarter * last / 4, quarter * last % 4);
        let (low, high) = (values[below], values[(below + 1).min(last)]);
        low + (high - low) * rest as f64 / 4.0
    }))
}

#[cfg(test)]
#[path = "figures_tests.rs"]
mod tests;
