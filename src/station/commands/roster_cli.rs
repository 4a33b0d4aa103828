//! `kickplate roster`, `backup` and `restore`: the roster and the copies from
//! the command line, also while the station runs.

use std::path::{Path, PathBuf};

use clap::ValueEnum;

use super::dataset::deleted_in_datasets;
use crate::config;
use crate::roster::{Skater, import_csv};
use crate::station::coach_service::{ServiceError, erased_sentence, read_small, write_roster_file};
use crate::station::commands::backup;
use crate::station::live::shutdown::stop_on_signals;
use crate::station::program::print;
use crate::station::settings::{StationSettings, station_file};
use crate::station::usage::{UsageError, is_there};
use crate::station::words;
use crate::store::{Archive, Mention, MentionsGo};

/// The resources folder and the folder of the recordings.
fn places() -> anyhow::Result<(PathBuf, PathBuf)> {
    let home = config::home()?;
    let folder = StationSettings::load(&station_file(&home))?.recordings_folder()?;
    Ok((home, folder))
}

fn usage(error: ServiceError) -> anyhow::Error {
    UsageError(error.to_string()).into()
}

/// Takes a roster file whole or not at all.
///
/// # Errors
/// Every fault of the file with its line; recordings that cannot be used.
pub fn roster_import(file: &Path) -> anyhow::Result<()> {
    is_there(file)?;
    let bytes = read_small(file).map_err(usage)?;
    let archive = Archive::open(&places()?.1)?;
    let plan = import_csv(&bytes, &archive.skaters()?).map_err(|report| {
        let lines: Vec<String> = report.faults.iter().map(ToString::to_string).collect();
        UsageError(format!(
            "{}: nothing was imported: {}",
            file.display(),
            lines.join("; ")
        ))
    })?;
    archive.write_roster(&plan.new, &plan.changed)?;
    println!(
        "{} new, {} changed, {} as they were.",
        plan.new.len(),
        plan.changed.len(),
        plan.unchanged
    );
    for note in &plan.notes {
        println!("Note: {note}.");
    }
    Ok(())
}

/// Writes the roster as a CSV file.
///
/// # Errors
/// A file that cannot be written; recordings that cannot be used.
pub fn roster_export(file: &Path, replace: bool) -> anyhow::Result<()> {
    may_write(file, replace)?;
    let skaters = Archive::open(&places()?.1)?.skaters()?;
    write_roster_file(file, &skaters).map_err(usage)?;
    println!(
        "{} written to {}. It holds names: keep it safe.",
        skaters.len(),
        file.display()
    );
    Ok(())
}

/// Prints the roster.
///
/// # Errors
/// Recordings that cannot be used.
pub fn roster_list() -> anyhow::Result<()> {
    let skaters = Archive::open(&places()?.1)?.skaters()?;
    if skaters.is_empty() {
        println!("Nobody is on the roster yet.");
    }
    for skater in &skaters {
        println!("{}", line_of(skater));
    }
    Ok(())
}

fn line_of(skater: &Skater) -> String {
    let mut parts = vec![skater.age_group.name().to_owned()];
    parts.extend(skater.band.map(|b| format!("{} band", b.name())));
    parts.extend(skater.height_m.map(|h| format!("{:.0} cm", 100.0 * h)));
    parts.push(match &skater.consent {
        Some(consent) => format!(
            "pictures allowed by {} on {}",
            consent.given_by, consent.given_on
        ),
        None => "no pictures".to_owned(),
    });
    if !skater.overrides.is_empty() {
        parts.push(format!("own limits for {}", skater.overrides.len()));
    }
    if let Some(rule) = skater.focus {
        parts.push(format!("works on {}", rule.code()));
    }
    format!("{}: {}", skater.label(), parts.join(", "))
}

/// Deletes a skater and everything stored of them. `name` is the name, or
/// number and name as the list has it.
///
/// # Errors
/// No such skater or several; what could not be deleted.
pub fn roster_delete(name: &str, comments: Option<CommentsGo>) -> anyhow::Result<()> {
    let archive = Archive::open(&places()?.1)?;
    let wanted = name.trim().to_lowercase();
    let skaters = archive.skaters()?;
    let found: Vec<&Skater> = skaters
        .iter()
        .filter(|s| s.name.to_lowercase() == wanted || s.label().to_lowercase() == wanted)
        .collect();
    let [skater] = found[..] else {
        return Err(UsageError(match found.len() {
            0 => format!("nobody on the roster is called '{name}'; see 'kickplate roster list'"),
            n => format!("{n} skaters are called '{name}'; give number and name as 'kickplate roster list' has them"),
        })
        .into());
    };
    let mentions = archive.mentions_of(skater.id)?;
    let go = match comments {
        Some(CommentsGo::Keep) => MentionsGo::Keep,
        Some(CommentsGo::Strike) => MentionsGo::Strike,
        Some(CommentsGo::Delete) => MentionsGo::Delete,
        None if mentions.is_empty() => MentionsGo::Strike,
        None => {
            return Err(UsageError(format!(
                "nothing was deleted yet: a part of the name stands in what was written about others ({}); say what is done with it: --comments keep, strike or delete",
                listed(&mentions)
            ))
            .into());
        }
    };
    let erased = archive.delete_skater_and(skater.id, go)?;
    let mut text = erased_sentence(&skater.label(), &erased) + "\n";
    if !mentions.is_empty() {
        let done = match go {
            MentionsGo::Keep => "were kept as they are",
            MentionsGo::Strike => "had the name struck out",
            MentionsGo::Delete => "were deleted",
        };
        text += &format!("Comments on others that {done}: {}.\n", listed(&mentions));
    }
    text += &deleted_in_datasets(&archive)?;
    print(&text)
}

/// What is done with comments on others in which the name stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum CommentsGo {
    /// They stay as they are.
    Keep,
    /// The name is struck out of them.
    Strike,
    /// They are deleted.
    Delete,
}

fn listed(mentions: &[Mention]) -> String {
    let each: Vec<String> = mentions
        .iter()
        .map(|m| {
            format!(
                "session {}, pass {}, push {}: '{}'",
                m.push.pass.session,
                m.push.pass.number,
                m.push.position + 1,
                m.comment
            )
        })
        .collect();
    each.join("; ")
}

/// What is there already is not replaced unasked.
pub(super) fn may_write(file: &Path, replace: bool) -> Result<(), UsageError> {
    if replace || file.symlink_metadata().is_err() {
        return Ok(());
    }
    Err(UsageError(format!(
        "'{}' is there already; choose another name, or give --replace",
        file.display()
    )))
}

/// Writes settings, recordings and pictures into one file.
///
/// # Errors
/// What cannot be read or written.
pub fn back_up(file: &Path, replace: bool) -> anyhow::Result<()> {
    may_write(file, replace)?;
    let (home, folder) = places()?;
    let cancel = stop_on_signals()?;
    let written = backup::back_up_unless(&home, &folder, file, &cancel)?;
    println!(
        "{} files in {} ({:.1} MB). It holds names and pictures: keep it safe.",
        written.files,
        file.display(),
        written.bytes as f64 / 1e6
    );
    Ok(())
}

/// Puts a backup in the place of settings, recordings and pictures.
///
/// # Errors
/// Why it was not taken; then nothing was changed.
pub fn restore(file: &Path) -> anyhow::Result<()> {
    is_there(file)?;
    let (home, folder) = places()?;
    let restored = backup::restore(&home, &folder, file)?;
    println!("{} files restored.", restored.files);
    println!(
        "The settings from before are in {}.",
        restored.old_config.display()
    );
    if let Some(old) = &restored.old_recordings {
        println!(
            "The recordings from before are in {}. Delete that folder when you need it no more: it holds names and pictures.",
            old.display()
        );
    }
    let sessions = Archive::open(&folder)?.sessions()?;
    let passes = sessions.iter().map(|s| s.passes as usize).sum();
    println!("{} sessions, {}.", sessions.len(), words::passes(passes));
    Ok(())
}
