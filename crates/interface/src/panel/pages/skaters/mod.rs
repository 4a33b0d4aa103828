//! The roster: who there is, what is known of them, in which order they come.

mod edit;
mod order;

use std::path::{Path, PathBuf};

use egui::Ui;
use jiff::civil::Date;

use super::files::{FileChosen, FileFor, path_after};
use super::limits::group_word;
use super::{Desk, band_colour, band_word};
use crate::panel::model::{Command, PanelView};
use crate::panel::widgets::{
    Icon, Press, Voice, card, columns, field, grid, pager, plain_card, say,
};
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
    /// The file that is read.
    path: String,
    /// The file that is written: another one.
    into: String,
    /// Whether a place to write to is being chosen.
    choosing_into: bool,
}

impl SkatersState {
    /// `folder` is where the roster file is looked for first.
    pub(in crate::panel) fn new(folder: &Path, today: Date) -> Self {
        SkatersState {
            leaf: 0,
            draft: None,
            deleting: None,
            order: None,
            order_leaf: 0,
            files: false,
            path: folder.join(ROSTER_FILE).display().to_string(),
            into: folder
                .join(format!("roster-{today}.csv"))
                .display()
                .to_string(),
            choosing_into: false,
        }
    }

    /// Opens what is read from and written into files.
    pub(in crate::panel) fn open_files(&mut self) {
        self.files = true;
    }

    /// Opens the order, with everybody in it where there is none yet.
    pub(in crate::panel) fn make_order(&mut self, view: &PanelView) {
        let order = &view.queue.order;
        self.order = Some(if order.is_empty() {
            view.roster.iter().map(|s| s.id).collect()
        } else {
            order.clone()
        });
    }

    /// A file or a folder was chosen for the roster.
    pub(in crate::panel) fn file_chosen(&mut self, chosen: &FileChosen) {
        let field = if std::mem::take(&mut self.choosing_into) {
            &mut self.into
        } else {
            &mut self.path
        };
        if let Some(path) = path_after(field, chosen, ROSTER_FILE) {
            *field = path;
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
        Press::new(d.w.get("skaters.add")).main().icon(Icon::Add),
        Press::new(d.w.get("skaters.order")).icon(Icon::Swap),
        Press::new(d.w.get("skaters.files")).icon(Icon::Drive),
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
        plain_card(ui, s, s.c.card, |ui| {
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

/// Reading and writing have a file each, so that what was chosen to be read
/// is never written over.
fn files(ui: &mut Ui, d: &mut Desk<'_>, state: &mut SkatersState) {
    let s = d.s;
    if Press::new(d.w.get("list.close"))
        .icon(Icon::Back)
        .show(ui, s)
    {
        state.files = false;
    }
    let drive = d.view.drive.clone();
    let parts: [(&str, &str, &str, &str, &str, bool); 2] = [
        (
            "skaters.read_title",
            "skaters.files_about",
            "skaters.path",
            "files.choose_roster",
            "skaters.import",
            false,
        ),
        (
            "skaters.write_title",
            "skaters.write_about",
            "skaters.path_into",
            "files.choose_into",
            "skaters.export",
            true,
        ),
    ];
    columns(ui, s, [1.0, 1.0], |cols| {
        for (ui, (title, about, name, choose, word, into)) in cols.into_iter().zip(parts) {
            card(ui, s, d.w.get(title), |ui| {
                say(ui, s, Voice::Quiet, d.w.get(about));
                let text = if into {
                    &mut state.into
                } else {
                    &mut state.path
                };
                field(ui, s, d.w.get(name), text, false);
                let wide = ui.available_width();
                if let Some(drive) = drive.as_ref().filter(|_| into) {
                    let place = d.w.say("files.drive", &[("name", &drive_name(drive))]);
                    let key = Press::new(&place).icon(Icon::Drive).wide(wide);
                    if key.show(ui, s) {
                        let file = Path::new(text.trim()).file_name();
                        let file = file.map_or_else(|| ROSTER_FILE.into(), |f| f.to_owned());
                        *text = drive.join(file).display().to_string();
                    }
                }
                let path = PathBuf::from(text.trim());
                let named = !path.as_os_str().is_empty();
                if Press::new(d.w.get(choose)).wide(wide).show(ui, s) {
                    state.choosing_into = into;
                    d.choose_file = Some(FileFor::Roster);
                }
                let key = Press::new(d.w.get(word)).enabled(named).wide(wide);
                let key = if into { key } else { key.main() };
                if key.show(ui, s) {
                    let sure = false;
                    d.out.push(if into {
                        Command::ExportRoster { path, sure }
                    } else {
                        Command::ImportRoster { path, sure }
                    });
                }
            });
        }
    });
    // What the file came to, line by line, is too long for the foot alone.
    if let Some(answer) = &d.view.answer {
        say(ui, s, Voice::Body, &answer.sentence);
    }
}

/// The name of a drive: the last part of where it is mounted.
fn drive_name(path: &Path) -> String {
    path.file_name()
        .map_or_else(String::new, |n| n.to_string_lossy().into_owned())
}
