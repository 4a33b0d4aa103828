//! Video files and folders of pictures, against what ffmpeg makes of them.
//!
//! The golden values in `media/golden.json` were made by ffmpeg
//! (`media/golden.py`), not by this program.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use kickplate::capture::{CaptureError, Frame, Source, SourceKind, SourceSpec, open};
use serde::Deserialize;

#[derive(Deserialize)]
struct Golden {
    width: u32,
    height: u32,
    frames: Vec<GoldenFrame>,
}

#[derive(Deserialize)]
struct GoldenFrame {
    t_s: f64,
    mean: [f64; 3],
    quarter: [f64; 3],
}

fn media(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/media")
        .join(name)
}

fn golden(name: &str) -> Golden {
    let text = fs::read_to_string(media("golden.json")).expect("golden values");
    let mut all: BTreeMap<String, Golden> = serde_json::from_str(&text).expect("valid JSON");
    all.remove(name).expect("golden values of the clip")
}

fn open_file(path: &Path) -> Result<Box<dyn Source>, CaptureError> {
    open(&SourceSpec::File {
        path: path.to_owned(),
    })
}

/// All frames, and the fault at the end if there is one.
fn drain(source: &mut dyn Source) -> (Vec<Frame>, Option<CaptureError>) {
    let mut frames = Vec::new();
    loop {
        match source.next_frame() {
            Ok(Some(frame)) => frames.push(frame),
            Ok(None) => return (frames, None),
            Err(fault) => {
                assert!(
                    matches!(source.next_frame(), Ok(None)),
                    "a fault is told once"
                );
                return (frames, Some(fault));
            }
        }
    }
}

fn mean(frame: &Frame, width: u32, height: u32) -> [f64; 3] {
    let mut sum = [0.0; 3];
    for row in frame
        .rgb
        .chunks_exact(frame.width as usize * 3)
        .take(height as usize)
    {
        for pixel in row.chunks_exact(3).take(width as usize) {
            (0..3).for_each(|c| sum[c] += f64::from(pixel[c]));
        }
    }
    sum.map(|s| s / (f64::from(width) * f64::from(height)))
}

/// Largest difference of a mean from ffmpeg's, in steps of 255. Reading
/// `variable-rate-709.mp4` with BT.601 would move the blue of its quarter by 4.2.
const TOLERANCE: f64 = 0.4;

fn compare(name: &str) {
    let golden = golden(name);
    let mut source = open_file(&media(name)).expect("opens");
    assert_eq!(source.info().kind, SourceKind::Video);
    assert_eq!(
        (source.info().width, source.info().height),
        (golden.width, golden.height),
        "{name}"
    );
    let (frames, fault) = drain(source.as_mut());
    assert!(fault.is_none(), "{name}: {fault:?}");
    assert_eq!(frames.len(), golden.frames.len(), "{name}");
    for (n, (frame, want)) in frames.iter().zip(&golden.frames).enumerate() {
        assert_eq!(frame.seq, n as u64);
        assert_eq!((frame.width, frame.height), (golden.width, golden.height));
        assert_eq!(frame.rgb.len(), (golden.width * golden.height * 3) as usize);
        assert!(
            (frame.captured_at_s - want.t_s).abs() < 0.0011,
            "{name} {n}: {} {}",
            frame.captured_at_s,
            want.t_s
        );
        let whole = mean(frame, frame.width, frame.height);
        let quarter = mean(frame, frame.width / 2, frame.height / 2);
        for c in 0..3 {
            assert!(
                (whole[c] - want.mean[c]).abs() < TOLERANCE,
                "{name} {n}: {whole:?} {:?}",
                want.mean
            );
            assert!(
                (quarter[c] - want.quarter[c]).abs() < TOLERANCE,
                "{name} {n}: {quarter:?} {:?}",
                want.quarter
            );
        }
    }
    // The values above tell frames apart: each fits its own time best.
    let distance = |frame: &Frame, want: &GoldenFrame| {
        let whole = mean(frame, frame.width, frame.height);
        let quarter = mean(frame, frame.width / 2, frame.height / 2);
        (0..3)
            .map(|c| (whole[c] - want.mean[c]).abs() + (quarter[c] - want.quarter[c]).abs())
            .sum::<f64>()
    };
    let strays: Vec<usize> = (0..frames.len())
        .filter(|n| {
            let own = distance(&frames[*n], &golden.frames[*n]);
            golden
                .frames
                .iter()
                .any(|other| distance(&frames[*n], other) < own)
        })
        .collect();
    assert!(
        strays.len() * 10 <= frames.len(),
        "{name}: {strays:?} of {} are not in their place",
        frames.len()
    );
}

#[test]
fn h264_without_b_frames() {
    compare("no-b-frames.mp4");
    let source = open_file(&media("no-b-frames.mp4")).expect("opens");
    assert_eq!(source.info().frame_count, Some(45));
    assert!((source.info().nominal_fps.expect("known") - 30.0).abs() < 0.01);
    assert_eq!(source.info().name, "no-b-frames.mp4");
}

#[test]
fn h264_with_b_frames_comes_in_show_order() {
    compare("b-frames.mp4");
}

#[test]
fn variable_rate_and_bt709() {
    compare("variable-rate-709.mp4");
}

#[test]
fn a_turned_video_comes_upright() {
    compare("rotated.mp4");
}

#[test]
fn frames_before_the_cut_are_delivered() {
    let dir = tempfile::tempdir().expect("temp dir");
    // The index stands at the end of the clips; it is moved to the front, as
    // a recorder that survives a power cut writes it.
    let clip = index_first(&fs::read(media("b-frames.mp4")).expect("clip"));
    let path = dir.path().join("cut.mp4");
    let whole = {
        fs::write(&path, &clip).expect("written");
        drain(open_file(&path).expect("opens").as_mut()).0
    };
    assert_eq!(whole.len(), 45);
    let mut counts = Vec::new();
    for percent in [99, 80, 60, 45] {
        fs::write(&path, &clip[..clip.len() * percent / 100]).expect("written");
        let mut source = open_file(&path).expect("opens");
        let (frames, fault) = drain(source.as_mut());
        let fault = fault.expect("a cut is told");
        assert!(
            matches!(&fault, CaptureError::Damaged { delivered, .. } if *delivered == frames.len() as u64)
        );
        assert!(
            fault.to_string().contains("cut.mp4") && !fault.is_usage(),
            "{fault}"
        );
        // At a cut among B-frames the last ones may lack a neighbour in
        // time; those that come are the right ones.
        for (n, frame) in frames
            .iter()
            .enumerate()
            .take(frames.len().saturating_sub(4))
        {
            assert_eq!(frame, &whole[n], "{percent} %, frame {n}");
        }
        assert!(
            frames
                .windows(2)
                .all(|w| w[0].captured_at_s < w[1].captured_at_s)
        );
        counts.push(frames.len());
    }
    assert!(
        counts.windows(2).all(|w| w[0] > w[1]) && counts[3] > 0,
        "{counts:?}"
    );
}

/// Moves the `moov` box before `mdat` and corrects the chunk offsets.
fn index_first(file: &[u8]) -> Vec<u8> {
    let mut boxes: Vec<&[u8]> = Vec::new();
    let mut at = 0;
    while at < file.len() {
        let size = u32::from_be_bytes(file[at..at + 4].try_into().expect("4 bytes")) as usize;
        boxes.push(&file[at..at + size]);
        at += size;
    }
    let is = |b: &[u8], name: &[u8]| &b[4..8] == name;
    let mut moov = boxes
        .iter()
        .find(|b| is(b, b"moov"))
        .expect("an index")
        .to_vec();
    let shift = moov.len() as u32;
    let at = moov
        .windows(4)
        .position(|w| w == b"stco")
        .expect("chunk offsets");
    let count = u32::from_be_bytes(moov[at + 8..at + 12].try_into().expect("4 bytes")) as usize;
    for n in 0..count {
        let entry = &mut moov[at + 12 + n * 4..][..4];
        let offset = u32::from_be_bytes(entry.try_into().expect("4 bytes")) + shift;
        entry.copy_from_slice(&offset.to_be_bytes());
    }
    let mut out = boxes[0].to_vec();
    assert!(is(boxes[0], b"ftyp"));
    out.extend(moov);
    boxes[1..]
        .iter()
        .filter(|b| !is(b, b"moov"))
        .for_each(|b| out.extend(*b));
    out
}

#[test]
fn damage_is_told_and_never_a_panic() {
    let dir = tempfile::tempdir().expect("temp dir");
    let path = dir.path().join("broken.mp4");
    let clip = fs::read(media("no-b-frames.mp4")).expect("clip");

    // No index: the recording broke off.
    fs::write(&path, &clip[..clip.len() / 2]).expect("written");
    let fault = open_file(&path).err().expect("no index");
    assert!(
        fault.to_string().contains("index is missing") && fault.to_string().contains("broken.mp4"),
        "{fault}"
    );

    // Bytes overwritten all over the file, the index included.
    let mut told = 0;
    for start in (0..clip.len() - 8).step_by(157) {
        let mut bytes = clip.clone();
        bytes[start..start + 8].fill(0xff);
        fs::write(&path, &bytes).expect("written");
        told += match open_file(&path) {
            Ok(mut source) => u32::from(drain(source.as_mut()).1.is_some()),
            Err(fault) => {
                assert!(fault.to_string().contains("broken.mp4"), "{fault}");
                1
            }
        };
    }
    assert!(told > 10, "{told}");
}

#[test]
fn what_is_no_video_gets_one_clear_sentence() {
    let dir = tempfile::tempdir().expect("temp dir");
    let file = |name: &str, content: &[u8]| {
        let path = dir.path().join(name);
        fs::write(&path, content).expect("written");
        path
    };
    let cases = [
        (dir.path().join("nowhere.mp4"), "there is no file or folder"),
        (file("empty.mp4", b""), "is empty"),
        (
            file("text.mp4", b"Monday: edges\nTuesday: crossovers\n"),
            "its content is text",
        ),
        (
            file("noise.jpg", &[1, 2, 3, 200, 201, 0, 9]),
            "not a readable JPEG or PNG",
        ),
        (
            file("half.png", b"\x89PNG\r\n\x1a\n\0\0"),
            "not a readable JPEG or PNG",
        ),
        (dir.path().to_owned(), "is a folder"),
    ];
    for (path, words) in cases {
        let error = open_file(&path).err().expect("no video");
        let text = error.to_string();
        assert!(text.contains(words), "{text}");
        assert!(text.contains(&path.display().to_string()), "{text}");
        assert!(!text.contains('\n') && error.is_usage(), "{text}");
    }
}

fn ffmpeg_is_there() -> bool {
    kickplate_testing::has_program(
        "ffmpeg",
        "which reads other formats; apt-get install ffmpeg",
    )
}

/// Found by fuzzing: a box of length 0 inside another made the reader of the
/// index go round for ever.
#[test]
fn an_index_that_points_back_to_itself_is_damaged() {
    let mut clip = fs::read(media("b-frames.mp4")).expect("clip");
    let at = clip
        .windows(4)
        .position(|name| name == b"ilst")
        .expect("the clip has a list of remarks");
    clip[at - 4..at + 4].copy_from_slice(b"\0\0\0\0-ils");
    let folder = tempfile::tempdir().expect("folder");
    let path = folder.path().join("circle.mp4");
    fs::write(&path, clip).expect("written");
    let Err(error) = open_file(&path) else {
        panic!("a clip whose index cannot be read to its end opened");
    };
    assert!(error.to_string().contains("round in circles"), "{error}");
}

#[test]
fn other_formats_come_through_ffmpeg() {
    if ffmpeg_is_there() {
        compare("hevc.mp4");
        compare("h264.mkv");
        let dir = tempfile::tempdir().expect("temp dir");
        let path = dir.path().join("cut.mp4");
        let clip = index_first(&fs::read(media("hevc.mp4")).expect("clip"));
        fs::write(&path, &clip[..clip.len() - 500]).expect("written");
        let (frames, fault) = drain(open_file(&path).expect("opens").as_mut());
        assert!(!frames.is_empty() && frames.len() < 10, "{}", frames.len());
        assert!(
            matches!(fault, Some(CaptureError::Damaged { .. })),
            "{fault:?}"
        );

        let noise: Vec<u8> = (0..5000u32).map(|n| (n * n % 251) as u8).collect();
        let path = dir.path().join("noise.avi");
        fs::write(&path, noise).expect("written");
        let error = open_file(&path).err().expect("no video");
        assert!(matches!(error, CaptureError::NotAVideo { .. }), "{error}");
    }
}

#[test]
fn an_ffmpeg_process_ends_with_its_source() {
    if !ffmpeg_is_there() || !Path::new("/proc/thread-self/children").exists() {
        return;
    }
    let children = || -> Vec<String> {
        fs::read_dir("/proc/self/task")
            .expect("tasks")
            .flatten()
            .filter_map(|task| fs::read_to_string(task.path().join("children")).ok())
            .flat_map(|list| {
                list.split_whitespace()
                    .map(str::to_owned)
                    .collect::<Vec<_>>()
            })
            .collect()
    };
    // Other tests of this file run processes of their own: this one is known
    // by the name of its file.
    let dir = tempfile::tempdir().expect("temp dir");
    let path = dir.path().join("leak.mkv");
    fs::copy(media("h264.mkv"), &path).expect("copied");
    let mut source = open_file(&path).expect("opens");
    source.next_frame().expect("a frame");
    let name = path.display().to_string();
    let ours: Vec<String> = children()
        .into_iter()
        .filter(|pid| {
            fs::read_to_string(format!("/proc/{pid}/cmdline"))
                .is_ok_and(|line| line.contains(&name))
        })
        .collect();
    // It cannot have ended: most of its pictures are still to be read.
    assert_eq!(ours.len(), 1, "{ours:?}");
    drop(source);
    // Neither running nor a zombie, which would still be listed.
    let left = children();
    assert!(
        ours.iter().all(|pid| !left.contains(pid)),
        "{ours:?} {left:?}"
    );
}

#[test]
fn a_folder_of_pictures() {
    let dir = tempfile::tempdir().expect("temp dir");
    let save = |name: &str, width, height, value: u8| {
        image::RgbImage::from_pixel(width, height, image::Rgb([value, 10, 20]))
            .save(dir.path().join(name))
            .expect("saved");
    };
    save("shot2.png", 32, 18, 2);
    save("shot10.png", 32, 18, 10);
    save("shot1.png", 32, 18, 1);
    fs::write(dir.path().join("shot3.jpg"), b"no picture").expect("written");
    fs::write(dir.path().join("notes.txt"), b"no picture").expect("written");
    let spec = SourceSpec::Folder {
        path: dir.path().to_owned(),
        fps: 10.0,
    };

    let mut source = open(&spec).expect("opens");
    let (frames, fault) = drain(source.as_mut());
    assert!(fault.is_none(), "{fault:?}");
    assert_eq!(source.info().skipped, 1);
    let seen: Vec<_> = frames
        .iter()
        .map(|f| (f.seq, f.captured_at_s, f.rgb[0]))
        .collect();
    assert_eq!(seen, [(0, 0.0, 1), (1, 0.1, 2), (3, 0.3, 10)]);

    save("shot4.png", 16, 18, 4);
    let (frames, fault) = drain(open(&spec).expect("opens").as_mut());
    assert_eq!(frames.len(), 2);
    let fault = fault.expect("another size is told").to_string();
    assert!(
        fault.contains("shot4.png") && fault.contains("16 x 18"),
        "{fault}"
    );

    let none = tempfile::tempdir().expect("temp dir");
    fs::write(none.path().join("a.png"), b"no picture").expect("written");
    let error = open(&SourceSpec::Folder {
        path: none.path().to_owned(),
        fps: 10.0,
    })
    .err()
    .expect("nothing readable");
    assert!(
        matches!(error, CaptureError::NoPictures { broken: 1, .. }) && error.is_usage(),
        "{error}"
    );
    let error = open(&SourceSpec::Folder {
        path: none.path().join("b"),
        fps: 10.0,
    })
    .err()
    .expect("not there");
    assert!(matches!(error, CaptureError::Missing { .. }), "{error}");
}

#[test]
fn one_picture_is_a_video_of_one_frame() {
    let dir = tempfile::tempdir().expect("temp dir");
    let path = dir.path().join("still.png");
    image::RgbImage::from_pixel(8, 6, image::Rgb([7, 8, 9]))
        .save(&path)
        .expect("saved");
    let (frames, fault) = drain(open_file(&path).expect("opens").as_mut());
    assert!(fault.is_none() && frames.len() == 1);
    assert_eq!(
        frames[0],
        Frame {
            seq: 0,
            captured_at_s: 0.0,
            width: 8,
            height: 6,
            rgb: [7, 8, 9].repeat(48)
        }
    );
}
