//! Which body of a new frame belongs to which track.

use super::ground::mid_hip_px;
use super::pass::{Segment, size_px};
use crate::body::Body;

/// Farthest a body may be from where its track expects it, in body sizes.
const GATE: f64 = 0.6;
/// What it costs to change the region chain, in body sizes: the model's own
/// following is right except where two people cross.
const CHAIN_CHANGE: f64 = 0.15;
/// Largest change of size between two sightings.
const SIZE_RATIO: f64 = 1.5;

/// Pairs of (track, body) indices, each used once. Cheapest pairs first; a
/// handful of people needs no more.
pub fn associate<'a>(
    tracks: impl Iterator<Item = (&'a Segment, u32)>,
    bodies: &[Body],
    t_s: f64,
) -> Vec<(usize, usize)> {
    let mut candidates = Vec::new();
    for (ti, (segment, chain)) in tracks.enumerate() {
        let expected = segment.expected_px(t_s);
        for (bi, body) in bodies.iter().enumerate() {
            let (size, last_size) = (size_px(&body.points), segment.last_size_px());
            let hips = mid_hip_px(&body.points);
            let off = (hips[0] - expected[0]).hypot(hips[1] - expected[1]);
            let scale = size.max(last_size);
            let cost = off / scale
                + if body.chain == chain {
                    0.0
                } else {
                    CHAIN_CHANGE
                };
            let ratio = scale / size.min(last_size).max(1.0);
            if cost <= GATE && ratio <= SIZE_RATIO {
                candidates.push((cost, ti, bi));
            }
        }
    }
    candidates.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut pairs: Vec<(usize, usize)> = Vec::new();
    for (_, ti, bi) in candidates {
        if pairs.iter().all(|&(t, b)| t != ti && b != bi) {
            pairs.push((ti, bi));
        }
    }
    pairs
}
