//! The last step: a name, and a pass that was measured with what was saved.

use egui::Ui;

use super::first::{live, view_key};
use super::{SetUpState, Step, about, beside_picture, ruler};
use crate::config::{Lane, Subject};
use crate::panel::model::{Command, ScaleResult};
use crate::panel::pages::Desk;
use crate::panel::widgets::{Icon, Press, Slider, Voice, card, field, plain_card, say, stepper};
use crate::rules::Measure;

pub(super) fn test(ui: &mut Ui, d: &mut Desk<'_>, state: &mut SetUpState) {
    beside_picture(
        ui,
        d,
        state,
        |ui, d, _| live(ui, d),
        |ui, d, state| {
            if state.test_from.is_some() {
                waiting(ui, d, state);
            } else {
                save(ui, d, state);
            }
            ruler::show(ui, d, &mut state.hold);
        },
    );
}

/// One skater skates the lane that was saved. Only passes after that count.
fn waiting(ui: &mut Ui, d: &mut Desk<'_>, state: &mut SetUpState) {
    let s = d.s;
    let from = state.test_from.flatten();
    let in_use = d.view.lanes.iter().find(|l| l.in_use);
    let lane = in_use.map_or_else(|| state.name.clone(), |l| l.name.clone());
    let with = d.w.say("test.with", &[("name", &lane)]);
    let later = |key: &crate::store::PassKey| {
        from.is_none_or(|from| key.session != from.session || key.number > from.number)
    };
    let seen = d.view.live.last.as_ref().filter(|(key, _)| later(key));
    match seen {
        Some((key, cue)) => {
            let row = d.view.passes.iter().find(|p| p.key == *key);
            plain_card(ui, s, s.c.good, |ui| {
                let text = d.w.say("test.seen", &[("n", &key.number.to_string())]);
                say(ui, s, Voice::Title, &text);
                say(ui, s, Voice::Body, &with);
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
            let wide = ui.available_width();
            if Press::new(d.w.get("test.again")).wide(wide).show(ui, s) {
                state.begin_test(d);
            }
        }
        None => {
            about(ui, d, "set_up.test_about");
            let key = if d.view.live.somebody_passing {
                "now.passing"
            } else {
                "test.waiting"
            };
            say(ui, s, Voice::Title, d.w.get(key));
            say(ui, s, Voice::Body, &with);
            say(ui, s, Voice::Quiet, d.w.get("test.nothing"));
        }
    }
    let wide = ui.available_width();
    if Press::new(d.w.get("set_up.save_again"))
        .wide(wide)
        .show(ui, s)
    {
        state.test_from = None;
    }
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

/// The reading distance of the screen and the name; or a test of the lane in
/// use, where none was made.
fn save(ui: &mut Ui, d: &mut Desk<'_>, state: &mut SetUpState) {
    let s = d.s;
    let wide = ui.available_width();
    let Some(Ok(scale)) = &d.view.scale else {
        say(ui, s, Voice::Body, d.w.get("set_up.scale_first"));
        let to_scale = Press::new(d.w.get("set_up.to_scale")).main().wide(wide);
        if to_scale.show(ui, s) {
            state.step = Step::Scale;
        }
        if let Some(lane) = d.view.lanes.iter().find(|l| l.in_use) {
            let text = d.w.say("set_up.test_in_use", &[("name", &lane.name)]);
            if Press::new(&text).wide(wide).show(ui, s) {
                state.begin_test(d);
            }
        }
        return;
    };
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
    let name = state.name.trim().to_owned();
    let fits = !name.is_empty()
        && name
            .chars()
            .all(|c| c.is_alphanumeric() || c == ' ' || c == '-');
    let key = Press::new(d.w.get("set_up.save"))
        .main()
        .large()
        .icon(Icon::Save)
        .wide(wide)
        .enabled(fits);
    if key.show(ui, s) {
        let lane = described(scale, state);
        d.out.push(Command::SaveLane {
            name: name.clone(),
            lane,
            screen: state.screen,
        });
        state.begin_test(d);
    }
    if !fits {
        say(ui, s, Voice::Quiet, d.w.get("set_up.name_rule"));
    }
    card(ui, s, "", |ui| {
        field(ui, s, d.w.get("set_up.name_about"), &mut state.name, false);
        let slider = Slider {
            name: d.w.get("set_up.reading_distance"),
            less: d.w.get("number.less"),
            more: d.w.get("number.more"),
            range: 2.0..=40.0,
            step: 1.0,
            format: &|v| d.f.metres(v),
        };
        let mut screen = state.screen.unwrap_or(d.view.station.screen);
        let mut changed = stepper(ui, s, &slider, &mut screen.reading_distance_m);
        say(ui, s, Voice::Quiet, d.w.get("set_up.reading_about"));
        let height = Slider {
            name: d.w.get("set_up.screen_height"),
            range: 0.15..=3.0,
            step: 0.01,
            format: &|v| d.f.cm(v, 0),
            ..slider
        };
        changed |= stepper(ui, s, &height, &mut screen.height_m);
        if changed {
            state.screen = Some(screen);
        }
        // A second camera is set up like the first, and then put beside it.
        if d.view.cameras.len() > 1 {
            let wide = ui.available_width();
            let key = Press::new(d.w.get("set_up.save_second"))
                .enabled(fits)
                .wide(wide);
            if key.show(ui, s) {
                d.out.push(Command::UseAsSecond {
                    name: state.name.trim().to_owned(),
                    lane: described(scale, state),
                });
                state.begin_test(d);
            }
            say(ui, s, Voice::Quiet, d.w.get("set_up.second_about"));
        }
    });
}
