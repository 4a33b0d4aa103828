//! How far off the numbers of a lane may be: their keys, and what they are together.

use serde::{Deserialize, Serialize};

use super::document::Section;
use super::error::ConfigError;
use super::key::{Absent, Key, Kind};
use super::lane::{Lane, Subject};
use crate::calibration::set_up;
use crate::geometry::{Known, factored};

/// The numbers of a lane that the camera's place is made of.
const PLACE: usize = 5;
/// Where the lane's distance stands among them.
const DISTANCE: usize = 4;
/// These, and the stature.
pub const UNSURE: usize = PLACE + 1;
/// Pairs of the camera's numbers.
pub const PAIRS: usize = PLACE * (PLACE - 1) / 2;

/// One standard deviation of each number of a lane, as far as it was given.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LaneErrors {
    /// Of the camera's height, metres.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub camera_height_sd_m: Option<f64>,
    /// Of the tilt, degrees.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tilt_sd_deg: Option<f64>,
    /// Of the horizontal field of view, degrees.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hfov_sd_deg: Option<f64>,
    /// Of the roll, degrees.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub roll_sd_deg: Option<f64>,
    /// Of the lane's distance, metres.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lane_distance_sd_m: Option<f64>,
    /// Of the stature, metres.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub skater_height_sd_m: Option<f64>,
    /// Correlations of the first five, pair by pair: 1-2, 1-3, 1-4, 1-5, 2-3, ...
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub error_correlations: Option<[f64; PAIRS]>,
}

const fn deviation(
    name: &'static str,
    high: f64,
    left_out: &'static str,
    example: &'static str,
    what: &'static str,
) -> Key {
    Key {
        name,
        kind: Kind::Number { low: 0.0, high },
        absent: Absent::Means(left_out),
        example,
        what,
    }
}

const CAMERA_HEIGHT: Key = deviation(
    "camera_height_sd_m",
    2.0,
    "0.02 where people skate, 0 where bodies are rendered",
    "0.02",
    "How far off camera_height_m may be, one standard deviation, metres. This and the next five go into the stated uncertainty of every value; the scale of the panel writes them.",
);
const TILT: Key = deviation(
    "tilt_sd_deg",
    10.0,
    "0.7 where people skate, 0 where bodies are rendered",
    "0.7",
    "How far off tilt_deg may be, one standard deviation, degrees.",
);
const HFOV: Key = deviation(
    "hfov_sd_deg",
    30.0,
    "2 where people skate, 0 where bodies are rendered",
    "2",
    "How far off hfov_deg may be, one standard deviation, degrees.",
);
const ROLL: Key = deviation(
    "roll_sd_deg",
    20.0,
    "0.7 where people skate, 0 where bodies are rendered",
    "0.7",
    "How far off roll_deg may be, one standard deviation, degrees.",
);
const LANE_DISTANCE: Key = deviation(
    "lane_distance_sd_m",
    20.0,
    "0.1 where people skate, 0 where bodies are rendered",
    "0.1",
    "How far off lane_distance_m may be, and the line the skaters really follow, one standard deviation, metres.",
);
const SKATER_HEIGHT: Key = deviation(
    "skater_height_sd_m",
    0.3,
    "0.07 where people skate, 0 where bodies are rendered",
    "0.07",
    "How far the skaters' statures lie from skater_height_m, one standard deviation, metres. Of a skater whose stature is on the roster it is 0.02.",
);
const CORRELATIONS: Key = Key {
    name: "error_correlations",
    kind: Kind::Numbers {
        count: PAIRS,
        low: -1.0,
        high: 1.0,
    },
    absent: Absent::Means("the errors have nothing to do with each other"),
    example: "[0, 0, 0, 0, 0, 0, 0, 0, 0, 0]",
    what: "How the errors of the camera's numbers go together, as correlations: height with tilt, field of view, roll, distance; tilt with field of view, roll, distance; field of view with roll, distance; roll with distance. The scale of the panel writes them: a distance and a field of view that were found together make up for each other.",
};

/// The keys, in the order of the reference.
pub const LANE_ERROR_KEYS: [&Key; UNSURE + 1] = [
    &CAMERA_HEIGHT,
    &TILT,
    &HFOV,
    &ROLL,
    &LANE_DISTANCE,
    &SKATER_HEIGHT,
    &CORRELATIONS,
];

/// A place further than this below what can be is no rounding.
const ROUNDING: f64 = 1e-3;
/// Steps of written deviations and correlations.
const SD_STEPS: f64 = 1e5;
const CORRELATION_STEPS: f64 = 1e6;

impl LaneErrors {
    /// Whether nothing was given.
    pub fn is_empty(&self) -> bool {
        *self == LaneErrors::default()
    }

    /// Of numbers that were set up by hand before people.
    pub fn by_hand() -> Self {
        LaneErrors {
            camera_height_sd_m: Some(set_up::CAMERA_HEIGHT_SD_M),
            tilt_sd_deg: Some(set_up::TILT_SD_DEG),
            hfov_sd_deg: Some(set_up::HFOV_SD_DEG),
            roll_sd_deg: Some(set_up::ROLL_SD_DEG),
            lane_distance_sd_m: Some(set_up::LANE_DISTANCE_SD_M),
            skater_height_sd_m: Some(set_up::SKATER_HEIGHT_SD_M),
            error_correlations: None,
        }
    }

    /// Of numbers that are exact.
    pub fn none() -> Self {
        Self::of_place([0.0; PLACE], None, Some(0.0))
    }

    /// What was found of the camera's place, in the order of the keys; of the stature nothing.
    ///
    /// The line of the lane was found as it is marked. How far from it they skate is as unknown
    /// as where it was measured with a tape, and has nothing to do with the camera.
    pub fn found(known: [Known; PLACE], correlations: [f64; PAIRS]) -> Self {
        let most = most();
        let mut sd = known.map(|k| k.error);
        let (of_marks, whole) = (sd[DISTANCE], sd[DISTANCE].hypot(set_up::LANE_DISTANCE_SD_M));
        sd[DISTANCE] = whole;
        let mut together = matrix(&correlations);
        for number in (0..PLACE).filter(|i| *i != DISTANCE) {
            let r = together[number][DISTANCE] * of_marks / whole;
            (together[number][DISTANCE], together[DISTANCE][number]) = (r, r);
        }
        let steps = |v: f64, steps: f64| (v * steps).round() / steps;
        let sd = std::array::from_fn(|i| steps(sd[i], SD_STEPS).clamp(0.0, most[i]));
        let together = pairs(&together).map(|r| steps(r, CORRELATION_STEPS));
        Self::of_place(sd, Some(together), None)
    }

    fn of_place(sd: [f64; PLACE], together: Option<[f64; PAIRS]>, stature: Option<f64>) -> Self {
        let [height, tilt, hfov, roll, distance] = sd.map(Some);
        LaneErrors {
            camera_height_sd_m: height,
            tilt_sd_deg: tilt,
            hfov_sd_deg: hfov,
            roll_sd_deg: roll,
            lane_distance_sd_m: distance,
            skater_height_sd_m: stature,
            error_correlations: together,
        }
    }

    /// What is not given taken from `others`.
    #[must_use]
    pub fn or(self, others: LaneErrors) -> Self {
        LaneErrors {
            camera_height_sd_m: self.camera_height_sd_m.or(others.camera_height_sd_m),
            tilt_sd_deg: self.tilt_sd_deg.or(others.tilt_sd_deg),
            hfov_sd_deg: self.hfov_sd_deg.or(others.hfov_sd_deg),
            roll_sd_deg: self.roll_sd_deg.or(others.roll_sd_deg),
            lane_distance_sd_m: self.lane_distance_sd_m.or(others.lane_distance_sd_m),
            skater_height_sd_m: self.skater_height_sd_m.or(others.skater_height_sd_m),
            error_correlations: self.error_correlations.or(others.error_correlations),
        }
    }

    /// The standard deviations in the order of the keys; 0 where none is given. Records are
    /// read unchecked: none is larger than a file may say.
    fn deviations(&self) -> [f64; UNSURE] {
        let (given, most) = (self.given(), most());
        std::array::from_fn(|i| {
            let sd = given[i].filter(|sd| sd.is_finite());
            sd.map_or(0.0, |sd| sd.clamp(0.0, most[i]))
        })
    }

    /// The standard deviations in the order of the keys.
    fn given(&self) -> [Option<f64>; UNSURE] {
        [
            self.camera_height_sd_m,
            self.tilt_sd_deg,
            self.hfov_sd_deg,
            self.roll_sd_deg,
            self.lane_distance_sd_m,
            self.skater_height_sd_m,
        ]
    }

    /// Moves of the lane's numbers, in the order of the keys, that are one standard deviation
    /// each and have nothing to do with each other: together they make the errors that are
    /// stated. Where these are independent, one number each.
    pub fn moves(&self) -> Vec<[f64; UNSURE]> {
        let sd = self.deviations();
        let columns = match &self.error_correlations {
            None => None,
            // One that cannot be was refused when it was read.
            Some(pairs) => factored(&matrix(pairs), ROUNDING),
        };
        let columns = columns.unwrap_or_else(|| {
            let one = |i| std::array::from_fn(|k| f64::from(u8::from(i == k)));
            (0..PLACE).map(one).collect()
        });
        let of_place = columns.iter().map(|column: &[f64; PLACE]| {
            std::array::from_fn(|i| column.get(i).map_or(0.0, |part| part * sd[i]))
        });
        let mut of_stature = [0.0; UNSURE];
        of_stature[PLACE] = sd[PLACE];
        of_place
            .chain([of_stature])
            .filter(|by: &[f64; UNSURE]| by.iter().any(|v| *v != 0.0))
            .collect()
    }

    /// Reads the keys; what is left out stays open.
    pub(super) fn from_section(root: &Section<'_>) -> Result<Self, ConfigError> {
        let errors = LaneErrors {
            camera_height_sd_m: root.optional_number(&CAMERA_HEIGHT)?,
            tilt_sd_deg: root.optional_number(&TILT)?,
            hfov_sd_deg: root.optional_number(&HFOV)?,
            roll_sd_deg: root.optional_number(&ROLL)?,
            lane_distance_sd_m: root.optional_number(&LANE_DISTANCE)?,
            skater_height_sd_m: root.optional_number(&SKATER_HEIGHT)?,
            error_correlations: root.optional_numbers(&CORRELATIONS)?,
        };
        if let Some(pairs) = &errors.error_correlations
            && factored(&matrix(pairs), ROUNDING).is_none()
        {
            return Err(root.conflict(
                CORRELATIONS.name,
                "error_correlations contradict each other; leave the key out, or find the scale anew"
                    .to_owned(),
            ));
        }
        Ok(errors)
    }

    /// The keys that are given, as lines of a lane file.
    pub fn to_toml(&self) -> String {
        let lines = self.written().into_iter();
        let lines = lines.map(|(key, value)| format!("{} = {value}\n", key.name));
        lines.collect()
    }

    /// The keys that are given, each with its value as it is written.
    pub(super) fn written(&self) -> Vec<(&'static Key, String)> {
        let number = |v: f64| format!("{}", (v * SD_STEPS).round() / SD_STEPS);
        let keys = LANE_ERROR_KEYS.into_iter();
        let mut written: Vec<(&Key, String)> = keys
            .zip(self.given())
            .filter_map(|(key, sd)| Some((key, number(sd?))))
            .collect();
        if let Some(pairs) = self.error_correlations {
            let list = pairs.map(|r| format!("{r}")).join(", ");
            written.push((&CORRELATIONS, format!("[{list}]")));
        }
        written
    }
}

/// The most a file may say of each number, in the order of the keys.
fn most() -> [f64; UNSURE + 1] {
    LANE_ERROR_KEYS.map(|key| match key.kind {
        Kind::Number { high, .. } => high,
        _ => f64::MAX,
    })
}

/// The pairs of the camera's numbers, in the order of their correlations.
pub(crate) fn each_pair() -> impl Iterator<Item = (usize, usize)> {
    (0..PLACE).flat_map(|i| (i + 1..PLACE).map(move |k| (i, k)))
}

/// The correlations as a whole matrix.
fn matrix(pairs: &[f64; PAIRS]) -> [[f64; PLACE]; PLACE] {
    let mut all = [[1.0; PLACE]; PLACE];
    for ((i, k), r) in each_pair().zip(pairs) {
        (all[i][k], all[k][i]) = (*r, *r);
    }
    all
}

/// The correlations of a matrix, pair by pair.
fn pairs(all: &[[f64; PLACE]; PLACE]) -> [f64; PAIRS] {
    let mut pairs = [0.0; PAIRS];
    for (r, (i, k)) in pairs.iter_mut().zip(each_pair()) {
        *r = all[i][k];
    }
    pairs
}

impl Lane {
    /// How far off its numbers may be: what was given, and for the rest what people's lanes
    /// set up by hand are; a lane of rendered bodies is exact.
    pub fn all_errors(&self) -> LaneErrors {
        self.errors.or(match self.subject {
            Subject::People => LaneErrors::by_hand(),
            Subject::Rendered => LaneErrors::none(),
        })
    }

    /// The lane with its errors told, so that records hold what was used. One of rendered
    /// bodies stays as it is.
    #[must_use]
    pub fn with_errors_told(self) -> Lane {
        let errors = match self.subject {
            Subject::People => self.all_errors(),
            Subject::Rendered => self.errors,
        };
        Lane { errors, ..self }
    }

    /// The lane for one skater whose stature is known.
    #[must_use]
    pub fn of_skater(self, stature_m: f64) -> Lane {
        let mut errors = self.errors;
        if self.subject == Subject::People {
            errors.skater_height_sd_m = Some(set_up::OWN_HEIGHT_SD_M);
        }
        Lane {
            skater_height_m: stature_m,
            errors,
            ..self
        }
    }

    /// The lane with its numbers moved, in the order of the keys, `times` as far.
    #[must_use]
    pub fn moved(&self, by: &[f64; UNSURE], times: f64) -> Lane {
        let [height, tilt, hfov, roll, distance, stature] = by.map(|v| v * times);
        Lane {
            camera_height_m: self.camera_height_m + height,
            tilt_deg: self.tilt_deg + tilt,
            hfov_deg: self.hfov_deg + hfov,
            roll_deg: self.roll_deg + roll,
            lane_distance_m: self.lane_distance_m + distance,
            skater_height_m: self.skater_height_m + stature,
            ..self.clone()
        }
    }
}

#[cfg(test)]
#[path = "lane_errors_tests.rs"]
mod tests;
