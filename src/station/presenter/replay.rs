//! 'Show me': the flagged push of the last pass in slow motion.
//!
//! Takes: every frame with the faces found in it, then the judged pass.
//! Gives: the pictures of the flagged instant with the body drawn over them.
//! Fails: never; where the pictures are gone there is no replay.
//!
//! Pictures of skaters: they are kept in memory only, at half size, for the
//! last seconds; faces are made unreadable before a picture is kept, unless
//! that is switched off. Nothing here is written anywhere; what is stored of
//! a skater who consents is handed out by [`Ring::strips`].

use std::collections::VecDeque;
use std::sync::Arc;
use std::time::Duration;

use crate::display::{AngleMark, CueOrder, Overlay, PictureShare, PreviewImage};
use crate::feedback::{Cue, CueKind};
use crate::figure::{Figure, Joint, Order, Stance};
use crate::pose::BodyPoint as P;
use crate::rules::{BONES, JudgedPass, JudgedPush, RuleId};
use crate::stride::{Leg, PassMotion, Push};

use super::lane_picture::{LanePicture, parts};
use super::pictures::{RawShot, RawStrip};
use super::replay_buffer::{Packed, Part};

/// How long pictures are kept, seconds.
const KEEP_S: f64 = 10.0;
/// And how many bytes of them at most. The camera stands still, so a picture
/// costs what has changed in it and the bodies: some 20 to 60 kB.
const KEEP_BYTES: usize = 12_000_000;
/// With less than this, seconds, the first pushes of a pass are gone.
const KEEP_AT_LEAST_S: f64 = 5.0;
/// A part of the picture is kept anew when it differs by more levels than
/// this, of 255: the camera's noise is less. Bodies are always kept anew.
const STEP: i32 = 5;
/// And in light that flickers, or where everything moves, at most.
const STEP_AT_MOST: i32 = 24;
/// What is shown before and after the flagged instant, seconds.
const AROUND_S: f64 = 0.4;
/// The flagged instant itself is seen when a picture is this near, seconds.
const INSTANT_S: f64 = 0.1;
/// Sets of pictures that are stored of one pass at most.
const STRIPS_A_PASS: usize = 4;
/// How much slower than it was.
const SLOWER: f64 = 2.5;
/// How long the flagged instant stands still.
const HOLD: Duration = Duration::from_millis(1500);

/// The lines of a body that is wanted: its trunk and its limbs.
const FRAME: [(Joint, Joint); 12] = [
    (Joint::LeftShoulder, Joint::RightShoulder),
    (Joint::LeftHip, Joint::RightHip),
    (Joint::LeftShoulder, Joint::LeftHip),
    (Joint::RightShoulder, Joint::RightHip),
    (Joint::LeftShoulder, Joint::LeftElbow),
    (Joint::LeftElbow, Joint::LeftWrist),
    (Joint::RightShoulder, Joint::RightElbow),
    (Joint::RightElbow, Joint::RightWrist),
    (Joint::LeftHip, Joint::LeftKnee),
    (Joint::LeftKnee, Joint::LeftAnkle),
    (Joint::RightHip, Joint::RightKnee),
    (Joint::RightKnee, Joint::RightAnkle),
];

/// Height of what is shown, in heights of the body.
const ROOM_AROUND_BODY: f32 = 1.7;

struct Kept {
    captured_at_s: f64,
    frame_px: [u32; 2],
    picture: Arc<Packed>,
    /// Faces that are readable in the picture: centre and radius, its pixels.
    faces: Vec<([f32; 2], f32)>,
}

/// The pictures of the last seconds.
pub struct Ring {
    kept: VecDeque<Kept>,
    bytes: usize,
    /// Where bodies were in the newest picture: what they uncover is kept
    /// anew, too.
    bodies_at: Vec<Part>,
    /// What counts as the same, levels. It grows while the pictures of
    /// [`KEEP_AT_LEAST_S`] do not fit: what is around the skater may then be
    /// a little older, but the first push of the pass is still there.
    step: i32,
}

impl Default for Ring {
    fn default() -> Self {
        Ring {
            kept: VecDeque::new(),
            bytes: 0,
            bodies_at: Vec::new(),
            step: STEP,
        }
    }
}

impl Ring {
    /// Keeps a picture, and lets the oldest go.
    pub fn push(&mut self, picture: &LanePicture) {
        let at = picture.captured_at_s;
        // A source that starts again starts at 0 again.
        if self.kept.back().is_some_and(|last| last.captured_at_s > at) {
            *self = Ring::default();
        }
        let now_at = parts(picture);
        let mut fresh = std::mem::replace(&mut self.bodies_at, now_at.clone());
        fresh.extend(now_at);
        let last = self.kept.back().map(|last| &*last.picture);
        let packed = Packed::of(&picture.picture, last, &fresh, self.step);
        self.bytes += packed.bytes_beside(last);
        self.kept.push_back(Kept {
            captured_at_s: at,
            frame_px: picture.frame_px,
            picture: Arc::new(packed),
            faces: picture.readable_faces.clone(),
        });
        let (mut aged, mut too_much, mut too_short) = (false, false, false);
        while let Some(oldest) = self.kept.front() {
            let old = oldest.captured_at_s < at - KEEP_S;
            if !old && self.bytes <= KEEP_BYTES {
                break;
            }
            aged |= old;
            too_much |= !old;
            too_short |= oldest.captured_at_s > at - KEEP_AT_LEAST_S;
            let next = self.kept.get(1).map(|next| &*next.picture);
            self.bytes -= oldest.picture.bytes_beside(next);
            self.kept.pop_front();
        }
        let towards = match (too_short, too_much, aged) {
            (true, ..) => 1,
            // Room for all of the time.
            (false, false, true) => -1,
            _ => 0,
        };
        self.step = (self.step + towards).clamp(STEP, STEP_AT_MOST);
    }

    /// The pictures around every flagged instant of a pass, to be stored: of
    /// [`STRIPS_A_PASS`] flags at most, those furthest beyond their limits in
    /// dead-bands. A flag whose pictures are gone has none. `blur_faces` makes
    /// faces unreadable that are not so yet; pictures taken while nobody was
    /// found are then left out.
    pub fn strips(
        &self,
        pass: &JudgedPass,
        motion: &PassMotion,
        blur_faces: bool,
        already_blurred: bool,
    ) -> Vec<RawStrip> {
        let mut flags: Vec<(f64, u32, RuleId, &Push)> = Vec::new();
        for (i, judged, push) in with_motion(pass, motion) {
            for flag in judged.flags.iter().filter(|f| f.value.is_finite()) {
                let band = pass.thresholds.limits[flag.rule].dead_band;
                let beyond = (flag.value - flag.limit).abs() / band.max(1e-6);
                flags.push((beyond, i as u32, flag.rule, push));
            }
        }
        flags.sort_by(|a, b| b.0.total_cmp(&a.0));
        flags.truncate(STRIPS_A_PASS);
        flags
            .into_iter()
            .filter_map(|(_, place, rule, push)| {
                let flagged_at_s = (rule.rule().shown_at_s)(motion, push);
                let shots: Vec<&Kept> = self.around(motion, flagged_at_s).collect();
                let shown = shots
                    .iter()
                    .any(|k| (k.captured_at_s - flagged_at_s).abs() <= INSTANT_S);
                shown.then(|| RawStrip {
                    push: place,
                    rule,
                    flagged_at_s,
                    frame_px: shots.first().map_or([0, 0], |k| k.frame_px),
                    faces_blurred: blur_faces || already_blurred,
                    shots: shots
                        .into_iter()
                        .filter(|k| !blur_faces || already_blurred || !k.faces.is_empty())
                        .map(|k| RawShot {
                            captured_at_s: k.captured_at_s,
                            picture: Arc::clone(&k.picture),
                            faces: if blur_faces {
                                k.faces.clone()
                            } else {
                                Vec::new()
                            },
                        })
                        .collect(),
                })
            })
            .collect()
    }

    /// The pictures around an instant while the skater was followed: then
    /// the body belongs to the picture.
    fn around(&self, motion: &PassMotion, instant_s: f64) -> impl Iterator<Item = &Kept> {
        let half_step_s = 0.5 / motion.curves.rate_hz;
        let followed = motion.span_s[0] - half_step_s..=motion.span_s[1] + half_step_s;
        self.kept.iter().filter(move |k| {
            (k.captured_at_s - instant_s).abs() <= AROUND_S && followed.contains(&k.captured_at_s)
        })
    }

    /// The pictures around the flagged instant of a pass; `None` where the
    /// cue is about no push or the pictures are gone.
    pub fn clip(&self, pass: &JudgedPass, cue: &Cue, motion: &PassMotion) -> Option<Clip> {
        let CueKind::Do {
            rule,
            value,
            limit,
            leg,
            ..
        } = cue.kind
        else {
            return None;
        };
        // The push nearest to the value that was shown.
        let (push, measured) = with_motion(pass, motion)
            .flat_map(|(_, judged, push)| judged.flags.iter().map(move |f| (f, push)))
            .filter(|(f, _)| f.rule == rule && f.value.is_finite())
            .min_by(|a, b| {
                (a.0.value - value)
                    .abs()
                    .total_cmp(&(b.0.value - value).abs())
            })
            .map(|(f, push)| (push, f.value))?;
        let instant_s = (rule.rule().shown_at_s)(motion, push);
        let view_px = body_px(motion, instant_s) * ROOM_AROUND_BODY;
        let shots: Vec<Shot> = self
            .around(motion, instant_s)
            .map(|k| Shot {
                at_s: k.captured_at_s - instant_s,
                overlay: overlay(motion, push.leg, rule, k, view_px),
                picture: Arc::clone(&k.picture),
            })
            .collect();
        let flagged = (0..shots.len())
            .min_by(|&a, &b| shots[a].at_s.abs().total_cmp(&shots[b].at_s.abs()))?;
        // Without the instant itself there is nothing to show.
        if shots[flagged].at_s.abs() > INSTANT_S {
            return None;
        }
        let mut still = shots[flagged].overlay.clone();
        still.target = target(
            motion,
            push,
            Order::of_rule(rule, value < limit),
            (measured, limit),
            self.around(motion, instant_s)
                .next()
                .map_or([1, 1], |k| k.frame_px),
        );
        if let Some(mark) = &mut still.mark {
            mark.numbers = Some((measured, limit));
        }
        Some(Clip {
            pass_number: cue.pass_number,
            order: CueOrder {
                rule,
                more: value < limit,
                leg,
            },
            still: Arc::new(still),
            shots,
            flagged,
        })
    }
}

/// The pushes of a pass that this motion shows, with their places in the pass.
/// A pass two cameras saw may have pushes that only the other one saw.
fn with_motion<'a>(
    pass: &'a JudgedPass,
    motion: &'a PassMotion,
) -> impl Iterator<Item = (usize, &'a JudgedPush, &'a Push)> {
    pass.pushes.iter().enumerate().filter_map(|(i, judged)| {
        let same = |p: &&Push| p.leg == judged.leg && p.toe_off_s == judged.toe_off_s;
        Some((i, judged, motion.pushes.iter().find(same)?))
    })
}

fn overlay(motion: &PassMotion, leg: Leg, rule: RuleId, kept: &Kept, view_px: f32) -> Overlay {
    let curves = &motion.curves;
    let i = curves.index_at(kept.captured_at_s);
    let Some(points) = curves.points.get(i).filter(|_| curves.seen[i]) else {
        return Overlay::default();
    };
    let share = |[x, y]: [f64; 2]| {
        [
            (x / f64::from(kept.frame_px[0].max(1))) as f32,
            (y / f64::from(kept.frame_px[1].max(1))) as f32,
        ]
    };
    let at = |p: P| share(points[p as usize]);
    let hips = share(curves.mid(i, P::LeftHip as usize, P::RightHip as usize));
    let mark = (rule.rule().marks)(curves, i, leg).into_iter().map(share);
    Overlay {
        lines: BONES.map(|(a, b)| [at(a), at(b)]).to_vec(),
        target: Vec::new(),
        mark: Some(AngleMark {
            points: mark.collect(),
            rule,
            numbers: None,
        }),
        view: PictureShare::new(hips, view_px / kept.frame_px[1].max(1) as f32),
    }
}

/// The body at the flagged instant as it is wanted, over the picture: the same bones
/// with the quantity at its limit, hips and feet where the figure of the card has them.
/// Empty where the points are too poor to move a body by.
fn target(
    motion: &PassMotion,
    push: &Push,
    order: Order,
    (value, limit): (f64, f64),
    frame_px: [u32; 2],
) -> Vec<[[f32; 2]; 2]> {
    let stance = Stance::of_push(motion, push, order, value);
    let i = (motion.curves).index_at((order.rule().rule().shown_at_s)(motion, push));
    let Some(m_per_px) = motion.place.metres_per_px.get(i).filter(|m| **m > 0.0) else {
        return Vec::new();
    };
    if !stance.is_measured() {
        return Vec::new();
    }
    let figure = Figure::new(order, &stance, value, limit);
    let from = motion
        .curves
        .mid(i, P::LeftHip as usize, P::RightHip as usize);
    let hips = stance.hips();
    let place = |joint: Joint| {
        let [x, y] = figure.target.joint(joint);
        [
            ((from[0] + (x - hips[0]) / m_per_px) / f64::from(frame_px[0].max(1))) as f32,
            ((from[1] - (y - hips[1]) / m_per_px) / f64::from(frame_px[1].max(1))) as f32,
        ]
    };
    let lines = FRAME.map(|(a, b)| [place(a), place(b)]);
    let fits = lines
        .as_flattened()
        .as_flattened()
        .iter()
        .all(|v| v.is_finite());
    if fits { lines.to_vec() } else { Vec::new() }
}

/// Height of the body at a time, pixels.
fn body_px(motion: &PassMotion, t_s: f64) -> f32 {
    let curves = &motion.curves;
    curves
        .height_px(curves.index_at(t_s))
        .map_or(f32::MAX, |px| px as f32)
}

struct Shot {
    /// Seconds from the flagged instant.
    at_s: f64,
    picture: Arc<Packed>,
    overlay: Overlay,
}

/// The pictures around one flagged instant, to be looped.
pub struct Clip {
    /// Number of the pass in the session.
    pub pass_number: u32,
    /// What its cue says.
    pub order: CueOrder,
    shots: Vec<Shot>,
    flagged: usize,
    still: Arc<Overlay>,
}

impl Clip {
    /// Which picture is due so long after the start, and whether it is the
    /// flagged instant standing still. The loop begins again by itself.
    pub fn due(&self, since: Duration) -> (usize, bool) {
        let before = Duration::from_secs_f64(AROUND_S * SLOWER);
        let whole = 2 * before + HOLD;
        let into = Duration::from_nanos((since.as_nanos() % whole.as_nanos()) as u64);
        if into >= before && into < before + HOLD {
            return (self.flagged, true);
        }
        let moving = if into < before { into } else { into - HOLD };
        let at_s = moving.as_secs_f64() / SLOWER - AROUND_S;
        let nearest = |&a: &usize, &b: &usize| {
            let off = |i: usize| (self.shots[i].at_s - at_s).abs();
            off(a).total_cmp(&off(b))
        };
        ((0..self.shots.len()).min_by(nearest).unwrap_or(0), false)
    }

    /// A picture and what is drawn over it.
    pub fn shot(&self, index: usize, still: bool) -> Option<(PreviewImage, Arc<Overlay>)> {
        let shot = self.shots.get(index)?;
        let overlay = if still {
            Arc::clone(&self.still)
        } else {
            Arc::new(shot.overlay.clone())
        };
        Some((shot.picture.unpack()?, overlay))
    }
}

#[cfg(test)]
#[path = "replay_tests.rs"]
mod tests;
