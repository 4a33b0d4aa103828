//! A recordings folder to try `kickplate export` on: invented skaters, the
//! passes of some clips, their pictures and points.
//!
//! ```text
//! cargo run --release --example export_sample -- [--whole] FOLDER [CLIP.mp4 LANE.toml]...
//! ```
//!
//! Pictures are stored at half size, with `--whole` as they are.
//!
//! Without clips: those of the demo. Every pass is stored several times over
//! for several skaters, its values moved about within their uncertainty, so
//! that pages have something to draw: numbers of repeated passes are made up.
//! Export it with `sessions_folder` set to FOLDER.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use anyhow::Context;
use kickplate::capture::{self, SourceSpec};
use kickplate::config::{self, Lane};
use kickplate::feedback::CueSelector;
use kickplate::pose::{BodyPoint, Estimator, PoseFrame, PoseSettings};
use kickplate::roster::{Consent, Skater, SkaterId};
use kickplate::rules::{AgeGroup, Flag, JudgedPass, RuleId, Thresholds, judge};
use kickplate::store::{
    Archive, EngineInfo, NewPass, PassKey, PictureStrip, PushKey, SessionInfo, Shot, SourceInfo,
    SourceKind, Store, Verdict,
};
use kickplate::stride::cut;
use kickplate::track::{Pass, TrackEvent, TrackSettings, Tracker};

/// Passes of each skater.
const PASSES: u32 = 8;
/// Around a flagged instant, seconds.
const AROUND_S: f64 = 0.4;

struct Picture {
    t_s: f64,
    size: [u32; 2],
    jpeg: Vec<u8>,
}

fn main() -> anyhow::Result<()> {
    let mut words = std::env::args_os().skip(1).map(PathBuf::from).peekable();
    let share = if words.next_if(|w| w.as_os_str() == "--whole").is_some() {
        1
    } else {
        2
    };
    let folder = words.next().context("name the folder to write")?;
    let mut clips: Vec<(PathBuf, PathBuf)> = Vec::new();
    while let (Some(clip), Some(lane)) = (words.next(), words.next()) {
        clips.push((clip, lane));
    }
    if clips.is_empty() {
        let demo = config::home()?.join("demo");
        for name in ["side-faulty", "front-child"] {
            let at = |ending: &str| demo.join(format!("{name}.{ending}"));
            clips.push((at("mp4"), at("toml")));
        }
    }
    let archive = Archive::open(&folder)?;
    let consent = Some(Consent {
        given_on: "2026-09-01".parse()?,
        given_by: "Kim".to_owned(),
    });
    let skaters = [
        ("Robin", Some("12"), consent.clone()),
        ("Zoë <Näher> & Co. 🏒", Some("7"), consent),
        ("Sascha", None, None),
    ];
    let ids = skaters
        .into_iter()
        .map(|(name, bib, consent)| {
            archive.add_skater(&Skater {
                bib: bib.map(str::to_owned),
                consent,
                ..Skater::new(name, AgeGroup::U13)
            })
        })
        .collect::<Result<Vec<_>, _>>()?;
    for (clip, lane) in &clips {
        session_of(&folder, &archive, (clip, &Lane::load(lane)?, share), &ids)?;
    }
    Ok(())
}

fn session_of(
    folder: &Path,
    archive: &Archive,
    (clip, lane, share): (&Path, &Lane, u32),
    skaters: &[SkaterId],
) -> anyhow::Result<()> {
    let (passes, pictures, frame_px) = watch(clip, lane, share)?;
    println!("{}: {} passes seen", clip.display(), passes.len());
    let mut store = Store::open(folder)?;
    let session = store.begin_session(&SessionInfo {
        source: SourceInfo {
            kind: SourceKind::Video,
            name: clip
                .file_name()
                .unwrap_or_default()
                .to_string_lossy()
                .into_owned(),
            width: frame_px[0],
            height: frame_px[1],
            frames_per_second: None,
            frames: None,
        },
        lane: lane.clone(),
        engine: EngineInfo {
            program_version: env!("CARGO_PKG_VERSION").to_owned(),
            backend: "native".to_owned(),
            model: "full".to_owned(),
            model_sha256: None,
        },
        age_group: AgeGroup::U13,
        started: jiff::Zoned::now(),
    })?;
    let thresholds = Thresholds::defaults(AgeGroup::U13);
    let mut coach = CueSelector::new(kickplate::feedback::FeedbackSettings::default());
    let mut number = 0;
    for round in 0..PASSES {
        for (i, skater) in skaters.iter().enumerate() {
            for tracked in &passes {
                number += 1;
                let mut pass = judge(&cut(tracked, lane), &thresholds);
                move_about(&mut pass, (round, i as u32), &thresholds);
                let mut cue = coach.after_pass(&pass);
                cue.pass_number = number;
                let strips = strips(&pass, &pictures, frame_px);
                store.write_pass(
                    &session,
                    &NewPass {
                        // One pass in nine is of nobody.
                        skater: (number % 9 != 0).then_some(*skater),
                        points: Some(Arc::new(tracked.clone())),
                        strips,
                        ..(pass, cue).into()
                    },
                )?;
            }
        }
    }
    let push = PushKey {
        pass: PassKey {
            session: session.number(),
            number: 1,
        },
        position: 0,
    };
    archive.set_comment(&push, "Robin, stay low as in the drill with the tyre.")?;
    archive.set_starred(&push, true)?;
    let loaded = archive.load_session(session.number())?;
    if let Some(flag) = loaded.passes[0]
        .pass
        .pushes
        .first()
        .and_then(|p| p.flags.first())
    {
        archive.set_verdict(&push, flag.rule, Some(Verdict::Dismissed))?;
    }
    store.end_session(&session)?;
    Ok(())
}

/// The passes of a clip, every picture of it made smaller by `share`, and the
/// size of its frames.
fn watch(
    clip: &Path,
    lane: &Lane,
    share: u32,
) -> anyhow::Result<(Vec<Pass>, Vec<Picture>, [u32; 2])> {
    let mut source = capture::open(&SourceSpec::File {
        path: clip.to_owned(),
    })?;
    let mut estimator = Estimator::new(&config::home()?, PoseSettings::default())?;
    let mut tracker = Tracker::new(lane.clone(), TrackSettings::default());
    let (mut passes, mut pictures, mut frame_px) = (Vec::new(), Vec::new(), [0; 2]);
    let ended = |events: Vec<TrackEvent>| {
        events.into_iter().filter_map(|event| match event {
            TrackEvent::PassEnded(pass) => Some(*pass),
            TrackEvent::PassStarted { .. } => None,
        })
    };
    while let Some(frame) = source.next_frame()? {
        let poses = estimator.process(&frame)?;
        passes.extend(ended(tracker.push(&poses)));
        frame_px = [frame.width, frame.height];
        let small = kickplate::display::PreviewImage::from_rgb(
            frame.width,
            frame.height,
            &frame.rgb,
            frame.width / share,
        );
        if let Some(mut small) = small {
            hide_faces(&mut small, &poses, frame.width);
            let (w, h) = small.size();
            let mut jpeg = Vec::new();
            image::codecs::jpeg::JpegEncoder::new_with_quality(&mut jpeg, 80).encode(
                small.rgb(),
                w,
                h,
                image::ExtendedColorType::Rgb8,
            )?;
            pictures.push(Picture {
                t_s: frame.captured_at_s,
                size: [w, h],
                jpeg,
            });
        }
    }
    passes.extend(ended(tracker.finish()));
    Ok((passes, pictures, frame_px))
}

fn hide_faces(picture: &mut kickplate::display::PreviewImage, poses: &PoseFrame, width: u32) {
    let scale = picture.size().0 as f32 / width as f32;
    for body in &poses.bodies {
        let [nose, shoulder] = [BodyPoint::Nose, BodyPoint::LeftShoulder].map(|p| body.point(p));
        let radius = 0.65 * (nose.x_px - shoulder.x_px).hypot(nose.y_px - shoulder.y_px);
        picture.blur_disc([nose.x_px * scale, nose.y_px * scale], radius * scale);
    }
}

fn strips(pass: &JudgedPass, pictures: &[Picture], frame_px: [u32; 2]) -> Vec<PictureStrip> {
    let mut strips = Vec::new();
    for (i, push) in pass.pushes.iter().enumerate() {
        for flag in &push.flags {
            let flagged_at_s = match flag.rule {
                RuleId::KneeBend => push.push_start_s,
                RuleId::TrunkLean => (push.push_start_s + push.toe_off_s) / 2.0,
                _ => push.toe_off_s,
            };
            let near = |p: &&Picture| (p.t_s - flagged_at_s).abs() <= AROUND_S;
            let shots: Vec<&Picture> = pictures.iter().filter(near).collect();
            let Some(first) = shots.first() else { continue };
            strips.push(PictureStrip {
                push: i as u32,
                rule: flag.rule,
                flagged_at_s,
                size_px: first.size,
                frame_px,
                faces_blurred: true,
                shots: shots
                    .iter()
                    .map(|p| Shot {
                        captured_at_s: p.t_s,
                        jpeg: p.jpeg.clone(),
                    })
                    .collect(),
            });
        }
    }
    strips
}

/// Moves every judged value by up to one uncertainty, better with the rounds.
fn move_about(pass: &mut JudgedPass, (round, skater): (u32, u32), thresholds: &Thresholds) {
    for (p, push) in pass.pushes.iter_mut().enumerate() {
        push.flags.clear();
        for (rule, measure) in push.measures.iter_mut() {
            let limits = &thresholds.limits[rule];
            let judged = measure.is_judged();
            let (Some(value), Some(uncertainty)) = (measure.value.as_mut(), measure.uncertainty)
            else {
                continue;
            };
            let seed = (round * 7 + skater * 13 + p as u32 * 5 + rule as u32 * 3) % 11;
            *value += uncertainty * (f64::from(seed) / 5.0 - 1.0);
            let beyond = limits.beyond(*value).filter(|_| judged && limits.flagged);
            push.flags.extend(beyond.map(|limit| Flag {
                rule,
                value: *value,
                limit,
            }));
        }
    }
}
