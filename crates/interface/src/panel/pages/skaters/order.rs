//! The order skaters come in.

use egui::Ui;

use super::SkatersState;
use crate::panel::model::Command;
use crate::panel::pages::Desk;
use crate::panel::widgets::{Press, Voice, beside, columns, grid, pager, say};
use crate::roster::SkaterId;

/// Skaters on one leaf.
const PER_LEAF: usize = 8;

pub(super) fn show(ui: &mut Ui, d: &mut Desk<'_>, state: &mut SkatersState) {
    let s = d.s;
    let Some(order) = &mut state.order else {
        return;
    };
    order.retain(|id| d.view.roster.iter().any(|x| x.id == *id));
    let mut close = false;
    say(ui, s, Voice::Body, d.w.get("order.about"));
    let keys = vec![
        Press::new(d.w.get("order.save")).main(),
        Press::new(d.w.get("order.everybody")),
        Press::new(d.w.get("order.nobody")),
        Press::new(d.w.get("list.cancel")),
    ];
    match grid(ui, s, 4, keys) {
        Some(0) => {
            d.out.push(Command::SetQueue(order.clone()));
            close = true;
        }
        Some(1) => *order = d.view.roster.iter().map(|x| x.id).collect(),
        Some(2) => order.clear(),
        Some(_) => close = true,
        None => {}
    }
    let mut shared = (&*d, order, &mut state.order_leaf);
    beside(
        ui,
        s,
        [1.6, 1.0],
        &mut shared,
        |ui, (d, order, leaf)| inside(ui, d, order, leaf),
        |ui, (d, order, _)| outside(ui, d, order),
    );
    if close {
        state.order = None;
    }
}

/// Who is in the order.
fn inside(ui: &mut Ui, d: &Desk<'_>, order: &mut Vec<SkaterId>, leaf: &mut usize) {
    let s = d.s;
    say(ui, s, Voice::Head, d.w.get("order.in"));
    let range = pager(ui, s, d.w, order.len(), PER_LEAF, leaf);
    if order.is_empty() {
        say(ui, s, Voice::Body, d.w.get("order.empty"));
    }
    let mut change = None;
    for at in range {
        row(ui, d, order, at, &mut change);
    }
    match change {
        Some(Change::Earlier(at)) => order.swap(at, at - 1),
        Some(Change::Later(at)) => order.swap(at, at + 1),
        Some(Change::Out(at)) => {
            order.remove(at);
        }
        None => {}
    }
}

/// Who is not.
fn outside(ui: &mut Ui, d: &Desk<'_>, order: &mut Vec<SkaterId>) {
    let s = d.s;
    say(ui, s, Voice::Head, d.w.get("order.out"));
    for skater in d.view.roster.iter() {
        if order.contains(&skater.id) {
            continue;
        }
        let text = d.w.say("order.add", &[("who", &d.label(Some(skater.id)))]);
        let width = ui.available_width();
        if Press::new(&text).wide(width).left().show(ui, s) {
            order.push(skater.id);
        }
    }
}

enum Change {
    Earlier(usize),
    Later(usize),
    Out(usize),
}

fn row(ui: &mut Ui, d: &Desk<'_>, order: &[SkaterId], at: usize, change: &mut Option<Change>) {
    let s = d.s;
    let who = d.label(Some(order[at]));
    columns(ui, s, [1.6, 0.8, 0.8, 0.8], |[name, up, down, out]| {
        let text = format!("{}. {who}", at + 1);
        name.horizontal(|ui| {
            ui.set_min_height(s.target());
            say(ui, s, Voice::Body, &text);
        });
        for (ui, key, possible, wanted) in [
            (up, "order.earlier", at > 0, Change::Earlier(at)),
            (down, "order.later", at + 1 < order.len(), Change::Later(at)),
            (out, "order.leave", true, Change::Out(at)),
        ] {
            let width = ui.available_width();
            let long = d.w.pair(d.w.get(key), &who);
            let key = Press::new(d.w.get(key))
                .named(&long)
                .wide(width)
                .enabled(possible);
            if key.show(ui, s) {
                *change = Some(wanted);
            }
        }
    });
}
