//! A recordings folder to export from: three skaters, real JPEG strips.

#![allow(dead_code, reason = "each test file uses its own part of these")]

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use kickplate::display::Language;
use kickplate::export::{
    ExportError, ExportRequest, Exported, Format, Progress, Separator, export,
};
use kickplate::roster::{Consent, Skater, SkaterId};
use kickplate::rules::{AgeGroup, JudgedPass, RuleId};
use kickplate::store::{
    Archive, NewPass, PassKey, PictureStrip, PushKey, SessionInfo, Shot, Store, Verdict,
};

use crate::store_common::{cue, pass, session, tracked};

/// Everything here must leave in a normal export and in no anonymous one.
pub const PERSONAL: [&str; 7] = [
    "Robin",
    "B4711",
    "Näher",
    "B4712",
    "tyre drill",
    "filmed-by-kim",
    "2026-01-17",
];
/// This never leaves: who gave the consent.
pub const NEVER: &str = "Kimberley";

pub struct Recorded {
    pub dir: tempfile::TempDir,
    pub archive: Archive,
    pub session: i64,
    pub robin: SkaterId,
}

/// Six passes; Robin has the odd ones, the others take turns. Sascha gave no
/// consent.
pub fn recorded() -> Recorded {
    recorded_passes(6)
}

pub fn recorded_passes(passes: u32) -> Recorded {
    recorded_with(passes, |_| {})
}

/// The same, with every pass changed before it is stored.
pub fn recorded_with(passes: u32, change: impl Fn(&mut JudgedPass)) -> Recorded {
    let dir = tempfile::tempdir().unwrap();
    let archive = Archive::open(dir.path()).unwrap();
    let consent = Some(Consent {
        given_on: "2026-09-01".parse().unwrap(),
        given_by: NEVER.to_owned(),
    });
    let add = |name: &str, bib: Option<&str>, consent: Option<Consent>| {
        archive
            .add_skater(&Skater {
                bib: bib.map(str::to_owned),
                consent,
                ..Skater::new(name, AgeGroup::U13)
            })
            .unwrap()
    };
    let robin = add("Robin", Some("B4711"), consent.clone());
    let zoe = add("=Zoë/../CON <script>Näher🏒", Some("B4712"), consent);
    let sascha = add("Sascha", None, None);
    let mut store = Store::open(dir.path()).unwrap();
    let mut info: SessionInfo = session();
    info.source.name = "filmed-by-kim.mp4".to_owned();
    let id = store.begin_session(&info).unwrap();
    for number in 1..=passes {
        let skater = match number % 4 {
            1 | 3 => robin,
            2 => zoe,
            _ => sascha,
        };
        let mut judged = pass(number);
        change(&mut judged);
        let strips = [(0, RuleId::KneeBend), (1, RuleId::TrunkLean)]
            .into_iter()
            .map(|(push, rule)| strip(push, rule, judged.pushes[push as usize].push_start_s))
            .collect();
        let new = NewPass {
            skater: Some(skater),
            points: Some(Arc::new(tracked(number))),
            strips,
            ..(judged, cue(number)).into()
        };
        store.write_pass(&id, &new).unwrap();
    }
    store.end_session(&id).unwrap();
    drop(store);
    let session = id.number();
    archive
        .set_comment(&push(session, 1, 0), "Robin: as in the tyre drill")
        .unwrap();
    archive
        .set_verdict(
            &push(session, 1, 1),
            RuleId::TrunkLean,
            Some(Verdict::Dismissed),
        )
        .unwrap();
    Recorded {
        dir,
        archive,
        session,
        robin,
    }
}

pub fn push(session: i64, number: u32, position: u32) -> PushKey {
    PushKey {
        pass: PassKey { session, number },
        position,
    }
}

/// Twelve pictures in which a square moves.
pub fn strip(push: u32, rule: RuleId, flagged_at_s: f64) -> PictureStrip {
    let shot = |i: u32| {
        let picture = image::RgbImage::from_fn(320, 180, |x, y| {
            let inside = (20 * i..20 * i + 40).contains(&x) && (70..110).contains(&y);
            image::Rgb(if inside {
                [200, 40, 40]
            } else {
                [(x / 2) as u8, (y / 2) as u8, 120]
            })
        });
        let mut jpeg = Vec::new();
        image::codecs::jpeg::JpegEncoder::new_with_quality(&mut jpeg, 80)
            .encode_image(&picture)
            .unwrap();
        Shot {
            captured_at_s: flagged_at_s - 0.2 + f64::from(i) / 30.0,
            jpeg,
        }
    };
    PictureStrip {
        push,
        rule,
        flagged_at_s,
        size_px: [320, 180],
        frame_px: [1280, 720],
        faces_blurred: true,
        shots: (0..12).map(shot).collect(),
    }
}

pub fn request(recorded: &Recorded, out: &Path) -> ExportRequest {
    ExportRequest {
        sessions: vec![recorded.session],
        skater: None,
        flagged_only: false,
        format: Format::Folder,
        anonymous: false,
        pictures: true,
        out: out.to_owned(),
        language: Language::En,
        separator: Separator::Comma,
    }
}

pub fn run(recorded: &Recorded, request: &ExportRequest) -> Result<Exported, ExportError> {
    export(
        &recorded.archive,
        request,
        &|_: Progress| {},
        &AtomicBool::new(false),
    )
}

/// Every file below a folder by its path in it.
pub fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    fn below(folder: &Path, top: &Path, all: &mut BTreeMap<String, Vec<u8>>) {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path: PathBuf = entry.unwrap().path();
            if path.is_dir() {
                below(&path, top, all);
            } else {
                let name = path.strip_prefix(top).unwrap().to_str().unwrap();
                all.insert(name.to_owned(), std::fs::read(&path).unwrap());
            }
        }
    }
    let mut all = BTreeMap::new();
    below(folder, folder, &mut all);
    all
}

/// Whether a text stands in some bytes, as UTF-8 or UTF-16, whatever the case
/// of its ASCII letters.
pub fn holds(bytes: &[u8], text: &str) -> bool {
    let low = |b: &[u8]| b.to_ascii_lowercase();
    let bytes = low(bytes);
    let utf16 = |order: fn(u16) -> [u8; 2]| text.encode_utf16().flat_map(order).collect();
    let needles: [Vec<u8>; 3] = [
        text.as_bytes().to_vec(),
        utf16(u16::to_le_bytes),
        utf16(u16::to_be_bytes),
    ];
    needles
        .iter()
        .any(|needle| bytes.windows(needle.len()).any(|w| w == low(needle)))
}
