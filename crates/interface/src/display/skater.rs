//! Paints the figures of [`crate::figure`].

use egui::{Color32, Pos2, Rect, Shape, Stroke, pos2, vec2};

use super::page::Page;
use super::theme::{self, Palette};
use super::typeset::Typesetter;
use crate::figure::{Figure, Paint, Picture};

/// What a signal means on a card.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Signal {
    /// A thing to do.
    Do,
    /// Something that is good.
    Good,
}

fn colour(palette: &Palette, paint: Paint, signal: Signal) -> Color32 {
    match (paint, signal) {
        (Paint::Ground, _) => palette.background,
        (Paint::Ghost, _) => palette.ghost,
        (Paint::Body, _) => palette.body,
        (Paint::Far, _) => palette.far,
        (Paint::Ice, _) => palette.ice,
        (Paint::Signal, Signal::Do) => palette.goal,
        (Paint::Signal, Signal::Good) => palette.good,
    }
}

/// Draws a figure, its skater `share` on the way, as large as fits into `room`,
/// with the ice at its foot.
pub(super) fn figure(
    set: &mut Typesetter<'_>,
    page: &Page,
    figure: &Figure,
    share: f32,
    signal: Signal,
    room: Rect,
) {
    // The frame is that of ghost and target: it does not move with the skater.
    let ends = [0.0, 1.0].map(|s| Picture::of_figure(figure, s).bounds());
    let now = Picture::of_figure(figure, f64::from(share));
    let bounds = ends.into_iter().flatten().reduce(|a, b| {
        [
            a[0].min(b[0]),
            a[1].min(b[1]),
            a[2].max(b[2]),
            a[3].max(b[3]),
        ]
    });
    let colours = vec![
        (colour(page.palette, Paint::Signal, signal), page.bg),
        (page.palette.ghost, page.bg),
        (page.palette.body, page.bg),
    ];
    let rect = paint(set, page, &now, bounds, signal, room);
    set.note_graphic("figure", rect, theme::NUMBER_ARCMIN, colours);
}

/// Draws a skater within `bounds` of her own metres.
pub(super) fn stance(
    set: &mut Typesetter<'_>,
    page: &Page,
    picture: &Picture,
    bounds: Option<[f64; 4]>,
    room: Rect,
) -> Rect {
    let rect = paint(set, page, picture, bounds, Signal::Good, room);
    let ink = match picture.outlines.iter().any(|(_, p)| *p == Paint::Body) {
        true => page.palette.body,
        false => page.palette.ghost,
    };
    set.note_graphic("figure", rect, theme::NUMBER_ARCMIN, vec![(ink, page.bg)]);
    rect
}

fn paint(
    set: &Typesetter<'_>,
    page: &Page,
    picture: &Picture,
    bounds: Option<[f64; 4]>,
    signal: Signal,
    room: Rect,
) -> Rect {
    let Some([left, bottom, right, top]) = bounds else {
        return room;
    };
    let ice = theme::ICE_LINE * page.unit;
    let (wide, tall) = ((right - left) as f32, (top - bottom) as f32);
    let scale =
        ((room.width() / wide.max(1e-6)).min((room.height() - ice) / tall.max(1e-6))).max(0.0);
    let foot = room.bottom() - ice;
    let centre = (left + right) as f32 / 2.0;
    let at = |[x, y]: [f64; 2]| -> Pos2 {
        pos2(
            room.center().x + (x as f32 - centre) * scale,
            foot - (y as f32 - bottom as f32) * scale,
        )
    };
    let painter = set.painter();
    // The ice.
    let line = Rect::from_min_max(
        pos2(room.left(), foot + 0.15 * ice),
        pos2(room.right(), foot + 0.65 * ice),
    );
    painter.rect_filled(line, 0.25 * ice, page.palette.ice);
    for (outline, paint) in &picture.outlines {
        let points: Vec<Pos2> = outline.iter().map(|p| at(*p)).collect();
        if points.len() >= 3 {
            painter.add(Shape::convex_polygon(
                points,
                colour(page.palette, *paint, signal),
                Stroke::NONE,
            ));
        }
    }
    let size = vec2(wide * scale, tall * scale);
    Rect::from_min_size(pos2(room.center().x - size.x / 2.0, foot - size.y), size)
}
