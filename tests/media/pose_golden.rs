//! The pose pipeline held against MediaPipe 0.10.21 itself, and against itself
//! under turning, scaling and another engine.
//!
//! Expected values: `tests/golden/pose.json`, made by
//! `tools/golden/make_pose_golden.py`; pictures and their sources:
//! `tests/golden/README.md`.

use std::path::{Path, PathBuf};

use image::{Rgb, RgbImage};
use kickplate::capture::Frame;
use kickplate::pose::{
    Body, EngineChoice, EngineKind, Estimator, ModelKind, POINTS, PoseError, PoseSettings, Roi,
};

fn home() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn estimator(model: ModelKind, engine: EngineChoice) -> Result<Estimator, PoseError> {
    let settings = PoseSettings {
        model,
        engine,
        ..PoseSettings::default()
    };
    Estimator::new(&home(), settings)
}

/// The native engine, or a printed reason why its part is skipped.
fn native(model: ModelKind) -> Option<Estimator> {
    match estimator(model, EngineChoice::Native) {
        Ok(e) => Some(e),
        Err(PoseError::NativeUnavailable { why }) => {
            kickplate_testing::cannot_run(&format!("the part with ONNX Runtime: {why}"));
            None
        }
        Err(e) => panic!("{e}"),
    }
}

fn picture(name: &str) -> RgbImage {
    image::open(home().join("tests/golden").join(name))
        .unwrap_or_else(|e| panic!("{name}: {e}"))
        .to_rgb8()
}

fn frame(picture: &RgbImage) -> Frame {
    Frame {
        seq: 0,
        captured_at_s: 0.0,
        width: picture.width(),
        height: picture.height(),
        rgb: picture.as_raw().clone(),
    }
}

fn best(estimator: &mut Estimator, picture: &RgbImage, passes: usize) -> Body {
    let bodies = estimator.still(&frame(picture), passes).expect("run");
    bodies.into_iter().next().expect("a person in the picture")
}

fn offsets(a: &Body, b: &Body) -> Vec<f32> {
    let mut out: Vec<f32> = (0..POINTS)
        .map(|k| {
            let (p, q) = (a.points[k], b.points[k]);
            (p.x_px - q.x_px).hypot(p.y_px - q.y_px)
        })
        .collect();
    out.sort_by(f32::total_cmp);
    out
}

fn mean(values: &[f32]) -> f32 {
    values.iter().sum::<f32>() / values.len() as f32
}

struct Expected {
    picture: String,
    model: ModelKind,
    points: Vec<[f32; 4]>,
    world_m: Vec<[f32; 3]>,
}

fn expected() -> Vec<Expected> {
    let path = home().join("tests/golden/pose.json");
    let text = std::fs::read_to_string(path).expect("golden file");
    let golden: serde_json::Value = serde_json::from_str(&text).expect("golden JSON");
    let still = golden["still"].as_array().expect("still");
    still
        .iter()
        .map(|e| Expected {
            picture: e["picture"].as_str().expect("name").to_owned(),
            model: serde_json::from_value(e["model"].clone()).expect("model"),
            points: serde_json::from_value(e["points"].clone()).expect("points"),
            world_m: serde_json::from_value(e["world"].clone()).expect("world"),
        })
        .collect()
}

/// Measured when this was written: means of 0.002 to 0.038 px, all points but
/// one below 0.3 px (that one, at 1.07 px, probably has its heat right at the
/// threshold), world points within 1.7 mm, visibility within 0.0013. The
/// tolerances leave room for a point or two at such a threshold: mean 0.2 px,
/// at most two points beyond 0.5 px, 4 mm, 0.005.
fn agrees_with_mediapipe(engine: EngineChoice) {
    let all = expected();
    assert_eq!(all.len(), 9, "three pictures, three models");
    for kind in [ModelKind::Heavy, ModelKind::Full, ModelKind::Lite] {
        let made = match engine {
            EngineChoice::Native => native(kind),
            other => Some(estimator(kind, other).expect("embedded engine")),
        };
        let Some(mut estimator) = made else { return };
        for e in all.iter().filter(|e| e.model == kind) {
            let body = best(&mut estimator, &picture(&e.picture), 0);
            let (mut off, mut depth, mut seen, mut world) = (Vec::new(), 0f32, 0f32, 0f32);
            for k in 0..POINTS {
                let (p, q) = (body.points[k], e.points[k]);
                off.push((p.x_px - q[0]).hypot(p.y_px - q[1]));
                depth = depth.max((p.z_px - q[2]).abs());
                seen = seen.max((p.visibility - q[3]).abs());
                for c in 0..3 {
                    world = world.max((body.world_m[k][c] - e.world_m[k][c]).abs());
                }
            }
            off.sort_by(f32::total_cmp);
            println!(
                "{} {kind:?}: mean {:.3} max {:.3} px, depth {depth:.3} px, \
                 visibility {seen:.4}, world {:.2} mm",
                e.picture,
                mean(&off),
                off[POINTS - 1],
                world * 1000.0
            );
            assert!(mean(&off) < 0.2, "{}: mean {} px", e.picture, mean(&off));
            assert!(
                off[POINTS - 3] < 0.5,
                "{}: {} px",
                e.picture,
                off[POINTS - 3]
            );
            assert!(depth < 1.0, "{}: depth {depth} px", e.picture);
            assert!(seen < 0.005, "{}: visibility {seen}", e.picture);
            assert!(world < 0.004, "{}: world {world} m", e.picture);
        }
    }
}

#[test]
fn the_embedded_engine_agrees_with_mediapipe() {
    agrees_with_mediapipe(EngineChoice::Embedded);
}

#[test]
fn the_native_engine_agrees_with_mediapipe() {
    agrees_with_mediapipe(EngineChoice::Native);
}

/// The second reader of the legs against TensorFlow.js 4.22.0 on the model's own
/// file (`tests/golden/legs.json`, made by `tools/golden/make_legs_golden.mjs`):
/// the same pixels go in, so the same points come out. A cell of the model's
/// maps is 4 pixels.
#[test]
fn the_second_reader_agrees_with_tensorflow() {
    let Some(mut reader) = native(ModelKind::Full) else {
        return;
    };
    let text = std::fs::read_to_string(home().join("tests/golden/legs.json")).expect("golden file");
    let golden: serde_json::Value = serde_json::from_str(&text).expect("golden JSON");
    let side = golden["side"].as_u64().expect("side") as u32;
    let pictures = golden["pictures"].as_array().expect("pictures");
    assert_eq!(pictures.len(), 3);
    for expected in pictures {
        let name = expected["picture"].as_str().expect("name");
        let points: Vec<[f32; 3]> =
            serde_json::from_value(expected["points"].clone()).expect("points");
        let whole = picture(name);
        let thinned = RgbImage::from_fn(side, side, |x, y| {
            *whole.get_pixel(x * whole.width() / side, y * whole.height() / side)
        });
        let square = Roi {
            cx_px: side as f32 / 2.0,
            cy_px: side as f32 / 2.0,
            size_px: side as f32,
            rotation_rad: 0.0,
        };
        let found = reader.legs_in(&frame(&thinned), &square).expect("run");
        let found = found.expect("a reading").points;
        assert_eq!(found.len(), points.len());
        for (p, [x_px, y_px, belief]) in found.into_iter().zip(points) {
            let off = (p.x_px - x_px).hypot(p.y_px - y_px);
            // The file's own 1/48 is rounded to 16 bits, which alone is 0.05 at the
            // far corner.
            assert!(off < 0.06, "{name}: {p:?}, wanted {x_px} {y_px}");
            // It is kept in 255ths.
            let unsure = (p.belief - belief).abs();
            assert!(unsure < 0.003, "{name}: {p:?}, wanted {belief}");
        }
    }
}

/// Two engines, one answer: both run the same file in 32-bit floats, so only
/// the order of sums differs.
#[test]
fn the_two_engines_agree() {
    let Some(mut fast) = native(ModelKind::Full) else {
        return;
    };
    let mut slow = estimator(ModelKind::Full, EngineChoice::Embedded).expect("embedded engine");
    assert_eq!(fast.engine().kind, EngineKind::Native);
    assert!(fast.engine().library.as_deref().is_some_and(Path::is_file));
    assert_eq!(slow.engine().kind, EngineKind::Embedded);
    println!("{:?}\n{:?}", fast.engine(), slow.engine());
    for name in ["side.png", "front.png", "child.png"] {
        let image = picture(name);
        let off = offsets(&best(&mut fast, &image, 0), &best(&mut slow, &image, 0));
        println!("{name}: max {:.4} px", off[POINTS - 1]);
        assert!(off[POINTS - 1] < 0.1, "{name}: {} px", off[POINTS - 1]);
    }
}

/// Turned by `degrees` (clockwise) about its middle, bilinear, edges carried
/// on; `scale` shrinks the content.
fn transformed(image: &RgbImage, degrees: f32, scale: f32) -> RgbImage {
    let (w, h) = image.dimensions();
    let (cx, cy) = (w as f32 / 2.0, h as f32 / 2.0);
    let (sin, cos) = degrees.to_radians().sin_cos();
    RgbImage::from_fn(w, h, |x, y| {
        let (dx, dy) = ((x as f32 - cx) / scale, (y as f32 - cy) / scale);
        let u = (cx + cos * dx + sin * dy).clamp(0.0, (w - 1) as f32);
        let v = (cy - sin * dx + cos * dy).clamp(0.0, (h - 1) as f32);
        let (u0, v0) = (u.floor() as u32, v.floor() as u32);
        let (u1, v1) = ((u0 + 1).min(w - 1), (v0 + 1).min(h - 1));
        let (a, b) = (u.fract(), v.fract());
        let at = |x, y| image.get_pixel(x, y).0.map(f32::from);
        let (p, q, r, s) = (at(u0, v0), at(u1, v0), at(u0, v1), at(u1, v1));
        Rgb(std::array::from_fn(|c| {
            let top = p[c] * (1.0 - a) + q[c] * a;
            let bottom = r[c] * (1.0 - a) + s[c] * a;
            (top * (1.0 - b) + bottom * b).round() as u8
        }))
    })
}

/// A turned or smaller picture must give the same body, turned or smaller:
/// region, crop and way back are right together, or nothing fits. The network
/// itself is not exactly invariant, hence the tolerance: mean 4 % of the
/// body's region, which is about 12 px here. (A way back without the turn
/// misses by over 20 %.)
#[test]
fn landmarks_follow_a_turned_or_smaller_picture() {
    let mut estimator = estimator(ModelKind::Full, EngineChoice::Embedded).expect("engine");
    for name in ["front.png", "child.png"] {
        let image = picture(name);
        let (w, h) = image.dimensions();
        let (cx, cy) = (w as f32 / 2.0, h as f32 / 2.0);
        let base = best(&mut estimator, &image, 2);
        for (degrees, scale) in [(20.0f32, 1.0f32), (-35.0, 1.0), (0.0, 0.8), (15.0, 0.85)] {
            let mut wanted = base.clone();
            let (sin, cos) = degrees.to_radians().sin_cos();
            for p in &mut wanted.points {
                let (dx, dy) = (p.x_px - cx, p.y_px - cy);
                p.x_px = cx + scale * (cos * dx - sin * dy);
                p.y_px = cy + scale * (sin * dx + cos * dy);
            }
            let found = best(&mut estimator, &transformed(&image, degrees, scale), 2);
            let off = mean(&offsets(&found, &wanted)) / (base.roi.size_px * scale);
            println!(
                "{name} {degrees} deg x{scale}: mean {:.2} % of the region",
                off * 100.0
            );
            assert!(off < 0.04, "{name} {degrees} deg x{scale}: {off}");
        }
    }
}
