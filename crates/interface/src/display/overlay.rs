//! The body line and the angle over the picture of a flagged push.

use egui::{Align2, Color32, Pos2, Rect, Stroke, pos2, vec2};

use super::appearance::Appearance;
use super::page::Page;
use super::theme;
use super::typeset::{Role, Side, Typesetter};
use crate::rules::RuleId;

/// What is drawn over a picture. Points are shares of its width and height,
/// 0 to 1 from its upper left corner.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Overlay {
    /// Lines of the body from joint to joint.
    pub lines: Vec<[[f32; 2]; 2]>,
    /// What the cue is about.
    pub mark: Option<AngleMark>,
    /// The part of the picture that is shown.
    pub view: View,
}

/// A part of a picture of the same shape: its middle and its size as shares
/// of the picture's width and height.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct View {
    middle: [f32; 2],
    size: f32,
}

impl Default for View {
    /// The whole picture.
    fn default() -> Self {
        View {
            middle: [0.5; 2],
            size: 1.0,
        }
    }
}

impl View {
    /// A part of `size` (0.1 to 1) about `middle`, moved so far that it lies
    /// within the picture. Numbers that are none give the whole picture.
    pub fn new(middle: [f32; 2], size: f32) -> Self {
        if !size.is_finite() || middle.iter().any(|m| !m.is_finite()) {
            return View::default();
        }
        let size = size.clamp(0.1, 1.0);
        View {
            middle: middle.map(|m| m.clamp(size / 2.0, 1.0 - size / 2.0)),
            size,
        }
    }

    /// The part as texture coordinates.
    pub(super) fn uv(self) -> Rect {
        let [x, y] = self.middle;
        Rect::from_center_size(pos2(x, y), vec2(self.size, self.size))
    }

    /// Where a point of the picture is in the part, as shares of it.
    fn place(self, point: [f32; 2]) -> [f32; 2] {
        let share = |i: usize| (point[i] - self.middle[i]) / self.size + 0.5;
        [share(0), share(1)]
    }
}

/// The measured quantity: a line over three joints, or between two points.
#[derive(Debug, Clone, PartialEq)]
pub struct AngleMark {
    /// The joints in their order along the body, two or three.
    pub points: Vec<[f32; 2]>,
    /// The rule.
    pub rule: RuleId,
    /// The measured value and the limit in the rule's unit; only said while
    /// the flagged instant itself is shown.
    pub numbers: Option<(f64, f64)>,
}

/// Draws the picture area of a replay; `picture` is where the picture is.
pub(super) fn paint_overlay(
    set: &mut Typesetter<'_>,
    page: &Page,
    look: &Appearance,
    overlay: &Overlay,
    picture: Rect,
) {
    let at = |point: [f32; 2]| -> Option<Pos2> {
        let [x, y] = overlay.view.place(point);
        (x.is_finite() && y.is_finite()).then(|| picture.min + vec2(x, y) * picture.size())
    };
    let width = theme::BODY_LINE * picture.height();
    // A lying picture on a standing screen leaves room above and below.
    let roomy = picture.height() < 0.6 * page.screen.height();
    let painter = set.painter().with_clip_rect(picture);
    let line = |a: Pos2, b: Pos2, width: f32, colour: Color32| {
        painter.line_segment([a, b], Stroke::new(width, colour));
        for end in [a, b] {
            painter.circle_filled(end, width / 2.0, colour);
        }
    };
    // A dark edge keeps the line apart from ice and from shirts alike.
    for (widen, colour) in [(2.0, theme::DARK.background), (1.0, theme::DARK.text)] {
        for [a, b] in &overlay.lines {
            if let (Some(a), Some(b)) = (at(*a), at(*b)) {
                line(a, b, width * widen, colour);
            }
        }
    }
    if let Some(mark) = &overlay.mark {
        let points: Vec<Pos2> = mark.points.iter().filter_map(|p| at(*p)).collect();
        for (widen, colour) in [(3.0, theme::DARK.background), (2.0, theme::DARK.goal)] {
            for pair in points.windows(2) {
                line(pair[0], pair[1], width * widen, colour);
            }
        }
        if let [a, vertex, b] = points[..] {
            paint_arc(&painter, a, vertex, b, width);
        }
        let numbers = mark.numbers.and_then(|(value, wanted)| {
            let unit = super::numbers::unit_of(mark.rule);
            super::numbers::numbers(look, unit, value, wanted)
        });
        if let (Some(numbers), Some(place)) = (numbers, points.get(points.len() / 2)) {
            // Below the picture where there is room, else in the lower corner
            // away from the skater.
            let cap = set.least_cap(Role::NUMBER).min(0.5 * picture.height());
            let (at, align) = if roomy {
                let below = pos2(picture.center().x, picture.bottom() + page.gap);
                (below, Align2::CENTER_TOP)
            } else if place.x > picture.center().x {
                (picture.left_bottom(), Align2::LEFT_BOTTOM)
            } else {
                (picture.right_bottom(), Align2::RIGHT_BOTTOM)
            };
            // Alone, so with the unit a length would have after the target.
            let text = format!("{}{}", numbers.measured, numbers.once);
            plate(set, page, (&text, Role::NUMBER, cap), at, align);
        }
    }
    let cap = set.least_cap(Role::NOTE).min(0.25 * picture.height());
    let label = (look.words.get("replay.label"), Role::NOTE, cap);
    if roomy {
        let above = pos2(picture.center().x, picture.top() - page.gap);
        plate(set, page, label, above, Align2::CENTER_BOTTOM);
    } else {
        plate(set, page, label, picture.left_top(), Align2::LEFT_TOP);
    }
}

/// The angle between two limbs as an arc about their joint.
fn paint_arc(painter: &egui::Painter, a: Pos2, vertex: Pos2, b: Pos2, width: f32) {
    const STEPS: u8 = 20;
    let (from, to) = (a - vertex, b - vertex);
    let radius = 0.45 * from.length().min(to.length());
    let start = from.angle();
    let mut turn = to.angle() - start;
    if turn > std::f32::consts::PI {
        turn -= std::f32::consts::TAU;
    } else if turn < -std::f32::consts::PI {
        turn += std::f32::consts::TAU;
    }
    let points: Vec<Pos2> = (0..=STEPS)
        .map(|i| {
            let angle = start + turn * f32::from(i) / f32::from(STEPS);
            vertex + radius * egui::Vec2::angled(angle)
        })
        .collect();
    let stroke = |width, colour| egui::epaint::PathStroke::new(width, colour);
    painter.add(egui::Shape::line(
        points.clone(),
        stroke(width * 2.0, theme::DARK.background),
    ));
    painter.add(egui::Shape::line(points, stroke(width, theme::DARK.goal)));
}

/// Text on a plate of its own, so that no picture can hide it.
fn plate(
    set: &mut Typesetter<'_>,
    page: &Page,
    (text, role, cap): (&str, Role, f32),
    at: Pos2,
    align: Align2,
) {
    let pad = theme::PLATE_PAD * cap;
    let size = vec2(set.width_in_caps(text) * cap + 2.0 * pad, cap + 2.0 * pad);
    let rect = align.anchor_size(at, size);
    set.painter()
        .rect_filled(rect, 0.0, page.palette.background);
    set.line(
        text,
        role,
        cap,
        pos2(rect.left() + pad, rect.bottom() - pad),
        Side::Left,
        (page.palette.text, page.palette.background),
    );
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_view_stays_inside_the_picture_and_points_move_with_it() {
        let view = View::new([0.5, 0.5], 0.5);
        assert_eq!(view.place([0.5, 0.5]), [0.5, 0.5]);
        assert_eq!(view.place([0.25, 0.75]), [0.0, 1.0]);
        // At the edge the middle moves, so that nothing outside is shown.
        let view = View::new([0.05, 2.0], 0.4);
        let whole = Rect::from_min_max(pos2(0.0, 0.0), pos2(1.0, 1.0));
        assert!(whole.expand(1e-6).contains_rect(view.uv()));
        assert!((view.place([0.05, 0.9])[0] - 0.125).abs() < 1e-6);
        assert_eq!(View::new([f32::NAN, 0.5], 0.3), View::default());
        assert_eq!(View::new([0.1, 0.1], 7.0), View::default());
    }
}
