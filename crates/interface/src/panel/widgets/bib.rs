//! The bib of a skater: a disc in the colour of the arm band with the number,
//! the same on every page and on the skater's screen.

use egui::{Color32, Rect, Response, Sense, Ui, Vec2, pos2};

use super::{Sizes, fitting};
use crate::display::fonts_for;
use crate::panel::look::OVER_RIM;

/// Under the number, in every look.
const GROUND: Color32 = Color32::from_rgb(0xFC, 0xFE, 0xFF);

/// Draws a disc of this many millimetres; `number` is what stands on it, and
/// stays as it is in every script. Its name is said beside it.
pub(in crate::panel) fn bib(
    ui: &mut Ui,
    s: Sizes,
    side_mm: f32,
    number: &str,
    colour: Option<Color32>,
) -> Response {
    let side = s.mm(side_mm);
    let (rect, place) = ui.allocate_exact_size(Vec2::splat(side), Sense::hover());
    paint(ui, s, rect, number, colour);
    place
}

pub(in crate::panel) fn paint(
    ui: &Ui,
    s: Sizes,
    rect: Rect,
    number: &str,
    colour: Option<Color32>,
) {
    let radius = rect.width().min(rect.height()) / 2.0;
    let painter = ui.painter();
    // The colour is the rim, so that the number is read on every colour.
    painter.circle_filled(rect.center(), radius, OVER_RIM);
    painter.circle_filled(rect.center(), radius * 0.95, colour.unwrap_or(s.c.edge));
    painter.circle_filled(rect.center(), radius * 0.72, GROUND);
    if number.is_empty() {
        return;
    }
    let ink = OVER_RIM;
    fonts_for(ui.ctx(), number);
    let size = egui::FontId::new(radius * 1.15, egui::FontFamily::Proportional);
    let font = fitting(ui, number, size, radius * 1.3);
    let galley = painter.layout_no_wrap(number.to_owned(), font, ink);
    let at = pos2(
        rect.center().x - galley.size().x / 2.0,
        rect.center().y - galley.size().y / 2.0,
    );
    painter.galley(at, galley, ink);
}
