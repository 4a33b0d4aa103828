//! The pages. Each draws itself from the view and its own small state, and
//! puts what the coach did into the list of commands.

pub(super) mod choose;
pub(super) mod files;
mod group;
pub(super) mod help;
mod lane_line;
pub(super) mod limits;
pub(super) mod lock;
pub(super) mod now;
pub(super) mod passes;
pub(super) mod privacy;
pub(super) mod progress;
pub(super) mod set_up;
pub(super) mod skaters;

use egui::{Color32, Ui};
use jiff::civil::Date;

use super::figures::Figures;
use super::model::{Command, PanelView};
use super::picture::Pictures;
use super::settings::PanelSetup;
use super::state::{Choosing, PageId};
use super::widgets::{Press, Sizes, Voice, plain_card, say};
use super::words::PanelWords;
use crate::roster::{BandColour, Skater, SkaterId};
use crate::rules::Leg;
use crate::store::PushKey;
use files::FileFor;

/// What every page needs.
pub(super) struct Desk<'a> {
    pub(super) s: Sizes,
    pub(super) w: &'a PanelWords,
    pub(super) f: Figures<'a>,
    pub(super) view: &'a PanelView,
    pub(super) setup: &'a PanelSetup,
    pub(super) today: Date,
    pub(super) out: &'a mut Vec<Command>,
    pub(super) pictures: &'a mut Pictures,
    /// A page to go to.
    pub(super) go: Option<PageId>,
    /// A skater to be chosen.
    pub(super) choose: Option<Choosing>,
    /// A file or folder to be chosen.
    pub(super) choose_file: Option<FileFor>,
    /// A push to be looked at closely.
    pub(super) open_push: Option<PushKey>,
    /// The order is to be made.
    pub(super) make_order: bool,
    /// The part of the page Privacy is to be opened that takes things along.
    pub(super) take_along: bool,
    /// The set-up is to be opened at the line.
    pub(super) check_line: bool,
    /// Another look.
    pub(super) dark: Option<bool>,
}

impl Desk<'_> {
    /// Gives a command.
    pub(super) fn send(&mut self, command: Command) {
        self.out.push(command);
    }

    /// Somebody on the roster.
    pub(super) fn skater(&self, id: SkaterId) -> Option<&Skater> {
        self.view.roster.iter().find(|s| s.id == id)
    }

    /// How a skater is called; also nobody, and one who was deleted.
    pub(super) fn label(&self, id: Option<SkaterId>) -> String {
        match id {
            None => self.w.get("skater.unknown").to_owned(),
            Some(id) => self
                .skater(id)
                .map_or_else(|| self.w.get("skater.deleted").to_owned(), Skater::label),
        }
    }

    /// A leg in words.
    pub(super) fn leg(&self, leg: Leg) -> &str {
        match leg {
            Leg::Left => self.w.get("leg.left"),
            Leg::Right => self.w.get("leg.right"),
        }
    }

    /// A page that is empty says what to do first.
    pub(super) fn empty(&mut self, ui: &mut Ui, sentence: &str, go: Option<PageId>) {
        let s = self.s;
        let mut pressed = false;
        plain_card(ui, s, s.c.card, |ui| {
            say(ui, s, Voice::Body, self.w.get(sentence));
            if let Some(page) = go {
                let text = self
                    .w
                    .say("list.go_to", &[("page", self.w.get(page.words_key()))]);
                pressed = Press::new(&text).main().show(ui, s);
            }
        });
        if pressed {
            self.go = go;
        }
    }
}

/// A colour patch of an arm band; its name is always said beside it.
pub(super) fn band_colour(band: BandColour) -> Color32 {
    match band {
        BandColour::Red => Color32::from_rgb(0xC8, 0x10, 0x2E),
        BandColour::Orange => Color32::from_rgb(0xF0, 0x7D, 0x00),
        BandColour::Yellow => Color32::from_rgb(0xF7, 0xD4, 0x00),
        BandColour::Green => Color32::from_rgb(0x00, 0x8A, 0x3B),
        BandColour::Blue => Color32::from_rgb(0x00, 0x5E, 0xB8),
        BandColour::Violet => Color32::from_rgb(0x74, 0x2A, 0x9B),
        BandColour::White => Color32::WHITE,
        BandColour::Black => Color32::BLACK,
    }
}

/// What stands on somebody's bib, and its colour: the number, else the first
/// letter of the name; nobody known has none.
pub(super) fn bib_of(d: &Desk<'_>, id: Option<SkaterId>) -> (String, Option<Color32>) {
    let Some(skater) = id.and_then(|id| d.skater(id)) else {
        return ("?".to_owned(), Some(d.s.c.edge));
    };
    let first = || skater.name.chars().next().map(String::from);
    let number = skater.bib.clone().or_else(first).unwrap_or_default();
    (number, skater.band.map(band_colour))
}

/// The name of an arm band's colour among the words.
pub(super) fn band_word(w: &PanelWords, band: BandColour) -> &str {
    w.get(match band {
        BandColour::Red => "band.red",
        BandColour::Orange => "band.orange",
        BandColour::Yellow => "band.yellow",
        BandColour::Green => "band.green",
        BandColour::Blue => "band.blue",
        BandColour::Violet => "band.violet",
        BandColour::White => "band.white",
        BandColour::Black => "band.black",
    })
}
