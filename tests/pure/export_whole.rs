//! Whole exports of a recorded session: what is in them, and what is not.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use std::os::unix::fs::PermissionsExt;

use crate::export_common::{
    NEVER, PERSONAL, files, holds, recorded, recorded_passes, recorded_with, request, run,
};
use kickplate::capture::{self, SourceSpec};
use kickplate::display::Language;
use kickplate::export::{ExportRequest, Format, Separator};
use kickplate::quality::Quality;
use kickplate::rules::{QUANTITIES, RULES};
use kickplate::store::SessionFile;

#[test]
fn a_folder_has_every_file_and_only_its_owner_can_read_it() {
    let recorded = recorded();
    let home = tempfile::tempdir().unwrap();
    let out = home.path().join("after the session");
    let exported = run(&recorded, &request(&recorded, &out)).unwrap();
    let files = files(&out);
    assert_eq!(exported.files, files.len());
    let bytes: usize = files.values().map(Vec::len).sum();
    assert_eq!(exported.bytes, bytes as u64);
    for name in [
        "README.txt",
        "index.html",
        "passes.csv",
        "points/s1-pass-001.csv",
        "pushes.csv",
        "pushes.parquet",
        "session.json",
        "skaters/skater-01-b4711-robin.html",
        "skaters/skater-02-b4712-zoë-con-script-näher.html",
        "skaters/skater-03-sascha.html",
        "stills/s1-pass-001-push-1-knee-bend.png",
        "clips/s1-pass-001-push-1-knee-bend.mp4",
        "clips/s1-pass-002-push-2-trunk-lean.mp4",
    ] {
        assert!(files.contains_key(name), "{name} of {:?}", files.keys());
    }
    // Dismissed by the coach; and Sascha, who has pass 4, gave no consent.
    assert!(!files.contains_key("clips/s1-pass-001-push-2-trunk-lean.mp4"));
    assert!(!files.keys().any(|f| f.starts_with("clips/s1-pass-004")));
    // Two strips of five passes, less the dismissed one.
    assert_eq!(exported.clips, 9);
    for file in files.keys() {
        let mode = out.join(file).metadata().unwrap().permissions().mode();
        assert_eq!(mode & 0o777, 0o600, "{file}");
    }
    // Nothing is left beside it, and the recordings know of it.
    assert_eq!(std::fs::read_dir(home.path()).unwrap().count(), 1);
    let notes = recorded.archive.exports().unwrap();
    assert_eq!(notes[0].place, out.to_str().unwrap());
    assert_eq!(notes[0].skaters.len(), 3);
}

fn table(bytes: &[u8], separator: u8) -> (Vec<String>, Vec<Vec<String>>) {
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(separator)
        .from_reader(bytes.strip_prefix("\u{feff}".as_bytes()).unwrap());
    let names = reader
        .headers()
        .unwrap()
        .iter()
        .map(str::to_owned)
        .collect();
    let rows = reader
        .records()
        .map(|r| r.unwrap().iter().map(str::to_owned).collect())
        .collect();
    (names, rows)
}

#[test]
fn the_tables_say_what_was_measured_with_units_limits_and_verdicts() {
    let recorded = recorded();
    let home = tempfile::tempdir().unwrap();
    let out = home.path().join("x");
    run(&recorded, &request(&recorded, &out)).unwrap();
    let (names, rows) = table(&std::fs::read(out.join("pushes.csv")).unwrap(), b',');
    assert_eq!(rows.len(), 6 * 3);
    let at = |row: &[String], name: &str| {
        let i = names.iter().position(|n| n == name);
        row[i.unwrap_or_else(|| panic!("no column {name} in {names:?}"))].clone()
    };
    for rule in RULES {
        assert!(names.contains(&rule.measure.to_owned()));
    }
    let first = &rows[0];
    // 180 less the included angle, by the definition of flexion.
    assert_eq!(at(first, "glide_knee_included_deg"), "100");
    assert_eq!(at(first, "glide_knee_flexion_deg"), "80");
    assert_eq!(at(first, "glide_knee_included_uncertainty_deg"), "2.5");
    assert_eq!(at(first, "glide_knee_included_judged"), "true");
    assert_eq!(at(first, "glide_knee_included_at_most_deg"), "120");
    assert_eq!(at(first, "glide_knee_included_dead_band_deg"), "6");
    assert_eq!(at(first, "heel_gap_m"), "102");
    assert_eq!(at(first, "extension_included_judged"), "false");
    assert_eq!(
        at(first, "extension_included_reason"),
        "not seen from the side"
    );
    assert_eq!(at(first, "skater"), "Robin");
    assert_eq!(at(first, "bib"), "B4711");
    assert_eq!(at(first, "comment"), "Robin: as in the tyre drill");
    assert_eq!(at(&rows[1], "trunk_lean_flagged"), "true");
    assert_eq!(at(&rows[1], "trunk_lean_verdict"), "dismissed");
    // A name that would be a formula is text.
    assert!(at(&rows[3], "skater").starts_with("'=Zo"));

    let (names, rows) = table(&std::fs::read(out.join("passes.csv")).unwrap(), b',');
    assert_eq!(rows.len(), 6);
    for quantity in QUANTITIES {
        assert!(names.contains(&quantity.id.code().to_owned()));
    }

    let semicolon = home.path().join("semicolon");
    let request = ExportRequest {
        separator: Separator::Semicolon,
        flagged_only: true,
        pictures: false,
        ..request(&recorded, &semicolon)
    };
    run(&recorded, &request).unwrap();
    let (names, rows) = table(&std::fs::read(semicolon.join("pushes.csv")).unwrap(), b';');
    // Two of three pushes of each pass are flagged and not both dismissed.
    assert_eq!(rows.len(), 6 * 2);
    let i = names
        .iter()
        .position(|n| n == "glide_knee_included_uncertainty_deg");
    assert_eq!(rows[0][i.unwrap()], "2,5");
    assert!(!semicolon.join("clips").exists());
}

#[test]
fn session_json_keeps_to_the_committed_schema() {
    let schema = include_str!("../../docs/session.schema.json");
    let schema: serde_json::Value = serde_json::from_str(schema).unwrap();
    // An independent reading of JSON Schema 2020-12: the crate 'jsonschema';
    // tools/export/check.sh asks Python's.
    assert!(jsonschema::meta::is_valid(&schema));
    let validator = jsonschema::validator_for(&schema).unwrap();
    let recorded = recorded();
    let home = tempfile::tempdir().unwrap();
    let out = home.path().join("x");
    run(&recorded, &request(&recorded, &out)).unwrap();
    let path = out.join("session.json");
    let value: serde_json::Value = serde_json::from_slice(&std::fs::read(&path).unwrap()).unwrap();
    let faults: Vec<String> = validator
        .iter_errors(&value)
        .map(|e| e.to_string())
        .collect();
    assert!(faults.is_empty(), "{faults:?}");
    // What the store writes for itself keeps to it too, and reads this one.
    assert_eq!(SessionFile::read(&path).unwrap().passes.len(), 6);
    assert_eq!(
        value["passes"][0]["pushes"][1]["verdicts"]["trunk_lean"],
        "dismissed"
    );
    assert_eq!(value["passes"][0]["skater"], "Robin");
    // And the schema does refuse.
    for spoil in [
        |v: &mut serde_json::Value| v["format_version"] = 3.into(),
        |v: &mut serde_json::Value| v["passes"][0]["pushes"][0]["leg"] = "near".into(),
        |v: &mut serde_json::Value| {
            v["passes"][0]["pushes"][0]["measures"]["heel_gap_m"]["value"] = "wide".into();
        },
        |v: &mut serde_json::Value| {
            v.as_object_mut().unwrap().remove("lane");
        },
    ] {
        let mut spoiled = value.clone();
        spoil(&mut spoiled);
        assert!(!validator.is_valid(&spoiled));
    }
}

/// ISO/IEC 14496-12: the boxes of a file follow each other, each begins with
/// its length and type; a file whose 'moov' stands before 'mdat' can be
/// played while it is still being read.
fn boxes(mut mp4: &[u8]) -> Vec<String> {
    let mut found = Vec::new();
    while mp4.len() >= 8 {
        let mut length = u32::from_be_bytes(mp4[..4].try_into().unwrap()) as usize;
        found.push(String::from_utf8_lossy(&mp4[4..8]).into_owned());
        if length == 1 {
            length = u64::from_be_bytes(mp4[8..16].try_into().unwrap()) as usize;
        }
        mp4 = &mp4[length..];
    }
    assert!(mp4.is_empty());
    found
}

#[test]
fn a_clip_plays_first_fast_then_slowly_and_its_index_stands_in_front() {
    let recorded = recorded();
    let home = tempfile::tempdir().unwrap();
    let out = home.path().join("x");
    run(&recorded, &request(&recorded, &out)).unwrap();
    let path = out.join("clips/s1-pass-002-push-1-knee-bend.mp4");
    let order = boxes(&std::fs::read(&path).unwrap());
    let place = |name: &str| order.iter().position(|b| b == name).unwrap();
    assert!(place("moov") < place("mdat"), "{order:?}");
    // The station's own reader decodes every picture; ffmpeg and a browser do
    // in tools/export/check.sh.
    let mut source = capture::open(&SourceSpec::File { path }).unwrap();
    let mut times = Vec::new();
    while let Some(frame) = source.next_frame().unwrap() {
        assert_eq!((frame.width, frame.height), (320, 180));
        times.push(frame.captured_at_s);
        // The plate with the words lies in the upper left corner: dark.
        assert!(
            frame.rgb[..3].iter().all(|v| *v < 60),
            "{:?}",
            &frame.rgb[..3]
        );
    }
    assert_eq!(times.len(), 24);
    // Twelve pictures 1/30 s apart, then 2.5 times slower with the flagged
    // instant, the seventh, held for 1.5 s.
    let step = |i: usize| times[i + 1] - times[i];
    for i in 0..23 {
        let wanted = match i {
            0..12 => 1.0 / 30.0,
            18 => 2.5 / 30.0 + 1.5,
            _ => 2.5 / 30.0,
        };
        assert!(
            (step(i) - wanted).abs() < 2e-3,
            "{i}: {} for {wanted}",
            step(i)
        );
    }
}

#[test]
fn pages_name_people_safely_and_count_what_stands() {
    let recorded = recorded();
    let home = tempfile::tempdir().unwrap();
    let out = home.path().join("x");
    run(&recorded, &request(&recorded, &out)).unwrap();
    let read = |name: &str| std::fs::read_to_string(out.join(name)).unwrap();
    let robin = read("skaters/skater-01-b4711-robin.html");
    // Three passes with two pushes flagged each; knee bend is judged in three
    // of each.
    assert!(
        robin.contains("6 of 9 judged pushes were outside the band"),
        "{robin}"
    );
    // One of six trunk flags was dismissed.
    assert!(robin.contains("5 of 9 judged pushes"), "{robin}");
    assert!(robin.contains("as in the tyre drill"));
    assert!(robin.contains("../clips/s1-pass-001-push-1-knee-bend.mp4"));
    assert!(robin.contains("qualified medical provider"));
    let zoe = read("skaters/skater-02-b4712-zoë-con-script-näher.html");
    assert!(zoe.contains("&lt;script&gt;Näher🏒"), "{zoe}");
    let sascha = read("skaters/skater-03-sascha.html");
    assert!(sascha.contains("no consent") && !sascha.contains("<video"));
    for page in [&robin, &zoe, &sascha, &read("index.html")] {
        // Nothing from elsewhere, no script, and no number of one child
        // beside another's.
        assert!(!page.contains("<script") && !page.contains("http://"));
        assert!(!page.contains("https://") && !page.contains("@import"));
    }
    let index = read("index.html");
    assert!(!index.contains("judged pushes were"));
    // Who needs what, by name alone: knees were flagged in 6 of 9, the trunk in 5 of 9.
    let row = |name: &str| {
        let from = index.find(name).unwrap();
        let to = from + index[from..].find("</tr>").unwrap();
        index[from..to].to_owned()
    };
    assert!(index.contains("To work on") && index.contains("Goes well"));
    assert!(row("Robin").contains("<td>Knees</td>"), "{}", row("Robin"));
    assert!(!row("Robin").contains(" of "), "{}", row("Robin"));
}

/// Silence is praise only where a fault would have been seen.
#[test]
fn what_was_not_seen_well_is_not_said_to_go_well() {
    let page = |quality: Quality| {
        let recorded = recorded_with(3, |pass| {
            for push in &mut pass.pushes {
                push.flags.clear();
                push.quality = Some(quality);
            }
        });
        let home = tempfile::tempdir().unwrap();
        let out = home.path().join("x");
        run(&recorded, &request(&recorded, &out)).unwrap();
        std::fs::read_to_string(out.join("skaters/skater-01-b4711-robin.html")).unwrap()
    };
    let good = Quality {
        pictures_per_s: Some(30.0),
        ..Quality::default()
    };
    let sentence = "6 of the 6 pushes that were seen well are in the band";
    let seen = page(good);
    assert!(seen.contains(sentence), "{seen}");
    // Just enough pictures to be judged by.
    let poor = Quality {
        pictures_per_s: Some(15.0),
        sharpness: Some(0.37),
        contrast: Some(30.0),
        ..good
    };
    let unsure = page(poor);
    assert!(!unsure.contains("seen well are in the band"), "{unsure}");
}

#[test]
fn a_french_export_is_french() {
    let recorded = recorded();
    let home = tempfile::tempdir().unwrap();
    let out = home.path().join("x");
    let request = ExportRequest {
        language: Language::Fr,
        skater: Some(recorded.robin),
        ..request(&recorded, &out)
    };
    run(&recorded, &request).unwrap();
    let files = files(&out);
    let page = String::from_utf8(files["skaters/skater-01-b4711-robin.html"].clone()).unwrap();
    assert!(page.contains("<html lang=\"fr\">") && page.contains("À travailler"));
    assert!(page.contains("Reste bas") && page.contains("2,5°") || page.contains("±2°"));
    // Nobody else's passes are in it.
    for (name, bytes) in &files {
        assert!(!holds(bytes, "Näher") && !holds(bytes, "Sascha"), "{name}");
    }
}

/// Every text of an export that a reader could find: file names, bytes, and
/// what is packed in archives.
fn readable(files: &std::collections::BTreeMap<String, Vec<u8>>) -> Vec<(String, Vec<u8>)> {
    let mut all = Vec::new();
    for (name, bytes) in files {
        all.push((format!("name of {name}"), name.as_bytes().to_vec()));
        if name.ends_with(".zip") {
            let mut zip = zip::ZipArchive::new(std::io::Cursor::new(bytes)).unwrap();
            for i in 0..zip.len() {
                let mut file = zip.by_index(i).unwrap();
                let inner = file.name().unwrap().into_owned();
                let mut content = Vec::new();
                std::io::Read::read_to_end(&mut file, &mut content).unwrap();
                all.push((format!("name of {inner}"), inner.as_bytes().to_vec()));
                all.push((inner, content));
            }
        }
        all.push((name.clone(), bytes.clone()));
    }
    all
}

#[test]
fn no_name_remains_in_any_byte_of_an_anonymous_export() {
    let recorded = recorded();
    let home = tempfile::tempdir().unwrap();
    let mut finds = std::collections::BTreeMap::new();
    for (name, anonymous, format) in [
        ("open", false, Format::Folder),
        ("a", true, Format::Folder),
        ("b.zip", true, Format::Zip),
        ("open.zip", false, Format::Zip),
    ] {
        let out = home.path().join(name);
        let request = ExportRequest {
            anonymous,
            format,
            ..request(&recorded, &out)
        };
        let exported = run(&recorded, &request).unwrap();
        assert_eq!(exported.clips, 9);
        let files = if out.is_dir() {
            files(&out)
        } else {
            [(name.to_owned(), std::fs::read(&out).unwrap())].into()
        };
        let all = readable(&files);
        assert!(all.len() > 40, "{}", all.len());
        for text in PERSONAL.into_iter().chain([NEVER]) {
            let found: Vec<&str> = all
                .iter()
                .filter(|(_, bytes)| holds(bytes, text))
                .map(|(name, _)| name.as_str())
                .collect();
            if anonymous || text == NEVER {
                assert!(found.is_empty(), "'{text}' in {found:?}");
            } else {
                assert!(!found.is_empty(), "'{text}' is nowhere in {name}");
            }
            finds.insert((name, text), found.len());
        }
        // PNG: no chunk but the picture itself (ISO/IEC 15948).
        for (name, bytes) in all.iter().filter(|(n, _)| n.ends_with(".png")) {
            if bytes.starts_with(b"\x89PNG") {
                assert_eq!(chunks(bytes), ["IDAT", "IEND", "IHDR"], "{name}");
            }
        }
    }
    // The search does find: a name stands in tables, JSON and pages.
    assert!(finds[&("open", "Robin")] >= 5, "{finds:?}");
    assert!(finds[&("open.zip", "Robin")] >= 5, "{finds:?}");
}

fn chunks(png: &[u8]) -> Vec<String> {
    let mut rest = &png[8..];
    let mut found = std::collections::BTreeSet::new();
    while rest.len() >= 12 {
        let length = u32::from_be_bytes(rest[..4].try_into().unwrap()) as usize;
        found.insert(String::from_utf8_lossy(&rest[4..8]).into_owned());
        rest = &rest[12 + length..];
    }
    found.into_iter().collect()
}

#[test]
fn an_anonymous_export_says_skater_1_and_leaves_open_faces_out() {
    let recorded = recorded();
    let home = tempfile::tempdir().unwrap();
    let out = home.path().join("x");
    let request = ExportRequest {
        anonymous: true,
        ..request(&recorded, &out)
    };
    run(&recorded, &request).unwrap();
    let page = std::fs::read_to_string(out.join("skaters/skater-01.html")).unwrap();
    assert!(
        page.contains("Skater 1") && page.contains("Clothing"),
        "{page}"
    );
    let json = std::fs::read_to_string(out.join("session.json")).unwrap();
    assert!(json.contains("\"skater\": \"Skater 2\"") && json.contains("\"started_at\": null"));
}

/// Time and memory of many passes. The count is small here;
/// `KICKPLATE_EXPORT_PASSES=2000 cargo test --release --test pure --
/// many_passes --nocapture` prints what `docs/export.md` says.
#[test]
fn many_passes_are_exported_too() {
    let passes = std::env::var("KICKPLATE_EXPORT_PASSES")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(60);
    let recorded = recorded_passes(passes);
    let home = tempfile::tempdir().unwrap();
    let out = home.path().join("x");
    let request = ExportRequest {
        pictures: passes <= 60,
        ..request(&recorded, &out)
    };
    let begin = std::time::Instant::now();
    let exported = run(&recorded, &request).unwrap();
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let peak = status.lines().find(|l| l.starts_with("VmHWM"));
    println!(
        "{passes} passes: {:.1} s, {} files, {:.1} MB, {}",
        begin.elapsed().as_secs_f64(),
        exported.files,
        exported.bytes as f64 / 1e6,
        peak.unwrap_or_default()
    );
    let rows = std::fs::read_to_string(out.join("pushes.csv")).unwrap();
    assert_eq!(rows.matches("\r\n").count(), 1 + 3 * passes as usize);
    // Charts do not grow with the passes.
    let page = std::fs::read_to_string(out.join("skaters/skater-01-b4711-robin.html")).unwrap();
    assert!(page.matches("class=\"doubt\"").count() <= 48 * RULES.len());
}
