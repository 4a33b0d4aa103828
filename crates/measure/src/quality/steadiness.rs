//! How much body points jitter from picture to picture.

use crate::body::BodyPoint;
use crate::track::Sample;

/// Sightings looked at together: a body's points follow a cubic curve over five
/// pictures far closer than the model reads them, also at 15 a second.
const TOGETHER: usize = 5;

/// The points whose jitter spoils what is measured.
const POINTS: [BodyPoint; 6] = [
    BodyPoint::LeftHip,
    BodyPoint::RightHip,
    BodyPoint::LeftKnee,
    BodyPoint::RightKnee,
    BodyPoint::LeftAnkle,
    BodyPoint::RightAnkle,
];

/// Jitter of the legs around each sighting, pixels, as the standard deviation of one
/// coordinate; `None` at the ends of a pass.
///
/// What is left of five readings when a cubic curve in time is taken out of them has one
/// number, the fourth divided difference; scaled so that its deviation is that of
/// a reading.
pub(super) fn unsteady_px(samples: &[Sample]) -> Vec<Option<f64>> {
    let mut found = vec![None; samples.len()];
    for (start, window) in samples.windows(TOGETHER).enumerate() {
        let Some(weights) = weights(window) else {
            continue;
        };
        let mut squares = 0.0;
        for point in POINTS {
            for axis in 0..2 {
                let left_over: f64 = window
                    .iter()
                    .zip(weights)
                    .map(|(sample, weight)| {
                        let p = &sample.points[point as usize];
                        weight * f64::from(if axis == 0 { p.x_px } else { p.y_px })
                    })
                    .sum();
                squares += left_over * left_over;
            }
        }
        let px = (squares / (2 * POINTS.len()) as f64).sqrt();
        found[start + TOGETHER / 2] = px.is_finite().then_some(px);
    }
    found
}

/// Weights of the fourth divided difference at these times, of length 1.
fn weights(window: &[Sample]) -> Option<[f64; TOGETHER]> {
    let mut weights = [0.0; TOGETHER];
    for (i, weight) in weights.iter_mut().enumerate() {
        let others = (0..TOGETHER).filter(|&j| j != i);
        let product: f64 = others.map(|j| window[i].t_s - window[j].t_s).product();
        *weight = 1.0 / product;
    }
    let length = weights.iter().map(|w| w * w).sum::<f64>().sqrt();
    (length.is_finite() && length > 0.0).then(|| weights.map(|w| w / length))
}
