//! Any text as a marks file, through the fit of the camera.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    let Ok(text) = std::str::from_utf8(data) else {
        return;
    };
    if let Ok(scale) = kickplate::station::scale_of(text, "marks.toml") {
        assert!(!scale.lane_file.contains("NaN"), "{}", scale.lane_file);
    }
});
