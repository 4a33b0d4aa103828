//! The coach's panel beside the big screen: its words and settings, the way
//! to the coach service.

use std::path::Path;
use std::sync::Arc;

use crate::config::ConfigError;
use crate::display::SideWindow;
use crate::panel::{PanelHost, PanelSetup, PanelWords};
use crate::station::coach_service::CoachService;
use crate::station::settings::Setup;

/// The panel as the big screen's window shows it; `None` where it is
/// switched off. `folder` is where files go that are named without one.
///
/// # Errors
/// A language file that cannot be used.
pub fn side_window(
    setup: &Setup,
    folder: &Path,
    service: &CoachService,
) -> Result<Option<SideWindow>, ConfigError> {
    let screen = &setup.station.screen;
    let words = PanelWords::load(&setup.home, screen.language)?;
    let (seen, told) = (service.clone(), service.clone());
    let host = PanelHost {
        setup: PanelSetup {
            words: Arc::new(words),
            screen_words: Arc::clone(&setup.look.words),
            units: screen.units,
            settings: setup.station.panel,
            folder: folder.to_owned(),
        },
        view: Arc::new(move || seen.view()),
        send: Arc::new(move |command| told.send(command)),
    };
    Ok(host.side_window())
}
