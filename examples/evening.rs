//! The film of a whole evening at the panel, a picture after each step, drawn without a display:
//! `cargo run --example evening -- FOLDER [mouse|keyboard|touch [WIDTH HEIGHT INCHES [en|fr]]]`.
//! What is pressed happens in a real station over an empty folder; the skater is rendered.

#[path = "../tests/common/evening/mod.rs"]
mod evening;

use std::path::PathBuf;
use std::sync::Arc;

use evening::{Clip, Evening, Glass, Way, walk};

fn main() -> anyhow::Result<()> {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let folder = PathBuf::from(words.first().map_or(".", String::as_str));
    let way = match words.get(1).map(String::as_str) {
        Some("keyboard") => Way::Keyboard,
        Some("touch") => Way::Touch,
        _ => Way::Mouse,
    };
    let side = |i: usize, usual: u32| words.get(i).and_then(|w| w.parse().ok()).unwrap_or(usual);
    let inches = words.get(4).and_then(|w| w.parse().ok());
    let french = words.get(5).is_some_and(|w| w == "fr");
    std::fs::create_dir_all(&folder)?;
    let clip = Arc::new(Clip::read());
    let counted = walk(
        &clip,
        &Evening {
            way,
            glass: Glass {
                size: [side(2, 1920), side(3, 1080)],
                diagonal_in: inches.unwrap_or(15.6),
            },
            language: if french { "fr" } else { "en" },
            film: Some(folder),
        },
    );
    println!("{way:?}: {counted:?}");
    Ok(())
}
