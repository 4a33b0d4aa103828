//! The filter that steadies the region of interest between frames.
//!
//! A one-euro filter (Casiez, Roussel, Vogel, CHI 2012) with the constants of
//! the models' own pipeline. It touches only the guide points: the body's
//! points leave this module as the model gave them.

use std::f64::consts::PI;

const MIN_CUTOFF_HZ: f64 = 0.01;
const BETA: f64 = 10.0;
const SPEED_CUTOFF_HZ: f64 = 1.0;

/// Steadies the two guide points of one person.
#[derive(Debug, Clone, Default)]
pub(crate) struct Steady {
    last: Option<Last>,
}

#[derive(Debug, Clone)]
struct Last {
    at_s: f64,
    raw: [f64; 4],
    speed: [f64; 4],
    value: [f64; 4],
}

impl Steady {
    /// Filters the guides (pixels) read at time `at_s`, seconds.
    pub(crate) fn apply(&mut self, at_s: f64, guides: [[f32; 2]; 2]) -> [[f32; 2]; 2] {
        let raw = [
            f64::from(guides[0][0]),
            f64::from(guides[0][1]),
            f64::from(guides[1][0]),
            f64::from(guides[1][1]),
        ];
        // Speeds count in units of the body's own size.
        let size_px = 2.0 * (raw[2] - raw[0]).hypot(raw[3] - raw[1]);
        let scale = if size_px > 0.0 { 1.0 / size_px } else { 0.0 };
        let next = match &self.last {
            None => Last {
                at_s,
                raw,
                speed: [0.0; 4],
                value: raw,
            },
            // Time stands still or runs backward: nothing to filter over.
            Some(last) if at_s <= last.at_s => return guides,
            Some(last) => {
                let rate_hz = 1.0 / (at_s - last.at_s);
                let weight = |cutoff_hz: f64| 1.0 / (1.0 + rate_hz / (2.0 * PI * cutoff_hz));
                let mut next = last.clone();
                next.at_s = at_s;
                next.raw = raw;
                for k in 0..4 {
                    let speed = (raw[k] - last.raw[k]) * scale * rate_hz;
                    let a = weight(SPEED_CUTOFF_HZ);
                    next.speed[k] = a * speed + (1.0 - a) * last.speed[k];
                    let a = weight(MIN_CUTOFF_HZ + BETA * next.speed[k].abs());
                    next.value[k] = a * raw[k] + (1.0 - a) * last.value[k];
                }
                next
            }
        };
        let v = next.value.map(|v| v as f32);
        self.last = Some(next);
        [[v[0], v[1]], [v[2], v[3]]]
    }
}
