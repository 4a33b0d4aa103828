//! The big screen: one look, one thing to read.
//!
//! After a pass: the symbol stands on the side the cue is about, the word
//! beside it, and below both the measured number against the wanted one in
//! its frame. All other states use the same places, so that an eye that has
//! found them once finds them again.

use egui::{Align2, Color32, Rect, Ui, pos2, vec2};

use super::appearance::Appearance;
use super::cue::{CueSaid, cue, cue_symbol};
use super::layout::LayoutReport;
use super::model::{PictureView, Screen, ScreenModel, SoundNote, StatusStrip};
use super::notice::{fault_notice, notice, summary, symbol_only};
use super::numbers::{numbers, unit_of};
use super::overlay::paint_overlay;
use super::page::{Block, Page, set_block};
use super::scale::Scale;
use super::symbols::Symbol;
use super::theme::{self, Palette};
use super::typeset::{Role, Side, Typesetter};
use crate::feedback::SetSummary;

/// Draws the whole of `ui` and answers with what was placed where. The font
/// has to be there ([`super::install_fonts`]).
///
/// A picture is shown by itself while somebody is in the lane and in a
/// replay, and dimmed behind the answer to a pass; other states leave it
/// away, and [`Appearance::symbols_only`] always.
pub fn big_screen_ui(
    ui: &mut Ui,
    model: &ScreenModel,
    picture: Option<PictureView>,
) -> LayoutReport {
    let look = &model.look;
    let palette = Palette::of(look.theme);
    let picture = picture.filter(|p| p.size.min_elem() > 0.0 && !look.symbols_only);
    let screen = ui.max_rect();
    ui.painter().rect_filled(screen, 0.0, palette.background);
    let scale = Scale::new(model.geometry, screen.height());
    let mut set = Typesetter::new(ui, scale, screen);
    let above_strip = strip(&mut set, palette, screen, look, &model.status);

    let dimmed = match picture {
        Some(picture) if model.screen.pass_number().is_some() => {
            paint_covering(&set, above_strip, picture);
            set.painter().rect_filled(above_strip, 0.0, palette.scrim());
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
            palette.worst_under_scrim()
        } else {
            palette.background
        },
        palette,
    };
    if look.symbols_only && !matches!(model.screen, Screen::Fault(_)) {
        without_words(&mut set, &page, &model.screen);
    } else {
        with_words(&mut set, &page, look, &model.screen, picture);
    }
    set.into_report()
}

fn with_words(
    set: &mut Typesetter<'_>,
    page: &Page,
    look: &Appearance,
    screen: &Screen,
    picture: Option<PictureView>,
) {
    let words = &look.words;
    let get = |key| words.get(key);
    match screen {
        Screen::Waiting => {
            let note = match look.focus {
                Some(rule) => get("message.focus").replace("{what}", words.name(rule)),
                None => get("message.eyes_up").to_owned(),
            };
            notice(set, page, Symbol::Next, get("message.next_skater"), &note);
        }
        Screen::InLane => in_lane(set, page, look, picture),
        &Screen::Cue {
            rule,
            value,
            limit,
            leg,
            good,
            ..
        } => {
            let said = CueSaid {
                rule,
                value,
                limit,
                leg,
                good,
            };
            cue(set, page, look, said);
        }
        Screen::Praise { .. } => notice(
            set,
            page,
            Symbol::Praise,
            get("message.praise"),
            get("message.praise_note"),
        ),
        &Screen::Improved {
            rule,
            value,
            earlier,
            ..
        } => {
            let numbers = numbers(look, unit_of(rule), earlier, value);
            let note = numbers.map_or(String::new(), |n| {
                get("message.improved_note")
                    .replace("{what}", words.name(rule))
                    .replace("{before}", &n.measured)
                    .replace("{now}", &n.wanted)
            });
            notice(set, page, Symbol::Improved, get("message.improved"), &note);
        }
        Screen::Unfed { .. } => notice(
            set,
            page,
            Symbol::Unfed,
            get("message.unfed"),
            get("message.unfed_note"),
        ),
        Screen::Summary(of) => summary(set, page, &summary_lines(look, of)),
        Screen::NotJudged { reason, .. } => notice(
            set,
            page,
            Symbol::NotJudged,
            get("message.not_judged"),
            &words.reason(*reason),
        ),
        Screen::Replay { overlay, .. } => {
            let room = match picture {
                Some(picture) => paint_whole(set, page, picture, overlay.view.uv()),
                None => page.screen,
            };
            paint_overlay(set, page, look, overlay, room);
        }
        Screen::Fault(fault) => fault_notice(set, page, words, fault),
    }
}

/// Quiet mode: nothing to read, no picture of anybody.
fn without_words(set: &mut Typesetter<'_>, page: &Page, screen: &Screen) {
    let symbol = match screen {
        Screen::Cue { rule, leg, .. } => return cue_symbol(set, page, *rule, *leg),
        Screen::Waiting | Screen::Replay { .. } => Symbol::Next,
        Screen::Praise { .. } => Symbol::Praise,
        Screen::Improved { .. } => Symbol::Improved,
        Screen::Unfed { .. } => Symbol::Unfed,
        Screen::NotJudged { .. } => Symbol::NotJudged,
        Screen::Summary(_) => Symbol::Summary,
        Screen::Fault(_) => Symbol::Fault,
        // Nothing to look at while skating.
        Screen::InLane => return,
    };
    symbol_only(set, page, Some(symbol));
}

/// At most three things.
fn summary_lines(look: &Appearance, summary: &SetSummary) -> Vec<String> {
    let words = &look.words;
    let counted = words
        .get("summary.in_band")
        .replace("{n}", &summary.in_band.to_string())
        .replace("{of}", &summary.judged.to_string());
    let next = summary.next.map(|next| {
        words
            .get("summary.next")
            .replace("{what}", &words.cue(next.rule, next.more).to_lowercase())
    });
    let good = summary.good.map(|good| words.good(good));
    [Some(counted), good, next].into_iter().flatten().collect()
}

fn shorter_side(rect: Rect) -> f32 {
    rect.width().min(rect.height())
}

/// The line for the coach along the lower edge; gives what is left above.
fn strip(
    set: &mut Typesetter<'_>,
    palette: &Palette,
    screen: Rect,
    look: &Appearance,
    status: &StatusStrip,
) -> Rect {
    let cap = set.least_cap(Role::STRIP);
    let height = cap * theme::STRIP_HEIGHT;
    let baseline = screen.bottom() - (height - cap) / 2.0;
    let mut right = screen.right() - theme::SIDE_MARGIN_STANDING * shorter_side(screen);
    for (entry, is_fault) in strip_entries(look, status).iter().rev() {
        let colour = if *is_fault {
            palette.fault
        } else {
            palette.quiet_text
        };
        let rect = set.line(
            entry,
            Role::STRIP,
            cap,
            pos2(right, baseline),
            Side::Right,
            (colour, palette.background),
        );
        right = rect.left() - cap * theme::STRIP_GAP;
    }
    Rect::from_min_max(screen.min, pos2(screen.right(), screen.bottom() - height))
}

/// What stands in the strip, in order, and whether it is a fault.
fn strip_entries(look: &Appearance, status: &StatusStrip) -> Vec<(String, bool)> {
    let get = |key| look.words.get(key).to_owned();
    let mut entries = Vec::new();
    if let Some(engine) = &status.engine {
        let rate = status.fps.filter(|f| f.is_finite()).map(|fps| {
            let rate = look.words.get("strip.rate");
            format!(" {}", rate.replace("{n}", &format!("{fps:.0}")))
        });
        entries.push((format!("{engine}{}", rate.unwrap_or_default()), false));
    }
    match status.sound {
        SoundNote::On => {}
        SoundNote::Off => entries.push((get("strip.sound_off"), false)),
        SoundNote::NoDevice => entries.push((get("strip.no_speaker"), true)),
    }
    if status.not_recording {
        entries.push((get("strip.not_recording"), true));
    }
    let kept = if status.pictures_kept {
        "strip.pictures_kept"
    } else {
        "strip.no_pictures"
    };
    entries.push((get(kept), false));
    entries
}

/// The whole picture, as large as fits, or the two words that matter.
fn in_lane(set: &mut Typesetter<'_>, page: &Page, look: &Appearance, picture: Option<PictureView>) {
    match picture {
        Some(picture) => {
            let (left, right) = if look.mirror { (1.0, 0.0) } else { (0.0, 1.0) };
            let uv = Rect::from_min_max(pos2(left, 0.0), pos2(right, 1.0));
            paint_whole(set, page, picture, uv);
        }
        None => {
            let (lines, cap) = set.fit_words(
                look.words.get("message.in_lane"),
                page.content,
                theme::WORD_MOST * page.unit,
                theme::LINE_PITCH,
            );
            let colours = (page.palette.quiet_text, page.bg);
            set_block(
                set,
                &lines,
                Block::new(Role::WORD, cap),
                page.content,
                Align2::CENTER_CENTER,
                colours,
            );
        }
    }
}

/// The picture, or the part `uv` of it, as large as fits; gives where it is.
fn paint_whole(set: &Typesetter<'_>, page: &Page, picture: PictureView, uv: Rect) -> Rect {
    let room = page.screen.shrink2(vec2(0.0, page.gap * 0.5));
    let scale = (room.size() / picture.size).min_elem();
    let rect = Rect::from_center_size(room.center(), picture.size * scale);
    set.painter()
        .image(picture.texture, rect, uv, Color32::WHITE);
    rect
}

/// Fills `room` with the middle of the picture.
fn paint_covering(set: &Typesetter<'_>, room: Rect, picture: PictureView) {
    let shown = room.size() / picture.size;
    let part = shown / shown.max_elem();
    let uv = Rect::from_center_size(pos2(0.5, 0.5), part);
    set.painter()
        .image(picture.texture, room, uv, Color32::WHITE);
}
