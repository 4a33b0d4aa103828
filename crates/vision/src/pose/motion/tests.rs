use super::*;

const W: u32 = 640;
const H: u32 = 360;

/// A grey scene with a darker box (left, top, right, bottom).
fn scene(k: u64, level: u8, person: Option<[u32; 4]>) -> Frame {
    let mut rgb = vec![level; (W * H * 3) as usize];
    if let Some([x0, y0, x1, y1]) = person {
        for y in y0..y1 {
            let at = ((y * W + x0) * 3) as usize;
            rgb[at..at + ((x1 - x0) * 3) as usize].fill(level / 3);
        }
    }
    Frame {
        seq: k,
        captured_at_s: k as f64 / 30.0,
        width: W,
        height: H,
        rgb,
    }
}

fn step(motion: &mut Motion, frame: &Frame, followed: &[[f32; 4]]) -> Vec<Blob> {
    motion.observe(frame);
    let blobs = motion.blobs(followed, 20.0);
    motion.learn(followed);
    blobs
}

#[test]
fn something_new_is_proposed_at_its_place() {
    let mut motion = Motion::new();
    assert!(step(&mut motion, &scene(0, 180, None), &[]).is_empty());
    assert!(step(&mut motion, &scene(1, 180, None), &[]).is_empty());
    let blobs = step(&mut motion, &scene(2, 180, Some([300, 100, 340, 200])), &[]);
    assert_eq!(blobs.len(), 1);
    let b = blobs[0];
    // The small picture has half the size: within two of its pixels.
    for (found, wanted) in [
        (b.left, 300.0),
        (b.top, 100.0),
        (b.right, 340.0),
        (b.bottom, 200.0),
    ] {
        assert!((found - wanted).abs() <= 4.0f32, "{b:?}");
    }
    assert!(b.active > 0.9, "{b:?}");
    assert!(motion.share([300.0, 100.0, 340.0, 200.0]) > 0.9);
    assert!(motion.share([400.0, 100.0, 440.0, 200.0]) < 0.01);
}

#[test]
fn a_slow_change_of_light_is_no_motion() {
    let mut motion = Motion::new();
    for k in 0..40 {
        let level = 180 + (k % 5) as u8 * 6;
        assert!(
            step(&mut motion, &scene(k, level, None), &[]).is_empty(),
            "frame {k}"
        );
    }
}

/// The hole of somebody who stood there from the first frame loses its
/// freshness and becomes background.
#[test]
fn what_stands_still_becomes_background() {
    let mut motion = Motion::new();
    step(&mut motion, &scene(0, 180, Some([300, 100, 340, 200])), &[]);
    let first = step(&mut motion, &scene(1, 180, None), &[]);
    assert_eq!(first.len(), 1, "the hole differs at first");
    for k in 2..10 {
        step(&mut motion, &scene(k, 180, None), &[]);
    }
    let later = step(&mut motion, &scene(10, 180, None), &[]);
    assert!(later.iter().all(|b| b.active < 0.05), "{later:?}");
    for k in 11..25 {
        step(&mut motion, &scene(k, 180, None), &[]);
    }
    assert!(step(&mut motion, &scene(25, 180, None), &[]).is_empty());
}

#[test]
fn a_followed_body_is_never_learned() {
    let mut motion = Motion::new();
    let place = [296.0, 96.0, 344.0, 204.0];
    step(&mut motion, &scene(0, 180, None), &[]);
    for k in 1..90 {
        let blobs = step(
            &mut motion,
            &scene(k, 180, Some([300, 100, 340, 200])),
            &[place],
        );
        assert!(blobs.is_empty(), "explained by the followed body");
    }
    motion.observe(&scene(90, 180, Some([300, 100, 340, 200])));
    assert!(
        motion.share([300.0, 100.0, 340.0, 200.0]) > 0.9,
        "three seconds later"
    );
}

#[test]
fn counting_neighbours_matches_the_plain_sum() {
    let (w, h) = (13usize, 9usize);
    let set: Vec<u8> = (0..w * h).map(|i| u8::from(i * 7 % 5 < 2)).collect();
    for reach in [1usize, 2, 3] {
        let mut out = vec![0; w * h];
        count_neighbours(&set, &mut out, &mut vec![7; w], w, reach);
        for y in 0..h {
            for x in 0..w {
                let mut sum = 0;
                for v in y.saturating_sub(reach)..(y + reach + 1).min(h) {
                    for u in x.saturating_sub(reach)..(x + reach + 1).min(w) {
                        sum += set[v * w + u];
                    }
                }
                assert_eq!(out[y * w + x], sum, "{x} {y} {reach}");
            }
        }
    }
}
