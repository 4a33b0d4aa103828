//! The picture with points to be dragged.

use std::sync::Arc;

use egui::{
    Align2, Color32, EventFilter, Key, Painter, Rect, Response, Sense, Stroke, StrokeKind, Ui,
    Vec2, WidgetInfo, accesskit::Role, pos2, vec2,
};

use super::{MovedPoint, SetUpState};
use crate::display::PreviewImage;
use crate::panel::look::OVER_RIM;
use crate::panel::pages::Desk;
use crate::panel::widgets::{Icon, Press, Sizes, Voice, grid, say};

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
    state: &mut SetUpState,
    room: Vec2,
    handles: &mut [Handle<'_>],
    drawn: &[Drawn],
) -> bool {
    let s = d.s;
    let shown = state.frozen.clone().or(d.view.live.preview.clone());
    let (Some(frame), Some(picture)) = (d.view.live.frame_px, shown) else {
        say(ui, s, Voice::Body, d.w.get("set_up.no_picture"));
        return false;
    };
    let frame = vec2(frame[0].max(1) as f32, frame[1].max(1) as f32);
    let names = (d.w.get("now.picture"), "");
    let (rect, _) = d.pictures.show(ui, s, room, Some(&picture), names);
    // What part of the frame is shown.
    let half = 0.5 / state.zoom;
    let middle = state.middle.map(|m| m.clamp(half, 1.0 - half));
    state.middle = middle;
    let part = Rect::from_min_max(
        pos2(middle[0] - half, middle[1] - half),
        pos2(middle[0] + half, middle[1] + half),
    );
    if state.zoom > 1.0 {
        let id = d.pictures.texture(ui, &picture);
        ui.painter().image(id, rect, part, Color32::WHITE);
    }
    let to_screen = |p: [f64; 2]| {
        let share = pos2(p[0] as f32 / frame.x, p[1] as f32 / frame.y);
        pos2(
            rect.left() + (share.x - part.left()) / part.width() * rect.width(),
            rect.top() + (share.y - part.top()) / part.height() * rect.height(),
        )
    };
    let over = ui.painter().with_clip_rect(rect);
    for line in drawn {
        let (from, to) = (to_screen(line.from_px), to_screen(line.to_px));
        rimmed_line(&over, s, from, to);
        if !line.word.is_empty() {
            let at = (from.lerp(to, 0.5)) + vec2(s.mm(1.5), 0.0);
            plate(&over, s, at, &line.word);
        }
    }
    for pair in handles.chunks(2) {
        if let [a, b] = pair {
            let ends = [a, b].map(|h| h.point.at_px.unwrap_or(start_px(h.start, frame)));
            rimmed_line(&over, s, to_screen(ends[0]), to_screen(ends[1]));
        }
    }
    let mut looked_at = None;
    for (i, handle) in handles.iter_mut().enumerate() {
        let at = handle.point.at_px.unwrap_or(start_px(handle.start, frame));
        let point = to_screen(at);
        // Beside the point, away from the other end, so that neither the
        // finger nor the handle covers what is marked.
        let aside = vec2(if i % 2 == 0 { -1.0 } else { 1.0 }, 0.55) * s.mm(9.5);
        let grip = Rect::from_center_size(point + aside, Vec2::splat(s.target()));
        // The whole grip stays on the panel, also at the picture's edge.
        let grip = keep_inside(grip, rect.intersect(ui.clip_rect()));
        let id = ui.scope_id().with(("handle", &handle.name));
        let response = ui.interact(grip, id, Sense::click_and_drag());
        response.widget_info(|| WidgetInfo::labeled(Role::Button, true, &handle.name));
        let mut by = [0.0f64; 2];
        if response.dragged() {
            let delta = dragged_by(ui, &response);
            by = [
                f64::from(delta.x / rect.width() * part.width() * frame.x),
                f64::from(delta.y / rect.height() * part.height() * frame.y),
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
        if looked_at.is_some() {
            state.middle = [to[0] as f32 / frame.x, to[1] as f32 / frame.y];
        }
        handle.point.at_px = Some(to);
        let held = response.has_focus() || response.dragged();
        grip_mark(&over, s, to_screen(to), grip, held);
    }
    if let Some(at) = looked_at.filter(|_| state.zoom < 2.0) {
        magnifier(ui, d, &picture, rect, frame, at);
    }
    true
}

/// How far it was dragged in this frame. What the finger moved before that counted as a
/// drag and not as a press that slipped is not lost.
fn dragged_by(ui: &Ui, response: &Response) -> Vec2 {
    if !response.drag_started() {
        return response.drag_delta();
    }
    ui.input(
        |i| match (i.pointer.press_origin(), i.pointer.latest_pos()) {
            (Some(from), Some(now)) => now - from,
            _ => i.pointer.delta(),
        },
    )
}

/// Freeze and magnify, under the picture.
pub(super) fn picture_keys(ui: &mut Ui, d: &mut Desk<'_>, state: &mut SetUpState) {
    let s = d.s;
    let frozen = state.frozen.is_some();
    let zoom = format!("{} x", state.zoom as u32);
    let long = d.w.pair(d.w.get("set_up.magnify"), &zoom);
    let keys = vec![
        Press::new(d.w.get("set_up.freeze"))
            .icon(Icon::Freeze)
            .page(frozen),
        Press::new(&long)
            .named(d.w.get("set_up.magnify"))
            .icon(Icon::Glass),
    ];
    match grid(ui, s, 2, keys) {
        Some(0) => {
            state.frozen = if frozen {
                None
            } else {
                d.view.live.preview.clone()
            };
        }
        Some(_) => {
            state.zoom = if state.zoom >= 4.0 {
                1.0
            } else {
                state.zoom * 2.0
            }
        }
        None => {}
    }
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
fn rimmed_line(painter: &Painter, s: Sizes, from: egui::Pos2, to: egui::Pos2) {
    painter.line_segment([from, to], Stroke::new(s.mm(1.4), OVER_RIM));
    painter.line_segment([from, to], Stroke::new(s.mm(0.6), s.c.over_picture));
}

/// A cross at the point itself and the handle beside it, joined by a line.
fn grip_mark(painter: &Painter, s: Sizes, at: egui::Pos2, grip: Rect, held: bool) {
    let radius = s.mm(if held { 4.6 } else { 3.8 });
    let middle = grip.center();
    for (width, colour) in [(1.4, OVER_RIM), (0.6, s.c.over_picture)] {
        let stroke = Stroke::new(s.mm(width), colour);
        painter.line_segment([at, middle], stroke);
        // The point itself stays free to be seen.
        for (dx, dy) in [(1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0)] {
            let by = vec2(dx, dy);
            painter.line_segment([at + by * s.mm(0.8), at + by * s.mm(3.0)], stroke);
        }
    }
    painter.circle_filled(middle, radius + s.mm(0.6), OVER_RIM);
    painter.circle_filled(middle, radius, s.c.over_picture);
}

fn plate(painter: &Painter, s: Sizes, at: egui::Pos2, word: &str) {
    let galley = painter.layout_no_wrap(word.to_owned(), s.body(), s.c.on_main);
    let rect = Align2::LEFT_CENTER.anchor_size(at, galley.size());
    painter.rect_filled(rect.expand(s.mm(0.8)), s.mm(0.8), s.c.main);
    painter.galley(rect.min, galley, s.c.on_main);
}

/// The surroundings of a point, enlarged, in the corner away from it: a
/// finger covers what it drags.
fn magnifier(
    ui: &mut Ui,
    d: &mut Desk<'_>,
    picture: &Arc<PreviewImage>,
    rect: Rect,
    frame: Vec2,
    at: [f64; 2],
) {
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
    painter.rect_filled(glass, 0.0, s.c.no_picture);
    painter.image(id, glass, uv, Color32::WHITE);
    painter.rect_stroke(
        glass,
        0.0,
        Stroke::new(s.mm(0.8), s.c.text),
        StrokeKind::Inside,
    );
    let middle = glass.center();
    for (width, colour) in [(1.4, OVER_RIM), (0.6, s.c.over_picture)] {
        let stroke = Stroke::new(s.mm(width), colour);
        for by in [
            vec2(1.0, 0.0),
            vec2(-1.0, 0.0),
            vec2(0.0, 1.0),
            vec2(0.0, -1.0),
        ] {
            painter.line_segment([middle + by * s.mm(1.0), middle + by * s.mm(5.0)], stroke);
        }
    }
}
