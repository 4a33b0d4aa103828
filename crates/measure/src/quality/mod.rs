//! How well a pass was seen: picture rate, sharpness, contrast, noise, size and
//! steadiness, moment by moment, and what that means for a quantity.
//!
//! Takes: the sightings of a pass, with what the pose model's module measured of
//! each picture, and how large a metre was in the picture.
//! Gives: the [`Quality`] of any span of time. What a quantity needs of it stands with
//! the rules.
//! Fails: never; what was not measured is `None` and holds nothing up.
//!
//! Pure: no I/O, no clock, no threads.

mod steadiness;

use serde::{Deserialize, Serialize};

use crate::body::{Clarity, ModelKind};
use crate::geometry::median;
use crate::track::Pass;
use steadiness::unsteady_px;

/// How well the skater was seen over a span of time.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Quality {
    /// Analysed pictures a second, by the longest time between two of them; `None` of
    /// fewer than two.
    pub pictures_per_s: Option<f64>,
    /// As [`Clarity::sharpness`], median.
    pub sharpness: Option<f64>,
    /// As [`Clarity::contrast`], median, grey levels.
    pub contrast: Option<f64>,
    /// As [`Clarity::noise`], median, grey levels.
    pub noise: Option<f64>,
    /// As [`Clarity::belief`], median.
    pub belief: Option<f64>,
    /// That as a share of what the model believes in clear pictures ([`Quality::read_by`]).
    pub sure_share: Option<f64>,
    /// Stature of the lane's skaters in the picture, median, pixels.
    pub stature_px: f64,
    /// How much hips, knees and ankles jitter from picture to picture, standard
    /// deviation as a share of stature.
    pub unsteady_share: Option<f64>,
}

/// What the models believe of rendered skaters seen from the side in clear pictures, median
/// of `demo/side-good.mp4`. Of a real person in clear pictures they believe more (0.74 to 0.84 with
/// `full`), so that she is not taken for unclear.
const USUAL_BELIEF_HEAVY: f64 = 0.75;
const USUAL_BELIEF_FULL: f64 = 0.657;
const USUAL_BELIEF_LITE: f64 = 0.554;

impl Quality {
    /// The same with how sure this model was, who read it.
    pub fn read_by(self, model: ModelKind) -> Self {
        let usual = match model {
            ModelKind::Heavy => USUAL_BELIEF_HEAVY,
            ModelKind::Full => USUAL_BELIEF_FULL,
            ModelKind::Lite => USUAL_BELIEF_LITE,
        };
        Quality {
            sure_share: self.belief.map(|belief| belief / usual),
            ..self
        }
    }

    /// The same with the decimals that mean something; what is no number is `None`.
    pub fn rounded(self) -> Self {
        let rounded = |value: Option<f64>, steps: f64| {
            value
                .map(|v| (v * steps).round() / steps)
                .filter(|v| v.is_finite())
        };
        Quality {
            pictures_per_s: rounded(self.pictures_per_s, 10.0),
            sharpness: rounded(self.sharpness, 1000.0),
            contrast: rounded(self.contrast, 10.0),
            noise: rounded(self.noise, 100.0),
            belief: rounded(self.belief, 1000.0),
            sure_share: rounded(self.sure_share, 1000.0),
            stature_px: rounded(Some(self.stature_px), 1.0).unwrap_or_default(),
            unsteady_share: rounded(self.unsteady_share, 100_000.0),
        }
    }
}

/// One sighting, as far as quality is concerned.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Moment {
    t_s: f64,
    clarity: Option<Clarity>,
    stature_px: f64,
    unsteady_share: Option<f64>,
}

/// How well a pass was seen, moment by moment.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Sight {
    moments: Vec<Moment>,
}

impl Sight {
    /// Of a pass. `stature_px` says how tall the lane's skaters are in the picture at
    /// a time.
    pub fn of_pass(pass: &Pass, stature_px: impl Fn(f64) -> f64) -> Self {
        let unsteady = unsteady_px(&pass.samples);
        let moments = pass
            .samples
            .iter()
            .zip(unsteady)
            .map(|(sample, unsteady_px)| {
                let stature_px = stature_px(sample.t_s);
                Moment {
                    t_s: sample.t_s,
                    clarity: sample.clarity,
                    stature_px,
                    unsteady_share: unsteady_px.map(|px| px / stature_px.max(1.0)),
                }
            });
        Sight {
            moments: moments.collect(),
        }
    }

    /// Over a span of time, seconds on the source's clock.
    pub fn over(&self, [from_s, to_s]: [f64; 2]) -> Quality {
        let start = self.moments.partition_point(|m| m.t_s < from_s);
        let end = self.moments.partition_point(|m| m.t_s <= to_s);
        let inside = self.moments.get(start..end).unwrap_or_default();
        let of_clarity = |read: fn(&Clarity) -> f32| {
            let read = |m: &Moment| m.clarity.as_ref().map(|c| f64::from(read(c)));
            median(&mut inside.iter().filter_map(read).collect::<Vec<_>>())
        };
        // The pictures before and after the span as well: what happened between two of
        // them was not seen, on whichever side of its border they are.
        let around = self
            .moments
            .get(start.saturating_sub(1)..(end + 1).min(self.moments.len()))
            .unwrap_or_default();
        let longest_s = around
            .windows(2)
            .map(|w| w[1].t_s - w[0].t_s)
            .fold(0.0, f64::max);
        Quality {
            pictures_per_s: (longest_s > 0.0).then(|| 1.0 / longest_s),
            sharpness: of_clarity(|c| c.sharpness),
            contrast: of_clarity(|c| c.contrast),
            noise: of_clarity(|c| c.noise),
            belief: of_clarity(|c| c.belief),
            sure_share: None,
            stature_px: median(&mut inside.iter().map(|m| m.stature_px).collect::<Vec<_>>())
                .unwrap_or_default(),
            unsteady_share: median(
                &mut inside
                    .iter()
                    .filter_map(|m| m.unsteady_share)
                    .collect::<Vec<_>>(),
            ),
        }
    }
}

#[cfg(test)]
mod tests;
