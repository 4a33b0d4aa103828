//! Videos read by an `ffmpeg` child process.
//!
//! ffmpeg writes plain RGB pictures to its standard output and, through its
//! `showinfo` filter, one line per picture with size and show time to its
//! standard error. Two threads read the two; both end when the child does,
//! and the child is killed and reaped when the source is dropped.

use std::ffi::OsStr;
use std::io::{BufRead, BufReader, ErrorKind, Read};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStderr, ChildStdout, Command, Stdio};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use crossbeam_channel::{Receiver, RecvTimeoutError, Sender, bounded};

use super::pixel_shape::PixelShape;
use crate::capture::source::file_name;
use crate::capture::spare::Spares;
use crate::capture::{CaptureError, Frame, Source, SourceInfo, SourceKind};

const PROGRAM: &str = "ffmpeg";

/// ffmpeg may be silent for this long before it is given up. Opening a long
/// file from a slow disk takes seconds.
const SILENCE: Duration = Duration::from_secs(20);

/// Picture lines read ahead. Far more than ffmpeg filters ahead of what it
/// writes, so that neither thread can wait for the other.
const LINES_AHEAD: usize = 256;

/// Pictures read ahead; each is some megabytes.
const PICTURES_AHEAD: usize = 2;

/// Words of ffmpeg about a file that breaks off. The first two were seen with
/// MP4 and AVI files cut short (ffmpeg 5.1.9), the third is from memory. A
/// Matroska file cut short draws no complaint at all and just ends.
const BREAKS_OFF: [&str; 3] = ["partial file", "corrupt input packet", "ended prematurely"];

/// What ffmpeg complained of.
#[derive(Debug, Default)]
struct Complaints {
    last: Option<String>,
    /// The first one that says that the file breaks off.
    breaks_off: Option<String>,
}

impl Complaints {
    fn note(&mut self, line: &str) {
        let words = |mark: &str| {
            let words = line.split_once(mark)?.1.trim().trim_end_matches('.');
            (!words.is_empty()).then(|| words.to_owned())
        };
        let error = words("[error] ").or_else(|| words("[fatal] "));
        if let Some(words) = error.clone().or_else(|| words("[warning] "))
            && BREAKS_OFF.iter().any(|mark| words.contains(mark))
        {
            self.breaks_off.get_or_insert(words);
        }
        if error.is_some() {
            self.last = error;
        }
    }
}

/// One line of the `showinfo` filter.
#[derive(Debug, Clone, Copy, PartialEq)]
struct PictureLine {
    time_s: Option<f64>,
    width: u32,
    height: u32,
    shape: PixelShape,
}

/// A running child process that decodes one file.
pub(super) struct FfmpegSource {
    path: PathBuf,
    info: SourceInfo,
    child: Child,
    pictures: Option<Receiver<std::io::Result<Vec<u8>>>>,
    lines: Option<Receiver<PictureLine>>,
    /// Tells the picture reader how large pictures are. Held here, since the
    /// reader waits for it and is joined in `shut_down`.
    size: Option<Sender<(u32, u32)>>,
    threads: Vec<JoinHandle<()>>,
    complaints: Arc<Mutex<Complaints>>,
    first: Option<PictureLine>,
    origin_s: f64,
    last_time_s: f64,
    delivered: u64,
    ended: bool,
    /// Shape of the pixels, and their size as ffmpeg gives them.
    shape: PixelShape,
    coded: (u32, u32),
    spares: Spares,
}

/// Whether the program can be started.
pub(super) fn is_installed() -> bool {
    Command::new(PROGRAM)
        .arg("-version")
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .is_ok_and(|status| status.success())
}

impl FfmpegSource {
    /// Starts ffmpeg and waits for the first picture. `codec` says in words
    /// what the file holds, for the message when ffmpeg is missing.
    pub(super) fn open(path: &Path, codec: &str) -> Result<Self, CaptureError> {
        Self::open_with(OsStr::new(PROGRAM), path, codec)
    }

    fn open_with(program: &OsStr, path: &Path, codec: &str) -> Result<Self, CaptureError> {
        let failed = |detail: String| CaptureError::Ffmpeg {
            path: path.to_owned(),
            detail,
        };
        let mut url = std::ffi::OsString::from("file:");
        url.push(path);
        let mut child = Command::new(program)
            .args([
                "-nostdin",
                "-hide_banner",
                "-nostats",
                "-loglevel",
                "level+info",
            ])
            // A playlist in disguise must not make it fetch anything.
            .args(["-protocol_whitelist", "file"])
            .arg("-i")
            .arg(url)
            .args([
                "-map",
                "0:v:0",
                "-an",
                "-sn",
                "-dn",
                "-vf",
                "showinfo=checksum=0",
            ])
            // The exact conversion, as the built-in decoder's; the default one
            // is half a step too dark.
            .args(["-sws_flags", "neighbor+accurate_rnd+full_chroma_int"])
            // Every picture once, at its own time: no doubling, no dropping.
            .args([
                "-vsync",
                "passthrough",
                "-pix_fmt",
                "rgb24",
                "-f",
                "rawvideo",
                "pipe:1",
            ])
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .map_err(|error| match error.kind() {
                ErrorKind::NotFound => CaptureError::NeedsFfmpeg {
                    path: path.to_owned(),
                    codec: codec.to_owned(),
                },
                _ => failed(format!("it cannot be started: {error}")),
            })?;

        let (line_sender, lines) = bounded(LINES_AHEAD);
        let (fps_sender, fps) = bounded(1);
        let (size_sender, size) = bounded(1);
        let (picture_sender, pictures) = bounded(PICTURES_AHEAD);
        let complaints = Arc::new(Mutex::new(Complaints::default()));
        let mut threads = Vec::new();
        if let Some(stderr) = child.stderr.take() {
            let complaints = Arc::clone(&complaints);
            threads.push(thread::spawn(move || {
                read_lines(stderr, &line_sender, &fps_sender, &complaints)
            }));
        }
        if let Some(stdout) = child.stdout.take() {
            threads.push(thread::spawn(move || {
                read_pictures(stdout, &size, &picture_sender)
            }));
        }
        // From here on dropping `source` cleans up the child and the threads.
        let mut source = Self {
            path: path.to_owned(),
            info: SourceInfo {
                name: file_name(path),
                kind: SourceKind::Video,
                width: 0,
                height: 0,
                nominal_fps: None,
                frame_count: None,
                skipped: 0,
            },
            child,
            pictures: Some(pictures),
            lines: Some(lines),
            size: Some(size_sender),
            threads,
            complaints,
            first: None,
            origin_s: 0.0,
            last_time_s: 0.0,
            delivered: 0,
            ended: false,
            shape: PixelShape::SQUARE,
            coded: (0, 0),
            spares: Spares::default(),
        };
        let Some(first) = source.next_line()? else {
            let detail = source
                .last_words()
                .unwrap_or_else(|| "it holds no video".into());
            return Err(CaptureError::NotAVideo {
                path: path.to_owned(),
                detail: format!("ffmpeg says: {detail}"),
            });
        };
        source.shape = first.shape.checked(path)?;
        source.coded = (first.width, first.height);
        (source.info.width, source.info.height) =
            (source.shape.width_of(first.width), first.height);
        source.info.nominal_fps = fps.try_recv().ok();
        source.origin_s = first.time_s.unwrap_or(0.0);
        source.first = Some(first);
        let told = source
            .size
            .take()
            .is_some_and(|size| size.send((first.width, first.height)).is_ok());
        if first.width == 0 || first.height == 0 || !told {
            return Err(failed("it gives no picture size".into()));
        }
        Ok(source)
    }

    /// The next picture's line, `None` when ffmpeg has ended.
    fn next_line(&self) -> Result<Option<PictureLine>, CaptureError> {
        let Some(lines) = &self.lines else {
            return Ok(None);
        };
        match lines.recv_timeout(SILENCE) {
            Ok(line) => Ok(Some(line)),
            Err(RecvTimeoutError::Disconnected) => Ok(None),
            Err(RecvTimeoutError::Timeout) => Err(self.silent()),
        }
    }

    fn silent(&self) -> CaptureError {
        CaptureError::Ffmpeg {
            path: self.path.clone(),
            detail: format!("it has said nothing for {} s", SILENCE.as_secs()),
        }
    }

    fn damaged(&self, words: &str) -> CaptureError {
        CaptureError::Damaged {
            path: self.path.clone(),
            delivered: self.delivered,
            detail: format!("ffmpeg says: {words}"),
        }
    }

    fn last_words(&self) -> Option<String> {
        self.complaints().last.clone()
    }

    fn complaints(&self) -> std::sync::MutexGuard<'_, Complaints> {
        self.complaints
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
    }

    /// Kills the child if it still runs and takes its end off the system's
    /// list; then both threads see the end of their pipe.
    fn shut_down(&mut self) -> Option<std::process::ExitStatus> {
        self.pictures = None;
        self.lines = None;
        self.size = None;
        // Fails only when the child has ended, which is as good.
        let _ = self.child.kill();
        let status = self.child.wait().ok();
        for thread in self.threads.drain(..) {
            if thread.join().is_err() {
                tracing::warn!(
                    "a reader of ffmpeg's output for '{}' panicked",
                    self.path.display()
                );
            }
        }
        status
    }

    fn step(&mut self) -> Result<Option<Frame>, CaptureError> {
        let line = match self.first.take() {
            Some(first) => first,
            None => match self.next_line()? {
                Some(line) => line,
                None => return self.check_end(),
            },
        };
        if (line.width, line.height) != self.coded {
            return Err(CaptureError::SizeChanged {
                path: self.path.clone(),
                width: line.width,
                height: line.height,
                first_width: self.coded.0,
                first_height: self.coded.1,
            });
        }
        let Some(pictures) = &self.pictures else {
            return Ok(None);
        };
        let rgb = match pictures.recv_timeout(SILENCE) {
            Ok(Ok(rgb)) => rgb,
            Ok(Err(_)) | Err(RecvTimeoutError::Disconnected) => return self.check_end(),
            Err(RecvTimeoutError::Timeout) => return Err(self.silent()),
        };
        let step_s = 1.0 / self.info.nominal_fps.unwrap_or(30.0);
        let stated_s = line.time_s.map(|t| t - self.origin_s);
        let time_s = match (self.delivered, stated_s) {
            (0, _) => 0.0,
            (_, Some(t)) if t > self.last_time_s => t,
            // A container without times, or one that steps back.
            (_, Some(_)) => self.last_time_s + 1e-6,
            (_, None) => self.last_time_s + step_s,
        };
        self.last_time_s = time_s;
        let (w, h) = (line.width as usize, line.height as usize);
        let (wide, rgb) = self.shape.apply(rgb, w, h, &mut self.spares);
        let frame = Frame {
            seq: self.delivered,
            captured_at_s: time_s,
            width: wide as u32,
            height: line.height,
            rgb,
        };
        self.delivered += 1;
        Ok(Some(frame))
    }

    /// ffmpeg gives no more pictures: was that the end of the video?
    fn check_end(&mut self) -> Result<Option<Frame>, CaptureError> {
        // Its pipes are closed, so it is about to end by itself; killing it
        // before would hide how it ended.
        for _ in 0..100 {
            if !matches!(self.child.try_wait(), Ok(None)) {
                break;
            }
            thread::sleep(Duration::from_millis(20));
        }
        let ended_well = self.shut_down().is_some_and(|status| status.success());
        let words = self.last_words();
        if ended_well {
            // ffmpeg goes on over damage and ends well. Complaints about
            // single pictures are common in good files (a stream that starts
            // between two key frames); that the file breaks off is not.
            if let Some(words) = self.complaints().breaks_off.take() {
                return Err(self.damaged(&words));
            }
            if let Some(words) = words {
                tracing::warn!("'{}': ffmpeg says: {words}", self.path.display());
            }
            return Ok(None);
        }
        Err(self.damaged(words.as_deref().unwrap_or("it ended early")))
    }
}

impl Source for FfmpegSource {
    fn info(&self) -> &SourceInfo {
        &self.info
    }

    fn next_frame(&mut self) -> Result<Option<Frame>, CaptureError> {
        if self.ended {
            return Ok(None);
        }
        let next = self.step();
        if !matches!(next, Ok(Some(_))) {
            self.ended = true;
            self.shut_down();
        }
        next
    }
}

impl Drop for FfmpegSource {
    fn drop(&mut self) {
        self.shut_down();
    }
}

fn read_lines(
    stderr: ChildStderr,
    lines: &Sender<PictureLine>,
    fps: &Sender<f64>,
    complaints: &Mutex<Complaints>,
) {
    // The receiver being gone is no reason to stop: an undrained pipe would
    // block ffmpeg before it can end.
    let mut open = true;
    for line in BufReader::new(stderr).split(b'\n') {
        let Ok(line) = line else { break };
        let line = String::from_utf8_lossy(&line);
        if let Some(picture) = parse_picture(&line) {
            open = open && lines.send(picture).is_ok();
        } else if let Some(rate) = parse_rate(&line) {
            // Told once per filter configuration; the first one counts.
            let _ = fps.try_send(rate);
        } else {
            complaints
                .lock()
                .unwrap_or_else(PoisonError::into_inner)
                .note(&line);
        }
    }
}

fn read_pictures(
    mut stdout: ChildStdout,
    size: &Receiver<(u32, u32)>,
    pictures: &Sender<std::io::Result<Vec<u8>>>,
) {
    let Ok((width, height)) = size.recv() else {
        return;
    };
    loop {
        let mut rgb = vec![0; width as usize * height as usize * 3];
        let read = stdout.read_exact(&mut rgb).map(|()| rgb);
        let last = read.is_err();
        if pictures.send(read).is_err() || last {
            return;
        }
    }
}

/// `[Parsed_showinfo_0 @ 0x..] [info] n: 3 pts: 1536 pts_time:0.1 ... s:320x180 ...`
fn parse_picture(line: &str) -> Option<PictureLine> {
    if !line.contains("showinfo") {
        return None;
    }
    let after = |key: &str| line.split_once(key).map(|(_, rest)| rest.trim_start());
    let time = after("pts_time:")?.split_whitespace().next()?;
    let size = after(" s:")?.split_whitespace().next()?;
    let (width, height) = size.split_once('x')?;
    let shape = after(" sar:").and_then(|said| {
        let (over, under) = said.split_whitespace().next()?.split_once('/')?;
        PixelShape::of(over.parse().ok()?, under.parse().ok()?)
    });
    Some(PictureLine {
        time_s: time.parse().ok(),
        width: width.parse().ok()?,
        height: height.parse().ok()?,
        shape: shape.unwrap_or_default(),
    })
}

/// `... config in time_base: 1/15360, frame_rate: 30/1`
fn parse_rate(line: &str) -> Option<f64> {
    let (_, rate) = line.split_once("config in")?.1.split_once("frame_rate:")?;
    let (over, under) = rate.trim().split_once('/')?;
    let rate = over.trim().parse::<f64>().ok()? / under.trim().parse::<f64>().ok()?;
    (rate.is_finite() && rate > 0.0).then_some(rate)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_of_showinfo() {
        // As printed by ffmpeg 5.1.9.
        let line = "[Parsed_showinfo_0 @ 0x55d0] [info] n:   3 pts:   1536 pts_time:0.1     duration:    512 \
                    duration_time:0.0333333 fmt:yuv420p cl:left sar:1/1 s:320x180 i:P iskey:0 type:P ";
        assert_eq!(
            parse_picture(line),
            Some(PictureLine {
                time_s: Some(0.1),
                width: 320,
                height: 180,
                shape: PixelShape::SQUARE,
            })
        );
        let line = "[Parsed_showinfo_0 @ 0x55d0] [info] config in time_base: 1/15360, frame_rate: 30000/1001";
        assert!((parse_rate(line).expect("rate") - 29.97).abs() < 0.01);
        assert_eq!(parse_picture(line), None);
        assert_eq!(
            parse_rate("config in time_base: 1/1000, frame_rate: 0/0"),
            None
        );
        let nopts =
            "[Parsed_showinfo_0 @ 0x1] [info] n: 3 pts:NOPTS pts_time:NOPTS fmt:x s:32x18 i:P";
        assert_eq!(
            parse_picture(nopts),
            Some(PictureLine {
                time_s: None,
                width: 32,
                height: 18,
                shape: PixelShape::SQUARE,
            })
        );
    }

    #[test]
    fn complaints_are_told_apart() {
        // As printed by ffmpeg 5.1.9 for files cut short.
        let mut complaints = Complaints::default();
        complaints.note("[info] Stream #0:0: Video: hevc");
        complaints.note("[hevc @ 0x557a] [error] Error splitting the input into NAL units.");
        assert_eq!(complaints.breaks_off, None);
        complaints.note("[warning] cut.avi: corrupt input packet in stream 0");
        complaints.note("[mov @ 0x557a] [error] stream 0, offset 0x1533: partial file");
        assert_eq!(
            complaints.breaks_off.as_deref(),
            Some("cut.avi: corrupt input packet in stream 0")
        );
        assert_eq!(
            complaints.last.as_deref(),
            Some("stream 0, offset 0x1533: partial file")
        );
    }

    #[test]
    fn a_missing_ffmpeg_says_what_to_install() {
        let error = FfmpegSource::open_with(
            OsStr::new("no-such-ffmpeg"),
            Path::new("a.mkv"),
            "a Matroska or WebM video",
        )
        .err()
        .expect("must fail");
        assert_eq!(
            error.to_string(),
            "'a.mkv' holds a Matroska or WebM video, which needs ffmpeg: install it (sudo apt-get install ffmpeg) \
             or convert the video to MP4 with H.264"
        );
    }
}
