//! Between the judged types and their stored form.
//!
//! Rules are stored by id and measure name, never by their place in the rule
//! table, so that a file stays readable when a rule is added or taken out.

use serde_json::{Map, Value, json};

use super::StoreError;
use crate::feedback::{Cue, CueKind, CueLeg, Good, UnfedReason};
use crate::rules::{AgeGroup, Leg, Limits, Measure, QUANTITIES, RULES, Thresholds};

/// The reason of a measure that is not in the file.
const NOT_IN_FILE: &str = "not measured when this pass was stored";

/// `NaN` and infinities are no measurements: stored as nothing.
pub(super) fn finite(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}

/// A measure as it may be stored: a value that is no number is not judged.
pub(super) fn storable(measure: &Measure) -> Measure {
    let value = measure.value.and_then(finite);
    let lost = measure.judged && value.is_none();
    Measure {
        value,
        uncertainty: measure.uncertainty.and_then(finite),
        judged: measure.judged && !lost,
        reason: if lost {
            "the measured value was not a number".to_owned()
        } else {
            measure.reason.clone()
        },
    }
}

/// One measure per rule of this program from named ones.
pub(super) fn measures_in_rule_order(named: Vec<(String, Measure)>) -> Vec<Measure> {
    in_order(RULES.iter().map(|rule| rule.measure), named)
}

/// One measure per quantity of this program from named ones.
pub(super) fn quantities_in_order(named: Vec<(String, Measure)>) -> Vec<Measure> {
    in_order(QUANTITIES.iter().map(|quantity| quantity.key), named)
}

fn in_order(
    names: impl Iterator<Item = &'static str>,
    mut named: Vec<(String, Measure)>,
) -> Vec<Measure> {
    names
        .map(|name| match named.iter().position(|(n, _)| n == name) {
            Some(i) => named.swap_remove(i).1,
            None => Measure::not_judged(NOT_IN_FILE),
        })
        .collect()
}

pub(super) fn limits_to_json(limits: &Limits) -> Value {
    json!({
        "flagged": limits.flagged,
        "low": limits.low.and_then(finite),
        "high": limits.high.and_then(finite),
        "dead_band": finite(limits.dead_band),
    })
}

pub(super) fn limits_from_json(value: &Value) -> Option<Limits> {
    Some(Limits {
        flagged: value.get("flagged")?.as_bool()?,
        low: value.get("low").and_then(Value::as_f64),
        high: value.get("high").and_then(Value::as_f64),
        dead_band: value.get("dead_band")?.as_f64()?,
    })
}

pub(super) fn thresholds_to_json(thresholds: &Thresholds) -> Value {
    let rules: Map<String, Value> = RULES
        .iter()
        .zip(&thresholds.limits)
        .map(|(rule, l)| (rule.id.to_owned(), limits_to_json(l)))
        .collect();
    json!({ "age_group": thresholds.age_group.name(), "rules": rules })
}

/// `None` where the text is no threshold set. A rule the set does not name
/// takes its default, not flagged.
pub(super) fn thresholds_from_json(value: &Value) -> Option<Thresholds> {
    let age_group = AgeGroup::from_name(value.get("age_group")?.as_str()?)?;
    let rules = value.get("rules")?.as_object()?;
    let mut thresholds = Thresholds::defaults(age_group);
    for (rule, limits) in RULES.iter().zip(&mut thresholds.limits) {
        *limits = match rules.get(rule.id) {
            Some(stored) => limits_from_json(stored)?,
            None => Limits {
                flagged: false,
                ..*limits
            },
        };
    }
    Some(thresholds)
}

pub(super) fn cue_to_json(cue: &Cue) -> Result<Value, StoreError> {
    serde_json::to_value(cue).map_err(|e| StoreError::Encoding(e.to_string()))
}

/// `None` where the text is no cue. A cue about a rule this program does not
/// know comes back as not judged and says so.
pub(super) fn cue_from_json(value: &Value) -> Option<Cue> {
    let number = |key: &str| u32::try_from(value.get(key)?.as_u64()?).ok();
    let real = |key: &str| Some(value.get(key)?.as_f64().unwrap_or(f64::NAN));
    let kind = match value.get("kind")?.as_str()? {
        kind @ ("do" | "improved") => {
            let id = value.get("rule")?.as_str()?;
            let leg = match value.get("leg")?.as_str()? {
                "left" => CueLeg::Left,
                "right" => CueLeg::Right,
                "both" => CueLeg::Both,
                _ => return None,
            };
            match RULES.iter().find(|rule| rule.id == id) {
                Some(rule) if kind == "improved" => CueKind::Improved {
                    rule: rule.id,
                    value: real("value")?,
                    earlier: real("earlier")?,
                    leg,
                },
                Some(rule) => CueKind::Do {
                    rule: rule.id,
                    value: real("value")?,
                    target: real("target")?,
                    leg,
                    flagged_pushes: value.get("flagged_pushes")?.as_u64()?.try_into().ok()?,
                    good: value.get("good").and_then(good_from_json),
                },
                None => CueKind::NotJudged {
                    reason: format!(
                        "stored with the rule '{id}', which this program does not know"
                    ),
                },
            }
        }
        "praise" => CueKind::Praise,
        "unfed" => CueKind::Unfed {
            why: match value.get("why")?.as_str()? {
                "planned" => UnfedReason::Planned,
                _ => UnfedReason::Faded,
            },
        },
        "not_judged" => CueKind::NotJudged {
            reason: value.get("reason")?.as_str()?.to_owned(),
        },
        _ => return None,
    };
    Some(Cue {
        pass_number: number("pass_number")?,
        track_id: number("track_id")?,
        kind,
    })
}

/// `None` also for a rule this program does not know: the cue beside it is
/// still good.
fn good_from_json(value: &Value) -> Option<Good> {
    let rule = || {
        let id = value.get("rule")?.as_str()?;
        Some(RULES.iter().find(|rule| rule.id == id)?.id)
    };
    match value.get("what")?.as_str()? {
        "improved" => Some(Good::Improved { rule: rule()? }),
        "in_band" => Some(Good::InBand { rule: rule()? }),
        "kept_going" => Some(Good::KeptGoing),
        _ => None,
    }
}

pub(super) fn leg_name(leg: Leg) -> &'static str {
    match leg {
        Leg::Left => "left",
        Leg::Right => "right",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thresholds_survive_the_way_through_text() {
        for group in AgeGroup::ALL {
            let mut t = Thresholds::defaults(group);
            t.limits[0].high = Some(101.5);
            assert_eq!(thresholds_from_json(&thresholds_to_json(&t)), Some(t));
        }
    }

    #[test]
    fn a_rule_missing_in_the_file_is_not_flagged() {
        let mut stored = thresholds_to_json(&Thresholds::defaults(AgeGroup::U15));
        stored["rules"].as_object_mut().unwrap().remove("extension");
        let back = thresholds_from_json(&stored).unwrap();
        assert!(!back.limits[1].flagged);
        assert!(back.limits[0].flagged);
    }

    #[test]
    fn every_kind_of_cue_survives_the_way_through_text() {
        for kind in [
            CueKind::Do {
                rule: "recovery_gap",
                value: 0.12,
                target: 0.065,
                leg: CueLeg::Both,
                flagged_pushes: 3,
                good: None,
            },
            CueKind::Do {
                rule: "knee_bend",
                value: 140.0,
                target: 125.0,
                leg: CueLeg::Left,
                flagged_pushes: 1,
                good: Some(Good::Improved { rule: "extension" }),
            },
            CueKind::Do {
                rule: "knee_bend",
                value: 140.0,
                target: 125.0,
                leg: CueLeg::Left,
                flagged_pushes: 1,
                good: Some(Good::KeptGoing),
            },
            CueKind::Improved {
                rule: "trunk_lean",
                value: 64.0,
                earlier: 71.0,
                leg: CueLeg::Right,
            },
            CueKind::Unfed {
                why: UnfedReason::Faded,
            },
            CueKind::Unfed {
                why: UnfedReason::Planned,
            },
            CueKind::Praise,
            CueKind::NotJudged {
                reason: "legs hidden".to_owned(),
            },
        ] {
            let cue = Cue {
                pass_number: 4,
                track_id: 9,
                kind,
            };
            assert_eq!(cue_from_json(&cue_to_json(&cue).unwrap()), Some(cue));
        }
    }

    #[test]
    fn a_value_that_is_no_number_is_not_judged() {
        let judged = Measure {
            value: Some(f64::NAN),
            uncertainty: Some(f64::INFINITY),
            judged: true,
            reason: String::new(),
        };
        let stored = storable(&judged);
        assert_eq!((stored.value, stored.uncertainty), (None, None));
        assert!(!stored.judged);
        assert!(stored.reason.contains("not a number"));
    }

    #[test]
    fn unknown_measures_are_passed_over_and_missing_ones_say_so() {
        let known = Measure {
            value: Some(100.0),
            uncertainty: None,
            judged: true,
            reason: String::new(),
        };
        let back = measures_in_rule_order(vec![
            ("something_of_later_deg".to_owned(), known.clone()),
            ("extension_included_deg".to_owned(), known.clone()),
        ]);
        assert_eq!(back.len(), RULES.len());
        assert_eq!(back[1], known);
        assert_eq!(back[0].reason, NOT_IN_FILE);
    }
}
