//! The body points of one pass as CSV: one line for each point in each
//! picture, as the pose model gave them, unsmoothed.

use std::fmt::Write;

use crate::body::POINTS;
use crate::track::Pass;

use super::csv_file::{Separator, decimal};

/// The names of the 33 points, in the order of the model's output (the pose
/// landmarks of MediaPipe, under the names its documentation gives them).
pub const POINT_NAMES: [&str; POINTS] = [
    "nose",
    "left_eye_inner",
    "left_eye",
    "left_eye_outer",
    "right_eye_inner",
    "right_eye",
    "right_eye_outer",
    "left_ear",
    "right_ear",
    "mouth_left",
    "mouth_right",
    "left_shoulder",
    "right_shoulder",
    "left_elbow",
    "right_elbow",
    "left_wrist",
    "right_wrist",
    "left_pinky",
    "right_pinky",
    "left_index",
    "right_index",
    "left_thumb",
    "right_thumb",
    "left_hip",
    "right_hip",
    "left_knee",
    "right_knee",
    "left_ankle",
    "right_ankle",
    "left_heel",
    "right_heel",
    "left_foot_index",
    "right_foot_index",
];

/// The columns.
pub const COLUMNS: [&str; 6] = ["time_s", "point", "x_px", "y_px", "z_px", "confidence"];

/// A line of the file takes about so many bytes.
pub const BYTES_A_LINE: u64 = 45;

/// The points as the bytes of a file.
pub fn to_csv(pass: &Pass, separator: Separator) -> Vec<u8> {
    let between = match separator {
        Separator::Comma => ",",
        Separator::Semicolon => ";",
    };
    let number = |value: f64, places: usize| {
        if !value.is_finite() {
            return String::new();
        }
        let text = decimal(value, places);
        match separator {
            Separator::Comma => text,
            Separator::Semicolon => text.replace('.', ","),
        }
    };
    let mut out = String::from("\u{feff}");
    let _ = write!(out, "{}\r\n", COLUMNS.join(between));
    for sample in &pass.samples {
        let t = number(sample.t_s, 4);
        for (name, point) in POINT_NAMES.iter().zip(&sample.points) {
            let cells = [
                t.as_str(),
                name,
                &number(f64::from(point.x_px), 2),
                &number(f64::from(point.y_px), 2),
                &number(f64::from(point.z_px), 2),
                &number(f64::from(point.visibility), 3),
            ];
            let _ = write!(out, "{}\r\n", cells.join(between));
        }
    }
    out.into_bytes()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::body::{BodyPoint, Landmark};
    use crate::track::Sample;

    #[test]
    fn the_names_stand_where_the_program_has_its_points() {
        for (point, name) in [
            (BodyPoint::Nose, "nose"),
            (BodyPoint::LeftEye, "left_eye"),
            (BodyPoint::RightEar, "right_ear"),
            (BodyPoint::LeftShoulder, "left_shoulder"),
            (BodyPoint::RightWrist, "right_wrist"),
            (BodyPoint::LeftThumb, "left_thumb"),
            (BodyPoint::RightHip, "right_hip"),
            (BodyPoint::LeftKnee, "left_knee"),
            (BodyPoint::RightHeel, "right_heel"),
            (BodyPoint::LeftToe, "left_foot_index"),
        ] {
            assert_eq!(POINT_NAMES[point as usize], name);
        }
    }

    #[test]
    fn every_point_of_every_picture_is_one_line() {
        let mut points = [Landmark::default(); POINTS];
        points[0] = Landmark {
            x_px: 10.5,
            y_px: -2.0,
            z_px: f32::NAN,
            visibility: 0.25,
        };
        let sample = |t_s| Sample {
            t_s,
            points,
            legs: None,
            clarity: None,
            lane_m: None,
        };
        let pass = Pass {
            track_id: 1,
            samples: vec![sample(0.0), sample(1.0 / 30.0)],
            frame_px: [1280, 720],
            speed_mps: 5.0,
            heading: [1.0, 0.0],
        };
        let text = String::from_utf8(to_csv(&pass, Separator::Comma)).unwrap();
        let lines: Vec<&str> = text.split("\r\n").collect();
        assert_eq!(lines.len(), 1 + 2 * POINTS + 1);
        assert_eq!(lines[1], "0,nose,10.5,-2,,0.25");
        assert!(lines[1 + POINTS].starts_with("0.0333,nose,"));
        let text = String::from_utf8(to_csv(&pass, Separator::Semicolon)).unwrap();
        assert!(text.contains("\r\n0;nose;10,5;-2;;0,25\r\n"));
    }
}
