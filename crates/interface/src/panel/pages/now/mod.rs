//! The page for the ice time itself: the picture, who is in the lane and who
//! is next, what the last pass was and what the skater was shown.

mod flags;
mod more;
mod picture;
mod strip;
mod voice;
mod who;

use egui::{Layout, Rect, Ui, UiBuilder, pos2};

use super::Desk;
use crate::panel::state::PageId;
use crate::panel::widgets::columns;
use crate::sound::SoundId;

/// Share of the width the picture's side takes.
const PICTURE_SHARE: f32 = 0.655;

/// What is open on the page.
#[derive(Default)]
pub(in crate::panel) struct NowState {
    /// Whether nothing is drawn over the picture.
    bare: bool,
    /// Whether the page of settings for the ice is open.
    more: bool,
    /// Whether the words of the coach's voice are open.
    voice: bool,
    /// Whether a recording was told to stop because its page was left.
    pub(in crate::panel) told_to_stop: bool,
    /// The sound whose word is chosen there.
    voice_of: Option<SoundId>,
    /// Whether ending the session was pressed once.
    ending: bool,
    /// Whether the session was ended and nothing was done since.
    ended: bool,
}

impl NowState {
    /// Opens what is set during the ice time, or there the coach's voice.
    pub(in crate::panel) fn open_more(&mut self, voice: bool) {
        (self.more, self.voice) = (true, voice);
    }

    /// Whether the words of the coach's voice are seen.
    pub(in crate::panel) fn voice_is_open(&self) -> bool {
        self.voice
    }

    /// Closes what lies over the page; whether there was anything.
    pub(in crate::panel) fn close(&mut self) -> bool {
        let was = self.more || self.voice || self.ending || self.ended;
        (self.more, self.voice, self.ending, self.ended) = (false, false, false, false);
        was
    }
}

pub(in crate::panel) fn show(ui: &mut Ui, d: &mut Desk<'_>, state: &mut NowState) {
    let s = d.s;
    // Up to the foot of the page and over the room of the bar that scrolls:
    // this page is made to fit.
    let mut room = ui.available_rect_before_wrap();
    room.max = pos2(
        ui.clip_rect().right() - s.mm(1.5),
        ui.clip_rect().bottom() - 1.0,
    );
    if s.is_narrow() {
        return narrow(ui, d, state, room);
    }
    if s.is_upright() {
        picture::show(ui, d, state, room.width(), room.height() * 0.42);
        strip::show(ui, d, room.width());
        ui.set_max_width(room.width());
        side(ui, d, state);
        return;
    }
    let wide = room.width() * PICTURE_SHARE;
    let left = Rect::from_min_size(room.min, egui::vec2(wide, room.height()));
    let right = Rect::from_min_max(pos2(left.right() + s.gap(), room.top()), room.max);
    let child = |ui: &mut Ui, rect: Rect, name: &str| {
        ui.new_child(
            UiBuilder::new()
                .id_salt(name)
                .max_rect(rect)
                .layout(Layout::top_down(egui::Align::Min)),
        )
    };
    let mut left_ui = child(ui, left, "left");
    let strip_high = strip::height(s);
    let example = d.view.station.lane_example && !s.is_small();
    let example_high = if example { s.mm(40.0) } else { 0.0 };
    // What there is to say of the last pass stands under its card: beside the picture
    // is no room for it.
    let last_high = who::last_height(d);
    picture::show(
        &mut left_ui,
        d,
        state,
        wide,
        room.height() - strip_high - 2.0 * s.gap() - example_high - last_high,
    );
    strip::show(&mut left_ui, d, wide);
    left_ui.set_max_width(wide);
    if s.is_small() {
        who::last(&mut left_ui, d);
    } else {
        who::flags_of_last(&mut left_ui, d);
    }
    if example {
        d.empty(&mut left_ui, "now.lane_example", Some(PageId::SetUp));
    }
    let mut right_ui = child(ui, right, "right");
    side(&mut right_ui, d, state);
    let bottom = left_ui
        .min_rect()
        .bottom()
        .max(right_ui.min_rect().bottom());
    ui.advance_cursor_after_rect(Rect::from_min_max(room.min, pos2(room.right(), bottom)));
}

/// On a small tablet that stands upright the picture shares its height with who is in the lane.
fn narrow(ui: &mut Ui, d: &mut Desk<'_>, state: &mut NowState, room: Rect) {
    let s = d.s;
    if state.voice || state.more || state.ended {
        return side(ui, d, state);
    }
    ui.set_max_width(room.width());
    columns(ui, s, [1.62, 1.0], |[left, right]| {
        let wide = left.available_width();
        picture::show(left, d, state, wide, wide * 9.0 / 16.0);
        who::in_lane(right, d);
        more::keys(right, d, state);
    });
    strip::show(ui, d, room.width());
    who::next(ui, d);
    who::last(ui, d);
}

/// What stands beside the picture.
fn side(ui: &mut Ui, d: &mut Desk<'_>, state: &mut NowState) {
    let s = d.s;
    if state.voice {
        return voice::show(ui, d, state);
    }
    if state.more {
        return more::show(ui, d, state);
    }
    if state.ended {
        return more::ended(ui, d, state);
    }
    who::in_lane(ui, d);
    who::next(ui, d);
    // Never below the fold, however much there is to say of the last pass.
    more::keys(ui, d, state);
    if !s.is_small() || s.is_upright() {
        who::last(ui, d);
    }
}
