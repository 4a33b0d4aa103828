//! `kickplate rejudge` on a recorded clip: with the limits it was judged with nothing
//! changes, to the last bit; with others flags change and the rest does not.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;

use kickplate::capture::{self, SourceSpec};
use kickplate::config::{Lane, Subject};
use kickplate::feedback::FeedbackSettings;
use kickplate::rules::{AgeGroup, AgeGroups, RuleId};
use kickplate::station::{Analyser, EngineChoice, Judging, ModelChoice};
use kickplate::store::{
    Archive, NewPass, PassKey, PushKey, SessionInfo, SourceInfo, SourceKind, Store, StoredSession,
    Verdict,
};
use kickplate::track::TrackSettings;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// A resources folder with the shipped settings, and recordings below it.
struct Rink(tempfile::TempDir);

impl Rink {
    fn new() -> Self {
        let dir = tempfile::tempdir().unwrap();
        for room in ["models", "sounds"] {
            std::fs::create_dir(dir.path().join(room)).unwrap();
        }
        let config = dir.path().join("config");
        std::fs::create_dir(&config).unwrap();
        for name in ["age-groups.toml", "station.toml", "lane-side.toml"] {
            std::fs::copy(root().join("config").join(name), config.join(name)).unwrap();
        }
        Rink(dir)
    }

    fn recordings(&self) -> PathBuf {
        self.0.path().join("kickplate")
    }

    fn limits(&self, text: &str) {
        std::fs::write(self.0.path().join("config/age-groups.toml"), text).unwrap();
    }

    fn rejudge(&self, words: &[&str]) -> String {
        let output = Command::new(env!("CARGO_BIN_EXE_kickplate"))
            .arg("rejudge")
            .args(words)
            .env("KICKPLATE_HOME", self.0.path())
            .env("XDG_DATA_HOME", self.0.path())
            .output()
            .unwrap();
        let [said, wrong] = [output.stdout, output.stderr].map(|b| String::from_utf8(b).unwrap());
        assert!(output.status.success(), "{wrong}");
        said
    }
}

/// The clip of the demo with faults, recorded as the station records; as if of these.
fn record(folder: &Path, subject: Subject) -> i64 {
    let lane = Lane {
        subject,
        ..Lane::load(&root().join("demo/side-faulty.toml")).unwrap()
    };
    let judging = Judging {
        lane: lane.clone(),
        thresholds: AgeGroups::defaults().thresholds(AgeGroup::Adult),
        track: TrackSettings::default(),
        feedback: FeedbackSettings::default(),
    };
    let (model, engine) = (ModelChoice::Full, EngineChoice::Auto);
    let mut analyser = Analyser::new(root(), model, engine, judging).unwrap();
    let mut store = Store::open(folder).unwrap();
    let session = store
        .begin_session(&SessionInfo {
            source: SourceInfo {
                kind: SourceKind::Video,
                name: "side-faulty.mp4".to_owned(),
                width: 1280,
                height: 720,
                frames_per_second: None,
                frames: None,
            },
            lane,
            engine: analyser.engine_record(model),
            age_group: AgeGroup::Adult,
            started: "2026-01-17T18:05:00+01:00[Europe/Zurich]".parse().unwrap(),
        })
        .unwrap();
    let path = root().join("demo/side-faulty.mp4");
    let mut source = capture::open(&SourceSpec::File { path }).unwrap();
    let mut finished = Vec::new();
    while let Some(frame) = source.next_frame().unwrap() {
        finished.extend(analyser.push(&frame).unwrap().1);
        source.reuse(frame.rgb);
    }
    finished.extend(analyser.finish());
    for done in finished {
        let new = NewPass {
            points: Some(Arc::clone(&done.points)),
            lane: done.lane,
            ..(done.pass, done.cue).into()
        };
        store.write_pass(&session, &new).unwrap();
    }
    session.number()
}

fn flags(session: &StoredSession, rule: RuleId) -> usize {
    let pushes = session.passes.iter().flat_map(|p| &p.pass.pushes);
    pushes
        .flat_map(|p| &p.flags)
        .filter(|f| f.rule == rule)
        .count()
}

#[test]
fn a_recording_is_judged_anew_without_its_video() {
    let rink = Rink::new();
    let number = record(&rink.recordings(), Subject::Rendered);
    let archive = Archive::open(&rink.recordings()).unwrap();
    let key = PassKey {
        session: number,
        number: 1,
    };
    let push = PushKey {
        pass: key,
        position: 0,
    };
    archive.set_comment(&push, "after the break").unwrap();
    archive
        .set_verdict(&push, RuleId::KneeBend, Some(Verdict::Confirmed))
        .unwrap();
    let load = || archive.load_session(number).unwrap();
    let before = load();
    let knees = flags(&before, RuleId::KneeBend);
    assert!(knees > 0, "the clip has knees that are too straight");

    let n = before.passes.len();
    let said = rink.rejudge(&[]);
    assert!(
        said.starts_with(&format!(
            "{n} passes of 1 session judged anew: {n} from body points"
        )),
        "{said}"
    );
    assert!(said.ends_with("\nNothing changes.\n"), "{said}");

    // Only said.
    rink.limits("[adult.knee_bend]\nat_most_deg = 170\n");
    let said = rink.rejudge(&[]);
    assert!(
        said.contains(&format!("{n} passes would change; nothing was written.")),
        "{said}"
    );
    let line = said.lines().find(|l| l.starts_with("knee_bend")).unwrap();
    let numbers: Vec<String> = line.split_whitespace().skip(1).map(str::to_owned).collect();
    let knees_text = knees.to_string();
    assert_eq!(numbers, [&knees_text, "0", "0", &knees_text, "0", "0"]);
    assert_eq!(load(), before);

    // Written.
    let said = rink.rejudge(&["--apply"]);
    assert!(said.contains(&format!("{n} passes changed.")), "{said}");
    let after = load();
    assert_eq!(after.damaged, [] as [u32; 0]);
    assert_eq!(flags(&after, RuleId::KneeBend), 0);
    for (old, new) in before.passes.iter().zip(&after.passes) {
        assert_eq!((&new.cue, &new.notes), (&old.cue, &old.notes));
        for (old, new) in old.pass.pushes.iter().zip(&new.pass.pushes) {
            assert_eq!(old.measures, new.measures);
        }
    }
    let (old, new) = (&before.passes[0], &after.passes[0]);
    assert_eq!(
        new.pass.thresholds.limits[RuleId::KneeBend].at_most,
        Some(170.0)
    );
    let earlier = archive.earlier_judgements(key).unwrap();
    assert_eq!(earlier.len(), 1);
    assert_eq!(earlier[0].basis, "points");
    let text = earlier[0].content.to_string();
    let of_pass = old.pass.pushes.iter().flat_map(|p| &p.flags);
    let knees = of_pass.filter(|f| f.rule == RuleId::KneeBend).count();
    assert_eq!(
        text.matches(r#""rule":"knee_bend""#).count(),
        knees,
        "{text}"
    );
    assert!(rink.rejudge(&["--apply"]).ends_with("\nNothing changes.\n"));

    // And back: as if nothing had been, but for the record of it.
    std::fs::copy(
        root().join("config/age-groups.toml"),
        rink.0.path().join("config/age-groups.toml"),
    )
    .unwrap();
    rink.rejudge(&["--apply"]);
    assert_eq!(load(), before);
    assert_eq!(archive.earlier_judgements(key).unwrap().len(), 2);
}

/// A session of people from before the errors of the lane were carried says nothing of them.
/// They are put to its doubts once.
#[test]
fn the_errors_of_an_old_lane_are_added_once() {
    let rink = Rink::new();
    let number = record(&rink.recordings(), Subject::People);
    let archive = Archive::open(&rink.recordings()).unwrap();
    let load = || archive.load_session(number).unwrap();
    assert!(load().info.lane.errors.is_empty());
    let said = rink.rejudge(&["--apply"]);
    assert!(said.contains("passes changed."), "{said}");
    let once = load();
    let said = rink.rejudge(&["--apply"]);
    assert!(said.ends_with("\nNothing changes.\n"), "{said}");
    assert_eq!(load(), once);
}
