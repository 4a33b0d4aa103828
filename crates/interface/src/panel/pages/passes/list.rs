//! The list of pushes with its filters.

use egui::Ui;

use super::{Filter, PassesState};
use crate::panel::model::{Command, PassRow, PushRow};
use crate::panel::pages::{Desk, bib_of};
use crate::panel::state::{Choosing, PageId};
use crate::panel::widgets::{Icon, Press, Voice, card, choice, columns, pager, say, toggle};
use crate::rules::{Leg, Measure, RULES, RuleId};
use crate::store::{PassKey, PushKey, Verdict};

pub(super) fn show(ui: &mut Ui, d: &mut Desk<'_>, state: &mut PassesState) {
    session(ui, d);
    if d.view.sessions.is_empty() && d.view.passes.is_empty() {
        return d.empty(ui, "passes.empty", Some(PageId::Now));
    }
    if d.s.is_upright() {
        filters(ui, d, state);
        pushes(ui, d, state);
        return;
    }
    columns(ui, d.s, [1.9, 1.0], |[left, right]| {
        pushes(left, d, state);
        filters(right, d, state);
        if !state.filtering {
            agreement(right, d);
        }
    });
}

/// Which session, and the ones before and after.
fn session(ui: &mut Ui, d: &mut Desk<'_>) {
    let s = d.s;
    let view = d.view;
    // Newest first.
    let at = view
        .sessions
        .iter()
        .position(|x| Some(x.id.number()) == view.session);
    let older = at.map_or(0, |i| i + 1);
    let newer = at.and_then(|i| i.checked_sub(1));
    ui.horizontal(|ui| {
        for (key, to) in [("passes.older", Some(older)), ("passes.newer", newer)] {
            let there = to.and_then(|i| view.sessions.get(i));
            let pressed = Press::new(d.w.get(key))
                .enabled(there.is_some())
                .show(ui, s);
            if let (true, Some(session)) = (pressed, there) {
                d.out.push(Command::OpenSession(session.id.number()));
            }
        }
        if let Some(session) = at.and_then(|i| view.sessions.get(i)) {
            // To the minute: 2026-11-25T18:02.
            let started: String = session.started_at.chars().take(16).collect();
            let text = d.w.say(
                "passes.session",
                &[
                    ("n", &session.id.number().to_string()),
                    ("at", &started.replace('T', " ")),
                    ("passes", &session.passes.to_string()),
                ],
            );
            say(ui, s, Voice::Body, &text);
        }
    });
}

/// The pushes that fit, newest pass first; passes that came after the list was
/// opened wait, so that nothing moves under the finger.
fn listed<'v>(
    d: &Desk<'v>,
    filter: Filter,
    upto: Option<PassKey>,
) -> Vec<(&'v PassRow, u32, &'v PushRow)> {
    let mut found = vec![];
    let waits = |pass: &PassRow| {
        upto.is_some_and(|upto| pass.key.session == upto.session && pass.key.number > upto.number)
    };
    for pass in d.view.passes.iter().filter(|p| !waits(p)) {
        if filter.skater.is_some() && pass.skater != filter.skater {
            continue;
        }
        for (position, push) in pass.pushes.iter().enumerate() {
            let flags = &push.judged.flags;
            let of_rule = |id: RuleId| flags.iter().any(|f| f.rule == id);
            let fits = filter.leg.is_none_or(|leg| leg == push.judged.leg)
                && filter.rule.is_none_or(of_rule)
                && (!filter.flagged || !flags.is_empty())
                && (!filter.starred || push.note.starred);
            if fits {
                found.push((pass, position as u32, push));
            }
        }
    }
    found
}

fn pushes(ui: &mut Ui, d: &mut Desk<'_>, state: &mut PassesState) {
    let s = d.s;
    let newest = d.view.passes.first().map(|p| p.key);
    let same = state.upto.map(|k| k.session) == newest.map(|k| k.session);
    if !same || state.upto.is_none() {
        state.upto = newest;
    }
    let found = listed(d, state.filter, state.upto);
    let new = newest.zip(state.upto).map_or(0, |(newest, upto)| {
        newest.number.saturating_sub(upto.number)
    });
    // Its place is always there.
    let text = match new {
        0 => d.w.get("passes.newest").to_owned(),
        n => d.w.say("passes.new", &[("n", &n.to_string())]),
    };
    let wide = ui.available_width();
    let key = Press::new(&text).enabled(new > 0).wide(wide);
    if key.show(ui, s) {
        state.upto = newest;
        state.leaf = 0;
    }
    if found.is_empty() {
        let key = if d.view.passes.is_empty() {
            "passes.none"
        } else {
            "passes.none_fits"
        };
        say(ui, s, Voice::Body, d.w.get(key));
        return;
    }
    // As many as there is room for, so that nothing has to be scrolled.
    let room = ui.clip_rect().bottom() - ui.cursor().top();
    let row = s.target() + s.gap();
    let per_leaf = ((room / row).floor() as usize)
        .saturating_sub(1)
        .clamp(3, 12);
    let range = pager(ui, s, d.w, found.len(), per_leaf, &mut state.leaf);
    let width = ui.available_width();
    for (pass, position, push) in &found[range] {
        let text = line(d, pass, *position, push);
        let icon = if push.note.starred {
            Icon::Star
        } else if !push.judged.flags.is_empty() {
            Icon::Warning
        } else if push.judged.measures.values().any(Measure::is_judged) {
            Icon::Tick
        } else {
            Icon::Unknown
        };
        let colour = bib_of(d, pass.skater).1;
        let key = Press::new(&text)
            .left()
            .icon(icon)
            .swatch(colour)
            .wide(width);
        if key.show(ui, s) {
            let key = PushKey {
                pass: pass.key,
                position: *position,
            };
            state.open = Some(key);
            d.out.push(Command::OpenPush {
                push: key,
                rule: state.filter.rule,
            });
        }
    }
}

/// One push in a line: number, who, leg, what was flagged.
fn line(d: &Desk<'_>, pass: &PassRow, position: u32, push: &PushRow) -> String {
    let place = d.w.say(
        "passes.push",
        &[
            ("pass", &pass.key.number.to_string()),
            ("push", &(position + 1).to_string()),
        ],
    );
    let mut parts = vec![
        place,
        d.label(pass.skater),
        d.leg(push.judged.leg).to_owned(),
    ];
    for flag in &push.judged.flags {
        let rule = flag.rule.rule();
        let said = match push.note.verdicts.get(&flag.rule) {
            Some(Verdict::Confirmed) => format!(" ({})", d.w.get("passes.confirmed")),
            Some(Verdict::Dismissed) => format!(" ({})", d.w.get("passes.dismissed")),
            None => String::new(),
        };
        let value = d.f.value(rule.unit, flag.value);
        parts.push(format!("{} {value}{said}", d.w.rule_name(rule)));
    }
    if push.note.starred {
        parts.push(d.w.get("passes.starred").to_owned());
    }
    parts.join(", ")
}

fn filters(ui: &mut Ui, d: &mut Desk<'_>, state: &mut PassesState) {
    let s = d.s;
    let before = state.filter;
    if !state.filtering {
        let open = Press::new(d.w.get("passes.filter"));
        if open.wide(ui.available_width()).show(ui, s) {
            state.filtering = true;
        }
        let said = said(d, &before);
        say(ui, s, Voice::Quiet, &said);
        return;
    }
    let filter = &mut state.filter;
    card(ui, s, d.w.get("passes.filter_title"), |ui| {
        let who = match filter.skater {
            Some(id) => d.label(Some(id)),
            None => d.w.get("choose.all").to_owned(),
        };
        let text = d.w.say("passes.who", &[("who", &who)]);
        if Press::new(&text).wide(ui.available_width()).show(ui, s) {
            d.choose = Some(Choosing::Filter);
        }
        if let Some(on) = toggle(ui, s, d.w.get("passes.flagged"), filter.flagged) {
            filter.flagged = on;
        }
        if let Some(on) = toggle(ui, s, d.w.get("passes.starred_only"), filter.starred) {
            filter.starred = on;
        }
        let legs = [None, Some(Leg::Left), Some(Leg::Right)];
        let keys = legs.map(|leg| {
            let word = leg.map_or(d.w.get("leg.both"), |leg| d.leg(leg));
            (word, filter.leg == leg)
        });
        if let Some(index) = choice(ui, s, keys) {
            filter.leg = legs[index];
        }
        let any = (d.w.get("passes.any_rule"), filter.rule.is_none());
        let keys = std::iter::once(any)
            .chain(RULES.map(|r| (d.w.rule_name(r), filter.rule == Some(r.id))));
        if let Some(index) = choice(ui, s, keys.collect::<Vec<_>>()) {
            filter.rule = index.checked_sub(1).map(|i| RULES[i].id);
        }
        if Press::new(d.w.get("list.close")).main().show(ui, s) {
            state.filtering = false;
        }
    });
    let after = &state.filter;
    if (before.leg, before.rule, before.flagged, before.starred)
        != (after.leg, after.rule, after.flagged, after.starred)
    {
        state.leaf = 0;
    }
}

/// What the filter lets through, in words.
fn said(d: &Desk<'_>, filter: &Filter) -> String {
    let mut parts = vec![];
    if let Some(id) = filter.skater {
        parts.push(d.label(Some(id)));
    }
    parts.extend(filter.leg.map(|leg| d.leg(leg).to_owned()));
    let rule = filter.rule.map(RuleId::rule);
    parts.extend(rule.map(|r| d.w.rule_name(r).to_owned()));
    if filter.flagged {
        parts.push(d.w.get("passes.flagged").to_owned());
    }
    if filter.starred {
        parts.push(d.w.get("passes.starred_only").to_owned());
    }
    if parts.is_empty() {
        d.w.get("passes.everything").to_owned()
    } else {
        d.w.say("passes.only", &[("what", &parts.join(", "))])
    }
}

/// How often the coach agreed with each rule.
fn agreement(ui: &mut Ui, d: &Desk<'_>) {
    let s = d.s;
    card(ui, s, d.w.get("passes.agreement"), |ui| {
        if d.view.agreement.is_empty() {
            say(ui, s, Voice::Quiet, d.w.get("passes.no_agreement"));
        }
        for entry in d.view.agreement.iter() {
            let rule = entry.rule.rule();
            let all = entry.confirmed + entry.dismissed;
            let text = d.w.say(
                "passes.agreed",
                &[
                    ("what", d.w.rule_name(rule)),
                    ("n", &entry.confirmed.to_string()),
                    ("of", &all.to_string()),
                ],
            );
            say(ui, s, Voice::Body, &text);
        }
    });
}
