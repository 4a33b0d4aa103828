//! Whether the camera and the computer show enough to judge by, and whether the set-up fits
//! those who skate, for as long as the station runs: said to the coach with what to do about
//! it.
//!
//! Takes: every analysed frame and what was found in it, and what the tracker counted.
//! Gives: the one thing that is worst at the moment, or nothing.
//! Fails: never.

use std::collections::VecDeque;

use crate::capture::Frame;
use crate::config::Travel;
use crate::pose::{PoseFrame, picture_sharpness};
use crate::rules::{PICTURES_NEEDED, TOO_LITTLE_CONTRAST, TOO_SOFT};
use crate::track::Tally;

/// What is wrong with what is seen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SightTrouble {
    /// The camera stands elsewhere than when the lane was set up.
    CameraMoved,
    /// The camera gives so many pictures a second.
    CameraSlow(f64),
    /// So many pictures a second are analysed, though the camera gives enough.
    ComputerSlow(f64),
    /// The picture is soft.
    Soft,
    /// The skaters hardly stand out.
    Faint,
    /// So many skated the other way than this, and nobody this way.
    OtherWay(u32, Travel),
    /// So many moved where, by the lane file, nobody can skate, and nobody where one can.
    DoNotFit(u32),
    /// So many skated by too slowly since the last pass.
    TooSlow {
        /// How many.
        n: u32,
        /// The fastest of them, metres a second.
        mps: f64,
        /// What counts as a pass.
        least_mps: f64,
    },
    /// Something moved for long and nobody was found in it.
    NobodyUpright,
}

impl SightTrouble {
    /// In a sentence with its remedy.
    pub fn sentence(self) -> String {
        match self {
            SightTrouble::CameraMoved => {
                "the camera was moved: put it back, or check the line on the coach's panel; until then nothing is judged"
                    .to_owned()
            }
            SightTrouble::CameraSlow(fps) => format!(
                "the camera gives {fps:.0} pictures a second, {PICTURES_NEEDED:.0} are needed: \
                 more light, another size of picture or another camera; until then nothing is judged"
            ),
            SightTrouble::ComputerSlow(fps) => format!(
                "the computer gives {fps:.0} pictures a second, {PICTURES_NEEDED:.0} are needed: \
                 close other programs or take a lighter model; until then nothing is judged"
            ),
            SightTrouble::Soft => {
                "the picture is soft: wipe the lens, then focus it on the lane".to_owned()
            }
            SightTrouble::Faint => {
                "the skaters hardly stand out of the picture: wipe the lens, or more light"
                    .to_owned()
            }
            SightTrouble::OtherWay(n, travel) => format!(
                "{n} people skated the other way than 'travel = \"{}\"' in the lane file says, and nobody this way: change it",
                travel.name()
            ),
            SightTrouble::DoNotFit(n) => format!(
                "{n} people moved through the picture where, by the lane file, nobody can skate: \
                 set the lane up for this spot"
            ),
            SightTrouble::TooSlow { n, mps, least_mps } => format!(
                "{n} people skated by at {mps:.1} metres a second or less, and from {least_mps:.1} on it is a pass: \
                 lower min_pass_speed_mps in station.toml if they were skating"
            ),
            SightTrouble::NobodyUpright => {
                "something moves in the picture and no upright person is found in it: is the camera level, \
                 and are the skaters at least an eighth of its height?"
                    .to_owned()
            }
        }
    }
}

/// Rates are those of so many seconds.
const OVER_S: f64 = 4.0;
/// A little less than what is needed is trembling.
const TREMBLING: f64 = 0.9;
/// The whole picture is looked at this often, seconds.
const LOOK_EVERY_S: f64 = 1.0;
/// So many looks at the whole picture make up their middle.
const LOOKS: usize = 9;
/// A picture less sharp than this share of the sharpest seen is soft.
const SHARP_SHARE: f32 = 0.82;
/// The middle of so many skaters' pictures counts, two seconds of one.
const BODIES: usize = 60;

/// So many have to be of one kind before it is said: one may be a coach, a goalkeeper who
/// warms up, somebody on the way back.
const MANY: u32 = 3;
/// So many runs of the person detector in vain are more than a door that opened.
const VAIN_LOOKS: u64 = 150;

/// What the tracker and the person detector counted, and what the lane asks for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Counted {
    /// Who was seen, by what became of them.
    pub tally: Tally,
    /// Runs of the person detector.
    pub looks: u64,
    /// People it found.
    pub found: u64,
    /// The direction of the passes.
    pub travel: Travel,
    /// What counts as a pass, metres a second.
    pub least_mps: f64,
}

/// Watches what is seen.
#[derive(Debug, Default)]
pub struct SightWatch {
    times_s: VecDeque<f64>,
    looked_at_s: Option<f64>,
    looks: VecDeque<f32>,
    sharpest: f32,
    size_px: Option<[u32; 2]>,
    bodies: VecDeque<[f32; 2]>,
    counted: Option<Counted>,
    /// Too slow until the last pass.
    slow_before: u32,
}

impl SightWatch {
    /// Takes in an analysed frame.
    pub fn frame(&mut self, frame: &Frame, poses: &PoseFrame) {
        let at_s = frame.captured_at_s;
        let size = Some([frame.width, frame.height]);
        let back = self.times_s.back().is_some_and(|last_s| at_s < *last_s);
        if back || self.size_px != size {
            // Another source.
            *self = SightWatch {
                size_px: size,
                ..SightWatch::default()
            };
        }
        self.times_s.push_back(at_s);
        while self
            .times_s
            .front()
            .is_some_and(|first_s| at_s - first_s > OVER_S)
        {
            self.times_s.pop_front();
        }
        for clarity in poses.bodies.iter().filter_map(|body| body.clarity) {
            push(
                &mut self.bodies,
                [clarity.sharpness, clarity.contrast],
                BODIES,
            );
        }
        let due = self
            .looked_at_s
            .is_none_or(|looked_s| at_s - looked_s >= LOOK_EVERY_S);
        // Who is near the camera changes how sharp the whole is.
        if due && poses.bodies.is_empty() {
            self.looked_at_s = Some(at_s);
            if let Some(sharpness) = picture_sharpness(frame) {
                push(&mut self.looks, sharpness, LOOKS);
                if self.looks.len() == LOOKS {
                    self.sharpest = self.sharpest.max(middle(self.looks.iter().copied()));
                }
            }
        }
    }

    /// Takes in what was counted since the source or the lane began.
    pub fn counted(&mut self, now: Counted) {
        let passes = self.counted.map_or(0, |before| before.tally.passes);
        if now.tally.passes != passes || now.tally.too_slow < self.slow_before {
            self.slow_before = now.tally.too_slow;
        }
        self.counted = Some(now);
    }

    /// What the set-up has to do with it that nobody is judged.
    fn unfit(&self) -> Option<SightTrouble> {
        let Counted {
            tally,
            looks,
            found,
            travel,
            least_mps,
        } = self.counted?;
        let slow = tally.too_slow.saturating_sub(self.slow_before);
        if slow >= MANY {
            return Some(SightTrouble::TooSlow {
                n: slow,
                mps: f64::from(tally.fastest_slow_cmps) / 100.0,
                least_mps,
            });
        }
        if tally.passes > 0 {
            // The lane fits: who goes the other way is on the way back.
            return None;
        }
        if tally.other_way >= MANY {
            return Some(SightTrouble::OtherWay(tally.other_way, travel));
        }
        if tally.do_not_fit >= MANY {
            return Some(SightTrouble::DoNotFit(tally.do_not_fit));
        }
        (found == 0 && looks >= VAIN_LOOKS).then_some(SightTrouble::NobodyUpright)
    }

    /// Analysed pictures a second; `None` in the first seconds.
    pub fn rate(&self) -> Option<f64> {
        let (first_s, last_s) = (self.times_s.front()?, self.times_s.back()?);
        let span_s = last_s - first_s;
        (span_s >= 0.7 * OVER_S).then(|| (self.times_s.len() - 1) as f64 / span_s)
    }

    /// The worst at the moment. `camera_fps` is what the camera gives.
    pub fn trouble(&self, camera_fps: f64) -> Option<SightTrouble> {
        let enough = TREMBLING * PICTURES_NEEDED;
        if let Some(rate) = self.rate().filter(|rate| *rate < enough) {
            return Some(if camera_fps < enough {
                SightTrouble::CameraSlow(if camera_fps > 0.0 { camera_fps } else { rate })
            } else {
                SightTrouble::ComputerSlow(rate)
            });
        }
        if self.bodies.len() == BODIES {
            let of = |k: usize| f64::from(middle(self.bodies.iter().map(|body| body[k])));
            if of(1) < TOO_LITTLE_CONTRAST {
                return Some(SightTrouble::Faint);
            }
            if of(0) < TOO_SOFT {
                return Some(SightTrouble::Soft);
            }
        }
        let soft = self.looks.len() == LOOKS
            && middle(self.looks.iter().copied()) < SHARP_SHARE * self.sharpest;
        soft.then_some(SightTrouble::Soft).or_else(|| self.unfit())
    }
}

fn push<T>(queue: &mut VecDeque<T>, value: T, most: usize) {
    if queue.len() == most {
        queue.pop_front();
    }
    queue.push_back(value);
}

/// The middle value.
fn middle(values: impl Iterator<Item = f32>) -> f32 {
    let mut sorted: Vec<f32> = values.collect();
    sorted.sort_by(f32::total_cmp);
    sorted.get(sorted.len() / 2).copied().unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Upright bars with borders that take so many pixels.
    fn bars(at_s: f64, ramp_px: u32) -> Frame {
        let (width, height) = (320_u32, 180_u32);
        let row = (0..width).flat_map(|x| {
            let off = (x % 40).min(40 - x % 40).saturating_sub(10).min(ramp_px);
            [(60 + 120 * off / ramp_px.max(1)) as u8; 3]
        });
        let row: Vec<u8> = row.collect();
        let mut picture = row.repeat(height as usize);
        // The same down the picture.
        for y in 0..height {
            let off = (y % 40).min(40 - y % 40).saturating_sub(10).min(ramp_px);
            for x in 0..width {
                let at = ((y * width + x) * 3) as usize;
                let level = picture[at] / 2 + (30 + 60 * off / ramp_px.max(1)) as u8;
                picture[at..at + 3].fill(level);
            }
        }
        Frame {
            seq: (at_s * 30.0) as u64,
            captured_at_s: at_s,
            width,
            height,
            rgb: picture,
        }
    }

    fn watched(watch: &mut SightWatch, from_s: f64, seconds: f64, fps: f64, ramp_px: u32) {
        for k in 0..(seconds * fps) as u32 {
            let at_s = from_s + f64::from(k) / fps;
            watch.frame(&bars(at_s, ramp_px), &PoseFrame::default());
        }
    }

    #[test]
    fn too_few_pictures_are_the_camera_s_or_the_computer_s() {
        let mut watch = SightWatch::default();
        watched(&mut watch, 0.0, 1.0, 10.0, 1);
        assert_eq!(watch.trouble(10.0), None, "too early to say");
        watched(&mut watch, 1.0, 5.0, 10.0, 1);
        assert!(matches!(watch.trouble(10.0), Some(SightTrouble::CameraSlow(fps)) if fps == 10.0));
        let Some(SightTrouble::ComputerSlow(fps)) = watch.trouble(30.0) else {
            panic!("{:?}", watch.trouble(30.0));
        };
        assert!((fps - 10.0).abs() < 0.1);
        watched(&mut watch, 6.0, 6.0, 30.0, 1);
        assert_eq!(watch.trouble(30.0), None);
    }

    /// A lens that fogs is told within 30 seconds of an empty lane, one that was soft from
    /// the start only by the skaters.
    #[test]
    fn a_picture_that_becomes_soft_is_told() {
        let mut watch = SightWatch::default();
        watched(&mut watch, 0.0, 15.0, 30.0, 2);
        assert_eq!(watch.trouble(30.0), None);
        watched(&mut watch, 15.0, 30.0, 30.0, 9);
        assert_eq!(watch.trouble(30.0), Some(SightTrouble::Soft));
        watched(&mut watch, 45.0, 15.0, 30.0, 2);
        assert_eq!(watch.trouble(30.0), None);
    }
    fn counted(tally: Tally) -> Counted {
        Counted {
            tally,
            looks: 20,
            found: 3,
            travel: Travel::LeftToRight,
            least_mps: 2.0,
        }
    }

    /// Who goes back is no trouble once somebody came; and one person is none at all.
    #[test]
    fn a_set_up_that_does_not_fit_the_skaters_is_told() {
        let trouble = |tally: Tally| {
            let mut watch = SightWatch::default();
            watch.counted(counted(tally));
            watch.trouble(30.0)
        };
        let other_way = Tally {
            other_way: 3,
            ..Tally::default()
        };
        let told = trouble(other_way).expect("said");
        assert_eq!(told, SightTrouble::OtherWay(3, Travel::LeftToRight));
        assert!(told.sentence().contains("left_to_right"));
        for quiet in [
            Tally {
                passes: 1,
                ..other_way
            },
            Tally {
                other_way: 2,
                do_not_fit: 2,
                too_slow: 2,
                ..Tally::default()
            },
        ] {
            assert_eq!(trouble(quiet), None, "{quiet:?}");
        }
        let unfit = Tally {
            do_not_fit: 4,
            ..Tally::default()
        };
        assert_eq!(trouble(unfit), Some(SightTrouble::DoNotFit(4)));
        let mut watch = SightWatch::default();
        watch.counted(Counted {
            looks: 200,
            found: 0,
            ..counted(Tally::default())
        });
        assert_eq!(watch.trouble(30.0), Some(SightTrouble::NobodyUpright));
    }

    /// Slow skaters are told of also beside fast ones, and no longer once somebody was
    /// fast enough.
    #[test]
    fn skaters_slower_than_a_pass_are_told_with_their_speed() {
        let mut watch = SightWatch::default();
        let slow = |passes, too_slow| Tally {
            passes,
            too_slow,
            fastest_slow_cmps: 170,
            ..Tally::default()
        };
        watch.counted(counted(slow(4, 0)));
        watch.counted(counted(slow(4, 3)));
        let told = watch.trouble(30.0).expect("said");
        let wanted = SightTrouble::TooSlow {
            n: 3,
            mps: 1.7,
            least_mps: 2.0,
        };
        assert_eq!(told, wanted);
        assert!(told.sentence().contains("1.7") && told.sentence().contains("2.0"));
        watch.counted(counted(slow(5, 3)));
        assert_eq!(watch.trouble(30.0), None);
    }
}
