//! What is kept of whom, and taking it along.

use std::path::{Path, PathBuf};

use egui::Ui;

use super::Desk;
use super::files::{FileChosen, FileFor, path_after};
use crate::panel::model::{Command, ExportOrder, ExportWhat, PinState};
use crate::panel::state::Choosing;
use crate::panel::widgets::{
    Icon, Press, Slider, Voice, card, columns, field, flow, grid, plain_card, say, stepper, toggle,
};
use crate::roster::SkaterId;

/// Fewest digits of a PIN.
const LEAST_DIGITS: usize = 4;
/// What a bound starts from when it is switched on.
const USUAL_DAYS: u32 = 90;
const USUAL_GB: f64 = 20.0;
const USUAL_MEASURES_DAYS: u32 = 730;

/// What a backup is called that has no name yet.
const BACKUP_FILE: &str = "kickplate-backup.zip";

/// Of which passes an export is to be made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Which {
    Tonight,
    Session,
    All,
}

impl Which {
    const ALL: [Which; 3] = [Which::Tonight, Which::Session, Which::All];

    fn key(self) -> &'static str {
        match self {
            Which::Tonight => "privacy.what_tonight",
            Which::Session => "privacy.what_session",
            Which::All => "privacy.what_all",
        }
    }
}

/// What is typed on the page.
pub(in crate::panel) struct PrivacyState {
    /// Whether the second half of the page is open: taking things along.
    pub(in crate::panel) taking: bool,
    /// Days for what was measured, while they are being chosen.
    pub(in crate::panel) measures_days: Option<u32>,
    pin: String,
    pin_again: String,
    backup: String,
    into: String,
    /// Whose pushes are exported; everybody's where `None`.
    pub(in crate::panel) skater: Option<SkaterId>,
    what: Which,
    flagged_only: bool,
    anonymous: bool,
    zip: bool,
}

impl PrivacyState {
    /// `folder` is where files go that are named without one.
    pub(in crate::panel) fn new(folder: &Path) -> Self {
        let in_folder = |name: &str| folder.join(name).display().to_string();
        PrivacyState {
            taking: false,
            measures_days: None,
            pin: String::new(),
            pin_again: String::new(),
            backup: in_folder(BACKUP_FILE),
            into: in_folder("export"),
            skater: None,
            what: Which::Tonight,
            flagged_only: false,
            anonymous: true,
            zip: false,
        }
    }

    /// A folder was chosen for the export.
    pub(in crate::panel) fn folder_chosen(&mut self, chosen: &FileChosen) {
        if let FileChosen::Folder(folder) = chosen {
            self.into = folder.display().to_string();
        }
    }

    /// A file or a folder was chosen for the backup.
    pub(in crate::panel) fn file_chosen(&mut self, chosen: &FileChosen) {
        if let Some(path) = path_after(&self.backup, chosen, BACKUP_FILE) {
            self.backup = path;
        }
    }
}

pub(in crate::panel) fn show(ui: &mut Ui, d: &mut Desk<'_>, state: &mut PrivacyState) {
    let keys = vec![
        Press::new(d.w.get("privacy.tab_kept")).page(!state.taking),
        Press::new(d.w.get("privacy.tab_taken")).page(state.taking),
    ];
    if let Some(index) = grid(ui, d.s, 2, keys) {
        state.taking = index == 1;
    }
    let taking = state.taking;
    let first = |ui: &mut Ui, d: &mut Desk<'_>, state: &mut PrivacyState| {
        if taking {
            export(ui, d, state);
        } else {
            kept(ui, d);
        }
    };
    let second = |ui: &mut Ui, d: &mut Desk<'_>, state: &mut PrivacyState| {
        if taking {
            backup(ui, d, state);
        } else {
            measures(ui, d, state);
            pin(ui, d, state);
        }
    };
    if d.s.is_upright() {
        first(ui, d, state);
        second(ui, d, state);
        return;
    }
    columns(ui, d.s, [1.15, 1.0], |[left, right]| {
        first(left, d, state);
        second(right, d, state);
    });
}

fn kept(ui: &mut Ui, d: &mut Desk<'_>) {
    let s = d.s;
    let privacy = &d.view.privacy;
    let (mut days, mut gb) = (privacy.keep_days, privacy.keep_gb);
    let mut commands = vec![];
    card(ui, s, d.w.get("privacy.kept"), |ui| {
        if let Some(on) = toggle(ui, s, d.w.get("privacy.keep"), privacy.keep_pictures) {
            commands.push(Command::KeepPictures(on));
        }
        let blur = privacy.blur_stored_faces;
        if let Some(on) = toggle(ui, s, d.w.get("privacy.blur"), blur) {
            commands.push(Command::BlurStoredFaces(on));
        }
        say(ui, s, Voice::Quiet, d.w.get("privacy.keep_about"));
        if let Some(on) = toggle(ui, s, d.w.get("privacy.days_bound"), days.is_some()) {
            days = on.then_some(USUAL_DAYS);
        }
        days_stepper(ui, d, "privacy.days", &mut days);
        if let Some(on) = toggle(ui, s, d.w.get("privacy.gb_bound"), gb.is_some()) {
            gb = on.then_some(USUAL_GB);
        }
        if let Some(value) = &mut gb {
            let slider = Slider {
                name: d.w.get("privacy.gb"),
                less: d.w.get("number.less"),
                more: d.w.get("number.more"),
                range: 1.0..=1000.0,
                step: 1.0,
                format: &|v| d.f.gigabytes(v, 0),
            };
            stepper(ui, s, &slider, value);
        }
        let stored = &privacy.stored;
        let text = match &stored.oldest {
            Some(day) => d.w.say(
                "privacy.stored",
                &[
                    ("n", &stored.strips.to_string()),
                    ("size", &d.f.bytes(stored.bytes)),
                    ("day", day),
                ],
            ),
            None => d.w.get("privacy.nothing_stored").to_owned(),
        };
        say(ui, s, Voice::Body, &text);
    });
    if (days, gb) != (privacy.keep_days, privacy.keep_gb) {
        commands.push(Command::SetRetention {
            keep_days: days,
            keep_gb: gb,
        });
    }
    d.out.append(&mut commands);
}

/// How many days, where there is a bound; one at least.
fn days_stepper(ui: &mut Ui, d: &Desk<'_>, name: &str, days: &mut Option<u32>) {
    let Some(days) = days else { return };
    let mut v = f64::from(*days);
    let slider = Slider {
        name: d.w.get(name),
        less: d.w.get("number.less"),
        more: d.w.get("number.more"),
        range: 0.0..=3650.0,
        step: 10.0,
        format: &|v| d.f.number(v.max(1.0), 0),
    };
    if stepper(ui, d.s, &slider, &mut v) {
        *days = v.max(1.0) as u32;
    }
}

/// What was measured goes for good: first it is said how much, then a second
/// press does it.
fn measures(ui: &mut Ui, d: &mut Desk<'_>, state: &mut PrivacyState) {
    let s = d.s;
    let view = d.view;
    let privacy = &view.privacy;
    let set = privacy.keep_measures_days;
    let mut days = state.measures_days.or(set);
    let mut commands = vec![];
    card(ui, s, d.w.get("privacy.measures"), |ui| {
        let stored = &privacy.measures;
        let text = match &stored.oldest {
            Some(day) => d.w.say(
                "privacy.measures_stored",
                &[
                    ("passes", &stored.passes.to_string()),
                    ("sessions", &stored.sessions.to_string()),
                    ("day", day),
                ],
            ),
            None => d.w.get("privacy.measures_none").to_owned(),
        };
        say(ui, s, Voice::Body, &text);
        if let Some(on) = toggle(ui, s, d.w.get("privacy.measures_bound"), days.is_some()) {
            days = on.then_some(USUAL_MEASURES_DAYS);
            if !on && set.is_some() {
                commands.push(Command::KeepMeasures(None));
            }
        }
        days_stepper(ui, d, "privacy.measures_days", &mut days);
        let Some(wanted) = days.filter(|_| days != set) else {
            return;
        };
        if state.measures_days != days {
            commands.push(Command::PreviewMeasures(wanted));
        }
        let Some(gone) = privacy.would_go.filter(|gone| gone.days == wanted) else {
            say(ui, s, Voice::Body, d.w.get("privacy.measures_looking"));
            return;
        };
        let days_text = wanted.to_string();
        let text = d.w.say(
            "privacy.measures_go",
            &[
                ("days", &days_text),
                ("passes", &gone.passes.to_string()),
                ("sessions", &gone.sessions.to_string()),
            ],
        );
        say(ui, s, Voice::Body, &text);
        flow(ui, |ui| {
            let text = d.w.say("privacy.measures_yes", &[("days", &days_text)]);
            if Press::new(&text).danger().show(ui, s) {
                commands.push(Command::KeepMeasures(Some(wanted)));
                days = None;
            }
            if Press::new(d.w.get("list.cancel")).show(ui, s) {
                days = None;
            }
        });
    });
    state.measures_days = days.filter(|_| days != set);
    d.out.append(&mut commands);
}

fn pin(ui: &mut Ui, d: &mut Desk<'_>, state: &mut PrivacyState) {
    let s = d.s;
    let set = d.view.pin != PinState::NotSet;
    card(ui, s, d.w.get("privacy.pin"), |ui| {
        let about = if set {
            "privacy.pin_is"
        } else {
            "privacy.pin_none"
        };
        say(ui, s, Voice::Quiet, d.w.get(about));
        columns(ui, s, [1.0, 1.0], |[left, right]| {
            field(left, s, d.w.get("privacy.pin_new"), &mut state.pin, true);
            let again = d.w.get("privacy.pin_again");
            field(right, s, again, &mut state.pin_again, true);
        });
        for text in [&mut state.pin, &mut state.pin_again] {
            text.retain(|c| c.is_ascii_digit());
        }
        let long = state.pin.len() >= LEAST_DIGITS;
        let same = state.pin == state.pin_again;
        flow(ui, |ui| {
            let key = Press::new(d.w.get("privacy.pin_set")).enabled(long && same);
            if key.show(ui, s) {
                d.out.push(Command::SetPin(Some(state.pin.clone())));
                state.pin.clear();
                state.pin_again.clear();
            }
            let none = Press::new(d.w.get("privacy.pin_off")).enabled(set);
            if none.show(ui, s) {
                d.out.push(Command::SetPin(None));
            }
        });
        let hint = if !state.pin.is_empty() && !long {
            Some("privacy.pin_short")
        } else if long && !same {
            Some("privacy.pin_differs")
        } else {
            None
        };
        if let Some(hint) = hint {
            say(ui, s, Voice::Body, d.w.get(hint));
        }
    });
}

fn export(ui: &mut Ui, d: &mut Desk<'_>, state: &mut PrivacyState) {
    let s = d.s;
    let running = d.view.export.as_ref().is_some_and(|e| e.running);
    card(ui, s, d.w.get("privacy.export"), |ui| {
        // At the head, so that they are seen on every screen.
        let into = PathBuf::from(state.into.trim());
        let what = match state.what {
            Which::Tonight => Some(ExportWhat::Tonight),
            Which::Session => d.view.session.map(ExportWhat::Session),
            Which::All => Some(ExportWhat::All),
        };
        let ready = !running && !into.as_os_str().is_empty() && what.is_some();
        let keys = vec![
            Press::new(d.w.get("privacy.export_start"))
                .main()
                .enabled(ready),
            Press::new(d.w.get("privacy.export_stop")).enabled(running),
        ];
        match (grid(ui, s, 2, keys), what) {
            (Some(0), Some(what)) => d.out.push(Command::Export(ExportOrder {
                what,
                skater: state.skater,
                flagged_only: state.flagged_only,
                anonymous: state.anonymous,
                zip: state.zip,
                into,
            })),
            (Some(1), _) => d.out.push(Command::CancelExport),
            _ => {}
        }
        if let Some(export) = &d.view.export {
            progress(ui, d, export.done, &export.sentence);
        }
        let who = match state.skater {
            Some(id) => d.label(Some(id)),
            None => d.w.get("choose.all").to_owned(),
        };
        let text = d.w.say("passes.who", &[("who", &who)]);
        if Press::new(&text).wide(ui.available_width()).show(ui, s) {
            d.choose = Some(Choosing::Export);
        }
        let chosen =
            Which::ALL.map(|which| Press::new(d.w.get(which.key())).page(which == state.what));
        if let Some(index) = grid(ui, s, 3, chosen.into_iter().collect()) {
            state.what = Which::ALL[index];
        }
        for (key, on) in [
            ("privacy.flagged_only", &mut state.flagged_only),
            ("privacy.anonymous", &mut state.anonymous),
            ("privacy.zip", &mut state.zip),
        ] {
            if let Some(now) = toggle(ui, s, d.w.get(key), *on) {
                *on = now;
            }
        }
        field(ui, s, d.w.get("privacy.into"), &mut state.into, false);
        if let Some(drive) = d.view.drive.clone() {
            let name = drive.file_name().unwrap_or_default().to_string_lossy();
            let text = d.w.say("files.drive", &[("name", &name)]);
            let here = Path::new(state.into.trim()) == drive;
            if Press::new(&text).icon(Icon::Drive).page(here).show(ui, s) {
                state.into = drive.display().to_string();
            }
        }
        if Press::new(d.w.get("files.choose_export")).show(ui, s) {
            d.choose_file = Some(FileFor::Export);
        }
    });
}

fn progress(ui: &mut Ui, d: &Desk<'_>, done: f32, sentence: &str) {
    let s = d.s;
    let done = done.clamp(0.0, 1.0);
    let size = egui::vec2(ui.available_width(), s.mm(4.0));
    let (rect, _) = ui.allocate_exact_size(size, egui::Sense::hover());
    ui.painter().rect_filled(rect, 0.0, s.c.no_picture);
    let mut part = rect;
    part.set_width(rect.width() * done);
    ui.painter().rect_filled(part, 0.0, s.c.main);
    let share = format!("{} %", d.f.number(f64::from(done) * 100.0, 0));
    let text = d.w.pair(&share, sentence);
    say(ui, s, Voice::Body, &text);
}

fn backup(ui: &mut Ui, d: &mut Desk<'_>, state: &mut PrivacyState) {
    let s = d.s;
    plain_card(ui, s, s.c.card, |ui| {
        say(ui, s, Voice::Head, d.w.get("privacy.backup"));
        field(
            ui,
            s,
            d.w.get("privacy.backup_into"),
            &mut state.backup,
            false,
        );
        if Press::new(d.w.get("files.choose_backup")).show(ui, s) {
            d.choose_file = Some(FileFor::Backup);
        }
        let path = PathBuf::from(state.backup.trim());
        let key = Press::new(d.w.get("privacy.backup_start")).enabled(!path.as_os_str().is_empty());
        if key.show(ui, s) {
            d.out.push(Command::BackUp { path, sure: false });
        }
    });
}
