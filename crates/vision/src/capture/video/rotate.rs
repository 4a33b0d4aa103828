//! Turning a picture upright.

use crate::capture::spare::Spares;

/// A clockwise turn that makes the picture upright.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) enum Turn {
    /// Upright already.
    #[default]
    None,
    /// A quarter turn clockwise.
    Quarter,
    /// Upside down.
    Half,
    /// A quarter turn counter-clockwise.
    ThreeQuarter,
}

impl Turn {
    /// The turn a track header's matrix asks for (ISO/IEC 14496-12, clause
    /// 8.3.2: `x' = a x + c y`, `y' = b x + d y`, y downward). Only the signs
    /// count; anything but a right angle is taken for upright.
    pub(super) fn from_matrix(a: i32, b: i32, c: i32, d: i32) -> Self {
        match (a.signum(), b.signum(), c.signum(), d.signum()) {
            (0, 1, -1, 0) => Self::Quarter,
            (-1, 0, 0, -1) => Self::Half,
            (0, -1, 1, 0) => Self::ThreeQuarter,
            _ => Self::None,
        }
    }

    /// Turns RGB rows. Gives width, height and rows of the turned picture.
    pub(super) fn apply(
        self,
        rgb: Vec<u8>,
        width: usize,
        height: usize,
        spares: &mut Spares,
    ) -> (usize, usize, Vec<u8>) {
        match self {
            Self::None => (width, height, rgb),
            Self::Half => {
                let mut rgb = rgb;
                rgb.reverse();
                // Reversing the bytes also reversed R, G, B of each pixel.
                rgb.chunks_exact_mut(3).for_each(|p| p.swap(0, 2));
                (width, height, rgb)
            }
            Self::Quarter | Self::ThreeQuarter => {
                let mut out = spares.take(rgb.len());
                for (row, pixels) in rgb.chunks_exact(width * 3).enumerate() {
                    for (col, pixel) in pixels.chunks_exact(3).enumerate() {
                        let (to_row, to_col) = match self {
                            Self::Quarter => (col, height - 1 - row),
                            _ => (width - 1 - col, row),
                        };
                        out[(to_row * height + to_col) * 3..][..3].copy_from_slice(pixel);
                    }
                }
                spares.give(rgb);
                (height, width, out)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// One letter a pixel, rows top to bottom.
    fn turned(turn: Turn) -> (usize, usize, String) {
        let rgb: Vec<u8> = b"abcdef".iter().flat_map(|p| [*p, p + 100, 0]).collect();
        let (w, h, out) = turn.apply(rgb, 3, 2, &mut Spares::default());
        assert!(
            out.chunks_exact(3).all(|p| p[1] == p[0] + 100 && p[2] == 0),
            "channels stay in place"
        );
        (w, h, out.chunks_exact(3).map(|p| p[0] as char).collect())
    }

    #[test]
    fn right_angles() {
        // abc        da
        // def  ->    eb
        //            fc
        assert_eq!(turned(Turn::None), (3, 2, "abcdef".into()));
        assert_eq!(turned(Turn::Quarter), (2, 3, "daebfc".into()));
        assert_eq!(turned(Turn::Half), (3, 2, "fedcba".into()));
        assert_eq!(turned(Turn::ThreeQuarter), (2, 3, "cfbead".into()));
    }

    #[test]
    fn matrices() {
        let one = 0x1_0000;
        assert_eq!(Turn::from_matrix(one, 0, 0, one), Turn::None);
        assert_eq!(Turn::from_matrix(0, one, -one, 0), Turn::Quarter);
        assert_eq!(Turn::from_matrix(-one, 0, 0, -one), Turn::Half);
        assert_eq!(Turn::from_matrix(0, -one, one, 0), Turn::ThreeQuarter);
    }
}
