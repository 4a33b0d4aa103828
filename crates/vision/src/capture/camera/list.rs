//! Which cameras are connected, and which one is meant.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError, TryLockError};
use std::thread;
use std::time::{Duration, Instant};

use nokhwa::utils::{ApiBackend, CameraIndex, FrameFormat, RequestedFormat, RequestedFormatType};
use nokhwa::{Camera, NokhwaError};

use super::super::{CameraFormat, CameraRequest, CaptureError};

/// Waiting for drivers to answer while cameras are listed.
const PATIENCE: Duration = Duration::from_secs(3);

/// A size, a rate and a format a camera offers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CameraMode {
    /// Format of the pictures: `MJPG`, `YUYV`, or another four-letter code,
    /// which this program cannot read.
    pub fourcc: String,
    /// Width, pixels.
    pub width: u32,
    /// Height, pixels.
    pub height: u32,
    /// Frames per second.
    pub fps: u32,
}

/// A connected camera.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CameraInfo {
    /// Names the same camera after a restart, when device numbers have
    /// moved: the system's name for it by its serial number, else by the
    /// socket it is plugged into. Cameras of one model that bear the same
    /// serial number are told apart by their sockets.
    pub stable_id: String,
    /// Device node of today, e.g. `/dev/video0`.
    pub node: PathBuf,
    /// What the camera calls itself.
    pub name: String,
    /// What it offers, best first. Empty when it cannot be asked now.
    pub modes: Vec<CameraMode>,
    /// Further names the system has for it.
    pub(super) other_ids: Vec<String>,
    /// Where the driver says it is plugged in.
    pub(super) socket: Option<String>,
    pub(super) index: u32,
}

/// Modes of cameras this process has open. They are listed from here and not
/// asked: asking opens the device, and that can disturb a running stream.
static IN_USE: Mutex<Vec<(u32, Answer)>> = Mutex::new(Vec::new());

/// What a camera says of itself when asked.
#[derive(Debug, Clone)]
pub(super) struct Answer {
    pub modes: Vec<CameraMode>,
    pub socket: Option<String>,
}

/// Held while a device is opened or asked. nokhwa shares one handle per
/// device within the process, so two at once would change each other's mode.
static OPENING: Mutex<()> = Mutex::new(());

/// Every connected camera, without nodes that give no pictures (UVC cameras
/// have a second one for metadata). Takes at most a few seconds.
pub fn list_cameras() -> Vec<CameraInfo> {
    let (sender, receiver) = crossbeam_channel::bounded(1);
    // In a thread, since a driver can hang in any of these calls.
    let spawned = thread::Builder::new()
        .name("camera-list".into())
        .spawn(move || {
            let _ = sender.send(list_asking());
        });
    if let Err(error) = spawned {
        tracing::warn!("cameras cannot be listed: {error}");
        return Vec::new();
    }
    receiver.recv_timeout(PATIENCE).unwrap_or_else(|_| {
        tracing::warn!(
            "a camera driver does not answer; cameras are listed without what they offer"
        );
        list_unasked()
    })
}

/// The camera nodes there are; opens nothing and takes no time.
pub(in crate::capture) fn nodes_now() -> Vec<std::ffi::OsString> {
    let mut nodes: Vec<_> = fs::read_dir("/dev")
        .into_iter()
        .flatten()
        .flatten()
        .map(|entry| entry.file_name())
        .filter(|name| name.to_str().is_some_and(|n| n.starts_with("video")))
        .collect();
    nodes.sort();
    nodes
}

/// The camera a request means.
pub(in crate::capture) fn find_camera(request: &CameraRequest) -> Result<CameraInfo, CaptureError> {
    let cameras = list_cameras();
    if cameras.is_empty() {
        return Err(CaptureError::NoCamera);
    }
    choose(cameras, request.id.as_deref())
}

fn choose(cameras: Vec<CameraInfo>, wanted: Option<&str>) -> Result<CameraInfo, CaptureError> {
    let found = || {
        cameras
            .iter()
            .map(|c| c.name.as_str())
            .collect::<Vec<_>>()
            .join(", ")
    };
    let position = match wanted {
        None => cameras.first().map(|_| 0),
        Some(wanted) => {
            // A path under /dev/v4l names a camera by its last part.
            let last = wanted.rsplit('/').next().unwrap_or(wanted);
            cameras
                .iter()
                .position(|c| {
                    let is = |id: &str| id == wanted || id == last;
                    is(&c.stable_id) || c.other_ids.iter().any(|id| is(id))
                })
                .or_else(|| cameras.iter().position(|c| c.node == Path::new(wanted)))
                .or_else(|| {
                    cameras
                        .iter()
                        .position(|c| c.name.eq_ignore_ascii_case(wanted))
                })
        }
    };
    match position {
        Some(position) => Ok(cameras[position].clone()),
        None => Err(CaptureError::CameraNotFound {
            wanted: wanted.unwrap_or("auto").to_owned(),
            found: found(),
        }),
    }
}

/// Names and nodes only; opens nothing.
fn list_unasked() -> Vec<CameraInfo> {
    let mut devices: Vec<(u32, String)> = match nokhwa::query(ApiBackend::Auto) {
        Ok(devices) => devices
            .iter()
            .filter_map(|device| Some((device.index().as_index().ok()?, device.human_name())))
            .collect(),
        Err(error) => {
            tracing::warn!("cameras cannot be listed: {error}");
            Vec::new()
        }
    };
    devices.sort();
    let mut cameras: Vec<CameraInfo> = Vec::new();
    let mut all_links = Vec::new();
    for (index, name) in devices {
        let node = PathBuf::from(format!("/dev/video{index}"));
        let links = Links {
            by_id: link_to(&node, Path::new("/dev/v4l/by-id")),
            by_path: link_to(&node, Path::new("/dev/v4l/by-path")),
        };
        cameras.push(CameraInfo {
            stable_id: String::new(),
            node,
            name,
            modes: Vec::new(),
            other_ids: Vec::new(),
            socket: None,
            index,
        });
        all_links.push(links);
    }
    name_by_links(&mut cameras, &all_links);
    cameras
}

/// The system's names for a node.
struct Links {
    by_id: Option<String>,
    by_path: Option<String>,
}

/// A link by serial number is worth nothing among cameras of one model with
/// the same number, as cheap ones have: it leads to whichever came last. Such
/// cameras show in that some of them have no such link.
fn name_by_links(cameras: &mut [CameraInfo], links: &[Links]) {
    let names: Vec<String> = cameras.iter().map(|c| c.name.clone()).collect();
    for (camera, link) in cameras.iter_mut().zip(links) {
        let twins_without = names
            .iter()
            .zip(links)
            .any(|(name, link)| *name == camera.name && link.by_id.is_none());
        let by_id = link.by_id.clone().filter(|_| !twins_without);
        let mut known = by_id.into_iter().chain(link.by_path.clone());
        camera.stable_id = known.next().unwrap_or_default();
        camera.other_ids = known.collect();
    }
}

fn list_asking() -> Vec<CameraInfo> {
    let mut cameras = list_unasked();
    cameras.retain_mut(|camera| match modes_of(camera.index) {
        Asked::Answered(answer) => {
            camera.modes = answer.modes;
            camera.socket = answer.socket;
            true
        }
        Asked::NoPictures => false,
        // Still a camera, and the person should see that it is there.
        Asked::Refused(error) => {
            tracing::debug!("camera '{}' cannot be asked: {error}", camera.name);
            true
        }
    });
    // After metadata nodes are out: they bear the camera's name as well.
    for at in 0..cameras.len() {
        if cameras[at].stable_id.is_empty() {
            let before = cameras[..at]
                .iter()
                .filter(|c| c.name == cameras[at].name)
                .count();
            cameras[at].stable_id = match &cameras[at].socket {
                Some(socket) => format!("{} at {socket}", cameras[at].name),
                None => format!("{}#{before}", cameras[at].name),
            };
        }
    }
    cameras
}

enum Asked {
    Answered(Answer),
    NoPictures,
    Refused(String),
}

fn modes_of(index: u32) -> Asked {
    let Some(_guard) = opening_guard() else {
        return Asked::Refused("another camera is being opened".into());
    };
    if let Some((_, answer)) = in_use().iter().find(|(used, _)| *used == index) {
        return Asked::Answered(answer.clone());
    }
    let any = [
        FrameFormat::MJPEG,
        FrameFormat::YUYV,
        FrameFormat::NV12,
        FrameFormat::GRAY,
        FrameFormat::RAWRGB,
        FrameFormat::RAWBGR,
    ];
    let request = RequestedFormat::with_formats(RequestedFormatType::None, &any);
    match Camera::new(CameraIndex::Index(index), request) {
        Ok(mut camera) => Asked::Answered(answer(&mut camera)),
        // nokhwa found no format at all: a metadata node, or an output.
        Err(NokhwaError::GetPropertyError { property, .. }) if property == "CameraFormat" => {
            Asked::NoPictures
        }
        Err(NokhwaError::GetPropertyError { property, .. }) if property == "FrameFormat" => {
            Asked::NoPictures
        }
        Err(error) => Asked::Refused(error.to_string()),
    }
}

/// What an open camera says of itself.
pub(super) fn answer(camera: &mut Camera) -> Answer {
    // nokhwa puts the driver's name for the socket here, and a version.
    let misc = camera.info().misc();
    let socket = misc.split(" (").next().unwrap_or_default().trim();
    Answer {
        socket: (!socket.is_empty()).then(|| socket.to_owned()),
        modes: modes(camera),
    }
}

/// What an open camera offers, large and fast first.
fn modes(camera: &mut Camera) -> Vec<CameraMode> {
    let mut modes: Vec<CameraMode> = camera
        .compatible_camera_formats()
        .unwrap_or_default()
        .iter()
        .map(|format| CameraMode {
            fourcc: fourcc(format.format()).to_owned(),
            width: format.width(),
            height: format.height(),
            fps: format.frame_rate(),
        })
        .collect();
    modes.sort_by_key(|m| {
        (
            std::cmp::Reverse((m.width * m.height, m.width, m.fps)),
            m.fourcc.clone(),
        )
    });
    modes.dedup();
    modes
}

fn fourcc(format: FrameFormat) -> &'static str {
    match format {
        FrameFormat::MJPEG => "MJPG",
        FrameFormat::YUYV => "YUYV",
        FrameFormat::NV12 => "NV12",
        FrameFormat::GRAY => "GREY",
        FrameFormat::RAWRGB => "RGB3",
        FrameFormat::RAWBGR => "BGR3",
    }
}

/// The readable mode that comes closest to what is asked for: the size
/// counts most, then not being slower, then the format, then not being much
/// faster.
pub(super) fn closest_mode<'a>(
    modes: &'a [CameraMode],
    request: &CameraRequest,
) -> Option<&'a CameraMode> {
    let preferred = match request.format {
        CameraFormat::Auto | CameraFormat::Mjpeg => "MJPG",
        CameraFormat::Yuyv => "YUYV",
    };
    modes
        .iter()
        .filter(|m| m.fourcc == "MJPG" || m.fourcc == "YUYV")
        .min_by_key(|m| {
            let off = m.width.abs_diff(request.width) + m.height.abs_diff(request.height);
            let other = m.fourcc != preferred;
            // A format that was asked for by name goes before the frame rate.
            let insisted = other && request.format != CameraFormat::Auto;
            (
                off,
                insisted,
                request.fps.saturating_sub(m.fps),
                other,
                m.fps.saturating_sub(request.fps),
            )
        })
}

/// Waits its turn to open a device; `None` when another opening hangs.
pub(super) fn opening_guard() -> Option<MutexGuard<'static, ()>> {
    let since = Instant::now();
    loop {
        match OPENING.try_lock() {
            Ok(guard) => return Some(guard),
            Err(TryLockError::Poisoned(poisoned)) => return Some(poisoned.into_inner()),
            Err(TryLockError::WouldBlock) if since.elapsed() < PATIENCE => {
                thread::sleep(Duration::from_millis(5))
            }
            Err(TryLockError::WouldBlock) => return None,
        }
    }
}

fn in_use() -> MutexGuard<'static, Vec<(u32, Answer)>> {
    IN_USE.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Marks a camera as open in this process until dropped.
pub(super) struct InUse(u32);

impl InUse {
    pub(super) fn mark(index: u32, answer: Answer) -> Self {
        in_use().push((index, answer));
        Self(index)
    }
}

impl Drop for InUse {
    fn drop(&mut self) {
        let mut used = in_use();
        if let Some(at) = used.iter().position(|(index, _)| *index == self.0) {
            used.remove(at);
        }
    }
}

/// Name of the link in `folder` that leads to `node`.
fn link_to(node: &Path, folder: &Path) -> Option<String> {
    let node = fs::canonicalize(node).ok()?;
    let mut names: Vec<String> = fs::read_dir(folder)
        .ok()?
        .flatten()
        .filter(|entry| fs::canonicalize(entry.path()).is_ok_and(|to| to == node))
        .map(|entry| entry.file_name().to_string_lossy().into_owned())
        .collect();
    // Several links lead to one node on newer systems; always the same one.
    names.sort();
    names.into_iter().next()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn camera(stable_id: &str, index: u32, name: &str) -> CameraInfo {
        CameraInfo {
            stable_id: stable_id.into(),
            node: format!("/dev/video{index}").into(),
            name: name.into(),
            modes: Vec::new(),
            other_ids: Vec::new(),
            socket: None,
            index,
        }
    }

    #[test]
    fn twins_with_one_serial_number_go_by_their_sockets() {
        let links = |by_id: Option<&str>, by_path: &str| Links {
            by_id: by_id.map(str::to_owned),
            by_path: Some(by_path.to_owned()),
        };
        let mut cameras = [
            camera("", 0, "Cheap"),
            camera("", 2, "Cheap"),
            camera("", 4, "Good"),
        ];
        name_by_links(
            &mut cameras,
            &[
                links(None, "socket-1"),
                links(Some("usb-Cheap_SN0001-index0"), "socket-2"),
                links(Some("usb-Good_77-index0"), "socket-3"),
            ],
        );
        let ids: Vec<&str> = cameras.iter().map(|c| c.stable_id.as_str()).collect();
        assert_eq!(ids, ["socket-1", "socket-2", "usb-Good_77-index0"]);
        let chosen = |wanted| choose(cameras.to_vec(), Some(wanted)).map(|c| c.index);
        assert!(
            chosen("usb-Cheap_SN0001-index0").is_err(),
            "either of the two may have this link"
        );
        assert_eq!(chosen("socket-2").expect("by its socket"), 2);
        assert_eq!(chosen("/dev/v4l/by-path/socket-3").expect("also so"), 4);
    }

    #[test]
    fn a_camera_is_found_by_id_node_or_name() {
        let cameras = || {
            vec![
                camera("usb-A-index0", 2, "Rink Cam"),
                camera("Other#0", 0, "Other"),
            ]
        };
        let chosen = |wanted: Option<&str>| choose(cameras(), wanted).map(|c| c.index);
        assert_eq!(chosen(None).expect("first"), 2);
        assert_eq!(chosen(Some("usb-A-index0")).expect("id"), 2);
        assert_eq!(
            chosen(Some("/dev/v4l/by-id/usb-A-index0")).expect("path"),
            2
        );
        assert_eq!(chosen(Some("/dev/video0")).expect("node"), 0);
        assert_eq!(chosen(Some("other")).expect("name"), 0);
        let error = chosen(Some("gone")).expect_err("not there");
        assert!(
            error.to_string().contains("Rink Cam, Other") && error.is_usage(),
            "{error}"
        );
    }

    #[test]
    fn the_closest_mode() {
        let mode = |fourcc: &str, width, height, fps| CameraMode {
            fourcc: fourcc.into(),
            width,
            height,
            fps,
        };
        let modes = [
            mode("H264", 1280, 720, 60),
            mode("MJPG", 1920, 1080, 30),
            mode("MJPG", 1280, 720, 60),
            mode("MJPG", 1280, 720, 30),
            mode("YUYV", 1280, 720, 10),
            mode("YUYV", 640, 480, 30),
        ];
        let ask = |width, height, fps, format| {
            let request = CameraRequest {
                id: None,
                width,
                height,
                fps,
                format,
            };
            closest_mode(&modes, &request).cloned()
        };
        assert_eq!(
            ask(1280, 720, 30, CameraFormat::Auto),
            Some(modes[3].clone())
        );
        assert_eq!(
            ask(1280, 720, 50, CameraFormat::Auto),
            Some(modes[2].clone())
        );
        assert_eq!(
            ask(1280, 720, 120, CameraFormat::Auto),
            Some(modes[2].clone())
        );
        assert_eq!(
            ask(1280, 720, 30, CameraFormat::Yuyv),
            Some(modes[4].clone())
        );
        assert_eq!(
            ask(640, 480, 30, CameraFormat::Mjpeg),
            Some(modes[5].clone())
        );
        assert_eq!(closest_mode(&modes[..1], &CameraRequest::default()), None);
    }
}
