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
/// Side of the handle as a share of the screen's height, and the least of it
/// in points: 15 mm at 96 points an inch.
const HANDLE_SHARE: f32 = 0.08;
const HANDLE_LEAST: f32 = 57.0;
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

/// Draws the side window, told whether it lies over the big screen; gives
/// whether it is to be closed.
pub type DrawSide = dyn Fn(&mut Ui, bool) -> bool + Send + Sync;

/// What is shown beside the big screen.
#[derive(Clone)]
pub struct SideWindow {
    /// Title of its window.
    pub title: String,
    /// Where it opens.
    pub place: SidePlace,
    /// Draws it; called in the window's thread, must not wait for anything.
    pub draw: Arc<DrawSide>,
    /// Called when it was closed.
    pub closed: Arc<dyn Fn() + Send + Sync>,
    /// What a screen reader says of the handle that opens it.
    pub handle: String,
    /// What is said when leaving the station was asked for once.
    pub leave: String,
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

    /// Whether it waits to be opened.
    pub(super) fn is_closed(&self) -> bool {
        self.own.is_some() && !self.open.load(Ordering::Acquire)
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
        if asked && self.open.fetch_xor(true, Ordering::AcqRel) {
            (self.window.closed)();
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
        let closed = Arc::clone(&self.window.closed);
        ctx.show_viewport_deferred(side_id(), builder, move |ui, _| {
            let close = ui.input(|i| i.viewport().close_requested() || i.key_pressed(Key::F2));
            if draw_guarded(&draw, ui, false) || close {
                open.store(false, Ordering::Release);
                closed();
                ui.ctx().request_repaint_of(ViewportId::ROOT);
            }
        });
    }

    /// Draws it over the big screen.
    pub(super) fn draw_over(&self, ui: &mut Ui) {
        if draw_guarded(&self.window.draw, ui, true) {
            self.open.store(false, Ordering::Release);
            (self.window.closed)();
            ui.ctx().request_repaint();
        }
    }

    /// The corner of the big screen by which a finger opens it where there is
    /// no key and no second monitor: small and dim, and always there.
    pub(super) fn handle(&mut self, ui: &mut Ui) {
        if self.own != Some(false) {
            return;
        }
        let room = ui.max_rect();
        let side = (room.height() * HANDLE_SHARE).max(HANDLE_LEAST);
        let rect = egui::Rect::from_min_max(room.max - egui::Vec2::splat(side), room.max);
        let response = ui.interact(rect, ui.scope_id().with("handle"), egui::Sense::click());
        let name = &self.window.handle;
        response
            .widget_info(|| egui::WidgetInfo::labeled(egui::accesskit::Role::Button, true, name));
        let held = response.is_pointer_button_down_on();
        let ink = egui::Color32::from_gray(if held { 220 } else { 110 });
        // Three lines in the corner, as wide as they are near it.
        for i in 1..=3 {
            let by = side * (0.14 + 0.14 * i as f32);
            let ends = [
                pos2(rect.right() - by, rect.bottom() - side * 0.08),
                pos2(rect.right() - side * 0.08, rect.bottom() - by),
            ];
            ui.painter()
                .line_segment(ends, egui::Stroke::new(side * 0.05, ink));
        }
        if response.clicked() {
            self.open.store(true, Ordering::Release);
            ui.ctx().request_repaint();
        }
    }

    /// What is said when leaving was asked for once.
    pub(super) fn leave_words(&self) -> &str {
        &self.window.leave
    }
}

/// A fault in what is drawn here may not take the big screen with it.
fn draw_guarded(draw: &Arc<DrawSide>, ui: &mut Ui, over: bool) -> bool {
    ui.ctx().request_repaint_after(LOOK_AGAIN);
    catch_unwind(AssertUnwindSafe(|| draw(ui, over))).unwrap_or_else(|_| {
        tracing::error!("drawing beside the big screen failed; it is tried again");
        false
    })
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
            draw: Arc::new(|_, _| false),
            closed: Arc::new(|| {}),
            handle: "open".to_owned(),
            leave: "again".to_owned(),
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

    /// A finger alone opens it: a touch at the corner, and nowhere else.
    #[test]
    fn the_corner_opens_it_by_touch() {
        let size = egui::vec2(800.0, 480.0);
        let touch = |side: &mut Side, at: egui::Pos2| {
            let ctx = egui::Context::default();
            for pressed in [None, Some(true), Some(false)] {
                let mut events = vec![egui::Event::PointerMoved(at)];
                events.extend(pressed.map(|pressed| egui::Event::PointerButton {
                    pos: at,
                    button: egui::PointerButton::Primary,
                    pressed,
                    modifiers: egui::Modifiers::NONE,
                }));
                let input = egui::RawInput {
                    events,
                    screen_rect: Some(egui::Rect::from_min_size(egui::Pos2::ZERO, size)),
                    ..Default::default()
                };
                ctx.run_ui(input, |ui| side.handle(ui))
                    .drop_without_applying_deltas();
            }
        };
        let mut side = side(SidePlace::Auto);
        frame(&mut side, true, None);
        touch(&mut side, pos2(400.0, 240.0));
        assert!(!side.is_over());
        touch(&mut side, pos2(780.0, 460.0));
        assert!(side.is_over());
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
        let draw: Arc<DrawSide> = Arc::new(|_, _| panic!("a fault"));
        let ctx = egui::Context::default();
        ctx.run_ui(egui::RawInput::default(), |ui| {
            assert!(!draw_guarded(&draw, ui, true));
        })
        .drop_without_applying_deltas();
    }
}
