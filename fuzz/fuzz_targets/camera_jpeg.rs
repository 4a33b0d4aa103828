//! Any bytes as one picture of an MJPEG camera.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    if let Ok(frame) = kickplate::capture::read_camera_jpeg(data) {
        assert_eq!(
            frame.rgb.len(),
            frame.width as usize * frame.height as usize * 3
        );
    }
});
