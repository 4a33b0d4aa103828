//! The whole panel: the column of pages, the answer, the page that is open.

use std::sync::Arc;

use egui::{FocusDirection, Key, Layout, Rect, ScrollArea, Ui, UiBuilder, Vec2, pos2, vec2};

use super::figures::Figures;
use super::model::{Command, PanelView, PinState, VoiceOrder};
use super::pages::files::FileFor;
use super::pages::progress::ProgressState;
use super::pages::{
    Desk, choose, files, help, limits, lock, now, passes, privacy, progress, set_up, skaters,
};
use super::state::{Choosing, PageId, PanelState};
use super::status;
use super::widgets::{Icon, Press, Sizes, dress, main_keys};
use crate::panel::look as theme;
use crate::roster::SkaterId;

/// Draws the panel over the whole of `ui` and appends what the coach did to
/// `out`. The font has to be there ([`crate::display::install_fonts`]).
/// Pure but for `state`: it never touches a disk or waits.
pub fn panel_ui(ui: &mut Ui, state: &mut PanelState, view: &PanelView, out: &mut Vec<Command>) {
    let s = Sizes::new(state.points_per_mm, ui.max_rect().size(), state.dark);
    dress(ui, s);
    take_gloves(ui, s);
    ui.painter().rect_filled(ui.max_rect(), 0.0, s.c.background);
    if let Some((words, screen_words)) = &view.words {
        state.setup.words = Arc::clone(words);
        state.setup.screen_words = Arc::clone(screen_words);
    }
    let setup = state.setup.clone();
    let mut pictures = std::mem::take(&mut state.pictures);
    pictures.set_live(view.live.preview.as_ref());
    let mut d = Desk {
        s,
        w: &setup.words,
        f: Figures {
            words: &setup.words,
            units: setup.units,
        },
        view,
        setup: &setup,
        today: state.today,
        out,
        pictures: &mut pictures,
        go: None,
        choose: None,
        choose_file: None,
        open_push: None,
        make_order: false,
        take_along: false,
        check_line: false,
        dark: None,
    };
    let margin = s.mm(theme::MARGIN_MM) * if s.is_small() { 0.7 } else { 1.0 };
    let room = ui.max_rect().shrink(margin);
    if view.pin == PinState::Locked {
        let mut child = child_of(ui, room, "lock");
        lock::show(&mut child, &mut d, &mut state.lock);
    } else {
        keys(ui, &mut d, state);
        let (nav, rest) = shares(room, s, margin);
        // Before the page, so that Tab goes through the pages first where
        // nothing else is asked for; the main key has a way of its own.
        pages(&mut child_of(ui, nav, "pages"), &mut d, state, nav.size());
        let foot = Rect::from_min_max(
            pos2(rest.left(), rest.bottom() - status::height(s)),
            rest.max,
        );
        let content = Rect::from_min_max(
            rest.min,
            // Up to the edge: the bar that scrolls stands in the margin.
            pos2(ui.max_rect().right() - s.mm(0.5), foot.top() - s.gap()),
        );
        if view.question.is_some() {
            status::question(&mut child_of(ui, content, "question"), &mut d);
        } else {
            open_page(&mut child_of(ui, content, "content"), &mut d, state);
        }
        status::show(ui, foot, &mut d, &mut state.status);
    }
    if let Some(purpose) = d.choose_file.take() {
        state.choosing_file = Some(files::FileChoice::open(&mut d, purpose));
    }
    let (go, choose, push) = (d.go, d.choose, d.open_push);
    if d.make_order {
        state.skaters.make_order(view);
    }
    if d.take_along {
        state.privacy.taking = true;
    }
    if d.check_line {
        state.set_up.open_line();
    }
    state.dark = d.dark.unwrap_or(state.dark);
    state.pictures = pictures;
    if let Some(page) = go {
        turn_to(state, page);
    }
    if std::mem::take(&mut state.turned) {
        // The ring begins anew on the page that was opened.
        ui.memory_mut(|m| {
            if let Some(id) = m.focused() {
                m.surrender_focus(id);
            }
        });
        ui.ctx().request_repaint();
    }
    if let Some(push) = push {
        turn_to(state, PageId::Passes);
        state.passes.open(push);
    }
    if let Some(purpose) = choose {
        state.choosing = Some(purpose);
        state.choosing_leaf = 0;
    }
    // Nobody is recorded behind a page that was left.
    let listens = view.voices.recording.is_some();
    let left = listens && !(state.page == PageId::Now && state.now.voice_is_open());
    if left && !state.now.told_to_stop {
        out.push(Command::Voice(VoiceOrder::Stop));
    }
    state.now.told_to_stop = left;
}

/// A finger in a glove rests and slips: a press of up to five seconds counts,
/// and a slip of half a target.
fn take_gloves(ui: &Ui, s: Sizes) {
    const LONGEST_PRESS_S: f64 = 5.0;
    let slip = s.target() / 2.0;
    ui.ctx().options_mut(|o| {
        o.input_options.max_click_duration = LONGEST_PRESS_S;
        o.input_options.max_click_dist = slip;
    });
}

/// Where the pages are named and where the open one stands: at the left, or
/// at the foot of a screen that stands upright.
fn shares(room: Rect, s: Sizes, margin: f32) -> (Rect, Rect) {
    if s.is_upright() {
        let rows = nav_rows(s) as f32;
        let high_mm = rows * theme::NAV_BAR_MM + (rows - 1.0) * theme::NAV_GAP_MM;
        let top = room.bottom() - s.mm(high_mm);
        let nav = Rect::from_min_max(pos2(room.left(), top), room.max);
        let rest = Rect::from_min_max(room.min, pos2(room.right(), top - s.gap()));
        return (nav, rest);
    }
    let wide = if s.is_small() {
        theme::NARROW_NAV_MM
    } else {
        theme::NAV_MM
    };
    let nav = Rect::from_min_size(room.min, vec2(s.mm(wide), room.height()));
    let rest = Rect::from_min_max(pos2(nav.right() + margin, room.top()), room.max);
    (nav, rest)
}

/// The keys that are the thing to press on the page drawn last, with where
/// they stand: for tests of the layout.
pub fn main_keys_of(ctx: &egui::Context) -> Vec<(String, Rect)> {
    let keys = main_keys(ctx).into_iter();
    keys.map(|(name, rect, _)| (name, rect)).collect()
}

fn child_of(ui: &mut Ui, rect: Rect, name: &str) -> Ui {
    ui.new_child(
        UiBuilder::new()
            .id_salt(name)
            .max_rect(rect)
            .layout(Layout::top_down(egui::Align::Min)),
    )
}

fn turn_to(state: &mut PanelState, page: PageId) {
    state.turned = true;
    state.page = page;
    state.choosing = None;
    state.choosing_file = None;
}

/// Keys that work everywhere. Letters and digits wait while somebody types.
fn keys(ui: &mut Ui, d: &mut Desk<'_>, state: &mut PanelState) {
    let settings = state.setup.settings;
    let pressed = |key| ui.input(|i| i.key_pressed(key));
    // Without a ring anywhere, the first step goes to the page's main key.
    let nowhere = ui.memory(|m| m.focused().is_none());
    let forward = pressed(Key::Tab) || pressed(Key::PageDown);
    let main = main_keys(ui.ctx()).into_iter().next();
    match main {
        Some((.., id)) if nowhere && forward => ui.memory_mut(|m| {
            // What Tab has asked for already is taken back.
            m.move_focus(FocusDirection::None);
            m.request_focus(id);
        }),
        _ if pressed(Key::PageDown) => ui.memory_mut(|m| m.move_focus(FocusDirection::Next)),
        _ => {}
    }
    if pressed(Key::PageUp) {
        ui.memory_mut(|m| m.move_focus(FocusDirection::Previous));
    }
    if pressed(settings.press_key) {
        // What Enter does, for buttons that can send no Enter.
        ui.input_mut(|i| {
            i.events.push(egui::Event::Key {
                key: Key::Enter,
                physical_key: None,
                pressed: true,
                repeat: false,
                modifiers: egui::Modifiers::NONE,
            });
        });
    }
    if pressed(Key::Escape) && d.view.question.is_some() {
        d.send(Command::DropQuestion);
    } else if pressed(Key::Escape) {
        let _ = state.now.close()
            || state.choosing.take().is_some()
            || state.choosing_file.take().is_some()
            || state.passes.back();
    }
    if pressed(Key::F1) {
        turn_to(state, PageId::Help);
    }
    if ui.ctx().text_edit_focused() {
        return;
    }
    let plain = ui.input(|i| i.modifiers.is_none());
    if !plain {
        return;
    }
    for (key, page) in [
        Key::Num1,
        Key::Num2,
        Key::Num3,
        Key::Num4,
        Key::Num5,
        Key::Num6,
        Key::Num7,
        Key::Num8,
    ]
    .into_iter()
    .zip(PageId::ALL)
    {
        if pressed(key) {
            turn_to(state, page);
        }
    }
    if pressed(Key::B) {
        d.send(Command::ShowMe);
    }
    if pressed(settings.wrong_skater_key)
        && let Some((key, _)) = &d.view.live.last
    {
        d.choose = Some(Choosing::OfPass(*key));
    }
}

/// The pages by their signs and names.
fn pages(ui: &mut Ui, d: &mut Desk<'_>, state: &mut PanelState, room: Vec2) {
    let s = d.s;
    let mut keys: Vec<_> = PageId::ALL
        .iter()
        .map(|page| {
            let key = Press::new(d.w.get(page.words_key())).icon(page.icon());
            (key.page(state.page == *page), Turn::To(*page))
        })
        .collect();
    if state.over {
        // Closing it locks it too.
        let key = Press::new(d.w.get("page.close")).icon(Icon::Show);
        keys.push((key.left(), Turn::Close));
    } else if d.view.pin == PinState::Open {
        let key = Press::new(d.w.get("privacy.lock")).icon(Icon::Lock);
        keys.push((key.left(), Turn::Lock));
    }
    let gap = s.mm(theme::NAV_GAP_MM);
    ui.spacing_mut().item_spacing = vec2(gap, gap);
    let upright = s.is_upright();
    let rows = if upright { nav_rows(s) } else { keys.len() };
    let across = keys.len().div_ceil(rows);
    let part = |whole: f32, n: usize| (whole - gap * (n as f32 - 1.0)) / n as f32;
    let (wide, high) = (part(room.x, across), part(room.y, rows));
    let high_mm = (high / s.mm(1.0)).clamp(theme::TARGET_MM, 17.0);
    let mut pressed = None;
    let mut keys = keys.into_iter().peekable();
    while keys.peek().is_some() {
        ui.horizontal(|ui| {
            for (key, turn) in keys.by_ref().take(across) {
                let key = key.high(high_mm).wide(wide);
                let stacked = upright || s.is_small();
                let key = if stacked { key.stacked() } else { key };
                if key.show(ui, s) {
                    pressed = Some(turn);
                }
            }
        });
    }
    match pressed {
        Some(Turn::To(page)) => turn_to(state, page),
        Some(Turn::Close) => state.close_asked = true,
        Some(Turn::Lock) => d.out.push(Command::Lock),
        None => {}
    }
}

/// What the keys beside the page do.
#[derive(Clone, Copy)]
enum Turn {
    To(PageId),
    Close,
    Lock,
}

/// Rows of the names of the pages at the foot of a screen that stands upright: on a narrow one
/// they have no room beside each other.
fn nav_rows(s: Sizes) -> usize {
    if s.is_small() { 2 } else { 1 }
}

fn open_page(ui: &mut Ui, d: &mut Desk<'_>, state: &mut PanelState) {
    let s = d.s;
    let over = (state.choosing.is_some(), state.choosing_file.is_some());
    let id = ("page", state.page as u8, over);
    let room = ui.available_height();
    let width = ui.available_width() - s.mm(theme::BAR_MM + 1.0);
    let scrolled = ScrollArea::vertical()
        .id_salt(id)
        .auto_shrink([false, false])
        .max_height(room)
        .show(ui, |ui| {
            // The bar may come and go; nothing beside it moves for that.
            ui.set_max_width(width);
            if let Some(purpose) = state.choosing {
                if let Some(ended) = choose::show(ui, d, purpose, &mut state.choosing_leaf) {
                    state.choosing = None;
                    if let Some(who) = ended {
                        chosen(d, state, purpose, who);
                    }
                }
                return;
            }
            if let Some(choice) = &mut state.choosing_file {
                if let Some(chosen) = files::show(ui, d, choice) {
                    let purpose = choice.purpose;
                    state.choosing_file = None;
                    match purpose {
                        FileFor::Roster => state.skaters.file_chosen(&chosen),
                        FileFor::Export => state.privacy.folder_chosen(&chosen),
                        FileFor::Backup => state.privacy.file_chosen(&chosen),
                    }
                }
                return;
            }
            match state.page {
                PageId::Now => now::show(ui, d, &mut state.now),
                PageId::SetUp => set_up::show(ui, d, &mut state.set_up),
                PageId::Limits => limits::show(ui, d, &mut state.limits),
                PageId::Skaters => skaters::show(ui, d, &mut state.skaters),
                PageId::Passes => passes::show(ui, d, &mut state.passes),
                PageId::Progress => progress::show(ui, d, &mut state.progress),
                PageId::Privacy => privacy::show(ui, d, &mut state.privacy),
                PageId::Help => help::show(ui, d),
            }
        });
    if scrolled.content_size.y > scrolled.inner_rect.height() {
        // The bar of the vertical direction, as the scroll area names it.
        ui.ctx()
            .accesskit_node_builder(scrolled.id.with(1usize), |node| {
                node.set_label(d.w.get("list.bar"));
            });
    }
}

/// A skater was chosen.
fn chosen(d: &mut Desk<'_>, state: &mut PanelState, purpose: Choosing, who: Option<SkaterId>) {
    use super::model::QueueStep;
    match (purpose, who) {
        (Choosing::OfPass(pass), who) => d.send(Command::SetSkaterOfPass(pass, who)),
        (Choosing::Next, Some(id)) => d.send(Command::Queue(QueueStep::To(id))),
        (Choosing::Next, None) => d.send(Command::Queue(QueueStep::Unknown)),
        (Choosing::Limits, who) => state.limits.skater = who,
        (Choosing::Filter, who) => state.passes.only(who),
        (Choosing::Export, who) => state.privacy.skater = who,
        (Choosing::Progress, Some(id)) => {
            state.progress = ProgressState::of(id);
            d.send(Command::OpenProgress(id));
        }
        (Choosing::Progress, None) => {}
    }
}
