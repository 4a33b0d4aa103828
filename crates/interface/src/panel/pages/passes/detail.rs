//! One push: its pictures in slow motion, the curve, what the coach says.

use std::sync::Arc;

use egui::{Ui, vec2};

use super::curve::Plot;
use super::{PassesState, Play};
use crate::panel::model::{Command, CurveOf, PassRow, PushDetail, PushRow};
use crate::panel::pages::{Desk, limits};
use crate::panel::widgets::{
    Press, Voice, card, columns, field_lines, flow, grid, plain_card, say, toggle,
};
use crate::rules::NotJudged;
use crate::store::{PushKey, Verdict};

/// How much slower than the push itself the pictures run.
const SLOWER: f64 = 4.0;
/// How long the last picture stays before the first comes again, seconds.
const REST_S: f64 = 0.8;

pub(super) fn show(ui: &mut Ui, d: &mut Desk<'_>, state: &mut PassesState, key: PushKey) {
    let s = d.s;
    let view = d.view;
    let row = view
        .passes
        .iter()
        .find(|p| p.key == key.pass)
        .and_then(|p| Some((p, p.pushes.get(key.position as usize)?)));
    let who = row.map_or_else(String::new, |(p, _)| d.label(p.skater));
    let title = d.w.say(
        "detail.title",
        &[
            ("pass", &key.pass.number.to_string()),
            ("push", &(key.position + 1).to_string()),
            ("who", &who),
        ],
    );
    ui.horizontal(|ui| {
        if Press::new(d.w.get("detail.back")).show(ui, s) {
            state.back();
        }
        say(ui, s, Voice::Head, &title);
    });
    let detail = view.push.as_ref().filter(|p| p.key == key);
    let shown = |ui: &mut Ui, d: &mut Desk<'_>, state: &mut PassesState| match detail {
        Some(detail) => {
            pictures(ui, d, &mut state.play, detail);
            curve(ui, d, &mut state.play, detail);
        }
        None => {
            say(ui, s, Voice::Body, d.w.get("detail.loading"));
        }
    };
    let said = |ui: &mut Ui, d: &mut Desk<'_>, state: &mut PassesState| {
        if let Some((pass, push)) = row {
            flags(ui, d, state, key, push, detail);
            note(ui, d, state, key, push);
            measures(ui, d, pass, push);
        }
    };
    if s.is_upright() {
        shown(ui, d, state);
        said(ui, d, state);
        return;
    }
    columns(ui, s, [1.2, 1.0], |[left, right]| {
        shown(left, d, state);
        said(right, d, state);
    });
}

fn pictures(ui: &mut Ui, d: &mut Desk<'_>, play: &mut Play, detail: &Arc<PushDetail>) {
    let s = d.s;
    let count = detail.pictures.len();
    if count == 0 {
        plain_card(ui, s, s.c.card, |ui| {
            say(ui, s, Voice::Body, d.w.get("detail.no_pictures"));
        });
        return;
    }
    let now_s = ui.input(|i| i.time);
    let flagged = detail.flagged.min(count - 1);
    let at = advance(play, detail, flagged, now_s);
    if play.since_s.is_some() {
        ui.ctx()
            .request_repaint_after(std::time::Duration::from_millis(30));
    }
    // On a small screen the curve has to be seen beside it.
    let high = if s.is_small() { 44.0 } else { 70.0 };
    let room = vec2(ui.available_width(), s.mm(high));
    let (at_s, picture) = &detail.pictures[at];
    let names = (d.w.get("detail.picture"), "");
    d.pictures.show(ui, s, room, Some(picture), names);
    let text = d.w.say(
        "detail.picture_at",
        &[
            ("n", &(at + 1).to_string()),
            ("of", &count.to_string()),
            ("ms", &d.f.number((at_s - detail.instant_s) * 1000.0, 0)),
        ],
    );
    say(ui, s, Voice::Quiet, &text);
    let playing = play.since_s.is_some();
    let keys = vec![
        Press::new(d.w.get("detail.step_back")),
        Press::new(d.w.get(if playing {
            "detail.pause"
        } else {
            "detail.play"
        }))
        .main(),
        Press::new(d.w.get("detail.step_on")),
        Press::new(d.w.get("detail.to_flag")),
    ];
    match grid(ui, s, 4, keys) {
        Some(0) => *play = still(at.checked_sub(1).unwrap_or(count - 1)),
        Some(1) if playing => *play = still(at),
        Some(1) => play.since_s = Some(now_s),
        Some(2) => *play = still((at + 1) % count),
        Some(_) => *play = still(flagged),
        None => {}
    }
}

fn still(at: usize) -> Play {
    Play {
        at: Some(at),
        since_s: None,
    }
}

/// The picture that is due, and the state brought up to it.
fn advance(play: &mut Play, detail: &PushDetail, flagged: usize, now_s: f64) -> usize {
    let count = detail.pictures.len();
    let mut at = play.at.unwrap_or(flagged).min(count - 1);
    // Bounded, also where the window slept for a long time.
    for _ in 0..count {
        let Some(since_s) = play.since_s else { break };
        let next = (at + 1) % count;
        let stays_s = if next == 0 {
            REST_S
        } else {
            ((detail.pictures[next].0 - detail.pictures[at].0) * SLOWER).clamp(0.02, 2.0)
        };
        if now_s < since_s + stays_s {
            break;
        }
        play.since_s = Some(since_s + stays_s);
        at = next;
    }
    if play.since_s.is_some_and(|since_s| now_s - since_s > 2.0) {
        play.since_s = Some(now_s);
    }
    play.at = Some(at);
    at
}

/// The curve and the picture are one thing: the line on the curve is where the picture
/// is, and a finger on the curve brings the picture there.
fn curve(ui: &mut Ui, d: &Desk<'_>, play: &mut Play, detail: &PushDetail) {
    let s = d.s;
    let limited = detail.curve_of.has_limits_of(detail.rule);
    let title = d.w.get(match detail.curve_of {
        CurveOf::Knee => "detail.knee",
        CurveOf::Trunk => "detail.trunk",
    });
    let shown = play.at.unwrap_or(detail.flagged);
    let shown_at_s = detail.pictures.get(shown).map(|(at_s, _)| *at_s);
    card(ui, s, title, |ui| {
        if detail.curve.is_empty() {
            say(ui, s, Voice::Body, d.w.get("detail.no_curve"));
            return;
        }
        let points: Vec<[f64; 2]> = detail.curve.iter().map(|p| [p.at_s, p.value_deg]).collect();
        let finger = Plot {
            name: title,
            points: &points,
            errors: &[],
            // The limit of a rule of another joint has no place in this curve.
            low: detail.limits.at_least.filter(|_| limited),
            high: detail.limits.at_most.filter(|_| limited),
            mark: Some(detail.instant_s),
            at: shown_at_s,
            dot: detail
                .measured
                .filter(|_| limited)
                .map(|(value, error)| [value, error]),
            seconds: true,
            scale: None,
            joined: true,
            height_mm: if s.is_small() { 31.0 } else { 40.0 },
            value: &|v| format!("{}°", d.f.number(v, 0)),
            second: &|v| d.w.say("detail.second", &[("n", &d.f.number(v, 1))]),
        }
        .show(ui, s);
        let off = |at_s: f64, i: usize| (detail.pictures[i].0 - at_s).abs();
        let nearest = finger.and_then(|at_s| {
            (0..detail.pictures.len()).min_by(|&a, &b| off(at_s, a).total_cmp(&off(at_s, b)))
        });
        if let Some(nearest) = nearest {
            *play = still(nearest);
            ui.ctx().request_repaint();
        }
        if limited {
            let said = limits::said(d, detail.rule, &detail.limits);
            let text = d.w.say("detail.limit_line", &[("limits", &said)]);
            say(ui, s, Voice::Quiet, &text);
        }
        if shown_at_s.is_some() {
            say(ui, s, Voice::Quiet, d.w.get("detail.picture_line"));
        }
    });
}

fn flags(
    ui: &mut Ui,
    d: &mut Desk<'_>,
    state: &mut PassesState,
    key: PushKey,
    push: &PushRow,
    detail: Option<&Arc<PushDetail>>,
) {
    let s = d.s;
    let mut commands = vec![];
    card(ui, s, d.w.get("detail.flags"), |ui| {
        if push.judged.flags.is_empty() {
            say(ui, s, Voice::Body, d.w.get("now.no_flags"));
        }
        for flag in &push.judged.flags {
            let rule = flag.rule.rule();
            let name = d.w.rule_name(rule);
            let text = d.w.say(
                "detail.flag",
                &[
                    ("what", name),
                    ("value", &d.f.value(rule.unit, flag.value)),
                    ("limit", &d.f.value(rule.unit, flag.limit)),
                ],
            );
            say(ui, s, Voice::Body, &text);
            let verdict = push.note.verdicts.get(&flag.rule).copied();
            let names =
                ["now.confirm", "now.dismiss", "detail.show"].map(|k| d.w.pair(d.w.get(k), name));
            let shown = detail.is_some_and(|x| x.rule == flag.rule);
            let keys = vec![
                Press::new(d.w.get("now.confirm"))
                    .named(&names[0])
                    .choice(verdict == Some(Verdict::Confirmed)),
                Press::new(d.w.get("now.dismiss"))
                    .named(&names[1])
                    .choice(verdict == Some(Verdict::Dismissed)),
                Press::new(d.w.get("detail.show"))
                    .named(&names[2])
                    .enabled(!shown),
            ];
            let wanted = match grid(ui, s, 3, keys) {
                Some(0) => Verdict::Confirmed,
                Some(1) => Verdict::Dismissed,
                Some(_) => {
                    state.play = Play::default();
                    commands.push(Command::OpenPush {
                        push: key,
                        rule: Some(flag.rule),
                    });
                    continue;
                }
                None => continue,
            };
            commands.push(Command::SetVerdict {
                push: key,
                rule: flag.rule,
                // Pressed again, it is taken back.
                verdict: (verdict != Some(wanted)).then_some(wanted),
            });
        }
    });
    d.out.append(&mut commands);
}

fn note(ui: &mut Ui, d: &mut Desk<'_>, state: &mut PassesState, key: PushKey, push: &PushRow) {
    let s = d.s;
    card(ui, s, d.w.get("detail.note"), |ui| {
        if let Some(on) = toggle(ui, s, d.w.get("detail.star"), push.note.starred) {
            d.out.push(Command::SetStarred(key, on));
        }
        if state.comment.as_ref().is_none_or(|(of, _)| *of != key) {
            state.comment = Some((key, push.note.comment.clone()));
        }
        let Some((_, text)) = &mut state.comment else {
            return;
        };
        field_lines(ui, s, d.w.get("detail.comment"), text, 2);
        let changed = text.trim() != push.note.comment.trim();
        flow(ui, |ui| {
            let save = Press::new(d.w.get("detail.comment_save")).enabled(changed);
            if save.show(ui, s) {
                d.out.push(Command::SetComment(key, text.trim().to_owned()));
            }
        });
    });
}

/// Everything that was measured, also what was not judged, and why.
fn measures(ui: &mut Ui, d: &Desk<'_>, pass: &PassRow, push: &PushRow) {
    let s = d.s;
    card(ui, s, d.w.get("detail.measures"), |ui| {
        for (rule, measure) in push.judged.measures.iter() {
            let rule = rule.rule();
            if !rule.views.contains(&pass.view) {
                continue;
            }
            let said = match (measure.not_judged, measure.value) {
                (None, Some(value)) => {
                    let error = measure.uncertainty.unwrap_or(0.0);
                    format!(
                        "{} ± {}",
                        d.f.value(rule.unit, value),
                        d.f.value(rule.unit, error)
                    )
                }
                (why, _) => {
                    let why = why.unwrap_or(NotJudged::Other);
                    d.w.say(
                        "detail.not_judged",
                        &[("why", &d.setup.screen_words.reason(why))],
                    )
                }
            };
            let line = d.w.pair(d.w.rule_name(rule), &said);
            say(ui, s, Voice::Quiet, &line);
        }
    });
}
