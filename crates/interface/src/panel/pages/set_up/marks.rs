//! The line the skaters follow, and things of known size.

use egui::Ui;

use super::canvas::{Drawn, Handle, canvas, picture_keys};
use super::{MovedPoint, SetUpState, about, beside_picture, picture_room};
use crate::config::View;
use crate::geometry::Mark;
use crate::panel::model::Command;
use crate::panel::pages::Desk;
use crate::panel::pages::lane_line::{lane_in_use, lane_line, picture_old};
use crate::panel::widgets::{Icon, Press, Slider, Voice, card, plain_card, say, stepper};
use crate::ruler::PUCK_M;

/// A thing of known size: what every rink has, and what a coach brings.
///
/// Sizes: IIHF Official Rule Book 2023/24, section 1 (boards 1.07 m, blue line
/// 0.30 m, goal frame 1.83 m by 1.22 m, face-off spots 0.60 m and circles of
/// 4.5 m radius, puck 7.62 cm, stick shaft at most 1.63 m); the goal frame,
/// puck and stick are from memory, the others were looked up. Rinks differ:
/// the size can be stepped and typed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Thing {
    Boards,
    GoalHeight,
    Stick,
    Skater,
    BlueLine,
    FaceOffSpot,
    FaceOffCircle,
    GoalWidth,
    Puck,
    OnIce,
}

impl Thing {
    pub(super) const ALL: [Thing; 10] = [
        Thing::Boards,
        Thing::BlueLine,
        Thing::FaceOffCircle,
        Thing::FaceOffSpot,
        Thing::GoalHeight,
        Thing::GoalWidth,
        Thing::Skater,
        Thing::Stick,
        Thing::Puck,
        Thing::OnIce,
    ];

    pub(super) fn key(self) -> &'static str {
        match self {
            Thing::Boards => "kind.boards",
            Thing::GoalHeight => "kind.goal_height",
            Thing::Stick => "kind.stick",
            Thing::Skater => "kind.skater",
            Thing::BlueLine => "kind.blue_line",
            Thing::FaceOffSpot => "kind.spot",
            Thing::FaceOffCircle => "kind.circle",
            Thing::GoalWidth => "kind.goal_width",
            Thing::Puck => "kind.puck",
            Thing::OnIce => "kind.on_ice",
        }
    }

    /// The size to start from, metres.
    pub(super) fn usual_m(self, skater_height_m: f64) -> f64 {
        match self {
            Thing::Boards => 1.07,
            Thing::GoalHeight => 1.22,
            Thing::Stick => 1.5,
            Thing::Skater => skater_height_m,
            Thing::BlueLine => 0.30,
            Thing::FaceOffSpot => 0.60,
            Thing::FaceOffCircle => 9.0,
            Thing::GoalWidth => 1.83,
            Thing::Puck => PUCK_M[1],
            Thing::OnIce => 2.0,
        }
    }

    pub(super) fn upright(self) -> bool {
        matches!(
            self,
            Thing::Boards | Thing::GoalHeight | Thing::Stick | Thing::Skater
        )
    }
}

/// One mark while it is made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct MarkDraft {
    pub(super) thing: Thing,
    /// Foot and top, or the two ends.
    pub(super) ends: [MovedPoint; 2],
    pub(super) size_m: f64,
}

impl MarkDraft {
    pub(super) fn new(thing: Thing, skater_height_m: f64) -> Self {
        MarkDraft {
            thing,
            ends: [MovedPoint::default(); 2],
            size_m: thing.usual_m(skater_height_m),
        }
    }

    /// Whether both ends were put somewhere.
    pub(super) fn done(&self) -> bool {
        self.ends.iter().all(|e| e.moved)
    }

    /// As the geometry takes it; `None` while an end was not put anywhere.
    pub(super) fn mark(&self) -> Option<Mark> {
        let [a, b] = self.ends;
        let (from, to) = (a.at_px?, b.at_px?);
        if !self.done() {
            return None;
        }
        Some(if self.thing.upright() {
            Mark::Upright {
                bottom_px: from,
                top_px: to,
                height_m: self.size_m,
            }
        } else {
            Mark::OnIce {
                from_px: from,
                to_px: to,
                length_m: self.size_m,
            }
        })
    }

    /// The names of its ends among the words.
    pub(super) fn end_keys(&self) -> [&'static str; 2] {
        if self.thing.upright() {
            ["mark.foot", "mark.top"]
        } else {
            ["mark.one_end", "mark.other_end"]
        }
    }
}

/// The two ends of the line by two drags.
pub(super) fn line(ui: &mut Ui, d: &mut Desk<'_>, state: &mut SetUpState) {
    beside_picture(
        ui,
        d,
        state,
        |ui, d, state| {
            let room = picture_room(ui, d);
            let mut line = state.line;
            let [a, b] = &mut line;
            let mut handles = [
                Handle {
                    name: d.w.get("mark.line_one").to_owned(),
                    point: a,
                    start: [0.2, 0.85],
                },
                Handle {
                    name: d.w.get("mark.line_other").to_owned(),
                    point: b,
                    start: [0.8, 0.85],
                },
            ];
            // Where it was moved, the picture is compared with the line of the lane first.
            let (handles, drawn) = if state.compares(d) {
                // A picture that was held may be of before.
                state.frozen = None;
                (&mut handles[..0], lane_drawn(d))
            } else {
                (&mut handles[..], Vec::new())
            };
            let there = canvas(ui, d, state, room, handles, &drawn);
            state.line = line;
            if there {
                picture_keys(ui, d, state);
            }
        },
        |ui, d, state| {
            let s = d.s;
            if state.compares(d) {
                moved(ui, d, state);
                return;
            }
            if d.view.station.place_unknown {
                say(ui, s, Voice::Quiet, d.w.get("set_up.place_unknown"));
            }
            about(ui, d, "set_up.line_about");
            if d.view.live.preview.is_some() {
                let done = state.line.iter().all(|p| p.moved);
                let key = if done {
                    "set_up.line_done"
                } else {
                    "set_up.line_open"
                };
                say(ui, s, Voice::Head, d.w.get(key));
            }
            let lane = state.lane(d);
            card(ui, s, "", |ui| {
                let slider = Slider {
                    name: d.w.get("set_up.skater_height"),
                    less: d.w.get("number.less"),
                    more: d.w.get("number.more"),
                    range: 0.9..=2.1,
                    step: 0.05,
                    format: &|v| d.f.cm(v, 0),
                };
                stepper(ui, s, &slider, &mut lane.skater_height_m);
            });
        },
    );
}

/// Where the camera was moved: what to do about it. That it stands right is said of a picture of
/// now alone, with the line of the lane in it.
fn moved(ui: &mut Ui, d: &mut Desk<'_>, state: &mut SetUpState) {
    let s = d.s;
    let side = lane_in_use(d.view).is_some_and(|lane| lane.view == View::Side);
    let old_s = d.view.live.old_picture_s();
    let (mut right, mut anew) = (false, false);
    plain_card(ui, s, s.c.warning, |ui| {
        let wide = ui.available_width();
        if !side {
            say(ui, s, Voice::Body, d.w.get("set_up.moved_no_line"));
        } else if let Some(age_s) = old_s {
            say(ui, s, Voice::Body, &picture_old(d, age_s));
            say(ui, s, Voice::Body, d.w.get("set_up.moved_old"));
        } else {
            say(ui, s, Voice::Body, d.w.get("set_up.moved_about"));
            let key = Press::new(d.w.get("set_up.stands_right")).icon(Icon::Tick);
            right = key.wide(wide).show(ui, s);
        }
        let key = Press::new(d.w.get("set_up.draw_anew"));
        anew = key.wide(wide).show(ui, s);
    });
    if right {
        d.send(Command::CameraStandsRight);
    }
    if anew {
        state.draw_anew();
    }
}

/// The line of the lane in use, only to be seen.
fn lane_drawn(d: &Desk<'_>) -> Vec<Drawn> {
    let frame_px = d.view.live.frame_px.unwrap_or_default();
    let pieces = lane_line(d.view, frame_px).into_iter();
    let drawn = pieces.map(|[from_px, to_px]| Drawn {
        from_px,
        to_px,
        word: String::new(),
    });
    drawn.collect()
}

/// The line and the marks that are done, only to be seen.
pub(super) fn drawn(d: &Desk<'_>, state: &SetUpState, but: usize) -> Vec<Drawn> {
    let line = |ends: &[MovedPoint; 2], word: String| {
        Some(Drawn {
            from_px: ends[0].at_px?,
            to_px: ends[1].at_px?,
            word,
        })
    };
    let lane = state
        .line
        .iter()
        .all(|p| p.moved)
        .then(|| line(&state.line, String::new()));
    let marks = state
        .marks
        .iter()
        .enumerate()
        .filter(|(i, m)| *i != but && m.done())
        .map(|(_, m)| line(&m.ends, d.f.cm(m.size_m, 0)));
    lane.into_iter().chain(marks).flatten().collect()
}
