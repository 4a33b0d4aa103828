//! The live picture, with what is measured drawn over it; greyed with its age
//! where no new one comes.

use egui::{Color32, Rect, Sense, Stroke, Ui, WidgetInfo, accesskit::Role, pos2, vec2};

use super::NowState;
use crate::panel::look::OVER_RIM;
use crate::panel::pages::Desk;
use crate::panel::pages::lane_line::{lane_line, picture_old};
use crate::panel::widgets::{Sizes, fitting};

pub(super) fn show(ui: &mut Ui, d: &mut Desk<'_>, state: &mut NowState, wide: f32, high: f32) {
    let s = d.s;
    let view = d.view;
    let live = &view.live;
    let said = if view.station.camera.is_empty() {
        d.w.get("now.no_picture").to_owned()
    } else {
        view.station.camera.clone()
    };
    let name = d.w.get("now.picture").to_owned();
    let (rect, _) = d.pictures.show(
        ui,
        s,
        vec2(wide, high),
        live.preview.as_ref(),
        (&name, &said),
    );
    if live.preview.is_none() {
        return;
    }
    let tap = ui.interact(rect, ui.scope_id().with("over the picture"), Sense::click());
    let over = d.w.get("now.over_picture");
    tap.widget_info(|| WidgetInfo::selected(Role::CheckBox, true, !state.bare, over));
    if tap.clicked() {
        state.bare = !state.bare;
    }
    let age = live.old_picture_s();
    if !view.station.camera_live {
        gone(ui, d, rect, age);
    } else {
        if !state.bare {
            drawn(ui, d, rect);
        }
        if let Some(age) = age {
            // Where faces are blurred there is no picture while nobody is found, nor while the
            // pose model fails: its age is all that is known.
            note(ui, s, rect, &picture_old(d, age));
        }
    }
    if tap.has_focus() {
        let ring = Stroke::new(s.mm(crate::panel::look::RING_MM), s.c.text);
        ui.painter()
            .rect_stroke(rect, 0.0, ring, egui::StrokeKind::Inside);
    }
}

/// The body that is followed and the line of the lane.
fn drawn(ui: &Ui, d: &Desk<'_>, rect: Rect) {
    let s = d.s;
    let Some(frame) = d.view.live.frame_px else {
        return;
    };
    let [w, h] = frame.map(|v| v.max(1));
    let to_screen = |p: [f64; 2]| {
        pos2(
            rect.left() + p[0] as f32 / w as f32 * rect.width(),
            rect.top() + p[1] as f32 / h as f32 * rect.height(),
        )
    };
    let painter = ui.painter().with_clip_rect(rect);
    let line = |a: [f64; 2], b: [f64; 2], width: f32, colour: Color32| {
        let ends = [to_screen(a), to_screen(b)];
        painter.line_segment(ends, Stroke::new(width + s.mm(0.5), OVER_RIM));
        painter.line_segment(ends, Stroke::new(width, colour));
    };
    for [a, b] in lane_line(d.view, frame) {
        line(a, b, s.mm(0.5), s.c.over_picture);
    }
    for bone in d.view.live.body.iter() {
        line(bone[0], bone[1], s.mm(0.7), Color32::WHITE);
    }
}

/// The picture is not of now: that is seen before anything is read.
fn gone(ui: &Ui, d: &Desk<'_>, rect: Rect, age: Option<f64>) {
    let s = d.s;
    let painter = ui.painter();
    painter.rect_filled(rect, 0.0, Color32::from_black_alpha(150));
    let mut lines = vec![d.w.get("now.nobody_skates").to_owned()];
    lines.extend(age.map(|age| picture_old(d, age)));
    plate(ui, s, rect, &lines);
}

/// A line at the foot of the picture, on a ground of its own.
fn note(ui: &Ui, s: Sizes, rect: Rect, text: &str) {
    let font = fitting(ui, text, s.body(), rect.width() - s.mm(6.0));
    let galley = ui
        .painter()
        .layout(text.to_owned(), font, s.c.text, rect.width() - s.mm(6.0));
    let size = galley.size() + vec2(s.mm(4.0), s.mm(2.0));
    let ground = Rect::from_min_size(
        pos2(rect.left() + s.mm(1.5), rect.bottom() - size.y - s.mm(1.5)),
        size,
    );
    ui.painter().rect_filled(ground, s.mm(1.5), s.c.card);
    let at = ground.min + vec2(s.mm(2.0), s.mm(1.0));
    ui.painter().galley(at, galley, s.c.text);
}

/// Words in the middle of a picture, on a ground of their own.
fn plate(ui: &Ui, s: Sizes, rect: Rect, lines: &[String]) {
    let most = rect.width() - s.mm(12.0);
    let galleys: Vec<_> = lines
        .iter()
        .enumerate()
        .map(|(i, line)| {
            let usual = s.font(if i == 0 { 5.5 } else { 4.0 });
            let font = fitting(ui, line, usual, most);
            ui.painter().layout(line.clone(), font, s.c.text, most)
        })
        .collect();
    let high: f32 = galleys.iter().map(|g| g.size().y).sum();
    let wide = galleys.iter().map(|g| g.size().x).fold(0.0, f32::max);
    let ground = Rect::from_center_size(rect.center(), vec2(wide + s.mm(6.0), high + s.mm(4.0)));
    ui.painter().rect_filled(ground, s.mm(2.0), s.c.warning);
    let mut y = ground.top() + s.mm(2.0);
    for galley in galleys {
        let size = galley.size();
        let at = pos2(ground.center().x - size.x / 2.0, y);
        ui.painter().galley(at, galley, s.c.text);
        y += size.y;
    }
}
