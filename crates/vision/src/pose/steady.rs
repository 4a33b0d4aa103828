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
                for (k, &raw) in raw.iter().enumerate() {
                    let speed = (raw - last.raw[k]) * scale * rate_hz;
                    let a = weight(SPEED_CUTOFF_HZ);
                    next.speed[k] = a * speed + (1.0 - a) * last.speed[k];
                    let a = weight(MIN_CUTOFF_HZ + BETA * next.speed[k].abs());
                    next.value[k] = a * raw + (1.0 - a) * last.value[k];
                }
                next
            }
        };
        let v = next.value.map(|v| v as f32);
        self.last = Some(next);
        [[v[0], v[1]], [v[2], v[3]]]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Expected values: the one-euro filter in numpy (64-bit) with the same
    /// constants and uneven times.
    #[test]
    fn matches_reference_values() {
        let steps: [(f64, [f32; 4], [f32; 4]); 5] = [
            (
                0.1,
                [100.0, 200.0, 100.0, 100.0],
                [100.0, 200.0, 100.0, 100.0],
            ),
            (
                0.1333,
                [103.0, 201.0, 102.0, 101.0],
                [100.4252, 200.0534, 100.1995, 100.0534],
            ),
            (
                0.2,
                [140.0, 220.0, 139.0, 118.0],
                [131.3962, 212.8992, 130.4214, 111.1688],
            ),
            (
                0.2333,
                [150.0, 221.0, 149.0, 120.0],
                [143.8494, 216.5022, 142.7928, 115.0381],
            ),
            (
                0.25,
                [149.0, 221.0, 149.0, 121.0],
                [146.2737, 217.7018, 145.7411, 116.6918],
            ),
        ];
        let mut filter = Steady::default();
        for (at_s, raw, wanted) in steps {
            let [a, b] = filter.apply(at_s, [[raw[0], raw[1]], [raw[2], raw[3]]]);
            for (found, wanted) in [a[0], a[1], b[0], b[1]].into_iter().zip(wanted) {
                assert!(
                    (found - wanted).abs() < 2e-3,
                    "{at_s}: {found}, wanted {wanted}"
                );
            }
        }
        // A second reading of the same moment passes through unfiltered.
        let same = filter.apply(0.25, [[1.0, 2.0], [3.0, 4.0]]);
        assert_eq!(same, [[1.0, 2.0], [3.0, 4.0]]);
    }
}
