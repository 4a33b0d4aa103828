//! Too much to do: when the lighter model takes over, and when it hands back.
//!
//! Pure: takes how long frames took, gives advice. Dropping frames comes
//! first and by itself (the newest wins, the delay does not grow); this is
//! about the point where so many are dropped that strides can no longer be
//! read.

use std::collections::VecDeque;

use crate::station::settings::choices::ModelChoice;

/// Fewer analysed frames a second than this are too few: a push of 0.4 s then
/// has eight frames. Chosen, not measured.
const TOO_FEW_PER_S: f64 = 20.0;
/// The more exact model comes back when it would manage this many. Well above, so
/// that it does not go to and fro.
const ENOUGH_PER_S: f64 = 27.0;
/// Frames with somebody in them that are looked at: about two to five
/// seconds of skating. The others cost nearly nothing and say nothing.
const LOOKED_AT: usize = 60;
/// Fewer do where each takes long: so many, and so many seconds of work.
const FEW: usize = 12;
const FEW_WORK_S: f64 = 3.0;
/// Frames with somebody in them for which the more exact model has to be
/// affordable before it comes back; doubled after each return that did not
/// last.
const CALM: u64 = 900;
const LONGEST_CALM: u64 = 16 * CALM;
/// A return that lasted for this many frames was right.
const LASTED: u64 = 3600;
/// How many times as long as the next lighter one a model takes for a frame,
/// until it was measured. See `docs/reliability.md` and `docs/speed.md`.
const HEAVY_TO_FULL: f64 = 4.0;
const FULL_TO_LITE: f64 = 1.6;
/// What a measured ratio is kept within.
const BELIEVED_RATIO: [f64; 2] = [1.2, 6.0];

/// What to do now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Advice {
    /// Nothing.
    Stay,
    /// Change to this model.
    Change(ModelChoice),
}

/// One analysed frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FrameCost {
    /// Seconds from one picture of the camera to the next.
    pub period_s: f64,
    /// Seconds the analysis took.
    pub took_s: f64,
    /// Bodies in the frame.
    pub bodies: usize,
}

/// Watches the cost of the frames.
#[derive(Debug, Clone)]
pub struct LoadMonitor {
    /// The model that was asked for: nothing goes above it.
    asked: ModelChoice,
    model: ModelChoice,
    costs: VecDeque<FrameCost>,
    /// Seconds a frame takes with the next more exact model over this one,
    /// where it was measured.
    ratio: Option<f64>,
    /// Median cost with the model before when it was given up, seconds.
    given_up_at_s: Option<f64>,
    calm: u64,
    calm_needed: u64,
    since_change: u64,
}

impl LoadMonitor {
    /// The model that was asked for is at work.
    pub fn new(asked: ModelChoice) -> Self {
        LoadMonitor {
            asked,
            model: asked,
            costs: VecDeque::with_capacity(LOOKED_AT),
            ratio: None,
            given_up_at_s: None,
            calm: 0,
            calm_needed: CALM,
            since_change: 0,
        }
    }

    /// The model that was asked for.
    pub fn asked(&self) -> ModelChoice {
        self.asked
    }

    /// The model this is about.
    pub fn model(&self) -> ModelChoice {
        self.model
    }

    /// Takes in a frame. Values that are no positive number are left out.
    pub fn frame(&mut self, cost: FrameCost) -> Advice {
        let good = |v: f64| v.is_finite() && v > 0.0;
        if cost.bodies == 0 || !good(cost.period_s) || !good(cost.took_s) {
            return Advice::Stay;
        }
        self.since_change += 1;
        if self.costs.len() == LOOKED_AT {
            self.costs.pop_front();
        }
        self.costs.push_back(cost);
        let work_s: f64 = self.costs.iter().map(|c| c.took_s).sum();
        let slow = self.costs.len() >= FEW && work_s >= FEW_WORK_S;
        if self.costs.len() < LOOKED_AT && !slow {
            return Advice::Stay;
        }
        let took_s = self.median(|c| c.took_s);
        let period_s = self.median(|c| c.period_s);
        if self.model == self.asked && self.since_change == LASTED {
            self.calm_needed = CALM;
        }
        // A slow camera gives no more, whatever the model.
        let late = took_s > 1.0 / TOO_FEW_PER_S && took_s > period_s;
        if late && let Some(lighter) = self.model.lighter() {
            self.given_up_at_s = Some(took_s);
            return Advice::Change(lighter);
        }
        let below = self.model != self.asked;
        let Some(more_exact) = self.model.more_exact().filter(|_| below) else {
            return Advice::Stay;
        };
        if let Some(before_s) = self.given_up_at_s.take() {
            let [least, most] = BELIEVED_RATIO;
            self.ratio = Some((before_s / took_s).clamp(least, most));
        }
        let usual = match more_exact {
            ModelChoice::Heavy => HEAVY_TO_FULL,
            ModelChoice::Full | ModelChoice::Lite => FULL_TO_LITE,
        };
        let would_take_s = took_s * self.ratio.unwrap_or(usual);
        let affordable = would_take_s < (1.0 / ENOUGH_PER_S).max(period_s);
        self.calm = if affordable { self.calm + 1 } else { 0 };
        if self.calm >= self.calm_needed {
            Advice::Change(more_exact)
        } else {
            Advice::Stay
        }
    }

    /// The change was made.
    pub fn changed(&mut self, to: ModelChoice) {
        let down = self.model.lighter() == Some(to);
        if down && self.since_change < LASTED && self.calm > 0 {
            self.calm_needed = (2 * self.calm_needed).min(LONGEST_CALM);
        }
        self.model = to;
        self.costs.clear();
        self.since_change = 0;
        if down {
            self.calm = 0;
        } else {
            // What was measured was the step just gone.
            self.ratio = None;
            self.given_up_at_s = None;
        }
    }

    fn median(&self, of: impl Fn(&FrameCost) -> f64) -> f64 {
        let mut values: Vec<f64> = self.costs.iter().map(of).collect();
        let middle = values.len() / 2;
        *values.select_nth_unstable_by(middle, f64::total_cmp).1
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cost(took_ms: f64, fps: f64) -> FrameCost {
        FrameCost {
            period_s: 1.0 / fps,
            took_s: took_ms / 1000.0,
            bodies: 1,
        }
    }

    /// Frames until the advice to change, which is then followed.
    fn frames_until_change(load: &mut LoadMonitor, cost: FrameCost, at_most: u64) -> Option<u64> {
        for n in 1..=at_most {
            if let Advice::Change(to) = load.frame(cost) {
                load.changed(to);
                return Some(n);
            }
        }
        None
    }

    #[test]
    fn a_machine_that_keeps_up_or_nearly_stays_with_the_full_model() {
        for (took_ms, fps) in [(20.0, 30.0), (33.0, 60.0), (45.0, 30.0)] {
            let mut load = LoadMonitor::new(ModelChoice::Full);
            assert_eq!(
                frames_until_change(&mut load, cost(took_ms, fps), 5000),
                None
            );
        }
    }

    #[test]
    fn too_slow_means_lite_soon_but_not_for_one_slow_frame() {
        let mut load = LoadMonitor::new(ModelChoice::Full);
        for n in 0..600 {
            let took = if n % 3 == 0 { 300.0 } else { 25.0 };
            assert_eq!(load.frame(cost(took, 30.0)), Advice::Stay);
        }
        let mut load = LoadMonitor::new(ModelChoice::Full);
        assert_eq!(
            frames_until_change(&mut load, cost(51.0, 30.0), 100),
            Some(59),
            "three seconds of work"
        );
        // So slow that nearly nothing is analysed: after twelve frames.
        let mut load = LoadMonitor::new(ModelChoice::Full);
        assert_eq!(
            frames_until_change(&mut load, cost(400.0, 30.0), 100),
            Some(FEW as u64)
        );
        assert_eq!(load.model(), ModelChoice::Lite);
    }

    #[test]
    fn a_slow_camera_is_no_reason() {
        let mut load = LoadMonitor::new(ModelChoice::Full);
        assert_eq!(frames_until_change(&mut load, cost(80.0, 10.0), 1000), None);
    }

    #[test]
    fn an_empty_lane_says_nothing() {
        let mut load = LoadMonitor::new(ModelChoice::Full);
        for _ in 0..1000 {
            let empty = FrameCost {
                bodies: 0,
                ..cost(900.0, 30.0)
            };
            assert_eq!(load.frame(empty), Advice::Stay);
        }
    }

    #[test]
    fn it_comes_back_when_the_core_comes_back_and_not_before() {
        let mut load = LoadMonitor::new(ModelChoice::Full);
        frames_until_change(&mut load, cost(80.0, 30.0), 100);
        // Still stolen: lite takes 50, full would take 80.
        assert_eq!(frames_until_change(&mut load, cost(50.0, 30.0), 5000), None);
        // Given back: lite takes 15, full would take 24.
        let back = frames_until_change(&mut load, cost(15.0, 30.0), 5000);
        assert!(
            back.is_some_and(|n| n >= CALM && n <= CALM + LOOKED_AT as u64),
            "{back:?}"
        );
        assert_eq!(load.model(), ModelChoice::Full);
    }

    /// A machine on which lite always looks good and full always fails: the
    /// returns get rarer instead of going to and fro.
    #[test]
    fn returns_that_do_not_last_get_rarer() {
        let mut load = LoadMonitor::new(ModelChoice::Full);
        let mut stays = Vec::new();
        for _ in 0..8 {
            frames_until_change(&mut load, cost(80.0, 30.0), 200);
            load.given_up_at_s = None;
            load.ratio = None;
            stays.extend(frames_until_change(&mut load, cost(10.0, 30.0), 1_000_000));
        }
        assert_eq!(stays.len(), 8);
        assert!(stays.windows(2).all(|w| w[1] >= w[0]), "{stays:?}");
        assert!(stays[3] >= 4 * stays[0], "{stays:?}");
        assert!(*stays.last().unwrap() <= LONGEST_CALM + LOOKED_AT as u64);
    }

    /// From the heaviest down to the lightest, one at a time, and up again to
    /// the one that was asked for and not beyond.
    #[test]
    fn every_model_has_its_turn() {
        for asked in [ModelChoice::Heavy, ModelChoice::Full] {
            let mut load = LoadMonitor::new(asked);
            let mut seen = vec![load.model()];
            for took_ms in [200.0, 100.0] {
                if frames_until_change(&mut load, cost(took_ms, 30.0), 200).is_some() {
                    seen.push(load.model());
                }
            }
            assert_eq!(load.model(), ModelChoice::Lite);
            for _ in 0..2 {
                if frames_until_change(&mut load, cost(5.0, 30.0), 50_000).is_some() {
                    seen.push(load.model());
                }
            }
            assert_eq!(load.model(), asked);
            let all = ["heavy", "full", "lite", "full", "heavy"];
            let expected = if asked == ModelChoice::Heavy {
                &all[..]
            } else {
                &all[1..4]
            };
            let names: Vec<&str> = seen.iter().map(|m| m.name()).collect();
            assert_eq!(names, expected);
        }
    }

    /// Back at the middle model, three skaters come again: that is no reason to
    /// think the heavy one affordable.
    #[test]
    fn the_heavy_model_stays_away_where_it_would_be_late() {
        let mut load = LoadMonitor::new(ModelChoice::Heavy);
        frames_until_change(&mut load, cost(60.0, 30.0), 200);
        assert_eq!(load.model(), ModelChoice::Full);
        assert_eq!(frames_until_change(&mut load, cost(20.0, 30.0), 5000), None);
    }

    #[test]
    fn numbers_that_are_none_change_nothing() {
        let mut load = LoadMonitor::new(ModelChoice::Full);
        for bad in [f64::NAN, f64::INFINITY, 0.0, -1.0] {
            for _ in 0..200 {
                assert_eq!(
                    load.frame(FrameCost {
                        took_s: bad,
                        ..cost(1.0, 30.0)
                    }),
                    Advice::Stay
                );
                assert_eq!(
                    load.frame(FrameCost {
                        period_s: bad,
                        ..cost(900.0, 30.0)
                    }),
                    Advice::Stay
                );
            }
        }
        assert!(load.costs.is_empty());
    }
}
