//! Display: the big screen at the end of the lane, for the skater.
//!
//! Takes: one [`ScreenModel`] at a time, and a picture where there is one.
//! Gives: a full-screen window ([`run_big_screen`], driven through a
//! [`ScreenHandle`] from any thread) or, on a machine without a display, the
//! same picture as pixels ([`render_still`]).
//! Fails: a window that cannot be opened is a [`DisplayError`]. Drawing never
//! fails; text that had to become smaller than it may be, because the screen
//! is too small for its distance, is listed by [`LayoutReport::shortfalls`].
//!
//! The picture is a pure function of the model ([`big_screen_ui`]). Colours,
//! sizes and symbols' line widths stand in `theme`, words in the language
//! files (`lang/`, read by [`Words`]), and nowhere else.
//!
//! Reading at a distance decides everything here: sizes start as minutes of
//! arc at the eye of the farthest reader and become pixels through the height
//! of the glass. Nothing blinks. The figure of a card moves from how it was to how
//! it is wanted, three times, and rests; while somebody is in the lane nothing
//! moves.
//!
//! Only this module and the coach's panel know egui.

mod appearance;
mod caption;
mod card;
mod dwell;
mod gauge;
mod head;
mod layout;
mod leave;
mod lost;
mod model;
mod motion;
mod numbers;
mod overlay;
mod page;
mod people;
mod raster;
mod scale;
mod screen_handle;
mod scripts;
mod side;
mod skater;
mod states;
mod still;
mod theme;
mod typeset;
mod ui;
mod window;
mod words;

pub use crate::words::Language;
pub use appearance::{Appearance, SCREEN_KEYS, ScreenSettings, ShowMeKey, Theme, Units};
pub use caption::{OverlayInk, PlatePress};
pub use layout::{LayoutReport, PlacedGraphic, PlacedText, Reader};
pub use model::{
    CueDetail, CueOrder, Fault, PictureView, PreviewImage, Screen, ScreenGeometry, ScreenModel,
    ScreenPlace, SoundNote, StatusStrip,
};
pub use overlay::{AngleMark, Overlay, View as PictureShare};
pub use people::{People, Person};
pub use scale::{arcmin_of_mm, mm_of_arcmin};
pub use screen_handle::ScreenHandle;
pub use scripts::{fonts_for, visual_order};
pub use side::{SidePlace, SideWindow};
pub use still::{FramePainter, Still, render_png, render_still, render_ui};
pub use theme::{contrast_ratio, install_fonts};
pub use ui::big_screen_ui;
pub use window::{DisplayError, WindowOptions, run_big_screen};
pub use words::Words;
