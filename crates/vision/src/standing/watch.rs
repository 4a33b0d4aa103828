//! One look after another: when the camera counts as moved, and as put back.

use std::collections::VecDeque;

use super::flow::Flow;
use super::reference::{PICTURES, Reference, Seen};
use super::search::Look;
use super::small::Small;
use super::{MOVED_DEG, SWAY_SHARE};
use crate::capture::Frame;

/// The background is looked at this often, seconds.
const LOOK_EVERY_S: f64 = 0.5;
/// So many looks that found the background decide.
const LOOKS: usize = 6;
/// So many of them have to say that it is elsewhere.
const AGREE: usize = 5;
/// Looks older than this decide nothing, seconds.
const OLD_S: f64 = 12.0;
/// It is looked for anywhere this often while it is not found, seconds.
const SEARCH_EVERY_S: f64 = 1.5;
/// After so long without it, it is said that it cannot be told, seconds.
const UNKNOWN_S: f64 = 60.0;
/// Room about a body, share of its height: a stick and a shadow belong to it.
const ROOM: f32 = 0.15;

/// Whether the camera stands where it stood.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Standing {
    /// It is not known yet how it stands.
    #[default]
    Learning,
    /// It stands as it stood.
    Stands,
    /// It was moved.
    Moved,
    /// The background shows too little, or is another one.
    CannotTell,
}

/// What of a frame is held to the background.
#[derive(Debug, Clone)]
pub struct Glance {
    at_s: f64,
    frame_px: [u32; 2],
    seen: Option<Seen>,
}

impl Glance {
    /// When the frame was taken, seconds on its source's clock.
    pub fn at_s(&self) -> f64 {
        self.at_s
    }
}

/// Takes a glance of a camera's frames now and then; it may be looked at elsewhere and later
/// ([`StandingWatch::take`]).
#[derive(Debug, Default)]
pub struct Glances {
    at_s: Option<f64>,
    frame_px: Option<[u32; 2]>,
}

impl Glances {
    /// Takes in a frame; most give nothing and cost nothing. `bodies` are the boxes of who was
    /// found in it, pixels (left, top, right, bottom).
    pub fn of(&mut self, frame: &Frame, bodies: impl Iterator<Item = [f32; 4]>) -> Option<Glance> {
        let at_s = frame.captured_at_s;
        let frame_px = [frame.width, frame.height];
        let soon = |before_s| (0.0..LOOK_EVERY_S).contains(&(at_s - before_s));
        if self.frame_px == Some(frame_px) && self.at_s.is_some_and(soon) {
            return None;
        }
        self.frame_px = Some(frame_px);
        self.at_s = Some(at_s);
        let seen = Small::of(frame).map(|picture| {
            let divisor = Small::divisor(frame.width) as f32;
            let bodies = bodies.map(|b| {
                let room = ROOM * (b[3] - b[1]).max(0.0);
                let wide = [b[0] - room, b[1] - room, b[2] + room, b[3] + room];
                wide.map(|v| v / divisor)
            });
            Seen {
                bodies: bodies.collect(),
                picture,
            }
        });
        Some(Glance {
            at_s,
            frame_px,
            seen,
        })
    }
}

/// Watches the background.
#[derive(Debug, Default)]
pub struct StandingWatch {
    pub(super) hfov_deg: f64,
    pub(super) reference: Option<Reference>,
    pub(super) learned: bool,
    pub(super) pictures: VecDeque<Seen>,
    pub(super) glances: Glances,
    pub(super) frame_px: Option<[u32; 2]>,
    pub(super) looked_at_s: Option<f64>,
    pub(super) began_s: Option<f64>,
    /// When the background was found, and by how many small pixels it was shifted.
    pub(super) looks: VecDeque<(f64, f64)>,
    /// When the background was last found.
    pub(super) found_at_s: Option<f64>,
    /// When it was last doubtful.
    pub(super) doubtful_at_s: Option<f64>,
    pub(super) last: Option<Flow>,
    pub(super) searched_at_s: Option<f64>,
    pub(super) moved: bool,
}

impl StandingWatch {
    /// For a camera that sees so many degrees across. Without a background of before the
    /// first seconds serve.
    pub fn new(hfov_deg: f64, reference: Option<Reference>) -> Self {
        StandingWatch {
            hfov_deg,
            reference,
            ..StandingWatch::default()
        }
    }

    /// The camera stands right as it stands now: the next seconds are the background.
    pub fn stands_right(&mut self) {
        *self = StandingWatch::new(self.hfov_deg, None);
    }

    /// The background that was learned since the last question, to be kept.
    pub fn take_learned(&mut self) -> Option<Reference> {
        std::mem::take(&mut self.learned)
            .then(|| self.reference.clone())
            .flatten()
    }

    /// Takes in a frame; most cost nothing. `bodies` are the boxes of who was found in it,
    /// pixels (left, top, right, bottom).
    pub fn frame(&mut self, frame: &Frame, bodies: impl Iterator<Item = [f32; 4]>) {
        if let Some(glance) = self.glances.of(frame, bodies) {
            self.take(glance);
        }
    }

    /// Takes in a glance at a frame, in order of capture time.
    pub fn take(&mut self, glance: Glance) {
        let Glance {
            at_s,
            frame_px,
            seen,
        } = glance;
        let size = Some(frame_px);
        let back = self.looked_at_s.is_some_and(|before_s| at_s < before_s);
        if back || (self.frame_px.is_some() && self.frame_px != size) {
            // A source that begins anew has its own time. The background stays, and so does
            // what was found: nobody has put the camera back.
            let reference = self.reference.take();
            *self = StandingWatch {
                moved: self.moved,
                learned: self.learned,
                glances: std::mem::take(&mut self.glances),
                ..StandingWatch::new(self.hfov_deg, reference)
            };
        }
        self.frame_px = size;
        self.began_s.get_or_insert(at_s);
        self.looked_at_s = Some(at_s);
        let Some(seen) = seen else {
            return;
        };
        let other = |r: &Reference| r.size != [seen.picture.width, seen.picture.height];
        if self.reference.as_ref().is_some_and(other) {
            // It was seen by a camera that gave pictures of another shape. Of one that was moved
            // nothing is learned until the coach says that it stands right.
            if self.moved {
                return;
            }
            self.reference = None;
        }
        match &self.reference {
            Some(_) => self.look(at_s, &seen),
            None => self.learn(seen),
        }
    }

    fn learn(&mut self, seen: Seen) {
        if self.pictures.len() == PICTURES {
            self.pictures.pop_front();
        }
        self.pictures.push_back(seen);
        if self.pictures.len() == PICTURES {
            self.reference = Reference::learn(self.pictures.make_contiguous());
            if self.reference.is_some() {
                self.learned = true;
                self.pictures.clear();
            }
        }
    }

    fn look(&mut self, at_s: f64, seen: &Seen) {
        let Some(reference) = &self.reference else {
            return;
        };
        let anywhere = self
            .searched_at_s
            .is_none_or(|before_s| at_s - before_s >= SEARCH_EVERY_S);
        let look = reference.look(seen, self.last, anywhere);
        let most_px = self.most_px(seen.picture.width);
        let near = matches!(&look, Look::Found { shift_px, .. } if *shift_px <= most_px);
        if anywhere && !near {
            self.searched_at_s = Some(at_s);
        }
        if let Look::Found { shift_px, flow } = look {
            self.last = (shift_px > most_px).then_some(flow);
            if self.looks.len() == LOOKS {
                self.looks.pop_front();
            }
            self.looks.push_back((at_s, shift_px / most_px));
            self.found_at_s = Some(at_s);
        }
        self.settle(at_s);
        if self.is_doubtful() {
            self.doubtful_at_s = Some(at_s);
        }
    }

    /// What the looks of the last seconds say together.
    fn settle(&mut self, at_s: f64) {
        while self
            .looks
            .front()
            .is_some_and(|(t_s, _)| at_s - t_s > OLD_S)
        {
            self.looks.pop_front();
        }
        if self.looks.len() < LOOKS {
            return;
        }
        let elsewhere = self.looks.iter().filter(|(_, by)| *by > 1.0).count();
        if elsewhere >= AGREE {
            self.moved = true;
        } else if elsewhere == 0 {
            self.moved = false;
        }
    }

    /// A shift of more small pixels than this counts.
    fn most_px(&self, width: usize) -> f64 {
        let width = width as f64;
        let turned = MOVED_DEG * width / self.hfov_deg.clamp(5.0, 170.0);
        turned.max(SWAY_SHARE * width)
    }

    /// Whether the camera stands where it stood.
    pub fn standing(&self) -> Standing {
        let since_s = |t_s: f64| self.looked_at_s.map_or(0.0, |now_s| now_s - t_s);
        match (&self.reference, self.found_at_s.or(self.began_s)) {
            _ if self.moved => Standing::Moved,
            (None, Some(began_s)) if since_s(began_s) < UNKNOWN_S => Standing::Learning,
            (Some(_), Some(found_s)) if since_s(found_s) < UNKNOWN_S => match self.found_at_s {
                None => Standing::Learning,
                Some(_) => Standing::Stands,
            },
            (_, Some(_)) => Standing::CannotTell,
            (_, None) => Standing::Learning,
        }
    }

    /// Whether what was seen since then may not be judged: the camera was moved for a part of
    /// it, or is being moved.
    pub fn is_doubtful_since(&self, began_s: f64) -> bool {
        self.is_doubtful() || self.doubtful_at_s.is_some_and(|at_s| at_s >= began_s)
    }

    /// Whether the camera was moved, or the last two looks say that it is being moved.
    pub fn is_doubtful(&self) -> bool {
        let mut newest = self.looks.iter().rev();
        let elsewhere = |look: Option<&(f64, f64)>| look.is_some_and(|(_, by)| *by > 1.0);
        self.moved || elsewhere(newest.next()) && elsewhere(newest.next())
    }
}
