//! A whole evening at the real panel in front of the real station, in three ways to press.

use std::sync::{Arc, LazyLock};

use crate::evening_common::{Clip, Counted, Evening, Glass, Way, walk};

/// The pose model reads the clip once.
static CLIP: LazyLock<Arc<Clip>> = LazyLock::new(|| Arc::new(Clip::read()));

fn evening(way: Way) -> Counted {
    let counted = walk(
        &CLIP,
        &Evening {
            way,
            glass: Glass {
                size: [1920, 1080],
                diagonal_in: 15.6,
            },
            language: "en",
            film: None,
        },
    );
    println!("{way:?}: {counted:?}");
    counted
}

#[test]
fn an_evening_with_the_mouse() {
    let counted = evening(Way::Mouse);
    assert_eq!(counted.drags, 6);
}

#[test]
fn an_evening_with_the_keyboard_alone() {
    let counted = evening(Way::Keyboard);
    assert!(counted.keys > 0 && counted.scrolls == 0);
}

#[test]
fn an_evening_with_a_glove() {
    let counted = evening(Way::Touch);
    assert_eq!(
        counted.keys,
        8 * 2 + 2,
        "only to empty a field before it is written"
    );
}
