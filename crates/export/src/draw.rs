//! Lines and plates into the pixels of a picture.

use image::RgbImage;

/// A point of a picture, pixels from its upper left corner.
pub type Px = [f32; 2];

/// A line with round ends: every pixel is covered by its distance from it.
pub fn line(picture: &mut RgbImage, [a, b]: [Px; 2], width_px: f32, colour: [u8; 3]) {
    if ![a, b].iter().flatten().all(|v| v.is_finite()) {
        return;
    }
    let radius = (width_px / 2.0).max(0.5);
    let reach = radius + 1.0;
    let range = |i: usize, most: u32| {
        let low = (a[i].min(b[i]) - reach).floor().max(0.0) as u32;
        let high = (a[i].max(b[i]) + reach).ceil().max(0.0);
        low..(high as u32).min(most)
    };
    let along = [b[0] - a[0], b[1] - a[1]];
    let square = along[0] * along[0] + along[1] * along[1];
    let (columns, rows) = (range(0, picture.width()), range(1, picture.height()));
    for y in rows {
        for x in columns.clone() {
            let from = [x as f32 + 0.5 - a[0], y as f32 + 0.5 - a[1]];
            let share = if square > 0.0 {
                ((from[0] * along[0] + from[1] * along[1]) / square).clamp(0.0, 1.0)
            } else {
                0.0
            };
            let off = (from[0] - share * along[0]).hypot(from[1] - share * along[1]);
            let cover = (radius + 0.5 - off).clamp(0.0, 1.0);
            if cover > 0.0 {
                blend(picture.get_pixel_mut(x, y), colour, cover);
            }
        }
    }
}

/// A line of dashes, each as long as its gaps.
pub fn dashes(picture: &mut RgbImage, [a, b]: [Px; 2], width_px: f32, colour: [u8; 3]) {
    let length = (b[0] - a[0]).hypot(b[1] - a[1]);
    let dash = 2.5 * width_px.max(1.0);
    if !(length.is_finite() && length > 0.0) {
        return;
    }
    let at = |s: f32| {
        let share = (s / length).min(1.0);
        [a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])]
    };
    // No picture is wider than this many dashes.
    for i in 0..4096u16 {
        let from = 2.0 * dash * f32::from(i);
        if from >= length {
            break;
        }
        line(picture, [at(from), at(from + dash)], width_px, colour);
    }
}

/// Lays a plate over a picture with its upper left corner at a place; what
/// reaches beyond the picture is left out.
pub fn lay(picture: &mut RgbImage, plate: &RgbImage, x: i64, y: i64) {
    image::imageops::replace(picture, plate, x, y);
}

fn blend(pixel: &mut image::Rgb<u8>, colour: [u8; 3], cover: f32) {
    for (under, over) in pixel.0.iter_mut().zip(colour) {
        let mixed = f32::from(*under) * (1.0 - cover) + f32::from(over) * cover;
        *under = mixed.round() as u8;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RED: [u8; 3] = [255, 0, 0];

    #[test]
    fn a_line_covers_the_area_it_should() {
        let mut picture = RgbImage::new(100, 40);
        line(&mut picture, [[20.0, 20.0], [80.0, 20.0]], 6.0, RED);
        let covered: f32 = picture.pixels().map(|p| f32::from(p.0[0]) / 255.0).sum();
        // 60 x 6 and two half discs of radius 3
        let wanted = 360.0 + std::f32::consts::PI * 9.0;
        assert!((covered - wanted).abs() < 4.0, "{covered} for {wanted}");
        assert_eq!(picture.get_pixel(50, 20).0, RED);
        assert_eq!(picture.get_pixel(50, 30).0, [0, 0, 0]);
    }

    #[test]
    fn what_lies_outside_or_is_no_number_is_left_out() {
        let mut picture = RgbImage::new(10, 10);
        line(&mut picture, [[f32::NAN, 0.0], [5.0, 5.0]], 3.0, RED);
        line(&mut picture, [[-90.0, -90.0], [-50.0, -50.0]], 3.0, RED);
        dashes(&mut picture, [[1e9, 0.0], [f32::INFINITY, 5.0]], 3.0, RED);
        assert!(picture.pixels().all(|p| p.0 == [0, 0, 0]));
        line(&mut picture, [[-50.0, 5.0], [50.0, 5.0]], 2.0, RED);
        assert!((0..10).all(|x| picture.get_pixel(x, 5).0 == RED));
    }

    #[test]
    fn dashes_leave_gaps() {
        let mut picture = RgbImage::new(100, 10);
        dashes(&mut picture, [[5.0, 5.0], [95.0, 5.0]], 3.0, RED);
        let row: Vec<bool> = (0..100)
            .map(|x| picture.get_pixel(x, 5).0[0] > 128)
            .collect();
        let edges = row.windows(2).filter(|w| w[0] != w[1]).count();
        assert!(edges >= 6, "{edges}");
    }
}
