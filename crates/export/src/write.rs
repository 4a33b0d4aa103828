//! Writes an export: what costs time first, then the tables, then the pages
//! that link everything.

mod clips;

use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;

use crossbeam_channel::{Receiver, Sender, bounded};

use super::build::Build;
use super::clip::{Captions, ClipError, ClipFiles};
use super::dataset::{Material, PassPart, SessionPart, slug};
use super::page::{ClipLink, Files, Pictures};
use super::session_file::session_json;
use super::words::ExportWords;
use super::{ExportError, ExportRequest, Exported, Format, Progress, Step};
use super::{csv_file, page, points, table};
use crate::store::{PassKey, PictureStrip, StripInfo};
use crate::stride::{self, Curves};
use crate::track::Pass;
use clips::{Job, made_from, make_clips};

/// Where pictures and points come from. A fault is said in a few words and
/// costs that picture or those points only.
pub trait Shelf {
    /// The pictures of one strip.
    fn strip(&self, id: i64) -> Result<PictureStrip, String>;
    /// The body points of one pass.
    fn points(&self, key: PassKey) -> Result<Option<Pass>, String>;
}

/// Bytes for pages, tables and what a file system adds, at least.
const ROOM_BYTES: u64 = 4 << 20;

/// Writes everything under `request.out`.
pub fn write(
    material: &Material,
    shelf: &dyn Shelf,
    request: &ExportRequest,
    words: &ExportWords,
    progress: &dyn Fn(Progress),
    cancel: &AtomicBool,
) -> Result<Exported, ExportError> {
    if material.passes().next().is_none() {
        return Err(ExportError::Nothing(
            "the chosen sessions have no such pass".to_owned(),
        ));
    }
    let build = Build::begin(&request.out)?;
    let needed_bytes = estimate(material, request);
    match build.free_bytes() {
        Some(free_bytes) if free_bytes < needed_bytes => {
            return Err(ExportError::NoRoom {
                folder: request.out.clone(),
                needed_bytes,
                free_bytes,
            });
        }
        _ => {}
    }
    let (jobs, inbox) = bounded::<Job>(1);
    let (outbox, results) = bounded(1);
    thread::scope(|scope| {
        let spawned = thread::Builder::new()
            .name("export-clips".to_owned())
            .spawn_scoped(scope, move || make_clips(&inbox, &outbox));
        if let Err(e) = spawned {
            return Err(ExportError::Encoding {
                file: "clips".to_owned(),
                why: e.to_string(),
            });
        }
        let writer = Writer {
            material,
            shelf,
            request,
            words,
            build,
            jobs,
            results,
            tick: Ticker {
                done: 0,
                of: units(material, request),
                progress,
                cancel,
            },
            pictures: Pictures {
                broken: vec![0; material.people.len() + 1],
                left_out: !request.pictures,
                ..Pictures::default()
            },
            others: Vec::new(),
            points_broken: 0,
        };
        writer.run()
    })
}

struct Ticker<'a> {
    done: usize,
    of: usize,
    progress: &'a dyn Fn(Progress),
    cancel: &'a AtomicBool,
}

impl Ticker<'_> {
    fn begin(&self, step: Step) -> Result<(), ExportError> {
        if self.cancel.load(Ordering::Relaxed) {
            return Err(ExportError::Cancelled);
        }
        (self.progress)(Progress {
            done: self.done.min(self.of),
            of: self.of,
            step,
        });
        Ok(())
    }

    fn done(&mut self) {
        self.done += 1;
    }
}

struct Writer<'a> {
    material: &'a Material,
    shelf: &'a dyn Shelf,
    request: &'a ExportRequest,
    words: &'a ExportWords,
    build: Build,
    jobs: Sender<Job>,
    results: Receiver<Result<ClipFiles, ClipError>>,
    tick: Ticker<'a>,
    pictures: Pictures,
    others: Vec<(String, &'static str)>,
    points_broken: usize,
}

impl Writer<'_> {
    fn run(mut self) -> Result<Exported, ExportError> {
        let material = self.material;
        for (session, part) in material.passes() {
            if self.skipped(part) {
                continue;
            }
            if part.has_points || !part.strips.is_empty() {
                self.pass(session, part)?;
            }
        }
        self.tables()?;
        self.pages()?;
        self.finish()
    }

    /// Passes of which tables and pictures are not wanted.
    fn skipped(&self, part: &PassPart) -> bool {
        self.request.flagged_only && !part.is_flagged()
    }

    /// Points and clips of one pass.
    fn pass(&mut self, session: &SessionPart, part: &PassPart) -> Result<(), ExportError> {
        let stem = format!("{}-pass-{:03}", session.stem(), part.key.number);
        self.tick.begin(Step::Points)?;
        let points = match self.shelf.points(part.key) {
            Ok(points) => points,
            Err(e) => {
                tracing::warn!("the points of pass {} were left out: {e}", part.key.number);
                self.points_broken += 1;
                None
            }
        };
        if let Some(points) = &points {
            let file = format!("points/{stem}.csv");
            let bytes = points::to_csv(points, self.request.separator);
            self.build.put(&file, &bytes)?;
            self.tick.done();
        }
        if !self.request.pictures {
            return Ok(());
        }
        let curves = points
            .as_ref()
            .map(|points| stride::cut(points, &part.lane).curves);
        for info in &part.strips {
            self.tick.begin(Step::Clips)?;
            self.clip(part, info, (points.as_ref(), curves.as_ref()), &stem)?;
            self.tick.done();
        }
        Ok(())
    }

    fn clip(
        &mut self,
        part: &PassPart,
        info: &StripInfo,
        (points, curves): (Option<&Pass>, Option<&Curves>),
        stem: &str,
    ) -> Result<(), ExportError> {
        let i = info.push as usize;
        // The flag may be dismissed.
        let (Some(push), Some(flag)) = (
            part.pass.pushes.get(i),
            part.standing(i).find(|f| f.rule == info.rule),
        ) else {
            return Ok(());
        };
        let rule = info.rule.rule();
        let limits = &part.pass.thresholds.limits[info.rule];
        let limits = self.words.limits(rule, limits);
        let captions = Captions {
            real_time: self.words.get("clip.real_time").to_owned(),
            slow: self.words.get("clip.slow").to_owned(),
            numbers: self.words.fill(
                "clip.numbers",
                &[
                    ("name", self.words.name(rule)),
                    ("value", &self.words.value(rule, flag.value)),
                    ("limit", &limits),
                ],
            ),
        };
        let name = format!("{stem}-push-{}-{}", i + 1, slug(rule.id.code()));
        let (clip, still) = (format!("clips/{name}.mp4"), format!("stills/{name}.png"));
        let strip = match self.shelf.strip(info.id) {
            Ok(strip) => strip,
            Err(e) => {
                tracing::warn!("no clip of {name}: {e}");
                self.broken(part);
                return Ok(());
            }
        };
        if self.material.anonymous && !strip.faces_blurred {
            return Ok(());
        }
        let made_from = made_from(&strip, points, &captions, (flag.value, flag.limit));
        if !(self.build.reuse(&clip, &made_from) && self.build.reuse(&still, &made_from)) {
            let job = Job {
                strip,
                curves: curves.cloned(),
                rule: rule.id,
                leg: push.leg,
                value: flag.value,
                limit: flag.limit,
                captions,
            };
            let stopped = || ExportError::Encoding {
                file: clip.clone(),
                why: "the encoder stopped".to_owned(),
            };
            self.jobs.send(job).map_err(|_| stopped())?;
            match self.results.recv().map_err(|_| stopped())? {
                Ok(files) => {
                    self.build.put_costly(&clip, &made_from, &files.mp4)?;
                    self.build.put_costly(&still, &made_from, &files.png)?;
                }
                Err(e) => {
                    tracing::warn!("no clip of {name}: {e}");
                    self.broken(part);
                    return Ok(());
                }
            }
        }
        self.pictures.links.push(ClipLink {
            person: part.person,
            clip,
            still,
            pass: part.key.number,
            push: i + 1,
            leg: push.leg,
            rule: rule.id,
            value: flag.value,
            limits,
        });
        Ok(())
    }

    fn broken(&mut self, part: &PassPart) {
        let place = part.person.unwrap_or(self.material.people.len());
        if let Some(n) = self.pictures.broken.get_mut(place) {
            *n += 1;
        }
    }

    fn tables(&mut self) -> Result<(), ExportError> {
        self.tick.begin(Step::Tables)?;
        let flagged_only = self.request.flagged_only;
        let kept;
        let material = if flagged_only {
            kept = flagged_passes(self.material);
            &kept
        } else {
            self.material
        };
        let encoding = |file: &str| {
            let file = file.to_owned();
            move |why: String| ExportError::Encoding { file, why }
        };
        let pushes = table::pushes(material, self.words, flagged_only);
        let csv = csv_file::to_csv(&pushes, self.request.separator);
        self.put(
            "pushes.csv",
            &csv.map_err(encoding("pushes.csv"))?,
            "readme.pushes",
        )?;
        let parquet = kickplate_table::to_parquet(&pushes).map_err(|e| e.to_string());
        let parquet = parquet.map_err(encoding("pushes.parquet"))?;
        self.put("pushes.parquet", &parquet, "readme.parquet")?;
        drop(pushes);
        let passes = table::passes(material, self.words);
        let csv = csv_file::to_csv(&passes, self.request.separator);
        self.put(
            "passes.csv",
            &csv.map_err(encoding("passes.csv"))?,
            "readme.passes",
        )?;
        for session in &material.sessions {
            let name = match material.sessions.len() {
                1 => "session.json".to_owned(),
                _ => format!("session-{}.json", session.number),
            };
            let text = session_json(self.words, material, session)?;
            self.put(&name, text.as_bytes(), "readme.session")?;
        }
        self.tick.done();
        Ok(())
    }

    fn put(&mut self, name: &str, bytes: &[u8], about: &'static str) -> Result<(), ExportError> {
        self.build.put(name, bytes)?;
        self.others.push((name.to_owned(), about));
        Ok(())
    }

    fn pages(&mut self) -> Result<(), ExportError> {
        self.tick.begin(Step::Pages)?;
        let (words, material) = (self.words, self.material);
        let mut pages = Vec::new();
        for (i, person) in material.people.iter().enumerate() {
            let slug = slug(&person.label(""));
            let dash = if slug.is_empty() { "" } else { "-" };
            let file = format!("skaters/skater-{:02}{dash}{slug}.html", i + 1);
            let html = page::skater_page(words, material, Some(i), &self.pictures);
            self.build.put(&file, html.as_bytes())?;
            pages.push(file);
        }
        let nobody = material
            .has_nobody()
            .then(|| "skaters/no-name.html".to_owned());
        if let Some(file) = &nobody {
            let html = page::skater_page(words, material, None, &self.pictures);
            self.build.put(file, html.as_bytes())?;
        }
        self.others.push(("README.txt".to_owned(), "readme.title"));
        let files = Files {
            pages,
            nobody,
            others: self.others.clone(),
        };
        let html = page::session_page(words, material, &files);
        self.build.put("index.html", html.as_bytes())?;
        let readme = self.readme(&files);
        self.build.put("README.txt", readme.as_bytes())?;
        self.tick.done();
        Ok(())
    }

    fn readme(&self, files: &Files) -> String {
        let words = self.words;
        let mut lines = vec![words.get("readme.title").to_owned(), String::new()];
        let mut entry = |name: &str, about: &str| {
            lines.push(format!("{name:<16} {}", words.get(about)));
        };
        entry("index.html", "readme.index");
        entry("skaters/", "readme.skaters");
        for (name, about) in files.others.iter().filter(|(n, _)| n != "README.txt") {
            entry(name, about);
        }
        if self.build.has("points/") {
            entry("points/", "readme.points");
        }
        if self.build.has("clips/") {
            entry("clips/", "readme.clips");
            entry("stills/", "readme.stills");
        }
        for key in [
            "readme.units",
            "readme.privacy",
            "delete.copy",
            "delete.station",
        ] {
            lines.extend([String::new(), words.get(key).to_owned()]);
        }
        if !self.material.anonymous && !self.material.is_of_one() {
            lines.extend([String::new(), words.get("readme.hand_over").to_owned()]);
        }
        if self.request.format == Format::Zip {
            lines.extend([String::new(), words.get("readme.zip").to_owned()]);
        }
        if self.material.anonymous {
            lines.extend([String::new(), words.get("page.anonymous").to_owned()]);
        }
        lines.join("\r\n") + "\r\n"
    }

    fn finish(self) -> Result<Exported, ExportError> {
        let exported = Exported {
            path: self.build.out().to_owned(),
            files: self.build.files(),
            bytes: self.build.bytes,
            clips: self.pictures.links.len(),
            clips_broken: self.pictures.broken.iter().sum(),
            points_broken: self.points_broken,
            passes_damaged: self.material.passes_damaged,
            passes_lost: self.material.sessions.iter().map(|s| s.passes_lost).sum(),
            reused: self.build.reused,
        };
        let tick = self.tick;
        match self.request.format {
            Format::Folder => {
                tick.begin(Step::Finishing)?;
                self.build.finish_folder()?;
                Ok(exported)
            }
            Format::Zip => {
                let bytes = self.build.finish_zip(&mut |_| tick.begin(Step::Packing))?;
                Ok(Exported { bytes, ..exported })
            }
        }
    }
}

/// Only what is flagged and not dismissed.
fn flagged_passes(material: &Material) -> Material {
    let mut kept = material.clone();
    for session in &mut kept.sessions {
        session.passes.retain(PassPart::is_flagged);
    }
    kept
}

/// Steps of work.
fn units(material: &Material, request: &ExportRequest) -> usize {
    let of_pass = |p: &PassPart| {
        let strips = if request.pictures { p.strips.len() } else { 0 };
        usize::from(p.has_points) + strips
    };
    2 + material.passes().map(|(_, p)| of_pass(p)).sum::<usize>()
}

/// Bytes the export takes at most, roughly.
fn estimate(material: &Material, request: &ExportRequest) -> u64 {
    let mut bytes = ROOM_BYTES + (material.people.len() as u64) * (100 << 10);
    for (_, part) in material.passes() {
        bytes += (3 << 10) + (part.pass.pushes.len() as u64) * (7 << 10);
        if part.has_points {
            let seconds = (part.pass.ended_at_s - part.pass.started_at_s).clamp(0.0, 600.0);
            bytes += (seconds * 60.0) as u64 * 33 * points::BYTES_A_LINE;
        }
        if request.pictures {
            // The clip shows them twice, the still is without loss.
            bytes += part
                .strips
                .iter()
                .map(|s| s.bytes.saturating_mul(2).saturating_add(1 << 20))
                .sum::<u64>();
        }
    }
    match request.format {
        Format::Folder => bytes,
        Format::Zip => bytes * 2,
    }
}
