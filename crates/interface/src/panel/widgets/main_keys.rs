//! Which keys are the thing to press on the page: for the keyboard, and for tests.

use egui::{Id, Rect, Ui};

/// The main keys of a frame.
#[derive(Clone, Default)]
struct MainKeys {
    frame: u64,
    keys: Vec<(String, Rect, Id)>,
}

fn main_keys_id() -> Id {
    Id::unique("the panel's main keys")
}

/// Notes one, as it is drawn.
pub(super) fn note_main(ui: &Ui, name: &str, rect: Rect, id: Id) {
    let frame = ui.ctx().cumulative_frame_nr();
    ui.data_mut(|d| {
        let keys: &mut MainKeys = d.get_temp_mut_or_default(main_keys_id());
        if keys.frame != frame {
            keys.frame = frame;
            keys.keys.clear();
        }
        keys.keys.push((name.to_owned(), rect, id));
    });
}

/// The keys that are the thing to press, as they were drawn last.
pub(in crate::panel) fn main_keys(ctx: &egui::Context) -> Vec<(String, Rect, Id)> {
    let keys: Option<MainKeys> = ctx.data(|d| d.get_temp(main_keys_id()));
    let frame = ctx.cumulative_frame_nr();
    keys.filter(|k| k.frame + 1 >= frame)
        .map_or_else(Vec::new, |k| k.keys)
}
