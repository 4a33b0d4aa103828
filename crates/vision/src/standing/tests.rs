//! A background made of numbers, filmed by a camera made of numbers.

use std::sync::LazyLock;

use super::*;
use crate::capture::Frame;

const WIDTH: usize = 640;
const HEIGHT: usize = 360;

/// A number from 0 to 1 for any whole numbers.
fn chance(x: i64, y: i64, k: i64) -> f64 {
    let mixed = (x * 73_856_093) ^ (y * 19_349_663) ^ (k * 83_492_791);
    let mixed = (mixed as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    ((mixed >> 40) & 0xFFFF) as f64 / 65_535.0
}

/// So many points of the wall to a pixel, and its margin, pixels.
const FINE: f64 = 2.0;
const MARGIN: f64 = 120.0;
const WALL: [usize; 2] = [1760, 1200];

/// The grey of the wall at a pixel.
fn wall(x: f64, y: f64) -> f64 {
    static GREYS: LazyLock<Vec<f64>> = LazyLock::new(|| {
        let points = (0..WALL[0] * WALL[1]).map(|at| [at % WALL[0], at / WALL[0]]);
        points
            .map(|[x, y]| rectangles(x as f64 / FINE - MARGIN, y as f64 / FINE - MARGIN))
            .collect()
    });
    let at = |v: f64, most: usize| (((v + MARGIN) * FINE).round().max(0.0) as usize).min(most - 1);
    GREYS[at(y, WALL[1]) * WALL[0] + at(x, WALL[0])]
}

/// The grey of a wall of bright and dark rectangles.
fn rectangles(x: f64, y: f64) -> f64 {
    let (column, row) = ((x / 42.0).floor(), (y / 31.0).floor());
    let (u, v) = (x - column * 42.0, y - row * 31.0);
    let at = |k| chance(column as i64, row as i64, k);
    let inside = u > 4.0 + 10.0 * at(1)
        && u < 24.0 + 14.0 * at(2)
        && v > 3.0 + 8.0 * at(3)
        && v < 16.0 + 12.0 * at(4);
    if inside { 40.0 + 190.0 * at(5) } else { 110.0 }
}

/// How a camera stands that was moved by a shift, pixels, a turn, degrees, and a zoom.
#[derive(Clone, Copy)]
struct Moved {
    by: [f64; 2],
    turn_deg: f64,
    zoom: f64,
}

const STANDS: Moved = Moved {
    by: [0.0, 0.0],
    turn_deg: 0.0,
    zoom: 1.0,
};

fn shifted(x: f64, y: f64) -> Moved {
    Moved {
        by: [x, y],
        ..STANDS
    }
}

/// The picture of a camera. `change` may change a grey, knowing its column and row.
fn picture(at_s: f64, moved: Moved, change: impl Fn(usize, usize, f64) -> f64) -> Frame {
    let (sin, cos) = moved.turn_deg.to_radians().sin_cos();
    let mut rgb = Vec::with_capacity(WIDTH * HEIGHT * 3);
    for row in 0..HEIGHT {
        for column in 0..WIDTH {
            let (x, y) = (column as f64 - 320.0, row as f64 - 180.0);
            let to_x = (cos * x - sin * y) / moved.zoom + 320.0 + moved.by[0];
            let to_y = (sin * x + cos * y) / moved.zoom + 180.0 + moved.by[1];
            let grey = change(column, row, wall(to_x, to_y)).clamp(0.0, 255.0) as u8;
            rgb.extend([grey; 3]);
        }
    }
    Frame {
        seq: (at_s * 30.0) as u64,
        captured_at_s: at_s,
        width: WIDTH as u32,
        height: HEIGHT as u32,
        rgb,
    }
}

fn as_is(_: usize, _: usize, grey: f64) -> f64 {
    grey
}

/// Watches a camera that stands like this from one second to another.
fn film(watch: &mut StandingWatch, from_s: f64, seconds: f64, how: impl Fn(f64) -> Frame) {
    for k in 0..(seconds * 2.0) as u32 {
        let at_s = from_s + f64::from(k) / 2.0;
        watch.frame(&how(at_s), std::iter::empty());
    }
}

fn standing_camera() -> StandingWatch {
    let mut watch = StandingWatch::new(62.0, None);
    film(&mut watch, 0.0, 8.0, |s| picture(s, STANDS, as_is));
    assert_eq!(watch.standing(), Standing::Stands);
    watch
}

/// Three degrees are 31 of these pixels at 62 degrees across.
#[test]
fn a_knock_is_noticed_in_ten_seconds_and_forgotten_once_it_is_put_right() {
    let turned = |turn_deg| Moved { turn_deg, ..STANDS };
    for moved in [
        shifted(31.0, 0.0),
        shifted(-90.0, -20.0),
        shifted(5.0, 0.0),
        turned(3.0),
        Moved {
            zoom: 0.9,
            turn_deg: 2.0,
            by: [12.0, 4.0],
        },
    ] {
        let what = format!("{:?} {} {}", moved.by, moved.turn_deg, moved.zoom);
        let mut watch = standing_camera();
        film(&mut watch, 8.0, 10.0, |s| picture(s, moved, as_is));
        assert_eq!(watch.standing(), Standing::Moved, "{what}");
        assert!(watch.is_doubtful());
        film(&mut watch, 18.0, 10.0, |s| picture(s, STANDS, as_is));
        assert_eq!(watch.standing(), Standing::Stands, "{what}");
        assert!(!watch.is_doubtful());
    }
}

/// What is skated right after a knock is doubted before the knock is sure.
#[test]
fn a_second_after_the_knock_it_is_doubtful() {
    let mut watch = standing_camera();
    film(&mut watch, 8.0, 1.0, |s| {
        picture(s, shifted(31.0, 0.0), as_is)
    });
    assert_ne!(watch.standing(), Standing::Moved);
    assert!(watch.is_doubtful());
}

/// A pass that was skated while the camera lay there is not believed because it was put back
/// before the pass ended.
#[test]
fn what_began_while_it_was_moved_stays_doubtful() {
    let mut watch = standing_camera();
    assert!(!watch.is_doubtful_since(0.0));
    film(&mut watch, 8.0, 5.0, |s| {
        picture(s, shifted(31.0, 0.0), as_is)
    });
    film(&mut watch, 13.0, 6.0, |s| picture(s, STANDS, as_is));
    assert!(!watch.is_doubtful());
    assert!(watch.is_doubtful_since(12.0));
    assert!(!watch.is_doubtful_since(18.5));
}

/// A camera that gives another size of picture, or begins anew, was not put back by that.
#[test]
fn another_size_of_picture_does_not_put_it_back() {
    let mut watch = standing_camera();
    let there = shifted(31.0, 0.0);
    film(&mut watch, 8.0, 5.0, |s| picture(s, there, as_is));
    assert_eq!(watch.standing(), Standing::Moved);
    for k in 0..30_u32 {
        let whole = picture(13.0 + f64::from(k) / 2.0, there, as_is);
        let upper = Frame {
            height: whole.height / 2,
            rgb: whole.rgb[..whole.rgb.len() / 2].to_vec(),
            ..whole
        };
        watch.frame(&upper, std::iter::empty());
        assert_eq!(watch.standing(), Standing::Moved);
    }
    // The clock of the source begins anew.
    film(&mut watch, 0.0, 1.0, |s| picture(s, there, as_is));
    assert_eq!(watch.standing(), Standing::Moved);
    film(&mut watch, 1.0, 5.0, |s| picture(s, STANDS, as_is));
    assert_eq!(watch.standing(), Standing::Stands);
}

/// Half a minute behind fog is no news.
#[test]
fn it_is_a_minute_before_it_cannot_tell() {
    let mut watch = standing_camera();
    let ice = |s| picture(s, STANDS, |_, _, _| 210.0);
    film(&mut watch, 8.0, 50.0, ice);
    assert_eq!(watch.standing(), Standing::Stands);
    film(&mut watch, 58.0, 12.0, ice);
    assert_eq!(watch.standing(), Standing::CannotTell);
}

#[test]
fn light_a_swaying_stand_and_somebody_who_leans_are_no_knock() {
    let wave = |at: f64| (std::f64::consts::TAU * at).sin();
    let mut watch = standing_camera();
    for k in 0..80_u32 {
        let at_s = 8.0 + f64::from(k) / 2.0;
        // Two of 1280 pixels are one here.
        let sway = shifted(wave(0.83 * at_s), wave(1.27 * at_s));
        let flicker = picture(at_s, sway, |column, row, grey| {
            let band = 1.0 + 0.25 * wave(1.3 * row as f64 / 360.0 + 0.37 * at_s);
            let half = if k / 20 == 1 && column < 320 {
                0.4
            } else {
                1.0
            };
            let leans = k / 20 == 2 && (150..450).contains(&column) && row > 60;
            let body = 60.0 + 40.0 * wave(row as f64 / 19.0);
            if leans { body } else { grey * band * half }
        });
        watch.frame(&flicker, std::iter::empty());
        assert_eq!(watch.standing(), Standing::Stands, "{at_s}");
        assert!(!watch.is_doubtful(), "{at_s}");
    }
}

/// Nothing to hold on to, or another place altogether: it is said, and is no alarm.
#[test]
fn where_the_background_shows_too_little_it_cannot_tell() {
    let ice = |s| picture(s, STANDS, |_, _, _| 210.0);
    let mut watch = StandingWatch::new(62.0, None);
    film(&mut watch, 0.0, 70.0, ice);
    assert_eq!(watch.standing(), Standing::CannotTell);
    let mut watch = standing_camera();
    film(&mut watch, 8.0, 70.0, ice);
    assert_eq!(watch.standing(), Standing::CannotTell);
    assert!(!watch.is_doubtful());
    film(&mut watch, 78.0, 5.0, |s| picture(s, STANDS, as_is));
    assert_eq!(watch.standing(), Standing::Stands);
}

/// What was kept on the evening serves in the morning, in another light.
#[test]
fn a_camera_that_was_moved_overnight_is_noticed() {
    let kept = standing_camera().take_learned().expect("learned");
    let text = serde_json::to_string(&kept).expect("text");
    assert!(text.len() < 80_000, "{}", text.len());
    for (moved, standing) in [
        (STANDS, Standing::Stands),
        (shifted(31.0, 0.0), Standing::Moved),
    ] {
        let kept: Reference = serde_json::from_str(&text).expect("read again");
        let mut watch = StandingWatch::new(62.0, Some(kept));
        film(&mut watch, 0.0, 10.0, |s| {
            picture(s, moved, |column, _, grey| 0.5 * grey + 0.1 * column as f64)
        });
        assert_eq!(watch.standing(), standing);
        assert_eq!(watch.take_learned(), None, "what was kept is kept");
        watch.stands_right();
        film(&mut watch, 10.0, 8.0, |s| picture(s, moved, as_is));
        assert_eq!(watch.standing(), Standing::Stands);
        assert!(watch.take_learned().is_some());
    }
}

/// A body that was found leaves no square behind it, wherever it stood.
#[test]
fn nobody_who_was_found_is_in_the_background() {
    let mut watch = StandingWatch::new(62.0, None);
    let body = [200.0, 60.0, 300.0, 300.0];
    for k in 0..8_u32 {
        let frame = picture(f64::from(k) / 2.0, STANDS, as_is);
        watch.frame(&frame, std::iter::once(body));
    }
    let learned = watch.take_learned().expect("learned");
    for square in &learned.squares {
        let [left, top] = [square.x, square.y].map(|v| 2.0 * v as f32);
        let apart =
            left >= body[2] || left + 32.0 <= body[0] || top >= body[3] || top + 32.0 <= body[1];
        assert!(apart, "{left} {top}");
    }
}

#[test]
fn a_damaged_background_is_refused() {
    let kept = standing_camera().take_learned().expect("learned");
    let text = serde_json::to_string(&kept).expect("text");
    for (from, to) in [
        ("\"width\":320", "\"width\":32"),
        ("\"greys\":\"", "\"greys\":\"h"),
        ("\"greys\":\"h", "\"greys\":\"~"),
        ("\"x\":", "\"x\":9"),
    ] {
        let broken = text.replace(from, to);
        assert_ne!(broken, text, "{from}");
        assert!(
            serde_json::from_str::<Reference>(&broken).is_err(),
            "{from}"
        );
    }
}

/// While it learns, while it watches and after a knock: gone on from what was kept, it knows
/// the same as if nothing had been between.
#[test]
fn a_watch_goes_on_from_what_was_kept_to_the_last_bit() {
    let how = |at_s: f64| {
        let moved = shifted(if at_s < 8.0 { 0.3 } else { 31.3 }, 0.0);
        picture(at_s, moved, |column, row, grey| {
            grey + 3.0 * chance(column as i64, row as i64, (at_s * 2.0) as i64)
        })
    };
    let body = || std::iter::once([200.3, 60.1, 300.7, 300.9]);
    let mut straight = StandingWatch::new(62.3, None);
    let mut kept = StandingWatch::new(62.3, None);
    let mut glances = Glances::default();
    let mut moved = false;
    for k in 0..36_u32 {
        let frame = how(f64::from(k) / 3.0);
        straight.frame(&frame, body());
        // Taken at another place than it is looked at.
        if let Some(glance) = glances.of(&frame, body()) {
            kept.take(glance);
        }
        if k % 5 == 4 {
            let text = serde_json::to_string(&kept.keep()).expect("text");
            let again: KeptWatch = serde_json::from_str(&text).expect("read again");
            kept = StandingWatch::from(again);
        }
        assert_eq!(straight.keep(), kept.keep(), "{k}");
        assert_eq!(straight.is_doubtful(), kept.is_doubtful());
        moved |= straight.standing() == Standing::Moved;
    }
    assert!(moved);
}
