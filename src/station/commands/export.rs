//! `kickplate export`: a session as files for the coach, the parent and the
//! spreadsheet.

use std::collections::BTreeSet;
use std::io::{IsTerminal, Write};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use clap::builder::{PossibleValuesParser, TypedValueParser};

use crate::config::home;
use crate::display::Language;
use crate::export::{
    ExportError, ExportRequest, Exported, Format, Progress, Separator, Step, export as write_export,
};
use crate::panel::{ExportOrder, Message, Number};
use crate::roster::{Skater, SkaterId};
use crate::station::coach_service::Exporter;
use crate::station::settings::{StationSettings, station_file};
use crate::station::usage::UsageError;
use crate::station::words::passes;
use crate::store::{Archive, SessionSummary};

/// Which sessions to export.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum SessionChoice {
    /// The last one with a pass.
    #[default]
    Latest,
    /// Every one.
    All,
    /// The one of this number.
    Number(i64),
}

impl std::str::FromStr for SessionChoice {
    type Err = String;

    fn from_str(word: &str) -> Result<Self, String> {
        match word {
            "latest" => Ok(SessionChoice::Latest),
            "all" => Ok(SessionChoice::All),
            number => number
                .parse()
                .map(SessionChoice::Number)
                .map_err(|_| "it must be the number of a session, 'latest' or 'all'".to_owned()),
        }
    }
}

/// The words of a choice, each with what it stands for.
fn choice<T: Copy + Send + Sync + 'static>(
    words: &'static [(&'static str, T)],
) -> impl TypedValueParser<Value = T> {
    PossibleValuesParser::new(words.iter().map(|(word, _)| *word)).map(move |given| {
        let at = words.iter().position(|(word, _)| *word == given);
        words[at.unwrap_or(0)].1
    })
}

const FORMATS: &[(&str, Format)] = &[("folder", Format::Folder), ("zip", Format::Zip)];
const SEPARATORS: &[(&str, Separator)] = &[
    ("comma", Separator::Comma),
    ("semicolon", Separator::Semicolon),
];
const LANGUAGES: &[(&str, Language)] = &[("en", Language::En), ("fr", Language::Fr)];

/// `kickplate export`: a recorded session as files: pages, clips, tables.
#[derive(Debug, Clone, PartialEq, clap::Args)]
pub struct ExportOptions {
    /// Number of the session, 'latest' or 'all'.
    #[arg(long, value_name = "WHICH", default_value = "latest")]
    pub session: SessionChoice,
    /// Only this skater: name, number or both.
    #[arg(long, value_name = "NAME")]
    pub skater: Option<String>,
    /// Only flagged pushes in the tables; the pages still count everything.
    #[arg(long)]
    pub flagged_only: bool,
    /// What is written.
    #[arg(long, default_value = "folder", value_parser = choice(FORMATS))]
    pub format: Format,
    /// Without names, numbers, dates and comments; only pictures with blurred faces.
    #[arg(long)]
    pub anonymous: bool,
    /// Without clips and stills.
    #[arg(long)]
    pub without_pictures: bool,
    /// Of the CSV files: comma with decimal point, semicolon with decimal comma.
    #[arg(long, default_value = "comma", value_parser = choice(SEPARATORS))]
    pub separator: Separator,
    /// Language of the pages, where it is not the screen's.
    #[arg(long, value_parser = choice(LANGUAGES))]
    pub language: Option<Language>,
    /// Name of the folder or archive to write; it must not be there yet.
    #[arg(long, value_name = "PATH")]
    pub out: PathBuf,
}

/// Writes the export and says where it is.
///
/// # Errors
/// A session or skater that is not there (exit code 2), a store that cannot
/// be read, a disk that is full or gone, Ctrl-C.
pub fn export(options: &ExportOptions) -> anyhow::Result<()> {
    let settings = StationSettings::load(&station_file(&home()?))?;
    let folder = settings.recordings_folder()?;
    let archive = Archive::open(&folder)?;
    let sessions = chosen_sessions(&archive.sessions()?, options.session)?;
    let skater = match &options.skater {
        Some(name) => Some(chosen_skater(&archive.skaters()?, name)?),
        None => None,
    };
    let request = ExportRequest {
        sessions,
        skater,
        flagged_only: options.flagged_only,
        format: options.format,
        anonymous: options.anonymous,
        pictures: !options.without_pictures,
        out: std::path::absolute(&options.out)?,
        language: options.language.unwrap_or(settings.screen.language),
        separator: options.separator,
    };
    let cancel = Arc::new(AtomicBool::new(false));
    for signal in [signal_hook::consts::SIGINT, signal_hook::consts::SIGTERM] {
        // A second one ends the program at once.
        signal_hook::flag::register_conditional_shutdown(signal, 1, Arc::clone(&cancel))?;
        signal_hook::flag::register(signal, Arc::clone(&cancel))?;
    }
    let on_terminal = std::io::stderr().is_terminal();
    let exported = write_export(&archive, &request, &|p| show(p, on_terminal), &cancel);
    if on_terminal {
        // The line of the progress makes room.
        let _ = write!(std::io::stderr(), "\r\x1b[K");
    }
    let exported = exported.map_err(usage_or_failure)?;
    let mut out = std::io::stdout().lock();
    match writeln!(out, "{}", summary(&exported)) {
        Err(e) if e.kind() != std::io::ErrorKind::BrokenPipe => Err(e.into()),
        _ => Ok(()),
    }
}

/// The way to exports for the coach's panel: pages in the language of the big
/// screen, a name that tells the day and no skater.
pub(in crate::station) fn for_the_desk(language: Language) -> Exporter {
    Arc::new(
        move |archive: &Archive,
              order: &ExportOrder,
              tell: &dyn Fn(f32, Message),
              cancel: &AtomicBool| {
            let sessions = match order.session {
                Some(number) => SessionChoice::Number(number),
                None => SessionChoice::All,
            };
            let known = archive.sessions().map_err(failed)?;
            let format = if order.zip {
                Format::Zip
            } else {
                Format::Folder
            };
            let request = ExportRequest {
                sessions: chosen_sessions(&known, sessions).map_err(failed)?,
                skater: order.skater,
                flagged_only: order.flagged_only,
                format,
                anonymous: order.anonymous,
                pictures: true,
                out: order.into.join(desk_name(order, &jiff::Zoned::now())),
                language,
                // What spreadsheets expect where decimals have a comma.
                separator: match language {
                    Language::Fr => Separator::Semicolon,
                    Language::En => Separator::Comma,
                },
            };
            let told = |p: Progress| tell(p.done as f32 / p.of.max(1) as f32, step_saying(p.step));
            write_export(archive, &request, &told, cancel)
                .map(exported_saying)
                .map_err(failed)
        },
    )
}

fn failed(error: impl std::fmt::Display) -> Message {
    Message::ExportFailed {
        why: error.to_string(),
    }
}

/// How far it is, for the panel.
fn step_saying(step: Step) -> Message {
    match step {
        Step::Reading => Message::ExportReading {},
        Step::Points => Message::ExportPoints {},
        Step::Clips => Message::ExportClips {},
        Step::Tables => Message::ExportTables {},
        Step::Pages => Message::ExportPages {},
        Step::Packing => Message::ExportPacking {},
        Step::Finishing => Message::ExportFinishing {},
    }
}

/// What it came to, for the panel.
fn exported_saying(exported: Exported) -> Message {
    let told = |n: usize, saying: fn(usize) -> Message| (n > 0).then(|| saying(n));
    let more = [
        told(exported.clips_broken, |n| Message::ExportClipsBroken { n }),
        told(exported.points_broken, |n| Message::ExportPointsBroken {
            n,
        }),
        told(exported.reused, |n| Message::ExportReused { n }),
    ];
    Message::Exported {
        place: exported.path,
        files: exported.files,
        clips: exported.clips,
        size: Number(exported.bytes as f64 / 1e6, 1),
        more: more.into_iter().flatten().collect(),
    }
}

/// The name of an export from the panel: sorted by day, nobody's name in it.
fn desk_name(order: &ExportOrder, now: &jiff::Zoned) -> String {
    let mut name = format!("kickplate-{}", now.strftime("%Y-%m-%d-%H%M%S"));
    if let Some(session) = order.session {
        name += &format!("-session-{session}");
    }
    if order.zip {
        name += ".zip";
    }
    name
}

/// What the user named has to be changed, or it failed.
fn usage_or_failure(error: ExportError) -> anyhow::Error {
    match error {
        ExportError::Taken { .. }
        | ExportError::NoName { .. }
        | ExportError::NoFolder { .. }
        | ExportError::InTheWay { .. }
        | ExportError::Nothing(_)
        | ExportError::Words(_) => UsageError(error.to_string()).into(),
        other => other.into(),
    }
}

/// One line that is written over and over.
fn show(progress: Progress, on_terminal: bool) {
    if on_terminal {
        let _ = write!(
            std::io::stderr(),
            "\r\x1b[K{} of {}: {}",
            progress.done,
            progress.of,
            step(progress.step)
        );
    }
}

fn step(step: Step) -> &'static str {
    match step {
        Step::Reading => "reading the session",
        Step::Points => "body points",
        Step::Clips => "clips",
        Step::Tables => "tables",
        Step::Pages => "pages",
        Step::Packing => "packing",
        Step::Finishing => "finishing",
    }
}

fn summary(exported: &Exported) -> String {
    let clips = match exported.clips {
        1 => "1 clip".to_owned(),
        n => format!("{n} clips"),
    };
    let mut text = format!(
        "{}: {} files, {clips}, {:.1} MB",
        exported.path.display(),
        exported.files,
        exported.bytes as f64 / 1e6
    );
    if exported.clips_broken > 0 {
        text += &format!(
            "; {} flagged pushes have no clip because their pictures are damaged or missing",
            exported.clips_broken
        );
    }
    if exported.points_broken > 0 {
        text += &format!(
            "; the body points of {} could not be read",
            passes(exported.points_broken)
        );
    }
    if exported.reused > 0 {
        text += &format!(
            "; {} files of an export that was cut off were used again",
            exported.reused
        );
    }
    text
}

fn chosen_sessions(
    known: &[SessionSummary],
    choice: SessionChoice,
) -> Result<Vec<i64>, UsageError> {
    let numbers: BTreeSet<i64> = known.iter().map(|s| s.id.number()).collect();
    let latest = known.iter().rfind(|s| s.passes > 0);
    match choice {
        SessionChoice::All if !numbers.is_empty() => Ok(numbers.into_iter().collect()),
        SessionChoice::Latest if latest.is_some() => {
            Ok(latest.map(|s| s.id.number()).into_iter().collect())
        }
        SessionChoice::Number(n) if numbers.contains(&n) => Ok(vec![n]),
        SessionChoice::Number(n) if !numbers.is_empty() => Err(UsageError(format!(
            "there is no session {n}; there are: {}",
            numbers
                .iter()
                .map(i64::to_string)
                .collect::<Vec<_>>()
                .join(", ")
        ))),
        _ => Err(UsageError(
            "no session with a pass is recorded yet; record one, then export it".to_owned(),
        )),
    }
}

/// By name, number or both, whatever the case.
fn chosen_skater(known: &[Skater], name: &str) -> Result<SkaterId, UsageError> {
    let wanted = name.trim().to_lowercase();
    let is = |s: &&Skater| {
        let bib = s.bib.as_deref().unwrap_or_default();
        [s.name.as_str(), &s.label(), bib]
            .iter()
            .any(|text| !text.is_empty() && text.trim().to_lowercase() == wanted)
    };
    let found: Vec<&Skater> = known.iter().filter(is).collect();
    let labels = |skaters: &[&Skater]| {
        skaters
            .iter()
            .map(|s| s.label())
            .collect::<Vec<_>>()
            .join(", ")
    };
    match found[..] {
        [one] => Ok(one.id),
        [] => Err(UsageError(format!(
            "there is no skater '{}'; {}",
            name.trim(),
            if known.is_empty() {
                "the roster is empty".to_owned()
            } else {
                format!("there are: {}", labels(&known.iter().collect::<Vec<_>>()))
            }
        ))),
        _ => Err(UsageError(format!(
            "'{}' may be {}; write number and name",
            name.trim(),
            labels(&found)
        ))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::AgeGroup;

    #[test]
    fn an_export_from_the_panel_is_named_by_day_and_session_and_by_nobody() {
        let now = "2026-01-17T18:05:09+01:00[Europe/Zurich]".parse().unwrap();
        let mut order = ExportOrder {
            session: Some(12),
            skater: Some(SkaterId(3)),
            flagged_only: false,
            anonymous: true,
            zip: true,
            into: "/media/stick".into(),
        };
        assert_eq!(
            desk_name(&order, &now),
            "kickplate-2026-01-17-180509-session-12.zip"
        );
        (order.session, order.zip) = (None, false);
        assert_eq!(desk_name(&order, &now), "kickplate-2026-01-17-180509");
    }

    fn skater(id: i64, name: &str, bib: Option<&str>) -> Skater {
        Skater {
            id: SkaterId(id),
            bib: bib.map(str::to_owned),
            ..Skater::new(name, AgeGroup::U11)
        }
    }

    #[test]
    fn a_skater_is_found_by_name_number_or_both_and_never_guessed() {
        let known = [
            skater(1, "Robin", Some("12")),
            skater(2, "Robin", Some("7")),
            skater(3, "Élodie", None),
        ];
        assert_eq!(chosen_skater(&known, "12 robin").unwrap(), SkaterId(1));
        assert_eq!(chosen_skater(&known, "7").unwrap(), SkaterId(2));
        assert_eq!(chosen_skater(&known, " ÉLODIE ").unwrap(), SkaterId(3));
        let two = chosen_skater(&known, "Robin").unwrap_err().0;
        assert!(two.contains("12 Robin, 7 Robin"), "{two}");
        let none = chosen_skater(&known, "Rob").unwrap_err().0;
        assert!(none.contains("no skater 'Rob'"), "{none}");
        assert!(chosen_skater(&[], "").is_err());
    }

    #[test]
    fn without_sessions_there_is_a_sentence() {
        for choice in [
            SessionChoice::All,
            SessionChoice::Latest,
            SessionChoice::Number(3),
        ] {
            let said = chosen_sessions(&[], choice).unwrap_err().0;
            assert!(said.contains("no session"), "{said}");
        }
    }
}
