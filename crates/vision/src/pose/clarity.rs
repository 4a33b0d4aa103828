//! How well the square that the landmark model reads shows its person.
//!
//! Measured on the model's own input, so that it costs little and says what the
//! model saw: a skater far away is drawn larger there, and as soft as the few
//! pixels of the camera make it.

use super::body::{BodyPoint, Clarity, Landmark, POINTS, Roi};
use super::landmarks::SIDE;
use crate::capture::Frame;

/// Steps of a grey level in the counts below.
const STEPS: usize = 4;
/// Counts of differences: 0 to 255 grey levels.
const COUNTS: usize = 256 * STEPS;
/// An edge is looked at over twice this many pixels for its height.
const FAR: usize = 4;
/// Room about the outermost points, pixels of the square.
const MARGIN: f32 = 10.0;
/// Every so many rows and columns are looked at: the edges of a body are long.
const EVERY: usize = 2;
/// The share of the strongest differences that make up the edges, between two
/// pixels and over [`FAR`]: the skater's outline and the borders of the kit.
const STRONGEST_NEAR: f32 = 0.98;
const STRONGEST_FAR: f32 = 0.97;
/// What counts as their height.
const STRONGEST_HEIGHT: f32 = 0.95;
/// From a median of absolute values to a standard deviation of normal ones.
const TO_DEVIATION: f32 = 1.482_6;
/// Fewer places than this say nothing.
const LEAST_PLACES: u32 = 400;

/// Measures the picture of a person in the model's input (planar RGB, 0 to 1).
/// `heat` is the model's own belief. `None` where too little is in the square.
pub(crate) fn measure(
    input: &[f32],
    points: &[Landmark; POINTS],
    roi: &Roi,
    heat: f32,
) -> Option<Clarity> {
    let plane = SIDE * SIDE;
    let (red, green, blue) = (
        input.get(..plane)?,
        input.get(plane..2 * plane)?,
        input.get(2 * plane..3 * plane)?,
    );
    let [left, top, right, bottom] = place(points, roi);
    let grey = |x: usize, y: usize| {
        let i = y * SIDE + x;
        255.0 * (0.299 * red[i] + 0.587 * green[i] + 0.114 * blue[i])
    };
    let (mut near, mut far) = (
        [Counts::new(), Counts::new()],
        [Counts::new(), Counts::new()],
    );
    let mut grain = Counts::new();
    for y in (top..bottom).step_by(EVERY) {
        for x in (left..right).step_by(EVERY) {
            near[0].count(grey(x + 1, y) - grey(x - 1, y));
            far[0].count(grey(x + FAR, y) - grey(x - FAR, y));
            near[1].count(grey(x, y + 1) - grey(x, y - 1));
            far[1].count(grey(x, y + FAR) - grey(x, y - FAR));
            grain.count((grey(x, y) - grey(x + 1, y) - grey(x, y + 1) + grey(x + 1, y + 1)) / 2.0);
        }
    }
    if grain.total < LEAST_PLACES {
        return None;
    }
    let steep =
        |way: usize| near[way].below(STRONGEST_NEAR) / far[way].below(STRONGEST_FAR).max(1.0);
    Some(Clarity {
        sharpness: steep(0).min(steep(1)),
        contrast: far[0]
            .below(STRONGEST_HEIGHT)
            .max(far[1].below(STRONGEST_HEIGHT)),
        noise: TO_DEVIATION * grain.below(0.5),
        belief: heat,
    })
}

/// Every so many rows and columns of a whole picture are looked at.
const EVERY_OF_PICTURE: usize = 4;

/// How steep the strongest edges of a whole picture are, as [`Clarity::sharpness`].
/// `None` of a picture that is too small or has no edges.
pub fn picture_sharpness(frame: &Frame) -> Option<f32> {
    let (width, height) = (frame.width as usize, frame.height as usize);
    if width < 64 || height < 64 || frame.rgb.len() < 3 * width * height {
        return None;
    }
    let grey = |x: usize, y: usize| {
        let p = &frame.rgb[3 * (y * width + x)..];
        0.299 * f32::from(p[0]) + 0.587 * f32::from(p[1]) + 0.114 * f32::from(p[2])
    };
    let (mut near, mut far) = (
        [Counts::new(), Counts::new()],
        [Counts::new(), Counts::new()],
    );
    for y in (FAR..height - FAR).step_by(EVERY_OF_PICTURE) {
        for x in (FAR..width - FAR).step_by(EVERY_OF_PICTURE) {
            near[0].count(grey(x + 1, y) - grey(x - 1, y));
            far[0].count(grey(x + FAR, y) - grey(x - FAR, y));
            near[1].count(grey(x, y + 1) - grey(x, y - 1));
            far[1].count(grey(x, y + FAR) - grey(x, y - FAR));
        }
    }
    let steep = |way: usize| {
        let height = far[way].below(STRONGEST_FAR);
        (height >= LEAST_EDGE).then(|| near[way].below(STRONGEST_NEAR) / height)
    };
    match (steep(0), steep(1)) {
        (Some(across), Some(down)) => Some(across.min(down)),
        (one, other) => one.or(other),
    }
}

/// Edges lower than this, grey levels, say nothing of the lens.
const LEAST_EDGE: f32 = 6.0;

/// The box about the body in the square, with room for the differences: left,
/// top, right, bottom.
fn place(points: &[Landmark; POINTS], roi: &Roi) -> [usize; 4] {
    let (sin, cos) = roi.rotation_rad.sin_cos();
    let scale = SIDE as f32 / roi.size_px.max(1.0);
    let mut found = [f32::MAX, f32::MAX, f32::MIN, f32::MIN];
    for point in points {
        let (dx, dy) = (point.x_px - roi.cx_px, point.y_px - roi.cy_px);
        let x = SIDE as f32 / 2.0 + (cos * dx + sin * dy) * scale;
        let y = SIDE as f32 / 2.0 + (cos * dy - sin * dx) * scale;
        found = [
            found[0].min(x),
            found[1].min(y),
            found[2].max(x),
            found[3].max(y),
        ];
    }
    // Saturating casts: what is not a number is 0.
    let inside = |v: f32| (v as usize).clamp(FAR, SIDE - FAR - 1);
    [
        inside(found[0] - MARGIN),
        inside(found[1] - MARGIN),
        inside(found[2] + MARGIN),
        inside(found[3] + MARGIN),
    ]
}

/// How often which difference was seen.
struct Counts {
    of: [u32; COUNTS],
    total: u32,
}

impl Counts {
    fn new() -> Self {
        Counts {
            of: [0; COUNTS],
            total: 0,
        }
    }

    fn count(&mut self, difference: f32) {
        let at = (difference.abs() * STEPS as f32 + 0.5) as usize;
        self.of[at.min(COUNTS - 1)] += 1;
        self.total += 1;
    }

    /// The difference that this share of all does not exceed, grey levels.
    fn below(&self, share: f32) -> f32 {
        let wanted = (share * self.total as f32).ceil() as u32;
        let mut so_far = 0;
        for (at, count) in self.of.iter().enumerate() {
            let before = so_far;
            so_far += count;
            if so_far >= wanted && *count > 0 {
                // As if those of one step lay evenly within it.
                let part = (wanted - before) as f32 / *count as f32;
                return (at as f32 - 0.5 + part).max(0.0) / STEPS as f32;
            }
        }
        0.0
    }
}

/// The points whose heat tells how sure the model is of where a body is: shoulders,
/// hips and legs.
pub(crate) const TELLING: [usize; 12] = [
    BodyPoint::LeftShoulder as usize,
    BodyPoint::RightShoulder as usize,
    BodyPoint::LeftHip as usize,
    BodyPoint::RightHip as usize,
    BodyPoint::LeftKnee as usize,
    BodyPoint::RightKnee as usize,
    BodyPoint::LeftAnkle as usize,
    BodyPoint::RightAnkle as usize,
    BodyPoint::LeftHeel as usize,
    BodyPoint::RightHeel as usize,
    BodyPoint::LeftToe as usize,
    BodyPoint::RightToe as usize,
];

#[cfg(test)]
mod tests {
    use super::*;

    /// Error function to 1.5e-7 (Abramowitz and Stegun, Handbook of Mathematical
    /// Functions, 7.1.26).
    fn erf(x: f64) -> f64 {
        let t = 1.0 / (1.0 + 0.327_591_1 * x.abs());
        let p = t
            * (0.254_829_592
                + t * (-0.284_496_736
                    + t * (1.421_413_741 + t * (-1.453_152_027 + t * 1.061_405_429))));
        x.signum() * (1.0 - p * (-x * x).exp())
    }

    /// Upright bars 32 pixels apart with borders blurred by `sigma` pixels, `height` grey
    /// levels high, as an input of the model; `grain` is added from a fixed row of numbers.
    fn bars(sigma: f64, height: f64, grain: f64) -> Vec<f32> {
        let mut state = 9u32;
        let mut input = vec![0.0; 3 * SIDE * SIDE];
        for i in 0..SIDE * SIDE {
            let (x, y) = ((i % SIDE) as f64, (i / SIDE) as f64);
            let edge = |at: f64| {
                let off = (at + 16.0).rem_euclid(32.0) - 16.0;
                let up = ((at + 16.0).div_euclid(32.0) as i64).rem_euclid(2) == 0;
                let step = 0.5 * (1.0 + erf(off / sigma / 2f64.sqrt()));
                if up { step } else { 1.0 - step }
            };
            let mut sum = 0.0;
            for _ in 0..12 {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                sum += f64::from(state) / f64::from(u32::MAX);
            }
            let level = 60.0 + height / 2.0 * (edge(x + 0.3) + edge(y + 0.3)) + grain * (sum - 6.0);
            for plane in 0..3 {
                input[plane * SIDE * SIDE + i] = (level.clamp(0.0, 255.0) / 255.0) as f32;
            }
        }
        input
    }

    fn measured(input: &[f32]) -> Clarity {
        let roi = Roi {
            cx_px: 500.0,
            cy_px: 300.0,
            size_px: 512.0,
            rotation_rad: 0.4,
        };
        let points = std::array::from_fn(|k| Landmark {
            x_px: 500.0 + if k % 2 == 0 { 140.0 } else { -140.0 },
            y_px: 300.0 + if k % 3 == 0 { 140.0 } else { -140.0 },
            ..Landmark::default()
        });
        measure(input, &points, &roi, 0.8).expect("enough is in the square")
    }

    #[test]
    fn softer_edges_are_less_sharp_whatever_their_height() {
        let mut before = f32::MAX;
        for sigma in [0.6, 1.0, 1.6, 2.4, 3.5] {
            let high = measured(&bars(sigma, 150.0, 0.0));
            let low = measured(&bars(sigma, 50.0, 0.0));
            assert!(
                high.sharpness < before - 0.02,
                "{sigma}: {high:?} after {before}"
            );
            assert!(
                (high.sharpness - low.sharpness).abs() < 0.05,
                "{high:?} {low:?}"
            );
            before = high.sharpness;
            // An edge of that blur: its steepest two pixels against eight.
            let ideal = erf(1.0 / sigma / 2f64.sqrt()) / erf(4.0 / sigma / 2f64.sqrt());
            assert!(
                (f64::from(high.sharpness) - ideal).abs() < 0.12,
                "{sigma}: {high:?} for {ideal}"
            );
        }
    }

    #[test]
    fn height_and_grain_are_told() {
        let low = measured(&bars(1.0, 40.0, 0.0));
        let high = measured(&bars(1.0, 160.0, 0.0));
        assert!(high.contrast > 3.5 * low.contrast, "{low:?} {high:?}");
        assert!(high.noise < 1.0, "{high:?}");
        for grain in [4.0, 10.0] {
            let grainy = measured(&bars(1.0, 100.0, grain));
            assert!(
                (f64::from(grainy.noise) - grain).abs() < 0.15 * grain,
                "{grainy:?}"
            );
        }
    }

    #[test]
    fn a_person_beside_the_square_is_not_measured() {
        let roi = Roi {
            cx_px: 500.0,
            cy_px: 300.0,
            size_px: 256.0,
            rotation_rad: 0.0,
        };
        let far = [Landmark {
            x_px: 9000.0,
            y_px: -4000.0,
            ..Landmark::default()
        }; POINTS];
        assert_eq!(measure(&bars(1.0, 90.0, 0.0), &far, &roi, 0.5), None);
        assert_eq!(measure(&[], &far, &roi, 0.5), None);
        let odd = [Landmark {
            x_px: f32::NAN,
            ..Landmark::default()
        }; POINTS];
        let _ = measure(&bars(1.0, 90.0, 0.0), &odd, &roi, 0.5);
    }
}
