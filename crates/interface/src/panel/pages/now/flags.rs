//! The flags of the last pass, with what the coach says to them.

use egui::Ui;

use crate::panel::model::{Command, PassRow};
use crate::panel::pages::Desk;
use crate::panel::widgets::{Press, Voice, columns, say};
use crate::rules::Rule;
use crate::store::{PassKey, PushKey, Verdict};

/// The flags of a pass: each rule with the pushes it flagged, their values
/// and what the coach said.
pub(super) type OfRule = Vec<(u32, f64, f64, Option<Verdict>)>;

pub(super) fn by_rule(row: &PassRow) -> Vec<(&'static Rule, OfRule)> {
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

pub(super) fn show(
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
