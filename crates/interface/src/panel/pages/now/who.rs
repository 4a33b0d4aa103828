//! Who is in the lane, who is next, whose the last pass was.

use egui::{Ui, WidgetInfo, accesskit::Role};

use super::flags;
use crate::panel::model::{Command, PassRow, QueueStep};
use crate::panel::pages::{Desk, bib_of};
use crate::panel::state::{Choosing, PageId};
use crate::panel::widgets::{Icon, Press, Voice, bib, card, columns, grid, plain_card, say};
use crate::roster::SkaterId;
use crate::store::PassKey;

/// The bib of who is in the lane, and free room about it, millimetres.
const BIB_MM: f32 = 10.0;
const AIR_MM: f32 = 2.5;

/// Somebody with their bib, as large as room allows.
fn somebody(ui: &mut Ui, d: &Desk<'_>, id: Option<SkaterId>, side_mm: f32, voice: Voice) {
    somebody_over(ui, d, id, side_mm, voice, "");
}

/// The same with a line under the name, where there is one.
fn somebody_over(
    ui: &mut Ui,
    d: &Desk<'_>,
    id: Option<SkaterId>,
    side_mm: f32,
    voice: Voice,
    under: &str,
) {
    let s = d.s;
    ui.horizontal(|ui| {
        let (number, colour) = bib_of(d, id);
        bib(ui, s, side_mm, &number, colour);
        // The number stands on the disc already.
        let name = match id.and_then(|id| d.skater(id)) {
            Some(skater) if !number.is_empty() => skater.name.clone(),
            _ => d.label(id),
        };
        ui.vertical(|ui| {
            if under.is_empty() {
                let line = ui.text_style_height(&egui::TextStyle::Body) * 1.2;
                ui.add_space(((s.mm(side_mm) - line) / 4.0).max(0.0));
            }
            ui.spacing_mut().item_spacing.y = 0.0;
            let said = say(ui, s, voice, &name);
            let whole = d.label(id);
            said.widget_info(|| WidgetInfo::labeled(Role::Label, true, &whole));
            if !under.is_empty() {
                say(ui, s, Voice::Quiet, under);
            }
        });
    });
}

pub(super) fn in_lane(ui: &mut Ui, d: &mut Desk<'_>) {
    let s = d.s;
    let live = &d.view.live;
    let station = &d.view.station;
    let fill = if live.somebody_passing {
        s.c.band
    } else {
        s.c.card
    };
    plain_card(ui, s, fill, |ui| {
        // As high as with somebody in the lane: nothing below slides away under a finger.
        let one_row = ui.available_width() >= s.mm(ONE_ROW_MM);
        let line = ui.text_style_height(&egui::TextStyle::Body) + ui.spacing().item_spacing.y;
        let rows = if one_row { 0.0 } else { line + s.mm(AIR_MM) };
        ui.set_min_height(s.mm(BIB_MM + AIR_MM) + rows);
        if !station.camera_live {
            say(ui, s, Voice::Head, d.w.get("now.nobody_skates"));
        } else if !live.somebody_passing {
            say(ui, s, Voice::Head, d.w.get("now.free"));
        } else if one_row {
            ui.horizontal(|ui| in_it(ui, d));
        } else {
            in_it(ui, d);
        }
    });
}

/// Less room than this, millimetres, takes who is in the lane in two rows.
const ONE_ROW_MM: f32 = 55.0;

/// Who is in the lane, after the word for it.
fn in_it(ui: &mut Ui, d: &Desk<'_>) {
    let s = d.s;
    say(ui, s, Voice::Quiet, d.w.get("now.in_lane"));
    match d.view.live.in_lane.as_slice() {
        [] => somebody(ui, d, None, BIB_MM, Voice::Head),
        [one] => somebody(ui, d, *one, BIB_MM, Voice::Head),
        [one, two, ..] => {
            ui.horizontal(|ui| {
                bib_only(ui, d, *one);
                bib_only(ui, d, *two);
            });
        }
    }
}

/// Somebody by their bib alone, where several stand in a row.
fn bib_only(ui: &mut Ui, d: &Desk<'_>, id: Option<SkaterId>) {
    let (number, colour) = bib_of(d, id);
    let whole = d.label(id);
    bib(ui, d.s, BIB_MM, &number, colour)
        .widget_info(|| WidgetInfo::labeled(Role::Label, true, &whole));
}

pub(super) fn next(ui: &mut Ui, d: &mut Desk<'_>) {
    let s = d.s;
    let queue = &d.view.queue;
    if d.view.roster.is_empty() {
        return d.empty(ui, "now.no_roster", Some(PageId::Skaters));
    }
    if queue.order.is_empty() {
        let mut to_order = false;
        card(ui, s, d.w.get("now.next"), |ui| {
            say(ui, s, Voice::Body, d.w.get("now.no_order"));
            to_order = Press::new(d.w.get("now.make_order"))
                .main()
                .large()
                .wide(ui.available_width())
                .show(ui, s);
        });
        if to_order {
            d.make_order = true;
            d.go = Some(PageId::Skaters);
        }
        return;
    }
    let mut step = None;
    let mut choose = false;
    card(ui, s, d.w.get("now.next"), |ui| {
        let (disc, voice) = if s.is_small() {
            (11.0, Voice::Title)
        } else {
            (14.0, Voice::Large)
        };
        somebody(ui, d, queue.current, disc, voice);
        say(ui, s, Voice::Quiet, &upcoming(d));
        if let Some(at) = &queue.taken_up {
            say(ui, s, Voice::Quiet, &d.w.say("now.taken_up", &[("at", at)]));
        }
        let key = |word, icon| Press::new(d.w.get(word)).icon(icon).stacked().high(12.5);
        let keys = vec![
            key("now.skip", Icon::Skip).main(),
            key("now.swap", Icon::Swap),
            key("now.choose", Icon::List),
            key("now.back", Icon::Back),
            key("now.undo", Icon::Undo).enabled(queue.can_undo),
            key("now.unknown", Icon::Unknown),
        ];
        match grid(ui, s, 3, keys) {
            Some(0) => step = Some(QueueStep::Skip),
            Some(1) => step = Some(QueueStep::Swap),
            Some(2) => choose = true,
            Some(3) => step = Some(QueueStep::Back),
            Some(4) => step = Some(QueueStep::Undo),
            Some(_) => step = Some(QueueStep::Unknown),
            None => {}
        }
    });
    if let Some(step) = step {
        d.send(Command::Queue(step));
    }
    if choose {
        d.choose = Some(Choosing::Next);
    }
}

/// Who comes after the next one.
fn upcoming(d: &Desk<'_>) -> String {
    let queue = &d.view.queue;
    let from = queue
        .current
        .and_then(|id| queue.order.iter().position(|q| *q == id));
    let first = from.map_or(0, |at| at + 1);
    let names: Vec<String> = queue
        .order
        .iter()
        .cycle()
        .skip(first)
        .take(2)
        .map(|id| d.label(Some(*id)))
        .collect();
    d.w.say("now.then", &[("names", &names.join(", "))])
}

/// With a capital at its start.
fn capital(sentence: &str) -> String {
    let mut letters = sentence.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

pub(super) fn last(ui: &mut Ui, d: &mut Desk<'_>) {
    let s = d.s;
    let Some((key, cue)) = d.view.live.last.clone() else {
        card(ui, s, d.w.get("now.last"), |ui| {
            let nothing = if d.view.station.camera_live {
                "now.no_pass"
            } else {
                "now.no_pass_no_camera"
            };
            say(ui, s, Voice::Body, d.w.get(nothing));
        });
        return;
    };
    let view = d.view;
    let row = view.passes.iter().find(|p| p.key == key);
    let skater = row.map_or_else(|| view.queue.last.flatten(), |r| r.skater);
    let title = d.w.say("now.last_of", &[("n", &key.number.to_string())]);
    let mut commands = vec![];
    let mut wrong = false;
    let mut given = None;
    plain_card(ui, s, s.c.card, |ui| {
        // First what the skater was shown, then the numbers.
        let shown = view.live.shown.as_ref();
        let shown = shown.map(|shown| d.w.say("now.shown", &[("words", shown)]));
        let what = |ui: &mut Ui| {
            if let Some(shown) = &shown {
                say(ui, s, Voice::Head, shown);
            }
            // Its numbers stand with the flags, where the screen lies.
            if shown.is_none() || (s.is_upright() && !s.is_small()) {
                say(ui, s, Voice::Quiet, &capital(&cue));
            }
        };
        if s.is_small() {
            // A tablet has no room for its number: the card stands under that of its pass.
            columns(ui, s, [1.0, 1.2], |[left, right]| {
                somebody(left, d, skater, 10.0, Voice::Head);
                what(right);
            });
        } else {
            somebody_over(ui, d, skater, 10.0, Voice::Head, &title);
            what(ui);
        }
        if s.is_upright() && !s.is_small() {
            for (rule, of_rule) in row.into_iter().flat_map(flags::by_rule).take(FLAGS) {
                flags::show(ui, d, key, rule, &of_rule, &mut commands);
            }
        }
        somebody_else(ui, d, key, skater, &mut given, &mut wrong, &mut commands);
    });
    if let Some(id) = given {
        commands.push(Command::SetSkaterOfPass(key, Some(id)));
    }
    if wrong {
        d.choose = Some(Choosing::OfPass(key));
    }
    d.out.append(&mut commands);
}

/// Rules of the last pass whose flags are said here; the others are on its page.
const FLAGS: usize = 2;

/// How high what is said under the strip is, points: the last pass on a small screen,
/// its flags on a large one.
pub(super) fn last_height(d: &Desk<'_>) -> f32 {
    let s = d.s;
    if d.view.live.last.is_none() && s.is_small() {
        return s.mm(22.0);
    }
    if s.is_small() {
        return s.mm(33.0);
    }
    let rows = row_of_last(d).map_or(0, |row| flags::by_rule(row).len().min(FLAGS));
    if rows == 0 {
        return 0.0;
    }
    s.mm(8.0) + rows as f32 * (s.target() + s.gap())
}

fn row_of_last<'v>(d: &Desk<'v>) -> Option<&'v PassRow> {
    let (key, _) = d.view.live.last.as_ref()?;
    d.view.passes.iter().find(|p| p.key == *key)
}

/// The flags of the last pass, to be agreed with or dismissed.
pub(super) fn flags_of_last(ui: &mut Ui, d: &mut Desk<'_>) {
    let s = d.s;
    let Some(row) = row_of_last(d) else { return };
    let flags: Vec<_> = flags::by_rule(row).into_iter().take(FLAGS).collect();
    if flags.is_empty() {
        return;
    }
    let mut commands = vec![];
    plain_card(ui, s, s.c.card, |ui| {
        for (rule, of_rule) in &flags {
            flags::show(ui, d, row.key, rule, of_rule, &mut commands);
        }
    });
    d.out.append(&mut commands);
}

/// One tap gives the pass to the one before or after in the order; or to
/// anybody by the list. What was given can be taken back.
fn somebody_else(
    ui: &mut Ui,
    d: &Desk<'_>,
    key: PassKey,
    skater: Option<SkaterId>,
    given: &mut Option<SkaterId>,
    wrong: &mut bool,
    commands: &mut Vec<Command>,
) {
    let s = d.s;
    let likely = likely(d, skater);
    let names: Vec<(String, String)> = likely
        .iter()
        .map(|id| {
            let label = d.label(Some(*id));
            let long = d.w.say("now.it_was", &[("who", &label)]);
            (label, long)
        })
        .collect();
    let mut keys: Vec<Press<'_>> = likely
        .iter()
        .zip(&names)
        .map(|(id, (label, long))| {
            let colour = bib_of(d, Some(*id)).1;
            Press::new(label).named(long).swatch(colour)
        })
        .collect();
    let undo = d.view.given_away.is_some_and(|(of, _)| of == key);
    keys.push(Press::new(d.w.get("now.wrong_short")).named(d.w.get("now.wrong")));
    keys.push(if undo {
        Press::new(d.w.get("now.undo"))
            .named(d.w.get("now.undo_pass"))
            .icon(Icon::Undo)
    } else {
        // After praise there is nothing to show.
        let flagged = row_of_last(d).is_some_and(|row| !flags::by_rule(row).is_empty());
        Press::new(d.w.get("now.show_me"))
            .icon(Icon::Show)
            .enabled(flagged)
    });
    let count = names.len();
    let across = if s.is_small() { keys.len() } else { 2 };
    match grid(ui, s, across, keys) {
        Some(i) if i < count => *given = Some(likely[i]),
        Some(i) if i == count => *wrong = true,
        Some(_) if undo => commands.push(Command::UndoSkaterOfPass),
        Some(_) => commands.push(Command::ShowMe),
        None => {}
    }
}

/// Who it most likely was instead: the ones before and after in the order.
fn likely(d: &Desk<'_>, skater: Option<SkaterId>) -> Vec<SkaterId> {
    let order = &d.view.queue.order;
    let n = order.len();
    let at = skater
        .or(d.view.queue.current)
        .and_then(|id| order.iter().position(|o| *o == id));
    let Some(at) = at.filter(|_| n > 1) else {
        return order
            .iter()
            .copied()
            .filter(|id| Some(*id) != skater)
            .take(2)
            .collect();
    };
    let mut out: Vec<SkaterId> = [(at + n - 1) % n, (at + 1) % n]
        .into_iter()
        .map(|i| order[i])
        .filter(|id| Some(*id) != skater)
        .collect();
    out.dedup();
    out
}
