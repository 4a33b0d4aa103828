//! The scale: things of known size, and where the camera stands by them.

use egui::{Ui, vec2};

use super::canvas::{Handle, canvas};
use super::marks::{Kind, MarkDraft, drawn};
use super::{SetUpState, about};
use crate::display::panel_theme as theme;
use crate::panel::model::{Command, LaneDraft, ScaleResult};
use crate::panel::pages::Desk;
use crate::panel::pages::set_up::Step;
use crate::panel::widgets::{Press, Slider, Voice, choice, columns, plain_card, say};

/// Marks beyond which nothing is gained.
const MOST_MARKS: usize = 6;

pub(super) fn show(ui: &mut Ui, d: &mut Desk<'_>, state: &mut SetUpState) {
    let s = d.s;
    let stature = state.lane(d).skater_height_m;
    columns(ui, s, [1.55, 1.0], |[left, right]| {
        picture(left, d, state);
        controls(right, d, state, stature);
    });
}

fn picture(ui: &mut Ui, d: &mut Desk<'_>, state: &mut SetUpState) {
    about(ui, d, "set_up.scale_about");
    let room = vec2(ui.available_width(), d.s.mm(100.0));
    let at = state.marks.len().wrapping_sub(1);
    let seen = drawn(d, state, at);
    let mut handles = vec![];
    if let Some(mark) = state.marks.last_mut() {
        let keys = mark.end_keys();
        let upright = mark.kind != Kind::OnIce;
        let starts = if upright {
            [[0.5, 0.75], [0.5, 0.45]]
        } else {
            [[0.4, 0.8], [0.6, 0.8]]
        };
        for ((point, key), start) in mark.ends.iter_mut().zip(keys).zip(starts) {
            handles.push(Handle {
                name: d.w.get(key).to_owned(),
                point,
                start,
            });
        }
    }
    canvas(ui, d, room, &mut handles, &seen);
}

fn controls(ui: &mut Ui, d: &mut Desk<'_>, state: &mut SetUpState, stature: f64) {
    let s = d.s;
    let mut kind = state.kind;
    let keys = Kind::ALL.map(|k| (d.w.get(k.key()), k == kind));
    if let Some(index) = choice(ui, s, keys) {
        kind = Kind::ALL[index];
    }
    state.kind = kind;
    let open = state.marks.last().is_some_and(|m| !m.done());
    ui.horizontal(|ui| {
        let add =
            Press::new(d.w.get("set_up.add_mark")).enabled(!open && state.marks.len() < MOST_MARKS);
        if add.show(ui, s) {
            state.marks.push(MarkDraft::new(kind, stature));
        }
        let drop = Press::new(d.w.get("set_up.drop_mark")).enabled(!state.marks.is_empty());
        if drop.show(ui, s) {
            state.marks.pop();
        }
    });
    if let Some(mark) = state.marks.last_mut() {
        let name =
            d.w.say("set_up.mark_size", &[("what", d.w.get(mark.kind.key()))]);
        Slider {
            name: &name,
            less: d.w.get("number.less"),
            more: d.w.get("number.more"),
            range: if mark.kind == Kind::OnIce {
                0.3..=12.0
            } else {
                0.3..=2.5
            },
            step: 0.01,
            format: &|v| d.f.cm(v, 0),
        }
        .show(ui, s, &mut mark.size_m);
    }
    let done = state.marks.iter().filter(|m| m.done()).count();
    if open {
        say(ui, s, Voice::Body, d.w.get("set_up.mark_open"));
    } else {
        let text = match done {
            1 => d.w.get("set_up.mark_done").to_owned(),
            n => d.w.say("set_up.marks_done", &[("n", &n.to_string())]),
        };
        say(ui, s, Voice::Quiet, &text);
    }
    find(ui, d, state);
    match &d.view.scale {
        Some(Ok(result)) => {
            plain_card(ui, s, theme::GOOD, |ui| found(ui, d, result));
        }
        Some(Err(why)) => {
            plain_card(ui, s, theme::WARNING, |ui| {
                say(ui, s, Voice::Body, why);
            });
        }
        None => {}
    }
}

fn find(ui: &mut Ui, d: &mut Desk<'_>, state: &mut SetUpState) {
    let s = d.s;
    let line_px: Vec<[f64; 2]> = state
        .line
        .iter()
        .filter(|p| p.moved)
        .filter_map(|p| p.at_px)
        .collect();
    let marks: Vec<_> = state.marks.iter().filter_map(MarkDraft::mark).collect();
    if line_px.len() < 2 {
        say(ui, s, Voice::Body, d.w.get("set_up.line_first"));
        if Press::new(d.w.get("set_up.to_line")).show(ui, s) {
            state.step = Step::Line;
        }
        return;
    }
    let key = Press::new(d.w.get("set_up.find_scale"))
        .main()
        .enabled(!marks.is_empty());
    if key.show(ui, s)
        && let Some(frame_px) = d.view.live.frame_px
    {
        let lane = state.lane(d).clone();
        d.send(Command::FindScale(LaneDraft {
            lane,
            hfov_known: state.hfov_known,
            marks,
            line_px,
            frame_px,
        }));
    }
}

/// What the scale came to, with its errors in centimetres and degrees.
pub(super) fn found(ui: &mut Ui, d: &Desk<'_>, result: &ScaleResult) {
    let s = d.s;
    let length = |known: &crate::geometry::Known| {
        format!("{} ± {}", d.f.metres(known.value), d.f.cm(known.error, 0))
    };
    let angle = |known: &crate::geometry::Known| d.f.degrees(known.value, known.error);
    for (key, value) in [
        ("scale.height", length(&result.camera_height_m)),
        ("scale.distance", length(&result.lane_distance_m)),
        ("scale.tilt", angle(&result.tilt_deg)),
        ("scale.roll", angle(&result.roll_deg)),
        ("scale.metre", d.f.cm(result.length_error, 1)),
        (
            "scale.misfit",
            d.w.say("scale.pixels", &[("n", &d.f.number(result.misfit_px, 1))]),
        ),
    ] {
        let line = d.w.say(key, &[("v", &value)]);
        say(ui, s, Voice::Body, &line);
    }
}
