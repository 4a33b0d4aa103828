//! Sessions added to a dataset: what is in it, what is not, what replaces what, and
//! what a deletion means for it. Read with the Parquet library's own reader;
//! `tools/export/check_dataset.py` asks DuckDB and Polars.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

use kickplate::export::{Added, DatasetRequest, ExportError, add_to_dataset, settle_deletions};
use parquet::file::reader::{FileReader, SerializedFileReader};
use parquet::record::Field;

use crate::export_common::{NEVER, Recorded, recorded};

type Row = BTreeMap<String, Field>;

fn add(r: &Recorded, folder: &Path, names: bool) -> Result<Added, ExportError> {
    let request = DatasetRequest {
        sessions: vec![r.session],
        folder: folder.to_owned(),
        station: "rink-a".to_owned(),
        names,
    };
    add_to_dataset(&r.archive, &request, &AtomicBool::new(false))
}

/// Every file with its bytes, by its path in the dataset.
fn files(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut found = BTreeMap::new();
    let mut waiting = vec![folder.to_owned()];
    while let Some(at) = waiting.pop() {
        for entry in fs::read_dir(at).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                waiting.push(path);
            } else {
                let name = path.strip_prefix(folder).unwrap().to_owned();
                found.insert(name, fs::read(path).unwrap());
            }
        }
    }
    found
}

/// The rows of a table of the dataset.
fn rows(folder: &Path, table: &str) -> Vec<Row> {
    let parts = files(folder).into_keys().filter(|p| p.starts_with(table));
    parts
        .flat_map(|part| {
            let file = fs::File::open(folder.join(part)).unwrap();
            let reader = SerializedFileReader::new(file).unwrap();
            let rows = reader.get_row_iter(None).unwrap();
            rows.map(|row| {
                let row = row.unwrap();
                let fields = row.get_column_iter();
                fields
                    .map(|(name, field)| (name.clone(), field.clone()))
                    .collect()
            })
            .collect::<Vec<Row>>()
        })
        .collect()
}

fn text(row: &Row, column: &str) -> Option<String> {
    match &row[column] {
        Field::Str(text) => Some(text.clone()),
        Field::Null => None,
        other => panic!("{column}: {other:?}"),
    }
}

fn refusal(result: Result<Added, ExportError>) -> String {
    match result {
        Err(error @ ExportError::Dataset { .. }) => error.to_string(),
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_session_is_one_part_of_each_table_and_replaces_itself() {
    let r = recorded();
    let folder = r.dir.path().join("season");
    let added = add(&r, &folder, false).unwrap();
    assert_eq!((added.sessions, added.passes, added.pushes), (1, 6, 18));
    let first = files(&folder);
    let partition = "season=2025-2026/station=rink-a/date=2026-01-17";
    for table in ["passes", "pushes"] {
        let parts: Vec<_> = first.keys().filter(|p| p.starts_with(table)).collect();
        assert_eq!(parts.len(), 1);
        assert!(
            parts[0].starts_with(Path::new(table).join(partition)),
            "{parts:?}"
        );
    }
    add(&r, &folder, false).unwrap();
    assert_eq!(files(&folder), first, "the same bytes");

    // Called otherwise, it is there once all the same.
    let request = DatasetRequest {
        sessions: vec![r.session],
        folder: folder.clone(),
        station: "rink-b".to_owned(),
        names: false,
    };
    add_to_dataset(&r.archive, &request, &AtomicBool::new(false)).unwrap();
    let moved = files(&folder);
    assert_eq!(moved.len(), first.len());
    assert!(
        moved
            .keys()
            .all(|p| !p.to_string_lossy().contains("rink-a"))
    );
}

#[test]
fn rows_say_what_the_store_says() {
    let r = recorded();
    let folder = r.dir.path().join("season");
    add(&r, &folder, false).unwrap();
    let stored = r.archive.load_session(r.session).unwrap();
    let pushes = rows(&folder, "pushes");
    let wanted = stored.passes.iter().flat_map(|pass| {
        let numbers = 1i64..;
        pass.pass
            .pushes
            .iter()
            .zip(numbers)
            .map(|(push, n)| (pass.number, n, push))
    });
    let mut seen = 0;
    for (row, (pass, n, push)) in pushes.iter().zip(wanted) {
        assert_eq!(row["pass"], Field::Long(i64::from(pass)));
        assert_eq!(row["push"], Field::Long(n));
        assert_eq!(row["flagged"], Field::Bool(!push.flags.is_empty()));
        let measure = &push.measures[kickplate::rules::RuleId::KneeBend];
        // Two decimals, as in an export.
        let rounded = measure.value.map(|v| (v * 100.0).round() / 100.0);
        assert_eq!(
            row["glide_knee_included_deg"],
            rounded.map_or(Field::Null, Field::Double)
        );
        // A code, not a sentence of some language.
        let gap = &push.measures[kickplate::rules::RuleId::RecoveryGap];
        let why = gap.not_judged.map(|why| why.code().to_owned());
        assert_eq!(text(row, "heel_gap_reason"), why.or(Some(gap.how.clone())));
        seen += 1;
    }
    assert_eq!((seen, pushes.len()), (18, 18));
    let passes = rows(&folder, "passes");
    assert!(
        passes
            .iter()
            .all(|row| text(row, "subject").as_deref() == Some("people"))
    );
    assert!(
        passes
            .iter()
            .all(|row| row["camera_height_m"] == Field::Double(1.4))
    );
}

#[test]
fn nothing_personal_is_in_it_and_names_only_where_they_may_be() {
    let r = recorded();
    let folder = r.dir.path().join("season");
    add(&r, &folder, false).unwrap();
    let holds = |folder: &Path, words: &[&str]| {
        files(folder)
            .into_iter()
            .flat_map(|(path, bytes)| [path.to_string_lossy().into_owned().into_bytes(), bytes])
            .flat_map(|bytes| {
                let there = |w: &&&str| bytes.windows(w.len()).any(|b| b == w.as_bytes());
                words
                    .iter()
                    .filter(there)
                    .map(|w| (*w).to_owned())
                    .collect::<Vec<_>>()
            })
            .collect::<Vec<String>>()
    };
    let personal = [
        "Robin",
        "B4711",
        "Näher",
        "B4712",
        "Sascha",
        "tyre drill",
        "filmed-by-kim",
        NEVER,
    ];
    assert_eq!(holds(&folder, &personal), [] as [&str; 0]);
    // One key a skater, the same in both tables.
    let keys = |table| {
        let mut keys: Vec<_> = rows(&folder, table)
            .iter()
            .map(|r| text(r, "skater_key").unwrap())
            .collect();
        keys.sort();
        keys.dedup();
        keys
    };
    assert_eq!(keys("pushes").len(), 3);
    assert_eq!(keys("pushes"), keys("passes"));

    let named = r.dir.path().join("named");
    let added = add(&r, &named, true).unwrap();
    assert_eq!(added.nameless, 1, "Sascha gave no consent");
    assert!(!holds(&named, &["Robin"]).is_empty());
    assert_eq!(
        holds(&named, &["B4711", "Sascha", "tyre drill", NEVER]),
        [] as [&str; 0]
    );
    // Nobody can put two datasets side by side.
    let here = keys("passes");
    let others = rows(&named, "passes");
    assert!(
        others
            .iter()
            .all(|r| !here.contains(&text(r, "skater_key").unwrap()))
    );
}

#[test]
fn a_deleted_skater_is_deleted_in_the_dataset_as_well() {
    let r = recorded();
    let folder = r.dir.path().join("season");
    add(&r, &folder, false).unwrap();
    let robin = r.archive.load_session(r.session).unwrap().passes[0].skater;
    assert_eq!(robin, Some(r.robin));
    let of = |table| {
        rows(&folder, table)
            .into_iter()
            .filter(|row| row["pass"] == Field::Long(1))
    };
    let key = text(&of("passes").next().unwrap(), "skater_key").unwrap();
    let others: Vec<Row> = rows(&folder, "pushes")
        .into_iter()
        .filter(|row| text(row, "skater_key") != Some(key.clone()))
        .collect();
    assert!(
        settle_deletions(&r.archive).unwrap().is_empty(),
        "nothing is owed"
    );

    // The disk is elsewhere when the skater is deleted.
    let away = r.dir.path().join("away");
    fs::rename(&folder, &away).unwrap();
    r.archive.delete_skater(r.robin).unwrap();
    let settled = settle_deletions(&r.archive).unwrap();
    assert_eq!(settled.len(), 1);
    assert_eq!(
        (&settled[0].place, settled[0].outcome.is_err()),
        (&folder, true)
    );
    fs::rename(&away, &folder).unwrap();

    let settled = settle_deletions(&r.archive).unwrap();
    // Three passes of three pushes.
    assert_eq!(settled[0].outcome, Ok(3 + 9));
    assert_eq!(rows(&folder, "passes").len(), 3);
    assert_eq!(rows(&folder, "pushes"), others);
    let bytes = files(&folder).into_values().flatten().collect::<Vec<u8>>();
    assert!(!bytes.windows(key.len()).any(|b| b == key.as_bytes()));
    assert!(
        settle_deletions(&r.archive).unwrap().is_empty(),
        "done once"
    );
}

#[test]
fn what_is_owed_is_done_when_sessions_are_added_wherever_the_dataset_is_then() {
    let r = recorded();
    let folder = r.dir.path().join("season");
    add(&r, &folder, false).unwrap();
    let moved = r.dir.path().join("moved");
    fs::rename(&folder, &moved).unwrap();
    r.archive.delete_skater(r.robin).unwrap();
    let added = add(&r, &moved, false).unwrap();
    assert_eq!((added.deleted_rows, added.passes), (12, 3));
    assert_eq!(r.archive.datasets().unwrap()[0].place, moved);
}

#[test]
fn what_is_no_dataset_for_this_program_is_refused_and_left_alone() {
    let r = recorded();
    let other = r.dir.path().join("photos");
    fs::create_dir(&other).unwrap();
    fs::write(other.join("cat.jpg"), "x").unwrap();
    let said = refusal(add(&r, &other, false));
    assert!(said.contains("is no dataset of Kickplate"), "{said}");
    assert_eq!(files(&other).len(), 1);

    let folder = r.dir.path().join("season");
    add(&r, &folder, false).unwrap();
    let said = refusal(add(&r, &folder, true));
    assert!(said.contains("kept without names"), "{said}");

    let about = fs::read_to_string(folder.join("dataset.json")).unwrap();
    let newer = about.replace("_version\": 1", "_version\": 2");
    assert_ne!(newer, about);
    fs::write(folder.join("dataset.json"), newer).unwrap();
    let before = files(&folder);
    let said = refusal(add(&r, &folder, false));
    assert!(said.contains("made by a newer Kickplate"), "{said}");
    assert_eq!(files(&folder), before);
    fs::write(folder.join("dataset.json"), &about).unwrap();

    // Somebody else's file among the parts: it is named, and what is owed stays owed.
    let foreign = folder.join("pushes/foreign.parquet");
    fs::write(&foreign, "PAR1").unwrap();
    r.archive.delete_skater(r.robin).unwrap();
    let settled = settle_deletions(&r.archive).unwrap();
    let why = settled[0].outcome.as_ref().unwrap_err();
    assert!(why.contains("foreign.parquet"), "{why}");
    fs::remove_file(&foreign).unwrap();
    assert!(settle_deletions(&r.archive).unwrap()[0].outcome.is_ok());
}

#[test]
fn the_data_dictionary_names_every_column() {
    let r = recorded();
    let folder = r.dir.path().join("season");
    add(&r, &folder, false).unwrap();
    let docs =
        fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/dataset.md")).unwrap();
    for table in ["passes", "pushes"] {
        for column in rows(&folder, table)[0].keys() {
            // Of a rule or quantity each column is described once, by its ending.
            let of_measure = ["_reason", "_judged", "_flagged", "_verdict"]
                .iter()
                .any(|e| column.ends_with(e))
                || ["_uncertainty_", "_at_least_", "_at_most_", "_dead_band_"]
                    .iter()
                    .any(|e| column.contains(e));
            let named = docs.contains(&format!("`{column}`"));
            assert!(
                named || of_measure,
                "{table}: {column} is not in docs/dataset.md"
            );
        }
    }
}
