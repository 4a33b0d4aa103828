//! Places to write into.

use egui::{Margin, Response, TextEdit, Ui, vec2};

use super::{Sizes, Voice, say};

/// One line to write, with its name above.
pub(in crate::panel) fn field(
    ui: &mut Ui,
    s: Sizes,
    name: &str,
    text: &mut String,
    secret: bool,
) -> Response {
    let label = say(ui, s, Voice::Quiet, name);
    let width = ui.available_width();
    ui.add(
        TextEdit::singleline(text)
            .password(secret)
            .font(s.body())
            .margin(margin(s))
            .align(egui::Align2::LEFT_CENTER)
            .desired_width(width)
            .min_size(vec2(s.target(), s.target())),
    )
    .labelled_by(label.id)
}

/// Several lines to write.
pub(in crate::panel) fn field_lines(
    ui: &mut Ui,
    s: Sizes,
    name: &str,
    text: &mut String,
    lines: usize,
) -> Response {
    let label = say(ui, s, Voice::Quiet, name);
    let width = ui.available_width();
    ui.add(
        TextEdit::multiline(text)
            .font(s.body())
            .margin(margin(s))
            .desired_rows(lines)
            .desired_width(width)
            .min_size(vec2(s.target(), s.target())),
    )
    .labelled_by(label.id)
}

fn margin(s: Sizes) -> Margin {
    let side = |mm: f32| s.mm(mm).round() as i8;
    Margin::symmetric(side(2.5), side(1.5))
}
