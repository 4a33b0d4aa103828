//! The background that the camera is held to: a few grey squares.

use serde::{Deserialize, Serialize};

use super::small::Small;

/// A square is so many pixels of the small picture wide and high.
pub(super) const SIDE: usize = 16;
/// One step of a stored grey, in units of the usual difference.
const STEP: f32 = 0.3;
/// Steps to each side: a square is kept in 15 greys.
const STEPS: f32 = 7.0;
/// A square without this much change along both directions has no corner that could be found
/// again: mean square of the differences between pixels.
const CORNER: f32 = 0.025;
/// Fewer squares than this say nothing.
pub(super) const LEAST: usize = 12;
/// So many pictures make a background.
pub(super) const PICTURES: usize = 7;
/// A square has to be seen without a body in front in so many of them.
const SEEN: usize = 5;
/// What stands still is this alike in each of them.
const STILL: f32 = 0.8;

/// Why a kept background cannot be used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the squares of the background are not whole")]
pub struct ReferenceFault;

/// The background when the lane was set up: squares of 16 by 16 pixels of a picture 320 wide,
/// in 15 greys of even contrast, and only where a corner is and nothing moved. A picture in
/// which a body was found at a place does not count there, and a place where that is so in
/// more than two of the seven pictures is left out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Stored", into = "Stored")]
pub struct Reference {
    /// Size of the small picture, pixels.
    pub(super) size: [usize; 2],
    pub(super) squares: Vec<Square>,
}

/// A square: its upper left pixel, its greys in steps, the same less their mean, and the
/// length of these.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Square {
    pub(super) x: usize,
    pub(super) y: usize,
    greys: Vec<i8>,
    pub(super) level: Vec<f32>,
    pub(super) length: f32,
}

impl Square {
    fn new(x: usize, y: usize, greys: Vec<i8>) -> Square {
        let mut level: Vec<f32> = greys.iter().map(|v| f32::from(*v) * STEP).collect();
        let mean = level.iter().sum::<f32>() / level.len() as f32;
        level.iter_mut().for_each(|v| *v -= mean);
        let length = level.iter().map(|v| v * v).sum::<f32>().sqrt();
        Square {
            x,
            y,
            greys,
            level,
            length,
        }
    }

    /// Its middle, small pixels.
    pub(super) fn middle(&self) -> [f64; 2] {
        [self.x, self.y].map(|v| v as f64 + SIDE as f64 / 2.0)
    }

    /// How alike it is to the square of a picture whose upper left pixel is at (x, y): the
    /// correlation, -1 to 1; not a number where the picture does not show all of it.
    pub(super) fn alike(&self, picture: &Small, x: isize, y: isize) -> f32 {
        let fits = |v: isize, most: usize| v >= 0 && v as usize + SIDE <= most;
        if !fits(x, picture.width) || !fits(y, picture.height) {
            return f32::NAN;
        }
        let (mut sum, mut squares, mut product) = (0.0_f32, 0.0_f32, 0.0_f32);
        for (row, mine) in self.level.chunks_exact(SIDE).enumerate() {
            let at = (y as usize + row) * picture.width + x as usize;
            for (v, p) in picture.level[at..at + SIDE].iter().zip(mine) {
                sum += v;
                squares += v * v;
                product += v * p;
            }
        }
        let n = (SIDE * SIDE) as f32;
        let length = (squares - sum * sum / n).max(0.0).sqrt();
        if length.is_nan() {
            return f32::NAN;
        }
        product / (self.length * length).max(1e-3)
    }
}

/// The lesser of the changes along the two directions of a square that change most and least
/// (the smaller eigenvalue of the structure tensor: J. Shi, C. Tomasi, Good Features to
/// Track, CVPR 1994).
fn corner(level: &[f32]) -> f32 {
    let (mut xx, mut xy, mut yy) = (0.0_f32, 0.0_f32, 0.0_f32);
    for y in 1..SIDE - 1 {
        for x in 1..SIDE - 1 {
            let at = y * SIDE + x;
            let dx = (level[at + 1] - level[at - 1]) / 2.0;
            let dy = (level[at + SIDE] - level[at - SIDE]) / 2.0;
            xx += dx * dx;
            xy += dx * dy;
            yy += dy * dy;
        }
    }
    let n = ((SIDE - 2) * (SIDE - 2)) as f32;
    let (xx, xy, yy) = (xx / n, xy / n, yy / n);
    let half = (xx + yy) / 2.0;
    half - ((xx - yy) * (xx - yy) / 4.0 + xy * xy).sqrt()
}

/// A picture of the lane and the places that bodies cover in it, small pixels (left, top,
/// right, bottom).
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Seen {
    pub(super) picture: Small,
    pub(super) bodies: Vec<[f32; 4]>,
}

impl Seen {
    /// Whether a square with this upper left pixel is covered.
    pub(super) fn covers(&self, x: usize, y: usize) -> bool {
        let (x, y, side) = (x as f32, y as f32, SIDE as f32);
        self.bodies
            .iter()
            .any(|b| x < b[2] && x + side > b[0] && y < b[3] && y + side > b[1])
    }
}

impl Reference {
    /// The background of some pictures, where it stood still and shows enough.
    pub(super) fn learn(pictures: &[Seen]) -> Option<Reference> {
        let first = &pictures.first()?.picture;
        let size = [first.width, first.height];
        let mut squares = Vec::new();
        for y in (0..=size[1].saturating_sub(SIDE)).step_by(SIDE) {
            for x in (0..=size[0].saturating_sub(SIDE)).step_by(SIDE) {
                squares.extend(still_square(pictures, x, y));
            }
        }
        (squares.len() >= LEAST).then_some(Reference { size, squares })
    }
}

/// The square with this upper left pixel as it looked in the middle, where it stood still and
/// has a corner.
fn still_square(pictures: &[Seen], x: usize, y: usize) -> Option<Square> {
    let clear: Vec<&Small> = pictures
        .iter()
        .filter(|seen| !seen.covers(x, y))
        .map(|seen| &seen.picture)
        .collect();
    if clear.len() < SEEN {
        return None;
    }
    let mut greys = Vec::with_capacity(SIDE * SIDE);
    let mut values = Vec::with_capacity(clear.len());
    for row in 0..SIDE {
        for column in 0..SIDE {
            values.clear();
            values.extend(
                clear
                    .iter()
                    .map(|p| p.level[(y + row) * p.width + x + column]),
            );
            values.sort_by(f32::total_cmp);
            let middle = values[values.len() / 2];
            greys.push((middle / STEP).round().clamp(-STEPS, STEPS) as i8);
        }
    }
    let level: Vec<f32> = greys.iter().map(|v| f32::from(*v) * STEP).collect();
    if corner(&level) < CORNER {
        return None;
    }
    let square = Square::new(x, y, greys);
    let still = clear
        .iter()
        .filter(|p| square.alike(p, x as isize, y as isize) >= STILL)
        .count();
    (still >= SEEN).then_some(square)
}

/// As it is written down: one letter a pixel.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Stored {
    width: usize,
    height: usize,
    squares: Vec<StoredSquare>,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct StoredSquare {
    x: usize,
    y: usize,
    greys: String,
}

/// The letter of the middle grey: seven before it, seven after.
const MIDDLE_GREY: u8 = b'h';

impl From<Reference> for Stored {
    fn from(reference: Reference) -> Stored {
        let squares = reference.squares.into_iter().map(|square| {
            let letter = |steps: &i8| char::from(MIDDLE_GREY.wrapping_add_signed(*steps));
            StoredSquare {
                x: square.x,
                y: square.y,
                greys: square.greys.iter().map(letter).collect(),
            }
        });
        Stored {
            width: reference.size[0],
            height: reference.size[1],
            squares: squares.collect(),
        }
    }
}

impl TryFrom<Stored> for Reference {
    type Error = ReferenceFault;

    fn try_from(stored: Stored) -> Result<Reference, ReferenceFault> {
        let size = [stored.width, stored.height];
        let fits = |v: usize, most: usize| v.checked_add(SIDE).is_some_and(|end| end <= most);
        let squares: Option<Vec<Square>> = stored
            .squares
            .into_iter()
            .map(|square| {
                let whole = square.greys.len() == SIDE * SIDE
                    && fits(square.x, size[0])
                    && fits(square.y, size[1]);
                let greys = square.greys.bytes().map(|letter| {
                    let steps = i16::from(letter) - i16::from(MIDDLE_GREY);
                    let fits = f32::from(steps).abs() <= STEPS;
                    i8::try_from(steps).ok().filter(|_| fits)
                });
                let greys: Option<Vec<i8>> = greys.collect();
                Some(Square::new(square.x, square.y, greys.filter(|_| whole)?))
            })
            .collect();
        match squares {
            Some(squares) if squares.len() >= LEAST => Ok(Reference { size, squares }),
            _ => Err(ReferenceFault),
        }
    }
}
