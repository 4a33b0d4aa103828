//! The first steps: a saved place, the camera and how it looks at the lane.

use egui::Ui;

use super::{SetUpState, Step, about, beside_picture, picture_room};
use crate::config::{Travel, View};
use crate::panel::model::Command;
use crate::panel::pages::Desk;
use crate::panel::widgets::{Icon, Press, Voice, card, grid, plain_card, say};

/// Modes of a camera that are shown: the best ones.
const MODES: usize = 3;

/// Pick a place that is saved, or make one.
pub(super) fn place(ui: &mut Ui, d: &mut Desk<'_>, state: &mut SetUpState) {
    let s = d.s;
    about(ui, d, "set_up.lane_about");
    let view = d.view;
    let mut taken = false;
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
                        taken = true;
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
    if taken {
        state.begin_test(d);
    }
    if state.test_from.is_some() {
        let key = Press::new(d.w.get("set_up.to_test")).icon(Icon::Skip);
        if key.wide(ui.available_width()).show(ui, s) {
            state.step = Step::Test;
        }
    }
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

/// Which camera, from where it looks, and whether its picture is good.
pub(super) fn camera(ui: &mut Ui, d: &mut Desk<'_>, state: &mut SetUpState) {
    beside_picture(
        ui,
        d,
        state,
        |ui, d, _| {
            live(ui, d);
            check(ui, d);
        },
        |ui, d, state| {
            view(ui, d, state);
            cameras(ui, d, state);
        },
    );
}

pub(super) fn live(ui: &mut Ui, d: &mut Desk<'_>) {
    let room = picture_room(ui, d);
    let instead = d.w.get("now.no_picture");
    d.pictures.show(
        ui,
        d.s,
        room,
        d.view.live.preview.as_ref(),
        (d.w.get("now.picture"), instead),
    );
}

/// What to change about the picture.
fn check(ui: &mut Ui, d: &mut Desk<'_>) {
    let s = d.s;
    let wide = ui.available_width();
    if Press::new(d.w.get("set_up.check"))
        .icon(Icon::Glass)
        .wide(wide)
        .show(ui, s)
    {
        d.out.push(Command::CheckPicture);
    }
    let Some(check) = &d.view.picture_check else {
        return;
    };
    if check.advice.is_empty() {
        plain_card(ui, s, s.c.good, |ui| {
            say(ui, s, Voice::Body, d.w.get("check.good"));
        });
        return;
    }
    plain_card(ui, s, s.c.warning, |ui| {
        say(ui, s, Voice::Head, d.w.get("check.change"));
        for advice in &check.advice {
            say(ui, s, Voice::Body, &advice.sentence);
        }
    });
}

fn cameras(ui: &mut Ui, d: &mut Desk<'_>, state: &mut SetUpState) {
    let s = d.s;
    // The first time without being asked.
    if !state.looked_for_cameras && d.view.cameras.is_empty() {
        state.looked_for_cameras = true;
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
            for mode in camera.modes.iter().take(MODES) {
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
                let wide = ui.available_width();
                if Press::new(&text).named(&long).wide(wide).show(ui, s) {
                    used = Some(*mode);
                }
            }
        });
        if let Some(mode) = used {
            d.send(Command::UseCamera {
                id: camera.id.clone(),
                mode,
            });
        }
    }
    let wide = ui.available_width();
    if Press::new(d.w.get("set_up.find_cameras"))
        .wide(wide)
        .show(ui, s)
    {
        d.send(Command::FindCameras);
    }
}

/// From where the camera looks, and which way the skaters come.
fn view(ui: &mut Ui, d: &mut Desk<'_>, state: &mut SetUpState) {
    let s = d.s;
    let lane = state.lane(d);
    card(ui, s, d.w.get("set_up.view"), |ui| {
        let keys = View::ALL
            .iter()
            .map(|v| Press::new(d.w.get(view_key(*v))).page(*v == lane.view))
            .collect();
        if let Some(index) = grid(ui, s, 2, keys) {
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
    // Only what a camera there can see: fewer keys, fewer mistakes.
    let ways: Vec<Travel> = Travel::ALL
        .into_iter()
        .filter(|t| match lane.view {
            View::Side => matches!(t, Travel::LeftToRight | Travel::RightToLeft),
            View::Front => *t == Travel::Toward,
            View::Rear => *t == Travel::Away,
            View::Oblique => true,
        })
        .collect();
    if ways.len() < 2 {
        return;
    }
    card(ui, s, d.w.get("set_up.travel"), |ui| {
        let keys = ways
            .iter()
            .map(|t| Press::new(d.w.get(travel_key(*t))).page(*t == lane.travel))
            .collect();
        if let Some(index) = grid(ui, s, 2, keys) {
            lane.travel = ways[index];
        }
    });
}
