//! The H.264 sequence parameter set: can the built-in decoder read this
//! stream, and how are its colours to be read?
//!
//! Source of the layout: ITU-T H.264 (08/2021), clauses 7.3.2.1.1 and E.1.1.

use super::pixel_shape::PixelShape;
use crate::capture::color::{ColorSpace, Matrix};

/// What is of use in a sequence parameter set.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Sps {
    /// Profile number (66 baseline, 77 main, 100 high, ...).
    pub profile: u8,
    /// 8 bits a sample and 4:2:0.
    pub plain_420: bool,
    /// Only whole frames, no fields.
    pub progressive: bool,
    /// As the stream says, or the assumption where it does not.
    pub color: ColorSpace,
    /// The shape of its pixels, where it says so.
    pub shape: Option<PixelShape>,
}

impl Sps {
    /// Whether OpenH264 decodes it (its README: baseline, main, high;
    /// no fields, 4:2:0 in 8 bits).
    pub(super) fn is_supported(&self) -> bool {
        matches!(self.profile, 66 | 77 | 100) && self.plain_420 && self.progressive
    }

    /// Reads a NAL unit of type 7, header byte included. `None` when it is
    /// none or breaks off.
    pub(super) fn parse(nal: &[u8]) -> Option<Self> {
        if nal.first()? & 0x1f != 7 {
            return None;
        }
        let payload = without_emulation_prevention(&nal[1..]);
        let mut bits = Bits {
            data: &payload,
            at: 0,
        };
        let profile = bits.u(8)? as u8;
        bits.u(16)?; // constraint flags, level
        bits.ue()?; // id
        let mut plain_420 = true;
        if matches!(
            profile,
            100 | 110 | 122 | 244 | 44 | 83 | 86 | 118 | 128 | 138 | 139 | 134 | 135
        ) {
            let chroma_format = bits.ue()?;
            if chroma_format == 3 {
                bits.u(1)?;
            }
            let (luma_depth, chroma_depth) = (bits.ue()?, bits.ue()?);
            plain_420 = chroma_format == 1 && luma_depth == 0 && chroma_depth == 0;
            bits.u(1)?; // transform bypass
            if bits.u(1)? == 1 {
                for list in 0..if chroma_format == 3 { 12 } else { 8 } {
                    if bits.u(1)? == 1 {
                        skip_scaling_list(&mut bits, if list < 6 { 16 } else { 64 })?;
                    }
                }
            }
        }
        bits.ue()?; // frame number length
        match bits.ue()? {
            0 => {
                bits.ue()?;
            }
            1 => {
                bits.u(1)?;
                bits.se()?;
                bits.se()?;
                for _ in 0..bits.ue()?.min(255) {
                    bits.se()?;
                }
            }
            _ => {}
        }
        bits.ue()?; // reference frames
        bits.u(1)?;
        bits.ue()?; // width
        bits.ue()?; // height
        let progressive = bits.u(1)? == 1;
        if !progressive {
            bits.u(1)?;
        }
        bits.u(1)?;
        if bits.u(1)? == 1 {
            for _ in 0..4 {
                bits.ue()?; // cropping: the decoder applies it
            }
        }
        let said = bits.u(1)? == 1;
        let shape = said.then(|| vui_shape(&mut bits)).flatten();
        // Where it breaks off in the shape of the pixels there is no colour either.
        let color = said
            .then(|| vui_color(&mut bits))
            .flatten()
            .unwrap_or_default();
        Some(Self {
            profile,
            plain_420,
            progressive,
            color,
            shape,
        })
    }
}

/// The shape of the pixels, with which the part about how to show pictures begins.
fn vui_shape(bits: &mut Bits<'_>) -> Option<PixelShape> {
    if bits.u(1)? == 0 {
        return None;
    }
    match bits.u(8)? {
        255 => PixelShape::of(bits.u(16)? as f64, bits.u(16)? as f64),
        number => PixelShape::numbered(number),
    }
}

fn vui_color(bits: &mut Bits<'_>) -> Option<ColorSpace> {
    let mut color = ColorSpace::default();
    if bits.u(1)? == 1 {
        bits.u(1)?; // overscan
    }
    if bits.u(1)? == 1 {
        bits.u(3)?; // video format
        color.full_range = bits.u(1)? == 1;
        if bits.u(1)? == 1 {
            bits.u(16)?; // primaries, transfer
            if bits.u(8)? == 1 {
                color.matrix = Matrix::Bt709;
            }
        }
    }
    Some(color)
}

fn skip_scaling_list(bits: &mut Bits<'_>, size: usize) -> Option<()> {
    let (mut last, mut next) = (8i64, 8i64);
    for _ in 0..size {
        if next != 0 {
            next = (last + bits.se()? + 256) % 256;
        }
        if next != 0 {
            last = next;
        }
    }
    Some(())
}

/// Takes out the 3 of every `00 00 03` (clause 7.4.1.1).
fn without_emulation_prevention(data: &[u8]) -> Vec<u8> {
    let mut out = Vec::with_capacity(data.len());
    let mut zeros = 0;
    for byte in data {
        if zeros >= 2 && *byte == 3 {
            zeros = 0;
            continue;
        }
        zeros = if *byte == 0 { zeros + 1 } else { 0 };
        out.push(*byte);
    }
    out
}

/// Reads bits from the most significant one on.
struct Bits<'a> {
    data: &'a [u8],
    at: usize,
}

impl Bits<'_> {
    fn u(&mut self, count: usize) -> Option<u64> {
        let mut value = 0;
        for _ in 0..count {
            let byte = self.data.get(self.at / 8)?;
            value = (value << 1) | u64::from((byte >> (7 - self.at % 8)) & 1);
            self.at += 1;
        }
        Some(value)
    }

    /// Unsigned exponential-Golomb code (clause 9.1).
    fn ue(&mut self) -> Option<u64> {
        let mut zeros = 0;
        while self.u(1)? == 0 {
            zeros += 1;
            if zeros > 32 {
                return None;
            }
        }
        Some((1 << zeros) - 1 + self.u(zeros)?)
    }

    /// Signed exponential-Golomb code (clause 9.1.1).
    fn se(&mut self) -> Option<i64> {
        let code = self.ue()? as i64;
        Some(if code % 2 == 0 {
            -(code / 2)
        } else {
            (code + 1) / 2
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn golomb_codes() {
        // 1, 010, 011, 00100, 00101 = 0, 1, 2, 3, 4 (H.264 table 9-2).
        let data = [0b1010_0110, 0b0100_0010, 0b1000_0000];
        let mut bits = Bits { data: &data, at: 0 };
        assert_eq!(
            (0..5)
                .map(|_| bits.ue().expect("in range"))
                .collect::<Vec<_>>(),
            [0, 1, 2, 3, 4]
        );
        assert_eq!(
            Bits {
                data: &[0; 20],
                at: 0
            }
            .ue(),
            None
        );
    }

    #[test]
    fn emulation_prevention_is_taken_out() {
        assert_eq!(
            without_emulation_prevention(&[0, 0, 3, 1, 0, 3, 0, 0, 3]),
            [0, 0, 1, 0, 3, 0, 0]
        );
    }

    #[test]
    fn what_is_no_parameter_set_is_refused() {
        assert_eq!(Sps::parse(&[]), None);
        assert_eq!(Sps::parse(&[0x68, 1, 2, 3]), None);
        assert_eq!(Sps::parse(&[0x67, 100, 0, 31, 0xac]), None);
    }
}
