//! Settings: files a person can edit, resolved into validated types.
//!
//! Takes: TOML text. Two stages: a [`Document`] that knows the place of every
//! key, then a resolved type whose values are all checked.
//! Gives: [`Lane`], and the means the later rooms read their own settings
//! with ([`crate::rules::AgeGroups`], [`crate::station::StationSettings`]);
//! the folders ([`home`], [`settings_folder`], [`data_folder`]); [`write_atomically`];
//! [`EditedFile`], which changes values and leaves the rest of a file alone.
//! Fails: with a [`ConfigError`] that names file, line and key, and says what
//! would be right. Nothing is half-applied.

mod atomic;
mod document;
mod edit;
mod error;
mod key;
mod lane;
mod lane_errors;
mod lane_file;
mod places;
mod settings;
mod version;

pub use atomic::{private_folder, sync_folder_of, write_atomically};
pub use document::{Document, Section, read_text};
pub use edit::{Edit, EditedFile, Written, edit_toml};
pub use error::{ConfigError, Problem};
pub use key::{Absent, Key, Kind};
pub use key::{markdown_table, wrapped_comment};
pub use lane::{Lane, Subject, Travel, View};
pub(crate) use lane_errors::each_pair;
pub use lane_errors::{LANE_ERROR_KEYS, LaneErrors, PAIRS, UNSURE};
pub use lane_file::LANE_KEYS;
pub use places::{HOME_VARIABLE, PlaceError, data_folder, home, settings_folder};
pub use version::{FORMAT_KEY, Step, brought_up, in_written_lines, renamed, without};
