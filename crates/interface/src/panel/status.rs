//! The line at the foot of every page: what is wrong, what was answered, what
//! can still be taken back; and the question before something is replaced.
//! Its place is always there, so that nothing moves when it speaks.

use egui::{CornerRadius, Rect, Stroke, StrokeKind, Ui, UiBuilder, pos2};

use super::look as theme;
use super::model::{Answer, Command};
use super::pages::Desk;
use super::state::PageId;
use super::widgets::{Icon, Press, Sizes, Voice, fitting, flow, plain_card, say};
use crate::display::{fonts_for, visual_order};

/// How long what was done is said, seconds.
const SAID_FOR_S: f64 = 6.0;

/// What was said already.
#[derive(Default)]
pub(super) struct StatusState {
    /// Number of the last answer that was read.
    read: u64,
    /// The answer that is said, and since when, seconds of the window.
    since: (u64, f64),
    /// Which trouble is said, of several.
    trouble: usize,
}

/// Height of the line, points.
pub(super) fn height(s: Sizes) -> f32 {
    s.mm(theme::TARGET_MM) + 1.0
}

/// What the line says.
struct Said {
    text: String,
    kind: Kind,
    key: Option<(String, Act)>,
}

#[derive(Clone, Copy, PartialEq)]
enum Kind {
    Calm,
    Good,
    Wrong,
}

#[derive(Clone, Copy)]
enum Act {
    Read(u64),
    UndoWithdrawal,
    NextTrouble,
    CheckLine,
}

/// Draws the line; longer words grow upward over the page.
pub(super) fn show(ui: &mut Ui, foot: Rect, d: &mut Desk<'_>, state: &mut StatusState) {
    let s = d.s;
    let said = what(ui, d, state);
    let key_wide = if said.key.is_some() { s.mm(34.0) } else { 0.0 };
    let pad = s.mm(2.0);
    let sign = if said.kind == Kind::Calm {
        0.0
    } else {
        s.mm(8.0)
    };
    let room = (foot.width() - 2.0 * pad - sign - key_wide - s.gap()).max(1.0);
    let colour = match said.kind {
        Kind::Calm => s.c.quiet,
        Kind::Good | Kind::Wrong => s.c.text,
    };
    fonts_for(ui.ctx(), &said.text);
    let seen = visual_order(&said.text).into_owned();
    let font = fitting(ui, &seen, s.body(), room);
    let galley = ui.painter().layout(seen, font, colour, room);
    let high = foot.height().max(galley.size().y + s.mm(2.0));
    let rect = Rect::from_min_max(pos2(foot.left(), foot.bottom() - high), foot.max);
    let mut child = ui.new_child(UiBuilder::new().id_salt("status").max_rect(rect));
    let ui = &mut child;
    let round = CornerRadius::from(s.mm(theme::ROUND_MM));
    if said.kind != Kind::Calm {
        let (fill, icon, ink) = match said.kind {
            Kind::Wrong => (s.c.warning, Icon::Warning, s.c.alarm),
            Kind::Good | Kind::Calm => (s.c.good, Icon::Tick, s.c.text),
        };
        ui.painter().rect_filled(rect, round, fill);
        let edge = Stroke::new(s.mm(theme::EDGE_MM), s.c.card_edge);
        ui.painter()
            .rect_stroke(rect, round, edge, StrokeKind::Inside);
        let at = pos2(rect.left() + pad + s.mm(3.0), rect.center().y);
        icon.paint(
            ui.painter(),
            Rect::from_center_size(at, egui::Vec2::splat(s.mm(6.0))),
            ink,
        );
    }
    let text_rect = Rect::from_min_size(
        pos2(
            rect.left() + pad + sign,
            rect.center().y - galley.size().y / 2.0,
        ),
        galley.size(),
    );
    // As a label, so that a screen reader says it.
    let label = egui::Label::new(galley).selectable(false);
    ui.put(text_rect, label);
    let Some((word, act)) = said.key else { return };
    let at = Rect::from_min_max(pos2(rect.right() - key_wide, rect.top()), rect.max);
    let mut key = ui.new_child(UiBuilder::new().id_salt("status key").max_rect(at));
    if Press::new(&word).wide(key_wide).show(&mut key, s) {
        match act {
            Act::Read(number) => state.read = number,
            Act::UndoWithdrawal => d.send(Command::UndoWithdrawal),
            Act::NextTrouble => state.trouble = state.trouble.wrapping_add(1),
            Act::CheckLine => {
                // What else is wrong comes next.
                state.trouble = state.trouble.wrapping_add(1);
                d.check_line = true;
                d.go = Some(PageId::SetUp);
            }
        }
    }
}

/// What is the most urgent thing to say.
fn what(ui: &Ui, d: &Desk<'_>, state: &mut StatusState) -> Said {
    if let Some(going) = &d.view.withdrawing {
        let text = d.w.say(
            "skaters.withdrawing",
            &[
                ("who", &d.label(Some(going.skater))),
                ("strips", &going.strips.to_string()),
                ("seconds", &going.seconds.to_string()),
            ],
        );
        let key = d.w.get("skaters.withdraw_undo").to_owned();
        return Said {
            text,
            kind: Kind::Wrong,
            key: Some((key, Act::UndoWithdrawal)),
        };
    }
    let unread = d.view.answer.as_ref().filter(|a| a.number > state.read);
    if let Some(answer) = unread.filter(|a| !a.done) {
        let text = d.w.pair(d.w.get("answer.not_done"), &answer.sentence);
        let key = d.w.get("answer.read").to_owned();
        return Said {
            text,
            kind: Kind::Wrong,
            key: Some((key, Act::Read(answer.number))),
        };
    }
    if let Some(answer) = unread.filter(|a| is_fresh(ui, a, state)) {
        return Said {
            text: answer.sentence.clone(),
            kind: Kind::Good,
            key: None,
        };
    }
    let troubles = &d.view.station.problems;
    if !troubles.is_empty() {
        let at = state.trouble % troubles.len();
        let many = troubles.len() > 1;
        let text = match many {
            true => format!("{}/{}  {}", at + 1, troubles.len(), troubles[at]),
            false => troubles[0].clone(),
        };
        let key = match d.view.station.camera_moved && at == 0 {
            true => Some((d.w.get("status.check_line").to_owned(), Act::CheckLine)),
            false => many.then(|| (d.w.get("status.next").to_owned(), Act::NextTrouble)),
        };
        return Said {
            text,
            kind: Kind::Wrong,
            key,
        };
    }
    Said {
        text: calm(d),
        kind: Kind::Calm,
        key: None,
    }
}

/// Whether what was done is still to be said; asks to be drawn again when it
/// is not any more.
fn is_fresh(ui: &Ui, answer: &Answer, state: &mut StatusState) -> bool {
    let now = ui.input(|i| i.time);
    if state.since.0 != answer.number {
        state.since = (answer.number, now);
    }
    let left = state.since.1 + SAID_FOR_S - now;
    if left <= 0.0 {
        state.read = answer.number;
        return false;
    }
    ui.ctx()
        .request_repaint_after(std::time::Duration::from_secs_f64(left + 0.02));
    true
}

/// Where nothing is wrong: which lane measures, and what was kept.
fn calm(d: &Desk<'_>) -> String {
    let station = &d.view.station;
    let lane = d.view.lanes.iter().find(|l| l.in_use);
    let parts = [
        lane.map(|l| d.w.say("status.lane", &[("name", &l.name)])),
        station
            .fps
            .map(|v| d.w.say("now.rate", &[("n", &d.f.number(v, 0))])),
        Some(d.w.say("now.written", &[("n", &station.passes_written.to_string())])),
        station
            .free_disk_gb
            .map(|v| d.w.say("now.disk", &[("n", &d.f.number(v, 0))])),
    ];
    parts
        .into_iter()
        .flatten()
        .collect::<Vec<_>>()
        .join("  ·  ")
}

/// The question before something is replaced; over the whole page, so that
/// nothing else is pressed.
pub(super) fn question(ui: &mut Ui, d: &mut Desk<'_>) {
    let s = d.s;
    let Some(question) = d.view.question.clone() else {
        return;
    };
    let mut commands = vec![];
    plain_card(ui, s, s.c.warning, |ui| {
        say(ui, s, Voice::Title, &question.sentence);
        ui.add_space(s.gap());
        flow(ui, |ui| {
            if Press::new(&question.yes).danger().large().show(ui, s) {
                commands.push((*question.then).clone());
            }
            let no = Press::new(d.w.get("list.cancel")).large();
            if no.show(ui, s) {
                commands.push(Command::DropQuestion);
            }
        });
    });
    d.out.append(&mut commands);
}
