//! The figure of the page: how it was skated beside how to skate, as SVG.

use std::fmt::Write;

use super::page::escape;
use crate::figure::{Figure, Order, Paint, Picture, Stance};
use crate::rules::Leg;

/// Stature the figure is drawn with; only shares count.
const ANY_STATURE_M: f64 = 1.4;
/// Free room about the drawing, metres of the skater.
const ROOM_M: f64 = 0.03;

/// The figure of an order, with its value and limit in the unit of its rule. `title`
/// says what it shows to who cannot see it.
pub fn figure_svg(order: Order, leg: Leg, value: f64, limit: f64, title: &str) -> String {
    let stance = Stance::standard(order, Stance::usual_view(order), leg, ANY_STATURE_M);
    let figure = Figure::new(order, &stance, value, limit);
    let picture = Picture::of_figure(&figure, 1.0);
    let Some([left, bottom, right, top]) = picture.bounds() else {
        return String::new();
    };
    let (width, height) = (right - left + 2.0 * ROOM_M, top - bottom + 2.0 * ROOM_M);
    let mut svg = format!(
        "<svg class=\"figure\" role=\"img\" viewBox=\"0 0 {:.1} {:.1}\"><title>{}</title>\n",
        1000.0 * width,
        1000.0 * height,
        escape(title)
    );
    let at = |[x, y]: [f64; 2]| (1000.0 * (x - left + ROOM_M), 1000.0 * (top - y + ROOM_M));
    let ice = 1000.0 * (height - ROOM_M * 0.6);
    let _ = writeln!(
        svg,
        "<path class=\"ice\" d=\"M0 {ice:.0}H{:.0}\"/>",
        1000.0 * width
    );
    for (outline, paint) in &picture.outlines {
        if outline.len() < 3 {
            continue;
        }
        let class = match paint {
            Paint::Ground => "ground",
            Paint::Ghost => "ghost",
            Paint::Body => "body",
            Paint::Far => "far",
            Paint::Signal => "signal",
            Paint::Ice => "ice",
        };
        let _ = write!(svg, "<path class=\"{class}\" d=\"");
        for (i, point) in outline.iter().enumerate() {
            let (x, y) = at(*point);
            let _ = write!(svg, "{}{x:.0} {y:.0}", if i == 0 { "M" } else { "L" });
        }
        svg.push_str("Z\"/>\n");
    }
    svg.push_str("</svg>\n");
    svg
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_order_has_a_figure_with_a_ghost_and_a_title() {
        for order in Order::ALL {
            let svg = figure_svg(order, Leg::Left, f64::NAN, f64::NAN, "As you <skated>");
            assert!(
                svg.contains("<title>As you &lt;skated&gt;</title>"),
                "{order:?}"
            );
            for class in ["ghost", "signal", "body", "ice"] {
                assert!(
                    svg.contains(&format!("class=\"{class}\"")),
                    "{order:?}: {class}"
                );
            }
            assert!(!svg.contains("NaN"), "{order:?}");
        }
    }
}
