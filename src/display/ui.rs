//! The big screen: one look, one thing to read.
//!
//! After a pass: the symbol stands on the side the cue is about, the word
//! beside it, and below both the measured number against the wanted one in
//! its frame. All other states use the same places, so that an eye that has
//! found them once finds them again.

use egui::{Align2, Color32, Rect, Ui, pos2, vec2};

use super::cue::cue;
use super::layout::LayoutReport;
use super::model::{PictureView, Screen, ScreenModel, StatusStrip};
use super::notice::{fault_notice, notice};
use super::page::{Page, set_block};
use super::scale::Scale;
use super::symbols::Symbol;
use super::typeset::{Role, Side, Typesetter};
use super::{theme, words};

/// Draws the whole of `ui` and answers with what was placed where. The font
/// has to be there ([`super::install_fonts`]).
///
/// A picture is shown by itself while somebody is in the lane, and dimmed
/// behind the answer to a pass; other states leave it away.
pub fn big_screen_ui(
    ui: &mut Ui,
    model: &ScreenModel,
    picture: Option<PictureView>,
) -> LayoutReport {
    let screen = ui.max_rect();
    ui.painter().rect_filled(screen, 0.0, theme::BACKGROUND);
    let scale = Scale::new(model.geometry, screen.height());
    let mut set = Typesetter::new(ui, scale, screen);
    let above_strip = strip(&mut set, screen, &model.status);

    let dimmed = match (&model.screen, picture) {
        (Screen::Cue { .. } | Screen::Praise { .. } | Screen::NotJudged { .. }, Some(picture)) => {
            paint_covering(&set, above_strip, picture);
            set.painter().rect_filled(above_strip, 0.0, theme::scrim());
            true
        }
        _ => false,
    };
    let unit = shorter_side(screen);
    let margin = theme::MARGIN * unit;
    let side_margin = unit
        * if screen.width() < screen.height() {
            theme::SIDE_MARGIN_STANDING
        } else {
            theme::SIDE_MARGIN
        };
    let page = Page {
        screen: above_strip,
        content: Rect::from_min_max(
            above_strip.min + vec2(side_margin, margin),
            above_strip.max - vec2(side_margin, 0.4 * margin),
        ),
        unit,
        gap: theme::GAP * unit,
        bg: if dimmed {
            theme::brightest_under_scrim()
        } else {
            theme::BACKGROUND
        },
    };
    match &model.screen {
        Screen::Waiting => notice(
            &mut set,
            &page,
            Symbol::Next,
            words::NEXT_SKATER,
            words::EYES_UP,
        ),
        Screen::InLane => in_lane(&mut set, &page, picture),
        Screen::Cue {
            rule,
            value,
            target,
            leg,
            ..
        } => cue(&mut set, &page, rule, *value, *target, *leg),
        Screen::Praise { .. } => notice(
            &mut set,
            &page,
            Symbol::Praise,
            words::PRAISE,
            words::PRAISE_NOTE,
        ),
        Screen::Improved { .. } | Screen::Unfed { .. } | Screen::Summary(_) => {}
        Screen::NotJudged { reason, .. } => notice(
            &mut set,
            &page,
            Symbol::NotJudged,
            words::NOT_JUDGED,
            &words::sentence(reason),
        ),
        Screen::Fault(fault) => fault_notice(&mut set, &page, fault),
    }
    set.into_report()
}

fn shorter_side(rect: Rect) -> f32 {
    rect.width().min(rect.height())
}

/// The line for the coach along the lower edge; gives what is left above.
fn strip(set: &mut Typesetter<'_>, screen: Rect, status: &StatusStrip) -> Rect {
    let cap = set.least_cap(Role::STRIP);
    let height = cap * theme::STRIP_HEIGHT;
    let baseline = screen.bottom() - (height - cap) / 2.0;
    let mut right = screen.right() - theme::SIDE_MARGIN_STANDING * shorter_side(screen);
    for entry in words::strip(status).iter().rev() {
        let rect = set.line(
            entry,
            Role::STRIP,
            cap,
            pos2(right, baseline),
            Side::Right,
            (theme::QUIET_TEXT, theme::BACKGROUND),
        );
        right = rect.left() - cap * theme::STRIP_GAP;
    }
    Rect::from_min_max(screen.min, pos2(screen.right(), screen.bottom() - height))
}

/// The whole picture, as large as fits, or the two words that matter.
fn in_lane(set: &mut Typesetter<'_>, page: &Page, picture: Option<PictureView>) {
    match picture {
        Some(picture) if picture.size.min_elem() > 0.0 => {
            let room = page.screen.shrink2(vec2(0.0, page.gap * 0.5));
            let scale = (room.size() / picture.size).min_elem();
            let rect = Rect::from_center_size(room.center(), picture.size * scale);
            set.painter()
                .image(picture.texture, rect, whole_texture(), Color32::WHITE);
        }
        _ => {
            let (lines, cap) =
                set.fit_words(words::SKATE, page.content, theme::WORD_MOST * page.unit);
            let colours = (theme::QUIET_TEXT, page.bg);
            set_block(
                set,
                &lines,
                Role::WORD,
                cap,
                page.content,
                Align2::CENTER_CENTER,
                colours,
            );
        }
    }
}

fn whole_texture() -> Rect {
    Rect::from_min_max(pos2(0.0, 0.0), pos2(1.0, 1.0))
}

/// Fills `room` with the middle of the picture.
fn paint_covering(set: &Typesetter<'_>, room: Rect, picture: PictureView) {
    if picture.size.min_elem() <= 0.0 {
        return;
    }
    let shown = room.size() / picture.size;
    let part = shown / shown.max_elem();
    let uv = Rect::from_center_size(pos2(0.5, 0.5), part);
    set.painter()
        .image(picture.texture, room, uv, Color32::WHITE);
}
