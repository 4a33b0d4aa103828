//! Which passes of different cameras are the same skater.

/// Passes belong together when they share at least this much time, as a part
/// of the shorter one.
const SHARED_PART: f64 = 0.3;
/// How long after the end of a pass the other camera may still find its own
/// beginning, seconds.
const GRACE_S: f64 = 0.7;
/// Longest wait for the other camera's pass to end, seconds. A lane of 30 m
/// at 4 m/s takes 7.5 s.
const PATIENCE_S: f64 = 8.0;

/// When a pass of one camera was, seconds on the station's clock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Span {
    /// Which camera, 0 or 1.
    pub camera: usize,
    /// The owner's name of the pass.
    pub key: u64,
    /// First sample.
    pub started_at_s: f64,
    /// Last sample.
    pub ended_at_s: f64,
}

/// What a camera sees at the moment.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Watch {
    /// Since when the skater who has been passing longest is passing, seconds
    /// on the station's clock; `None` while nobody is.
    pub passing_since_s: Option<f64>,
    /// Whether the camera gives pictures at all.
    pub live: bool,
}

/// Since when the tracks before one camera are passing.
#[derive(Debug, Clone, Default)]
pub struct Presence(Vec<(u32, f64)>);

impl Presence {
    /// Takes in who is passing at `now_s`. Gives since when the one of them
    /// is passing who has been for longest.
    pub fn since(&mut self, passing: &[u32], now_s: f64) -> Option<f64> {
        self.0.retain(|(id, _)| passing.contains(id));
        for &id in passing {
            if !self.0.iter().any(|(known, _)| *known == id) {
                self.0.push((id, now_s));
            }
        }
        self.0.iter().map(|(_, since_s)| *since_s).reduce(f64::min)
    }
}

/// Holds a pass back until the other camera's pass of the same skater has
/// ended too, or none can come.
///
/// Skaters do not overtake each other in a lane, so the first pass of one
/// camera belongs to the first pass of the other that it shares time with.
#[derive(Debug, Clone, Default)]
pub struct Matcher {
    waiting: Vec<Span>,
}

impl Matcher {
    /// A matcher of two cameras, with nothing waiting.
    pub fn new() -> Self {
        Self::default()
    }

    /// A pass has ended.
    pub fn push(&mut self, span: Span) {
        self.waiting.push(span);
    }

    /// Passes that are complete at `now_s` on the station's clock, in the
    /// order they started: each one pass, or the passes of both cameras with
    /// the first camera's first. `watch` says what each camera sees now.
    pub fn due(&mut self, now_s: f64, watch: [Watch; 2]) -> Vec<Vec<Span>> {
        self.waiting
            .sort_by(|a, b| a.started_at_s.total_cmp(&b.started_at_s));
        let mut out = Vec::new();
        let mut i = 0;
        while i < self.waiting.len() {
            let one = &self.waiting[i];
            let other = self.waiting[i + 1..]
                .iter()
                .position(|o| o.camera != one.camera && belong_together(one, o));
            if let Some(offset) = other {
                let second = self.waiting.remove(i + 1 + offset);
                let first = self.waiting.remove(i);
                let mut pair = vec![first, second];
                pair.sort_by_key(|s| s.camera);
                out.push(pair);
            } else if may_still_come(one, now_s, watch) {
                i += 1;
            } else {
                out.push(vec![self.waiting.remove(i)]);
            }
        }
        out
    }

    /// Gives out everything that waits: the station ends.
    pub fn finish(&mut self) -> Vec<Vec<Span>> {
        let gone = Watch::default();
        self.due(f64::INFINITY, [gone, gone])
    }

    /// Passes that wait for the other camera.
    pub fn waiting(&self) -> usize {
        self.waiting.len()
    }
}

fn belong_together(a: &Span, b: &Span) -> bool {
    let shared = a.ended_at_s.min(b.ended_at_s) - a.started_at_s.max(b.started_at_s);
    let shorter = (a.ended_at_s - a.started_at_s).min(b.ended_at_s - b.started_at_s);
    shared > 0.0 && shared >= SHARED_PART * shorter
}

/// Whether the other camera may still see the skater of this pass.
fn may_still_come(one: &Span, now_s: f64, watch: [Watch; 2]) -> bool {
    let Some(other) = watch.get(1 - one.camera.min(1)) else {
        return false;
    };
    let waited_s = now_s - one.ended_at_s;
    if !other.live || waited_s > PATIENCE_S {
        return false;
    }
    match other.passing_since_s {
        // Somebody who came after this skater had left is somebody else.
        Some(since_s) => since_s <= one.ended_at_s + GRACE_S,
        None => waited_s <= GRACE_S,
    }
}
