//! The table `[second_camera]` of the station file: a further camera on the
//! same lane, from another side.

use std::path::{Path, PathBuf};

use crate::config::{Absent, ConfigError, Key, Kind, Section};
use crate::station::settings;

const CAMERA: Key = Key {
    name: "camera",
    kind: Kind::Text,
    absent: Absent::Means("there is no second camera"),
    example: "\"usb-Rink_Camera_2-video-index0\"",
    what: "The second camera: the stable id that 'kickplate cameras' prints. It looks at the same lane from another side; passes of one skater are put together, and each quantity is taken from the camera that sees it best. The cue comes once both have seen the pass.",
};
const LANE: Key = Key::with_default(
    "lane",
    Kind::Text,
    "\"lane-front.toml\"",
    "How the second camera stands; a path that is not absolute starts at the folder of this file.",
);
const WIDTH: Key = settings::width("Picture width asked of the second camera, pixels.");
const HEIGHT: Key = settings::height("Picture height asked of the second camera, pixels.");
const FPS: Key = settings::fps("Pictures a second asked of the second camera.");

/// Every key of the table `[second_camera]`.
pub const SECOND_CAMERA_KEYS: [&Key; 5] = [&CAMERA, &LANE, &WIDTH, &HEIGHT, &FPS];

/// A further camera on the same lane.
#[derive(Debug, Clone, PartialEq)]
pub struct SecondCamera {
    /// Its stable id.
    pub id: String,
    /// Its lane file.
    pub lane: PathBuf,
    /// Picture width asked of it, pixels.
    pub width: u32,
    /// Picture height asked of it, pixels.
    pub height: u32,
    /// Pictures a second asked of it.
    pub fps: u32,
}

impl SecondCamera {
    /// Reads and checks the table; `folder` is where paths in it start.
    /// `None` where no camera is named.
    pub fn from_section(section: &Section<'_>, folder: &Path) -> Result<Option<Self>, ConfigError> {
        section.only(&SECOND_CAMERA_KEYS.map(|k| k.name))?;
        let lane = folder.join(section.declared_text(&LANE)?.unwrap_or_default());
        let (width, height) = (
            section.declared_whole(&WIDTH)?,
            section.declared_whole(&HEIGHT)?,
        );
        let fps = section.declared_whole(&FPS)?;
        Ok(section.declared_text(&CAMERA)?.map(|id| SecondCamera {
            id,
            lane,
            width,
            height,
            fps,
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::Document;

    fn read(text: &str) -> Result<Option<SecondCamera>, String> {
        let document = Document::parse(text, "s.toml").unwrap();
        SecondCamera::from_section(&document.root(), Path::new("/s/config"))
            .map_err(|e| e.to_string())
    }

    #[test]
    fn without_a_name_there_is_no_second_camera() {
        assert_eq!(read(""), Ok(None));
        assert_eq!(read("fps = 60\n"), Ok(None));
    }

    #[test]
    fn a_named_camera_has_the_front_lane_by_default() {
        let camera = read("camera = \"usb-2\"\n").unwrap().unwrap();
        assert_eq!(camera.lane, Path::new("/s/config/lane-front.toml"));
        assert_eq!((camera.width, camera.height, camera.fps), (1280, 720, 30));
    }

    #[test]
    fn a_fault_names_line_and_key() {
        assert_eq!(
            read("camera = \"usb-2\"\nfps = 500\n").unwrap_err(),
            "s.toml, line 2: fps = 500 is out of range; it must be between 5 and 120"
        );
    }
}
