//! Between the judged types and their stored form.
//!
//! Rules are stored by id and measure name, never by their place in the rule
//! table, so that a file stays readable when a rule is added or taken out.

use serde_json::{Map, Value, json};

use super::StoreError;
use crate::feedback::{Cue, CueKind, CueLeg, Good, UnfedReason};
use crate::rules::{
    AgeGroup, Id, IdMap, Leg, Limits, Measure, NotJudged, RuleId, Surety, Thresholds,
};

/// `NaN` and infinities are no measurements: stored as nothing.
pub(super) fn finite(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}

/// A measure as the tables hold it.
pub(super) struct Stored {
    pub(super) value: Option<f64>,
    pub(super) uncertainty: Option<f64>,
    pub(super) judged: bool,
    /// The code of why it is not judged, or how it was measured.
    pub(super) reason: String,
}

impl Stored {
    /// A value that is no number is not judged.
    pub(super) fn of(measure: &Measure) -> Self {
        let value = measure.value.and_then(finite);
        let lost = measure.is_judged() && value.is_none();
        let not_judged = measure.not_judged.or(lost.then_some(NotJudged::NotANumber));
        Stored {
            value,
            uncertainty: measure.uncertainty.and_then(finite),
            judged: not_judged.is_none(),
            reason: not_judged.map_or_else(|| measure.how.clone(), |why| why.code().to_owned()),
        }
    }

    /// Recordings of before the codes hold the reason in English words.
    pub(super) fn measure(self) -> Measure {
        let why = (!self.judged).then(|| NotJudged::from_recording(&self.reason));
        Measure {
            value: self.value,
            uncertainty: self.uncertainty,
            random: None,
            set_up: None,
            praise_not: None,
            not_judged: why,
            how: if self.judged {
                self.reason
            } else {
                String::new()
            },
        }
    }
}

/// One measure for each id from those of a file, by the name they have there.
pub(super) fn by_id<K: Id>(
    name: impl Fn(K) -> &'static str,
    mut named: Vec<(String, Stored)>,
) -> IdMap<K, Measure> {
    IdMap::from_fn(|id| match named.iter().position(|(n, _)| n == name(id)) {
        Some(i) => named.swap_remove(i).1.measure(),
        None => Measure::not_judged(NotJudged::NotInRecording),
    })
}

/// Limits as the files hold them.
pub fn limits_to_json(limits: &Limits) -> Value {
    json!({
        "flagged": limits.flagged,
        "at_least": limits.at_least.and_then(finite),
        "at_most": limits.at_most.and_then(finite),
        "dead_band": finite(limits.dead_band),
    })
}

/// A limit as it is called today, or as it was before format 2.
fn limit(value: &Value, name: &str, before: &str) -> Option<f64> {
    value.get(name).or_else(|| value.get(before))?.as_f64()
}

pub(super) fn limits_from_json(value: &Value) -> Option<Limits> {
    Some(Limits {
        flagged: value.get("flagged")?.as_bool()?,
        at_least: limit(value, "at_least", "low"),
        at_most: limit(value, "at_most", "high"),
        dead_band: value.get("dead_band")?.as_f64()?,
    })
}

pub(super) fn thresholds_to_json(thresholds: &Thresholds) -> Value {
    let rules: Map<String, Value> = thresholds
        .limits
        .iter()
        .map(|(rule, l)| (rule.code().to_owned(), limits_to_json(l)))
        .collect();
    json!({
        "age_group": thresholds.age_group.name(),
        "surety_percent": thresholds.surety.percent(),
        "rules": rules,
    })
}

/// `None` where the text is no threshold set. A rule the set does not name
/// takes its default, not flagged.
pub(super) fn thresholds_from_json(value: &Value) -> Option<Thresholds> {
    let age_group = AgeGroup::from_name(value.get("age_group")?.as_str()?)?;
    let rules = value.get("rules")?.as_object()?;
    let mut thresholds = Thresholds::defaults(age_group);
    let percent = value.get("surety_percent").and_then(Value::as_u64);
    if let Some(surety) = percent.and_then(|p| Surety::from_percent(u32::try_from(p).ok()?)) {
        thresholds.surety = surety;
    }
    for (rule, limits) in thresholds.limits.iter_mut() {
        *limits = match rules.get(rule.code()) {
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
            match RuleId::from_code(id) {
                Some(rule) if kind == "improved" => CueKind::Improved {
                    rule,
                    value: real("value")?,
                    earlier: real("earlier")?,
                    leg,
                },
                Some(rule) => CueKind::Do {
                    rule,
                    value: real("value")?,
                    limit: real("limit").or_else(|| real("target"))?,
                    leg,
                    flagged_pushes: value.get("flagged_pushes")?.as_u64()?.try_into().ok()?,
                    good: value.get("good").and_then(good_from_json),
                },
                None => CueKind::NotJudged {
                    reason: NotJudged::UnknownRule,
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
            reason: NotJudged::from_recording(value.get("reason")?.as_str()?),
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
    let rule = || RuleId::from_code(value.get("rule")?.as_str()?);
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
            t.limits[RuleId::KneeBend].at_most = Some(101.5);
            assert_eq!(thresholds_from_json(&thresholds_to_json(&t)), Some(t));
        }
    }

    /// As they were stored before format 2.
    #[test]
    fn the_old_names_of_limits_are_read() {
        let old = json!({ "flagged": true, "low": 25.0, "high": 60.0, "dead_band": 7.0 });
        let back = limits_from_json(&old).unwrap();
        assert_eq!((back.at_least, back.at_most), (Some(25.0), Some(60.0)));
        let cue = json!({
            "pass_number": 1, "track_id": 1, "kind": "do", "rule": "knee_bend", "value": 140.0,
            "target": 125.0, "leg": "left", "flagged_pushes": 1,
        });
        let kind = cue_from_json(&cue).unwrap().kind;
        assert!(matches!(kind, CueKind::Do { limit: 125.0, .. }), "{kind:?}");
    }

    #[test]
    fn a_rule_missing_in_the_file_is_not_flagged() {
        let mut stored = thresholds_to_json(&Thresholds::defaults(AgeGroup::U15));
        stored["rules"].as_object_mut().unwrap().remove("extension");
        let back = thresholds_from_json(&stored).unwrap();
        assert!(!back.limits[RuleId::Extension].flagged);
        assert!(back.limits[RuleId::KneeBend].flagged);
    }

    #[test]
    fn every_kind_of_cue_survives_the_way_through_text() {
        for kind in [
            CueKind::Do {
                rule: RuleId::RecoveryGap,
                value: 0.12,
                limit: 0.065,
                leg: CueLeg::Both,
                flagged_pushes: 3,
                good: None,
            },
            CueKind::Do {
                rule: RuleId::KneeBend,
                value: 140.0,
                limit: 125.0,
                leg: CueLeg::Left,
                flagged_pushes: 1,
                good: Some(Good::Improved {
                    rule: RuleId::Extension,
                }),
            },
            CueKind::Do {
                rule: RuleId::KneeBend,
                value: 140.0,
                limit: 125.0,
                leg: CueLeg::Left,
                flagged_pushes: 1,
                good: Some(Good::KeptGoing),
            },
            CueKind::Improved {
                rule: RuleId::TrunkLean,
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
                reason: NotJudged::LegsMixedUp,
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
        let judged = Measure::judged(f64::NAN, f64::INFINITY, "mean");
        let back = Stored::of(&judged).measure();
        assert_eq!((back.value, back.uncertainty), (None, None));
        assert_eq!(back.not_judged, Some(NotJudged::NotANumber));
    }

    #[test]
    fn a_reason_of_before_the_codes_is_read() {
        let stored = |reason: &str| Stored {
            value: None,
            uncertainty: None,
            judged: false,
            reason: reason.to_owned(),
        };
        let old = stored("the far leg is partly hidden").measure();
        assert_eq!(old.not_judged, Some(NotJudged::FarLegHidden));
        assert_eq!(Stored::of(&old).reason, "far_leg_hidden");
    }

    #[test]
    fn unknown_measures_are_passed_over_and_missing_ones_say_so() {
        let known = Measure::judged(100.0, 5.0, "mean");
        let named = ["something_of_later_deg", "extension_included_deg"]
            .map(|name| (name.to_owned(), Stored::of(&known)));
        let back = by_id(|rule: RuleId| rule.rule().measure, named.into());
        assert_eq!(back[RuleId::Extension], known);
        let missing = Some(NotJudged::NotInRecording);
        assert_eq!(back[RuleId::KneeBend].not_judged, missing);
    }
}
