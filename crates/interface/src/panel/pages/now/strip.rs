//! The last passes as cards with bib and mark; one tap opens the push.

use egui::{
    CornerRadius, Rect, Response, Sense, Stroke, StrokeKind, Ui, Vec2, WidgetInfo, accesskit::Role,
};
use egui::{pos2, vec2};

use crate::display::PreviewImage;
use crate::panel::look as theme;
use crate::panel::model::{Command, PassRow};
use crate::panel::pages::{Desk, bib_of};
use crate::panel::widgets::{Icon, Sizes, paint_bib};
use crate::rules::Measure;
use crate::store::PushKey;

/// Cards side by side.
const CARDS: usize = 8;

/// Height of the strip, points.
pub(super) fn height(s: Sizes) -> f32 {
    s.mm(if s.is_small() { 15.0 } else { 20.0 })
}

pub(super) fn show(ui: &mut Ui, d: &mut Desk<'_>, wide: f32) {
    let s = d.s;
    let gap = s.mm(1.2);
    let cards = if s.is_upright() && s.is_small() {
        6
    } else {
        CARDS
    };
    let width = (wide - gap * (cards as f32 - 1.0)) / cards as f32;
    let (strip, _) = ui.allocate_exact_size(vec2(wide, height(s)), Sense::hover());
    let view = d.view;
    for (i, pass) in view.passes.iter().take(cards).enumerate() {
        let left = strip.left() + i as f32 * (width + gap);
        let rect = Rect::from_min_size(pos2(left, strip.top()), vec2(width, strip.height()));
        card(ui, d, pass, rect);
    }
}

/// The push that is worth a look: the first with a flag, the first else.
fn worth_a_look(pass: &PassRow) -> Option<PushKey> {
    let flagged = pass.pushes.iter().position(|p| !p.judged.flags.is_empty());
    let position = flagged.or((!pass.pushes.is_empty()).then_some(0))?;
    Some(PushKey {
        pass: pass.key,
        position: position as u32,
    })
}

fn card(ui: &mut Ui, d: &mut Desk<'_>, pass: &PassRow, rect: Rect) {
    let s = d.s;
    let id = ui
        .scope_id()
        .with(("pass", pass.key.session, pass.key.number));
    let response = ui.interact(rect, id, Sense::click());
    let name = d.w.say(
        "now.card",
        &[
            ("n", &pass.key.number.to_string()),
            ("who", &d.label(pass.skater)),
            ("cue", &pass.cue),
        ],
    );
    response.widget_info(|| WidgetInfo::labeled(Role::Button, true, &name));
    let fill = match (response.is_pointer_button_down_on(), response.hovered()) {
        (true, _) => s.c.key_down,
        (_, true) => s.c.key_over,
        _ => s.c.card,
    };
    let painter = ui.painter();
    let round = CornerRadius::from(s.mm(theme::ROUND_MM));
    painter.rect_filled(rect, round, fill);
    let edge = Stroke::new(s.mm(theme::EDGE_MM), s.c.edge);
    painter.rect_stroke(rect, round, edge, StrokeKind::Inside);
    let judged =
        |p: &crate::panel::model::PushRow| p.judged.measures.values().any(Measure::is_judged);
    let flagged = pass.pushes.iter().any(|p| !p.judged.flags.is_empty());
    let (icon, ink) = if flagged {
        (Icon::Warning, s.c.alarm)
    } else if pass.pushes.iter().any(judged) {
        (Icon::Tick, s.c.main)
    } else {
        (Icon::Unknown, s.c.quiet)
    };
    let (number, colour) = bib_of(d, pass.skater);
    if let Some(picture) = &pass.thumbnail {
        let room = rect.shrink(s.mm(theme::EDGE_MM));
        let texture = d.pictures.texture(ui, picture);
        let image = egui::Shape::image(texture, room, part_of(picture, room), egui::Color32::WHITE);
        ui.painter().with_clip_rect(room).add(image);
        // Bib and mark lie in the corners, off the skater.
        let disc = (0.44 * rect.height()).min(0.44 * rect.width());
        let at = Rect::from_min_size(
            pos2(rect.left() + s.mm(0.8), rect.bottom() - disc - s.mm(0.8)),
            Vec2::splat(disc),
        );
        paint_bib(ui, s, at, &number, colour);
        let corner = pos2(rect.right() - 0.5 * disc, rect.top() + 0.5 * disc);
        ui.painter().circle_filled(corner, 0.42 * disc, s.c.card);
        icon.paint(
            ui.painter(),
            Rect::from_center_size(corner, Vec2::splat(0.52 * disc)),
            ink,
        );
        return answer(ui, d, pass, rect, &response);
    }
    // Side by side where there is room, else the mark in the corner.
    let disc = (rect.height() - s.mm(4.0)).min(rect.width() * 0.58);
    let at = Rect::from_center_size(
        pos2(rect.left() + s.mm(1.2) + disc / 2.0, rect.center().y),
        Vec2::splat(disc),
    );
    paint_bib(ui, s, at, &number, colour);
    let side = (rect.right() - at.right() - s.mm(1.6))
        .min(s.mm(7.0))
        .max(s.mm(3.0));
    let mark = Rect::from_center_size(
        pos2((at.right() + rect.right()) / 2.0, rect.center().y),
        Vec2::splat(side),
    );
    icon.paint(ui.painter(), mark, ink);
    answer(ui, d, pass, rect, &response);
}

/// The part of a picture, as texture coordinates, that has the shape of its room.
fn part_of(picture: &PreviewImage, room: Rect) -> Rect {
    let (w, h) = picture.size();
    let shape = (w as f32 / h.max(1) as f32) / room.aspect_ratio().max(1e-3);
    let size = if shape > 1.0 {
        vec2(1.0 / shape, 1.0)
    } else {
        vec2(1.0, shape)
    };
    Rect::from_center_size(pos2(0.5, 0.5), size)
}

/// The ring of the keyboard, and what a press opens.
fn answer(ui: &Ui, d: &mut Desk<'_>, pass: &PassRow, rect: Rect, response: &Response) {
    let s = d.s;
    let round = CornerRadius::from(s.mm(theme::ROUND_MM));
    if response.has_focus() {
        let ring = Stroke::new(s.mm(theme::RING_MM), s.c.text);
        ui.painter()
            .rect_stroke(rect, round, ring, StrokeKind::Outside);
    }
    if response.clicked()
        && let Some(push) = worth_a_look(pass)
    {
        d.send(Command::OpenPush { push, rule: None });
        d.open_push = Some(push);
    }
}
