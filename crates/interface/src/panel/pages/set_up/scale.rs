//! The scale: things of known size, and where the camera stands by them.

use egui::Ui;

use super::canvas::{Handle, canvas, picture_keys};
use super::marks::{MarkDraft, Thing, drawn};
use super::{SetUpState, Step, about, beside_picture, picture_room};
use crate::panel::model::{Command, LaneDraft, ScaleResult};
use crate::panel::pages::Desk;
use crate::panel::widgets::{Icon, Press, Slider, Voice, card, grid, plain_card, say, stepper};

/// Marks beyond which nothing is gained.
const MOST_MARKS: usize = 6;
/// Lengths on the lane are good enough within this share of them: at the
/// limits of a centimetre or two that the rules have, a metre right to 3 cm
/// is less than what the points themselves are off. Proposal of this project.
const GOOD_ENOUGH: f64 = 0.03;
/// Angles of view of usual webcams as data sheets give them: corner to
/// corner, degrees; from memory of data sheets, to pick from.
const DIAGONALS_DEG: [f64; 5] = [60.0, 70.0, 78.0, 90.0, 120.0];

/// Corner to corner as left to right, for a frame of this shape, degrees.
fn left_to_right_deg(diagonal_deg: f64, frame_px: [u32; 2]) -> f64 {
    let [w, h] = frame_px.map(f64::from);
    let half = (diagonal_deg.to_radians() / 2.0).tan() * w / w.hypot(h).max(1.0);
    2.0 * half.atan().to_degrees()
}

pub(super) fn show(ui: &mut Ui, d: &mut Desk<'_>, state: &mut SetUpState) {
    beside_picture(
        ui,
        d,
        state,
        |ui, d, state| {
            if picture(ui, d, state) {
                picture_keys(ui, d, state);
            }
        },
        controls,
    );
}

fn picture(ui: &mut Ui, d: &mut Desk<'_>, state: &mut SetUpState) -> bool {
    let room = picture_room(ui, d);
    let at = state.marks.len().wrapping_sub(1);
    let seen = drawn(d, state, at);
    let mut mark = state.marks.last().copied();
    let mut handles = vec![];
    if let Some(mark) = &mut mark {
        let keys = mark.end_keys();
        let starts = if mark.thing.upright() {
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
    let there = canvas(ui, d, state, room, &mut handles, &seen);
    if let (Some(last), Some(mark)) = (state.marks.last_mut(), mark) {
        *last = mark;
    }
    there
}

fn controls(ui: &mut Ui, d: &mut Desk<'_>, state: &mut SetUpState) {
    let s = d.s;
    answer(ui, d);
    find(ui, d, state);
    let stature = state.lane(d).skater_height_m;
    let open = state.marks.last().is_some_and(|m| !m.done());
    if let Some(mark) = state.marks.last_mut() {
        let name =
            d.w.say("set_up.mark_size", &[("what", d.w.get(mark.thing.key()))]);
        plain_card(ui, s, s.c.card, |ui| {
            if open {
                say(ui, s, Voice::Body, d.w.get("set_up.mark_open"));
            }
            let slider = Slider {
                name: &name,
                less: d.w.get("number.less"),
                more: d.w.get("number.more"),
                range: if mark.thing.upright() {
                    0.3..=2.5
                } else {
                    0.05..=30.0
                },
                step: 0.01,
                format: &|v| d.f.cm(v, 0),
            };
            stepper(ui, s, &slider, &mut mark.size_m);
        });
    }
    let done = state.marks.iter().filter(|m| m.done()).count();
    if done > 0 || open {
        let text = d.w.say("set_up.marks_done", &[("n", &done.to_string())]);
        ui.horizontal(|ui| {
            if Press::new(d.w.get("set_up.drop_mark"))
                .icon(Icon::Bin)
                .show(ui, s)
            {
                state.marks.pop();
            }
            say(ui, s, Voice::Quiet, &text);
        });
    } else {
        about(ui, d, "set_up.scale_about");
    }
    // A press on a thing begins its mark.
    card(ui, s, d.w.get("set_up.add_mark"), |ui| {
        let free = !open && state.marks.len() < MOST_MARKS;
        let keys = Thing::ALL
            .iter()
            .map(|t| Press::new(d.w.get(t.key())).enabled(free))
            .collect();
        if let Some(index) = grid(ui, s, 2, keys) {
            state.thing = Thing::ALL[index];
            state.marks.push(MarkDraft::new(state.thing, stature));
        }
    });
    lens(ui, d, state);
}

/// The camera's angle: found from the marks, or picked as its data sheet has
/// it.
fn lens(ui: &mut Ui, d: &mut Desk<'_>, state: &mut SetUpState) {
    let s = d.s;
    let frame = d.view.live.frame_px.unwrap_or([1280, 720]);
    let known = state.hfov_known;
    let now = state.lane(d).hfov_deg;
    card(ui, s, d.w.get("set_up.lens"), |ui| {
        let words: Vec<String> = DIAGONALS_DEG
            .iter()
            .map(|deg| format!("{}°", d.f.number(*deg, 0)))
            .collect();
        let mut keys = vec![Press::new(d.w.get("set_up.lens_unknown")).page(!known)];
        keys.extend(DIAGONALS_DEG.iter().zip(&words).map(|(deg, word)| {
            let this = (left_to_right_deg(*deg, frame) - now).abs() < 0.2;
            Press::new(word).page(known && this)
        }));
        match grid(ui, s, 3, keys) {
            Some(0) => state.hfov_known = false,
            Some(i) => {
                state.hfov_known = true;
                state.lane(d).hfov_deg = left_to_right_deg(DIAGONALS_DEG[i - 1], frame);
            }
            None => {}
        }
        say(ui, s, Voice::Quiet, d.w.get("set_up.lens_about"));
        if state.hfov_known {
            let slider = Slider {
                name: d.w.get("set_up.hfov"),
                less: d.w.get("number.less"),
                more: d.w.get("number.more"),
                range: 20.0..=150.0,
                step: 1.0,
                format: &|v| format!("{}°", d.f.number(v, 0)),
            };
            stepper(ui, s, &slider, &mut state.lane(d).hfov_deg);
        }
    });
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
    let wide = ui.available_width();
    if line_px.len() < 2 {
        say(ui, s, Voice::Body, d.w.get("set_up.line_first"));
        let key = Press::new(d.w.get("set_up.to_line")).wide(wide);
        if key.show(ui, s) {
            state.step = Step::Line;
        }
        return;
    }
    let key = Press::new(d.w.get("set_up.find_scale"))
        .main()
        .icon(Icon::Glass)
        .wide(wide)
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

/// A word first, then the number.
fn answer(ui: &mut Ui, d: &Desk<'_>) {
    let s = d.s;
    match &d.view.scale {
        Some(Ok(result)) if result.length_error <= GOOD_ENOUGH => {
            plain_card(ui, s, s.c.good, |ui| {
                say(ui, s, Voice::Title, d.w.get("scale.good"));
                found(ui, d, result);
            });
        }
        Some(Ok(result)) => {
            plain_card(ui, s, s.c.warning, |ui| {
                say(ui, s, Voice::Title, d.w.get("scale.more"));
                say(ui, s, Voice::Body, d.w.get("scale.more_where"));
                found(ui, d, result);
            });
        }
        Some(Err(why)) => {
            plain_card(ui, s, s.c.warning, |ui| {
                say(ui, s, Voice::Title, d.w.get("scale.not_yet"));
                say(ui, s, Voice::Body, why);
            });
        }
        None => {}
    }
}

/// What the scale came to, with its errors.
fn found(ui: &mut Ui, d: &Desk<'_>, result: &ScaleResult) {
    let s = d.s;
    let metre = d.f.cm(result.length_error, 1);
    say(
        ui,
        s,
        Voice::Body,
        &d.w.say("scale.metre", &[("v", &metre)]),
    );
    let length = |known: &crate::geometry::Known| {
        format!("{} ± {}", d.f.metres(known.value), d.f.metres(known.error))
    };
    for (key, known) in [
        ("scale.height", &result.camera_height_m),
        ("scale.distance", &result.lane_distance_m),
    ] {
        let line = d.w.say(key, &[("v", &length(known))]);
        say(ui, s, Voice::Quiet, &line);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A lens of 78 degrees corner to corner sees 70.4 degrees from left to
    /// right in 16:9; computed apart from this program.
    #[test]
    fn corner_to_corner_becomes_left_to_right() {
        let is = left_to_right_deg(78.0, [1920, 1080]);
        assert!((is - 70.4).abs() < 0.1, "{is}");
        let is = left_to_right_deg(90.0, [640, 480]);
        assert!((is - 77.3).abs() < 0.1, "{is}");
    }
}
