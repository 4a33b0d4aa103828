//! `session.json`: one session as a file other programs read.
//!
//! The format is described in `docs/session-json.md`; it is versioned and
//! only ever grows. A number that is not known is `null`, never `NaN`.

use std::collections::BTreeMap;
use std::path::Path;

use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::codec::{Stored, cue_to_json, thresholds_to_json};
use super::{EngineInfo, SourceInfo, StoreError};
use crate::calibration::Basis;
use crate::config::{Lane, write_atomically};
use crate::feedback::Cue;
use crate::quality::Quality;
use crate::rules::{
    AgeGroup, JudgedPass, JudgedPush, Leg, Measure, NotJudged, QuantityUnit, RuleId, Thresholds,
    Unit,
};

/// The version this program writes. It reads version 1 as well.
pub const FORMAT_VERSION: u32 = 2;

/// Largest `session.json` that is read back, bytes: a whole day of passes is
/// far below.
const LARGEST_BYTES: u64 = 256 << 20;

/// A whole `session.json`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SessionFile {
    /// [`FORMAT_VERSION`].
    pub format_version: u32,
    /// Wall clock of the beginning, where there was one: RFC 9557.
    pub started_at: Option<String>,
    /// Where the pictures came from.
    pub source: SourceInfo,
    /// The camera set-up.
    pub lane: Lane,
    /// What the values rest on. Programs of before it was written shifted
    /// everything as if it were rendered.
    #[serde(default = "of_older_files")]
    pub basis: Basis,
    /// What did the measuring.
    pub engine: EngineInfo,
    /// The group the skaters are judged as.
    pub age_group: AgeGroup,
    /// The thresholds the passes were judged with.
    pub thresholds: Value,
    /// The passes in the order they ended.
    pub passes: Vec<PassRecord>,
}

fn of_older_files() -> Basis {
    Basis::Rendered
}

/// One pass of a `session.json`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PassRecord {
    /// Number of the track, unique in the session.
    pub track_id: u32,
    /// First sample of the pass, seconds on the source's clock.
    pub started_at_s: Option<f64>,
    /// Last sample of the pass, seconds on the source's clock.
    pub ended_at_s: Option<f64>,
    /// Mean speed along the lane, metres a second.
    pub speed_mps: Option<f64>,
    /// The recording the pass is from, where the session has several; its
    /// times are that recording's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub recording: Option<String>,
    /// The camera set-up of that recording.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lane: Option<Lane>,
    /// The group the skater of that recording was judged as.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub age_group: Option<AgeGroup>,
    /// The cue: `kind`, what belongs to that kind, and `text`, the words that
    /// were shown.
    pub cue: Value,
    /// The pushes in order of toe-off.
    pub pushes: Vec<PushRecord>,
    /// What is reported of the pass as a whole, by key; empty in a file of an
    /// earlier program.
    #[serde(default)]
    pub quantities: BTreeMap<String, MeasureRecord>,
}

/// One push of a `session.json`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PushRecord {
    /// The pushing leg.
    pub leg: Leg,
    /// Whether it is the leg nearer to the camera.
    pub near_leg: Option<bool>,
    /// When the leg starts to push, seconds on the source's clock.
    pub push_start_s: Option<f64>,
    /// When the skate leaves the ice, seconds on the source's clock.
    pub toe_off_s: Option<f64>,
    /// By the name of the measure; the name ends with the unit.
    pub measures: BTreeMap<String, MeasureRecord>,
    /// How well it was seen; not in a file of an earlier program.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub quality: Option<Quality>,
    /// What was beyond its limit.
    pub flags: Vec<FlagRecord>,
}

/// One measure of a `session.json`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MeasureRecord {
    /// The value in the unit its name ends with.
    pub value: Option<f64>,
    /// One standard deviation, same unit.
    pub uncertainty: Option<f64>,
    /// Whether rules may speak about it.
    pub judged: bool,
    /// The code of why it is not judged.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub not_judged: Option<String>,
    /// How it was measured, where it was judged.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub how: String,
}

/// One flag of a `session.json`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FlagRecord {
    /// Id of the rule.
    pub rule: String,
    /// The measured value, in the rule's unit.
    pub value: Option<f64>,
    /// The limit it passed, in the rule's unit.
    pub limit: Option<f64>,
}

impl SessionFile {
    /// A file without passes yet. `started_at` is the wall clock; `None` for
    /// a video, whose day is not known.
    pub fn new(
        source: SourceInfo,
        lane: Lane,
        engine: EngineInfo,
        thresholds: &Thresholds,
        started_at: Option<&jiff::Zoned>,
    ) -> Self {
        SessionFile {
            format_version: FORMAT_VERSION,
            started_at: started_at.map(ToString::to_string),
            source,
            basis: Basis::of(&lane),
            lane,
            engine,
            age_group: thresholds.age_group,
            thresholds: thresholds_to_json(thresholds),
            passes: Vec::new(),
        }
    }

    /// One file of this and further recordings of one run: each pass says
    /// which recording it is from, how its camera stood and what its skater
    /// was judged as. The head stays this one's.
    #[must_use]
    pub fn join(mut self, others: Vec<SessionFile>) -> Self {
        self.mark_passes();
        for mut other in others {
            other.mark_passes();
            self.passes.append(&mut other.passes);
        }
        self
    }

    fn mark_passes(&mut self) {
        for pass in &mut self.passes {
            pass.recording = Some(self.source.name.clone());
            pass.lane = Some(self.lane.clone());
            pass.age_group = Some(self.age_group);
        }
    }

    /// Adds one pass. `words` is what the cue said, as it was shown.
    pub fn add_pass(
        &mut self,
        pass: &JudgedPass,
        cue: &Cue,
        words: &str,
    ) -> Result<(), StoreError> {
        let mut cue = cue_to_json(cue)?;
        if let Value::Object(fields) = &mut cue {
            let places = fields
                .get("rule")
                .and_then(Value::as_str)
                .and_then(RuleId::from_code)
                .map_or(4, |rule| places(rule.rule().unit));
            for key in ["value", "limit"] {
                if let Some(number) = fields.get(key).and_then(Value::as_f64) {
                    fields.insert(key.to_owned(), rounded(number, places).into());
                }
            }
            fields.insert("text".to_owned(), words.into());
        }
        self.passes.push(PassRecord {
            track_id: pass.track_id,
            started_at_s: rounded(pass.started_at_s, 4),
            ended_at_s: rounded(pass.ended_at_s, 4),
            speed_mps: rounded(pass.speed_mps, 3),
            recording: None,
            lane: None,
            age_group: None,
            cue,
            pushes: pass.pushes.iter().map(push_record).collect(),
            quantities: pass
                .quantities
                .iter()
                .map(|(id, measure)| {
                    let places = quantity_places(id.quantity().unit);
                    (id.code().to_owned(), measure_record(measure, places))
                })
                .collect(),
        });
        Ok(())
    }

    /// The text of the file.
    pub fn to_text(&self) -> Result<String, StoreError> {
        serde_json::to_string_pretty(self)
            .map(|text| text + "\n")
            .map_err(|e| StoreError::Encoding(e.to_string()))
    }

    /// Writes the file in one step: there is the old one or the new one,
    /// never half of either. Only its owner can read it. The folder has to
    /// exist.
    pub fn write(&self, path: &Path) -> Result<(), StoreError> {
        write_atomically(path, self.to_text()?.as_bytes(), 0o600)
            .map_err(|e| StoreError::io_at(path, &e))
    }

    /// Reads a file back. Fails on another format version, and names it.
    pub fn read(path: &Path) -> Result<Self, StoreError> {
        let damaged = |why: String| StoreError::Unreadable {
            file: path.to_owned(),
            why,
        };
        let length = std::fs::metadata(path)
            .map_err(|e| damaged(e.to_string()))?
            .len();
        if length > LARGEST_BYTES {
            return Err(damaged(format!("it is larger than {LARGEST_BYTES} bytes")));
        }
        let text = std::fs::read_to_string(path).map_err(|e| damaged(e.to_string()))?;
        let mut value: Value = serde_json::from_str(&text).map_err(|e| damaged(e.to_string()))?;
        match value.get("format_version").and_then(Value::as_u64) {
            Some(version) if version == u64::from(FORMAT_VERSION) => {}
            Some(1) => from_version_1(&mut value),
            Some(other) => {
                return Err(damaged(format!(
                    "it has format version {other}, this program reads {FORMAT_VERSION}"
                )));
            }
            None => return Err(damaged("it has no format_version".to_owned())),
        }
        serde_json::from_value(value).map_err(|e| damaged(e.to_string()))
    }
}

fn measure_record(measure: &Measure, places: i32) -> MeasureRecord {
    let m = Stored::of(measure).measure();
    MeasureRecord {
        value: m.value.and_then(|v| rounded(v, places)),
        uncertainty: m.uncertainty.and_then(|v| rounded(v, places)),
        judged: m.is_judged(),
        not_judged: m.not_judged.map(|why| why.code().to_owned()),
        how: m.how,
    }
}

/// Version 1 had one text for why a measure is not judged, in English words,
/// and how it was measured; and other names for limits.
fn from_version_1(file: &mut Value) {
    fn rename(of: Option<&mut Value>, name: &str, to: &str) {
        let Some(fields) = of.and_then(Value::as_object_mut) else {
            return;
        };
        if let Some(value) = fields.remove(name) {
            fields.insert(to.to_owned(), value);
        }
    }
    fn measures(of: Option<&mut Value>) {
        let measures = of.and_then(Value::as_object_mut);
        for measure in measures.into_iter().flat_map(|m| m.values_mut()) {
            let Some(fields) = measure.as_object_mut() else {
                continue;
            };
            let text = fields.remove("reason");
            let text = text.as_ref().and_then(Value::as_str).unwrap_or_default();
            if fields.get("judged") == Some(&Value::Bool(true)) {
                fields.insert("how".to_owned(), text.into());
            } else {
                let code = NotJudged::from_recording(text).code();
                fields.insert("not_judged".to_owned(), code.into());
            }
        }
    }
    let rules = file.pointer_mut("/thresholds/rules");
    let rules = rules.and_then(Value::as_object_mut);
    for limits in rules.into_iter().flat_map(|rules| rules.values_mut()) {
        rename(Some(&mut *limits), "low", "at_least");
        rename(Some(limits), "high", "at_most");
    }
    let passes = file.get_mut("passes").and_then(Value::as_array_mut);
    for pass in passes.into_iter().flatten() {
        rename(pass.get_mut("cue"), "target", "limit");
        if let Some(reason) = pass.pointer_mut("/cue/reason") {
            let text = reason.as_str().unwrap_or_default();
            *reason = NotJudged::from_recording(text).code().into();
        }
        measures(pass.get_mut("quantities"));
        let pushes = pass.get_mut("pushes").and_then(Value::as_array_mut);
        for push in pushes.into_iter().flatten() {
            measures(push.get_mut("measures"));
        }
    }
    file["format_version"] = FORMAT_VERSION.into();
}

fn push_record(push: &JudgedPush) -> PushRecord {
    let measures = push
        .measures
        .iter()
        .map(|(id, measure)| {
            let rule = id.rule();
            let record = measure_record(measure, places(rule.unit));
            (rule.measure.to_owned(), record)
        })
        .collect();
    let flags = push
        .flags
        .iter()
        .map(|flag| {
            let places = places(flag.rule.rule().unit);
            FlagRecord {
                rule: flag.rule.code().to_owned(),
                value: rounded(flag.value, places),
                limit: rounded(flag.limit, places),
            }
        })
        .collect();
    PushRecord {
        leg: push.leg,
        near_leg: push.near_leg,
        push_start_s: rounded(push.push_start_s, 4),
        toe_off_s: rounded(push.toe_off_s, 4),
        measures,
        quality: push.quality.map(Quality::rounded),
        flags,
    }
}

/// Decimals of a measure: far below what the camera can tell apart.
fn places(unit: Unit) -> i32 {
    match unit {
        Unit::Deg => 2,
        Unit::Metre => 4,
    }
}

fn quantity_places(unit: QuantityUnit) -> i32 {
    match unit {
        QuantityUnit::Deg => 2,
        QuantityUnit::Hertz => 3,
        QuantityUnit::Metre | QuantityUnit::Second => 4,
    }
}

/// `None` for what is no number.
fn rounded(value: f64, places: i32) -> Option<f64> {
    let scale = 10f64.powi(places);
    let result = (value * scale).round() / scale;
    // `+ 0.0` turns a minus zero into a plain one.
    result.is_finite().then_some(result + 0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// As version 1 was written.
    #[test]
    fn the_names_of_version_1_become_those_of_today() {
        let mut file = serde_json::json!({
            "format_version": 1,
            "thresholds": { "age_group": "U15", "rules": {
                "knee_bend": { "flagged": true, "low": null, "high": 120.0, "dead_band": 6.0 },
            } },
            "passes": [
                {
                    "cue": { "kind": "do", "rule": "knee_bend", "value": 131.4, "target": 120.0 },
                    "pushes": [{ "measures": {
                        "glide_knee_included_deg":
                            { "value": 131.4, "judged": true, "reason": "near leg, 9 frames" },
                        "heel_gap_m":
                            { "value": null, "judged": false, "reason": "not seen from the side" },
                    } }],
                    "quantities": { "push_width_m":
                        { "value": null, "judged": false, "reason": "words nobody knows" } },
                },
                { "cue": { "kind": "not_judged", "reason": "no push was seen" }, "pushes": [] },
            ],
        });
        from_version_1(&mut file);
        let expected = serde_json::json!({
            "format_version": 2,
            "thresholds": { "age_group": "U15", "rules": {
                "knee_bend":
                    { "flagged": true, "at_least": null, "at_most": 120.0, "dead_band": 6.0 },
            } },
            "passes": [
                {
                    "cue": { "kind": "do", "rule": "knee_bend", "value": 131.4, "limit": 120.0 },
                    "pushes": [{ "measures": {
                        "glide_knee_included_deg":
                            { "value": 131.4, "judged": true, "how": "near leg, 9 frames" },
                        "heel_gap_m":
                            { "value": null, "judged": false, "not_judged": "not_from_side" },
                    } }],
                    "quantities": { "push_width_m":
                        { "value": null, "judged": false, "not_judged": "other" } },
                },
                { "cue": { "kind": "not_judged", "reason": "no_push" }, "pushes": [] },
            ],
        });
        assert_eq!(file, expected);
    }

    #[test]
    fn numbers_are_rounded_and_never_infinite() {
        assert_eq!(rounded(1.23456, 4), Some(1.2346));
        assert_eq!(rounded(101.456, 2), Some(101.46));
        assert_eq!(
            rounded(-0.000_01, 4).map(|v| v.to_string()),
            Some("0".to_owned())
        );
        assert_eq!(rounded(f64::NAN, 2), None);
        assert_eq!(rounded(f64::INFINITY, 2), None);
        assert_eq!(rounded(f64::MAX, 4), None);
    }
}
