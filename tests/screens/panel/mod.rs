//! The coach's panel, driven by the names a screen reader says, and read from
//! the commands it gives and the words it shows.

#![allow(missing_docs, reason = "a test")]
#![allow(clippy::unwrap_used, reason = "a test may end at once")]

mod files;
mod keys;
mod limits;
mod looks;
mod now;
mod passes;
mod privacy;
mod set_up;
mod set_up_presses;
mod skaters;

use std::sync::Arc;

use egui::accesskit::Role;
use egui::{Key, Vec2, vec2};
use egui_kittest::kittest::{NodeT, Queryable};
use egui_kittest::{Harness, Node};
use kickplate::display::install_fonts;
use kickplate::panel::{Command, PageId, PanelSetup, PanelState, PanelView, panel_ui};

/// What a test drives.
pub struct Panel {
    pub state: PanelState,
    pub view: PanelView,
    pub out: Vec<Command>,
}

/// The panel as a coach has it in front of her.
pub struct Coach {
    pub h: Harness<'static, Panel>,
    /// Lower edge of the screen, points.
    bottom: f32,
    /// What was done so far: presses and drags.
    pub presses: u32,
    pub drags: u32,
}

/// Points of a millimetre of a screen of that many points and 15.6 inches.
pub fn points_per_mm(size: Vec2) -> f32 {
    size.length() / (15.6 * 25.4)
}

/// Seconds of one step of a test.
pub const STEP_S: f32 = 0.05;

const FULL_HD: Vec2 = vec2(1920.0, 1080.0);

impl Coach {
    pub fn at(page: PageId, view: PanelView) -> Self {
        Self::with(page, view, PanelSetup::default(), FULL_HD)
    }

    pub fn with(page: PageId, view: PanelView, setup: PanelSetup, size: Vec2) -> Self {
        Self::on(page, view, setup, size, points_per_mm(size))
    }

    /// On a screen of so many points and points of a millimetre.
    pub fn on(page: PageId, view: PanelView, setup: PanelSetup, size: Vec2, mm: f32) -> Self {
        let today = jiff::civil::date(2026, 11, 25);
        let mut state = PanelState::new(setup, today, mm);
        state.page = page;
        let panel = Panel {
            state,
            view,
            out: vec![],
        };
        let mut h = Harness::builder()
            .with_size(size)
            .with_step_dt(STEP_S)
            .with_context_setup(install_fonts)
            .build_ui_state(
                |ui, p: &mut Panel| panel_ui(ui, &mut p.state, &p.view, &mut p.out),
                panel,
            );
        h.run();
        Coach {
            h,
            bottom: size.y,
            presses: 0,
            drags: 0,
        }
    }

    /// The thing of that name that can be pressed.
    pub fn thing<'n>(&'n self, name: &'n str) -> Node<'n> {
        self.find(name)
            .unwrap_or_else(|| panic!("nothing to press is called '{name}'"))
    }

    pub fn find<'n>(&'n self, name: &'n str) -> Option<Node<'n>> {
        self.h.query_all_by_label(name).find(|n| {
            !matches!(n.accesskit_node().role(), Role::Label | Role::Image)
                && !n.accesskit_node().is_disabled()
        })
    }

    pub fn press(&mut self, name: &str) {
        let place = self.thing(name).rect();
        // Where a press before it scrolled the page, what stands above is out of sight too.
        if place.top() < 0.0 || place.bottom() > self.bottom {
            self.thing(name).scroll_to_me();
            self.h.run();
        }
        self.thing(name).click();
        self.presses += 1;
        self.h.run();
    }

    /// Presses and gives what came of it.
    pub fn gives(&mut self, name: &str) -> Vec<Command> {
        self.h.state_mut().out.clear();
        self.press(name);
        self.taken()
    }

    pub fn taken(&mut self) -> Vec<Command> {
        std::mem::take(&mut self.h.state_mut().out)
    }

    pub fn key(&mut self, key: Key) {
        self.h.key_press(key);
        self.h.run();
    }

    pub fn write(&mut self, field: &str, text: &str) {
        let of_role = |n: &Node<'_>| {
            matches!(
                n.accesskit_node().role(),
                Role::TextInput | Role::MultilineTextInput | Role::PasswordInput
            )
        };
        let node = self.h.query_all_by_label(field).find(of_role).unwrap();
        node.focus();
        self.h.run();
        self.h.key_press_modifiers(egui::Modifiers::COMMAND, Key::A);
        self.h.run();
        let node = self.h.query_all_by_label(field).find(of_role).unwrap();
        node.type_text(text);
        self.h.run();
    }

    /// Drags the thing of that name by so much.
    pub fn drag(&mut self, name: &str, by: Vec2) {
        let from = self.thing(name).rect().center();
        self.h.drag_at(from);
        self.h.step();
        self.h.hover_at(from + by / 2.0);
        self.h.step();
        self.h.hover_at(from + by);
        self.h.step();
        self.h.drop_at(from + by);
        self.drags += 1;
        self.h.run();
    }

    /// Whether these words stand somewhere on the page.
    pub fn shows(&self, words: &str) -> bool {
        self.h.query_all_by_label_contains(words).next().is_some()
    }

    pub fn change(&mut self, change: impl FnOnce(&mut PanelView)) {
        change(&mut self.h.state_mut().view);
        self.h.run();
    }
}

pub fn rich() -> PanelView {
    crate::coach_common::rich()
}

/// The station with the push that was opened.
pub fn with_push(mut view: PanelView, key: kickplate::store::PushKey) -> PanelView {
    view.push = Some(Arc::new(crate::coach_common::push_detail(key)));
    view
}
