//! The big screen: one look, one thing to read.
//!
//! One grid for every state: the strip with the bib along the top, the figure to
//! the left, the order and the gauge to the right (below, on a screen that stands).
//! Nothing is mirrored and nothing jumps, so that an eye that has found the order
//! once finds it again. No live picture is ever shown: who is in the lane looks
//! where she skates.

use egui::{Color32, Rect, Ui, pos2};

use super::appearance::Appearance;
use super::head;
use super::layout::LayoutReport;
use super::model::{PictureView, Screen, ScreenModel, SoundNote, StatusStrip};
use super::page::Page;
use super::people::People;
use super::scale::Scale;
use super::states;
use super::theme::Palette;
use super::typeset::{Role, Side, Typesetter};

/// Draws the whole of `ui` and answers with what was placed where. The fonts
/// have to be there ([`super::install_fonts`]).
///
/// A picture is shown in a replay and nowhere else, and with
/// [`Appearance::symbols_only`] not even there.
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
    let page = Page::new(&set, screen, palette);

    let nobody = People::default();
    let people = if look.symbols_only {
        &nobody
    } else {
        &model.people
    };
    let kept = model
        .status
        .pictures_kept
        .then(|| look.words.get("strip.pictures_kept"));
    match &model.screen {
        // Calm: nothing but the bib; the sign stands by itself.
        Screen::InLane => {
            if let Some(words) = kept {
                let at = pos2(page.head.right() - page.gap, page.head.center().y);
                let cap = set.least_cap(Role::NOTE);
                let ink = (palette.quiet_text, palette.background);
                head::camera_sign(&mut set, words, ink, at, cap);
            }
        }
        Screen::Waiting => {
            // Who is next is the page itself.
            let shown = People::default();
            head::paint(&mut set, &page, &shown, head::Aside::Nothing, kept);
        }
        Screen::Fault(_) => {
            let shown = People {
                next: None,
                ..people.clone()
            };
            head::paint(&mut set, &page, &shown, head::Aside::Nothing, kept);
        }
        Screen::Cue {
            good: Some(good), ..
        } if !look.symbols_only => {
            // Something good stands where else the next one does: the grid stays.
            let good = look.words.good(*good);
            head::paint(&mut set, &page, people, head::Aside::Good(&good), kept);
        }
        _ => {
            let next = look.words.get("message.next_short");
            head::paint(&mut set, &page, people, head::Aside::Next(next), kept);
        }
    }
    let waits = matches!(model.screen, Screen::Waiting | Screen::Fault(_));
    coach_line(&mut set, &page, look, &model.status, waits);
    states::paint(&mut set, &page, model, people, picture);
    set.into_report()
}

/// The line for the coach along the lower edge. While nobody skates it says how the
/// panel is opened.
fn coach_line(
    set: &mut Typesetter<'_>,
    page: &Page,
    look: &Appearance,
    status: &StatusStrip,
    waits: bool,
) {
    let cap = set.least_cap(Role::STRIP);
    let room: Rect = page.coach;
    let baseline = room.center().y + cap / 2.0;
    let mut left = room.left();
    for (entry, is_fault) in strip_entries(look, status, waits) {
        let colour: Color32 = if is_fault {
            page.palette.fault
        } else {
            page.palette.quiet_text
        };
        if left + set.width_in_caps(&entry) * cap > room.right() {
            break;
        }
        let rect = set.line(
            &entry,
            Role::STRIP,
            cap,
            pos2(left, baseline),
            Side::Left,
            (colour, page.palette.background),
        );
        left = rect.right() + cap * super::theme::STRIP_GAP;
    }
}

/// What stands in the coach's line, the most important first, and whether it is a
/// fault.
fn strip_entries(look: &Appearance, status: &StatusStrip, waits: bool) -> Vec<(String, bool)> {
    let get = |key| look.words.get(key).to_owned();
    let mut entries = Vec::new();
    if status.not_recording {
        entries.push((get("strip.not_recording"), true));
    }
    if waits && status.panel_closed {
        entries.push((get("strip.panel"), false));
    }
    let kept = if status.pictures_kept {
        "strip.pictures_kept"
    } else {
        "strip.no_pictures"
    };
    entries.push((get(kept), false));
    match status.sound {
        SoundNote::On => {}
        SoundNote::Off => entries.push((get("strip.sound_off"), false)),
        SoundNote::NoDevice => entries.push((get("strip.no_speaker"), true)),
    }
    if let Some(engine) = &status.engine {
        let rate = status.fps.filter(|f| f.is_finite()).map(|fps| {
            let rate = look.words.get("strip.rate");
            format!(" {}", rate.replace("{n}", &format!("{fps:.0}")))
        });
        entries.push((format!("{engine}{}", rate.unwrap_or_default()), false));
    }
    entries
}
