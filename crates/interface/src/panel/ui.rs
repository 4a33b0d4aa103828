//! The whole panel: the column of pages, the answer, the page that is open.

use egui::scroll_area::ScrollBarVisibility;
use egui::{FocusDirection, Key, Layout, Rect, ScrollArea, Ui, UiBuilder, pos2, vec2};

use super::figures::Figures;
use super::model::{Answer, Command, PanelView, PinState};
use super::pages::files::FileFor;
use super::pages::{
    Desk, choose, files, help, limits, lock, now, passes, privacy, progress, set_up, skaters,
};
use super::state::{Choosing, PageId, PanelState};
use super::widgets::{Press, Sizes, Voice, columns, dress, plain_card, say};
use crate::display::panel_theme as theme;
use crate::roster::SkaterId;

/// Draws the panel over the whole of `ui` and appends what the coach did to
/// `out`. The font has to be there ([`crate::display::install_fonts`]).
/// Pure but for `state`: it never touches a disk or waits.
pub fn panel_ui(ui: &mut Ui, state: &mut PanelState, view: &PanelView, out: &mut Vec<Command>) {
    let s = Sizes::new(state.points_per_mm);
    dress(ui, s);
    ui.painter()
        .rect_filled(ui.max_rect(), 0.0, theme::BACKGROUND);
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
    };
    let margin = s.mm(theme::MARGIN_MM);
    let room = ui.max_rect().shrink(margin);
    if view.pin == PinState::Locked {
        let mut child = child_of(ui, room, "lock");
        lock::show(&mut child, &mut d, &mut state.lock);
    } else {
        keys(ui, &mut d, state);
        let nav = Rect::from_min_size(room.min, vec2(s.mm(theme::NAV_MM), room.height()));
        // In a window that is too low for all keys they scroll.
        ScrollArea::vertical()
            .id_salt("pages")
            .scroll_bar_visibility(ScrollBarVisibility::AlwaysHidden)
            .show(&mut child_of(ui, nav, "pages"), |ui| {
                column(ui, &mut d, state, nav.height());
            });
        // Up to the edge: the bar that scrolls stands in the margin.
        let mut content = Rect::from_min_max(
            pos2(nav.right() + margin, room.top()),
            pos2(ui.max_rect().right() - s.mm(1.0), room.bottom()),
        );
        content.max.y = refusal(ui, &d, state, content);
        open_page(&mut child_of(ui, content, "content"), &mut d, state);
    }
    if let Some(purpose) = d.choose_file.take() {
        state.choosing_file = Some(files::FileChoice::open(&mut d, purpose));
    }
    let (go, choose) = (d.go, d.choose);
    state.pictures = pictures;
    if let Some(page) = go {
        turn_to(state, page);
    }
    if let Some(purpose) = choose {
        state.choosing = Some(purpose);
        state.choosing_leaf = 0;
    }
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
    state.page = page;
    state.choosing = None;
    state.choosing_file = None;
}

/// Keys that work everywhere. Letters and digits wait while somebody types.
fn keys(ui: &mut Ui, d: &mut Desk<'_>, state: &mut PanelState) {
    let settings = state.setup.settings;
    let pressed = |key| ui.input(|i| i.key_pressed(key));
    if pressed(Key::PageDown) {
        ui.memory_mut(|m| m.move_focus(FocusDirection::Next));
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
    if pressed(Key::Escape) {
        let _ = state.choosing.take().is_some()
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

/// The column of pages at the left.
fn column(ui: &mut Ui, d: &mut Desk<'_>, state: &mut PanelState, room: f32) {
    let s = d.s;
    let width = ui.available_width();
    // With the key that locks, where there is one.
    let keys = PageId::ALL.len() as f32 + 1.0;
    let high_mm = ((room / keys - s.gap()) / s.mm(1.0)).min(15.0);
    for (index, page) in PageId::ALL.into_iter().enumerate() {
        let name = d.w.get(page.words_key());
        let text = format!("{} {name}", index + 1);
        let key = Press::new(&text)
            .named(name)
            .page(state.page == page)
            .high(high_mm)
            .wide(width);
        if key.show(ui, s) {
            turn_to(state, page);
        }
    }
    if d.view.pin == PinState::Open {
        ui.add_space(s.gap());
        let lock = Press::new(d.w.get("privacy.lock")).wide(width);
        if lock.show(ui, s) {
            d.send(Command::Lock);
        }
    }
    // What was done is said where nothing has to make room for it.
    if let Some(answer) = d.view.answer.as_ref().filter(|a| is_short(a)) {
        ui.add_space(s.gap());
        say(ui, s, Voice::Quiet, &answer.sentence);
    }
    // Troubles are seen from every page.
    let troubles = d.view.station.problems.len();
    if troubles > 0 && state.page != PageId::Now {
        ui.add_space(s.gap());
        plain_card(ui, s, theme::WARNING, |ui| {
            let text = d.w.say("page.troubles", &[("n", &troubles.to_string())]);
            say(ui, s, Voice::Body, &text);
        });
    }
}

fn open_page(ui: &mut Ui, d: &mut Desk<'_>, state: &mut PanelState) {
    let s = d.s;
    let over = (state.choosing.is_some(), state.choosing_file.is_some());
    let id = ("page", state.page as u8, over);
    let room = ui.available_height();
    let width = ui.available_width() - s.mm(theme::BAR_MM + 2.0);
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
                PageId::Now => now::show(ui, d),
                PageId::SetUp => set_up::show(ui, d, &mut state.set_up),
                PageId::Limits => limits::show(ui, d, &mut state.limits),
                PageId::Skaters => skaters::show(ui, d, &mut state.skaters),
                PageId::Passes => passes::show(ui, d, &mut state.passes),
                PageId::Progress => {
                    progress::show(ui, d, state.progress, &mut state.progress_leaf);
                }
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

/// Whether an answer is only said beside the page: it was done, and fits there.
fn is_short(answer: &Answer) -> bool {
    answer.done && answer.sentence.chars().count() <= 60
}

/// What could not be done, at the foot of the page, so that no key moves away
/// under a finger; stays until it is read. Gives where the page above ends.
fn refusal(ui: &mut Ui, d: &Desk<'_>, state: &mut PanelState, room: Rect) -> f32 {
    /// Widths of the words and of the key beside them.
    const SHARES: [f32; 2] = [5.0, 1.0];
    let s = d.s;
    let unread = |a: &&Answer| !is_short(a) && a.number > state.answer_read;
    let Some(answer) = d.view.answer.as_ref().filter(unread) else {
        return room.bottom();
    };
    let (fill, text) = if answer.done {
        (theme::GOOD, answer.sentence.clone())
    } else {
        let name = d.w.get("answer.not_done");
        let text = d.w.pair(name, &answer.sentence);
        (theme::WARNING, text)
    };
    let pad = 2.0 * s.mm(theme::PAD_MM);
    let width = (room.width() - pad - s.gap()) * SHARES[0] / (SHARES[0] + SHARES[1]);
    let galley = ui
        .painter()
        .layout(text.clone(), s.body(), theme::TEXT, width);
    let height = galley.size().y.max(s.target()) + pad + s.gap();
    let top = room.bottom() - height;
    let rect = Rect::from_min_max(pos2(room.left(), top), room.max);
    plain_card(&mut child_of(ui, rect, "answer"), s, fill, |ui| {
        columns(ui, s, SHARES, |[words, key]| {
            say(words, s, Voice::Body, &text);
            let width = key.available_width();
            if Press::new(d.w.get("answer.read")).wide(width).show(key, s) {
                state.answer_read = answer.number;
            }
        });
    });
    top - s.gap()
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
            state.progress = Some(id);
            state.progress_leaf = 0;
            d.send(Command::OpenProgress(id));
        }
        (Choosing::Progress, None) => {}
    }
}
