//! The person detector: anchors, decoding, weighted suppression.
//!
//! The numbers were read from the graphs shipped with the models (see the
//! model card). Unlike that pipeline, all people are kept, not only the first.

use super::body::Roi;
use super::body::shared_area;

/// Side of the detector's input, pixels.
pub(crate) const SIDE: usize = 224;
const MIN_SCORE: f32 = 0.5;
const MAX_OVERLAP: f32 = 0.3;
/// Values an anchor's box has in the model's output.
const VALUES: usize = 12;

/// A person found in a square of the frame, in frame pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Detection {
    /// The model's belief, 0 to 1.
    pub(crate) score: f32,
    /// Box of the face and upper body: left, top, right, bottom.
    pub(crate) bounds: [f32; 4],
    /// The middle of the hips.
    pub(crate) hip: [f32; 2],
    /// A point on the circle around the whole body, above the hips.
    pub(crate) rim: [f32; 2],
}

/// Anchor centres, 0 to 1, in the order of the model's outputs.
pub(crate) fn anchors() -> Vec<[f32; 2]> {
    // Strides 8, 16, 32, 32, 32 with two anchors each; layers of one stride
    // share their grid, so stride 32 has six per cell.
    let mut out = Vec::with_capacity(2254);
    for (stride, per_cell) in [(8, 2), (16, 2), (32, 6)] {
        let cells = SIDE / stride;
        for y in 0..cells {
            for x in 0..cells {
                let centre = [
                    (x as f32 + 0.5) / cells as f32,
                    (y as f32 + 0.5) / cells as f32,
                ];
                out.extend(std::iter::repeat_n(centre, per_cell));
            }
        }
    }
    out
}

/// A box with its keypoints in the input's 0..1 coordinates:
/// left, top, right, bottom, then four (x, y) pairs.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Candidate {
    score: f32,
    values: [f32; VALUES],
}

/// Reads the detector's raw outputs for a crop of the upright square `roi`.
/// Best first.
pub(crate) fn decode(
    boxes: &[f32],
    scores: &[f32],
    anchors: &[[f32; 2]],
    roi: &Roi,
) -> Vec<Detection> {
    let candidates = candidates(boxes, scores, anchors);
    let left = roi.cx_px - roi.size_px / 2.0;
    let top = roi.cy_px - roi.size_px / 2.0;
    let at = |x: f32, y: f32| [left + x * roi.size_px, top + y * roi.size_px];
    suppress(candidates)
        .into_iter()
        .map(|c| {
            let v = &c.values;
            let (a, b) = (at(v[0], v[1]), at(v[2], v[3]));
            Detection {
                score: c.score,
                bounds: [a[0], a[1], b[0], b[1]],
                hip: at(v[4], v[5]),
                rim: at(v[6], v[7]),
            }
        })
        .collect()
}

fn candidates(boxes: &[f32], scores: &[f32], anchors: &[[f32; 2]]) -> Vec<Candidate> {
    let mut out = Vec::new();
    for ((raw, &logit), anchor) in boxes.chunks_exact(VALUES).zip(scores).zip(anchors) {
        let score = sigmoid(logit.clamp(-100.0, 100.0));
        if score.is_nan() || score < MIN_SCORE || raw.iter().any(|v| !v.is_finite()) {
            continue;
        }
        let side = SIDE as f32;
        let (cx, cy) = (raw[0] / side + anchor[0], raw[1] / side + anchor[1]);
        let (w, h) = (raw[2] / side, raw[3] / side);
        let mut values = [0.0; VALUES];
        values[0] = cx - w / 2.0;
        values[1] = cy - h / 2.0;
        values[2] = cx + w / 2.0;
        values[3] = cy + h / 2.0;
        for k in 4..VALUES {
            values[k] = raw[k] / side + anchor[k & 1];
        }
        out.push(Candidate { score, values });
    }
    out
}

/// Weighted non-maximum suppression: boxes that overlap the best one are
/// averaged with it by score; the best score stays.
fn suppress(mut rest: Vec<Candidate>) -> Vec<Candidate> {
    rest.sort_by(|a, b| b.score.total_cmp(&a.score));
    let mut out = Vec::new();
    while let Some(&best) = rest.first() {
        let mut sum = [0.0f32; VALUES];
        let mut weight = 0.0;
        let mut first = true;
        rest.retain(|c| {
            let merged = first || overlap(&best.values, &c.values) > MAX_OVERLAP;
            first = false;
            if merged {
                weight += c.score;
                for (s, v) in sum.iter_mut().zip(&c.values) {
                    *s += c.score * v;
                }
            }
            !merged
        });
        out.push(Candidate {
            score: best.score,
            values: sum.map(|s| s / weight),
        });
    }
    out
}

/// Intersection over union of two boxes (left, top, right, bottom first).
fn overlap(a: &[f32; VALUES], b: &[f32; VALUES]) -> f32 {
    let shared = shared_area(a, b);
    let area = |r: &[f32; VALUES]| (r[2] - r[0]) * (r[3] - r[1]);
    shared / (area(a) + area(b) - shared)
}

pub(crate) fn sigmoid(x: f32) -> f32 {
    1.0 / (1.0 + (-x).exp())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn anchors_match_the_model() {
        let a = anchors();
        // 28*28*2 + 14*14*2 + 7*7*6, the first dimension of the model's
        // output as stated in its file.
        assert_eq!(a.len(), 2254);
        assert_eq!(a[0], [0.5 / 28.0, 0.5 / 28.0]);
        assert_eq!(a[1], a[0]);
        assert_eq!(a[2], [1.5 / 28.0, 0.5 / 28.0]);
        assert_eq!(a[1568], [0.5 / 14.0, 0.5 / 14.0]);
        assert_eq!(a[2253], [6.5 / 7.0, 6.5 / 7.0]);
    }

    fn candidate(score: f32, x: f32, y: f32) -> Candidate {
        let mut values = [x; VALUES];
        values[1] = y;
        values[2] = x + 0.2;
        values[3] = y + 0.2;
        Candidate { score, values }
    }

    #[test]
    fn suppression_averages_by_score_and_keeps_everybody() {
        let out = suppress(vec![
            candidate(0.6, 0.12, 0.1),
            candidate(0.9, 0.10, 0.1),
            candidate(0.8, 0.60, 0.1),
        ]);
        assert_eq!(out.len(), 2);
        // (0.9 * 0.10 + 0.6 * 0.12) / 1.5, by hand.
        assert!((out[0].values[0] - 0.108).abs() < 1e-6);
        assert!((out[0].score - 0.9).abs() < 1e-6);
        assert!((out[1].values[0] - 0.60).abs() < 1e-6);
    }

    #[test]
    fn boxes_that_barely_overlap_are_two_people() {
        // Shift 0.11 of 0.2: IoU = 0.09 / 0.31 = 0.29, by hand.
        assert_eq!(
            suppress(vec![candidate(0.9, 0.1, 0.1), candidate(0.8, 0.21, 0.1)]).len(),
            2
        );
        // Shift 0.10 of 0.2: IoU = 0.1 / 0.3 = 0.33.
        assert_eq!(
            suppress(vec![candidate(0.9, 0.1, 0.1), candidate(0.8, 0.20, 0.1)]).len(),
            1
        );
    }

    #[test]
    fn decoding_adds_the_anchor_and_scales_to_the_square() {
        let anchors = anchors();
        let mut boxes = vec![0.0; 2254 * VALUES];
        let mut scores = vec![-100.0; 2254];
        let at = 1568 + 2 * (14 * 7 + 7); // cell (7, 7) of the 14x14 grid
        scores[at] = 2.0;
        boxes[at * VALUES..at * VALUES + 8]
            .copy_from_slice(&[0.0, -11.2, 44.8, 22.4, 0.0, 22.4, 0.0, -44.8]);
        let roi = Roi {
            cx_px: 300.0,
            cy_px: 200.0,
            size_px: 100.0,
            rotation_rad: 0.0,
        };
        let found = decode(&boxes, &scores, &anchors, &roi);
        assert_eq!(found.len(), 1);
        // Anchor centre 7.5 / 14 of the square that begins at (250, 150).
        let (cx, cy) = (250.0 + 750.0 / 14.0, 150.0 + 750.0 / 14.0);
        let d = found[0];
        let near = |a: f32, b: f32| assert!((a - b).abs() < 1e-3, "{a} {b}");
        near(d.hip[0], cx);
        near(d.hip[1], cy + 10.0);
        near(d.rim[1], cy - 20.0);
        near(d.bounds[0], cx - 10.0);
        near(d.bounds[1], cy - 5.0 - 5.0);
        near(d.score, 0.880_797); // sigmoid(2), by hand calculator
    }

    #[test]
    fn values_that_are_no_numbers_are_refused() {
        let anchors = anchors();
        let boxes = vec![f32::NAN; 2254 * VALUES];
        let scores = vec![5.0; 2254];
        assert!(decode(&boxes, &scores, &anchors, &Roi::default()).is_empty());
    }
}
