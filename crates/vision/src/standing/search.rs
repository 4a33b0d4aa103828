//! Looks for the squares of the background in a picture.

use super::flow::{Flow, Found};
use super::reference::{LEAST, Reference, SIDE, Seen, Square};
use super::small::Small;

/// How far from its place a square is looked for, small pixels: the boards, and what is near.
const REACH: isize = 4;
const NEAR_REACH: isize = 8;
/// A square that is this alike is found.
const ALIKE: f32 = 0.7;
/// A found square belongs to the common motion if it is this near to it, small pixels.
const NEAR_PX: f64 = 0.8;
/// The common motion counts if this share of the squares that can be seen have it.
const SHARE: f64 = 0.3;
/// And so many at least.
const FEW: usize = 10;
/// The share of the squares whose shift is smaller than the one that is told.
const TOLD: f64 = 0.75;

/// Where the whole set is looked for: shifts of quarter pixels, turns and zooms. Turns of the
/// camera up to 12 degrees to the side and 9 up or down, at 60 degrees across.
const ACROSS: isize = 16;
const UPRIGHT: isize = 11;
const TURNS_DEG: [f64; 5] = [-6.0, -3.0, 0.0, 3.0, 6.0];
const ZOOMS: [f64; 5] = [0.9, 0.95, 1.0, 1.05, 1.1];
/// So many of the best places are looked at closely.
const PLACES: usize = 4;
/// At most so many squares are looked for then: all of the picture is in them.
const SQUARES: usize = 96;

/// What one look says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Look {
    /// The background was found, shifted by so many small pixels.
    Found { shift_px: f64, flow: Flow },
    /// It was not found, or too little of it can be seen.
    Unknown,
}

impl Reference {
    /// Looks for the background at its place, then where it was last, and, where `anywhere`
    /// says so, elsewhere.
    pub(super) fn look(&self, seen: &Seen, last: Option<Flow>, anywhere: bool) -> Look {
        let picture = &seen.picture;
        let clear: Vec<&Square> = self
            .squares
            .iter()
            .filter(|square| !seen.covers(square.x, square.y))
            .collect();
        if [picture.width, picture.height] != self.size || clear.len() < LEAST {
            return Look::Unknown;
        }
        let none = Flow::none(picture);
        if let Some((flow, shift_px)) = common(&clear, picture, &none) {
            return Look::Found { shift_px, flow };
        }
        let near = |flow: Flow| {
            // The squares are first found near a guess, then near what fits them.
            let (flow, _) = common_of(&clear, picture, &flow, SHARE / 2.0)?;
            common(&clear, picture, &flow)
        };
        let found = last.and_then(near).or_else(|| {
            let places = if anywhere {
                elsewhere(&clear, picture)
            } else {
                Vec::new()
            };
            let found = places.into_iter().filter_map(near);
            found.max_by(|a, b| a.1.total_cmp(&b.1))
        });
        match found {
            Some((flow, shift_px)) => Look::Found { shift_px, flow },
            None => Look::Unknown,
        }
    }
}

/// The motion that enough squares have in common near a guess, and how large it is.
fn common(squares: &[&Square], picture: &Small, guess: &Flow) -> Option<(Flow, f64)> {
    common_of(squares, picture, guess, SHARE)
}

fn common_of(
    squares: &[&Square],
    picture: &Small,
    guess: &Flow,
    share: f64,
) -> Option<(Flow, f64)> {
    let still = *guess == Flow::none(picture);
    let undone = (!still).then(|| guess.undo(picture));
    let before = undone.as_ref().unwrap_or(picture);
    let mut visible = 0;
    let mut found = Vec::with_capacity(squares.len());
    let low = low(squares);
    for square in squares {
        let reach = if square.y >= low { NEAR_REACH } else { REACH };
        match find(square, before, reach) {
            Sighting::Outside => {}
            Sighting::Lost => visible += 1,
            Sighting::At(by) => {
                visible += 1;
                let at = square.middle();
                let first = guess.shift(at);
                found.push(Found {
                    at,
                    by: [first[0] + by[0], first[1] + by[1]],
                });
            }
        }
    }
    let flow = guess.fit(&found)?;
    let mut shifts = shifts_of(&found, &flow);
    let enough = (share * visible as f64).max(FEW as f64);
    // Of a picture that hardly overlaps, nothing is said.
    if (shifts.len() as f64) < enough || visible * 3 < squares.len() {
        return None;
    }
    let told = told(&mut shifts);
    Some((flow, told.max(nearer(squares, &found, &flow))))
}

/// The shifts of the squares that have a motion in common, small pixels.
fn shifts_of(found: &[Found], flow: &Flow) -> Vec<f64> {
    let off = |f: &&Found| {
        let by = flow.shift(f.at);
        (f.by[0] - by[0]).hypot(f.by[1] - by[1])
    };
    found
        .iter()
        .filter(|f| off(f) <= NEAR_PX)
        .map(|f| f.by[0].hypot(f.by[1]))
        .collect()
}

fn told(shifts: &mut [f64]) -> f64 {
    shifts.sort_by(f64::total_cmp);
    shifts[((shifts.len() - 1) as f64 * TOLD) as usize]
}

/// How far the lower part of the picture moved, small pixels: a camera that was shifted and
/// not turned moves what is near, and hardly the boards, which have most of the squares. 0
/// where it shows too little.
fn nearer(squares: &[&Square], found: &[Found], flow: &Flow) -> f64 {
    let from = low(squares);
    let all = squares.iter().filter(|square| square.y >= from).count();
    let low: Vec<Found> = found
        .iter()
        .filter(|f| f.at[1] > from as f64)
        .copied()
        .collect();
    let Some(flow) = flow.fit(&low) else {
        return 0.0;
    };
    let mut shifts = shifts_of(&low, &flow);
    if shifts.len() < FEW || shifts.len() * 2 < all {
        return 0.0;
    }
    told(&mut shifts)
}

/// From where on, down the picture, a quarter of the squares is.
fn low(squares: &[&Square]) -> usize {
    let mut heights: Vec<usize> = squares.iter().map(|square| square.y).collect();
    heights.sort_unstable();
    let at = heights.len().saturating_sub(1) * 3 / 4;
    heights.get(at).copied().unwrap_or(usize::MAX)
}

/// Where a square was seen.
enum Sighting {
    /// Its place is outside of the picture.
    Outside,
    /// Nothing there looks like it.
    Lost,
    /// So far from its place, small pixels.
    At([f64; 2]),
}

fn find(square: &Square, picture: &Small, reach: isize) -> Sighting {
    let (x, y) = (square.x as isize, square.y as isize);
    let alike = |dx: isize, dy: isize| square.alike(picture, x + dx, y + dy);
    if alike(0, 0).is_nan() {
        return Sighting::Outside;
    }
    // Uphill from its place; where that leads to nothing, all around.
    let mut best = uphill(([0, 0], alike(0, 0)), alike, reach);
    if best.1 < ALIKE {
        for dy in (-reach..=reach).step_by(2) {
            for dx in (-reach..=reach).step_by(2) {
                let here = alike(dx, dy);
                if here > best.1 {
                    best = ([dx, dy], here);
                }
            }
        }
        best = uphill(best, alike, 2);
    }
    let ([dx, dy], top) = best;
    if top.is_nan() || top < ALIKE || dx.abs() > reach || dy.abs() > reach {
        return Sighting::Lost;
    }
    let between = |before: f32, after: f32| {
        // The top of the parabola through three values; half a pixel at most.
        let bend = before - 2.0 * top + after;
        let by = (before - after) / (2.0 * bend);
        if by.is_finite() {
            by.clamp(-0.5, 0.5)
        } else {
            0.0
        }
    };
    Sighting::At([
        dx as f64 + f64::from(between(alike(dx - 1, dy), alike(dx + 1, dy))),
        dy as f64 + f64::from(between(alike(dx, dy - 1), alike(dx, dy + 1))),
    ])
}

fn uphill(
    start: ([isize; 2], f32),
    alike: impl Fn(isize, isize) -> f32,
    steps: isize,
) -> ([isize; 2], f32) {
    let mut best = start;
    for _ in 0..steps {
        let ([x, y], top) = best;
        for dy in -1..=1 {
            for dx in -1..=1 {
                let here = alike(x + dx, y + dy);
                if here > best.1 {
                    best = ([x + dx, y + dy], here);
                }
            }
        }
        if best.1 <= top {
            break;
        }
    }
    best
}

/// The places where the whole set fits best, at a quarter of the size.
fn elsewhere(squares: &[&Square], picture: &Small) -> Vec<Flow> {
    const SMALL_SIDE: usize = SIDE / 4;
    let quarter = picture.quarter();
    let (width, height) = (quarter.width as isize, quarter.height as isize);
    let every = squares.len().div_ceil(SQUARES).max(1);
    // Value and place of each pixel of the squares, about the middle of the picture.
    let mut points: Vec<(f32, f32, f32)> = Vec::new();
    for square in squares.iter().step_by(every) {
        for row in 0..SMALL_SIDE {
            for column in 0..SMALL_SIDE {
                let rows = (4 * row..4 * row + 4).map(|r| r * SIDE + 4 * column);
                let level = rows
                    .map(|at| square.level[at..at + 4].iter().sum::<f32>())
                    .sum::<f32>()
                    / 16.0;
                let x = (square.x / 4 + column) as f32 - quarter.width as f32 / 2.0;
                let y = (square.y / 4 + row) as f32 - quarter.height as f32 / 2.0;
                points.push((level, x, y));
            }
        }
    }
    let mut best: Vec<(f32, Flow)> = Vec::new();
    for turn_deg in TURNS_DEG {
        let turn = turn_deg.to_radians();
        let (sin, cos) = (turn.sin() as f32, turn.cos() as f32);
        for zoom in ZOOMS {
            let z = zoom as f32;
            let places: Vec<(f32, isize, isize)> = points
                .iter()
                .map(|(level, x, y)| {
                    let to_x = z * (cos * x - sin * y) + quarter.width as f32 / 2.0;
                    let to_y = z * (sin * x + cos * y) + quarter.height as f32 / 2.0;
                    (*level, to_x.round() as isize, to_y.round() as isize)
                })
                .collect();
            let mut top = (f32::NEG_INFINITY, [0, 0]);
            for dy in -UPRIGHT..=UPRIGHT {
                for dx in -ACROSS..=ACROSS {
                    let (mut product, mut seen) = (0.0_f32, 0_u32);
                    for (level, x, y) in &places {
                        let (x, y) = (x + dx, y + dy);
                        if (0..width).contains(&x) && (0..height).contains(&y) {
                            product += level * quarter.level[(y * width + x) as usize];
                            seen += 1;
                        }
                    }
                    if seen as usize * 3 >= places.len() {
                        let score = product / seen as f32;
                        if score > top.0 {
                            top = (score, [dx, dy]);
                        }
                    }
                }
            }
            let by = [4.0 * top.1[0] as f64, 4.0 * top.1[1] as f64];
            best.push((top.0, Flow::of(picture, by, turn, zoom)));
        }
    }
    best.sort_by(|a, b| b.0.total_cmp(&a.0));
    best.into_iter()
        .take(PLACES)
        .filter(|(score, _)| score.is_finite())
        .map(|(_, flow)| flow)
        .collect()
}
