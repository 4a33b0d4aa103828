//! Which sounds there are: three families. Praise, go again, and do, in which the
//! rhythm says which order and the notes say the side.

use std::sync::LazyLock;

use crate::feedback::{CueKind, CueLeg};
use crate::rules::{RuleId, Sense};

/// What the sounds of a rule differ by. A rule with two limits wants opposite
/// things and has no side: a trunk is neither left nor right.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Ending {
    /// The left leg or arm.
    Left,
    /// The right one.
    Right,
    /// Both.
    Both,
    /// The value has to grow.
    More,
    /// The value has to shrink.
    Less,
}

impl Ending {
    fn name(self) -> &'static str {
        match self {
            Ending::Left => "left",
            Ending::Right => "right",
            Ending::Both => "both",
            Ending::More => "more",
            Ending::Less => "less",
        }
    }

    /// What the sounds of a rule end with.
    pub fn of_rule(rule: RuleId) -> &'static [Ending] {
        match rule.rule().sense {
            Sense::Between => &[Ending::More, Ending::Less],
            Sense::AtMost | Sense::AtLeast => &[Ending::Left, Ending::Right, Ending::Both],
        }
    }
}

/// One of the station's sounds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum SoundId {
    /// Of praise.
    Praise,
    /// Of a pass that was not judged: go again.
    GoAgain,
    /// Of an order.
    Order(RuleId, Ending),
}

/// Every sound with its name, in the order of [`SoundId::all`].
static ALL: LazyLock<Vec<(SoundId, String)>> = LazyLock::new(|| {
    let orders = RuleId::ALL.iter().flat_map(|&rule| {
        Ending::of_rule(rule).iter().map(move |&ending| {
            let name = format!("{}_{}", rule.code(), ending.name());
            (SoundId::Order(rule, ending), name)
        })
    });
    [
        (SoundId::Praise, "well_done".to_owned()),
        (SoundId::GoAgain, "go_again".to_owned()),
    ]
    .into_iter()
    .chain(orders)
    .collect()
});

impl SoundId {
    /// The sound of a cue. `None` where silence is right: nothing is said on
    /// purpose.
    pub fn of_cue(kind: &CueKind) -> Option<SoundId> {
        match kind {
            CueKind::Do {
                rule,
                value,
                limit,
                leg,
                ..
            } => Some(SoundId::of_order(*rule, value < limit, *leg)),
            CueKind::Praise | CueKind::Improved { .. } => Some(SoundId::Praise),
            CueKind::NotJudged { .. } => Some(SoundId::GoAgain),
            CueKind::Unfed { .. } => None,
        }
    }

    /// The sound of an order: of a rule, whether its value has to grow, and the
    /// side.
    pub fn of_order(rule: RuleId, more: bool, leg: CueLeg) -> SoundId {
        let ending = match (rule.rule().sense, more, leg) {
            (Sense::Between, true, _) => Ending::More,
            (Sense::Between, false, _) => Ending::Less,
            (_, _, CueLeg::Left) => Ending::Left,
            (_, _, CueLeg::Right) => Ending::Right,
            (_, _, CueLeg::Both) => Ending::Both,
        };
        SoundId::Order(rule, ending)
    }

    /// All sounds.
    pub fn all() -> impl Iterator<Item = SoundId> {
        ALL.iter().map(|(id, _)| *id)
    }

    /// Its name, and with `.wav` the name of its file.
    pub fn name(self) -> &'static str {
        ALL.get(self.index()).map_or("", |(_, name)| name.as_str())
    }

    /// Its place in [`SoundId::all`].
    pub(super) fn index(self) -> usize {
        // Every sound that can be made is in the list: a rule has its own endings.
        ALL.iter().position(|(id, _)| *id == self).unwrap_or(0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::NotJudged;

    #[test]
    fn every_order_and_side_has_its_own_sound() {
        let reason = NotJudged::NoPush;
        let not_judged = CueKind::NotJudged { reason };
        assert_eq!(SoundId::of_cue(&not_judged), Some(SoundId::GoAgain));
        assert_eq!(SoundId::of_cue(&CueKind::Praise), Some(SoundId::Praise));
        assert_eq!(SoundId::Praise.name(), "well_done");
        assert_eq!(SoundId::GoAgain.name(), "go_again");
        let mut heard: Vec<usize> = RuleId::ALL
            .iter()
            .flat_map(|&rule| {
                [CueLeg::Left, CueLeg::Right, CueLeg::Both]
                    .into_iter()
                    .flat_map(move |leg| {
                        [true, false].map(|more| SoundId::of_order(rule, more, leg).index())
                    })
            })
            .chain([SoundId::Praise.index(), SoundId::GoAgain.index()])
            .collect();
        heard.sort_unstable();
        heard.dedup();
        assert_eq!(heard, (0..SoundId::all().count()).collect::<Vec<_>>());
        for (i, id) in SoundId::all().enumerate() {
            assert_eq!(id.index(), i);
        }
    }
}
