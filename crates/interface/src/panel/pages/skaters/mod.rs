//! The roster: who there is, what is known of them, in which order they come.

mod edit;
mod order;

use std::path::{Path, PathBuf};

use egui::Ui;

use super::files::{FileChosen, FileFor, path_after};
use super::limits::group_word;
use super::{Desk, band_colour, band_word};
use crate::display::panel_theme as theme;
use crate::panel::model::Command;
use crate::panel::widgets::{Press, Voice, field, grid, pager, plain_card, say};
use crate::roster::{Skater, SkaterId};
use edit::Draft;

/// Skaters on one leaf.
const PER_LEAF: usize = 20;
/// What a roster file is called that has no name yet.
const ROSTER_FILE: &str = "roster.csv";

/// What is open on the page.
pub(in crate::panel) struct SkatersState {
    leaf: usize,
    draft: Option<Draft>,
    /// Who is about to be deleted: the first of the two steps was done.
    deleting: Option<SkaterId>,
    /// The order while it is changed.
    order: Option<Vec<SkaterId>>,
    order_leaf: usize,
    files: bool,
    path: String,
}

impl SkatersState {
    /// `folder` is where the roster file is looked for first.
    pub(in crate::panel) fn new(folder: &Path) -> Self {
        SkatersState {
            leaf: 0,
            draft: None,
            deleting: None,
            order: None,
            order_leaf: 0,
            files: false,
            path: folder.join(ROSTER_FILE).display().to_string(),
        }
    }

    /// Opens what is read from and written into files.
    pub(in crate::panel) fn open_files(&mut self) {
        self.files = true;
    }

    /// A file or a folder was chosen for the roster.
    pub(in crate::panel) fn file_chosen(&mut self, chosen: &FileChosen) {
        if let Some(path) = path_after(&self.path, chosen, ROSTER_FILE) {
            self.path = path;
        }
    }
}

pub(in crate::panel) fn show(ui: &mut Ui, d: &mut Desk<'_>, state: &mut SkatersState) {
    if state.order.is_some() {
        return order::show(ui, d, state);
    }
    if state.files {
        files(ui, d, state);
    } else if state.draft.is_some() {
        edit::show(ui, d, state);
    } else {
        list(ui, d, state);
    }
}

fn list(ui: &mut Ui, d: &mut Desk<'_>, state: &mut SkatersState) {
    let s = d.s;
    let keys = vec![
        Press::new(d.w.get("skaters.add")).main(),
        Press::new(d.w.get("skaters.order")),
        Press::new(d.w.get("skaters.files")),
    ];
    match grid(ui, s, 3, keys) {
        Some(0) => {
            state.draft = Some(Draft::new(d));
            state.files = false;
            state.deleting = None;
        }
        Some(1) => state.order = Some(d.view.queue.order.clone()),
        Some(_) => {
            state.files = true;
            state.draft = None;
        }
        None => {}
    }
    if d.view.roster.is_empty() {
        plain_card(ui, s, theme::CARD, |ui| {
            say(ui, s, Voice::Body, d.w.get("skaters.empty"));
        });
        return;
    }
    let view = d.view;
    let range = pager(ui, s, d.w, view.roster.len(), PER_LEAF, &mut state.leaf);
    let shown = &view.roster[range];
    let words: Vec<(String, String)> = shown.iter().map(|x| (line(d, x), x.label())).collect();
    let keys = shown
        .iter()
        .zip(&words)
        .map(|(skater, (text, label))| {
            let swatch = skater.band.map(band_colour);
            Press::new(text).named(label).left().swatch(swatch)
        })
        .collect();
    if let Some(index) = grid(ui, s, 2, keys) {
        state.draft = Some(Draft::of(d, &shown[index]));
        state.deleting = None;
    }
    say(ui, s, Voice::Quiet, d.w.get("skaters.pick"));
}

/// One skater in a line.
fn line(d: &Desk<'_>, skater: &Skater) -> String {
    let mut parts = vec![skater.label(), group_word(d, skater.age_group).to_owned()];
    if let Some(band) = skater.band {
        parts.push(band_word(d.w, band).to_owned());
    }
    parts.push(
        d.w.get(if skater.consent.is_some() {
            "skaters.may"
        } else {
            "skaters.may_not"
        })
        .to_owned(),
    );
    parts.join(", ")
}

fn files(ui: &mut Ui, d: &mut Desk<'_>, state: &mut SkatersState) {
    let s = d.s;
    plain_card(ui, s, theme::CARD, |ui| {
        say(ui, s, Voice::Head, d.w.get("skaters.files"));
        say(ui, s, Voice::Quiet, d.w.get("skaters.files_about"));
        field(ui, s, d.w.get("skaters.path"), &mut state.path, false);
        if Press::new(d.w.get("files.choose_roster")).show(ui, s) {
            d.choose_file = Some(FileFor::Roster);
        }
        let path = PathBuf::from(state.path.trim());
        let named = !path.as_os_str().is_empty();
        let keys = vec![
            Press::new(d.w.get("skaters.import")).enabled(named),
            Press::new(d.w.get("skaters.export")).enabled(named),
            Press::new(d.w.get("list.close")),
        ];
        match grid(ui, s, 3, keys) {
            Some(0) => d.out.push(Command::ImportRoster(path)),
            Some(1) => d.out.push(Command::ExportRoster(path)),
            Some(_) => state.files = false,
            None => {}
        }
        // What the file came to, line by line, stands in the answer; it is
        // repeated here, beside the file's name.
        if let Some(answer) = &d.view.answer {
            say(ui, s, Voice::Body, &answer.sentence);
        }
    });
}
