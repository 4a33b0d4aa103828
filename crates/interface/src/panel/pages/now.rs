//! The page for the ice time itself: who is next, what the last pass was.

use egui::{Ui, vec2};

use super::Desk;
use crate::display::panel_theme as theme;
use crate::panel::model::{Command, PassRow, QueueStep};
use crate::panel::state::{Choosing, PageId};
use crate::panel::widgets::{Press, Voice, card, columns, grid, plain_card, say};
use crate::rules::Rule;
use crate::store::{PassKey, PushKey, Verdict};

/// How much of the width the picture's side takes.
const SHARES: [f32; 2] = [1.0, 1.15];

pub(in crate::panel) fn show(ui: &mut Ui, d: &mut Desk<'_>) {
    columns(ui, d.s, SHARES, |[left, right]| {
        picture(left, d);
        problems(left, d);
        if d.view.station.lane_example {
            d.empty(left, "now.lane_example", Some(PageId::SetUp));
        }
        station(left, d);
        next(right, d);
        last(right, d);
    });
}

fn picture(ui: &mut Ui, d: &mut Desk<'_>) {
    let room = vec2(ui.available_width(), d.s.mm(76.0));
    let said = if d.view.station.camera.is_empty() {
        d.w.get("now.no_picture").to_owned()
    } else {
        d.view.station.camera.clone()
    };
    d.pictures.show(
        ui,
        d.s,
        room,
        d.view.live.preview.as_ref(),
        (d.w.get("now.picture"), &said),
    );
    let passing = d.w.get(if d.view.live.somebody_passing {
        "now.passing"
    } else {
        "now.free"
    });
    say(ui, d.s, Voice::Body, passing);
}

fn problems(ui: &mut Ui, d: &mut Desk<'_>) {
    let s = d.s;
    if d.view.station.problems.is_empty() {
        return;
    }
    plain_card(ui, s, theme::WARNING, |ui| {
        say(ui, s, Voice::Head, d.w.get("now.problems"));
        for problem in &d.view.station.problems {
            say(ui, s, Voice::Body, problem);
        }
    });
}

fn station(ui: &mut Ui, d: &mut Desk<'_>) {
    let s = d.s;
    let station = &d.view.station;
    let number = |v: f64| d.f.number(v, 0);
    let rate = station
        .fps
        .map(|v| d.w.say("now.rate", &[("n", &number(v))]));
    let camera = [Some(station.camera.clone()), rate]
        .into_iter()
        .flatten()
        .filter(|t| !t.is_empty())
        .collect::<Vec<_>>()
        .join(", ");
    let written =
        d.w.say("now.written", &[("n", &station.passes_written.to_string())]);
    let disk = station
        .free_disk_gb
        .map(|v| d.w.say("now.disk", &[("n", &number(v))]));
    let recording = [Some(station.recording.clone()), Some(written), disk]
        .into_iter()
        .flatten()
        .filter(|t| !t.is_empty())
        .collect::<Vec<_>>()
        .join(", ");
    card(ui, s, d.w.get("now.station"), |ui| {
        for (name, state) in [
            ("now.camera", camera),
            ("now.recording", recording),
            ("now.sound", station.sound.clone()),
            ("now.engine", station.engine.clone()),
        ] {
            if !state.is_empty() {
                let name = d.w.get(name);
                let line = d.w.pair(name, &state);
                say(ui, s, Voice::Quiet, &line);
            }
        }
    });
}

fn next(ui: &mut Ui, d: &mut Desk<'_>) {
    let s = d.s;
    let queue = &d.view.queue;
    if d.view.roster.is_empty() {
        return d.empty(ui, "now.no_roster", Some(PageId::Skaters));
    }
    if queue.order.is_empty() {
        let mut all = false;
        card(ui, s, d.w.get("now.next"), |ui| {
            say(ui, s, Voice::Body, d.w.get("now.no_order"));
            all = Press::new(d.w.get("now.everybody"))
                .main()
                .large()
                .show(ui, s);
        });
        if all {
            d.send(Command::SetQueue(
                d.view.roster.iter().map(|s| s.id).collect(),
            ));
        }
        return;
    }
    let mut step = None;
    let mut choose = false;
    card(ui, s, d.w.get("now.next"), |ui| {
        say(ui, s, Voice::Large, &d.label(queue.current));
        let then = upcoming(d);
        say(ui, s, Voice::Quiet, &then);
        if let Some(at) = &queue.taken_up {
            say(ui, s, Voice::Body, &d.w.say("now.taken_up", &[("at", at)]));
        }
        let keys = vec![
            Press::new(d.w.get("now.skip")).large(),
            Press::new(d.w.get("now.swap")).large(),
            Press::new(d.w.get("now.unknown")).large(),
            Press::new(d.w.get("now.back")).large(),
            Press::new(d.w.get("now.undo"))
                .large()
                .enabled(queue.can_undo),
            Press::new(d.w.get("now.choose")).large(),
        ];
        match grid(ui, s, 3, keys) {
            Some(0) => step = Some(QueueStep::Skip),
            Some(1) => step = Some(QueueStep::Swap),
            Some(2) => step = Some(QueueStep::Unknown),
            Some(3) => step = Some(QueueStep::Back),
            Some(4) => step = Some(QueueStep::Undo),
            Some(_) => choose = true,
            None => {}
        }
    });
    if let Some(step) = step {
        d.send(Command::Queue(step));
    }
    if choose {
        d.choose = Some(Choosing::Next);
    }
}

/// With a capital at its start.
fn capital(sentence: &str) -> String {
    let mut letters = sentence.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

/// Who comes after the next one.
fn upcoming(d: &Desk<'_>) -> String {
    let queue = &d.view.queue;
    let from = queue
        .current
        .and_then(|id| queue.order.iter().position(|q| *q == id));
    let first = from.map_or(0, |at| at + 1);
    let names: Vec<String> = queue
        .order
        .iter()
        .cycle()
        .skip(first)
        .take(2)
        .map(|id| d.label(Some(*id)))
        .collect();
    d.w.say("now.then", &[("names", &names.join(", "))])
}

fn last(ui: &mut Ui, d: &mut Desk<'_>) {
    let s = d.s;
    let Some((key, cue)) = d.view.live.last.clone() else {
        card(ui, s, d.w.get("now.last"), |ui| {
            say(ui, s, Voice::Body, d.w.get("now.no_pass"));
        });
        return;
    };
    let view = d.view;
    let row = view.passes.iter().find(|p| p.key == key);
    let skater = row.map_or_else(|| d.view.queue.last.flatten(), |r| r.skater);
    let title = d.w.say(
        "now.last_of",
        &[("n", &key.number.to_string()), ("who", &d.label(skater))],
    );
    let mut commands = vec![];
    let mut wrong = false;
    card(ui, s, &title, |ui| {
        say(ui, s, Voice::Title, &capital(&cue));
        for (rule, of_rule) in row.into_iter().flat_map(flags_by_rule) {
            flag(ui, d, key, rule, &of_rule, &mut commands);
        }
        if row.is_some_and(|r| flags_by_rule(r).is_empty()) {
            say(ui, s, Voice::Quiet, d.w.get("now.no_flags"));
        }
        let keys = vec![
            Press::new(d.w.get("now.wrong")).large(),
            Press::new(d.w.get("now.show_me")).large(),
        ];
        match grid(ui, s, 2, keys) {
            Some(0) => wrong = true,
            Some(_) => commands.push(Command::ShowMe),
            None => {}
        }
    });
    if wrong {
        d.choose = Some(Choosing::OfPass(key));
    }
    d.out.append(&mut commands);
}

/// The flags of a pass: each rule with the pushes it flagged, their values
/// and what the coach said.
type OfRule = Vec<(u32, f64, f64, Option<Verdict>)>;

fn flags_by_rule(row: &PassRow) -> Vec<(&'static Rule, OfRule)> {
    let mut found: Vec<(&'static Rule, OfRule)> = vec![];
    for (position, push) in row.pushes.iter().enumerate() {
        for flag in &push.judged.flags {
            let rule = flag.rule.rule();
            let verdict = push.note.verdicts.get(&flag.rule).copied();
            let entry = (position as u32, flag.value, flag.limit, verdict);
            match found.iter_mut().find(|(r, _)| r.id == rule.id) {
                Some((_, of_rule)) => of_rule.push(entry),
                None => found.push((rule, vec![entry])),
            }
        }
    }
    found
}

fn flag(
    ui: &mut Ui,
    d: &Desk<'_>,
    pass: PassKey,
    rule: &Rule,
    of_rule: &OfRule,
    commands: &mut Vec<Command>,
) {
    let s = d.s;
    let name = d.w.rule_name(rule);
    let worst = of_rule
        .iter()
        .max_by(|a, b| (a.1 - a.2).abs().total_cmp(&(b.1 - b.2).abs()));
    let Some((_, value, limit, _)) = worst else {
        return;
    };
    let text = d.w.say(
        "now.flag",
        &[
            ("what", name),
            ("n", &of_rule.len().to_string()),
            ("value", &d.f.value(rule.unit, *value)),
            ("limit", &d.f.value(rule.unit, *limit)),
        ],
    );
    let all = |wanted| of_rule.iter().all(|(.., verdict)| *verdict == Some(wanted));
    columns(ui, s, [1.25, 0.72, 0.72], |[words, yes, no]| {
        say(words, s, Voice::Body, &text);
        for (ui, wanted, key) in [
            (yes, Verdict::Confirmed, "now.confirm"),
            (no, Verdict::Dismissed, "now.dismiss"),
        ] {
            let (width, chosen) = (ui.available_width(), all(wanted));
            let long = d.w.pair(d.w.get(key), name);
            let pressed = Press::new(d.w.get(key))
                .named(&long)
                .choice(chosen)
                .wide(width)
                .show(ui, s);
            if pressed {
                commands.extend(of_rule.iter().map(|(position, ..)| Command::SetVerdict {
                    push: PushKey {
                        pass,
                        position: *position,
                    },
                    rule: rule.id,
                    verdict: (!chosen).then_some(wanted),
                }));
            }
        }
    });
}
