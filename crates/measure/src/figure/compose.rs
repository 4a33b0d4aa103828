//! Ghost and skater together, as a list of outlines to be filled in order.

use super::draw::{Ink, Shape, draw, skate_from_above};
use super::hull::convex_hull;
use super::{Figure, Order, Stance};

/// What an outline is filled with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Paint {
    /// The colour of the ground: rims, stripes, the cage.
    Ground,
    /// The body as it skated.
    Ghost,
    /// The skater.
    Body,
    /// The skater's farther side.
    Far,
    /// The part the order is about.
    Signal,
    /// The line of the ice.
    Ice,
}

/// A drawing: outlines in the order they are filled, metres, y up.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Picture {
    /// Each a convex outline with its paint.
    pub outlines: Vec<(Vec<[f64; 2]>, Paint)>,
}

/// Width of the rim that keeps a part off what lies behind it, as a share of
/// stature.
const RIM: f64 = 0.0085;
/// Radius of the lens that shows a turned foot from above, as a share of stature.
const LENS: f64 = 0.20;
/// How much larger the foot is in it.
const LARGER: f64 = 1.75;

impl Picture {
    /// A skater alone.
    pub fn of_stance(stance: &Stance, signal: Option<Order>) -> Picture {
        let mut picture = Picture::default();
        picture.add(&draw(stance, signal), stance.stature_m, false);
        picture
    }

    /// A stance in one colour, as something that was.
    pub fn of_ghost(stance: &Stance) -> Picture {
        let mut picture = Picture::default();
        picture.add(&draw(stance, None), stance.stature_m, true);
        picture
    }

    /// A figure, its skater so far on the way from the ghost (0) to the target
    /// (1).
    pub fn of_figure(figure: &Figure, share: f64) -> Picture {
        let h = figure.ghost.stature_m;
        let moving = figure.between(share);
        let skater = draw(&moving, Some(figure.order));
        let mut picture = Picture::default();
        if figure.ghost.view.is_side() {
            picture.add(&draw(&figure.ghost, None), h, true);
            picture.add(&skater, h, false);
            return picture;
        }
        // From ahead the body would hide the ghost of its own limb: what the order
        // is about lies over the body, and the skater's own limb over that.
        let is_signal = |s: &&Shape| s.ink == Ink::Signal;
        let ghost = draw(&figure.ghost, Some(figure.order));
        let ghost: Vec<Shape> = ghost.iter().filter(is_signal).cloned().collect();
        let first = skater
            .iter()
            .position(|s| s.ink == Ink::Signal)
            .unwrap_or(skater.len());
        let over = figure.order == Order::ArmsAhead;
        let at = if over { first } else { 0 };
        picture.add(&skater[..at], h, false);
        picture.add(&ghost, h, true);
        picture.add(&skater[at..], h, false);
        if figure.order == Order::ToeOut {
            picture.add_lens(figure, share);
        }
        picture
    }

    fn add(&mut self, shapes: &[Shape], h: f64, ghost: bool) {
        for shape in shapes {
            let paint = match (ghost, shape.ink) {
                // What was has no stripes, no rims and no stick.
                (true, Ink::Trim | Ink::Stick) => continue,
                (true, _) => Paint::Ghost,
                (false, Ink::Trim) => Paint::Ground,
                (false, Ink::Far) => Paint::Far,
                (false, Ink::Signal) => Paint::Signal,
                (false, Ink::Body | Ink::Gear | Ink::Stick) => Paint::Body,
            };
            if shape.rim && !ghost {
                let wider: Vec<_> = shape
                    .discs
                    .iter()
                    .map(|&(at, r)| (at, r + RIM * h))
                    .collect();
                self.outlines.push((convex_hull(&wider), Paint::Ground));
            }
            self.outlines.push((convex_hull(&shape.discs), paint));
        }
    }

    /// A round window beside the figure: the foot from above, as it was and as it
    /// is wanted, over the line of travel.
    fn add_lens(&mut self, figure: &Figure, share: f64) {
        let s = &figure.ghost;
        let h = s.stature_m;
        // Beside the head, on the side away from the leg that pushes.
        let away = -s.outward(s.leg);
        let middle = [0.37 * h * away, 0.84 * h];
        let ring = |r: f64, paint: Paint| (convex_hull(&[(middle, r * h)]), paint);
        self.outlines.push(ring(LENS + 0.022, Paint::Ground));
        self.outlines.push(ring(LENS + 0.012, Paint::Body));
        self.outlines.push(ring(LENS - 0.006, Paint::Ground));
        let ahead = if s.view == super::FigureView::Rear {
            1.0
        } else {
            -1.0
        };
        let heel = [
            middle[0] - 0.35 * LENS * h * s.outward(s.leg),
            middle[1] - ahead * 0.52 * LENS * h,
        ];
        let place = |p: [f64; 2]| [heel[0] + LARGER * p[0], heel[1] + LARGER * p[1]];
        let larger = |shapes: Vec<Shape>| -> Vec<Shape> {
            shapes
                .into_iter()
                .map(|mut shape| {
                    for (at, r) in &mut shape.discs {
                        *at = place(*at);
                        *r *= LARGER;
                    }
                    shape
                })
                .collect()
        };
        let from = figure.ghost_value();
        let now = from + (figure.target_value() - from) * share;
        self.add(&larger(skate_from_above(s, from, Ink::Body)), h, true);
        self.add(&larger(skate_from_above(s, now, Ink::Signal)), h, false);
    }

    /// Left, bottom, right and top, metres; `None` where nothing is drawn.
    pub fn bounds(&self) -> Option<[f64; 4]> {
        self.outlines
            .iter()
            .filter(|(_, paint)| *paint != Paint::Ice)
            .flat_map(|(outline, _)| outline)
            .fold(None, |bounds: Option<[f64; 4]>, &[x, y]| {
                let [l, b, r, t] = bounds.unwrap_or([x, y, x, y]);
                Some([l.min(x), b.min(y), r.max(x), t.max(y)])
            })
    }
}
