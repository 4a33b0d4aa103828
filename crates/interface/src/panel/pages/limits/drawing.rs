//! What a limit means, drawn: the body part, its angle or distance at the
//! limit, and an arrow the way that is better.

use egui::{
    Color32, Painter, Pos2, Rect, Sense, Stroke, Ui, WidgetInfo, accesskit::Role, pos2, vec2,
};

use crate::panel::look as theme;
use crate::panel::widgets::Sizes;
use crate::rules::{Limits, Rule};

/// Draws the rule at its limit; `name` is what a screen reader says.
pub(super) fn show(ui: &mut Ui, s: Sizes, rule: &Rule, limits: &Limits, name: &str) {
    let size = vec2(s.mm(46.0).min(ui.available_width()), s.mm(34.0));
    let (rect, response) = ui.allocate_exact_size(size, Sense::hover());
    response.widget_info(|| WidgetInfo::labeled(Role::Image, true, name));
    let painter = ui.painter();
    painter.rect_filled(rect, s.mm(theme::ROUND_MM), s.c.background);
    let pen = Pen {
        painter,
        s,
        field: rect.shrink(s.mm(2.0)),
    };
    let at = limits.at_most.or(limits.at_least).unwrap_or(0.0);
    match rule.id.code() {
        "knee_bend" => pen.leg(at, true),
        "extension" => pen.leg(at, false),
        "trunk_lean" => pen.trunk(limits),
        "toe_direction" => pen.toe(at),
        "recovery_gap" => pen.heels(),
        "arm_crossover" => pen.arm(),
        _ => {}
    }
}

struct Pen<'a> {
    painter: &'a Painter,
    s: Sizes,
    field: Rect,
}

impl Pen<'_> {
    /// A place in the field, shares of its height from its middle and foot.
    fn at(&self, x: f32, y: f32) -> Pos2 {
        let unit = self.field.height();
        pos2(
            self.field.center().x + x * unit,
            self.field.bottom() - y * unit,
        )
    }

    fn limb(&self, from: Pos2, to: Pos2, colour: Color32) {
        let width = self.s.mm(2.4);
        self.painter
            .line_segment([from, to], Stroke::new(width, colour));
        for end in [from, to] {
            self.painter.circle_filled(end, width / 2.0, colour);
        }
    }

    fn thin(&self, from: Pos2, to: Pos2, colour: Color32) {
        let stroke = Stroke::new(self.s.mm(0.6), colour);
        self.painter.line_segment([from, to], stroke);
    }

    fn ice(&self) {
        let (left, right) = (self.field.left(), self.field.right());
        let y = self.field.bottom();
        self.thin(pos2(left, y), pos2(right, y), self.s.c.edge);
    }

    /// An arrow in the colour of what is wanted.
    fn arrow(&self, from: Pos2, to: Pos2) {
        let colour = self.s.c.alarm;
        self.painter
            .line_segment([from, to], Stroke::new(self.s.mm(1.1), colour));
        let back = (from - to).normalized() * self.s.mm(3.0);
        for side in [0.5f32, -0.5] {
            let (sin, cos) = side.sin_cos();
            let wing = vec2(back.x * cos - back.y * sin, back.x * sin + back.y * cos);
            self.painter
                .line_segment([to, to + wing], Stroke::new(self.s.mm(1.1), colour));
        }
    }

    /// The part of a circle between two directions, degrees from the right,
    /// counted upward.
    fn arc(&self, middle: Pos2, radius: f32, from_deg: f32, to_deg: f32) {
        const PIECES: usize = 16;
        let r = radius * self.field.height();
        let points: Vec<Pos2> = (0..=PIECES)
            .map(|i| {
                let a = (from_deg + (to_deg - from_deg) * i as f32 / PIECES as f32).to_radians();
                middle + vec2(a.cos(), -a.sin()) * r
            })
            .collect();
        let stroke = Stroke::new(self.s.mm(0.8), self.s.c.limit);
        self.painter.add(egui::Shape::line(points, stroke));
    }

    /// Thigh and shank with the angle between them; `deep` where a small one
    /// is wanted.
    fn leg(&self, angle_deg: f64, deep: bool) {
        self.ice();
        let angle = (angle_deg as f32).clamp(60.0, 178.0);
        let (thigh, shank) = (0.42, 0.42);
        // The knee points forward, to the right; both bones lean alike.
        let half = ((180.0 - angle) / 2.0).to_radians();
        let ankle = self.at(-0.12, 0.06);
        let unit = self.field.height();
        let knee = ankle + vec2(half.sin() * shank, -half.cos() * shank) * unit;
        let hip = knee + vec2(-half.sin() * thigh, -half.cos() * thigh) * unit;
        self.limb(hip, knee, self.s.c.text);
        self.limb(knee, ankle, self.s.c.text);
        // The skate.
        self.limb(ankle, ankle + vec2(0.14, 0.0) * unit, self.s.c.quiet);
        let open = half.to_degrees();
        self.arc(knee, 0.17, 90.0 + open, 270.0 - open);
        if deep {
            self.arrow(hip + vec2(0.22, 0.0) * unit, hip + vec2(0.22, 0.26) * unit);
        } else {
            self.arrow(
                knee + vec2(0.1, 0.12) * unit,
                ankle + vec2(0.3, 0.02) * unit,
            );
        }
    }

    /// The trunk between upright and the two limits.
    fn trunk(&self, limits: &Limits) {
        self.ice();
        let hip = self.at(-0.2, 0.1);
        let unit = self.field.height();
        let up = hip + vec2(0.0, -0.8) * unit;
        for i in 0..6 {
            let (a, b) = (i as f32 / 6.0, (i as f32 + 0.5) / 6.0);
            self.thin(hip.lerp(up, a), hip.lerp(up, b), self.s.c.edge);
        }
        let end = |deg: f64, long: f32| {
            let a = (deg as f32).to_radians();
            hip + vec2(a.sin(), -a.cos()) * long * unit
        };
        let (low, high) = (
            limits.at_least.unwrap_or(0.0),
            limits.at_most.unwrap_or(60.0),
        );
        for limit in [limits.at_least, limits.at_most].into_iter().flatten() {
            self.thin(hip, end(limit, 0.8), self.s.c.limit);
        }
        let middle = (low + high) / 2.0;
        let head = end(middle, 0.62);
        self.limb(hip, head, self.s.c.text);
        let above = end(middle, 0.76);
        self.painter
            .circle_filled(above, 0.09 * unit, self.s.c.text);
        self.arc(hip, 0.4, 90.0 - low as f32, 90.0 - high as f32);
    }

    /// From above: the way ahead and the skate that points outward.
    fn toe(&self, angle_deg: f64) {
        let heel = self.at(-0.25, 0.1);
        let unit = self.field.height();
        let ahead = heel + vec2(0.0, -0.85) * unit;
        self.thin(heel, ahead, self.s.c.edge);
        let a = (angle_deg as f32).clamp(0.0, 90.0).to_radians();
        let toe = heel + vec2(a.sin(), -a.cos()) * 0.7 * unit;
        self.limb(heel, toe, self.s.c.text);
        self.arc(heel, 0.35, 90.0, 90.0 - a.to_degrees());
        self.arrow(toe + vec2(0.02, 0.02) * unit, toe + vec2(0.2, 0.12) * unit);
    }

    /// From the front: two skates and the room between the heels.
    fn heels(&self) {
        self.ice();
        let unit = self.field.height();
        let (left, right) = (self.at(-0.32, 0.08), self.at(0.32, 0.08));
        for (foot, way) in [(left, 1.0f32), (right, -1.0)] {
            let knee = foot + vec2(0.08 * way, -0.45) * unit;
            let hip = knee + vec2(0.1 * way, -0.38) * unit;
            self.limb(foot, knee, self.s.c.text);
            self.limb(knee, hip, self.s.c.text);
        }
        let y = left.y - 0.14 * unit;
        self.arrow(pos2(left.x + 0.08 * unit, y), pos2(left.x + 0.24 * unit, y));
        self.arrow(
            pos2(right.x - 0.08 * unit, y),
            pos2(right.x - 0.24 * unit, y),
        );
    }

    /// From the front: the middle of the body and the hand that swings.
    fn arm(&self) {
        let unit = self.field.height();
        let (top, foot) = (self.at(0.0, 0.95), self.at(0.0, 0.05));
        self.thin(top, foot, self.s.c.limit);
        let neck = self.at(0.0, 0.78);
        self.painter
            .circle_filled(neck + vec2(0.0, -0.1) * unit, 0.08 * unit, self.s.c.text);
        self.limb(self.at(-0.22, 0.72), self.at(0.22, 0.72), self.s.c.text);
        self.limb(neck, self.at(0.0, 0.3), self.s.c.text);
        let elbow = self.at(0.3, 0.5);
        self.limb(self.at(0.22, 0.72), elbow, self.s.c.text);
        self.limb(elbow, self.at(0.06, 0.36), self.s.c.text);
        self.arrow(self.at(0.08, 0.24), self.at(0.36, 0.24));
    }
}
