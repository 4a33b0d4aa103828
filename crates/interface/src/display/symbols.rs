//! The symbols: a part of a body doing the right thing.
//!
//! Drawn in a square of side 1, x to the right, y down. What the cue is about
//! has the colour of the goal and the thickest lines; the rest of the body is
//! quiet; thin lines only help. Few and thick strokes, because at ten metres
//! a symbol is as small as one on a telephone.

use egui::{Color32, Painter, Pos2, Rect, Shape, Stroke, vec2};

use super::theme::Palette;
use crate::rules::RuleId;

/// Thickness of a limb.
const LIMB: f32 = 0.125;
/// Thickness of the rest of the body.
const REST: f32 = 0.1;
/// Thickness of helping lines and blades.
const LINE: f32 = 0.035;
const HEAD_RADIUS: f32 = 0.095;

/// What is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Symbol {
    KneeBend,
    Extension,
    RecoveryGap,
    ArmCrossover,
    TrunkLean,
    ToeDirection,
    Praise,
    NotJudged,
    Fault,
    Next,
    Improved,
    Unfed,
    Summary,
}

impl Symbol {
    /// The symbol of a rule.
    pub(super) fn of_rule(rule: RuleId) -> Symbol {
        match rule {
            RuleId::KneeBend => Symbol::KneeBend,
            RuleId::Extension => Symbol::Extension,
            RuleId::RecoveryGap => Symbol::RecoveryGap,
            RuleId::ArmCrossover => Symbol::ArmCrossover,
            RuleId::TrunkLean => Symbol::TrunkLean,
            RuleId::ToeDirection => Symbol::ToeDirection,
        }
    }

    /// The colours that carry its meaning.
    fn colours(self, p: &Palette) -> Vec<Color32> {
        match self {
            Symbol::Praise | Symbol::Improved => vec![p.good],
            Symbol::NotJudged | Symbol::Unfed => vec![p.quiet_text],
            Symbol::Fault => vec![p.fault],
            Symbol::Next => vec![p.side],
            Symbol::Summary => vec![p.goal, p.side],
            _ => vec![p.goal, p.body],
        }
    }

    /// Draws it into the largest square in the middle of `rect`. Answers
    /// with the square and the pairs of colours that have to differ.
    pub(super) fn paint(
        self,
        painter: &Painter,
        rect: Rect,
        bg: Color32,
        palette: &'static Palette,
    ) -> (Rect, Vec<(Color32, Color32)>) {
        let square = Rect::from_center_size(
            rect.center(),
            vec2(1.0, 1.0) * rect.width().min(rect.height()),
        );
        let pen = Pen {
            painter,
            square,
            palette,
        };
        let colours = self.colours(palette);
        let mut pairs: Vec<_> = colours.into_iter().map(|c| (c, bg)).collect();
        match self {
            Symbol::KneeBend => pen.knee_bend(),
            Symbol::Extension => pen.extension(),
            Symbol::RecoveryGap => pen.recovery_gap(),
            Symbol::ArmCrossover => pen.arm_crossover(),
            Symbol::TrunkLean => pen.trunk_lean(),
            Symbol::ToeDirection => pen.toe_direction(),
            Symbol::Praise => {
                pen.praise();
                pairs.push((palette.on_good, palette.good));
            }
            Symbol::NotJudged => pen.not_judged(),
            Symbol::Fault => {
                pen.fault();
                pairs.push((palette.background, palette.fault));
            }
            Symbol::Next => pen.next(),
            Symbol::Improved => {
                pen.improved();
                pairs.push((palette.on_good, palette.good));
            }
            Symbol::Unfed => pen.unfed(),
            Symbol::Summary => pen.summary(),
        }
        (square, pairs)
    }
}

type Xy = (f32, f32);

/// Draws in the unit square.
struct Pen<'a> {
    painter: &'a Painter,
    square: Rect,
    palette: &'static Palette,
}

impl Pen<'_> {
    fn at(&self, (x, y): Xy) -> Pos2 {
        self.square.min + vec2(x, y) * self.square.width()
    }

    fn len(&self, length: f32) -> f32 {
        length * self.square.width()
    }

    /// A line with round ends and round corners.
    fn limb(&self, points: &[Xy], thickness: f32, colour: Color32) {
        let stroke = Stroke::new(self.len(thickness), colour);
        for pair in points.windows(2) {
            self.painter
                .line_segment([self.at(pair[0]), self.at(pair[1])], stroke);
        }
        for &point in points {
            self.dot(point, thickness / 2.0, colour);
        }
    }

    fn dot(&self, centre: Xy, radius: f32, colour: Color32) {
        self.painter
            .circle_filled(self.at(centre), self.len(radius), colour);
    }

    fn dashes(&self, from: Xy, to: Xy, count: u32, colour: Color32) {
        for i in 0..count {
            let on = |t: f32| {
                let t = t / (count as f32 - 0.45);
                (from.0 + (to.0 - from.0) * t, from.1 + (to.1 - from.1) * t)
            };
            self.limb(&[on(i as f32), on(i as f32 + 0.55)], LINE, colour);
        }
    }

    /// An arrow with an open head.
    fn arrow(&self, from: Xy, to: Xy, thickness: f32, head: f32, colour: Color32) {
        let (dx, dy) = (to.0 - from.0, to.1 - from.1);
        let length = dx.hypot(dy).max(f32::EPSILON);
        let (ux, uy) = (dx / length * head, dy / length * head);
        self.limb(&[from, to], thickness, colour);
        let left = (to.0 - ux - uy, to.1 - uy + ux);
        let right = (to.0 - ux + uy, to.1 - uy - ux);
        self.limb(&[left, to, right], thickness, colour);
    }

    /// Part of a circle, angles in degrees clockwise from the right.
    fn arc(&self, centre: Xy, radius: f32, from: f32, to: f32, thickness: f32, colour: Color32) {
        const STEPS: usize = 24;
        let points: Vec<Xy> = (0..=STEPS)
            .map(|i| {
                let a = (from + (to - from) * i as f32 / STEPS as f32).to_radians();
                (centre.0 + radius * a.cos(), centre.1 + radius * a.sin())
            })
            .collect();
        self.limb(&points, thickness, colour);
    }

    fn polygon(&self, points: &[Xy], colour: Color32) {
        let points = points.iter().map(|&p| self.at(p)).collect();
        self.painter
            .add(Shape::convex_polygon(points, colour, Stroke::NONE));
    }

    /// A skate in profile: boot from the ankle to the toe, blade below.
    fn skate(&self, ankle: Xy, thickness: f32, colour: Color32) {
        let (x, y) = ankle;
        self.limb(&[ankle, (x + 0.145, y + 0.02)], thickness, colour);
        self.limb(
            &[(x - 0.06, y + 0.105), (x + 0.22, y + 0.105)],
            LINE,
            self.palette.text,
        );
    }

    /// Low over a deeply bent knee.
    fn knee_bend(&self) {
        let (hip, shoulder) = ((0.31, 0.47), (0.62, 0.255));
        self.limb(&[hip, shoulder], REST, self.palette.body);
        self.dot((0.765, 0.135), HEAD_RADIUS, self.palette.body);
        let ankle = (0.46, 0.845);
        self.limb(&[hip, (0.70, 0.575), ankle], LIMB, self.palette.goal);
        self.skate(ankle, LIMB, self.palette.goal);
        self.arrow(
            (0.13, 0.13),
            (0.13, 0.55),
            LINE * 1.5,
            0.085,
            self.palette.text,
        );
    }

    /// The pushing leg straight from hip to skate.
    fn extension(&self) {
        let (hip, shoulder) = ((0.54, 0.41), (0.78, 0.215));
        self.limb(&[hip, shoulder], REST, self.palette.body);
        self.dot((0.895, 0.10), HEAD_RADIUS, self.palette.body);
        self.limb(
            &[hip, (0.80, 0.585), (0.655, 0.83)],
            REST,
            self.palette.body,
        );
        self.skate((0.655, 0.83), REST, self.palette.body);
        let ankle = (0.115, 0.775);
        self.limb(&[hip, ankle], LIMB, self.palette.goal);
        self.limb(&[ankle, (0.20, 0.885)], LIMB, self.palette.goal);
        self.limb(&[(0.01, 0.80), (0.155, 0.985)], LINE, self.palette.text);
        self.arrow(
            (0.33, 0.355),
            (0.085, 0.55),
            LINE * 1.5,
            0.085,
            self.palette.text,
        );
    }

    /// Two boots from behind, heel against heel.
    fn recovery_gap(&self) {
        for side in [-1.0, 1.0] {
            let x = |off: f32| 0.5 + side * off;
            self.limb(
                &[(x(0.20), 0.07), (x(0.105), 0.47)],
                LIMB,
                self.palette.body,
            );
            // Boot: broad, with its inner edge at the middle.
            self.limb(
                &[(x(0.092), 0.50), (x(0.092), 0.755)],
                0.165,
                self.palette.goal,
            );
            self.limb(
                &[(x(0.092), 0.86), (x(0.092), 0.965)],
                LINE,
                self.palette.text,
            );
            self.arrow(
                (x(0.47), 0.63),
                (x(0.27), 0.63),
                LINE * 1.5,
                0.085,
                self.palette.text,
            );
        }
    }

    /// From the front: arms swing beside the middle line.
    fn arm_crossover(&self) {
        self.dot((0.5, 0.115), 0.10, self.palette.body);
        self.polygon(
            &[(0.33, 0.255), (0.67, 0.255), (0.615, 0.70), (0.385, 0.70)],
            self.palette.body,
        );
        self.dashes((0.5, 0.30), (0.5, 0.98), 5, self.palette.background);
        self.dashes((0.5, 0.76), (0.5, 0.98), 2, self.palette.text);
        for side in [-1.0, 1.0] {
            let x = |off: f32| 0.5 + side * off;
            self.limb(
                &[(x(0.245), 0.29), (x(0.335), 0.49), (x(0.275), 0.69)],
                LIMB,
                self.palette.goal,
            );
            self.arrow(
                (x(0.275), 0.80),
                (x(0.275), 0.965),
                LINE * 1.5,
                0.075,
                self.palette.text,
            );
        }
    }

    /// A steady trunk, leaning between upright and flat.
    fn trunk_lean(&self) {
        let (hip, shoulder) = ((0.33, 0.545), (0.68, 0.255));
        self.limb(&[hip, (0.62, 0.655), (0.43, 0.86)], REST, self.palette.body);
        self.skate((0.43, 0.86), REST, self.palette.body);
        self.dashes((0.33, 0.44), (0.33, 0.04), 4, self.palette.text);
        self.arc(
            (0.33, 0.545),
            0.36,
            -84.0,
            -52.0,
            LINE * 1.5,
            self.palette.text,
        );
        self.limb(&[hip, shoulder], LIMB * 1.2, self.palette.goal);
        self.dot((0.825, 0.135), HEAD_RADIUS * 1.1, self.palette.goal);
    }

    /// From above: the toe turned out from the way ahead.
    fn toe_direction(&self) {
        self.arrow(
            (0.22, 0.97),
            (0.22, 0.07),
            LINE * 1.5,
            0.085,
            self.palette.body,
        );
        self.arc(
            (0.22, 0.92),
            0.58,
            -85.0,
            -58.0,
            LINE * 1.5,
            self.palette.text,
        );
        // The sole of a boot, broader at the toe, and the blade below it.
        let (heel, toe) = ((0.44, 0.79), (0.72, 0.39));
        let (heel_radius, toe_radius) = (0.10, 0.145);
        let (ux, uy) = (0.573, -0.819); // from heel to toe, length 1
        let beside = |(x, y): Xy, off: f32| (x - uy * off, y + ux * off);
        self.polygon(
            &[
                beside(heel, heel_radius),
                beside(heel, -heel_radius),
                beside(toe, -toe_radius),
                beside(toe, toe_radius),
            ],
            self.palette.goal,
        );
        self.dot(heel, heel_radius, self.palette.goal);
        self.dot(toe, toe_radius, self.palette.goal);
        let along = |from: Xy, by: f32| (from.0 + ux * by, from.1 + uy * by);
        self.limb(
            &[along(heel, -0.14), along(toe, 0.19)],
            LINE,
            self.palette.background,
        );
    }

    fn praise(&self) {
        self.dot((0.5, 0.5), 0.5, self.palette.good);
        self.limb(
            &[(0.26, 0.53), (0.43, 0.69), (0.75, 0.34)],
            LIMB,
            self.palette.on_good,
        );
    }

    /// The disc of praise with a step up.
    fn improved(&self) {
        self.dot((0.5, 0.5), 0.5, self.palette.good);
        self.arrow((0.5, 0.78), (0.5, 0.22), LIMB, 0.20, self.palette.on_good);
    }

    /// A ring and three dots: nothing is said.
    fn unfed(&self) {
        let colour = self.palette.quiet_text;
        self.arc((0.5, 0.5), 0.455, 0.0, 360.0, LINE * 2.0, colour);
        for x in [0.28, 0.5, 0.72] {
            self.dot((x, 0.5), 0.065, colour);
        }
    }

    /// Three bars that grow.
    fn summary(&self) {
        for (i, x) in [0.16, 0.5, 0.84].into_iter().enumerate() {
            let colour = if i == 2 {
                self.palette.goal
            } else {
                self.palette.side
            };
            let top = 0.62 - 0.25 * i as f32;
            self.limb(&[(x, top), (x, 0.86)], LIMB * 1.5, colour);
        }
    }

    /// An eye with a line through it.
    fn not_judged(&self) {
        let colour = self.palette.quiet_text;
        let line = LINE * 2.0;
        self.arc((0.5, 0.86), 0.58, -141.5, -38.5, line, colour);
        self.arc((0.5, 0.14), 0.58, 38.5, 141.5, line, colour);
        self.dot((0.5, 0.5), 0.135, colour);
        self.limb(
            &[(0.20, 0.86), (0.80, 0.14)],
            line * 2.4,
            self.palette.background,
        );
        self.limb(&[(0.20, 0.86), (0.80, 0.14)], line, colour);
    }

    fn fault(&self) {
        let corners = [(0.5, 0.13), (0.93, 0.86), (0.07, 0.86)];
        self.polygon(&corners, self.palette.fault);
        self.limb(
            &[corners[0], corners[1], corners[2], corners[0]],
            0.12,
            self.palette.fault,
        );
        self.limb(&[(0.5, 0.36), (0.5, 0.60)], LIMB, self.palette.background);
        self.dot((0.5, 0.775), LIMB * 0.6, self.palette.background);
    }

    /// Marks on the ice that lead ahead.
    fn next(&self) {
        for (i, y) in [0.30, 0.56, 0.82].into_iter().enumerate() {
            let half = 0.22 + 0.07 * i as f32;
            self.limb(
                &[
                    (0.5 - half, y + 0.06),
                    (0.5, y - 0.16),
                    (0.5 + half, y + 0.06),
                ],
                LIMB * (0.75 + 0.15 * i as f32),
                self.palette.side,
            );
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::RULES;

    #[test]
    fn every_rule_has_a_symbol_of_its_own() {
        let symbols: Vec<_> = RULES.iter().map(|r| Symbol::of_rule(r.id)).collect();
        for (i, symbol) in symbols.iter().enumerate() {
            assert!(!symbols[..i].contains(symbol));
        }
    }
}
