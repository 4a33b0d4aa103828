//! The dataset of a made-up club, to try `kickplate club-report` and other data tools on.
//!
//! ```text
//! cargo run --example club_dataset -- FOLDER [EVENINGS]
//! ```
//!
//! In FOLDER are then the recordings of two stations and `dataset`. With the 10 evenings
//! that it has without another number, it is the one that `tests/golden/club.json` tells of.

#![allow(
    clippy::unwrap_used,
    reason = "what it shares with the tests fails as they do"
)]

#[path = "../tests/common/club.rs"]
mod club_common;
#[path = "../tests/common/store.rs"]
mod store_common;

use std::path::PathBuf;

use anyhow::Context;

fn main() -> anyhow::Result<()> {
    let mut words = std::env::args_os().skip(1);
    let folder = PathBuf::from(words.next().context("name the folder to write")?);
    let evenings = match words.next() {
        Some(word) => word
            .to_string_lossy()
            .parse()
            .context("EVENINGS is a number")?,
        None => 10,
    };
    std::fs::create_dir_all(&folder)?;
    club_common::club(&folder, &folder.join("dataset"), evenings);
    println!("{}", folder.join("dataset").display());
    Ok(())
}
