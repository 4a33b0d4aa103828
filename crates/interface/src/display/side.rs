//! A second thing to look at: in a window of its own, or over the big screen
//! where there is one monitor only. What it shows is somebody else's.

use std::fmt;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use egui::{Key, Ui, ViewportBuilder, ViewportId, pos2};

/// It is drawn again after this long, for what has changed meanwhile.
const LOOK_AGAIN: Duration = Duration::from_millis(200);
/// Size of its window before anybody changes it, points.
const SIZE: [f32; 2] = [1280.0, 720.0];
/// How far from the corner of its monitor it opens, points.
const FROM_CORNER: f32 = 20.0;

/// Where it opens.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SidePlace {
    /// A window of its own where there is a second monitor or the big screen
    /// does not fill its own; else over the big screen.
    Auto,
    /// A window of its own.
    Own,
    /// Over the big screen.
    Over,
}

/// What is shown beside the big screen.
#[derive(Clone)]
pub struct SideWindow {
    /// Title of its window.
    pub title: String,
    /// Where it opens.
    pub place: SidePlace,
    /// Draws it; called in the window's thread, must not wait for anything.
    pub draw: Arc<dyn Fn(&mut Ui) + Send + Sync>,
}

impl fmt::Debug for SideWindow {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "SideWindow({}, {:?})", self.title, self.place)
    }
}

impl PartialEq for SideWindow {
    fn eq(&self, other: &Self) -> bool {
        self.title == other.title
            && self.place == other.place
            && Arc::ptr_eq(&self.draw, &other.draw)
    }
}

/// The name of its window inside of egui.
fn side_id() -> ViewportId {
    ViewportId::from_hash_of("beside the big screen")
}

/// The side window while the big screen runs.
pub(super) struct Side {
    window: SideWindow,
    open: Arc<AtomicBool>,
    /// Whether it is a window of its own; decided with the first frame.
    own: Option<bool>,
    at: Option<egui::Pos2>,
}

impl Side {
    pub(super) fn new(window: SideWindow) -> Self {
        Side {
            window,
            open: Arc::new(AtomicBool::new(false)),
            own: None,
            at: None,
        }
    }

    /// Whether it lies over the big screen now.
    pub(super) fn is_over(&self) -> bool {
        self.own == Some(false) && self.open.load(Ordering::Acquire)
    }

    /// Decides where it opens, opens and closes it by F2 or C, and keeps its
    /// window. To be called with every frame of the big screen.
    pub(super) fn keep(
        &mut self,
        ctx: &egui::Context,
        monitors: impl FnOnce() -> Monitors,
        fullscreen: bool,
    ) {
        if self.own.is_none() {
            let monitors = monitors();
            let own = match self.window.place {
                SidePlace::Own => true,
                SidePlace::Over => false,
                SidePlace::Auto => !fullscreen || monitors.count > 1,
            };
            self.own = Some(own);
            self.at = monitors.other;
            // Over the big screen it waits for its key: the skater comes first.
            self.open.store(own, Ordering::Release);
        }
        let typing = ctx.text_edit_focused();
        let asked = ctx.input(|i| {
            i.key_pressed(Key::F2) || (!typing && i.modifiers.is_none() && i.key_pressed(Key::C))
        });
        if asked {
            self.open.fetch_xor(true, Ordering::AcqRel);
        }
        if self.own == Some(true) && self.open.load(Ordering::Acquire) {
            self.show_own(ctx);
        }
    }

    fn show_own(&self, ctx: &egui::Context) {
        let mut builder = ViewportBuilder::default()
            .with_title(&self.window.title)
            .with_inner_size(SIZE);
        if let Some(at) = self.at {
            // A monitor of its own is filled.
            builder = builder.with_position(at).with_maximized(true);
        }
        let draw = Arc::clone(&self.window.draw);
        let open = Arc::clone(&self.open);
        ctx.show_viewport_deferred(side_id(), builder, move |ui, _| {
            let close = ui.input(|i| i.viewport().close_requested() || i.key_pressed(Key::F2));
            if close {
                open.store(false, Ordering::Release);
                ui.ctx().request_repaint_of(ViewportId::ROOT);
            }
            draw_guarded(&draw, ui);
        });
    }

    /// Draws it over the big screen.
    pub(super) fn draw_over(&self, ui: &mut Ui) {
        draw_guarded(&self.window.draw, ui);
    }
}

/// A fault in what is drawn here may not take the big screen with it.
fn draw_guarded(draw: &Arc<dyn Fn(&mut Ui) + Send + Sync>, ui: &mut Ui) {
    ui.ctx().request_repaint_after(LOOK_AGAIN);
    if catch_unwind(AssertUnwindSafe(|| draw(ui))).is_err() {
        tracing::error!("drawing beside the big screen failed; it is tried again");
    }
}

/// The monitors as far as they decide where the side window opens.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Monitors {
    count: usize,
    /// A corner of one the big screen is not on, points.
    other: Option<egui::Pos2>,
}

impl Monitors {
    /// Those the window of the big screen knows.
    pub(super) fn of(frame: &eframe::Frame) -> Self {
        let Some(window) = frame.winit_window() else {
            return Monitors::default();
        };
        let here = window.current_monitor();
        let other = window
            .available_monitors()
            .find(|m| Some(m) != here.as_ref());
        let corner = other.filter(|_| here.is_some()).map(|m| {
            let (place, scale) = (m.position(), m.scale_factor() as f32);
            pos2(
                place.x as f32 / scale + FROM_CORNER,
                place.y as f32 / scale + FROM_CORNER,
            )
        });
        Monitors {
            count: window.available_monitors().count(),
            other: corner,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn side(place: SidePlace) -> Side {
        Side::new(SideWindow {
            title: "beside".to_owned(),
            place,
            draw: Arc::new(|_| {}),
        })
    }

    fn frame(side: &mut Side, fullscreen: bool, key: Option<Key>) {
        let ctx = egui::Context::default();
        let events = key
            .map(|key| egui::Event::Key {
                key,
                physical_key: None,
                pressed: true,
                repeat: false,
                modifiers: egui::Modifiers::NONE,
            })
            .into_iter()
            .collect();
        let input = egui::RawInput {
            events,
            ..Default::default()
        };
        ctx.run_ui(input, |ui| {
            side.keep(ui.ctx(), Monitors::default, fullscreen)
        })
        .drop_without_applying_deltas();
    }

    #[test]
    fn over_the_big_screen_it_comes_and_goes_by_its_key() {
        let mut side = side(SidePlace::Auto);
        frame(&mut side, true, None);
        assert!(!side.is_over());
        frame(&mut side, true, Some(Key::F2));
        assert!(side.is_over());
        frame(&mut side, true, Some(Key::C));
        assert!(!side.is_over());
    }

    #[test]
    fn beside_a_window_it_is_a_window_and_never_over() {
        let mut side = side(SidePlace::Auto);
        frame(&mut side, false, None);
        assert!(side.open.load(Ordering::Acquire));
        assert!(!side.is_over());
    }

    #[test]
    fn a_fault_in_it_is_survived() {
        let draw: Arc<dyn Fn(&mut Ui) + Send + Sync> = Arc::new(|_| panic!("a fault"));
        let ctx = egui::Context::default();
        ctx.run_ui(egui::RawInput::default(), |ui| draw_guarded(&draw, ui))
            .drop_without_applying_deltas();
    }
}
