//! The orders there are, and what of them can be drawn.

use crate::rules::RuleId;

/// One thing to do. A rule with two limits has two orders.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Order {
    /// A deeper knee while gliding.
    BendKnees,
    /// The leg pushed out to its full length.
    PushLong,
    /// The heels close to each other as the leg comes back.
    HeelsTouch,
    /// The hands swing forward and do not cross.
    ArmsAhead,
    /// The trunk further over the ice.
    ChestAhead,
    /// The trunk less far over the ice.
    ChestUp,
    /// The toe turned out at the end of the push.
    ToeOut,
}

impl Order {
    /// Every order.
    pub const ALL: [Order; 7] = [
        Order::BendKnees,
        Order::PushLong,
        Order::HeelsTouch,
        Order::ArmsAhead,
        Order::ChestAhead,
        Order::ChestUp,
        Order::ToeOut,
    ];

    /// The order of a rule; `more` says that its value has to grow.
    pub fn of_rule(rule: RuleId, more: bool) -> Order {
        match rule {
            RuleId::KneeBend => Order::BendKnees,
            RuleId::Extension => Order::PushLong,
            RuleId::RecoveryGap => Order::HeelsTouch,
            RuleId::ArmCrossover => Order::ArmsAhead,
            RuleId::TrunkLean if more => Order::ChestAhead,
            RuleId::TrunkLean => Order::ChestUp,
            RuleId::ToeDirection => Order::ToeOut,
        }
    }

    /// The rule it comes from.
    pub fn rule(self) -> RuleId {
        match self {
            Order::BendKnees => RuleId::KneeBend,
            Order::PushLong => RuleId::Extension,
            Order::HeelsTouch => RuleId::RecoveryGap,
            Order::ArmsAhead => RuleId::ArmCrossover,
            Order::ChestAhead | Order::ChestUp => RuleId::TrunkLean,
            Order::ToeOut => RuleId::ToeDirection,
        }
    }

    /// Whether the value has to grow.
    pub fn wants_more(self) -> bool {
        matches!(self, Order::PushLong | Order::ChestAhead | Order::ToeOut)
    }

    /// Whether it is about one leg or arm; a trunk has no side.
    pub fn has_side(self) -> bool {
        !matches!(self, Order::ChestAhead | Order::ChestUp)
    }

    /// The least difference between ghost and target that is drawn, in the unit of
    /// the rule: what a child sees from ten metres on a screen of 50 inches. A
    /// proposal of this project: with it a part of the body moves by 11 minutes of
    /// arc or more at that distance (a test holds it to that).
    pub fn least_shown(self, stature_m: f64) -> f64 {
        match self {
            Order::BendKnees => 30.0,
            Order::PushLong => 24.0,
            Order::HeelsTouch => 0.12 * stature_m,
            Order::ArmsAhead => 0.10 * stature_m,
            Order::ChestAhead | Order::ChestUp => 24.0,
            Order::ToeOut => 40.0,
        }
    }

    /// A limit to draw where none is known, in the unit of the rule: the middle
    /// one of the defaults.
    pub(super) fn standard_limit(self) -> f64 {
        match self {
            Order::BendKnees => 120.0,
            Order::PushLong => 158.0,
            Order::HeelsTouch => 0.1,
            Order::ArmsAhead => 0.0,
            Order::ChestAhead => 35.0,
            Order::ChestUp => 55.0,
            Order::ToeOut => 25.0,
        }
    }

    /// The nearest value a body can be drawn with.
    pub(super) fn drawable(self, value: f64) -> f64 {
        let (low, high) = match self {
            Order::BendKnees | Order::PushLong => (55.0, 178.0),
            Order::HeelsTouch => (0.0, 0.6),
            Order::ArmsAhead => (-0.4, 0.45),
            Order::ChestAhead | Order::ChestUp => (-5.0, 90.0),
            Order::ToeOut => (-30.0, 85.0),
        };
        value.clamp(low, high)
    }
}
