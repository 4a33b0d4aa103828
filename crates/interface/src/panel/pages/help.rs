//! What the keys do, and the cautions.

use egui::Ui;

use super::Desk;
use crate::panel::widgets::{Voice, card, columns, say};

/// The keys of the panel, in the order they are explained.
const KEYS: [&str; 10] = [
    "help.key_tab",
    "help.key_enter",
    "help.key_digits",
    "help.key_pages",
    "help.key_press",
    "help.key_wrong",
    "help.key_show",
    "help.key_arrows",
    "help.key_esc",
    "help.key_f2",
];

const CAUTIONS: [&str; 6] = [
    "help.eyes_up",
    "help.run_out",
    "help.nothing_on_ice",
    "help.stop",
    "help.professional",
    "help.rules_decide",
];

pub(in crate::panel) fn show(ui: &mut Ui, d: &mut Desk<'_>) {
    let s = d.s;
    columns(ui, s, [1.1, 1.0], |[left, right]| {
        card(left, s, d.w.get("help.keys"), |ui| {
            let settings = &d.setup.settings;
            for key in KEYS {
                let text = d.w.say(
                    key,
                    &[
                        ("press", settings.press_key.name()),
                        ("wrong", settings.wrong_skater_key.name()),
                    ],
                );
                say(ui, s, Voice::Body, &text);
            }
        });
        card(right, s, d.w.get("help.cautions"), |ui| {
            for caution in CAUTIONS {
                say(ui, s, Voice::Body, d.w.get(caution));
            }
        });
    });
    card(ui, s, d.w.get("help.screen_keys"), |ui| {
        say(ui, s, Voice::Body, d.w.get("help.screen_keys_about"));
    });
}
