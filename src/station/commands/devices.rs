//! `kickplate check` and `kickplate cameras`: what is connected and
//! installed.

use std::path::Path;
use std::time::{Duration, Instant};

use crate::capture::{CameraInfo, list_cameras};
use crate::pose::{EngineKind, Estimator, SHIPPED_MODELS};
use crate::sound::{SoundSettings, SoundState, Speaker};
use crate::station::commands::check::{self, CheckLine, CheckReport, Probe};
use crate::station::settings::choices::{EngineChoice, ModelChoice};
use crate::station::settings::{StationSettings, station_file};
use crate::station::vision::pose_settings;

/// How long the sound device may take to open.
const SOUND_PATIENCE: Duration = Duration::from_secs(3);

/// `kickplate cameras`: every camera with its stable id and what it offers.
///
/// # Errors
/// None; no camera is a sentence.
pub fn cameras() -> anyhow::Result<()> {
    let cameras = list_cameras();
    if cameras.is_empty() {
        println!("No camera found. Connect one; the station looks for it again by itself.");
    }
    for camera in cameras {
        println!("{}", camera.stable_id);
        println!("    {} at {}", camera.name, camera.node.display());
        for mode in &camera.modes {
            println!(
                "    {} {}x{} at {} a second",
                mode.fourcc, mode.width, mode.height, mode.fps
            );
        }
    }
    Ok(())
}

/// `kickplate check`: one page of what was found.
pub fn check_report() -> CheckReport {
    let mut probes = vec![Probe::new("camera", || camera_lines(&list_cameras()))];
    match crate::config::home() {
        Ok(home) => {
            let recordings = StationSettings::load(&station_file(&home))
                .map_err(|e| e.to_string())
                .and_then(|s| s.recordings_folder().map_err(|e| e.to_string()));
            let folder = home.clone();
            probes.push(Probe::new("engine", move || vec![engine_line(&folder)]));
            let folder = home.join("models");
            probes.push(Probe::new("models", move || {
                let models = SHIPPED_MODELS.map(|m| check::ModelFile {
                    name: m.file,
                    sha256: m.sha256,
                });
                check::model_lines(&folder, &models)
            }));
            let folder = home.join("sounds");
            probes.push(Probe::new("sound", move || vec![sound_line(&folder)]));
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
    probes.push(Probe::new("station", || {
        vec![check::running_line(
            crate::station::health::file().as_deref(),
        )]
    }));
    CheckReport::gather(probes)
}

fn camera_lines(cameras: &[CameraInfo]) -> Vec<CheckLine> {
    if cameras.is_empty() {
        return vec![CheckLine::warn(
            "camera",
            "none",
            "Connect a camera; a running station finds it by itself.",
        )];
    }
    cameras
        .iter()
        .map(|c| {
            let best = c.modes.first().map_or_else(
                || "it says nothing of its formats".to_owned(),
                |m| {
                    format!(
                        "{} {}x{} at {} a second",
                        m.fourcc, m.width, m.height, m.fps
                    )
                },
            );
            CheckLine::ok("camera", format!("{}: {best}", c.stable_id))
        })
        .collect()
}

fn engine_line(home: &Path) -> CheckLine {
    let settings = pose_settings(ModelChoice::Full, EngineChoice::Auto);
    match Estimator::new(home, settings) {
        Ok(estimator) => {
            let engine = estimator.engine();
            match engine.kind {
                EngineKind::Native => CheckLine::ok("engine", format!("native, {}", engine.why)),
                EngineKind::Embedded => CheckLine::warn(
                    "engine",
                    format!("embedded, {}", engine.why),
                    "It works, at a lower frame rate and without the second reader of the legs, so that fewer extensions are judged. './station' fetches the native library when there is a network.",
                ),
            }
        }
        Err(error) => CheckLine::missing("engine", "does not start", error.to_string()),
    }
}

fn sound_line(sounds: &Path) -> CheckLine {
    match sound_after(&Speaker::start(sounds, SoundSettings::default())) {
        SoundState::Ready => CheckLine::ok("sound", "the default device opens"),
        SoundState::Off => CheckLine::ok("sound", "off"),
        SoundState::NoSounds(why) => CheckLine::warn("sound", "no sound files", why),
        SoundState::NoDevice(why) => CheckLine::warn(
            "sound",
            format!("no device ({why})"),
            "Connect a loudspeaker; a running station finds it by itself. Cues are shown without sound.",
        ),
    }
}

/// How a speaker is once its device had time to open.
pub fn sound_after(speaker: &Speaker) -> SoundState {
    let since = Instant::now();
    loop {
        match speaker.state() {
            SoundState::NoDevice(_) if since.elapsed() < SOUND_PATIENCE => {
                std::thread::sleep(Duration::from_millis(50));
            }
            state => return state,
        }
    }
}
