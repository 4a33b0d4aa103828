//! The report of a club held against DuckDB and Polars: `tests/golden/club.json`, made by
//! `tools/export/make_club_golden.py` from the dataset that these tests make anew. And
//! what is no dataset that it could tell of.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

use kickplate::config::View;
use kickplate::display::Language;
use kickplate::export::{
    ClubError, ClubFigures, ExportWords, FEWEST_SKATERS, Measured, club_figures, club_page,
};
use kickplate::rules::{AgeGroup, RuleId};
use serde::Deserialize;

use crate::club_common::club;

/// Group, column and date; values and skaters; the quartiles.
type OfDay = (String, String, String, usize, usize, f64, f64, f64);

#[derive(Deserialize)]
struct Golden {
    pushes: usize,
    rendered_passes: usize,
    months: Vec<(String, String, usize, usize, usize, usize)>,
    progress: Vec<OfDay>,
    rules: Vec<(String, usize, usize, usize, usize, usize)>,
    seen: Vec<(String, String, String, usize, usize)>,
    reasons: Vec<(String, String, String, usize)>,
}

fn golden() -> Golden {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/golden/club.json");
    serde_json::from_str(&fs::read_to_string(path).unwrap()).unwrap()
}

fn figures(dataset: &Path) -> Result<ClubFigures, ClubError> {
    club_figures(dataset, &AtomicBool::new(false))
}

/// The season that the golden file tells of.
fn season() -> (tempfile::TempDir, PathBuf) {
    seasons_first(10)
}

fn seasons_first(evenings: usize) -> (tempfile::TempDir, PathBuf) {
    let dir = tempfile::tempdir().unwrap();
    let dataset = dir.path().join("dataset");
    club(dir.path(), &dataset, evenings);
    (dir, dataset)
}

/// The rows of every table of a page, each as the texts of its cells.
fn rows_of(page: &str) -> Vec<Vec<String>> {
    let cells = |row: &str| {
        let cells = row.split("</td>").flat_map(|c| c.split("</th>"));
        let text = |cell: &str| {
            cell.rsplit_once('>')
                .map_or(cell, |(_, text)| text)
                .to_owned()
        };
        let mut cells: Vec<String> = cells.map(text).collect();
        cells.pop();
        cells
    };
    page.split("<tr>")
        .skip(1)
        .filter_map(|row| row.split_once("</tr>"))
        .map(|(row, _)| cells(row))
        .collect()
}

#[test]
fn every_figure_is_that_of_duckdb_and_polars_and_stands_on_the_page() {
    let (_dir, dataset) = season();
    let golden = golden();
    let told = figures(&dataset).unwrap();
    let page = club_page(&ExportWords::built_in(Language::En), &told);
    let rows = rows_of(&page);
    let on_page = |row: &[String]| rows.iter().any(|there| there == row);
    assert_eq!(
        (told.pushes, told.rendered_passes),
        (golden.pushes, golden.rendered_passes)
    );
    assert!(golden.rendered_passes > 20);
    assert!(page.contains(&format!("({})", golden.rendered_passes)));

    assert_eq!(told.months.len(), golden.months.len());
    for (month, station, sessions, passes, skaters, of_nobody) in golden.months {
        let here = &told.months[&(month.clone(), station.clone())];
        let counts = [sessions, passes, skaters, of_nobody];
        assert_eq!(
            [here.sessions, here.passes, here.skaters, here.of_nobody],
            counts,
            "{month} {station}"
        );
        let row = [month, station].into_iter();
        let row: Vec<String> = row.chain(counts.map(|n| n.to_string())).collect();
        assert!(on_page(&row), "{row:?}");
    }

    let mut days: BTreeMap<(String, String, String), _> = BTreeMap::new();
    for ((group, measured), of) in &told.progress {
        for day in of {
            let at = (group.name().to_owned(), measured.column().to_owned());
            days.insert((at.0, at.1, day.date.to_string()), (*measured, day));
        }
    }
    assert_eq!(days.len(), golden.progress.len());
    let (mut shown, mut hidden) = (0, 0);
    for (group, column, date, values, skaters, low, middle, high) in golden.progress {
        let (measured, day) = days[&(group.clone(), column.clone(), date.clone())];
        assert_eq!(
            (day.values, day.skaters),
            (values, skaters),
            "{column} {date}"
        );
        for (a, b) in day.quartiles.into_iter().zip([low, middle, high]) {
            assert!((a - b).abs() < 1e-9, "{group} {column} {date}: {a} for {b}");
        }
        // What is measured in degrees stands on the page with one decimal.
        if let (Measured::Rule(RuleId::KneeBend), [low, middle, high]) =
            (measured, day.quartiles.map(|v| format!("{v:.1}°")))
        {
            let row = [
                "Knees".to_owned(),
                date,
                middle,
                format!("{low} to {high}"),
                values.to_string(),
                skaters.to_string(),
            ];
            let enough = skaters >= FEWEST_SKATERS;
            assert_eq!(on_page(&row), enough, "{group} {row:?}");
            shown += usize::from(enough);
            hidden += usize::from(!enough);
        }
    }
    assert!(shown >= 10 && hidden >= 8, "{shown} {hidden}");

    for (column, judged, flagged, confirmed, dismissed, skaters) in golden.rules {
        let rule = of_column(&column);
        let here = &told.rules[rule];
        assert_eq!(
            (here.judged, here.flagged, here.confirmed, here.dismissed),
            (judged, flagged, confirmed, dismissed),
            "{column}"
        );
        assert_eq!(here.skaters, skaters.min(FEWEST_SKATERS), "{column}");
        let share = |n: usize, of: usize| {
            let percent = (100.0 * n as f64 / of as f64).round();
            format!("{n} of {of} ({percent}\u{a0}%)")
        };
        let spoken = confirmed + dismissed;
        let row = [
            ExportWords::built_in(Language::En)
                .name(rule.rule())
                .to_owned(),
            judged.to_string(),
            share(flagged, judged),
            share(confirmed, spoken),
            share(dismissed, spoken),
        ];
        assert!(on_page(&row), "{row:?}");
    }

    let place = |view: &str| View::from_name(view).unwrap();
    for (station, view, column, pushes, judged) in golden.seen {
        let seen = told.seen[&(station, place(&view))][of_column(&column)];
        assert_eq!((seen.pushes, seen.judged), (pushes, judged), "{column}");
        let cell = format!("{judged} of {pushes} (");
        let judges = of_column(&column)
            .rule()
            .views
            .iter()
            .any(|v| v.name() == view);
        let there = rows.iter().flatten().any(|c| c.starts_with(&cell));
        assert!(there || !judges, "{cell} {column}");
    }
    let reasons: BTreeMap<_, _> = told
        .reasons
        .iter()
        .flat_map(|((view, rule), reasons)| {
            reasons.iter().map(|(why, n)| {
                let view = view.name();
                ((view, rule.rule().measure, why.code()), *n)
            })
        })
        .collect();
    assert_eq!(reasons.len(), golden.reasons.len());
    for (view, column, why, n) in &golden.reasons {
        assert_eq!(reasons[&(view.as_str(), column.as_str(), why.as_str())], *n);
    }
}

fn of_column(column: &str) -> RuleId {
    let of = |rule: &&RuleId| rule.rule().measure == column;
    *RuleId::ALL.iter().find(of).unwrap()
}

#[test]
fn nobody_is_named_and_few_skaters_are_not_shown_in_either_language() {
    let (_dir, dataset) = seasons_first(2);
    let told = figures(&dataset).unwrap();
    // Three skaters at each station: on no day are they five.
    let u9 = told
        .progress
        .iter()
        .filter(|((group, _), _)| *group == AgeGroup::U9);
    let most = u9.flat_map(|(_, days)| days).map(|day| day.skaters).max();
    assert!(most.is_some_and(|n| n < FEWEST_SKATERS), "{most:?}");
    for (language, says) in [
        (Language::En, "fewer than 5 named skaters"),
        (Language::Fr, "moins de 5 patineurs nommés"),
    ] {
        let page = club_page(&ExportWords::built_in(language), &told);
        let of_u9: Vec<&str> = page
            .split("<h3>")
            .filter(|part| part.contains("U9</h3>"))
            .collect();
        // Its heading among the charts, and no place in the tables of numbers.
        assert_eq!(of_u9.len(), 1, "{language:?}");
        assert!(!of_u9[0].contains("<svg"), "{language:?}");
        assert!(of_u9[0].contains(says), "{language:?}");
        // A text without its words would stand there as its key.
        assert!(!page.contains("club."), "{language:?}");
        assert!(!page.contains("<script") && !page.contains("http"));
        for key in keys(&dataset) {
            assert!(!page.contains(&key));
        }
    }
}

/// Every skater's key, read with the Parquet library's own reader.
fn keys(dataset: &Path) -> Vec<String> {
    use parquet::file::reader::{FileReader, SerializedFileReader};
    use parquet::record::Field;
    let mut found = Vec::new();
    for part in parts(&dataset.join("passes")) {
        let reader = SerializedFileReader::new(fs::File::open(part).unwrap()).unwrap();
        for row in reader.get_row_iter(None).unwrap() {
            let row = row.unwrap();
            let key = row
                .get_column_iter()
                .find(|(name, _)| *name == "skater_key");
            if let Some((_, Field::Str(key))) = key {
                found.push(key.clone());
            }
        }
    }
    assert!(found.len() > 20);
    found
}

fn parts(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        match path.is_dir() {
            true => found.extend(parts(&path)),
            false => found.push(path),
        }
    }
    found.sort();
    found
}

#[test]
fn what_is_no_whole_dataset_ends_it_with_one_sentence_that_names_the_file() {
    let (dir, dataset) = seasons_first(1);
    let says = |wanted: &str, named: &str| {
        let said = figures(&dataset).unwrap_err().to_string();
        assert!(said.contains(wanted) && said.contains(named), "{said}");
        assert!(!said.contains('\n'), "{said}");
    };
    let elsewhere = figures(dir.path()).unwrap_err().to_string();
    assert!(elsewhere.contains("there is no dataset in"), "{elsewhere}");

    let part = parts(&dataset.join("pushes")).remove(0);
    let name = part.file_name().unwrap().to_str().unwrap();
    let whole = fs::read(&part).unwrap();
    // A disk that failed, a copy that was cut off, an empty file, something else.
    for bytes in [
        &whole[..whole.len() / 2],
        b"",
        b"PAR1 of somebody else PAR1",
    ] {
        fs::write(&part, bytes).unwrap();
        says("damaged or no whole Parquet file", name);
    }
    // Whole and of somebody else: a Parquet file of another table of ours has no notes.
    let table = kickplate_table::Table {
        columns: Vec::new(),
        rows: Vec::new(),
    };
    let other = kickplate_table::to_parquet(&table);
    if let Ok(other) = other {
        fs::write(&part, other).unwrap();
        says("is no part of a dataset of Kickplate", name);
    }
    fs::write(&part, &whole).unwrap();

    // The pushes of a session in the place of its passes.
    let passes = parts(&dataset.join("passes")).remove(0);
    let its = fs::read(&passes).unwrap();
    fs::write(&passes, &whole).unwrap();
    says("is no part of a dataset of Kickplate", name);
    fs::remove_file(&passes).unwrap();
    says("the passes of this session are missing", name);
    fs::write(&passes, &its).unwrap();

    // A copy that somebody made within the dataset would count twice.
    let copy = dataset.join("passes/season=2025-2026/station=rink-c/date=2025-11-07");
    fs::create_dir_all(&copy).unwrap();
    let copy = copy.join(passes.file_name().unwrap());
    fs::write(&copy, &its).unwrap();
    says("would count twice", "rink-c");
    fs::remove_file(&copy).unwrap();
    // A part at no place of a season.
    let astray = dataset.join("passes/season=2024-2025/station=rink-a/date=2025-11-07");
    fs::create_dir_all(&astray).unwrap();
    fs::write(astray.join("session-x.parquet"), &its).unwrap();
    says("is no part of a dataset", "session-x.parquet");
    fs::remove_file(astray.join("session-x.parquet")).unwrap();

    // What is unfinished is no part.
    fs::write(copy.with_file_name(".session-y.parquet"), b"PA").unwrap();
    assert_eq!(figures(&dataset).unwrap().sessions(), 2);

    let about = dataset.join("dataset.json");
    let text = fs::read_to_string(&about).unwrap();
    fs::write(&about, text.replace("_version\": 1", "_version\": 2")).unwrap();
    says("made by a newer Kickplate", "dataset");
    fs::write(&about, &text).unwrap();
    for table in ["passes", "pushes"] {
        fs::remove_dir_all(dataset.join(table)).unwrap();
    }
    says("is empty", "dataset");
}
