//! Any text as a lane file.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    let Ok(text) = std::str::from_utf8(data) else {
        return;
    };
    if let Ok(lane) = kickplate::config::Lane::from_toml(text, "lane.toml") {
        let _ = kickplate::geometry::Camera::of_lane(&lane, 1280, 720);
    }
});
