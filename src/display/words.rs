//! Every word of the big screen, and how numbers are written.
//!
//! A cue says what to do, never what was wrong, and points at the ice or the
//! way ahead rather than at a muscle: attention turned outward learns better
//! (Wulf and Lewthwaite 2016, doi 10.3758/s13423-015-0999-9). Words of a cue
//! have at most ten letters, so that they stay tall on a narrow screen.

use crate::feedback::CueLeg;
use crate::rules::{RULES, Unit};

use super::model::{Fault, SoundNote, StatusStrip};

/// Headline of the free lane.
pub(super) const NEXT_SKATER: &[&str] = &["Next", "skater"];
/// Below it: the screen is for after the pass.
pub(super) const EYES_UP: &str = "Eyes up. Read this after your pass.";
/// Said while somebody skates and there is no picture to show.
pub(super) const SKATE: &[&str] = &["Eyes up"];
/// Headline of praise.
pub(super) const PRAISE: &[&str] = &["Well", "done"];
/// Below it.
pub(super) const PRAISE_NOTE: &str = "Do it again";
/// Headline when nothing could be judged.
pub(super) const NOT_JUDGED: &[&str] = &["Skate", "again"];
/// Title of the window.
pub(super) const WINDOW_TITLE: &str = "Kickplate";

/// What to do next time, word by word. The two sides of a band want opposite
/// things: `more` says that the value has to grow. A rule that has no words
/// of its own yet is called by its short name.
pub(super) fn cue(rule: &str, more: bool) -> &'static [&'static str] {
    match (rule, more) {
        ("knee_bend", _) => &["Ride", "low"],
        ("extension", _) => &["Long", "push"],
        ("recovery_gap", _) => &["Click", "heels"],
        ("arm_crossover", _) => &["Swing", "straight"],
        ("trunk_lean", true) => &["Lean", "in"],
        ("trunk_lean", false) => &["Chest", "up"],
        ("toe_direction", _) => &["Toe", "out"],
        _ => RULES
            .iter()
            .find(|r| r.id == rule)
            .map_or(&[], |r| std::slice::from_ref(&r.short)),
    }
}

/// The side a cue is about.
pub(super) fn leg(leg: CueLeg) -> &'static str {
    match leg {
        CueLeg::Left => "Left",
        CueLeg::Right => "Right",
        CueLeg::Both => "Both",
    }
}

/// Headline and explanation of a fault.
pub(super) fn fault(fault: &Fault) -> (&'static [&'static str], &str) {
    match fault {
        Fault::NoCamera => (&["No", "camera"], "Looking again"),
        Fault::CameraSilent => (&["No new", "picture"], "Restarting the camera"),
        Fault::EngineStopped => (&["Cannot", "judge"], "Please call the coach"),
        Fault::Other(what) => (&["Please", "wait"], what),
    }
}

/// What stands in the coach's strip, in order.
pub(super) fn strip(status: &StatusStrip) -> Vec<String> {
    let mut entries = Vec::new();
    if let Some(engine) = &status.engine {
        entries.push(match status.fps.filter(|f| f.is_finite()) {
            Some(fps) => format!("{engine} {fps:.0} fps"),
            None => engine.clone(),
        });
    }
    match status.sound {
        SoundNote::On => {}
        SoundNote::Off => entries.push("Sound off".to_owned()),
        SoundNote::NoDevice => entries.push("No loudspeaker".to_owned()),
    }
    entries.push(
        if status.pictures_kept {
            "Pictures kept"
        } else {
            "No pictures kept"
        }
        .to_owned(),
    );
    entries
}

/// A measured number and the number to reach, as they are shown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Numbers {
    pub(super) measured: String,
    pub(super) wanted: String,
}

/// Writes a value against its target: whole degrees, or whole centimetres
/// with the unit once. Two numbers that would read the same although one is
/// beyond the other get one decimal more. `None` when there is nothing to
/// write.
pub(super) fn numbers(unit: Unit, value: f64, target: f64) -> Option<Numbers> {
    if !value.is_finite() || !target.is_finite() {
        return None;
    }
    let (factor, once, each) = match unit {
        Unit::Deg => (1.0, "", "°"),
        Unit::Metre => (100.0, " cm", ""),
    };
    let write = |v: f64, decimals: usize| {
        let rounded = format!("{:.decimals$}", v * factor);
        // "-0" is no number to show a child; a true minus is wider.
        match rounded.strip_prefix('-') {
            Some(digits) if digits.chars().all(|c| matches!(c, '0' | '.')) => digits.to_owned(),
            Some(digits) => format!("\u{2212}{digits}"),
            None => rounded,
        }
    };
    let same = write(value, 0) == write(target, 0);
    let decimals = usize::from(same && value != target);
    Some(Numbers {
        measured: format!("{}{each}", write(value, decimals)),
        wanted: format!("{}{each}{once}", write(target, decimals)),
    })
}

/// The unit a rule is measured in.
pub(super) fn unit_of(rule: &str) -> Option<Unit> {
    RULES.iter().find(|r| r.id == rule).map(|r| r.unit)
}

/// First letter large, as a line of its own begins.
pub(super) fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    match chars.next() {
        Some(first) => first.to_uppercase().chain(chars).collect(),
        None => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_rule_has_words_of_its_own_and_short_ones() {
        for rule in RULES {
            for more in [true, false] {
                let words = cue(rule.id, more);
                assert!(!words.is_empty() && words.len() <= 2, "{}", rule.id);
                assert_ne!(words, [rule.short], "{} has no words yet", rule.id);
                assert!(words.iter().all(|w| w.chars().count() <= 10), "{}", rule.id);
            }
        }
    }

    #[test]
    fn numbers_read_as_people_say_them() {
        let of = |unit, value, target| {
            let n = numbers(unit, value, target).unwrap();
            format!("{} to {}", n.measured, n.wanted)
        };
        assert_eq!(of(Unit::Deg, 131.6, 120.0), "132° to 120°");
        assert_eq!(of(Unit::Metre, 0.18, 0.12), "18 to 12 cm");
        assert_eq!(of(Unit::Metre, -0.06, -0.002), "\u{2212}6 to 0 cm");
        assert_eq!(of(Unit::Deg, 120.4, 120.0), "120.4° to 120.0°");
        assert_eq!(numbers(Unit::Deg, f64::NAN, 1.0), None);
    }
}
