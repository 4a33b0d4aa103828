//! Rules: what is judged of every push, each declared once.
//!
//! Takes: a pass cut into pushes ([`crate::stride`]) and the thresholds of
//! one age group.
//! Gives: a [`JudgedPass`]: for every push its measures with uncertainty, or
//! 'not judged' with the reason, and the flags; for the pass as a whole the
//! [`QUANTITIES`], which are reported and never flagged.
//! Fails: never; what cannot be seen is not judged.
//!
//! Pure: no I/O, no clock, no threads. The settings file, its documentation,
//! the report legend and the table headers are made from [`RULES`].

mod declare;
mod evidence;
mod held;
mod ids;
mod judge;
mod judged;
mod needs;
mod not_judged;
mod overlay_marks;
mod report;
mod set_up;
pub mod settings;
mod shrinkage;
mod surety;
mod table;

pub use crate::stride::Leg;
pub use declare::{AgeGroup, Limits, Rule, Sense, Thresholds, TruthKey, Unit};
pub use evidence::Evidence;
pub use held::{Still, held};
pub use ids::{Id, IdMap};
pub use judge::{flag_all, judge};
pub use judged::{Flag, JudgedPass, JudgedPush, Measure, QuantityMap, RuleMap};
pub use needs::{Needs, PICTURES_NEEDED, TOO_LITTLE_CONTRAST, TOO_SOFT};
pub use not_judged::NotJudged;
pub use overlay_marks::BONES;
pub use report::{QUANTITIES, Quantity, QuantityId, QuantityUnit};
pub use settings::AgeGroups;
pub use surety::Surety;
pub use table::{RULES, RuleId};
