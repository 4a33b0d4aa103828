//! How a camera or a film in its place is, in the panel's words.

use crate::capture::{CaptureError, FeedState, FeedStatus};
use crate::panel::{Message, Number};

/// How a source is, in the panel's words. `None`: what is wrong with a file in
/// the camera's place is told by the capture, in English.
pub(super) fn said_of(feed: &FeedStatus) -> Option<Message> {
    let name = feed.source.clone();
    Some(match (feed.state, feed.fault.as_deref()) {
        (_, Some(fault)) => return camera_fault(fault),
        (FeedState::Searching, None) => Message::CameraLookedFor {},
        (FeedState::Opening, None) => Message::CameraOpening { name },
        (FeedState::Live, None) => Message::CameraLive { name },
        (FeedState::Stalled, None) => Message::CameraSilent { name },
        (FeedState::Ended, None) => Message::SourceEnded { name },
        (FeedState::Stopped, None) => Message::SourceStopped {},
        (FeedState::Lost, None) => return None,
    })
}

fn camera_fault(fault: &CaptureError) -> Option<Message> {
    use CaptureError as E;
    Some(match fault {
        E::NoCamera => Message::CameraNone {},
        E::CameraNotFound { wanted, found } => Message::CameraAbsent {
            name: wanted.clone(),
            found: found.clone(),
        },
        E::CameraOpen { name, detail } => Message::CameraRefused {
            name: name.clone(),
            why: detail.clone(),
        },
        E::CameraFormat { name } => Message::CameraUnfit { name: name.clone() },
        E::CameraLost { name, detail } => Message::CameraGone {
            name: name.clone(),
            why: detail.clone(),
        },
        E::CameraStalled { name, silent_s } => Message::CameraQuiet {
            name: name.clone(),
            seconds: Number(*silent_s, 1),
        },
        E::CameraStuck { name } => Message::CameraStuck { name: name.clone() },
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::display::Language;
    use crate::panel::PanelWords;

    /// One of each fault a camera can have.
    fn camera_faults() -> Vec<CaptureError> {
        let (name, detail) = ("Rink".to_owned(), "Device or resource busy".to_owned());
        vec![
            CaptureError::NoCamera,
            CaptureError::CameraNotFound {
                wanted: name.clone(),
                found: "Other".to_owned(),
            },
            CaptureError::CameraOpen {
                name: name.clone(),
                detail: detail.clone(),
            },
            CaptureError::CameraFormat { name: name.clone() },
            CaptureError::CameraLost {
                name: name.clone(),
                detail,
            },
            CaptureError::CameraStalled {
                name: name.clone(),
                silent_s: 2.04,
            },
            CaptureError::CameraStuck { name },
        ]
    }

    #[test]
    fn every_fault_of_a_camera_is_said_in_both_languages_with_what_is_known_of_it() {
        let french = PanelWords::built_in(Language::Fr);
        let english = PanelWords::english();
        for fault in camera_faults() {
            let saying = camera_fault(&fault).unwrap_or_else(|| panic!("{fault}: no words"));
            let (fr, en) = (saying.say(&french), saying.say(&english));
            assert_ne!(fr, en);
            for known in ["Rink", "Other", "Device or resource busy"] {
                let there = fault.to_string().contains(known);
                assert_eq!(fr.contains(known), there, "{known}: {fr}");
                assert_eq!(en.contains(known), there, "{known}: {en}");
            }
        }
        let quiet = camera_fault(&CaptureError::CameraStalled {
            name: "Rink".to_owned(),
            silent_s: 2.04,
        });
        assert!(quiet.is_some_and(|s| s.say(&french).contains("2,0 s")));
    }

    #[test]
    fn a_fault_of_a_file_is_left_to_the_capture() {
        assert_eq!(
            camera_fault(&CaptureError::Decoder {
                detail: String::new()
            }),
            None
        );
    }
}
