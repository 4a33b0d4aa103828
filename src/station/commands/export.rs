//! `kickplate export`: a session as files for the coach, the parent and the
//! spreadsheet.

use std::cell::Cell;
use std::collections::BTreeSet;
use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use clap::builder::{PossibleValuesParser, TypedValueParser};
use jiff::Zoned;
use jiff::civil::Date;

use super::dataset::{self, station_name};
use crate::config::home;
use crate::display::Language;
use crate::export::{
    ExportError, ExportRequest, Exported, Format, Progress, Separator, Step, export as write_export,
};
use crate::panel::{ExportOrder, ExportWhat, Message, Number};
use crate::roster::{Skater, SkaterId};
use crate::station::coach_service::Exporter;
use crate::station::live::shutdown::stop_on_signals;
use crate::station::program::print;
use crate::station::settings::{StationSettings, station_file};
use crate::station::usage::UsageError;
use crate::station::words::passes;
use crate::store::{Archive, Day, SessionSummary, days};

/// Which sessions to export.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum SessionChoice {
    /// All of today, or else of the last day with a pass.
    #[default]
    Tonight,
    /// All of a day.
    Day(Date),
    /// The last one with a pass.
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
            "tonight" => Ok(SessionChoice::Tonight),
            "latest" => Ok(SessionChoice::Latest),
            "all" => Ok(SessionChoice::All),
            number => number.parse().map(SessionChoice::Number).map_err(|_| {
                "it must be the number of a session, 'tonight', 'latest' or 'all'".to_owned()
            }),
        }
    }
}

/// The words of a choice, each with what it stands for.
pub(super) fn choice<T: Copy + Send + Sync + 'static>(
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
pub(super) const LANGUAGES: &[(&str, Language)] = &[("en", Language::En), ("fr", Language::Fr)];

/// `kickplate export`: a recorded session as files: pages, clips, tables.
#[derive(Debug, Clone, PartialEq, clap::Args)]
pub struct ExportOptions {
    /// 'tonight' (or else the last evening), 'latest', 'all', or the number of a session.
    #[arg(long, value_name = "WHICH", default_value = "tonight")]
    pub session: SessionChoice,
    /// Everything of one day, as 2026-11-30.
    #[arg(long, value_name = "DATE", conflicts_with = "session")]
    pub day: Option<Date>,
    /// Only lists what is recorded, day by day.
    #[arg(long)]
    pub list: bool,
    /// Only this skater: name, number or both.
    #[arg(long, value_name = "NAME")]
    pub skater: Option<String>,
    /// Only flagged pushes in the tables; the pages still count everything.
    #[arg(long)]
    pub flagged_only: bool,
    /// What is written; without it a folder, or an archive where the name ends with .zip.
    #[arg(long, value_parser = choice(FORMATS))]
    pub format: Option<Format>,
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
    #[arg(long, value_name = "PATH", required_unless_present_any = ["list", "dataset"])]
    pub out: Option<PathBuf>,
    /// Adds the sessions to the dataset in this folder, for data tools; without names.
    #[arg(long, value_name = "DIR", conflicts_with_all = ["out", "skater", "flagged_only", "format", "anonymous", "without_pictures", "separator", "language"])]
    pub dataset: Option<PathBuf>,
    /// What this station is called in the dataset: small letters, digits, hyphens.
    #[arg(long, value_name = "NAME", default_value = "station", requires = "dataset", value_parser = station_name)]
    pub station: String,
    /// With the names of skaters whose consent is noted, in the dataset.
    #[arg(long, requires = "dataset")]
    pub names: bool,
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
    let known = archive.sessions()?;
    if options.list {
        return print(&list_of(&known));
    }
    let choice = options.day.map_or(options.session, SessionChoice::Day);
    let sessions = chosen_sessions(&known, choice, Zoned::now().date())?;
    if let Some(dataset) = &options.dataset {
        return dataset::add(options, &std::path::absolute(dataset)?, &archive, sessions);
    }
    let Some(out) = &options.out else {
        return print(&list_of(&known));
    };
    let out = std::path::absolute(out)?;
    let left_out = left_out(&known, choice, &sessions);
    let skater = match &options.skater {
        Some(name) => Some(chosen_skater(&archive.skaters()?, name)?),
        None => None,
    };
    let request = ExportRequest {
        sessions,
        skater,
        flagged_only: options.flagged_only,
        format: options.format.unwrap_or_else(|| format_of(&out)),
        anonymous: options.anonymous,
        pictures: !options.without_pictures,
        out,
        language: options.language.unwrap_or(settings.screen.language),
        separator: options.separator,
    };
    // A second signal ends the program at once.
    let cancel = stop_on_signals()?;
    let on_terminal = std::io::stderr().is_terminal();
    let shown = Cell::new(None);
    let told = |p| show(p, on_terminal, &shown);
    let exported = write_export(&archive, &request, &told, &cancel);
    if on_terminal {
        // The line of the progress makes room.
        let _ = write!(std::io::stderr(), "\r\x1b[K");
    }
    let exported = exported.map_err(usage_or_failure)?;
    print(&(summary(&exported) + &left_out + "\n"))
}

/// The way to exports for the coach's panel: pages in the language of the big
/// screen, a name that tells the day and no skater.
pub fn for_the_panel(language: Language) -> Exporter {
    Arc::new(
        move |archive: &Archive,
              order: &ExportOrder,
              tell: &dyn Fn(f32, Message),
              cancel: &AtomicBool| {
            let known = archive.sessions().map_err(failed)?;
            let choice = match order.what {
                ExportWhat::Session(number) => SessionChoice::Number(number),
                ExportWhat::All => SessionChoice::All,
                ExportWhat::Tonight => SessionChoice::Tonight,
            };
            let today = Zoned::now().date();
            let sessions = chosen_sessions(&known, choice, today).unwrap_or_default();
            if sessions.is_empty() {
                return Err(Message::ExportNothing {});
            }
            let format = if order.zip {
                Format::Zip
            } else {
                Format::Folder
            };
            let request = ExportRequest {
                sessions,
                skater: order.skater,
                flagged_only: order.flagged_only,
                format,
                anonymous: order.anonymous,
                pictures: true,
                out: order.into.join(panel_name(order, &jiff::Zoned::now())),
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
                .map_err(in_coachs_words)
        },
    )
}

fn failed(error: impl std::fmt::Display) -> Message {
    Message::ExportFailed {
        why: error.to_string(),
    }
}

/// Why an export failed, without words of the command line.
fn in_coachs_words(error: ExportError) -> Message {
    match error {
        ExportError::Nothing(_) => Message::ExportNothing {},
        ExportError::Cancelled => Message::ExportCancelled {},
        ExportError::NoRoom { folder, .. } => Message::ExportNoRoom { folder },
        other => failed(other),
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
fn panel_name(order: &ExportOrder, now: &jiff::Zoned) -> String {
    let mut name = format!("kickplate-{}", now.strftime("%Y-%m-%d-%H%M%S"));
    if let ExportWhat::Session(session) = order.what {
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

/// One line that is written over and over; elsewhere than on a terminal a
/// line for each kind of work.
fn show(progress: Progress, on_terminal: bool, shown: &Cell<Option<Step>>) {
    let mut to = std::io::stderr().lock();
    let Progress { done, of, .. } = progress;
    let what = step(progress.step);
    // Nobody may be listening; that is no fault.
    if on_terminal {
        let _ = write!(to, "\r\x1b[K{done} of {of}: {what}");
    } else if shown.replace(Some(progress.step)) != Some(progress.step) {
        let _ = writeln!(to, "{done} of {of}: {what}");
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
    if exported.passes_damaged > 0 {
        text += &format!(
            "; {} left out because they do not read as they were written: the disk may be failing",
            passes(exported.passes_damaged)
        );
    }
    if exported.passes_lost > 0 {
        text += &format!(
            "; {} could not be stored when they were skated",
            passes(exported.passes_lost as usize)
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

/// What a name asks for.
fn format_of(out: &Path) -> Format {
    let zip = out
        .extension()
        .is_some_and(|ending| ending.eq_ignore_ascii_case("zip"));
    if zip { Format::Zip } else { Format::Folder }
}

/// What is recorded, newest day first.
fn list_of(known: &[SessionSummary]) -> String {
    let mut text: String = days(known)
        .iter()
        .rev()
        .map(|day| {
            let numbers: Vec<String> = day
                .sessions
                .iter()
                .map(|s| format!("{} ({})", s.id.number(), passes(s.passes as usize)))
                .collect();
            let which = match numbers.len() {
                1 => "session",
                _ => "sessions",
            };
            let all = passes(day.passes() as usize);
            format!("{}: {all}, {which} {}\n", day.date, numbers.join(", "))
        })
        .collect();
    if text.is_empty() {
        text += "No session with a pass is recorded yet.\n";
    }
    text
}

/// What a choice of the evening did not take, in a sentence.
fn left_out(known: &[SessionSummary], choice: SessionChoice, taken: &[i64]) -> String {
    let others: Vec<&SessionSummary> = known
        .iter()
        .filter(|s| s.passes > 0 && !taken.contains(&s.id.number()))
        .collect();
    let whole_day = matches!(choice, SessionChoice::Tonight | SessionChoice::Day(_));
    match (&others[..], choice) {
        ([], _) | (_, SessionChoice::All | SessionChoice::Number(_)) => String::new(),
        _ => {
            let n = passes(others.iter().map(|s| s.passes as usize).sum());
            let whose = if whole_day {
                "other days"
            } else {
                "other sessions"
            };
            format!(
                "\nNot in it: {n} of {whose}. 'kickplate export --list' shows them; --day or --session takes them."
            )
        }
    }
}

pub(super) fn chosen_sessions(
    known: &[SessionSummary],
    choice: SessionChoice,
    today: Date,
) -> Result<Vec<i64>, UsageError> {
    let numbers: BTreeSet<i64> = known.iter().map(|s| s.id.number()).collect();
    let latest = known.iter().rfind(|s| s.passes > 0);
    let days = days(known);
    let on = |date: Date| days.iter().find(|day| day.date == date);
    let of = |day: &Day| day.sessions.iter().map(|s| s.id.number()).collect();
    match choice {
        SessionChoice::Tonight if !days.is_empty() => {
            Ok(on(today).or(days.last()).map(of).unwrap_or_default())
        }
        SessionChoice::Day(date) if !days.is_empty() => on(date).map(of).ok_or_else(|| {
            let there: Vec<String> = days.iter().map(|day| day.date.to_string()).collect();
            UsageError(format!(
                "nothing was recorded on {date}; there are passes of: {}",
                there.join(", ")
            ))
        }),
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
            "no session with a pass is recorded yet; record one first".to_owned(),
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
#[path = "export_tests.rs"]
mod tests;
