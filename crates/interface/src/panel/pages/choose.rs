//! Choosing a skater, over the whole page.

use egui::Ui;

use super::{Desk, band_colour};
use crate::panel::state::Choosing;
use crate::panel::widgets::{Press, Voice, grid, pager, say};
use crate::roster::SkaterId;

/// Skaters on one leaf.
const PER_LEAF: usize = 24;

/// Draws the choice. `Some` when it ended: with whom, or with nobody known
/// (`Some(Some(None))`), or without a choice (`Some(None)`).
pub(in crate::panel) fn show(
    ui: &mut Ui,
    d: &mut Desk<'_>,
    purpose: Choosing,
    leaf: &mut usize,
) -> Option<Option<Option<SkaterId>>> {
    let s = d.s;
    let title = match purpose {
        Choosing::OfPass(key) => d.w.say("choose.of_pass", &[("n", &key.number.to_string())]),
        Choosing::Next => d.w.get("choose.next").to_owned(),
        Choosing::Limits => d.w.get("choose.limits").to_owned(),
        Choosing::Filter => d.w.get("choose.filter").to_owned(),
        Choosing::Progress => d.w.get("choose.progress").to_owned(),
        Choosing::Export => d.w.get("choose.export").to_owned(),
    };
    say(ui, s, Voice::Title, &title);
    let mut ended = None;
    let nobody = match purpose {
        Choosing::OfPass(_) | Choosing::Next => Some(d.w.get("skater.unknown")),
        Choosing::Filter | Choosing::Export => Some(d.w.get("choose.all")),
        Choosing::Limits => Some(d.w.get("choose.group")),
        Choosing::Progress => None,
    };
    let mut keys = vec![Press::new(d.w.get("list.cancel")).large()];
    keys.extend(nobody.map(|text| Press::new(text).large()));
    match grid(ui, s, 3, keys) {
        Some(0) => ended = Some(None),
        Some(_) => ended = Some(Some(None)),
        None => {}
    }
    if d.view.roster.is_empty() {
        say(ui, s, Voice::Body, d.w.get("skaters.empty"));
    }
    let range = pager(ui, s, d.w, d.view.roster.len(), PER_LEAF, leaf);
    let shown = &d.view.roster[range];
    let labels: Vec<String> = shown.iter().map(|x| x.label()).collect();
    let keys = shown
        .iter()
        .zip(&labels)
        .map(|(skater, label)| Press::new(label).swatch(skater.band.map(band_colour)))
        .collect();
    if let Some(index) = grid(ui, s, 3, keys) {
        ended = Some(Some(Some(shown[index].id)));
    }
    ended
}
