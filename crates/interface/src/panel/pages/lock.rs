//! The page of a locked panel: digits, nothing else.

use egui::{Key, Ui};

use super::Desk;
use crate::panel::model::Command;
use crate::panel::widgets::{Press, Voice, plain_card, say};

/// Longest PIN that can be typed.
const MOST_DIGITS: usize = 12;

/// The digits typed so far.
#[derive(Default)]
pub(in crate::panel) struct LockState {
    digits: String,
}

pub(in crate::panel) fn show(ui: &mut Ui, d: &mut Desk<'_>, state: &mut LockState) {
    let s = d.s;
    for (key, digit) in [
        (Key::Num0, '0'),
        (Key::Num1, '1'),
        (Key::Num2, '2'),
        (Key::Num3, '3'),
        (Key::Num4, '4'),
        (Key::Num5, '5'),
        (Key::Num6, '6'),
        (Key::Num7, '7'),
        (Key::Num8, '8'),
        (Key::Num9, '9'),
    ] {
        if ui.input(|i| i.key_pressed(key)) {
            state.add(digit);
        }
    }
    if ui.input(|i| i.key_pressed(Key::Backspace)) {
        state.digits.pop();
    }
    say(ui, s, Voice::Title, d.w.get("lock.title"));
    say(ui, s, Voice::Body, d.w.get("lock.about"));
    // What the last PIN came to: nothing else of the panel is there to say it.
    if let Some(answer) = d.view.answer.as_ref().filter(|a| !a.done) {
        plain_card(ui, s, s.c.warning, |ui| {
            let text = d.w.pair(d.w.get("answer.not_done"), &answer.sentence);
            say(ui, s, Voice::Body, &text);
        });
    }
    // Dots, so that nobody beside the panel reads it.
    let dots = if state.digits.is_empty() {
        d.w.get("lock.none").to_owned()
    } else {
        "• ".repeat(state.digits.chars().count())
    };
    let mut unlock =
        ui.memory(|m| m.focused().is_none()) && ui.input(|i| i.key_pressed(Key::Enter));
    plain_card(ui, s, s.c.card, |ui| {
        say(ui, s, Voice::Large, &dots);
        let width = s.mm(24.0);
        for row in ["123", "456", "789"] {
            ui.horizontal(|ui| {
                for digit in row.chars() {
                    let text = digit.to_string();
                    if Press::new(&text).large().wide(width).show(ui, s) {
                        state.add(digit);
                    }
                }
            });
        }
        ui.horizontal(|ui| {
            if Press::new(d.w.get("lock.erase"))
                .large()
                .wide(width)
                .show(ui, s)
            {
                state.digits.pop();
            }
            if Press::new("0").large().wide(width).show(ui, s) {
                state.add('0');
            }
            unlock |= Press::new(d.w.get("lock.open"))
                .main()
                .large()
                .wide(width)
                .show(ui, s);
        });
    });
    if unlock && !state.digits.is_empty() {
        d.send(Command::Unlock(std::mem::take(&mut state.digits)));
    }
}

impl LockState {
    fn add(&mut self, digit: char) {
        if self.digits.len() < MOST_DIGITS {
            self.digits.push(digit);
        }
    }
}
