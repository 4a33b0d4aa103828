//! Clothes a body: helmet, gloves, stick and skates over the joints, as plain
//! shapes from back to front. All lengths are shares of stature.

use super::order::Order;
use super::stance::{
    FigureView, Joint, Limb, Stance, arm_of, foot_of, leg_of, length, minus, plus, scaled,
};
use super::standard::ANKLE;
use crate::stride::Leg;

/// What a shape is, which decides its colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Ink {
    /// The skater.
    Body,
    /// The side of the skater that is farther away.
    Far,
    /// The part the order is about.
    Signal,
    /// Stripes, the cage of the helmet: the colour of the ground.
    Trim,
    /// Steel.
    Gear,
    /// The stick.
    Stick,
}

/// The convex outline around a few discs, metres.
#[derive(Debug, Clone, PartialEq)]
pub struct Shape {
    /// Middle and radius of each.
    pub discs: Vec<([f64; 2], f64)>,
    /// Its colour.
    pub ink: Ink,
    /// Whether it stands off from what lies behind it by a rim of the ground's
    /// colour.
    pub rim: bool,
}

/// Left, bottom, right and top of shapes, metres; `None` without shapes.
pub fn bounds(shapes: &[Shape]) -> Option<[f64; 4]> {
    shapes
        .iter()
        .flat_map(|s| &s.discs)
        .fold(None, |bounds: Option<[f64; 4]>, &([x, y], r)| {
            let [l, b, ri, t] = bounds.unwrap_or([x, y, x, y]);
            Some([l.min(x - r), b.min(y - r), ri.max(x + r), t.max(y + r)])
        })
}

/// The shapes of a skater in that stance; what the order is about has the colour
/// of the signal.
pub fn draw(s: &Stance, order: Option<Order>) -> Vec<Shape> {
    let mut pen = Pen {
        s,
        h: s.stature_m,
        order,
        shapes: Vec::new(),
    };
    match s.view {
        FigureView::Side { .. } => pen.draw_side(),
        FigureView::Front | FigureView::Rear => pen.draw_ahead(),
    }
    pen.shapes
}

/// A place beside another one, in shares of stature.
fn off(h: f64, from: [f64; 2], by: [f64; 2]) -> [f64; 2] {
    plus(from, scaled(by, h))
}

/// The skate of the order's leg as seen from above, heel at the origin and the way
/// ahead up (down where the skater comes toward the reader), metres: for a lens
/// beside a figure whose foot is turned.
pub fn skate_from_above(s: &Stance, toe_out_deg: f64, ink: Ink) -> Vec<Shape> {
    let h = s.stature_m;
    let ahead = if s.view == FigureView::Rear {
        1.0
    } else {
        -1.0
    };
    let (sin, cos) = toe_out_deg.to_radians().sin_cos();
    let along = [sin * s.outward(s.leg), cos * ahead];
    let place = |a: f64, side: f64| {
        scaled(
            [
                along[0] * a - along[1] * side,
                along[1] * a + along[0] * side,
            ],
            h,
        )
    };
    let shape = |discs: &[([f64; 2], f64)], ink: Ink, rim: bool| Shape {
        discs: discs.iter().map(|&(at, r)| (at, r * h)).collect(),
        ink,
        rim,
    };
    vec![
        shape(
            &[(place(-0.05, 0.0), 0.0085), (place(0.175, 0.0), 0.0085)],
            Ink::Gear,
            true,
        ),
        shape(
            &[
                (place(0.0, 0.0), 0.034),
                (place(0.075, 0.0), 0.040),
                (place(0.118, 0.0), 0.032),
            ],
            ink,
            true,
        ),
        shape(
            &[(place(0.012, 0.0), 0.018), (place(0.03, 0.0), 0.020)],
            Ink::Trim,
            false,
        ),
    ]
}

struct Pen<'a> {
    s: &'a Stance,
    h: f64,
    order: Option<Order>,
    shapes: Vec<Shape>,
}

impl Pen<'_> {
    fn add(&mut self, ink: Ink, rim: bool, discs: &[([f64; 2], f64)]) {
        let h = self.h;
        self.shapes.push(Shape {
            discs: discs.iter().map(|&(at, r)| (at, r * h)).collect(),
            ink,
            rim,
        });
    }

    fn at(&self, joint: Joint) -> [f64; 2] {
        self.s.joint(joint)
    }

    fn is_signal_leg(&self, leg: Leg) -> bool {
        leg == self.s.leg && matches!(self.order, Some(Order::BendKnees | Order::PushLong))
    }

    fn is_signal_foot(&self, leg: Leg) -> bool {
        match self.order {
            Some(Order::HeelsTouch) => true,
            Some(Order::ToeOut) => leg == self.s.leg,
            _ => self.is_signal_leg(leg),
        }
    }

    fn is_signal_arm(&self, leg: Leg) -> bool {
        leg == self.s.leg && self.order == Some(Order::ArmsAhead)
    }

    fn trunk_ink(&self) -> Ink {
        match self.order {
            Some(Order::ChestAhead | Order::ChestUp) => Ink::Signal,
            _ => Ink::Body,
        }
    }

    fn draw_side(&mut self) {
        let near = self.s.near().unwrap_or(Leg::Right);
        let far = near.other();
        let facing = self.s.view.facing();
        let ahead = |leg: Leg| self.at(arm_of(leg).end)[0] * facing;
        let holds = if ahead(near) >= ahead(far) { near } else { far };
        self.arm(far, Ink::Far, holds == far);
        self.leg(far, Ink::Far);
        self.leg(near, Ink::Body);
        self.trunk_draw_side();
        self.helmet_draw_side();
        self.arm(near, Ink::Body, holds == near);
    }

    fn leg(&mut self, leg: Leg, ink: Ink) {
        let Limb { root, middle, end } = leg_of(leg);
        let (hip, knee, ankle) = (self.at(root), self.at(middle), self.at(end));
        let signal = self.is_signal_leg(leg);
        let of = |signal: bool| if signal { Ink::Signal } else { ink };
        self.skate(leg, ankle, of(self.is_signal_foot(leg)));
        let shin = minus(ankle, knee);
        let cuff = plus(knee, scaled(shin, 0.80));
        let only_feet = matches!(self.order, Some(Order::HeelsTouch));
        self.add(
            of(signal || only_feet),
            true,
            &[(knee, 0.054), (cuff, 0.043)],
        );
        // The stripe of the sock.
        let [a, b] = [0.42, 0.50].map(|k| plus(knee, scaled(shin, k)));
        self.band(a, b, 0.0495, 0.0475);
        // Breeches over the thigh.
        let thigh = minus(knee, hip);
        let hem = plus(hip, scaled(thigh, 0.80));
        self.add(
            of(signal),
            true,
            &[(hip, 0.078), (hem, 0.060), (knee, 0.052)],
        );
    }

    /// A stripe across a limb from `a` to `b`, half as wide as given.
    fn band(&mut self, a: [f64; 2], b: [f64; 2], wide_a: f64, wide_b: f64) {
        let h = self.h;
        let line = minus(b, a);
        let long = length(line).max(1e-9);
        let normal = [-line[1] / long, line[0] / long];
        let thin = 0.001;
        let corner = |p: [f64; 2], w: f64| (off(h, p, scaled(normal, w)), thin);
        let discs = [
            corner(a, wide_a),
            corner(a, -wide_a),
            corner(b, wide_b),
            corner(b, -wide_b),
        ];
        self.add(Ink::Trim, false, &discs);
    }

    fn skate(&mut self, leg: Leg, ankle: [f64; 2], ink: Ink) {
        let h = self.h;
        let (heel, toe) = foot_of(leg);
        let facing = self.s.view.facing();
        let stands = ankle[1] < (ANKLE + 0.03) * self.h;
        let along = if stands {
            [facing, 0.0]
        } else {
            let foot = minus(self.at(toe), self.at(heel));
            let long = length(foot).max(1e-9);
            let deg = (foot[1] / long).clamp(-0.75, 0.5).asin();
            [deg.cos() * facing, deg.sin()]
        };
        let up = scaled([-along[1], along[0]], facing);
        let place = |a: f64, u: f64| {
            off(
                h,
                ankle,
                [along[0] * a + up[0] * u, along[1] * a + up[1] * u],
            )
        };
        // Steel below the boot, curved up in front.
        let steel = [
            place(-0.060, -0.084),
            place(0.120, -0.084),
            place(0.142, -0.072),
        ];
        let posts = [
            [place(-0.040, -0.05), place(-0.034, -0.082)],
            [place(0.088, -0.05), place(0.094, -0.082)],
        ];
        let boot = [
            (place(-0.004, 0.030), 0.041),
            (place(-0.030, -0.034), 0.034),
            (place(0.030, -0.022), 0.044),
            (place(0.098, -0.044), 0.025),
        ];
        for [a, b] in posts {
            self.add(Ink::Gear, false, &[(a, 0.016), (b, 0.012)]);
        }
        self.add(Ink::Gear, false, &[(steel[0], 0.0085), (steel[1], 0.0085)]);
        self.add(Ink::Gear, false, &[(steel[1], 0.0085), (steel[2], 0.007)]);
        self.add(ink, true, &boot);
    }

    fn trunk_draw_side(&mut self) {
        let h = self.h;
        let (hips, shoulders) = (self.s.hips(), self.s.shoulders());
        let trunk = minus(shoulders, hips);
        let long = length(trunk).max(1e-9);
        let facing = self.s.view.facing();
        let front = scaled([trunk[1] / long, -trunk[0] / long], facing);
        let place = |k: f64, f: f64| off(h, plus(hips, scaled(trunk, k)), scaled(front, f));
        let ink = self.trunk_ink();
        let hip_ink = if self.is_signal_leg(self.s.leg) || ink == Ink::Body {
            Ink::Body
        } else {
            ink
        };
        let seat = [(place(-0.02, -0.012), 0.090), (place(0.18, 0.0), 0.084)];
        let jersey = [
            (place(0.20, -0.004), 0.083),
            (place(0.62, 0.010), 0.086),
            (place(0.98, -0.006), 0.080),
            (place(1.05, 0.0), 0.060),
        ];
        self.add(hip_ink, true, &seat);
        self.add(ink, true, &jersey);
        // The stripe at the hem of the jersey.
        let (a, b) = (place(0.22, -0.002), place(0.32, 0.0));
        self.band(a, b, 0.084, 0.0845);
    }

    fn helmet_draw_side(&mut self) {
        let h = self.h;
        let head = self.at(Joint::Head);
        let f = self.s.view.facing();
        let place = |x: f64, y: f64| off(h, head, [x * f, y]);
        let face = [(place(0.034, -0.022), 0.050), (place(0.048, -0.045), 0.030)];
        let cage = [place(0.086, 0.008), place(0.084, -0.050)];
        let bars = [
            [place(0.030, -0.012), place(0.088, -0.014)],
            [place(0.028, -0.040), place(0.088, -0.042)],
        ];
        let shell = [
            (place(-0.012, 0.018), 0.078),
            (place(0.030, 0.030), 0.060),
            (place(-0.034, -0.014), 0.050),
        ];
        let chin = [place(0.004, -0.058), place(0.060, -0.074)];
        self.add(Ink::Trim, true, &face);
        self.add(Ink::Body, true, &shell);
        self.add(
            Ink::Trim,
            false,
            &[(place(0.048, -0.026), 0.034), (place(0.060, -0.050), 0.018)],
        );
        for [a, b] in bars {
            self.add(Ink::Body, false, &[(a, 0.0065), (b, 0.0065)]);
        }
        self.add(Ink::Body, false, &[(cage[0], 0.008), (cage[1], 0.008)]);
        self.add(Ink::Body, false, &[(chin[0], 0.013), (chin[1], 0.009)]);
        self.add(Ink::Body, false, &[(chin[1], 0.009), (cage[1], 0.008)]);
    }

    fn arm(&mut self, leg: Leg, ink: Ink, holds: bool) {
        let h = self.h;
        let Limb { root, middle, end } = arm_of(leg);
        let (shoulder, elbow, wrist) = (self.at(root), self.at(middle), self.at(end));
        let ink = if self.is_signal_arm(leg) {
            Ink::Signal
        } else {
            ink
        };
        if holds {
            self.stick(wrist);
        }
        let fore = minus(wrist, elbow);
        let long = length(fore).max(1e-9);
        let along = scaled(fore, 1.0 / long);
        let hand = off(h, wrist, scaled(along, 0.035));
        let cuff = plus(elbow, scaled(fore, 0.86));
        self.add(ink, true, &[(wrist, 0.047), (hand, 0.044)]);
        self.add(ink, true, &[(elbow, 0.045), (cuff, 0.037)]);
        self.add(ink, true, &[(shoulder, 0.062), (elbow, 0.046)]);
        let upper = minus(elbow, shoulder);
        let [a, b] = [0.58, 0.72].map(|k| plus(shoulder, scaled(upper, k)));
        self.band(a, b, 0.053, 0.0505);
    }

    /// The stick reaches from the hand to the ice, ahead or out to the side.
    fn stick(&mut self, hand: [f64; 2]) {
        let h = self.h;
        let ahead = if self.s.view.is_side() {
            self.s.view.facing()
        } else {
            let middle = self.s.shoulders()[0];
            if hand[0] >= middle { 1.0 } else { -1.0 }
        };
        let reach = if self.s.view.is_side() { 0.03 } else { 0.10 };
        let foot = [hand[0] + ahead * reach * self.h, 0.022 * self.h];
        let line = minus(foot, hand);
        let top = plus(hand, scaled(line, -0.12));
        let blade = off(h, foot, [0.105 * ahead, -0.006]);
        self.add(Ink::Stick, true, &[(top, 0.0105), (foot, 0.0105)]);
        self.add(Ink::Stick, false, &[(foot, 0.014), (blade, 0.013)]);
    }

    fn draw_ahead(&mut self) {
        let rear = self.s.view == FigureView::Rear;
        let outer = |leg: Leg| self.at(arm_of(leg).end)[0] * self.s.outward(leg);
        // The stick is in the hand farther out, away from what is looked at.
        let holds = if outer(Leg::Left) >= outer(Leg::Right) {
            Leg::Left
        } else {
            Leg::Right
        };
        // From behind the arms swing beyond the trunk.
        if rear {
            self.helmet_draw_ahead(true);
            for leg in Leg::BOTH {
                self.arm(leg, Ink::Body, leg == holds);
            }
        }
        // The leg that is meant stands in front.
        for leg in [self.s.leg.other(), self.s.leg] {
            self.leg_draw_ahead(leg);
        }
        self.trunk_draw_ahead();
        if !rear {
            self.helmet_draw_ahead(false);
            let meant = self.s.leg;
            for leg in [meant.other(), meant] {
                self.arm(leg, Ink::Body, leg == holds);
            }
        }
    }

    fn leg_draw_ahead(&mut self, leg: Leg) {
        let h = self.h;
        let Limb { root, middle, end } = leg_of(leg);
        let (hip, knee, ankle) = (self.at(root), self.at(middle), self.at(end));
        let (heel, toe) = foot_of(leg);
        let foot_ink = if self.is_signal_foot(leg) {
            Ink::Signal
        } else {
            Ink::Body
        };
        let shin_ink = match self.order {
            Some(Order::HeelsTouch) => Ink::Signal,
            _ => Ink::Body,
        };
        let rear = self.s.view == FigureView::Rear;
        let turned = self.order == Some(Order::ToeOut) && leg == self.s.leg;
        let (heel, toe) = if turned {
            (self.at(heel), self.at(toe))
        } else {
            // How the model reads a foot that points at the camera is not drawn.
            let heel = [self.at(heel)[0], ankle[1] - 0.045 * self.h];
            let ahead = if rear { 0.05 } else { -0.028 };
            (heel, off(h, heel, [0.016 * self.s.outward(leg), ahead]))
        };
        let under = |p: [f64; 2]| off(h, p, [0.0, -0.046]);
        let steel_a = under(heel);
        let steel_b = if turned {
            under(toe)
        } else {
            off(h, heel, [0.0, -0.034])
        };
        let boot = [
            (off(h, ankle, [0.0, 0.028]), 0.044),
            (heel, 0.038),
            (toe, 0.034),
        ];
        self.add(Ink::Gear, true, &[(steel_a, 0.011), (steel_b, 0.011)]);
        if rear {
            // The foot points away: the boot hides its toe.
            self.add(foot_ink, true, &[boot[2], boot[1]]);
        }
        self.add(foot_ink, true, &boot);
        let shin = minus(ankle, knee);
        let cuff = plus(knee, scaled(shin, 0.78));
        self.add(shin_ink, true, &[(knee, 0.058), (cuff, 0.045)]);
        let [a, b] = [0.36, 0.46].map(|k| plus(knee, scaled(shin, k)));
        self.band(a, b, 0.0535, 0.052);
        let hem = plus(hip, scaled(minus(knee, hip), 0.85));
        self.add(Ink::Body, true, &[(hip, 0.078), (hem, 0.064)]);
    }

    fn trunk_draw_ahead(&mut self) {
        use Joint as J;
        let ink = self.trunk_ink();
        let [ls, rs] = [J::LeftShoulder, J::RightShoulder].map(|j| self.at(j));
        let [lh, rh] = [J::LeftHip, J::RightHip].map(|j| self.at(j));
        let waist = |h: [f64; 2], s: [f64; 2]| plus(h, scaled(minus(s, h), 0.16));
        self.add(Ink::Body, true, &[(lh, 0.080), (rh, 0.080)]);
        let jersey = [
            (ls, 0.062),
            (rs, 0.062),
            (waist(lh, ls), 0.074),
            (waist(rh, rs), 0.074),
        ];
        self.add(ink, true, &jersey);
        // The round bib on chest and back.
        let middle = plus(
            self.s.hips(),
            scaled(minus(self.s.shoulders(), self.s.hips()), 0.66),
        );
        self.add(Ink::Trim, false, &[(middle, 0.062)]);
    }

    fn helmet_draw_ahead(&mut self, rear: bool) {
        let h = self.h;
        let head = self.at(Joint::Head);
        let place = |x: f64, y: f64| off(h, head, [x, y]);
        let shell = [
            (place(-0.014, 0.012), 0.078),
            (place(0.014, 0.012), 0.078),
            (place(0.0, -0.02), 0.070),
        ];
        let cage = [
            (place(-0.034, -0.020), 0.024),
            (place(0.034, -0.020), 0.024),
            (place(-0.020, -0.062), 0.022),
            (place(0.020, -0.062), 0.022),
        ];
        let bars = [-0.028, 0.0, 0.028].map(|x| [place(x, 0.004), place(x * 0.8, -0.084)]);
        let rows = [-0.020, -0.052].map(|y| [place(-0.055, y), place(0.055, y)]);
        self.add(Ink::Body, true, &shell);
        if rear {
            return;
        }
        self.add(Ink::Trim, false, &cage);
        for [a, b] in bars.into_iter().chain(rows) {
            self.add(Ink::Body, false, &[(a, 0.006), (b, 0.006)]);
        }
    }
}
