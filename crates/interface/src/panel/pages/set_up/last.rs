//! The last steps: the picture itself, a test pass, a name.

use egui::{Ui, vec2};

use super::first::view_key;
use super::scale::found;
use super::{SetUpState, about};
use crate::config::{Lane, Subject};
use crate::display::panel_theme as theme;
use crate::panel::model::{Command, ScaleResult};
use crate::panel::pages::Desk;
use crate::panel::pages::set_up::Step;
use crate::panel::widgets::{Press, Slider, Voice, card, columns, field, plain_card, say};
use crate::rules::Measure;

/// What to change about the picture.
pub(super) fn picture(ui: &mut Ui, d: &mut Desk<'_>) {
    let s = d.s;
    columns(ui, s, [1.0, 1.2], |[left, right]| {
        live(left, d);
        about(right, d, "set_up.picture_about");
        if Press::new(d.w.get("set_up.check")).main().show(right, s) {
            d.out.push(Command::CheckPicture);
        }
        let Some(check) = &d.view.picture_check else {
            return;
        };
        card(right, s, d.w.get("set_up.seen"), |ui| {
            let n = |v: f64, places| d.f.number(v, places);
            let mut lines = vec![
                d.w.say("check.brightness", &[("v", &n(check.brightness, 0))]),
                d.w.say(
                    "check.clipped",
                    &[("v", &n(check.clipped_share * 100.0, 1))],
                ),
            ];
            if let Some(fps) = check.fps {
                lines.push(d.w.say("check.fps", &[("v", &n(fps, 1))]));
            }
            if let Some(blur) = check.blur_mm {
                lines.push(d.w.say("check.blur", &[("v", &n(blur, 0))]));
            }
            for line in lines {
                say(ui, s, Voice::Quiet, &line);
            }
        });
        if check.advice.is_empty() {
            plain_card(right, s, theme::GOOD, |ui| {
                say(ui, s, Voice::Body, d.w.get("check.good"));
            });
        } else {
            plain_card(right, s, theme::WARNING, |ui| {
                say(ui, s, Voice::Head, d.w.get("check.change"));
                for advice in &check.advice {
                    say(ui, s, Voice::Body, &advice.sentence);
                }
            });
        }
    });
}

pub(super) fn live(ui: &mut Ui, d: &mut Desk<'_>) {
    let room = vec2(ui.available_width(), d.s.mm(85.0));
    let instead = d.w.get("now.no_picture");
    d.pictures.show(
        ui,
        d.s,
        room,
        d.view.live.preview.as_ref(),
        (d.w.get("now.picture"), instead),
    );
}

/// One skater skates the lane.
pub(super) fn test(ui: &mut Ui, d: &mut Desk<'_>, state: &mut SetUpState) {
    let s = d.s;
    let last = d.view.live.last.as_ref();
    let from = *state.test_from.get_or_insert(last.map(|(key, _)| *key));
    columns(ui, s, [1.0, 1.0], |[left, right]| {
        live(left, d);
        about(right, d, "set_up.test_about");
        let passing = d.view.live.somebody_passing;
        let seen = last.filter(|(key, _)| Some(*key) != from);
        match seen {
            Some((key, cue)) => {
                let row = d.view.passes.iter().find(|p| p.key == *key);
                plain_card(right, s, theme::GOOD, |ui| {
                    let text = d.w.say("test.seen", &[("n", &key.number.to_string())]);
                    say(ui, s, Voice::Title, &text);
                    if let Some(row) = row {
                        let judged = row
                            .pushes
                            .iter()
                            .filter(|p| p.judged.measures.values().any(Measure::is_judged))
                            .count();
                        let text = d.w.say(
                            "test.counted",
                            &[
                                ("pushes", &row.pushes.len().to_string()),
                                ("judged", &judged.to_string()),
                                ("speed", &d.f.speed(row.speed_mps)),
                            ],
                        );
                        say(ui, s, Voice::Body, &text);
                    }
                    say(ui, s, Voice::Body, cue);
                });
                if Press::new(d.w.get("test.again")).show(right, s) {
                    state.test_from = None;
                }
            }
            None => {
                let key = if passing {
                    "now.passing"
                } else {
                    "test.waiting"
                };
                say(right, s, Voice::Title, d.w.get(key));
                say(right, s, Voice::Quiet, d.w.get("test.nothing"));
            }
        }
    });
}

/// The lane that was found, as it is described now: the view may have been
/// changed after the scale was found.
fn described(scale: &ScaleResult, state: &SetUpState) -> Lane {
    let mut lane = scale.lane.clone();
    // Whatever lane it began from: who sets up a lane here stands before people.
    lane.subject = Subject::People;
    if let Some(draft) = &state.lane {
        lane.view = draft.view;
        lane.travel = draft.travel;
        lane.skater_height_m = draft.skater_height_m;
    }
    lane
}

/// The reading distance of the screen and the name.
pub(super) fn save(ui: &mut Ui, d: &mut Desk<'_>, state: &mut SetUpState) {
    let s = d.s;
    let scale = match &d.view.scale {
        Some(Ok(result)) => result,
        Some(Err(_)) | None => {
            say(ui, s, Voice::Body, d.w.get("set_up.scale_first"));
            if Press::new(d.w.get("set_up.to_scale")).main().show(ui, s) {
                state.step = Step::Scale;
            }
            return;
        }
    };
    columns(ui, s, [1.0, 1.0], |[left, right]| {
        card(left, s, d.w.get("set_up.reading"), |ui| {
            say(ui, s, Voice::Quiet, d.w.get("set_up.reading_about"));
            Slider {
                name: d.w.get("set_up.reading_distance"),
                less: d.w.get("number.less"),
                more: d.w.get("number.more"),
                range: 2.0..=40.0,
                step: 1.0,
                format: &|v| d.f.metres(v),
            }
            .show(ui, s, &mut state.reading_distance_m);
        });
        card(left, s, d.w.get("set_up.name"), |ui| {
            // A name to begin with: gloves do not type.
            if !state.named {
                state.named = true;
                if state.name.is_empty() {
                    let view = d.w.get(view_key(scale.lane.view));
                    state.name = d.w.say(
                        "set_up.usual_name",
                        &[("view", view), ("day", &d.today.to_string())],
                    );
                }
            }
            field(ui, s, d.w.get("set_up.name_about"), &mut state.name, false);
            let name = state.name.trim().to_owned();
            let fits = !name.is_empty()
                && name
                    .chars()
                    .all(|c| c.is_alphanumeric() || c == ' ' || c == '-');
            let key = Press::new(d.w.get("set_up.save"))
                .main()
                .large()
                .enabled(fits);
            if key.show(ui, s) {
                let lane = described(scale, state);
                d.out.push(Command::SaveLane {
                    name,
                    lane,
                    reading_distance_m: Some(state.reading_distance_m),
                });
            }
            if !fits {
                say(ui, s, Voice::Quiet, d.w.get("set_up.name_rule"));
            }
            // A second camera is set up like the first, and then put beside it.
            if d.view.cameras.len() > 1 {
                let key = Press::new(d.w.get("set_up.save_second")).enabled(fits);
                if key.show(ui, s) {
                    d.out.push(Command::UseAsSecond {
                        name: state.name.trim().to_owned(),
                        lane: described(scale, state),
                    });
                }
                say(ui, s, Voice::Quiet, d.w.get("set_up.second_about"));
            }
        });
        card(right, s, d.w.get("set_up.found"), |ui| found(ui, d, scale));
    });
}
