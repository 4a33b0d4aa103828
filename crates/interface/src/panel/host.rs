//! The panel in its window: fetches the view, hands out what was done.

use std::sync::{Arc, Mutex, PoisonError};

use super::model::{Command, PanelView, PinState};
use super::settings::{PanelPlace, PanelSetup};
use super::state::PanelState;
use super::ui::panel_ui;
use crate::display::{SidePlace, SideWindow};

/// Inches to millimetres.
const MM_PER_INCH: f32 = 25.4;
/// Points of an inch where the monitor's size is not known: what desktops
/// assume.
const USUAL_POINTS_PER_INCH: f32 = 96.0;

/// What the panel's window needs of the station. Neither function may wait.
#[derive(Clone)]
pub struct PanelHost {
    /// Words, units, settings, folder.
    pub setup: PanelSetup,
    /// The newest view.
    pub view: Arc<dyn Fn() -> Arc<PanelView> + Send + Sync>,
    /// Takes a command; one that cannot be taken is answered in a view.
    pub send: Arc<dyn Fn(Command) + Send + Sync>,
}

impl PanelHost {
    /// The panel as the big screen's window shows it
    /// ([`crate::display::WindowOptions::side`]); `None` where it is switched
    /// off.
    pub fn side_window(self) -> Option<SideWindow> {
        let place = match self.setup.settings.window {
            PanelPlace::Auto => SidePlace::Auto,
            PanelPlace::Own => SidePlace::Own,
            PanelPlace::Same => SidePlace::Over,
            PanelPlace::Off => return None,
        };
        let title = format!("Kickplate: {}", self.setup.words.get("page.now"));
        let handle = self.setup.words.get("screen.open_panel").to_owned();
        let leave = self.setup.words.get("screen.leave").to_owned();
        let diagonal_in = self.setup.settings.screen_diagonal_in as f32;
        let today = || jiff::Zoned::now().date();
        let state = Mutex::new(PanelState::new(self.setup, today(), 0.0));
        let (view, send) = (self.view, self.send);
        let (seen, told) = (Arc::clone(&view), Arc::clone(&send));
        // Whoever closes the panel leaves it locked, where there is a PIN.
        let closed: Arc<dyn Fn() + Send + Sync> = Arc::new(move || {
            if seen().pin == PinState::Open {
                told(Command::Lock);
            }
        });
        Some(SideWindow {
            title,
            place,
            handle,
            leave,
            closed,
            draw: Arc::new(move |ui, over| {
                // Only the window's thread comes here; a drawing that failed
                // leaves its state as it was.
                let mut state = state.lock().unwrap_or_else(PoisonError::into_inner);
                let monitor = ui.input(|i| i.viewport().monitor_size);
                state.points_per_mm = points_per_mm(monitor, diagonal_in);
                state.today = today();
                state.over = over;
                let mut commands = vec![];
                panel_ui(ui, &mut state, &view(), &mut commands);
                commands.into_iter().for_each(|command| send(command));
                std::mem::take(&mut state.close_asked)
            }),
        })
    }
}

/// Points of a millimetre on a monitor of this many points across and down.
fn points_per_mm(monitor_points: Option<egui::Vec2>, diagonal_in: f32) -> f32 {
    let points = monitor_points.map_or(0.0, |m| m.length());
    if points > 1.0 && diagonal_in > 1.0 {
        points / (diagonal_in * MM_PER_INCH)
    } else {
        USUAL_POINTS_PER_INCH / MM_PER_INCH
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 1920 x 1080 on 15.6 inches are 141 points an inch; data sheets of such
    /// screens say so (from memory).
    #[test]
    fn points_follow_from_the_diagonal() {
        let is = points_per_mm(Some(egui::vec2(1920.0, 1080.0)), 15.6);
        assert!((is * MM_PER_INCH - 141.2).abs() < 0.1, "{is}");
        let unknown = points_per_mm(None, 15.6);
        assert!((unknown * MM_PER_INCH - 96.0).abs() < 1e-3);
    }
}
