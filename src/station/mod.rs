//! The station: wires the rooms together and is what the commands call.

use anyhow::bail;

pub mod check;
pub mod logging;
mod options;
pub mod reference;
mod settings;

pub use options::{DemoOptions, EngineChoice, LiveOptions, ModelChoice, ReviewOptions, UsageError};
pub use settings::{
    CameraChoice, Setup, StationSettings, age_groups_file, default_file as default_station_file,
    station_file,
};

/// `kickplate`: the live station.
pub fn live(_: &LiveOptions) -> anyhow::Result<()> {
    bail!("the live station is not built yet")
}

/// `kickplate demo`.
pub fn demo(_: &DemoOptions) -> anyhow::Result<()> {
    bail!("the demo is not built yet")
}

/// `kickplate review`.
pub fn review(_: &ReviewOptions) -> anyhow::Result<()> {
    bail!("the review is not built yet")
}

/// `kickplate cameras`.
pub fn cameras() -> anyhow::Result<()> {
    bail!("the list of cameras is not built yet")
}

/// `kickplate check`: what was found. The devices, the engine and the models
/// are asked here once their rooms are built.
pub fn check_report() -> check::CheckReport {
    use check::{CheckLine, Probe};
    let mut probes = Vec::new();
    match crate::config::home() {
        Ok(home) => {
            let recordings = StationSettings::load(&station_file(&home))
                .map_err(|e| e.to_string())
                .and_then(|s| s.recordings_folder().map_err(|e| e.to_string()));
            probes.push(Probe::new("settings", move || check::settings_lines(&home)));
            if let Ok(folder) = recordings {
                probes.push(Probe::new("recordings", move || {
                    vec![check::recordings_line(&folder)]
                }));
            }
        }
        Err(e) => probes.push(Probe::new("program", move || {
            vec![CheckLine::missing("program", "no resources", e.to_string())]
        })),
    }
    probes.push(Probe::new("screen", || {
        let variable = |name| std::env::var(name).ok();
        vec![check::screen_line(
            variable("WAYLAND_DISPLAY").as_deref(),
            variable("DISPLAY").as_deref(),
        )]
    }));
    check::CheckReport::gather(probes)
}
