//! The picture with points to be dragged.

use egui::{
    Align2, Color32, EventFilter, Key, Rect, Sense, Stroke, StrokeKind, Ui, Vec2, WidgetInfo,
    accesskit::Role, pos2, vec2,
};

use super::MovedPoint;
use crate::display::panel_theme as theme;
use crate::panel::pages::Desk;
use crate::panel::widgets::{Sizes, Voice, say};

/// How much larger the glass over the point shows it.
const MAGNIFIED: f32 = 3.0;

/// A point that can be dragged, by its name.
pub(super) struct Handle<'a> {
    pub(super) name: String,
    pub(super) point: &'a mut MovedPoint,
    /// Where it starts, as shares of the frame.
    pub(super) start: [f64; 2],
}

/// What is only drawn: a line with its word, pixels of the frame.
pub(super) struct Drawn {
    pub(super) from_px: [f64; 2],
    pub(super) to_px: [f64; 2],
    pub(super) word: String,
}

/// Draws the picture with everything in it. Handles come in pairs: the two
/// ends of one line each. Without a picture there is nothing to drag; that is
/// said, and the answer is `false`.
pub(super) fn canvas(
    ui: &mut Ui,
    d: &mut Desk<'_>,
    room: Vec2,
    handles: &mut [Handle<'_>],
    drawn: &[Drawn],
) -> bool {
    let s = d.s;
    let (Some(frame), Some(picture)) = (d.view.live.frame_px, d.view.live.preview.as_ref()) else {
        say(ui, s, Voice::Body, d.w.get("set_up.no_picture"));
        return false;
    };
    let frame = vec2(frame[0].max(1) as f32, frame[1].max(1) as f32);
    let names = (d.w.get("now.picture"), "");
    let (rect, _) = d.pictures.show(ui, s, room, Some(picture), names);
    let to_screen = |p: [f64; 2]| {
        pos2(
            rect.left() + p[0] as f32 / frame.x * rect.width(),
            rect.top() + p[1] as f32 / frame.y * rect.height(),
        )
    };
    for line in drawn {
        let (from, to) = (to_screen(line.from_px), to_screen(line.to_px));
        rimmed_line(ui, s, from, to);
        let at = (from.lerp(to, 0.5)) + vec2(s.mm(1.5), 0.0);
        plate(ui, s, at, &line.word);
    }
    for pair in handles.chunks(2) {
        if let [a, b] = pair {
            let ends = [a, b].map(|h| h.point.at_px.unwrap_or(start_px(h.start, frame)));
            rimmed_line(ui, s, to_screen(ends[0]), to_screen(ends[1]));
        }
    }
    let mut looked_at = None;
    for handle in handles.iter_mut() {
        let at = handle.point.at_px.unwrap_or(start_px(handle.start, frame));
        let grip = Rect::from_center_size(to_screen(at), Vec2::splat(s.target()));
        // The whole grip stays on the panel, also at the picture's edge.
        let grip = keep_inside(grip, ui.clip_rect());
        let id = ui.scope_id().with(("handle", &handle.name));
        let response = ui.interact(grip, id, Sense::click_and_drag());
        response.widget_info(|| WidgetInfo::labeled(Role::Button, true, &handle.name));
        let mut by = [0.0f64; 2];
        if response.dragged() {
            let delta = response.drag_delta();
            by = [
                f64::from(delta.x / rect.width() * frame.x),
                f64::from(delta.y / rect.height() * frame.y),
            ];
            looked_at = Some(at);
            response.request_focus();
        } else if response.has_focus() {
            by = arrows(ui, response.id);
            looked_at = Some(at);
        }
        let to = [
            (at[0] + by[0]).clamp(0.0, f64::from(frame.x) - 1.0),
            (at[1] + by[1]).clamp(0.0, f64::from(frame.y) - 1.0),
        ];
        if by != [0.0, 0.0] {
            handle.point.moved = true;
        }
        handle.point.at_px = Some(to);
        grip_mark(
            ui,
            s,
            to_screen(to),
            response.has_focus() || response.dragged(),
        );
    }
    if let Some(at) = looked_at {
        magnifier(ui, d, rect, frame, at);
    }
    true
}

fn start_px(share: [f64; 2], frame: Vec2) -> [f64; 2] {
    [share[0] * f64::from(frame.x), share[1] * f64::from(frame.y)]
}

fn keep_inside(rect: Rect, room: Rect) -> Rect {
    let low = (room.min - rect.min).max(Vec2::ZERO);
    let high = (room.max - rect.max).min(Vec2::ZERO);
    rect.translate(low + high)
}

/// What the arrow keys move the focused point by: one pixel, ten with Shift.
fn arrows(ui: &Ui, id: egui::Id) -> [f64; 2] {
    ui.memory_mut(|m| {
        m.set_focus_lock_filter(
            id,
            EventFilter {
                horizontal_arrows: true,
                vertical_arrows: true,
                ..EventFilter::default()
            },
        );
    });
    ui.input(|i| {
        let step = if i.modifiers.shift { 10.0 } else { 1.0 };
        let n = |key| i.num_presses(key) as f64;
        [
            (n(Key::ArrowRight) - n(Key::ArrowLeft)) * step,
            (n(Key::ArrowDown) - n(Key::ArrowUp)) * step,
        ]
    })
}

/// A line that is seen on white ice and on dark boards.
fn rimmed_line(ui: &Ui, s: Sizes, from: egui::Pos2, to: egui::Pos2) {
    let painter = ui.painter();
    painter.line_segment([from, to], Stroke::new(s.mm(1.4), theme::TEXT));
    painter.line_segment([from, to], Stroke::new(s.mm(0.6), theme::OVER_PICTURE));
}

fn grip_mark(ui: &Ui, s: Sizes, at: egui::Pos2, held: bool) {
    let painter = ui.painter();
    let radius = s.mm(if held { 5.0 } else { 4.0 });
    painter.circle_stroke(at, radius, Stroke::new(s.mm(1.4), theme::TEXT));
    painter.circle_stroke(at, radius, Stroke::new(s.mm(0.6), theme::OVER_PICTURE));
    // The point itself stays free to be seen.
    for (dx, dy) in [(1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0)] {
        let by = vec2(dx, dy);
        let ends = [at + by * s.mm(1.2), at + by * radius];
        painter.line_segment(ends, Stroke::new(s.mm(0.9), theme::TEXT));
        painter.line_segment(ends, Stroke::new(s.mm(0.4), theme::OVER_PICTURE));
    }
}

fn plate(ui: &Ui, s: Sizes, at: egui::Pos2, word: &str) {
    let painter = ui.painter();
    let galley = painter.layout_no_wrap(word.to_owned(), s.body(), theme::ON_MAIN);
    let rect = Align2::LEFT_CENTER.anchor_size(at, galley.size());
    painter.rect_filled(rect.expand(s.mm(0.8)), s.mm(0.8), theme::MAIN);
    painter.galley(rect.min, galley, theme::ON_MAIN);
}

/// The surroundings of a point, enlarged, in the corner away from it: a
/// finger covers what it drags.
fn magnifier(ui: &mut Ui, d: &mut Desk<'_>, rect: Rect, frame: Vec2, at: [f64; 2]) {
    let Some(picture) = d.view.live.preview.as_ref() else {
        return;
    };
    let s = d.s;
    let side = s.mm(34.0).min(rect.height() / 2.0);
    let share = vec2(at[0] as f32 / frame.x, at[1] as f32 / frame.y);
    let left = if share.x < 0.5 {
        rect.right() - side
    } else {
        rect.left()
    };
    let glass = Rect::from_min_size(pos2(left, rect.top()), Vec2::splat(side));
    let half = vec2(side / rect.width(), side / rect.height()) / (2.0 * MAGNIFIED);
    let uv = Rect::from_min_max(
        pos2(share.x - half.x, share.y - half.y),
        pos2(share.x + half.x, share.y + half.y),
    );
    let id = d.pictures.texture(ui, picture);
    let painter = ui.painter();
    painter.rect_filled(glass, 0.0, theme::NO_PICTURE);
    painter.image(id, glass, uv, Color32::WHITE);
    painter.rect_stroke(
        glass,
        0.0,
        Stroke::new(s.mm(0.8), theme::TEXT),
        StrokeKind::Inside,
    );
    grip_mark(ui, s, glass.center(), false);
}
