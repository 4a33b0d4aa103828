//! Any bytes as an MP4 recording, decoder included.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    kickplate_fuzz::lets_panics_of("/re_mp4-");
    // Only what the built-in reader takes: anything else starts a program.
    if data.get(4..8) != Some(b"ftyp") {
        return;
    }
    let file = kickplate_fuzz::memory_file(data);
    let spec = kickplate::capture::SourceSpec::File {
        path: file.path.clone(),
    };
    let Ok(mut source) = kickplate::capture::open(&spec) else {
        return;
    };
    let mut last_s = f64::NEG_INFINITY;
    for _ in 0..64 {
        let Ok(Some(frame)) = source.next_frame() else {
            break;
        };
        assert!(frame.captured_at_s.is_finite() && frame.captured_at_s >= last_s);
        assert_eq!(
            frame.rgb.len(),
            frame.width as usize * frame.height as usize * 3
        );
        last_s = frame.captured_at_s;
    }
});
