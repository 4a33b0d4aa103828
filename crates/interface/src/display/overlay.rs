//! The body line and the angle over the picture of a flagged push.

use egui::{Color32, Pos2, Rect, Stroke, pos2, vec2};

use super::appearance::Appearance;
use super::card;
use super::model::{CueOrder, PictureView};
use super::page::Page;
use super::theme;
use super::typeset::{Role, Typesetter};
use crate::figure::Order;
use crate::rules::RuleId;

/// What is drawn over a picture. Points are shares of its width and height,
/// 0 to 1 from its upper left corner.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Overlay {
    /// Lines of the body from joint to joint.
    pub lines: Vec<[[f32; 2]; 2]>,
    /// Lines of the same body as it is wanted, where the flagged instant is shown.
    pub target: Vec<[[f32; 2]; 2]>,
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

/// A replay: the picture with the body's line, and beside it what to do. The words
/// stand off the picture, so that nothing lies over the body.
pub(super) fn replay(
    set: &mut Typesetter<'_>,
    page: &Page,
    look: &Appearance,
    overlay: &Overlay,
    order: Option<CueOrder>,
    view: PictureView,
) {
    let room = if page.screen.height() > page.screen.width() {
        page.figure
    } else {
        // The picture takes what the order can spare.
        let mut room = page.content;
        room.max.x = room.left() + 0.60 * room.width();
        room
    };
    let scale = (room.size() / view.size).min_elem();
    let rect = Rect::from_center_size(room.center(), view.size * scale);
    let mut uv = overlay.view.uv();
    if look.mirror {
        std::mem::swap(&mut uv.min.x, &mut uv.max.x);
    }
    set.painter().image(view.texture, rect, uv, Color32::WHITE);
    paint_overlay(set, look, overlay, rect);

    let mut words = page.order;
    words.min.x = words.left().max(rect.right() + 2.0 * page.gap);
    if page.screen.height() > page.screen.width() {
        words = page.order;
    }
    if let Some(of) = order {
        let text = look.words.cue(of.rule, of.more);
        let colours = (page.palette.text, page.bg);
        card::words(set, text, Role::TITLE, words, 0.24 * page.unit, colours);
    }
    let mut row = page.row;
    row.min.x = words.left();
    let has_side = |of: &CueOrder| Order::of_rule(of.rule, of.more).has_side();
    let label = match order.filter(has_side) {
        Some(of) => look.words.leg(of.leg),
        None => look.words.get("replay.label"),
    };
    card::row_note(set, page, label, row);
}

fn paint_overlay(set: &mut Typesetter<'_>, look: &Appearance, overlay: &Overlay, picture: Rect) {
    let at = |point: [f32; 2]| -> Option<Pos2> {
        let [x, y] = overlay.view.place(point);
        let x = if look.mirror { 1.0 - x } else { x };
        (x.is_finite() && y.is_finite()).then(|| picture.min + vec2(x, y) * picture.size())
    };
    let width = theme::BODY_LINE * picture.height();
    let painter = set.painter().with_clip_rect(picture);
    let line = |a: Pos2, b: Pos2, width: f32, colour: Color32| {
        painter.line_segment([a, b], Stroke::new(width, colour));
        for end in [a, b] {
            painter.circle_filled(end, width / 2.0, colour);
        }
    };
    // The wanted body lies behind the skater's own, in a colour and a width of its own.
    for (widen, colour) in [(1.9, theme::DARK.background), (1.1, theme::DARK.over_limit)] {
        for [a, b] in &overlay.target {
            if let (Some(a), Some(b)) = (at(*a), at(*b)) {
                line(a, b, width * widen, colour);
            }
        }
    }
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
