//! What the pages of passes, limits and progress show.

use std::sync::Arc;

use crate::config::View;
use crate::display::PreviewImage;
use crate::roster::SkaterId;
use crate::rules::{AgeGroup, JudgedPush, Leg, Limits, RuleId, RuleMap};
use crate::store::{PassKey, PushKey, PushNote};

/// One pass of the list.
#[derive(Debug, Clone, PartialEq)]
pub struct PassRow {
    /// Which pass it is.
    pub key: PassKey,
    /// Wall clock of its end, hours and minutes, where known.
    pub at: String,
    /// Who it was.
    pub skater: Option<SkaterId>,
    /// The view it was seen from.
    pub view: View,
    /// Mean speed, metres a second.
    pub speed_mps: f64,
    /// The words of its cue.
    pub cue: String,
    /// Which rules were switched on when it was judged.
    pub watched: RuleMap<bool>,
    /// Its pushes.
    pub pushes: Vec<PushRow>,
    /// The skater at a flagged instant, small; where pictures are kept, and for the
    /// newest passes alone.
    pub thumbnail: Option<Arc<PreviewImage>>,
}

/// One push of the list.
#[derive(Debug, Clone, PartialEq)]
pub struct PushRow {
    /// What was measured and flagged.
    pub judged: JudgedPush,
    /// What the coach said to it.
    pub note: PushNote,
    /// Whether pictures of it are kept.
    pub has_pictures: bool,
}

/// One push, looked at closely.
#[derive(Debug, Clone, PartialEq)]
pub struct PushDetail {
    /// Which push it is.
    pub key: PushKey,
    /// The pushing leg.
    pub leg: Leg,
    /// The rule whose instant is shown.
    pub rule: RuleId,
    /// The kept pictures in order, with the body drawn in; empty without
    /// consent.
    pub pictures: Vec<(f64, Arc<PreviewImage>)>,
    /// Index of the flagged instant in `pictures`.
    pub flagged: usize,
    /// What the curve is of.
    pub curve_of: CurveOf,
    /// It over the push, as the picture shows it; empty where the points are not
    /// kept.
    pub curve: Vec<CurvePoint>,
    /// What was judged, and one standard deviation of it, in the rule's unit.
    pub measured: Option<(f64, f64)>,
    /// When the quantity was read, seconds on the source's clock.
    pub instant_s: f64,
    /// The limits it was judged with.
    pub limits: Limits,
}

/// What a curve over a push is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum CurveOf {
    /// The included angle of the pushing leg's knee.
    #[default]
    Knee,
    /// The lean of the trunk from upright, along the way of the skater.
    Trunk,
}

impl CurveOf {
    /// The curve that shows a rule's quantity best.
    pub fn of_rule(rule: RuleId) -> Self {
        match rule {
            RuleId::TrunkLean => CurveOf::Trunk,
            _ => CurveOf::Knee,
        }
    }

    /// Whether the rule's limits are limits of this curve.
    pub fn has_limits_of(self, rule: RuleId) -> bool {
        match self {
            CurveOf::Trunk => rule == RuleId::TrunkLean,
            CurveOf::Knee => rule.rule().of_knee,
        }
    }
}

/// One point of a curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurvePoint {
    /// Seconds on the source's clock.
    pub at_s: f64,
    /// Degrees.
    pub value_deg: f64,
}

/// What changed limits would have done to the last pushes.
#[derive(Debug, Clone, PartialEq)]
pub struct Effect {
    /// The change it was asked for.
    pub edit: LimitEdit,
    /// Pushes looked at: the last ones of the group in which it was judged.
    pub pushes: u32,
    /// How many would have been flagged.
    pub flagged: u32,
    /// How many are flagged with the limits as they stand.
    pub flagged_now: u32,
}

/// Limits of one rule for one group.
#[derive(Debug, Clone, PartialEq)]
pub struct LimitEdit {
    /// The group.
    pub group: AgeGroup,
    /// The rule.
    pub rule: RuleId,
    /// The limits wanted.
    pub limits: Limits,
}

/// How often the coach agreed with a rule's flags.
#[derive(Debug, Clone, PartialEq)]
pub struct Agreement {
    /// The rule.
    pub rule: RuleId,
    /// Flags the coach confirmed.
    pub confirmed: u32,
    /// Flags the coach dismissed.
    pub dismissed: u32,
}

/// One skater over the sessions.
#[derive(Debug, Clone, PartialEq)]
pub struct Progress {
    /// Who.
    pub skater: SkaterId,
    /// One series per rule that was judged at least once.
    pub series: Vec<ProgressSeries>,
}

/// One measure over the sessions.
#[derive(Debug, Clone, PartialEq)]
pub struct ProgressSeries {
    /// The rule.
    pub rule: RuleId,
    /// The limits of the skater now.
    pub limits: Limits,
    /// One point per session, oldest first.
    pub points: Vec<ProgressPoint>,
}

/// One measure in one session.
#[derive(Debug, Clone, PartialEq)]
pub struct ProgressPoint {
    /// Number of the session.
    pub session: i64,
    /// Its day, as shown.
    pub day: String,
    /// Median of the judged pushes, in the rule's unit.
    pub median: f64,
    /// Standard deviation of that median, measuring and spread together.
    pub uncertainty: f64,
    /// Judged pushes.
    pub pushes: u32,
}
