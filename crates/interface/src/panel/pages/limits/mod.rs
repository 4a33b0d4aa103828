//! The limits: every rule for every group, and for one skater.

mod drawing;
mod meaning;

use egui::Ui;

use super::Desk;
use crate::panel::model::{Command, LimitEdit};
use crate::panel::state::Choosing;
use crate::panel::widgets::columns;
use crate::panel::widgets::{Press, Slider, Voice, card, flow, grid, plain_card, say, toggle};
use crate::roster::SkaterId;
use crate::rules::{AgeGroup, Limits, RULES, Rule, RuleId, Unit};

/// What is open on the page.
#[derive(Default)]
pub(in crate::panel) struct LimitsState {
    group: Option<AgeGroup>,
    rule: usize,
    /// Whose limits are set; the group's where `None`.
    pub(in crate::panel) skater: Option<SkaterId>,
    /// Limits that were moved and not yet used, and what they belong to.
    draft: Option<(Place, Limits)>,
    copying: bool,
    resetting: bool,
}

/// Where limits belong.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Place {
    group: AgeGroup,
    skater: Option<SkaterId>,
    rule: RuleId,
}

pub(in crate::panel) fn show(ui: &mut Ui, d: &mut Desk<'_>, state: &mut LimitsState) {
    let s = d.s;
    if state.skater.is_some_and(|id| d.skater(id).is_none()) {
        state.skater = None;
    }
    let group = match state.skater.and_then(|id| d.skater(id)) {
        Some(skater) => skater.age_group,
        None => *state
            .group
            .get_or_insert(d.view.age_group.unwrap_or(AgeGroup::U13)),
    };
    columns(ui, s, [1.0, 1.45], |[left, right]| {
        whose(left, d, state, group);
        rules(left, d, state, group);
        if state.skater.is_none() {
            meaning::surety(left, d);
        }
        editor(right, d, state, group);
    });
}

fn whose(ui: &mut Ui, d: &mut Desk<'_>, state: &mut LimitsState, group: AgeGroup) {
    let s = d.s;
    match state.skater {
        Some(id) => {
            let text = d.w.say("limits.of_skater", &[("who", &d.label(Some(id)))]);
            say(ui, s, Voice::Head, &text);
        }
        None => {
            say(ui, s, Voice::Head, d.w.get("limits.group"));
            let keys = AgeGroup::ALL
                .iter()
                .map(|g| Press::new(group_word(d, *g)).page(*g == group))
                .collect();
            let across = match ui.available_width() / s.mm(1.0) {
                narrow if narrow < 60.0 => 2,
                small if small < 95.0 => 3,
                _ => 4,
            };
            if let Some(index) = grid(ui, s, across, keys) {
                state.group = Some(AgeGroup::ALL[index]);
                state.copying = false;
                state.resetting = false;
            }
        }
    }
    ui.horizontal(|ui| {
        let key = if state.skater.is_some() {
            "limits.back_to_group"
        } else {
            "limits.one_skater"
        };
        if Press::new(d.w.get(key)).show(ui, s) {
            match state.skater.take() {
                Some(_) => {}
                None => d.choose = Some(Choosing::Limits),
            }
        }
    });
    if state.skater.is_none() {
        let said = if d.view.age_group == Some(group) {
            Some(d.w.get("limits.judged_as"))
        } else {
            None
        };
        match said {
            Some(text) => {
                say(ui, s, Voice::Quiet, text);
            }
            None => {
                if Press::new(d.w.get("limits.judge_as")).show(ui, s) {
                    d.send(Command::UseAgeGroup(group));
                }
            }
        }
    }
}

/// The name of a group as it is shown.
pub(in crate::panel) fn group_word<'a>(d: &Desk<'a>, group: AgeGroup) -> &'a str {
    d.w.group_name(group)
}

/// The limits that hold there now.
fn current(d: &Desk<'_>, place: Place) -> Limits {
    let own = place
        .skater
        .and_then(|id| d.skater(id))
        .and_then(|s| s.overrides.get(&place.rule).copied());
    own.unwrap_or_else(|| d.view.groups.thresholds(place.group).limits[place.rule])
}

fn rules(ui: &mut Ui, d: &Desk<'_>, state: &mut LimitsState, group: AgeGroup) {
    let s = d.s;
    let width = ui.available_width();
    for (index, rule) in RULES.iter().enumerate() {
        let limits = current(
            d,
            Place {
                group,
                skater: state.skater,
                rule: rule.id,
            },
        );
        let own = state
            .skater
            .and_then(|id| d.skater(id))
            .is_some_and(|s| s.overrides.contains_key(&rule.id));
        let mut text = d.w.pair(d.w.rule_name(rule), &d.f.limits(rule, &limits));
        if !limits.flagged {
            text += &format!(", {}", d.w.get("limits.quiet"));
        }
        if own {
            text += &format!(", {}", d.w.get("limits.own"));
        }
        let key = Press::new(&text)
            .named(d.w.rule_name(rule))
            .page(index == state.rule)
            .wide(width);
        if key.show(ui, s) {
            state.rule = index;
            state.resetting = false;
            state.copying = false;
        }
    }
}

fn editor(ui: &mut Ui, d: &mut Desk<'_>, state: &mut LimitsState, group: AgeGroup) {
    let s = d.s;
    let rule = RULES[state.rule.min(RULES.len() - 1)];
    let place = Place {
        group,
        skater: state.skater,
        rule: rule.id,
    };
    let now = current(d, place);
    let mut limits = match state.draft {
        Some((of, limits)) if of == place => limits,
        _ => now,
    };
    let mut settled = false;
    let moved = limits != now;
    card(ui, s, d.w.rule_name(rule), |ui| {
        // At the head, so that they are seen on every screen and never move.
        let keys = vec![
            Press::new(d.w.get("limits.use")).main().enabled(moved),
            Press::new(d.w.get("limits.put_back")).enabled(moved),
        ];
        match grid(ui, s, 2, keys) {
            Some(0) => d.send(match place.skater {
                Some(skater) => Command::OverrideLimits {
                    skater,
                    rule: rule.id,
                    limits: Some(limits),
                },
                None => Command::SetLimits(LimitEdit {
                    group,
                    rule: rule.id,
                    limits,
                }),
            }),
            Some(_) => limits = now,
            None => {}
        }
        let sense = d.w.get(sense_key(rule.id.code()));
        let about = |ui: &mut Ui| {
            say(ui, s, Voice::Quiet, d.w.rule_about(rule));
            say(ui, s, Voice::Body, sense);
        };
        if s.is_small() {
            // While a slider is moved, what it would do stands here: below the sliders nobody
            // sees it.
            let place_of = egui::Id::unique(("what a limit is", rule.id.code()));
            if moved {
                let height = ui.data(|data| data.get_temp(place_of)).unwrap_or(0.0);
                ui.scope(|ui| {
                    ui.set_min_height(height);
                    say(
                        ui,
                        s,
                        Voice::Body,
                        &effect_text(d, rule, &edit_of(place, limits), true),
                    );
                });
            } else {
                let height = ui.scope(about).response.rect.height();
                ui.data_mut(|data| data.insert_temp(place_of, height));
            }
        } else {
            let picture = s.mm(48.0) / ui.available_width();
            columns(ui, s, [picture, 1.0 - picture], |[left, right]| {
                drawing::show(left, s, rule, &limits, d.w.rule_name(rule));
                about(right);
            });
        }
        settled |= sliders(ui, d, rule, &mut limits);
        if let Some(on) = toggle(ui, s, d.w.get("limits.flagged"), limits.flagged) {
            limits.flagged = on;
            settled = true;
        }
    });
    let edit = edit_of(place, limits);
    state.draft = (limits != now).then_some((place, limits));
    if settled {
        d.send(Command::PreviewLimits(edit.clone()));
    }
    effect(ui, d, rule, &edit, limits != now);
    keys(ui, d, state, place);
}

/// The key of the words that say which way is better.
fn sense_key(id: &str) -> &'static str {
    match id {
        "knee_bend" => "sense.knee_bend",
        "extension" => "sense.extension",
        "recovery_gap" => "sense.recovery_gap",
        "arm_crossover" => "sense.arm_crossover",
        "trunk_lean" => "sense.trunk_lean",
        _ => "sense.toe_direction",
    }
}

fn step(unit: Unit) -> f64 {
    match unit {
        Unit::Deg => 1.0,
        Unit::Metre => 0.01,
    }
}

fn sliders(ui: &mut Ui, d: &Desk<'_>, rule: &Rule, limits: &mut Limits) -> bool {
    let s = d.s;
    let step = step(rule.unit);
    let (low, high) = (*rule.range.start(), *rule.range.end());
    let slider = |name, range, step| Slider {
        name: d.w.get(name),
        less: d.w.get("number.less"),
        more: d.w.get("number.more"),
        range,
        step,
        format: &|_| String::new(),
    };
    let whole = |v: f64| d.f.exact(rule.unit, v);
    let finer = |v: f64| d.f.finer(rule.unit, v);
    let mut settled = false;
    let both = (limits.at_least, limits.at_most);
    if let Some(value) = &mut limits.at_least {
        // The two limits of a band may not meet.
        let most = both.1.map_or(high, |h| h - step);
        settled |= Slider {
            format: &whole,
            ..slider("limits.at_least", low..=most, step)
        }
        .show(ui, s, value);
    }
    if let Some(value) = &mut limits.at_most {
        let least = both.0.map_or(low, |l| l + step);
        settled |= Slider {
            format: &whole,
            ..slider("limits.at_most", least..=high, step)
        }
        .show(ui, s, value);
    }
    settled
        | Slider {
            format: &finer,
            ..slider("limits.dead_band", rule.dead_band_range.clone(), step / 2.0)
        }
        .show(ui, s, &mut limits.dead_band)
}

fn edit_of(place: Place, limits: Limits) -> LimitEdit {
    LimitEdit {
        group: place.group,
        rule: place.rule,
        limits,
    }
}

fn effect(ui: &mut Ui, d: &Desk<'_>, rule: &Rule, edit: &LimitEdit, changed: bool) {
    let text = effect_text(d, rule, edit, changed);
    plain_card(ui, d.s, d.s.c.band, |ui| {
        say(ui, d.s, Voice::Body, &text);
    });
}

/// What the limits would have done to the last pushes.
fn effect_text(d: &Desk<'_>, rule: &Rule, edit: &LimitEdit, changed: bool) -> String {
    match &d.view.effect {
        Some(effect) if effect.edit == *edit && effect.pushes == 0 => {
            d.w.get("limits.no_pushes").to_owned()
        }
        Some(effect) if effect.edit == *edit => d.w.say(
            "limits.effect",
            &[
                ("flagged", &effect.flagged.to_string()),
                ("of", &effect.pushes.to_string()),
                ("now", &effect.flagged_now.to_string()),
            ],
        ),
        _ if changed => d.w.get("limits.effect_waits").to_owned(),
        _ => {
            let limits = d.f.limits(rule, &edit.limits);
            let stand = d.w.say("limits.as_they_stand", &[("limits", &limits)]);
            match meaning::what_it_means(d, rule, &edit.limits) {
                Some(means) => format!("{stand} {means}"),
                None => stand,
            }
        }
    }
}

fn keys(ui: &mut Ui, d: &mut Desk<'_>, state: &mut LimitsState, place: Place) {
    let s = d.s;
    let mut commands = vec![];
    let id = place.rule;
    flow(ui, |ui| {
        let text = d.w.get("limits.undo");
        if Press::new(text).enabled(d.view.can_undo_limits).show(ui, s) {
            commands.push(Command::UndoLimits);
            state.draft = None;
        }
        match place.skater {
            Some(skater) => {
                let has = d
                    .skater(skater)
                    .is_some_and(|x| x.overrides.contains_key(&place.rule));
                let text = d.w.get("limits.take_off");
                if Press::new(text).enabled(has).show(ui, s) {
                    commands.push(Command::OverrideLimits {
                        skater,
                        rule: id,
                        limits: None,
                    });
                    state.draft = None;
                }
            }
            None => {
                if Press::new(d.w.get("limits.reset")).show(ui, s) {
                    commands.push(Command::ResetLimits {
                        group: place.group,
                        rule: Some(id),
                    });
                    state.draft = None;
                }
                if Press::new(d.w.get("limits.reset_all")).show(ui, s) {
                    state.resetting = true;
                    state.copying = false;
                }
                if Press::new(d.w.get("limits.copy")).show(ui, s) {
                    state.copying = true;
                    state.resetting = false;
                }
            }
        }
    });
    if place.skater.is_none() && state.resetting {
        sure(ui, d, state, place.group, &mut commands);
    }
    if place.skater.is_none() && state.copying {
        copy_from(ui, d, state, place.group, &mut commands);
    }
    d.out.append(&mut commands);
}

fn sure(
    ui: &mut Ui,
    d: &Desk<'_>,
    state: &mut LimitsState,
    group: AgeGroup,
    commands: &mut Vec<Command>,
) {
    let s = d.s;
    plain_card(ui, s, s.c.warning, |ui| {
        let text =
            d.w.say("limits.reset_sure", &[("group", group_word(d, group))]);
        say(ui, s, Voice::Body, &text);
        flow(ui, |ui| {
            if Press::new(d.w.get("limits.reset_yes")).danger().show(ui, s) {
                commands.push(Command::ResetLimits { group, rule: None });
                state.resetting = false;
                state.draft = None;
            }
            if Press::new(d.w.get("list.cancel")).show(ui, s) {
                state.resetting = false;
            }
        });
    });
}

fn copy_from(
    ui: &mut Ui,
    d: &Desk<'_>,
    state: &mut LimitsState,
    group: AgeGroup,
    commands: &mut Vec<Command>,
) {
    let s = d.s;
    plain_card(ui, s, s.c.warning, |ui| {
        let text =
            d.w.say("limits.copy_sure", &[("group", group_word(d, group))]);
        say(ui, s, Voice::Body, &text);
        flow(ui, |ui| {
            for from in AgeGroup::ALL.into_iter().filter(|g| *g != group) {
                let text =
                    d.w.say("limits.copy_from", &[("group", group_word(d, from))]);
                if Press::new(&text).show(ui, s) {
                    commands.push(Command::CopyLimits { from, to: group });
                    state.copying = false;
                    state.draft = None;
                }
            }
            if Press::new(d.w.get("list.cancel")).show(ui, s) {
                state.copying = false;
            }
        });
    });
}

/// A rule's limits as a page that only knows its id says them.
pub(in crate::panel) fn said(d: &Desk<'_>, rule: RuleId, limits: &Limits) -> String {
    d.f.limits(rule.rule(), limits)
}
