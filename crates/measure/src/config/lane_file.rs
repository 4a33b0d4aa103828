//! The lane file: its keys, and its way from text to a checked [`Lane`].

use std::path::Path;

use super::document::{Document, read_text};
use super::error::{ConfigError, Problem};
use super::key::{Absent, Key, Kind, wrapped_comment};
use super::lane::{Lane, Subject, Travel, View};
use super::lane_errors::{LANE_ERROR_KEYS, LaneErrors, UNSURE};

const VIEW: Key = Key {
    name: "view",
    kind: Kind::Choice(&["side", "front", "rear", "oblique"]),
    absent: Absent::Refused,
    example: "\"side\"",
    what: "From where the camera sees the skater: square to the line of travel, in front of it, behind it, or in between.",
};
const CAMERA_HEIGHT: Key = Key {
    name: "camera_height_m",
    kind: Kind::Number {
        low: 0.3,
        high: 6.0,
    },
    absent: Absent::Refused,
    example: "1.6",
    what: "Height of the lens above the ice, metres.",
};
const TILT: Key = Key {
    name: "tilt_deg",
    kind: Kind::Number {
        low: -30.0,
        high: 60.0,
    },
    absent: Absent::Refused,
    example: "5",
    what: "Tilt of the camera, degrees; positive looks down.",
};
const HFOV: Key = Key {
    name: "hfov_deg",
    kind: Kind::Number {
        low: 10.0,
        high: 150.0,
    },
    absent: Absent::Refused,
    example: "70",
    what: "Horizontal field of view of the camera, degrees; it stands in its data sheet. A diagonal field of view is a larger number.",
};
const ROLL: Key = Key {
    name: "roll_deg",
    kind: Kind::Number {
        low: -20.0,
        high: 20.0,
    },
    absent: Absent::Default("0"),
    example: "0",
    what: "Roll of the camera, degrees; positive is a picture turned clockwise, so that the horizon falls to the left.",
};
const LANE_DISTANCE: Key = Key {
    name: "lane_distance_m",
    kind: Kind::Number {
        low: 0.0,
        high: 40.0,
    },
    absent: Absent::Refused,
    example: "6",
    what: "Square distance from the lens to the line the skaters follow, metres; 0 when they skate straight at the camera or away from it.",
};
const TRAVEL: Key = Key {
    name: "travel",
    kind: Kind::Choice(&["left_to_right", "right_to_left", "toward", "away"]),
    absent: Absent::Refused,
    example: "\"left_to_right\"",
    what: "Which way the skaters go as the picture shows it. A front view needs toward, a rear view away, a side view one of the other two.",
};
const SKATER_HEIGHT: Key = Key {
    name: "skater_height_m",
    kind: Kind::Number {
        low: 0.8,
        high: 2.2,
    },
    absent: Absent::Refused,
    example: "1.60",
    what: "Stature of the skaters without skates, metres; it gives the picture its scale.",
};

const SUBJECT: Key = Key::with_default(
    "subject",
    Kind::Choice(&["people", "rendered"]),
    "\"people\"",
    "Who skates there. What was learned on rendered bodies shifts values only where this says rendered; never write that for people.",
);

/// Every key of a lane file, in the order of the reference.
pub const LANE_KEYS: [&Key; NUMBERS + UNSURE + 1] = {
    let [a, b, c, d, e, f, g, h, i] = OWN_KEYS;
    let [j, k, l, m, n, o, p] = LANE_ERROR_KEYS;
    [a, b, c, d, e, f, g, h, i, j, k, l, m, n, o, p]
};

/// Those of them that say how the camera stands and who skates.
const NUMBERS: usize = 9;
const OWN_KEYS: [&Key; NUMBERS] = [
    &VIEW,
    &CAMERA_HEIGHT,
    &TILT,
    &HFOV,
    &ROLL,
    &LANE_DISTANCE,
    &TRAVEL,
    &SKATER_HEIGHT,
    &SUBJECT,
];

impl Lane {
    /// Reads and checks a lane file.
    pub fn load(path: &Path) -> Result<Lane, ConfigError> {
        Lane::from_toml(&read_text(path)?, &path.display().to_string())
    }

    /// Checks the text of a lane file; `file_name` is the name faults are
    /// reported under.
    pub fn from_toml(text: &str, file_name: &str) -> Result<Lane, ConfigError> {
        let document = Document::parse(text, file_name)?;
        let root = document.root();
        root.only(&LANE_KEYS.map(|k| k.name))?;
        let view = root.declared_choice(&VIEW)?.and_then(|i| View::ALL.get(i));
        let travel = root
            .declared_choice(&TRAVEL)?
            .and_then(|i| Travel::ALL.get(i));
        let (Some(&view), Some(&travel)) = (view, travel) else {
            return Err(root.conflict("view", "view and travel have to be given".to_owned()));
        };
        check_travel(view, travel).map_err(|sentence| root.conflict("travel", sentence))?;
        let subject = root.declared_choice(&SUBJECT)?;
        Ok(Lane {
            view,
            camera_height_m: root.declared_number(&CAMERA_HEIGHT)?,
            tilt_deg: root.declared_number(&TILT)?,
            hfov_deg: root.declared_number(&HFOV)?,
            roll_deg: root.declared_number(&ROLL)?,
            lane_distance_m: root.declared_number(&LANE_DISTANCE)?,
            travel,
            skater_height_m: root.declared_number(&SKATER_HEIGHT)?,
            subject: subject
                .and_then(|i| Subject::ALL.get(i).copied())
                .unwrap_or_default(),
            errors: LaneErrors::from_section(&root)?,
            checked: None,
        }
        .with_errors_told())
    }

    /// The lane as the text of a lane file, which [`Lane::from_toml`] reads
    /// back; `head` comes first as a comment.
    pub fn to_toml(&self, head: &str) -> String {
        let mut out = wrapped_comment(head);
        let short = |v: f64| format!("{}", (v * 1e4).round() / 1e4);
        let values = [
            format!("\"{}\"", self.view.name()),
            short(self.camera_height_m),
            short(self.tilt_deg),
            short(self.hfov_deg),
            short(self.roll_deg),
            short(self.lane_distance_m),
            format!("\"{}\"", self.travel.name()),
            short(self.skater_height_m),
            format!("\"{}\"", self.subject.name()),
        ];
        let values = OWN_KEYS.into_iter().zip(values);
        for (key, value) in values.chain(self.errors.written()) {
            out += &format!("\n{}{} = {value}\n", wrapped_comment(key.what), key.name);
        }
        out
    }

    /// The same lane seen as another view, as the command line may ask.
    /// Fails where the direction of travel contradicts that view;
    /// `file_name` is the lane file the direction stands in.
    pub fn seen_as(mut self, view: View, file_name: &str) -> Result<Lane, ConfigError> {
        check_travel(view, self.travel).map_err(|sentence| ConfigError {
            file: file_name.to_owned(),
            line: None,
            problem: Box::new(Problem::Conflict(sentence)),
        })?;
        self.view = view;
        Ok(self)
    }
}

/// A view fixes which ways a skater can go in it.
fn check_travel(view: View, travel: Travel) -> Result<(), String> {
    let fitting: &[Travel] = match view {
        View::Front => &[Travel::Toward],
        View::Rear => &[Travel::Away],
        View::Side => &[Travel::LeftToRight, Travel::RightToLeft],
        View::Oblique => &Travel::ALL,
    };
    if fitting.contains(&travel) {
        return Ok(());
    }
    let wanted: Vec<String> = fitting
        .iter()
        .map(|t| format!("travel = \"{}\"", t.name()))
        .collect();
    Err(format!(
        "view = \"{}\" and travel = \"{}\" contradict each other; a {} view needs {}",
        view.name(),
        travel.name(),
        view.name(),
        wanted.join(" or ")
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The keys list the choices as literals; the types are the truth.
    #[test]
    fn the_choices_of_the_keys_are_the_names_of_the_types() {
        let words = |key: &Key| match key.kind {
            Kind::Choice(words) => words.to_vec(),
            _ => panic!("{} is no choice", key.name),
        };
        assert_eq!(words(&VIEW), View::ALL.map(View::name));
        assert_eq!(words(&TRAVEL), Travel::ALL.map(Travel::name));
        assert_eq!(words(&SUBJECT), Subject::ALL.map(Subject::name));
        assert_eq!(Subject::ALL[0], Subject::default());
        for v in View::ALL {
            assert_eq!(
                serde_json::to_value(v).unwrap(),
                serde_json::json!(v.name())
            );
        }
        for t in Travel::ALL {
            assert_eq!(
                serde_json::to_value(t).unwrap(),
                serde_json::json!(t.name())
            );
        }
    }

    /// A file that does not say it is about people; a record that does not say it was
    /// made when everybody was shifted as rendered.
    #[test]
    fn who_is_not_named_is_a_person_in_files_and_was_shifted_in_old_records() {
        let text = "view = \"rear\"\ncamera_height_m = 1.2\ntilt_deg = 2\nhfov_deg = 62\nlane_distance_m = 0\ntravel = \"away\"\nskater_height_m = 1.5\n";
        let lane = Lane::from_toml(text, "x").unwrap();
        assert_eq!(lane.subject, Subject::People);
        let mut record = serde_json::to_value(&lane).unwrap();
        assert_eq!(record["subject"], "people");
        record.as_object_mut().unwrap().remove("subject");
        let old: Lane = serde_json::from_value(record).unwrap();
        assert_eq!(old.subject, Subject::Rendered);
        let wrong = Lane::from_toml(&format!("{text}subject = \"puppet\"\n"), "x");
        assert!(wrong.unwrap_err().to_string().contains("people"));
    }

    #[test]
    fn what_is_written_is_read_back() {
        let lane = Lane {
            view: View::Oblique,
            camera_height_m: 1.45,
            tilt_deg: -2.5,
            hfov_deg: 71.25,
            roll_deg: 0.0,
            lane_distance_m: 6.3333,
            travel: Travel::Away,
            skater_height_m: 1.6,
            subject: Subject::Rendered,
            errors: LaneErrors::default(),
            checked: None,
        };
        let text = lane.to_toml("Made for this test.");
        assert_eq!(Lane::from_toml(&text, "x"), Ok(lane));
        assert!(text.starts_with("# Made for this test.\n"));
    }

    #[test]
    fn each_view_takes_only_the_travel_it_can_show() {
        use Travel::{Away, LeftToRight, RightToLeft, Toward};
        let fits = |v, t| check_travel(v, t).is_ok();
        for (view, good) in [
            (View::Side, vec![LeftToRight, RightToLeft]),
            (View::Front, vec![Toward]),
            (View::Rear, vec![Away]),
            (View::Oblique, vec![LeftToRight, RightToLeft, Toward, Away]),
        ] {
            for travel in Travel::ALL {
                assert_eq!(
                    fits(view, travel),
                    good.contains(&travel),
                    "{view:?} {travel:?}"
                );
            }
        }
    }
}
