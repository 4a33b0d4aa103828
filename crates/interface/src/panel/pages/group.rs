//! The whole group in one table: what each skater is to work on and what goes well.
//! In the order of the roster; children are not ranked here.

use egui::Ui;

use super::Desk;
use super::bib_of;
use crate::panel::model::PassRow;
use crate::panel::widgets::{Press, Voice, card, columns, say};
use crate::roster::SkaterId;
use crate::rules::{Measure, RuleId, RuleMap};
use crate::store::Verdict;

/// Fewer judged pushes say nothing of a rule.
const LEAST_PUSHES: u32 = 3;

/// How often a rule was judged and flagged.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
struct Count {
    judged: u32,
    flagged: u32,
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
    /// Of one skater. Flags that the coach dismissed do not count.
    fn of(passes: &[PassRow], skater: SkaterId) -> Self {
        let mut counts = RuleMap::from_fn(|_| Count::default());
        let mut n = 0;
        for pass in passes.iter().filter(|p| p.skater == Some(skater)) {
            n += 1;
            for push in &pass.pushes {
                for (rule, measure) in push.judged.measures.iter() {
                    counts[rule].judged += u32::from(Measure::is_judged(measure));
                }
                for flag in &push.judged.flags {
                    let dismissed = push.note.verdicts.get(&flag.rule) == Some(&Verdict::Dismissed);
                    counts[flag.rule].flagged += u32::from(!dismissed);
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

    /// What was flagged the most, by its share.
    fn needs(&self) -> Option<(RuleId, Count)> {
        self.enough()
            .filter(|(_, count)| count.flagged > 0)
            .max_by(|a, b| a.1.share().total_cmp(&b.1.share()))
    }

    /// What was judged the most often and never flagged.
    fn goes_well(&self) -> Option<RuleId> {
        self.enough()
            .filter(|(_, count)| count.flagged == 0)
            .max_by_key(|(_, count)| count.judged)
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
