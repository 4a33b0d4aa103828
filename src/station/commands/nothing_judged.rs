//! Why nothing of a recording could be judged, and what to change.

use crate::capture::SourceInfo;
use crate::config::{Lane, Travel};
use crate::pose::PoseCounters;
use crate::rules::{JudgedPass, NotJudged, PICTURES_NEEDED};
use crate::track::Tally;
use crate::words::{Catalogue, Language};

/// What was seen of a recording.
#[derive(Debug, Clone, Default)]
pub struct Looked {
    /// Pictures looked at.
    frames: u64,
    /// Times of the first and the last of them, seconds.
    span_s: Option<[f64; 2]>,
    /// Whether anything was judged.
    judged: bool,
    /// Passes.
    passes: u32,
    /// Why rules of the view were not judged, and how often.
    reasons: Vec<(NotJudged, u32)>,
}

/// What there is to say where nothing was judged.
#[derive(Debug, PartialEq, Eq)]
pub enum Nothing {
    /// Somebody skated, and why it was not judged.
    Skated(String),
    /// Nobody skated.
    Empty(String),
}

/// Detector runs in vain from which on something was there all along.
const MANY_LOOKS: u64 = 12;

impl Looked {
    /// Pictures were looked at, the first and the last of them taken at these times, seconds.
    pub fn frames(&mut self, more: u64, span_s: Option<[f64; 2]>) {
        self.frames += more;
        if let Some([first_s, last_s]) = span_s {
            let first_s = self.span_s.map_or(first_s, |[first_s, _]| first_s);
            self.span_s = Some([first_s, last_s]);
        }
    }

    /// Times of the first and the last picture, seconds.
    pub fn span_s(&self) -> Option<[f64; 2]> {
        self.span_s
    }

    /// A pass was judged as far as it could be.
    pub fn pass(&mut self, pass: &JudgedPass) {
        self.passes += 1;
        let measures = pass.pushes.iter().flat_map(|push| push.measures.iter());
        for (rule, measure) in measures {
            if !rule.rule().views.contains(&pass.view) {
                continue;
            }
            let Some(why) = measure.not_judged else {
                self.judged = true;
                continue;
            };
            match self.reasons.iter_mut().find(|(known, _)| *known == why) {
                Some((_, n)) => *n += 1,
                None => self.reasons.push((why, 1)),
            }
        }
    }

    /// Pictures a second.
    fn rate(&self) -> Option<f64> {
        let [first_s, last_s] = self.span_s?;
        let steps = self.frames.checked_sub(1)? as f64;
        (last_s > first_s).then(|| steps / (last_s - first_s))
    }

    /// What was seen and what to change; `None` where something was judged. `least_mps` is
    /// what counts as a pass, metres a second.
    pub fn nothing(
        &self,
        tally: Tally,
        counters: PoseCounters,
        (lane, least_mps): (&Lane, f64),
        source: &SourceInfo,
    ) -> Option<Nothing> {
        if self.judged {
            return None;
        }
        let slow = self.rate().filter(|rate| *rate < PICTURES_NEEDED);
        let too_slow = |rate: f64| {
            format!(
                "it has {rate:.0} pictures a second, and {PICTURES_NEEDED:.0} at least are needed: record with 30"
            )
        };
        if self.passes > 0 {
            let most = self.reasons.iter().max_by_key(|(_, n)| *n);
            let why = match (slow, most) {
                (Some(rate), _) => too_slow(rate),
                (None, Some((why, _))) => {
                    let words = Catalogue::built_in(Language::En);
                    format!("{}{}", words.reason(*why), remedy(*why))
                }
                (None, None) => {
                    "no push was seen whole: the camera has to see two strides".to_owned()
                }
            };
            return Some(Nothing::Skated(format!(
                "{} seen and nothing of it could be judged: {why}",
                were(self.passes, "pass", "passes")
            )));
        }
        if tally.other_way > 0 {
            let (seen, said) = directions(lane.travel);
            return Some(Nothing::Skated(format!(
                "{} seen skating {seen}; the lane file says {said}: change 'travel' in it",
                were(tally.other_way, "person", "people")
            )));
        }
        if tally.too_slow > 0 {
            return Some(Nothing::Skated(format!(
                "{} seen skating by at {:.1} metres a second or less, and from {least_mps:.1} on it is a pass: lower \
                 'min_pass_speed_mps' in station.toml",
                were(tally.too_slow, "person", "people"),
                f64::from(tally.fastest_slow_cmps) / 100.0
            )));
        }
        if tally.do_not_fit > 0 {
            return Some(Nothing::Skated(format!(
                "{} seen moving through the picture where, by the lane file, nobody can skate: check its view, \
                 lane_distance_m, camera_height_m, tilt_deg, hfov_deg and skater_height_m{}",
                were(tally.do_not_fit, "person", "people"),
                slow.map_or(String::new(), |rate| format!("; also {}", too_slow(rate)))
            )));
        }
        if counters.chains == 0 && counters.detector_runs >= MANY_LOOKS {
            let shape = if source.height > source.width {
                "; the picture is higher than wide: record with the camera level"
            } else {
                ": is it sideways or upside down, or are the skaters smaller than an eighth of its height?"
            };
            return Some(Nothing::Skated(format!(
                "something moved in the picture and no upright person was found{shape}"
            )));
        }
        if let Some(rate) = slow.filter(|_| counters.detector_runs > 0) {
            return Some(Nothing::Skated(too_slow(rate)));
        }
        Some(Nothing::Empty(
            "nobody was seen to skate through the picture".to_owned(),
        ))
    }
}

/// '1 person was', '5 people were'.
fn were(n: u32, one: &str, many: &str) -> String {
    match n {
        1 => format!("1 {one} was"),
        n => format!("{n} {many} were"),
    }
}

/// How those skate who do not skate the lane's way, and what its file says.
fn directions(travel: Travel) -> (&'static str, &'static str) {
    match travel {
        Travel::LeftToRight => ("from right to left", "left_to_right"),
        Travel::RightToLeft => ("from left to right", "right_to_left"),
        Travel::Toward => ("away from the camera", "toward"),
        Travel::Away => ("toward the camera", "away"),
    }
}

/// What to do about a reason, where it lies with the picture.
fn remedy(why: NotJudged) -> &'static str {
    match why {
        NotJudged::TooFewPictures => ": record with 30 pictures a second",
        NotJudged::TooSoft => ": wipe the lens and focus it on the lane",
        NotJudged::TooLittleContrast => ": more light, or a cleaner lens",
        NotJudged::TooNoisy => ": more light",
        NotJudged::CameraMoved => ": film from one place, and set the lane up for it",
        NotJudged::TooSmall => ": nearer to the lane, or a longer lens",
        NotJudged::ModelTooLight => ": use the full one",
        NotJudged::PointsUnsteady => ": a steadier and clearer picture",
        NotJudged::PointsUnsure => ": a clearer picture; record with less compression",
        _ => "",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::{Subject, View};

    fn lane() -> Lane {
        Lane {
            view: View::Side,
            camera_height_m: 1.2,
            tilt_deg: 2.7,
            hfov_deg: 62.0,
            roll_deg: 0.0,
            lane_distance_m: 6.0,
            travel: Travel::LeftToRight,
            skater_height_m: 1.7,
            subject: Subject::People,
            errors: Default::default(),
            checked: None,
        }
    }

    fn source(width: u32, height: u32) -> SourceInfo {
        SourceInfo {
            name: "a.mp4".to_owned(),
            kind: crate::capture::SourceKind::Video,
            width,
            height,
            nominal_fps: None,
            frame_count: None,
            skipped: 0,
        }
    }

    fn looked(rate: f64) -> Looked {
        let mut looked = Looked::default();
        looked.frames(30, Some([0.0, 29.0 / rate]));
        looked.frames(30, Some([30.0 / rate, 59.0 / rate]));
        looked
    }

    fn words(looked: &Looked, tally: Tally, counters: PoseCounters, size: (u32, u32)) -> Nothing {
        looked
            .nothing(tally, counters, (&lane(), 2.0), &source(size.0, size.1))
            .expect("nothing was judged")
    }

    #[test]
    fn each_way_to_see_nothing_has_its_sentence() {
        let none = PoseCounters::default();
        let busy = PoseCounters {
            detector_runs: 40,
            ..none
        };
        let tally = |other_way, do_not_fit| Tally {
            other_way,
            do_not_fit,
            ..Tally::default()
        };
        for (seen, part) in [
            (
                words(&looked(30.0), tally(24, 0), busy, (1280, 720)),
                "24 people were seen skating from right to left; the lane file says left_to_right",
            ),
            (
                words(&looked(30.0), tally(0, 1), busy, (1280, 720)),
                "1 person was seen moving through the picture where",
            ),
            (
                words(
                    &looked(30.0),
                    Tally {
                        too_slow: 2,
                        fastest_slow_cmps: 164,
                        ..tally(0, 5)
                    },
                    busy,
                    (1280, 720),
                ),
                "2 people were seen skating by at 1.6 metres a second or less, and from 2.0 on",
            ),
            (
                words(&looked(30.0), tally(0, 0), busy, (1280, 720)),
                "upside down",
            ),
            (
                words(&looked(30.0), tally(0, 0), busy, (720, 1280)),
                "higher than wide",
            ),
            (
                words(&looked(5.0), tally(0, 2), busy, (1280, 720)),
                "it has 5 pictures a second",
            ),
        ] {
            let Nothing::Skated(said) = seen else {
                panic!("somebody skated: {seen:?}");
            };
            assert!(said.contains(part), "{said}");
        }
        let empty = words(&looked(30.0), tally(0, 0), none, (1280, 720));
        assert!(matches!(empty, Nothing::Empty(_)));
    }
}
