//! The line the skaters follow, and things of known size.

use egui::{Ui, vec2};

use super::canvas::{Drawn, Handle, canvas};
use super::{MovedPoint, SetUpState, about};
use crate::geometry::Mark;
use crate::panel::pages::Desk;
use crate::panel::widgets::{Voice, say};

/// A thing of known size.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Boards,
    Stick,
    Skater,
    OnIce,
}

impl Kind {
    pub(super) const ALL: [Kind; 4] = [Kind::Boards, Kind::Stick, Kind::Skater, Kind::OnIce];

    pub(super) fn key(self) -> &'static str {
        match self {
            Kind::Boards => "kind.boards",
            Kind::Stick => "kind.stick",
            Kind::Skater => "kind.skater",
            Kind::OnIce => "kind.on_ice",
        }
    }

    /// The size to start from, metres, as the trade has it, from memory:
    /// boards of 1.07 m, a stick of 1.5 m. Both differ; the page asks for
    /// what was measured.
    pub(super) fn usual_m(self, skater_height_m: f64) -> f64 {
        match self {
            Kind::Boards => 1.07,
            Kind::Stick => 1.5,
            Kind::Skater => skater_height_m,
            Kind::OnIce => 2.0,
        }
    }

    fn upright(self) -> bool {
        self != Kind::OnIce
    }
}

/// One mark while it is made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct MarkDraft {
    pub(super) kind: Kind,
    /// Foot and top, or the two ends.
    pub(super) ends: [MovedPoint; 2],
    pub(super) size_m: f64,
}

impl MarkDraft {
    pub(super) fn new(kind: Kind, skater_height_m: f64) -> Self {
        MarkDraft {
            kind,
            ends: [MovedPoint::default(); 2],
            size_m: kind.usual_m(skater_height_m),
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
        Some(if self.kind.upright() {
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
        if self.kind.upright() {
            ["mark.foot", "mark.top"]
        } else {
            ["mark.one_end", "mark.other_end"]
        }
    }
}

/// The two ends of the line by two drags.
pub(super) fn line(ui: &mut Ui, d: &mut Desk<'_>, state: &mut SetUpState) {
    let s = d.s;
    about(ui, d, "set_up.line_about");
    let room = vec2(ui.available_width(), s.mm(105.0));
    let [a, b] = &mut state.line;
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
    let there = canvas(ui, d, room, &mut handles, &[]);
    if there {
        let done = state.line.iter().all(|p| p.moved);
        let key = if done {
            "set_up.line_done"
        } else {
            "set_up.line_open"
        };
        say(ui, s, Voice::Head, d.w.get(key));
    }
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
        .then(|| line(&state.line, d.w.get("mark.line").to_owned()));
    let marks = state
        .marks
        .iter()
        .enumerate()
        .filter(|(i, m)| *i != but && m.done())
        .map(|(_, m)| line(&m.ends, d.f.cm(m.size_m, 0)));
    lane.into_iter().chain(marks).flatten().collect()
}
