//! The passes of a session, push by push, and one push looked at closely.

mod curve;
mod detail;
mod list;

pub(in crate::panel) use curve::Plot;

use egui::Ui;

use super::Desk;
use crate::roster::SkaterId;
use crate::rules::{Leg, RuleId};
use crate::store::{PassKey, PushKey};

/// What is open on the page.
#[derive(Default)]
pub(in crate::panel) struct PassesState {
    filter: Filter,
    filtering: bool,
    leaf: usize,
    /// The newest pass when the list was opened: later ones wait.
    upto: Option<PassKey>,
    /// The push that is looked at closely.
    open: Option<PushKey>,
    /// What is typed about it, and whether it was taken from its note.
    comment: Option<(PushKey, String)>,
    play: Play,
}

/// Which pushes are listed.
#[derive(Debug, Clone, Copy, Default)]
struct Filter {
    skater: Option<SkaterId>,
    rule: Option<RuleId>,
    leg: Option<Leg>,
    flagged: bool,
    starred: bool,
}

/// Where the replay is.
#[derive(Default)]
struct Play {
    /// Index of the picture shown; the flagged one where `None`.
    at: Option<usize>,
    /// When the picture shown came up, while it plays, seconds of the window.
    since_s: Option<f64>,
}

impl PassesState {
    /// Lists only the passes of one skater, or of everybody.
    pub(in crate::panel) fn only(&mut self, skater: Option<SkaterId>) {
        self.filter.skater = skater;
        self.leaf = 0;
    }

    /// Looks at a push closely.
    pub(in crate::panel) fn open(&mut self, push: PushKey) {
        self.open = Some(push);
        self.play = Play::default();
    }

    /// Back to the list; whether there was anything to go back from.
    pub(in crate::panel) fn back(&mut self) -> bool {
        let was = self.open.is_some() || self.filtering;
        self.open = None;
        self.filtering = false;
        self.play = Play::default();
        was
    }
}

pub(in crate::panel) fn show(ui: &mut Ui, d: &mut Desk<'_>, state: &mut PassesState) {
    match state.open {
        Some(key) => detail::show(ui, d, state, key),
        None => list::show(ui, d, state),
    }
}
