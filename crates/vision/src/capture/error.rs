//! What can go wrong while pictures are fetched.

use std::path::PathBuf;

/// Why a source could not be opened, or why it ended early.
///
/// Every message is one sentence that names the thing and says what to do;
/// a path stands where it reads best and is never left out.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum CaptureError {
    /// The text does not name a source.
    #[error(
        "'{text}' names no source: give 'camera', 'camera:NAME', or the path of a video file or a folder of pictures"
    )]
    BadSpec {
        /// What was given.
        text: String,
    },
    /// The path leads nowhere.
    #[error("there is no file or folder '{}': check the spelling of the path", path.display())]
    Missing {
        /// The path as given.
        path: PathBuf,
    },
    /// The file has no content.
    #[error("'{}' is empty (0 bytes): copy it again from where it was recorded", path.display())]
    Empty {
        /// The file.
        path: PathBuf,
    },
    /// The path is there, but it is neither a file nor (where one is asked
    /// for) a folder.
    #[error("'{}' is {found}: {remedy}", path.display())]
    WrongKind {
        /// The path as given.
        path: PathBuf,
        /// What is there.
        found: &'static str,
        /// What to give instead.
        remedy: &'static str,
    },
    /// The file is no video.
    #[error("'{}' is not a video ({detail}): give an MP4 file with H.264 video", path.display())]
    NotAVideo {
        /// The file.
        path: PathBuf,
        /// What it looks like.
        detail: String,
    },
    /// The file is no picture.
    #[error("'{}' is not a readable JPEG or PNG picture ({detail}): export it again or take it out", path.display())]
    NotAPicture {
        /// The file.
        path: PathBuf,
        /// What the decoder said.
        detail: String,
    },
    /// The folder holds no picture that can be read.
    #[error("no readable JPEG or PNG picture in the folder '{}' ({broken} broken): give a folder with pictures", path.display())]
    NoPictures {
        /// The folder.
        path: PathBuf,
        /// Files that bear the name of a picture and are none.
        broken: u64,
    },
    /// A picture or a frame has another size than those before.
    #[error(
        "'{}' is {width} x {height} pixels but the pictures before are {first_width} x {first_height}: \
         keep pictures of one size together", path.display()
    )]
    SizeChanged {
        /// The picture, or the video it is from.
        path: PathBuf,
        /// Width of this one, pixels.
        width: u32,
        /// Height of this one, pixels.
        height: u32,
        /// Width of the first one, pixels.
        first_width: u32,
        /// Height of the first one, pixels.
        first_height: u32,
    },
    /// The file says something of its pixels that no camera can have written.
    #[error(
        "'{}' says that its pixels are {ratio:.1} times as wide as high: convert it to square pixels \
         (ffmpeg -i FILE -vf scale=1280:720,setsar=1 OUT.mp4, with the width and height it is seen at)", path.display()
    )]
    PixelShape {
        /// The file.
        path: PathBuf,
        /// Width of a pixel over its height.
        ratio: f64,
    },
    /// The system refuses to read the file.
    #[error("cannot read '{}' ({source}): check that the disk is connected and that this user may read it", path.display())]
    Unreadable {
        /// The file or folder.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// The video breaks off or is damaged; what could be read was delivered.
    #[error("'{}' is damaged after {delivered} frames ({detail}): copy it again from where it was recorded", path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// Frames delivered before this.
        delivered: u64,
        /// What was found.
        detail: String,
    },
    /// Only ffmpeg can read this, and it is not installed.
    #[error(
        "'{}' holds {codec}, which needs ffmpeg: install it (sudo apt-get install ffmpeg) \
         or convert the video to MP4 with H.264", path.display()
    )]
    NeedsFfmpeg {
        /// The file.
        path: PathBuf,
        /// What is in it.
        codec: String,
    },
    /// ffmpeg was asked and gave up.
    #[error("ffmpeg cannot read '{}' ({detail}): convert the video to MP4 with H.264", path.display())]
    Ffmpeg {
        /// The file.
        path: PathBuf,
        /// Its last words.
        detail: String,
    },
    /// The decoder cannot be started.
    #[error("the H.264 decoder cannot start ({detail}): restart the program")]
    Decoder {
        /// What it said.
        detail: String,
    },
    /// No camera is connected.
    #[error("no camera is connected: plug one in and check its cable")]
    NoCamera,
    /// Cameras are connected, but not the one asked for.
    #[error(
        "camera '{wanted}' is not connected (connected: {found}): plug it in, or choose another one"
    )]
    CameraNotFound {
        /// What was asked for.
        wanted: String,
        /// Names of those that are there.
        found: String,
    },
    /// The camera cannot be opened.
    #[error(
        "camera '{name}' cannot be opened ({detail}): close other programs that use it, or unplug it and plug it in again"
    )]
    CameraOpen {
        /// Name of the camera.
        name: String,
        /// What the system said.
        detail: String,
    },
    /// The camera has no picture format this program can read.
    #[error("camera '{name}' offers neither MJPEG nor YUYV pictures: use another camera")]
    CameraFormat {
        /// Name of the camera.
        name: String,
    },
    /// The camera went away while it was running.
    #[error("camera '{name}' was lost ({detail}): check its cable and plug it in again")]
    CameraLost {
        /// Name of the camera.
        name: String,
        /// What the system said.
        detail: String,
    },
    /// The camera is there but sends nothing.
    #[error(
        "camera '{name}' has sent no picture for {silent_s:.1} s: check its cable and the USB port"
    )]
    CameraStalled {
        /// Name of the camera.
        name: String,
        /// Seconds since the last picture.
        silent_s: f64,
    },
    /// The camera driver hangs and will not let go.
    #[error(
        "the driver of camera '{name}' does not answer any more: unplug the camera and plug it in again, or restart the computer"
    )]
    CameraStuck {
        /// Name of the camera.
        name: String,
    },
}

impl CaptureError {
    /// Whether the person who gave the source has to give another one (a
    /// command line ends with 2), as opposed to a failure of a thing (1).
    pub fn is_usage(&self) -> bool {
        matches!(
            self,
            Self::BadSpec { .. }
                | Self::Missing { .. }
                | Self::Empty { .. }
                | Self::WrongKind { .. }
                | Self::NotAVideo { .. }
                | Self::NotAPicture { .. }
                | Self::NoPictures { .. }
                | Self::SizeChanged { .. }
                | Self::PixelShape { .. }
                | Self::CameraNotFound { .. }
        )
    }
}
