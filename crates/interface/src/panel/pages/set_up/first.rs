//! The first steps: a saved lane, the camera, the view.

use egui::Ui;

use super::last::live;
use super::{SetUpState, about};
use crate::config::{Travel, View};
use crate::panel::model::Command;
use crate::panel::pages::Desk;
use crate::panel::widgets::{Press, Slider, Voice, card, choice, columns, say, toggle};

/// Pick a lane that is saved, or make one.
pub(super) fn lane(ui: &mut Ui, d: &mut Desk<'_>, state: &mut SetUpState) {
    let s = d.s;
    about(ui, d, "set_up.lane_about");
    let view = d.view;
    card(ui, s, d.w.get("set_up.saved"), |ui| {
        if view.lanes.is_empty() {
            say(ui, s, Voice::Body, d.w.get("set_up.no_lanes"));
        }
        for entry in view.lanes.iter() {
            let width = ui.available_width();
            match &entry.lane {
                Ok(lane) => {
                    let (line, use_it) = if entry.example {
                        ("set_up.example_line", "set_up.use_example")
                    } else {
                        ("set_up.lane_line", "set_up.use_lane")
                    };
                    let text = d.w.say(
                        line,
                        &[
                            ("name", &entry.name),
                            ("view", d.w.get(view_key(lane.view))),
                            ("distance", &d.f.metres(lane.lane_distance_m)),
                            ("height", &d.f.metres(lane.camera_height_m)),
                        ],
                    );
                    let long = d.w.say(use_it, &[("name", &entry.name)]);
                    let key = Press::new(&text)
                        .named(&long)
                        .choice(entry.in_use)
                        .left()
                        .wide(width);
                    if key.show(ui, s) {
                        d.out.push(Command::UseLane(entry.name.clone()));
                        state.lane = Some(lane.clone());
                        state.name = entry.name.clone();
                    }
                }
                Err(why) => {
                    let text = d.w.pair(&entry.name, why);
                    Press::new(&text)
                        .left()
                        .wide(width)
                        .enabled(false)
                        .show(ui, s);
                }
            }
        }
    });
}

pub(super) fn view_key(view: View) -> &'static str {
    match view {
        View::Side => "view.side",
        View::Front => "view.front",
        View::Rear => "view.rear",
        View::Oblique => "view.oblique",
    }
}

fn travel_key(travel: Travel) -> &'static str {
    match travel {
        Travel::LeftToRight => "travel.left_to_right",
        Travel::RightToLeft => "travel.right_to_left",
        Travel::Toward => "travel.toward",
        Travel::Away => "travel.away",
    }
}

/// Which camera, in which mode.
pub(super) fn camera(ui: &mut Ui, d: &mut Desk<'_>, state: &mut SetUpState) {
    columns(ui, d.s, [1.0, 1.2], |[left, right]| {
        live(left, d);
        cameras(right, d, state);
    });
}

fn cameras(ui: &mut Ui, d: &mut Desk<'_>, state: &mut SetUpState) {
    let s = d.s;
    about(ui, d, "set_up.camera_about");
    // The first time without being asked.
    if !state.looked_for_cameras && d.view.cameras.is_empty() {
        state.looked_for_cameras = true;
        d.send(Command::FindCameras);
    }
    if Press::new(d.w.get("set_up.find_cameras"))
        .main()
        .show(ui, s)
    {
        d.send(Command::FindCameras);
    }
    let view = d.view;
    if view.cameras.is_empty() {
        say(ui, s, Voice::Body, d.w.get("set_up.no_cameras"));
    }
    if let Some(second) = &view.second {
        let title = d.w.say(
            "set_up.second_is",
            &[("name", &second.name), ("lane", &second.lane)],
        );
        card(ui, s, &title, |ui| {
            if Press::new(d.w.get("set_up.drop_second")).show(ui, s) {
                d.out.push(Command::DropSecond);
            }
        });
    }
    for camera in view.cameras.iter() {
        let title = if camera.in_use {
            d.w.say("set_up.camera_in_use", &[("name", &camera.name)])
        } else {
            camera.name.clone()
        };
        let mut used = None;
        card(ui, s, &title, |ui| {
            crate::panel::widgets::flow(ui, |ui| {
                for mode in camera.modes.iter().take(6) {
                    let (w, h, fps) = mode;
                    let text = d.w.say(
                        "set_up.mode",
                        &[
                            ("w", &w.to_string()),
                            ("h", &h.to_string()),
                            ("fps", &fps.to_string()),
                        ],
                    );
                    let long = format!("{}, {text}", camera.name);
                    if Press::new(&text).named(&long).show(ui, s) {
                        used = Some(*mode);
                    }
                }
            });
        });
        if let Some(mode) = used {
            d.send(Command::UseCamera {
                id: camera.id.clone(),
                mode,
            });
        }
    }
}

/// From where the camera looks, and which way the skaters come.
pub(super) fn view(ui: &mut Ui, d: &mut Desk<'_>, state: &mut SetUpState) {
    let s = d.s;
    let known = state.hfov_known;
    let lane = state.lane(d);
    card(ui, s, d.w.get("set_up.view"), |ui| {
        say(ui, s, Voice::Quiet, d.w.get("set_up.view_about"));
        let keys = View::ALL.map(|v| (d.w.get(view_key(v)), v == lane.view));
        if let Some(index) = choice(ui, s, keys) {
            lane.view = View::ALL[index];
            // What fits that view, where the old one does not.
            lane.travel = match (lane.view, lane.travel) {
                (View::Front, _) => Travel::Toward,
                (View::Rear, _) => Travel::Away,
                (View::Side, Travel::Toward | Travel::Away) => Travel::LeftToRight,
                (_, travel) => travel,
            };
        }
    });
    card(ui, s, d.w.get("set_up.travel"), |ui| {
        let keys = Travel::ALL.map(|t| (d.w.get(travel_key(t)), t == lane.travel));
        if let Some(index) = choice(ui, s, keys) {
            lane.travel = Travel::ALL[index];
        }
    });
    let mut known_now = known;
    columns(ui, s, [1.0, 1.0], |[left, right]| {
        card(left, s, "", |ui| {
            Slider {
                name: d.w.get("set_up.skater_height"),
                less: d.w.get("number.less"),
                more: d.w.get("number.more"),
                range: 0.9..=2.1,
                step: 0.05,
                format: &|v| d.f.cm(v, 0),
            }
            .show(ui, s, &mut lane.skater_height_m);
        });
        card(right, s, "", |ui| {
            if let Some(on) = toggle(ui, s, d.w.get("set_up.hfov_known"), known) {
                known_now = on;
            }
            if known {
                Slider {
                    name: d.w.get("set_up.hfov"),
                    less: d.w.get("number.less"),
                    more: d.w.get("number.more"),
                    range: 20.0..=150.0,
                    step: 1.0,
                    format: &|v| format!("{}°", d.f.number(v, 0)),
                }
                .show(ui, s, &mut lane.hfov_deg);
            } else {
                say(ui, s, Voice::Quiet, d.w.get("set_up.hfov_found"));
            }
        });
    });
    state.hfov_known = known_now;
}
