//! What a picture of the lane says of light, shutter and rate.

use crate::capture::Frame;
use crate::panel::{Message, Number, PanelWords, PictureAdvice, PictureCheck};

/// A skater of this speed is taken for the blur, metres a second.
const SPEED_MPS: f64 = 5.0;
/// Darker and brighter than this a body is hard to tell from the ice; mean
/// brightness, 0 to 255. Proposals of this project.
const DARK: f64 = 50.0;
const BRIGHT: f64 = 215.0;
/// Share of pixels without detail that is worth a word.
const CLIPPED: f64 = 0.15;
/// A smear of this length is about half the width of a hand, millimetres;
/// proposal of this project.
const LARGEST_BLUR_MM: f64 = 15.0;
/// Below this a push of a third of a second has too few pictures, frames a
/// second.
const SLOW_FPS: f64 = 25.0;

/// What one picture, the rate of pictures and the shutter say. Where the
/// camera does not tell how long its shutter is open nothing is asserted about
/// the blur, but what it can be at most is said.
pub(super) fn picture_check(
    frame: &Frame,
    fps: Option<f64>,
    shutter_s: Option<f64>,
    words: &PanelWords,
) -> (PictureCheck, Vec<Message>) {
    let mut histogram = [0u64; 256];
    for p in frame.rgb.chunks_exact(3) {
        // Weights of ITU-R BT.601 in 1/256.
        let [r, g, b] = [p[0], p[1], p[2]].map(u32::from);
        histogram[((77 * r + 150 * g + 29 * b) >> 8).min(255) as usize] += 1;
    }
    let all = histogram.iter().sum::<u64>().max(1) as f64;
    let brightness = histogram
        .iter()
        .enumerate()
        .map(|(v, n)| v as f64 * *n as f64)
        .sum::<f64>()
        / all;
    let share = |range: std::ops::Range<usize>| histogram[range].iter().sum::<u64>() as f64 / all;
    let (black, white) = (share(0..3), share(253..256));
    let mut advice = Vec::new();
    let whole = |v: f64| Number(v, 0);
    if brightness < DARK {
        advice.push(Message::TooDark {
            brightness: whole(brightness),
        });
    }
    if white > CLIPPED || brightness > BRIGHT {
        advice.push(Message::TooWhite {
            percent: whole(100.0 * white),
        });
    }
    if black > CLIPPED {
        advice.push(Message::TooBlack {
            percent: whole(100.0 * black),
        });
    }
    if let Some(fps) = fps.filter(|fps| *fps < SLOW_FPS) {
        advice.push(Message::TooSlow { fps: whole(fps) });
    }
    let blur_mm = shutter_s.map(|open_s| 1000.0 * SPEED_MPS * open_s);
    if let (Some(blur_mm), Some(open_s)) = (blur_mm, shutter_s) {
        if blur_mm > LARGEST_BLUR_MM {
            advice.push(Message::ShutterSlow {
                part: whole(1.0 / open_s),
                speed: whole(SPEED_MPS),
                mm: whole(blur_mm),
            });
        }
    } else if let Some(fps) = fps {
        advice.push(Message::MayBlur {
            speed: whole(SPEED_MPS),
            mm: whole(1000.0 * SPEED_MPS / fps),
        });
    }
    let check = PictureCheck {
        brightness,
        clipped_share: black + white,
        fps,
        blur_mm,
        advice: advice
            .iter()
            .map(|a| PictureAdvice {
                sentence: a.say(words),
            })
            .collect(),
    };
    (check, advice)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn frame(rgb: [u8; 3]) -> Frame {
        Frame {
            rgb: rgb.repeat(64 * 36),
            ..blank()
        }
    }

    fn blank() -> Frame {
        Frame {
            seq: 0,
            captured_at_s: 0.0,
            width: 64,
            height: 36,
            rgb: Vec::new(),
        }
    }

    fn advice(check: &PictureCheck) -> Vec<&str> {
        check.advice.iter().map(|a| a.sentence.as_str()).collect()
    }

    fn check_of(frame: &Frame, fps: Option<f64>, shutter_s: Option<f64>) -> PictureCheck {
        picture_check(frame, fps, shutter_s, &PanelWords::english()).0
    }

    #[test]
    fn what_is_wrong_with_a_picture_is_said_with_numbers() {
        let good = check_of(&frame([120, 120, 120]), Some(60.0), None);
        assert!((good.brightness - 120.0).abs() < 1.0);
        assert_eq!((good.clipped_share, good.blur_mm), (0.0, None));
        assert_eq!(good.advice.len(), 1, "{:?}", good.advice);
        assert!(advice(&good)[0].contains("over 83 mm"), "{:?}", good.advice);

        // 5 m/s for 1/208 s are 24 mm, for 1/500 s 10 mm.
        let slow = check_of(&frame([120; 3]), Some(60.0), Some(0.0048));
        assert!((slow.blur_mm.unwrap() - 24.0).abs() < 1e-9);
        assert!(advice(&slow)[0].starts_with("Shutter too slow"));
        assert!(advice(&slow)[0].contains("1/208 s") && advice(&slow)[0].contains("24 mm"));
        let quick = check_of(&frame([120; 3]), Some(60.0), Some(0.002));
        assert_eq!((quick.blur_mm, quick.advice.len()), (Some(10.0), 0));

        let dark = check_of(&frame([1, 1, 1]), Some(12.0), None);
        let said = advice(&dark);
        assert!(said[0].starts_with("The picture is dark"), "{said:?}");
        assert!(
            said[1].starts_with("100 % of the picture is black"),
            "{said:?}"
        );
        assert!(said[2].starts_with("Only 12 pictures"), "{said:?}");
        let white = check_of(&frame([255, 255, 255]), None, None);
        assert_eq!(white.clipped_share, 1.0);
        assert!(advice(&white)[0].starts_with("100 % of the picture is white"));
    }
}
