//! The figure of a cue: the skater's own body as it was measured, and the same
//! body moved to where the cue wants it.
//!
//! Takes: the motion of a pass and the push a cue is about ([`Stance::of_push`]),
//! the order ([`Order`]) and its two values.
//! Gives: a [`Figure`]: the *ghost*, the body as it skated, the *target*, the
//! same bones with the joint in question at the limit, and every stance between
//! them; and [`draw()`], which clothes a stance as a list of plain shapes that a
//! screen or a page paints.
//! Fails: never. Points too poor to draw a body from give a drawn standard
//! skater in their place ([`Stance::is_measured`]).
//!
//! What is shown is true in one quantity: the one the cue is about. It stands in
//! the ghost as it was measured, not as the picture's points happen to show it,
//! because the measurement corrects for perspective. All else is as the points
//! have it. A difference too small to be seen from the ice is drawn larger: the
//! ghost then stands at [`Order::least_shown`] from the target, and
//! [`Figure::exaggerated`] says so.
//!
//! Coordinates: metres, x to the right of the picture and y up from the ice.
//! Pure: no I/O, no clock, no threads, no drawing library.

mod compose;
mod draw;
mod hull;
mod moves;
mod order;
mod read;
mod stance;
mod standard;
#[cfg(test)]
mod tests;

pub use compose::{Paint, Picture};
pub use draw::{Ink, Shape, bounds, draw, skate_from_above};
pub use hull::convex_hull;
pub use order::Order;
pub use stance::{FigureView, JOINTS, Joint, Stance};

/// The figure of one cue.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// What the cue asks for.
    pub order: Order,
    /// The body as it skated.
    pub ghost: Stance,
    /// The same body as it is asked to skate.
    pub target: Stance,
    /// Whether the ghost was moved away from the target to be seen.
    pub exaggerated: bool,
    from: f64,
    to: f64,
}

impl Figure {
    /// The figure of an order: `value` as measured, `limit` as wanted, both in
    /// the unit of the order's rule. Values that are no numbers are drawn at the
    /// least difference that can be seen.
    pub fn new(order: Order, stance: &Stance, value: f64, limit: f64) -> Self {
        let to = order.drawable(if limit.is_finite() {
            limit
        } else {
            order.standard_limit()
        });
        let least = order.least_shown(stance.stature_m);
        // The ghost stands on the side the order comes from.
        let off = if order.wants_more() { -1.0 } else { 1.0 };
        let apart = (value - to) * off;
        let exaggerated = !apart.is_finite() || apart < least;
        let from = order.drawable(if exaggerated { to + off * least } else { value });
        let stance = moves::long_enough(stance, order, [from, to]);
        let ghost = moves::moved(&stance, order, from);
        // From the ghost, not from the raw points: the two then differ in what
        // the order asks for and in nothing else.
        let target = moves::moved(&ghost, order, to);
        Figure {
            order,
            ghost,
            target,
            exaggerated,
            from,
            to,
        }
    }

    /// The body on its way from the ghost (0) to the target (1).
    pub fn between(&self, share: f64) -> Stance {
        let share = if share.is_finite() {
            share.clamp(0.0, 1.0)
        } else {
            1.0
        };
        moves::moved(
            &self.ghost,
            self.order,
            self.from + (self.to - self.from) * share,
        )
    }

    /// The value the ghost is drawn with, in the unit of the order's rule.
    pub fn ghost_value(&self) -> f64 {
        self.from
    }

    /// The value the target is drawn with, in the unit of the order's rule.
    pub fn target_value(&self) -> f64 {
        self.to
    }
}
