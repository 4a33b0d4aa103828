//! Tracks and passes: who is who over time, and when somebody skates through.
//!
//! Takes: [`PoseFrame`]s in order of capture time, and the lane.
//! Gives: [`TrackEvent`]s: a skater is in the lane, a [`Pass`] has ended.
//! Fails: never; frames out of order are ignored and counted.
//!
//! Pure: no I/O, no clock, no threads; time comes in with the frame. People
//! are told apart by where they are and how they move, never by looks.

mod associate;
mod ground;
mod hidden;
mod pass;

use serde::{Deserialize, Serialize};

use crate::body::PoseFrame;
use crate::config::{Lane, Travel};
use crate::geometry::Camera;

use associate::associate;
pub use ground::{Footing, lane_position};
use hidden::{legs_are_hidden, touches_another};
use pass::{Ending, Refused, Segment};
pub use pass::{Pass, Sample};

/// Who moved less than this for so long stands: metres a second, seconds. Chosen: below a
/// walk, above what the points of somebody who stands shake by.
const REST_MPS: f64 = 0.5;
const REST_S: f64 = 0.4;

/// Settings of the tracker.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrackSettings {
    /// Slowest travel along the ice that counts as a pass, metres a second.
    pub min_pass_speed_mps: f64,
    /// How long a skater may be unseen before the track is over, seconds.
    pub max_gap_s: f64,
    /// The same for a skater who was on the way out of the picture: nobody
    /// comes back from there in the same pass, and the cue need not wait.
    pub leaving_gap_s: f64,
    /// Shortest distance travelled in view that counts as a pass, metres.
    pub min_travel_m: f64,
}

impl Default for TrackSettings {
    fn default() -> Self {
        TrackSettings {
            min_pass_speed_mps: 2.0,
            max_gap_s: 0.25,
            leaving_gap_s: 0.1,
            min_travel_m: 1.5,
        }
    }
}

/// What the tracker has to say after a frame.
#[derive(Debug, Clone, PartialEq)]
pub enum TrackEvent {
    /// Somebody now travels through the lane faster than the set speed.
    PassStarted {
        /// Number of the track.
        track_id: u32,
    },
    /// A pass is over: the skater left the picture, was lost, or slowed down.
    PassEnded(Box<Pass>),
}

/// How often what was seen, since the tracker was made or restarted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Tally {
    /// Passes.
    pub passes: u32,
    /// People who skated past the other way.
    pub other_way: u32,
    /// People who moved through the picture where, as the lane file has it, nobody could
    /// skate.
    pub do_not_fit: u32,
    /// People who skated the lane slower than what counts as a pass.
    pub too_slow: u32,
    /// The fastest of these, centimetres a second.
    pub fastest_slow_cmps: u32,
}

impl Tally {
    /// Both together.
    #[must_use]
    pub fn and(self, other: Tally) -> Tally {
        Tally {
            passes: self.passes.saturating_add(other.passes),
            other_way: self.other_way.saturating_add(other.other_way),
            do_not_fit: self.do_not_fit.saturating_add(other.do_not_fit),
            too_slow: self.too_slow.saturating_add(other.too_slow),
            fastest_slow_cmps: self.fastest_slow_cmps.max(other.fastest_slow_cmps),
        }
    }
}

/// One person over time.
struct Track {
    id: u32,
    chain: u32,
    segment: Segment,
    in_pass: bool,
}

/// Follows everybody in view of one fixed camera.
pub struct Tracker {
    lane: Lane,
    settings: TrackSettings,
    camera: Option<Camera>,
    frame_px: [u32; 2],
    tracks: Vec<Track>,
    next_id: u32,
    last_t_s: f64,
    out_of_order: u64,
    tally: Tally,
}

impl Tracker {
    /// A tracker for one lane.
    pub fn new(lane: Lane, settings: TrackSettings) -> Self {
        Tracker {
            lane,
            settings,
            camera: None,
            frame_px: [0, 0],
            tracks: Vec::new(),
            next_id: 1,
            last_t_s: f64::NEG_INFINITY,
            out_of_order: 0,
            tally: Tally::default(),
        }
    }

    /// Another lane or another source: everybody is forgotten, the numbers go
    /// on, so that a number stays unique in a session.
    pub fn restart(&mut self, lane: Lane, settings: TrackSettings) {
        *self = Tracker {
            next_id: self.next_id,
            out_of_order: self.out_of_order,
            ..Tracker::new(lane, settings)
        };
    }

    /// Frames that were ignored because they came out of order.
    pub fn out_of_order(&self) -> u64 {
        self.out_of_order
    }

    /// What was seen so far.
    pub fn tally(&self) -> Tally {
        self.tally
    }

    /// The direction of the passes, and the slowest travel that counts as one, metres a second.
    pub fn asks_for(&self) -> (Travel, f64) {
        (self.lane.travel, self.settings.min_pass_speed_mps)
    }

    /// Numbers of the tracks that are passing through the lane now.
    pub fn passing(&self) -> impl Iterator<Item = u32> + '_ {
        self.tracks.iter().filter(|t| t.in_pass).map(|t| t.id)
    }

    /// Numbers that were given to tracks so far.
    pub fn numbers(&self) -> u32 {
        self.next_id - 1
    }

    /// Whether nobody skates: who is in view stands, and has done so for a moment.
    pub fn is_at_rest(&self) -> bool {
        self.tracks.iter().all(|track| {
            let stands = match track.segment.recent_speed_mps(REST_S) {
                Some(mps) => mps < REST_MPS,
                // Who was seen for long and is nowhere on the ice is in no pass either.
                None => track.segment.lasts_s() > 2.0 * REST_S,
            };
            stands && !track.in_pass
        })
    }

    /// Takes in one frame; gives what it changed.
    pub fn push(&mut self, frame: &PoseFrame) -> Vec<TrackEvent> {
        let t_s = frame.captured_at_s;
        if !(t_s.is_finite() && t_s > self.last_t_s) {
            self.out_of_order += 1;
            return Vec::new();
        }
        self.last_t_s = t_s;
        let camera = *self
            .camera
            .get_or_insert_with(|| Camera::of_lane(&self.lane, frame.width, frame.height));

        self.frame_px = [frame.width, frame.height];
        let mut events = self.drop_lost(t_s);
        let pairs = associate(
            self.tracks.iter().map(|t| (&t.segment, t.chain)),
            &frame.bodies,
            t_s,
        );
        let mut taken = vec![false; frame.bodies.len()];
        for (track_index, body_index) in pairs {
            taken[body_index] = true;
            let sample = self.sample(&camera, frame, body_index);
            let track = &mut self.tracks[track_index];
            track.chain = frame.bodies[body_index].chain;
            track.segment.push(sample);
        }
        for (body_index, _) in taken.iter().enumerate().filter(|(_, taken)| !**taken) {
            let sample = self.sample(&camera, frame, body_index);
            self.tracks.push(Track {
                id: self.next_id,
                chain: frame.bodies[body_index].chain,
                segment: Segment::starting_with(sample),
                in_pass: false,
            });
            self.next_id += 1;
        }
        events.extend(self.update_passes(t_s));
        events
    }

    /// The source has ended: gives the passes still open.
    pub fn finish(&mut self) -> Vec<TrackEvent> {
        let tracks = std::mem::take(&mut self.tracks);
        tracks
            .into_iter()
            .filter_map(|t| self.close(t.id, t.segment, Ending::SourceEnded))
            .collect()
    }

    fn sample(&self, camera: &Camera, frame: &PoseFrame, body_index: usize) -> Sample {
        let body = &frame.bodies[body_index];
        let mut sample = Sample {
            t_s: frame.captured_at_s,
            points: body.points,
            legs: body.legs,
            clarity: body.clarity,
            lane_m: lane_position(&self.lane, camera, &Footing::of(&body.points)),
        };
        let hidden = legs_are_hidden(&frame.bodies, body_index);
        sample.mark_legs_hidden(hidden || touches_another(&frame.bodies, body_index));
        sample
    }

    fn drop_lost(&mut self, now_s: f64) -> Vec<TrackEvent> {
        let TrackSettings {
            max_gap_s,
            leaving_gap_s,
            ..
        } = self.settings;
        let frame_px = self.frame_px;
        let (kept, lost): (Vec<_>, Vec<_>) =
            std::mem::take(&mut self.tracks).into_iter().partition(|t| {
                let gap_s = now_s - t.segment.last_t_s();
                gap_s <= leaving_gap_s
                    || (gap_s <= max_gap_s && !t.segment.is_leaving(now_s, frame_px))
            });
        self.tracks = kept;
        lost.into_iter()
            .filter_map(|t| self.close(t.id, t.segment, Ending::Lost))
            .collect()
    }

    fn update_passes(&mut self, now_s: f64) -> Vec<TrackEvent> {
        let mut events = Vec::new();
        let mut slowed = Vec::new();
        for track in &mut self.tracks {
            let Some(speed_mps) = track.segment.recent_speed_mps(0.4) else {
                continue;
            };
            if !track.in_pass && speed_mps >= self.settings.min_pass_speed_mps {
                track.in_pass = true;
                events.push(TrackEvent::PassStarted { track_id: track.id });
            } else if track.in_pass && speed_mps < 0.6 * self.settings.min_pass_speed_mps {
                track.in_pass = false;
                slowed.push((track.id, track.segment.split_off_all_but_last()));
            } else if !track.in_pass {
                // Somebody who stands or walks for long: keep the recent past.
                track.segment.forget_before(now_s - 3.0);
            }
        }
        for (id, segment) in slowed {
            events.extend(self.close(id, segment, Ending::Slowed));
        }
        events
    }

    fn close(&mut self, id: u32, segment: Segment, ending: Ending) -> Option<TrackEvent> {
        let pass = segment.into_pass(id, &self.lane, &self.settings, self.frame_px, ending);
        let counted = match &pass {
            Ok(_) => &mut self.tally.passes,
            Err(Refused::OtherWay) => &mut self.tally.other_way,
            Err(Refused::DoesNotFit) => &mut self.tally.do_not_fit,
            Err(Refused::TooSlow(mps)) => {
                let fastest = &mut self.tally.fastest_slow_cmps;
                *fastest = (*fastest).max((100.0 * mps).round() as u32);
                &mut self.tally.too_slow
            }
            Err(Refused::NoPass) => return None,
        };
        *counted = counted.saturating_add(1);
        pass.ok().map(|pass| TrackEvent::PassEnded(Box::new(pass)))
    }
}

#[cfg(test)]
mod tests;
