//! `session.json` against its description in `docs/session-json.md`.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use crate::store_common::{cue, engine, lane, pass, session, source};
use kickplate::config::LaneErrors;
use kickplate::rules::{AgeGroup, QUANTITIES, RULES, RuleId, Thresholds};
use kickplate::store::SessionFile;
use serde_json::Value;

fn file() -> SessionFile {
    let thresholds = Thresholds::defaults(AgeGroup::U15);
    let mut file = SessionFile::new(
        source(),
        lane(),
        engine(),
        &thresholds,
        Some(&session().started),
    );
    for n in 1..=3 {
        file.add_pass(&pass(n), &cue(n), "Bend your knees more")
            .unwrap();
    }
    file
}

#[test]
fn what_is_written_is_read_back() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("session.json");
    file().write(&path).unwrap();
    assert_eq!(SessionFile::read(&path).unwrap(), file());
    assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 1);
}

#[test]
fn the_fields_are_the_ones_of_the_description() {
    let value: Value = serde_json::from_str(&file().to_text().unwrap()).unwrap();
    assert_eq!(value["format_version"], 2);
    assert_eq!(value["age_group"], "U15");
    assert_eq!(
        value["started_at"],
        "2026-01-17T18:05:00+01:00[Europe/Zurich]"
    );
    assert_eq!(value["source"]["kind"], "video");
    assert_eq!(value["source"]["name"], "clip.mp4");
    assert_eq!(value["engine"]["backend"], "embedded");
    assert_eq!(value["lane"]["view"], "side");
    assert_eq!(value["lane"]["travel"], "right_to_left");
    assert_eq!(value["lane"]["camera_height_m"], 1.4);
    assert_eq!(value["lane"].as_object().unwrap().len(), 9);
    assert_eq!(value["thresholds"]["rules"]["knee_bend"]["at_most"], 120.0);

    let passes = value["passes"].as_array().unwrap();
    assert_eq!(passes.len(), 3);
    let first = &passes[0];
    assert_eq!(first["track_id"], 101);
    assert_eq!(first["started_at_s"], 10.0);
    assert_eq!(first["ended_at_s"], 12.4);
    assert_eq!(first["speed_mps"], 5.25);
    let cue = &first["cue"];
    assert_eq!(cue["kind"], "do");
    assert_eq!(cue["rule"], "knee_bend");
    assert_eq!(cue["value"], 131.25);
    assert_eq!(cue["limit"], 120.0);
    assert_eq!(cue["leg"], "both");
    assert_eq!(cue["text"], "Bend your knees more");
    assert_eq!(passes[1]["cue"]["kind"], "not_judged");
    assert_eq!(passes[1]["cue"]["reason"], "legs_mixed_up");
    assert_eq!(passes[2]["cue"]["kind"], "praise");

    let pushes = first["pushes"].as_array().unwrap();
    assert_eq!(pushes.len(), 3);
    assert_eq!(pushes[0]["leg"], "left");
    assert_eq!(pushes[0]["near_leg"], true);
    assert_eq!(pushes[1]["near_leg"], false);
    assert!(pushes[2]["near_leg"].is_null());
    assert_eq!(pushes[1]["toe_off_s"], 10.7);
    let measures = pushes[0]["measures"].as_object().unwrap();
    assert_eq!(measures.len(), RULES.len());
    assert_eq!(measures["glide_knee_included_deg"]["value"], 100.0);
    assert_eq!(measures["glide_knee_included_deg"]["uncertainty"], 2.5);
    assert_eq!(measures["glide_knee_included_deg"]["judged"], true);
    assert!(measures["extension_included_deg"]["value"].is_null());
    assert_eq!(
        measures["extension_included_deg"]["not_judged"],
        "not_from_side"
    );
    assert_eq!(pushes[0]["flags"][0]["rule"], "knee_bend");
    assert_eq!(pushes[0]["flags"][0]["value"], 131.25);
    assert_eq!(pushes[0]["flags"][0]["limit"], 120.0);
    assert_eq!(pushes[2]["flags"], Value::Array(Vec::new()));

    let quantities = first["quantities"].as_object().unwrap();
    assert_eq!(quantities.len(), QUANTITIES.len());
    assert_eq!(quantities["stride_rate_hz"]["value"], 2.5);
    assert_eq!(quantities["stride_rate_hz"]["uncertainty"], 0.25);
    assert_eq!(quantities["stride_rate_hz"]["judged"], true);
    assert_eq!(quantities["stride_rate_hz"]["how"], "mean of 4 steps");
    assert!(quantities["step_length_m"]["value"].is_null());
    assert_eq!(quantities["push_width_m"]["judged"], false);
    assert_eq!(quantities["push_width_m"]["value"], 0.125);
}

/// The description names every measure and rule, and its example is a file
/// of the format.
#[test]
fn the_description_is_current() {
    let description = include_str!("../../docs/session-json.md");
    for rule in RULES {
        let row = format!("| `{}` | `{}` |", rule.measure, rule.id);
        assert!(description.contains(&row), "{row}");
    }
    for quantity in QUANTITIES {
        let row = format!("| `{}` |", quantity.id);
        assert!(description.contains(&row), "{row}");
    }
    let example = description
        .split_once("```json\n")
        .and_then(|(_, rest)| rest.split_once("```"))
        .unwrap()
        .0;
    let example: SessionFile = serde_json::from_str(example).unwrap();
    assert_eq!(example.passes[0].pushes[0].flags.len(), 1);
    assert_eq!(example.passes[0].quantities.len(), 2);
}

/// What was used of a lane's errors is told; a file of before does not, and is read.
#[test]
fn the_errors_of_the_lane_are_told_and_older_files_have_none() {
    let mut file = file();
    file.lane.errors = LaneErrors::by_hand();
    let mut value: Value = serde_json::from_str(&file.to_text().unwrap()).unwrap();
    let errors = value["lane"]["errors"].as_object().unwrap();
    assert_eq!((errors.len(), &errors["tilt_sd_deg"]), (6, &0.7.into()));
    let schema: Value =
        serde_json::from_str(include_str!("../../docs/session.schema.json")).unwrap();
    for key in errors.keys() {
        assert!(
            schema["$defs"]["lane_errors"]["properties"]
                .get(key)
                .is_some(),
            "{key}"
        );
    }
    let read: SessionFile = serde_json::from_value(value.clone()).unwrap();
    assert_eq!(read, file);
    value["lane"].as_object_mut().unwrap().remove("errors");
    let old: SessionFile = serde_json::from_value(value).unwrap();
    assert!(old.lane.errors.is_empty());
}

/// A file of before the quantities: the format's version is the same.
#[test]
fn a_file_without_quantities_is_read() {
    let mut value: Value = serde_json::from_str(&file().to_text().unwrap()).unwrap();
    for pass in value["passes"].as_array_mut().unwrap() {
        pass.as_object_mut().unwrap().remove("quantities");
    }
    let read: SessionFile = serde_json::from_value(value).unwrap();
    assert_eq!(read.passes.len(), 3);
    assert!(read.passes.iter().all(|p| p.quantities.is_empty()));
}

#[test]
fn no_number_is_ever_anything_but_a_number() {
    let mut bad = pass(1);
    bad.speed_mps = f64::NAN;
    bad.ended_at_s = f64::INFINITY;
    for push in &mut bad.pushes {
        push.toe_off_s = f64::NAN;
        for measure in push.measures.values_mut() {
            measure.value = Some(f64::NAN);
            measure.uncertainty = Some(f64::INFINITY);
            measure.not_judged = None;
        }
        for flag in &mut push.flags {
            flag.limit = f64::NAN;
        }
    }
    let thresholds = Thresholds::defaults(AgeGroup::U15);
    let mut file = SessionFile::new(source(), lane(), engine(), &thresholds, None);
    file.add_pass(&bad, &cue(1), "").unwrap();
    let text = file.to_text().unwrap();
    assert!(!text.contains("NaN") && !text.contains("inf"), "{text}");
    let value: Value = serde_json::from_str(&text).unwrap();
    let push = &value["passes"][0]["pushes"][0];
    assert!(push["toe_off_s"].is_null());
    let measure = &push["measures"]["heel_gap_m"];
    assert!(measure["value"].is_null());
    assert_eq!(measure["judged"], false);
}

#[test]
fn numbers_are_rounded_by_their_unit() {
    let mut fine = pass(1);
    fine.started_at_s = 1.000_049_9;
    fine.pushes[0].measures[RuleId::KneeBend].value = Some(123.456_789);
    fine.pushes[0].measures[RuleId::RecoveryGap].value = Some(0.123_456_789);
    let thresholds = Thresholds::defaults(AgeGroup::U15);
    let mut file = SessionFile::new(source(), lane(), engine(), &thresholds, None);
    file.add_pass(&fine, &cue(1), "").unwrap();
    let pass = &file.passes[0];
    assert_eq!(pass.started_at_s, Some(1.0));
    let measures = &pass.pushes[0].measures;
    assert_eq!(measures["glide_knee_included_deg"].value, Some(123.46));
    assert_eq!(measures["heel_gap_m"].value, Some(0.1235));
}

#[test]
fn what_cannot_be_read_or_written_is_one_clear_sentence() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("session.json");
    let said = |text: &str| {
        std::fs::write(&path, text).unwrap();
        SessionFile::read(&path).unwrap_err().to_string()
    };
    assert!(said("{\"format_version\": 3}").contains("it has format version 3"));
    assert!(said("{}").contains("it has no format_version"));
    assert!(said("{\"format_version\": 2").contains("cannot be read as a session file"));
    let below = path.join("session.json");
    let said = file().write(&below).unwrap_err().to_string();
    assert!(said.contains("cannot be written"), "{said}");
}
