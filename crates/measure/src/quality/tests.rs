use super::*;
use crate::body::Clarity;
use crate::config::View;
use crate::stride::synthetic::{Skater, lane};
use crate::track::Pass;

fn pass(fps: f64) -> Pass {
    let skater = Skater::default();
    skater.pass(&lane(View::Side, &skater), fps)
}

fn sight(pass: &Pass) -> Sight {
    Sight::of_pass(pass, |_| 300.0)
}

#[test]
fn the_rate_is_that_of_the_longest_gap_in_the_span() {
    let whole = pass(30.0);
    let rate = |pass: &Pass, span| sight(pass).over(span).pictures_per_s.unwrap_or_default();
    assert!((rate(&whole, [0.2, 0.8]) - 30.0).abs() < 0.01);
    // Three pictures are missing: from 0.4 to 0.5333.
    let mut holed = whole.clone();
    holed.samples.drain(13..16);
    assert!((rate(&holed, [0.2, 0.8]) - 7.5).abs() < 0.01);
    assert!((rate(&holed, [0.6, 0.9]) - 30.0).abs() < 0.01);
    // A hole that reaches over the border of the span counts.
    assert!((rate(&holed, [0.5, 0.9]) - 7.5).abs() < 0.01);
    assert_eq!(sight(&holed).over([90.0, 91.0]).pictures_per_s, None);
    assert_eq!(Sight::default().over([0.0, 1.0]), Quality::default());
}

#[test]
fn clarity_is_the_median_of_what_was_measured() {
    let mut seen = pass(30.0);
    let none = sight(&seen).over([0.0, 2.0]);
    assert_eq!((none.sharpness, none.noise), (None, None));
    for (k, sample) in seen.samples.iter_mut().enumerate() {
        sample.clarity = (k % 3 != 0).then_some(Clarity {
            sharpness: if k == 10 { 0.1 } else { 0.5 },
            contrast: 120.0,
            noise: 2.0,
            belief: 0.9,
        });
    }
    let quality = sight(&seen).over([0.1, 0.9]);
    assert_eq!(quality.sharpness, Some(0.5));
    assert_eq!((quality.contrast, quality.noise), (Some(120.0), Some(2.0)));
    assert_eq!(quality.stature_px, 300.0);
}

/// Normal noise on the points is found again, at every rate that is judged, and a
/// skater without noise is steady.
#[test]
fn jitter_is_told_from_movement() {
    for fps in [15.0, 20.0, 30.0, 60.0] {
        let mut seen = pass(fps);
        let still = sight(&seen).over([0.0, 2.0]).unsteady_share.expect("known");
        assert!(still < 0.006, "{fps}: {still}");
        let mut state = 5u32;
        for sample in &mut seen.samples {
            for point in &mut sample.points {
                for value in [&mut point.x_px, &mut point.y_px] {
                    let mut sum = 0.0;
                    for _ in 0..12 {
                        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                        sum += state as f32 / u32::MAX as f32;
                    }
                    *value += 6.0 * (sum - 6.0);
                }
            }
        }
        let found = sight(&seen).over([0.0, 2.0]).unsteady_share.expect("known");
        assert!((found - 0.02).abs() < 0.005, "{fps}: {found} for 0.02");
    }
}

#[test]
fn numbers_are_rounded_and_never_infinite() {
    let odd = Quality {
        pictures_per_s: Some(f64::INFINITY),
        sharpness: Some(0.123_456),
        stature_px: f64::NAN,
        ..Quality::default()
    }
    .rounded();
    assert_eq!((odd.pictures_per_s, odd.sharpness), (None, Some(0.123)));
    assert_eq!(odd.stature_px, 0.0);
}
