//! Any bytes as a `session.json` to import.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    let file = kickplate_fuzz::memory_file(data);
    if let Ok(session) = kickplate::store::SessionFile::read(&file.path) {
        // What was read can be written and read again, unchanged.
        let text = session.to_text().expect("readable, so writable");
        let again = kickplate_fuzz::memory_file(text.as_bytes());
        let back = kickplate::store::SessionFile::read(&again.path).expect("just written");
        assert_eq!(back.to_text().ok().as_deref(), Some(text.as_str()));
    }
});
