//! What needs a process of its own to be tested: a camera made of software is
//! loaded before the system's libraries, ALSA reads its configuration once, a
//! program that is killed has to be another one.
//!
//! `rig PART` runs one part and fails as a test does. The tests that start it are in
//! `tests/rig/`.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

mod camera;
mod sound_card;
#[path = "../../../tests/common/store.rs"]
mod store_common;
mod writer;

pub use sound_card::WORD_HZ;

/// Width of the virtual camera's pictures, pixels.
pub const WIDTH: u32 = 320;
/// Height of the virtual camera's pictures, pixels.
pub const HEIGHT: u32 = 180;
/// How many pictures the virtual camera has; then the first comes again.
pub const PICTURES: u8 = 30;
/// Distance in red between one picture and the next.
pub const STEP: u8 = 8;

/// A part by its name.
pub fn part(name: &str) -> Option<fn()> {
    let part: fn() = match name {
        "lists_and_streams" => camera::lists_and_streams,
        "shutter_by_hand" => camera::shutter_by_hand,
        "shutter_unknown" => camera::shutter_unknown,
        "plain_pictures" => camera::plain_pictures,
        "unplugged_and_plugged_in_again" => camera::unplugged_and_plugged_in_again,
        "absent_at_the_start" => camera::absent_at_the_start,
        "silent_but_still_there" => camera::silent_but_still_there,
        "silent_from_the_first_moment" => camera::silent_from_the_first_moment,
        "damaged_pictures" => camera::damaged_pictures,
        "unplugged_many_times" => camera::unplugged_many_times,
        "another_number_and_format" => camera::another_number_and_format,
        "two_cameras_of_one_model" => camera::two_cameras_of_one_model,
        "the_wall_clock_is_set_back" => camera::the_wall_clock_is_set_back,
        "plays_everything" => sound_card::plays_everything,
        "plays_words" => sound_card::plays_words,
        "hears_a_word" => sound_card::hears_a_word,
        "has_no_microphone" => sound_card::has_no_microphone,
        "waits_for_a_card" => sound_card::waits_for_a_card,
        "has_a_stalling_card" => sound_card::has_a_stalling_card,
        "writes_until_killed" => writer::writes_until_killed,
        _ => return None,
    };
    Some(part)
}
