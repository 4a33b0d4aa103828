//! A whole evening at the rink, pressed at the real panel in front of the real station: an
//! empty folder, the set-up, eight skaters, three sets, a wrong name mended, a limit changed, a
//! push looked at, the end, the export, one child deleted. What is asserted is what is stored.

#![allow(missing_docs, reason = "shared by a test and an example")]
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]
#![allow(
    dead_code,
    reason = "the test and the example use their own part of it"
)]

mod hand;
pub mod rink;

use std::path::{Path, PathBuf};
use std::sync::Arc;

pub use hand::{Counted, Glass, Way};
pub use rink::Clip;

use hand::Hand;
use kickplate::config::View;
use kickplate::geometry::Camera;
use kickplate::panel::PageId;
use kickplate::roster::SkaterId;
use kickplate::rules::{AgeGroup, RuleId};
use kickplate::store::{Archive, StoredSession};
use rink::Rink;

/// Made-up names that stand nowhere else in the folder.
const NAMES: [&str; 8] = [
    "Abrinko", "Bexolu", "Cyvanda", "Dorrimak", "Elquist", "Fanzibo", "Gwelmira", "Hotavik",
];
/// Whose pictures may be kept, and who is deleted in the end.
const CONSENTING: [usize; 2] = [0, 5];
const DELETED: usize = 5;
/// Where a handle lies before it is moved, shares of the frame.
const FOOT: [f64; 2] = [0.5, 0.75];
const TOP: [f64; 2] = [0.5, 0.45];
const LINE: [[f64; 2]; 2] = [[0.2, 0.85], [0.8, 0.85]];
/// The size of the frames of the clip.
const FRAME_PX: [u32; 2] = [1280, 720];

/// One evening: how it is pressed, on which screen, in which language, and where the pictures go.
pub struct Evening {
    pub way: Way,
    pub glass: Glass,
    pub language: &'static str,
    pub film: Option<PathBuf>,
}

struct Walk {
    rink: Rink,
    hand: Hand,
    ids: Vec<SkaterId>,
}

/// Walks through the evening and gives what the hand did.
pub fn walk(clip: &Arc<Clip>, evening: &Evening) -> Counted {
    let rink = Rink::start(Arc::clone(clip), evening.language);
    let hand = Hand::new(
        evening.way,
        evening.glass,
        rink.desk.clone(),
        rink.panel.clone(),
        evening.film.clone(),
    );
    let mut w = Walk {
        rink,
        hand,
        ids: vec![],
    };
    w.hand.picture("nobody-yet");
    w.set_up(clip);
    w.skaters();
    let first_limit = w.limit();
    w.first_set();
    w.set_with_a_wrong_name();
    let limit = w.change_the_limit(first_limit);
    w.third_set();
    w.stored_as_skated(first_limit, limit);
    w.look_at_a_push();
    w.end();
    w.export();
    w.delete_one();
    let Walk { rink, hand, .. } = w;
    let counted = hand.counted;
    drop(hand);
    rink.end();
    counted
}

impl Walk {
    fn set_up(&mut self, clip: &Clip) {
        let truth = &clip.lane;
        let camera = Camera::of_lane(truth, FRAME_PX[0], FRAME_PX[1]);
        let far_m = truth.lane_distance_m;
        let hand = &mut self.hand;
        hand.open(PageId::SetUp);
        hand.picture("set-up-place");
        hand.press("set_up.after");
        hand.press("view.side");
        hand.press("travel.left_to_right");
        hand.press("set_up.check");
        hand.picture("set-up-camera");
        hand.press("set_up.after");
        let put = |hand: &mut Hand, handle: &str, start: [f64; 2], place_m: [f64; 3]| {
            let at = camera.project(place_m).unwrap();
            let by = std::array::from_fn(|i| at[i] - start[i] * f64::from(FRAME_PX[i]));
            hand.drag(handle, by, FRAME_PX);
        };
        put(hand, "mark.line_one", LINE[0], [-2.4, far_m, 0.0]);
        put(hand, "mark.line_other", LINE[1], [2.4, far_m, 0.0]);
        hand.picture("set-up-line");
        hand.press("set_up.after");
        for (thing, size_m, [x, y]) in [
            ("kind.stick", 1.5, [-1.6, far_m - 0.9]),
            (
                "kind.skater",
                self.rink.settings.load().source.lane.skater_height_m,
                [1.7, far_m + 2.5],
            ),
        ] {
            hand.press(thing);
            put(hand, "mark.foot", FOOT, [x, y, 0.0]);
            put(hand, "mark.top", TOP, [x, y, size_m]);
        }
        hand.picture("set-up-marks");
        hand.press("set_up.find_scale");
        let good = hand.word("scale.good");
        assert!(hand.shows(&good), "no good scale");
        hand.picture("set-up-scale");
        hand.press("set_up.after");
        hand.picture("set-up-name");
        hand.press("set_up.save");
        self.rink.follow_settings();
        let lane = self.rink.settings.load().source.lane.clone();
        assert_eq!(lane.view, View::Side);
        let off_m = (lane.lane_distance_m - far_m).abs();
        assert!(
            off_m < 0.06 * far_m,
            "{} m, {far_m} m",
            lane.lane_distance_m
        );
        self.hand.picture("set-up-waits");
        // Nobody is on the roster yet: this pass is nobody's.
        assert_eq!(self.rink.pass().skater, None);
        self.rink.all_listed();
        self.hand.settle();
        let seen = self.hand.words.say("test.seen", &[("n", "1")]);
        assert!(self.hand.shows(&seen));
        self.hand.picture("set-up-seen");
        self.hand.press("set_up.done");
        assert_eq!(self.hand.page(), PageId::Now);
        self.hand.picture("now-without-skaters");
    }

    fn skaters(&mut self) {
        let hand = &mut self.hand;
        hand.open(PageId::Skaters);
        hand.picture("skaters-none");
        for (i, name) in NAMES.iter().enumerate() {
            hand.press("skaters.add");
            hand.write("skaters.name", name);
            hand.write("skaters.bib", &(i + 1).to_string());
            if i == 0 {
                hand.picture("skater-new");
            }
            hand.press("skaters.save");
        }
        let view = self.rink.desk.view();
        let id_of = |name: &&str| view.roster.iter().find(|s| s.name == **name).unwrap().id;
        self.ids = NAMES.iter().map(id_of).collect();
        assert_eq!(view.roster.len(), 8);
        for i in CONSENTING {
            hand.press_named(&label(i));
            hand.write("skaters.consent_by", "Kim");
            hand.press("skaters.consent_set");
            // Consent alone keeps nothing: the panel says what is still missing.
            let no_use = hand.word("skaters.consent_no_use");
            assert!(hand.shows(&no_use));
            if i == 0 {
                hand.picture("skater-consent");
            }
            hand.press("list.close");
        }
        hand.picture("skaters-eight");
        hand.press("skaters.order");
        hand.press("order.everybody");
        hand.picture("order");
        hand.press("order.save");
        hand.open(PageId::Privacy);
        if !self.rink.desk.view().privacy.keep_pictures {
            hand.press("privacy.keep");
        }
        hand.picture("privacy");
        let view = self.rink.desk.view();
        assert!(view.privacy.keep_pictures);
        assert_eq!(view.queue.order, self.ids);
        assert_eq!(view.queue.current, Some(self.ids[0]));
        self.hand.open(PageId::Now);
        self.hand.picture("now-first-is-next");
    }

    /// The skater of that index passes, as the station believes.
    fn skates(&mut self, i: usize) {
        let judged = self.rink.pass();
        assert_eq!(judged.skater, Some(self.ids[i]), "{}", NAMES[i]);
    }

    fn first_set(&mut self) {
        self.rink.somebody_comes();
        self.rink
            .until("somebody passes", |v| v.live.somebody_passing);
        self.hand.picture("now-in-the-lane");
        let judged = self.rink.somebody_leaves();
        assert_eq!(judged.skater, Some(self.ids[0]));
        self.rink.all_listed();
        self.hand.picture("now-first-pass");
        for i in 1..8 {
            self.skates(i);
        }
        self.rink.all_listed();
        self.hand.picture("now-first-set");
    }

    /// Two changed places and nobody said so: the fourth skates as the third. It is mended, the
    /// third is sent, and the fourth is not waited for a second time.
    fn set_with_a_wrong_name(&mut self) {
        for i in 0..3 {
            self.skates(i);
        }
        self.rink.all_listed();
        self.hand.settle();
        self.hand.press("now.wrong");
        self.hand.picture("who-was-it");
        self.hand.press_named(&label(3));
        let view = self.rink.until("the pass is of the fourth", |v| {
            v.passes
                .first()
                .is_some_and(|p| p.skater == Some(self.ids[3]))
        });
        assert_eq!(view.queue.current, Some(self.ids[4]));
        self.hand.picture("now-mended");
        self.hand.press("now.choose");
        self.hand.picture("who-is-next");
        self.hand.press_named(&label(2));
        self.skates(2);
        self.rink.until("the fourth is next", |v| {
            v.queue.current == Some(self.ids[3])
        });
        self.hand.settle();
        self.hand.press("now.skip");
        for i in 4..8 {
            self.skates(i);
        }
        self.rink.all_listed();
        self.hand.picture("now-second-set");
    }

    fn group(&self) -> AgeGroup {
        self.rink.settings.load().age_group
    }

    /// The highest knee angle that is not flagged, degrees.
    fn limit(&self) -> f64 {
        let now = self.rink.settings.load();
        let limits = now.groups.thresholds(self.group()).limits[RuleId::KneeBend];
        limits.at_most.unwrap()
    }

    fn change_the_limit(&mut self, before_deg: f64) -> f64 {
        let hand = &mut self.hand;
        hand.open(PageId::Limits);
        hand.picture("limits");
        let less = format!(
            "{}: {}",
            hand.word("limits.at_most"),
            hand.word("number.less")
        );
        for _ in 0..3 {
            hand.press_named(&less);
        }
        hand.picture("limits-moved");
        assert_eq!(self.limit(), before_deg, "moved is not yet used");
        self.hand.press("limits.use");
        self.hand.picture("limits-used");
        assert_eq!(self.limit(), before_deg - 3.0);
        self.hand.open(PageId::Now);
        self.limit()
    }

    fn third_set(&mut self) {
        for i in 0..8 {
            self.skates(i);
        }
        self.rink.all_listed();
        self.hand.picture("now-third-set");
    }

    fn stored(&self) -> StoredSession {
        let archive = Archive::open(&self.rink.recordings()).unwrap();
        let sessions = archive.sessions().unwrap();
        archive
            .load_session(sessions.last().unwrap().id.number())
            .unwrap()
    }

    /// Each has three passes in the order they were skated; the limit changed with the third set.
    fn stored_as_skated(&self, first_deg: f64, then_deg: f64) {
        let stored = self.stored();
        let whose: Vec<_> = stored.passes.iter().map(|p| p.skater).collect();
        let set = |order: [usize; 8]| order.map(|i| Some(self.ids[i]));
        let mut skated = vec![None];
        skated.extend(set([0, 1, 2, 3, 4, 5, 6, 7]));
        skated.extend(set([0, 1, 3, 2, 4, 5, 6, 7]));
        skated.extend(set([0, 1, 2, 3, 4, 5, 6, 7]));
        assert_eq!(whose, skated);
        let limits = stored
            .passes
            .iter()
            .map(|p| p.pass.thresholds.limits[RuleId::KneeBend].at_most.unwrap());
        let expected = (1..=25).map(|n| if n <= 17 { first_deg } else { then_deg });
        assert!(limits.eq(expected));
        assert!(stored.passes.iter().all(|p| !p.pass.pushes.is_empty()));
    }

    fn look_at_a_push(&mut self) {
        self.hand.open(PageId::Passes);
        self.hand.picture("passes");
        let view = self.rink.desk.view();
        let newest = view.passes.first().unwrap();
        let flagged = newest
            .pushes
            .iter()
            .position(|p| !p.judged.flags.is_empty());
        let at = flagged.expect("the skater with faults has a flagged push");
        let parts = [
            ("pass", newest.key.number.to_string()),
            ("push", (at + 1).to_string()),
        ];
        let parts = parts.each_ref().map(|(k, v)| (*k, v.as_str()));
        let row = self.hand.words.say("passes.push", &parts);
        self.hand.press_named(&format!("{row},"));
        let view = self.rink.desk.view();
        let push = view.push.clone().expect("the push is open");
        assert_eq!(push.key.pass, newest.key);
        assert!(!push.curve.is_empty(), "its curve is there");
        self.hand.picture("push");
        self.hand.press("detail.back");
    }

    fn end(&mut self) {
        self.hand.open(PageId::Now);
        self.hand.press("now.more");
        self.hand.picture("now-more");
        self.hand.press("now.end");
        self.hand.picture("now-end");
        self.hand.press("now.end_yes");
        self.hand.picture("now-ended");
        let archive = Archive::open(&self.rink.recordings()).unwrap();
        let ended = || {
            archive
                .sessions()
                .unwrap()
                .last()
                .unwrap()
                .ended_at
                .is_some()
        };
        self.rink
            .until("the session is closed on the disk", |_| ended());
    }

    fn export(&mut self) {
        self.hand.press("now.to_export");
        self.hand.picture("export");
        self.hand.press("privacy.export_start");
        self.rink.until("the export is there", |v| {
            v.export.as_ref().is_some_and(|e| !e.running)
        });
        let view = self.rink.desk.view();
        assert!(view.answer.as_ref().unwrap().done, "{:?}", view.export);
        self.hand.picture("export-done");
        let pages = files(&self.rink.taken());
        let skaters = pages.iter().filter(|p| {
            p.parent().unwrap().ends_with("skaters")
                && p.file_name()
                    .unwrap()
                    .to_string_lossy()
                    .starts_with("skater-")
        });
        assert_eq!(skaters.count(), 8, "{pages:?}");
    }

    fn delete_one(&mut self) {
        let id = self.ids[DELETED];
        let name = NAMES[DELETED];
        let holds = |rink: &Rink| {
            let bytes = rink.bytes();
            let files = bytes
                .iter()
                .filter(|(_, b)| b.windows(name.len()).any(|w| w == name.as_bytes()));
            files.map(|(p, _)| p.clone()).collect::<Vec<_>>()
        };
        let count = |rink: &Rink, stored: &StoredSession| {
            let of = stored
                .passes
                .iter()
                .filter(|p| p.skater == Some(id))
                .count() as u32;
            let archive = Archive::open(&rink.recordings()).unwrap();
            (
                of,
                stored.passes.len() as u32,
                archive.usage().unwrap().strips,
            )
        };
        assert!(!holds(&self.rink).is_empty());
        self.hand.open(PageId::Skaters);
        self.hand.press_named(&label(DELETED));
        self.hand.press("skaters.delete");
        self.hand.picture("delete-sure");
        let before = count(&self.rink, &self.stored());
        let would = self.rink.desk.view().would_delete.unwrap();
        let said = self.hand.words.say(
            "skaters.delete_what",
            &[
                ("who", &label(DELETED)),
                ("passes", &would.passes.to_string()),
                ("strips", &would.strips.to_string()),
                ("comments", &would.comments.to_string()),
            ],
        );
        assert!(self.hand.shows(&said), "{said}");
        self.hand.press("skaters.delete_yes");
        self.hand.picture("deleted");
        let after = count(&self.rink, &self.stored());
        assert_eq!((before.0, after.0), (3, 0));
        assert!(
            would.strips > 0,
            "pictures of a child with consent were kept"
        );
        assert_eq!(would.passes, before.1 - after.1);
        assert_eq!(would.strips, before.2 - after.2);
        assert_eq!(
            holds(&self.rink),
            Vec::<PathBuf>::new(),
            "the name is still there"
        );
        let view = self.rink.desk.view();
        assert_eq!(view.roster.len(), 7);
        assert!(!view.queue.order.contains(&id));
        self.hand.open(PageId::Now);
        self.hand.picture("now-after");
    }
}

/// What the panel calls the skater of that index.
fn label(i: usize) -> String {
    format!("{} {}", i + 1, NAMES[i])
}

fn files(folder: &Path) -> Vec<PathBuf> {
    let mut all = vec![];
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            all.extend(files(&path));
        } else {
            all.push(path);
        }
    }
    all
}
