//! `kickplate review FOLDER`: the same files as from one recording at a time, one table,
//! and a second start that does only what is not done.

use std::path::Path;
use std::process::{Command, Output};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn review(what: &Path, lane: &Path, out: &Path) -> Output {
    Command::new(env!("CARGO_BIN_EXE_kickplate"))
        .arg("review")
        .arg(what)
        .arg("--lane")
        .arg(lane)
        .arg("--out")
        .arg(out)
        .args(["--age-group", "adult"])
        .env("KICKPLATE_HOME", root())
        .output()
        .unwrap()
}

fn said(output: &Output) -> [String; 2] {
    [&output.stdout, &output.stderr].map(|b| String::from_utf8_lossy(b).into_owned())
}

#[test]
fn recordings_judged_at_once_give_the_files_they_give_alone() {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("evening");
    std::fs::create_dir(&folder).unwrap();
    let names = ["front-child", "side-faulty"];
    for name in names {
        for ending in ["mp4", "toml"] {
            let file = format!("{name}.{ending}");
            std::fs::copy(root().join("demo").join(&file), folder.join(&file)).unwrap();
        }
    }
    std::fs::write(folder.join("torn.mp4"), "no video").unwrap();
    let lane = root().join("config/lane-side.toml");
    let all = dir.path().join("all");
    let output = review(&folder, &lane, &all);
    let [table, wrong] = said(&output);
    // The one that cannot be read is named, and the others are judged all the same.
    assert_eq!(output.status.code(), Some(1), "{wrong}");
    assert!(
        wrong.contains("1 of 3 recordings could not be judged whole"),
        "{wrong}"
    );
    let line = |name: &str| {
        let line = table.lines().find(|l| l.starts_with(name));
        line.unwrap_or_else(|| panic!("{name}: {table}")).to_owned()
    };
    assert!(
        line("side-faulty.mp4").contains("trunk_lean (9)"),
        "{table}"
    );
    assert!(line("torn.mp4").ends_with("0"), "{table}");
    for name in names {
        let alone = dir.path().join(name);
        let video = folder.join(format!("{name}.mp4"));
        let output = review(&video, &video.with_extension("toml"), &alone);
        assert!(output.status.success(), "{:?}", said(&output));
        let read = |out: &Path| std::fs::read(out.join("session.json")).unwrap();
        assert_eq!(read(&all.join(name)), read(&alone), "{name}");
    }

    std::fs::remove_file(folder.join("torn.mp4")).unwrap();
    let file = all.join("side-faulty/session.json");
    let written = std::fs::metadata(&file).unwrap().modified().unwrap();
    let output = review(&folder, &lane, &all);
    let [again, wrong] = said(&output);
    assert!(output.status.success(), "{wrong}");
    assert_eq!(again.matches("was judged before").count(), 2, "{again}");
    assert!(again.contains(&line("side-faulty.mp4")), "{again}");
    assert_eq!(
        std::fs::metadata(&file).unwrap().modified().unwrap(),
        written
    );
}
