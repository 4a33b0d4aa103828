//! One skater over the sessions. Never beside another one: children are not
//! ranked here.

use egui::Ui;

use super::passes::Plot;
use super::{Desk, limits};
use crate::panel::model::{Command, ProgressSeries};
use crate::panel::state::{Choosing, PageId};
use crate::panel::widgets::{Press, Voice, card, columns, pager, say};
use crate::roster::SkaterId;
use crate::rules::{Limits, Rule, Unit};

/// Measures on one leaf.
const PER_LEAF: usize = 4;

/// What is open on the page.
#[derive(Default)]
pub(in crate::panel) struct ProgressState {
    /// Whose.
    who: Option<SkaterId>,
    /// Whether it is the whole group's.
    group: bool,
    leaf: usize,
}

impl ProgressState {
    /// One skater's.
    pub(in crate::panel) fn of(who: SkaterId) -> Self {
        ProgressState {
            who: Some(who),
            ..ProgressState::default()
        }
    }

    /// The whole group's.
    pub(in crate::panel) fn of_group() -> Self {
        ProgressState {
            group: true,
            ..ProgressState::default()
        }
    }
}

pub(in crate::panel) fn show(ui: &mut Ui, d: &mut Desk<'_>, state: &mut ProgressState) {
    let s = d.s;
    if d.view.roster.is_empty() {
        return d.empty(ui, "progress.no_roster", Some(PageId::Skaters));
    }
    let view = d.view;
    let who = state.who;
    let progress = view
        .progress
        .as_ref()
        .filter(|p| who.is_none_or(|id| id == p.skater));
    let group = state.group || (who.is_none() && progress.is_none());
    ui.horizontal(|ui| {
        if Press::new(d.w.get("progress.choose")).main().show(ui, s) {
            d.choose = Some(Choosing::Progress);
        }
        if Press::new(d.w.get("progress.group"))
            .page(group)
            .show(ui, s)
        {
            state.group = true;
        }
        if let Some(id) = who.or(progress.map(|p| p.skater)).filter(|_| !group) {
            say(ui, s, Voice::Title, &d.label(Some(id)));
        }
    });
    if group {
        if let Some(id) = super::group::show(ui, d) {
            *state = ProgressState::of(id);
            d.send(Command::OpenProgress(id));
        }
        return;
    }
    let Some(progress) = progress else {
        say(ui, s, Voice::Body, d.w.get("progress.loading"));
        return;
    };
    if progress.series.is_empty() {
        say(ui, s, Voice::Body, d.w.get("progress.empty"));
        return;
    }
    let range = pager(ui, s, d.w, progress.series.len(), PER_LEAF, &mut state.leaf);
    for pair in progress.series[range].chunks(2) {
        columns(ui, s, [1.0, 1.0], |[left, right]| {
            for (ui, series) in [left, right].into_iter().zip(pair) {
                one(ui, d, series);
            }
        });
    }
    say(ui, s, Voice::Quiet, d.w.get("progress.how"));
}

/// What is shown up and down: from the limits, and not from the data, so that
/// a degree looks the same for everybody and on every evening.
fn scale(rule: &Rule, limits: &Limits) -> [f64; 2] {
    let around = match rule.unit {
        Unit::Deg => 15.0,
        Unit::Metre => 0.12,
    };
    let low = limits.at_least.or(limits.at_most).unwrap_or(0.0);
    let high = limits.at_most.or(limits.at_least).unwrap_or(0.0);
    [low - around, high + around]
}

fn one(ui: &mut Ui, d: &Desk<'_>, series: &ProgressSeries) {
    let s = d.s;
    let rule = series.rule.rule();
    let name = d.w.rule_name(rule);
    card(ui, s, name, |ui| {
        let points: Vec<[f64; 2]> = series
            .points
            .iter()
            .enumerate()
            .map(|(i, p)| [i as f64, p.median])
            .collect();
        let errors: Vec<f64> = series.points.iter().map(|p| p.uncertainty).collect();
        Plot {
            name,
            points: &points,
            errors: &errors,
            low: series.limits.at_least,
            high: series.limits.at_most,
            mark: None,
            at: None,
            dot: None,
            seconds: false,
            scale: Some(scale(rule, &series.limits)),
            joined: false,
            height_mm: 34.0,
            value: &|v| d.f.value(rule.unit, v),
            second: &|_| String::new(),
        }
        .show(ui, s);
        let (Some(first), Some(last)) = (series.points.first(), series.points.last()) else {
            return;
        };
        let text = d.w.say(
            "progress.last",
            &[
                ("from", &first.day),
                ("to", &last.day),
                ("value", &d.f.value(rule.unit, last.median)),
                ("error", &d.f.value(rule.unit, last.uncertainty)),
                ("n", &last.pushes.to_string()),
                ("limits", &limits::said(d, rule.id, &series.limits)),
            ],
        );
        say(ui, s, Voice::Quiet, &text);
    });
}
