//! The gauge: where the skater is, where the zone is, where she was last time.
//!
//! The same scale pass after pass: the rule's own range. The zone's edge is the
//! limit. The dot is as wide as its doubt where the doubt reaches the edge: then
//! the station does not know on which side of it she is.

use egui::{Pos2, Rect, Stroke, pos2, vec2};

use super::page::Page;
use super::theme;
use super::typeset::Typesetter;
use crate::rules::RuleId;

/// What a gauge shows, in the rule's unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gauge {
    /// The zone's lower and upper edge; `None` where it has none on that side.
    pub zone: [Option<f64>; 2],
    /// Where the skater is.
    pub value: f64,
    /// One standard deviation of it, where it is known.
    pub doubt: Option<f64>,
    /// Where she was before.
    pub before: Option<f64>,
}

/// Draws it into `room`; nothing for values that are none.
pub(super) fn paint(
    set: &mut Typesetter<'_>,
    page: &Page,
    rule: RuleId,
    gauge: &Gauge,
    room: Rect,
) {
    if !gauge.value.is_finite() {
        return;
    }
    let rule = rule.rule();
    let p = page.palette;
    let (low, high) = (*rule.range.start(), *rule.range.end());
    let radius = 0.46 * room.height();
    let bar = Rect::from_center_size(room.center(), vec2(room.width(), 0.44 * room.height()));
    // The ends of the scale lie a dot's width inside of the bar.
    let inner = bar.shrink2(vec2(radius, 0.0));
    let x = |v: f64| {
        let share = ((v - low) / (high - low)).clamp(0.0, 1.0) as f32;
        inner.left() + share * inner.width()
    };
    let round = 0.5 * bar.height();
    let painter = set.painter();
    painter.rect_filled(bar, round, p.track);
    let from = gauge.zone[0].map_or(bar.left(), x);
    let to = gauge.zone[1].map_or(bar.right(), x);
    let zone = Rect::from_min_max(
        pos2(from, bar.top()),
        pos2(to.max(from + 2.0), bar.bottom()),
    );
    painter.rect_filled(zone, round.min(zone.width() / 2.0), p.good);
    // Posts at the edges: the zone is told without colour as well.
    let post = 0.07 * room.height();
    for edge in gauge.zone.iter().flatten() {
        let rect = Rect::from_center_size(
            pos2(x(*edge), room.center().y),
            vec2(post, 0.96 * room.height()),
        );
        painter.rect_filled(rect, 0.0, p.text);
    }
    let at = |v: f64| pos2(x(v), room.center().y);
    if let Some(before) = gauge.before.filter(|b| b.is_finite()) {
        painter.circle_filled(at(before), 0.80 * radius, p.background);
        painter.circle_stroke(
            at(before),
            0.70 * radius,
            Stroke::new(0.20 * radius, p.text),
        );
    }
    let inside = gauge.zone[0].is_none_or(|l| gauge.value >= l)
        && gauge.zone[1].is_none_or(|h| gauge.value <= h);
    let doubt = gauge
        .doubt
        .filter(|d| d.is_finite() && *d > 0.0)
        .filter(|d| {
            gauge
                .zone
                .iter()
                .flatten()
                .any(|edge| (gauge.value - edge).abs() <= *d)
        });
    let half = doubt.map_or(0.0, |d| (d / (high - low)) as f32 * inner.width());
    let dot = |painter: &egui::Painter, centre: Pos2, r: f32, c| {
        let pill = Rect::from_center_size(centre, vec2(2.0 * r + 2.0 * half, 2.0 * r));
        painter.rect_filled(pill, r, c);
    };
    let colour = if inside { p.good } else { p.goal };
    let centre = at(gauge.value);
    dot(painter, centre, radius, p.background);
    dot(painter, centre, 0.88 * radius, p.text);
    dot(painter, centre, 0.66 * radius, colour);
    let colours = vec![(p.good, page.bg), (p.goal, page.bg), (p.text, page.bg)];
    set.note_graphic("gauge", room, theme::GAUGE_ARCMIN, colours);
}
