//! A person holds what an instrument shows: the check of the station.

use egui::Ui;

use crate::calibration::Gauged;
use crate::panel::model::Command;
use crate::panel::pages::Desk;
use crate::panel::widgets::{Press, Slider, Voice, card, grid, say, stepper};
use crate::ruler::PUCK_M;
use crate::rules::Unit;

/// Persons that are told apart: gloves do not type initials.
const PERSONS: u32 = 6;

/// What is held next.
pub(super) struct HoldDraft {
    of: Option<Gauged>,
    deg: f64,
    gap_m: f64,
    person: u32,
}

impl Default for HoldDraft {
    fn default() -> Self {
        HoldDraft {
            of: None,
            deg: 180.0,
            gap_m: 0.0,
            person: 1,
        }
    }
}

/// The card; nothing where no lane of people is in use.
pub(super) fn show(ui: &mut Ui, d: &mut Desk<'_>, draft: &mut HoldDraft) {
    if d.view.holds.is_empty() {
        return;
    }
    let s = d.s;
    card(ui, s, d.w.get("ruler.title"), |ui| {
        say(ui, s, Voice::Quiet, d.w.get("ruler.about"));
        let seen: Vec<Gauged> = d.view.holds.iter().map(|row| row.of).collect();
        let of = draft.of.filter(|of| seen.contains(of)).unwrap_or(seen[0]);
        let keys = seen
            .iter()
            .map(|g| Press::new(d.w.get(word(*g))).page(*g == of))
            .collect();
        if let Some(index) = grid(ui, s, seen.len().min(3), keys) {
            draft.of = Some(seen[index]);
        }
        let reference = reference(ui, d, draft, of);
        let names: Vec<String> = (1..=PERSONS)
            .map(|n| d.w.say("ruler.person", &[("n", &n.to_string())]))
            .collect();
        let keys = names
            .iter()
            .zip(1..)
            .map(|(name, n)| Press::new(name).page(n == draft.person))
            .collect();
        if let Some(index) = grid(ui, s, 3, keys) {
            draft.person = index as u32 + 1;
        }
        let wide = ui.available_width();
        if Press::new(d.w.get("ruler.hold"))
            .main()
            .wide(wide)
            .show(ui, s)
        {
            d.out.push(Command::RulerHold {
                of,
                reference,
                person: draft.person,
            });
        }
        rows(ui, d);
    });
}

fn reference(ui: &mut Ui, d: &Desk<'_>, draft: &mut HoldDraft, of: Gauged) -> f64 {
    let s = d.s;
    if of == Gauged::HeelGap {
        let gaps = [
            (0.0, "ruler.together"),
            (PUCK_M[0], "ruler.edge"),
            (PUCK_M[1], "ruler.flat"),
        ];
        let keys = gaps
            .iter()
            .map(|(gap, key)| Press::new(d.w.get(key)).page(*gap == draft.gap_m))
            .collect();
        if let Some(index) = grid(ui, s, 1, keys) {
            draft.gap_m = gaps[index].0;
        }
        return draft.gap_m;
    }
    let possible = of.possible();
    draft.deg = draft.deg.clamp(*possible.start(), *possible.end());
    let slider = Slider {
        name: d.w.get("ruler.shown"),
        less: d.w.get("number.less"),
        more: d.w.get("number.more"),
        range: possible,
        step: 1.0,
        format: &|v| d.f.exact(Unit::Deg, v),
    };
    stepper(ui, s, &slider, &mut draft.deg);
    draft.deg
}

/// What was held so far.
fn rows(ui: &mut Ui, d: &mut Desk<'_>) {
    let s = d.s;
    let mut any = false;
    for row in d.view.holds.iter().filter(|row| row.holds > 0) {
        any = true;
        let unit = if row.of.is_length() {
            Unit::Metre
        } else {
            Unit::Deg
        };
        let [held, read] = row.last.unwrap_or_default().map(|v| d.f.finer(unit, v));
        let text = d.w.say(
            "ruler.row",
            &[
                ("what", d.w.get(word(row.of))),
                ("n", &row.holds.to_string()),
                ("persons", &row.persons.to_string()),
                ("held", &held),
                ("read", &read),
            ],
        );
        say(ui, s, Voice::Body, &text);
    }
    if !any {
        return;
    }
    let wide = ui.available_width();
    if Press::new(d.w.get("ruler.undo")).wide(wide).show(ui, s) {
        d.out.push(Command::RulerUndo);
    }
    if Press::new(d.w.get("ruler.use")).wide(wide).show(ui, s) {
        d.out.push(Command::RulerUse);
    }
    say(ui, s, Voice::Quiet, d.w.get("ruler.use_about"));
}

fn word(of: Gauged) -> &'static str {
    match of {
        Gauged::Knee => "ruler.knee",
        Gauged::Extension => "ruler.extension",
        Gauged::HeelGap => "ruler.heel_gap",
        Gauged::Trunk => "ruler.trunk",
    }
}
