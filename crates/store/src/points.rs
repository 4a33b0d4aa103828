//! The body points of a pass as a compact block of bytes; the format is
//! described in `docs/points.md`.

use std::io::{Read, Write};

use flate2::Compression;
use flate2::read::DeflateDecoder;
use flate2::write::DeflateEncoder;

use crate::body::{LEG_JOINTS, Landmark, LegPoint, LegReading, POINTS};
use crate::track::{Pass, Sample};

const MAGIC: &[u8; 4] = b"KPP2";
/// The format before the legs were read once more.
const MAGIC_1: &[u8; 4] = b"KPP1";
/// A minute at 240 pictures a second is far more than any pass.
const MOST_SAMPLES: usize = 1 << 15;
/// Bytes of one sample before compression: time, place, and for each point
/// two exact numbers, the depth in whole pixels and the visibility in 255ths.
const SAMPLE_BYTES: usize = 8 + 16 + POINTS * (4 + 4 + 2 + 1);
const HEAD_BYTES: usize = 3 * 4 + 3 * 8 + 4;
/// Bytes of a reading of the legs: number of its sample, and for each joint two
/// exact numbers and the belief in 255ths.
const LEGS_BYTES: usize = 4 + LEG_JOINTS * (4 + 4 + 1);

/// The bytes of a pass. `None` for one that is absurdly long.
pub(super) fn encode(pass: &Pass) -> Option<Vec<u8>> {
    let n = pass.samples.len();
    if n > MOST_SAMPLES {
        return None;
    }
    let mut plain = Vec::with_capacity(HEAD_BYTES + n * SAMPLE_BYTES);
    for whole in [pass.track_id, pass.frame_px[0], pass.frame_px[1]] {
        plain.extend(whole.to_le_bytes());
    }
    for real in [pass.speed_mps, pass.heading[0], pass.heading[1]] {
        plain.extend(real.to_le_bytes());
    }
    plain.extend((n as u32).to_le_bytes());
    let samples = &pass.samples;
    planes(&mut plain, samples.iter().map(|s| s.t_s.to_le_bytes()));
    for axis in 0..2 {
        let place = |s: &Sample| s.lane_m.map_or(f64::NAN, |p| p[axis]);
        planes(&mut plain, samples.iter().map(|s| place(s).to_le_bytes()));
    }
    for point in 0..POINTS {
        let of = |s: &Sample| s.points[point];
        planes(&mut plain, samples.iter().map(|s| of(s).x_px.to_le_bytes()));
        planes(&mut plain, samples.iter().map(|s| of(s).y_px.to_le_bytes()));
        // A cast from a real number saturates, and is 0 for what is none.
        let depth = |s: &Sample| (of(s).z_px.round() as i16).to_le_bytes();
        planes(&mut plain, samples.iter().map(depth));
        let seen = |s: &Sample| [(of(s).visibility * 255.0).round() as u8];
        planes(&mut plain, samples.iter().map(seen));
    }
    encode_legs(&mut plain, samples);
    let mut packed = DeflateEncoder::new(MAGIC.to_vec(), Compression::new(6));
    // Writing into memory does not fail.
    packed.write_all(&plain).ok()?;
    packed.finish().ok()
}

/// The readings of the legs: how many, of which samples, joint by joint.
fn encode_legs(plain: &mut Vec<u8>, samples: &[Sample]) {
    let read: Vec<(u32, LegReading)> = (0u32..)
        .zip(samples)
        .filter_map(|(i, s)| Some((i, s.legs?)))
        .collect();
    plain.extend((read.len() as u32).to_le_bytes());
    planes(plain, read.iter().map(|(i, _)| i.to_le_bytes()));
    for joint in 0..LEG_JOINTS {
        let of = |(_, legs): &(u32, LegReading)| legs.points[joint];
        planes(plain, read.iter().map(|r| of(r).x_px.to_le_bytes()));
        planes(plain, read.iter().map(|r| of(r).y_px.to_le_bytes()));
        let belief = |r| [(of(r).belief * 255.0).round() as u8];
        planes(plain, read.iter().map(belief));
    }
}

/// Puts the readings of the legs to their samples; `None` where they are none.
fn decode_legs(rest: &mut Rest, samples: &mut [Sample]) -> Option<()> {
    let n = u32::from_le_bytes(rest.one()?) as usize;
    if n > samples.len() || rest.0.len() != n * LEGS_BYTES {
        return None;
    }
    let of = rest.column::<4>(n)?.into_iter().map(u32::from_le_bytes);
    let mut read: Vec<LegReading> = vec![LegReading::default(); n];
    for joint in 0..LEG_JOINTS {
        let (xs, ys) = (rest.column::<4>(n)?, rest.column::<4>(n)?);
        let beliefs = rest.column::<1>(n)?;
        for (i, legs) in read.iter_mut().enumerate() {
            legs.points[joint] = LegPoint {
                x_px: f32::from_le_bytes(xs[i]),
                y_px: f32::from_le_bytes(ys[i]),
                belief: f32::from(beliefs[i][0]) / 255.0,
            };
        }
    }
    for (i, legs) in of.zip(read) {
        samples.get_mut(i as usize)?.legs = Some(legs);
    }
    Some(())
}

/// All first bytes, then all second bytes and so on: neighbours in time have
/// nearly the same high bytes, which packs well.
fn planes<const N: usize>(out: &mut Vec<u8>, values: impl Iterator<Item = [u8; N]> + Clone) {
    for byte in 0..N {
        out.extend(values.clone().map(|v| v[byte]));
    }
}

/// The pass of these bytes; `None` where they are none.
pub(super) fn decode(bytes: &[u8]) -> Option<Pass> {
    let (has_legs, packed) = match bytes.strip_prefix(MAGIC) {
        Some(packed) => (true, packed),
        None => (false, bytes.strip_prefix(MAGIC_1)?),
    };
    let most = (HEAD_BYTES + 4 + MOST_SAMPLES * (SAMPLE_BYTES + LEGS_BYTES)) as u64;
    let mut plain = Vec::new();
    DeflateDecoder::new(packed)
        .take(most + 1)
        .read_to_end(&mut plain)
        .ok()?;
    let mut rest = Rest(&plain);
    let [track_id, width, height] = [rest.one()?, rest.one()?, rest.one()?].map(u32::from_le_bytes);
    let [speed_mps, hx, hy] = [rest.one()?, rest.one()?, rest.one()?].map(f64::from_le_bytes);
    let n = u32::from_le_bytes(rest.one()?) as usize;
    let whole = match has_legs {
        true => rest.0.len() > n.saturating_mul(SAMPLE_BYTES),
        false => rest.0.len() == n.saturating_mul(SAMPLE_BYTES),
    };
    if n > MOST_SAMPLES || !whole {
        return None;
    }
    let times = rest.column::<8>(n)?;
    let place = [rest.column::<8>(n)?, rest.column::<8>(n)?];
    let mut samples: Vec<Sample> = (0..n)
        .map(|i| {
            let [x, y] = [0, 1].map(|axis| f64::from_le_bytes(place[axis][i]));
            Sample {
                t_s: f64::from_le_bytes(times[i]),
                points: [Landmark::default(); POINTS],
                legs: None,
                clarity: None,
                lane_m: (!x.is_nan() && !y.is_nan()).then_some([x, y]),
            }
        })
        .collect();
    for point in 0..POINTS {
        let (xs, ys) = (rest.column::<4>(n)?, rest.column::<4>(n)?);
        let (zs, vs) = (rest.column::<2>(n)?, rest.column::<1>(n)?);
        for (i, sample) in samples.iter_mut().enumerate() {
            sample.points[point] = Landmark {
                x_px: f32::from_le_bytes(xs[i]),
                y_px: f32::from_le_bytes(ys[i]),
                z_px: f32::from(i16::from_le_bytes(zs[i])),
                visibility: f32::from(vs[i][0]) / 255.0,
            };
        }
    }
    if has_legs {
        decode_legs(&mut rest, &mut samples)?;
    }
    Some(Pass {
        track_id,
        samples,
        frame_px: [width, height],
        speed_mps,
        heading: [hx, hy],
    })
}

struct Rest<'b>(&'b [u8]);

impl Rest<'_> {
    fn one<const N: usize>(&mut self) -> Option<[u8; N]> {
        let (one, rest) = self.0.split_first_chunk::<N>()?;
        self.0 = rest;
        Some(*one)
    }

    /// `n` values that lie in planes.
    fn column<const N: usize>(&mut self, n: usize) -> Option<Vec<[u8; N]>> {
        let (column, rest) = self.0.split_at_checked(n * N)?;
        self.0 = rest;
        Some(
            (0..n)
                .map(|i| std::array::from_fn(|byte| column[byte * n + i]))
                .collect(),
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pass(n: usize) -> Pass {
        let sample = |i: usize| Sample {
            t_s: 12.5 + i as f64 / 59.94,
            points: std::array::from_fn(|p| Landmark {
                x_px: 640.0 + i as f32 * 7.3 + p as f32 * 1.1,
                y_px: -3.25 + (i as f32 * 0.3).sin() * 40.0,
                z_px: 17.4 - p as f32,
                visibility: 0.93,
            }),
            clarity: None,
            legs: (i % 5 == 2).then(|| LegReading {
                points: std::array::from_fn(|p| LegPoint {
                    x_px: 640.0 + i as f32 * 7.3 + p as f32 * 1.7,
                    y_px: 401.3 - p as f32,
                    belief: (40 * p) as f32 / 255.0,
                }),
            }),
            lane_m: (i % 7 != 3).then_some([i as f64 * 0.1, 6.0]),
        };
        Pass {
            track_id: 41,
            samples: (0..n).map(sample).collect(),
            frame_px: [1280, 720],
            speed_mps: 5.25,
            heading: [0.96, -0.28],
        }
    }

    #[test]
    fn what_is_measured_from_comes_back_bit_for_bit() {
        for n in [0, 1, 2, 150] {
            let pass = pass(n);
            let bytes = encode(&pass).unwrap();
            let back = decode(&bytes).unwrap();
            let exact = |p: &Pass| {
                let samples: Vec<_> = p
                    .samples
                    .iter()
                    .map(|s| {
                        let points = s.points.map(|l| (l.x_px, l.y_px));
                        (s.t_s, s.lane_m, points, s.legs)
                    })
                    .collect();
                (p.track_id, p.frame_px, p.speed_mps, p.heading, samples)
            };
            assert_eq!(exact(&back), exact(&pass));
            for (a, b) in back.samples.iter().zip(&pass.samples) {
                for (a, b) in a.points.iter().zip(&b.points) {
                    assert!((a.z_px - b.z_px).abs() <= 0.5);
                    assert!((a.visibility - b.visibility).abs() <= 0.5 / 255.0 + 1e-6);
                }
            }
            assert!(
                n < 150 || bytes.len() < 150 * SAMPLE_BYTES,
                "{}",
                bytes.len()
            );
        }
    }

    /// What earlier versions stored is read: the same without the readings of the
    /// legs and their number.
    #[test]
    fn the_first_format_is_read() {
        let mut old = pass(30);
        old.samples.iter_mut().for_each(|s| s.legs = None);
        let new = encode(&old).unwrap();
        let mut plain = Vec::new();
        DeflateDecoder::new(&new[MAGIC.len()..])
            .read_to_end(&mut plain)
            .unwrap();
        plain.truncate(plain.len() - 4);
        let mut packed = DeflateEncoder::new(MAGIC_1.to_vec(), Compression::fast());
        packed.write_all(&plain).unwrap();
        assert_eq!(decode(&packed.finish().unwrap()), decode(&new));
        assert_eq!(decode(&new).unwrap().samples.len(), 30);
    }

    /// A reading of a sample that is not there is no pass.
    #[test]
    fn legs_of_a_sample_that_is_not_there_are_refused() {
        let mut plain = vec![0u8; HEAD_BYTES];
        plain.extend(1u32.to_le_bytes());
        plain.extend([0u8; LEGS_BYTES]);
        let mut packed = DeflateEncoder::new(MAGIC.to_vec(), Compression::fast());
        packed.write_all(&plain).unwrap();
        assert!(decode(&packed.finish().unwrap()).is_none());
    }

    #[test]
    fn bytes_that_are_no_pass_are_none_and_never_a_panic() {
        let good = encode(&pass(20)).unwrap();
        assert!(decode(b"").is_none());
        assert!(decode(b"KPP3").is_none());
        for cut in 0..good.len() {
            assert!(decode(&good[..cut]).is_none(), "{cut}");
        }
        // A block that claims more samples than it holds.
        let mut lies = vec![0u8; HEAD_BYTES];
        lies[HEAD_BYTES - 4..].copy_from_slice(&u32::MAX.to_le_bytes());
        let mut packed = DeflateEncoder::new(MAGIC.to_vec(), Compression::fast());
        packed.write_all(&lies).unwrap();
        assert!(decode(&packed.finish().unwrap()).is_none());
    }

    #[test]
    fn numbers_that_are_none_survive() {
        let mut odd = pass(3);
        odd.samples[1].points[0].x_px = f32::NAN;
        odd.samples[1].points[0].z_px = f32::INFINITY;
        odd.speed_mps = f64::NAN;
        let back = decode(&encode(&odd).unwrap()).unwrap();
        assert!(back.samples[1].points[0].x_px.is_nan());
        assert!(back.speed_mps.is_nan());
    }
}
