//! Any text as `config/age-groups.toml`.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    let Ok(text) = std::str::from_utf8(data) else {
        return;
    };
    if let Ok(groups) = kickplate::rules::AgeGroups::from_toml(text, "age-groups.toml") {
        // What is taken is usable: every limit is a number.
        for group in kickplate::rules::AgeGroup::ALL {
            for limits in groups.thresholds(group).limits.values() {
                assert!(limits.at_least.is_none_or(f64::is_finite));
                assert!(limits.at_most.is_none_or(f64::is_finite));
            }
        }
    }
});
