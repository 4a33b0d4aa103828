//! Hips, knees and ankles as a second model reads them.
//!
//! It is a model of another family than the landmark model: it finds the body's
//! middle first, guesses from there where each point should be, and takes the
//! warmest place of the point's heat near that. Of what it gives only the legs
//! are taken.

use super::body::{LEG_JOINTS, LegPoint, LegReading, Roi};

/// Side of the model's input, pixels.
pub(crate) const SIDE: usize = 192;
/// Side of the model's maps, cells.
pub(crate) const CELLS: usize = 48;
/// A cell's heat is divided by its distance from where it is expected, in
/// cells, plus this.
const SOFTENED_BY: f32 = 1.8;

/// One run's outputs: `[6, 48, 48]` and the like, 0 to 1 or cells; joints in the
/// order of [`LegReading`].
pub(crate) struct Maps<'a> {
    /// Heat of each point.
    pub(crate) heat: &'a [f32],
    /// Heat of the body's middle.
    pub(crate) centre: &'a [f32],
    /// From the middle to each point: down, then right; cells.
    pub(crate) from_centre: &'a [f32],
    /// From a point's cell to the point: down, then right; cells.
    pub(crate) offsets: &'a [f32],
}

/// Reads the outputs for an upright crop of `roi`. `None` if a value is not a
/// number.
pub(crate) fn decode(maps: &Maps, roi: &Roi) -> Option<LegReading> {
    let cells = CELLS * CELLS;
    let middle = [CELLS as f32 / 2.0; 2];
    let centre = warmest(maps.centre.get(..cells)?, middle);
    let [row, column] = [centre / CELLS, centre % CELLS].map(|c| c as f32);
    let map = |all: &[f32], k: usize, cell: usize| all.get(k * cells + cell).copied();
    let mut points = [LegPoint::default(); LEG_JOINTS];
    for (k, point) in points.iter_mut().enumerate() {
        let expected = [
            row + map(maps.from_centre, 2 * k, centre)?,
            column + map(maps.from_centre, 2 * k + 1, centre)?,
        ];
        let cell = warmest(maps.heat.get(k * cells..(k + 1) * cells)?, expected);
        let down = (cell / CELLS) as f32 + map(maps.offsets, 2 * k, cell)?;
        let right = (cell % CELLS) as f32 + map(maps.offsets, 2 * k + 1, cell)?;
        let in_frame = |cells: f32| (cells / CELLS as f32 - 0.5) * roi.size_px;
        *point = LegPoint {
            x_px: roi.cx_px + in_frame(right),
            y_px: roi.cy_px + in_frame(down),
            // in 255ths, as it is stored
            belief: (map(maps.heat, k, cell)?.clamp(0.0, 1.0) * 255.0).round() / 255.0,
        };
        let numbers = [point.x_px, point.y_px, point.belief];
        numbers.iter().all(|v| v.is_finite()).then_some(())?;
    }
    Some(LegReading { points })
}

/// The cell that is warmest for its distance from a place: row and column.
fn warmest(heat: &[f32], near: [f32; 2]) -> usize {
    let mut best = (0, f32::MIN);
    for (cell, heat) in heat.iter().enumerate() {
        let (down, right) = ((cell / CELLS) as f32, (cell % CELLS) as f32);
        let weighed = heat / ((down - near[0]).hypot(right - near[1]) + SOFTENED_BY);
        if weighed > best.1 {
            best = (cell, weighed);
        }
    }
    best.0
}

#[cfg(test)]
mod tests {
    use super::*;

    const ROI: Roi = Roi {
        cx_px: 600.0,
        cy_px: 300.0,
        size_px: 480.0,
        rotation_rad: 0.0,
    };

    struct Owned {
        heat: Vec<f32>,
        centre: Vec<f32>,
        from_centre: Vec<f32>,
        offsets: Vec<f32>,
    }

    impl Owned {
        fn cold() -> Self {
            let cells = CELLS * CELLS;
            Owned {
                heat: vec![0.001; LEG_JOINTS * cells],
                centre: vec![0.001; cells],
                from_centre: vec![0.0; 2 * LEG_JOINTS * cells],
                offsets: vec![0.0; 2 * LEG_JOINTS * cells],
            }
        }

        fn read(&self) -> Option<LegReading> {
            decode(
                &Maps {
                    heat: &self.heat,
                    centre: &self.centre,
                    from_centre: &self.from_centre,
                    offsets: &self.offsets,
                },
                &ROI,
            )
        }
    }

    /// Two people stand in the crop: the one in its middle is read, and of two
    /// equally warm places the one near where the point is expected. By hand: a
    /// cell is 10 pixels of the frame.
    #[test]
    fn the_body_in_the_middle_is_read() {
        let cells = CELLS * CELLS;
        let at = |row: usize, column: usize| row * CELLS + column;
        let mut maps = Owned::cold();
        maps.centre[at(24, 22)] = 0.6;
        maps.centre[at(20, 44)] = 0.9;
        let right_ankle = LEG_JOINTS - 1;
        maps.from_centre[2 * right_ankle * cells + at(24, 22)] = 12.0;
        maps.from_centre[(2 * right_ankle + 1) * cells + at(24, 22)] = -3.0;
        maps.heat[right_ankle * cells + at(37, 18)] = 0.8;
        maps.heat[right_ankle * cells + at(37, 40)] = 0.9;
        maps.offsets[2 * right_ankle * cells + at(37, 18)] = 0.5;
        maps.offsets[(2 * right_ankle + 1) * cells + at(37, 18)] = 0.25;
        let ankle = maps.read().expect("numbers").points[LEG_JOINTS - 1];
        assert!((ankle.x_px - (600.0 + (18.25 - 24.0) * 10.0)).abs() < 1e-3);
        assert!((ankle.y_px - (300.0 + (37.5 - 24.0) * 10.0)).abs() < 1e-3);
        assert!((ankle.belief - 0.8).abs() < 1e-3);
    }

    #[test]
    fn no_numbers_are_no_reading() {
        let mut maps = Owned::cold();
        maps.heat.pop();
        assert!(maps.read().is_none(), "too short");
        let mut maps = Owned::cold();
        maps.offsets.fill(f32::NAN);
        assert!(maps.read().is_none());
    }
}
