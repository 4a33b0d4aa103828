//! The screens that say one thing: waiting, praise, not judged, a fault.

use egui::{Align2, Rect, pos2, vec2};

use super::model::Fault;
use super::page::{Page, paint_symbol, set_block};
use super::symbols::Symbol;
use super::typeset::{Role, Typesetter, block_height_in_caps};
use super::{theme, words};

/// Says what is wrong with the station.
pub(super) fn fault_notice(set: &mut Typesetter<'_>, page: &Page, fault: &Fault) {
    let (title, note) = words::fault(fault);
    notice(set, page, Symbol::Fault, title, &words::sentence(note));
}

/// A symbol, a headline and a line to explain it. The headline is given its
/// room first, then the line, and the symbol takes what is left.
pub(super) fn notice(
    set: &mut Typesetter<'_>,
    page: &Page,
    symbol: Symbol,
    title: &[&str],
    note: &str,
) {
    let content = page.content;
    let highest = if page.is_portrait() {
        theme::NOTE_HIGHEST_STANDING
    } else {
        theme::NOTE_HIGHEST
    };
    let room = Rect::from_min_max(
        pos2(
            content.left(),
            content.bottom() - highest * content.height(),
        ),
        content.max,
    );
    let (lines, cap) = set.fit_sentence(note, Role::NOTE, room, theme::NOTE_MOST * page.unit);
    let mut note_room = content;
    note_room.min.y = content.bottom() - cap * block_height_in_caps(lines.len());
    let mut upper = content;
    upper.max.y = note_room.top() - page.gap;
    if page.is_portrait() {
        headline_below(set, page, upper, symbol, title);
    } else {
        headline_beside(set, page, upper, symbol, title);
    }
    // Quiet letters are too faint over a picture.
    let fg = if page.bg == theme::BACKGROUND {
        theme::QUIET_TEXT
    } else {
        theme::TEXT
    };
    let colours = (fg, page.bg);
    set_block(
        set,
        &lines,
        Role::NOTE,
        cap,
        note_room,
        Align2::CENTER_BOTTOM,
        colours,
    );
}

fn headline_below(
    set: &mut Typesetter<'_>,
    page: &Page,
    upper: Rect,
    symbol: Symbol,
    title: &[&str],
) {
    let mut room = upper;
    room.min.y = upper.bottom() - theme::TITLE_HIGHEST_STANDING * page.content.height();
    let (lines, cap) = set.fit_words(title, room, theme::TITLE_MOST * page.unit);
    room.min.y = upper.bottom() - cap * block_height_in_caps(lines.len());
    let colours = (theme::TEXT, page.bg);
    set_block(
        set,
        &lines,
        Role::WORD,
        cap,
        room,
        Align2::CENTER_BOTTOM,
        colours,
    );
    let mut above = upper;
    above.max.y = room.top() - page.gap;
    above = above.shrink2(vec2(theme::SYMBOL_SHRINK_STANDING * upper.width(), 0.0));
    paint_symbol(set, page, Some(symbol), above);
}

fn headline_beside(
    set: &mut Typesetter<'_>,
    page: &Page,
    upper: Rect,
    symbol: Symbol,
    title: &[&str],
) {
    let side = (theme::SYMBOL_SHARE_LYING * upper.height())
        .min(theme::SYMBOL_LYING * upper.width())
        .max(0.0);
    let mut text = upper;
    text.min.x += side + 1.8 * page.gap;
    let (lines, cap) = set.fit_words(title, text, theme::TITLE_MOST * page.unit);
    // Symbol and headline stand in the middle as one.
    let widths = lines.iter().map(|l| set.width_in_caps(l) * cap);
    let spare = text.width() - widths.fold(0.0, f32::max);
    let shift = (spare / 2.0).max(0.0);
    let square = Rect::from_center_size(
        pos2(upper.left() + shift + side / 2.0, upper.center().y),
        vec2(side, side),
    );
    paint_symbol(set, page, Some(symbol), square);
    text.min.x += shift;
    let colours = (theme::TEXT, page.bg);
    set_block(
        set,
        &lines,
        Role::WORD,
        cap,
        text,
        Align2::LEFT_CENTER,
        colours,
    );
}
