//! The way of the keyboard to a thing of the panel.

use egui::accesskit::Role;
use egui::{Key, Modifiers, Rect};
use egui_kittest::kittest::{By, NodeT, Queryable};

use super::Hand;

/// Steps of the keyboard that are tried to one key.
const MOST_STEPS: u32 = 200;

impl Hand {
    fn ring(&self) -> Option<Rect> {
        let focused = self.h.query_all(By::new()).find(|n| n.is_focused());
        focused
            .filter(|n| n.accesskit_node().label().is_some())
            .map(|n| n.rect())
    }

    /// The ring of the keyboard to the thing of that name: by the arrows as long as they lead
    /// there, else by Tab.
    pub(super) fn walk_to(&mut self, name: &str) {
        let mut seen: Vec<Rect> = vec![];
        let mut arrows = !self.writing();
        for _ in 0..MOST_STEPS {
            let to = self.thing(name);
            if to.is_focused() {
                return;
            }
            let to = to.rect();
            let from = self.ring();
            if let (true, Some(from)) = (arrows, from)
                && !seen.contains(&from)
                && self.can_be_left(from)
            {
                seen.push(from);
                let by = to.center() - from.center();
                let key = match by.x.abs() > by.y.abs() {
                    true if by.x < 0.0 => Key::ArrowLeft,
                    true => Key::ArrowRight,
                    false if by.y < 0.0 => Key::ArrowUp,
                    false => Key::ArrowDown,
                };
                self.key(key, Modifiers::NONE);
            } else {
                arrows = false;
                self.key(Key::Tab, Modifiers::NONE);
            }
        }
        panic!("the keyboard does not come to '{name}'");
    }

    /// Whether the arrows do nothing else there.
    fn can_be_left(&self, ring: Rect) -> bool {
        let focused = self.h.query_all(By::new()).find(|n| n.is_focused());
        focused.is_some_and(|n| {
            n.rect() == ring
                && !matches!(n.accesskit_node().role(), Role::Slider | Role::TextInput)
                && !["mark.foot", "mark.top", "mark.line_one", "mark.line_other"]
                    .iter()
                    .any(|key| n.accesskit_node().label().as_deref() == Some(self.words.get(key)))
        })
    }
}
