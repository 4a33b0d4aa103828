//! Any text as `config/station.toml`.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    let Ok(text) = std::str::from_utf8(data) else {
        return;
    };
    if let Err(error) =
        kickplate::station::StationSettings::from_toml(text, "station.toml", "/".as_ref())
    {
        assert!(!error.to_string().is_empty());
    }
});
