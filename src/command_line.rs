//! The command line, declared once: the program reads it, the manual page and the
//! completions of shells are made from it (`kickplate-lab manual`).

use std::fmt::Write as _;
use std::path::PathBuf;
use std::sync::LazyLock;

use clap::{Parser, Subcommand, ValueEnum};

use crate::pose::SHIPPED_MODELS;
use crate::station::{
    ClubReportOptions, CommentsGo, DemoOptions, ExportOptions, LiveOptions, RejudgeOptions,
    ReviewOptions, RulerCommand, ScaleOptions,
};

/// A rinkside camera station that watches the forward stride and gives each
/// skater one cue after each pass. Without a command: the live station.
#[derive(Parser)]
#[command(
    version,
    long_version = LONG_VERSION.as_str(),
    args_conflicts_with_subcommands = true,
    after_help = "Exit codes: 0 done, 1 it could not be done, 2 what was given has to be changed."
)]
pub struct CommandLine {
    /// Show more of what is going on.
    #[arg(short, long, global = true)]
    pub verbose: bool,
    /// Of the live station.
    #[command(flatten)]
    pub live: LiveOptions,
    /// What else is to be done.
    #[command(subcommand)]
    pub command: Option<Command>,
}

/// What the program can do beside the live station.
#[derive(Subcommand)]
pub enum Command {
    /// Rendered skaters instead of a camera.
    Demo(DemoOptions),
    /// A recorded video, from a fixed camera.
    Review(ReviewOptions),
    /// Stored passes judged anew, without their video, with the limits of today.
    Rejudge(RejudgeOptions),
    /// How the camera stands, from things of known size in its picture.
    Scale(ScaleOptions),
    /// Measures the station with persons who hold angles and gaps.
    #[command(subcommand)]
    Ruler(RulerCommand),
    /// A recorded session as files: pages, clips, tables.
    Export(ExportOptions),
    /// A dataset of a season or a club as one page.
    ClubReport(ClubReportOptions),
    /// One page of what was found and what is missing.
    Check,
    /// The cameras and their ids.
    Cameras,
    /// The settings files.
    #[command(subcommand)]
    Config(ConfigCommand),
    /// The skaters.
    #[command(subcommand)]
    Roster(RosterCommand),
    /// Writes settings, recordings and pictures into one file.
    Backup {
        /// The file to write.
        file: PathBuf,
        /// Also where there is a file of that name.
        #[arg(long)]
        replace: bool,
    },
    /// Puts a backup in the place of settings, recordings and pictures.
    Restore {
        /// A file that 'kickplate backup' wrote.
        file: PathBuf,
    },
}

/// What can be done with the list of skaters.
#[derive(Subcommand)]
pub enum RosterCommand {
    /// Takes skaters from a CSV file: all of it, or nothing where it has a fault.
    Import {
        /// The file; its first line names the columns.
        file: PathBuf,
    },
    /// Writes the skaters into a CSV file.
    Export {
        /// The file to write; tabs where it ends with .tsv.
        file: PathBuf,
        /// Also where there is a file of that name.
        #[arg(long)]
        replace: bool,
    },
    /// Prints the skaters.
    List,
    /// Deletes a skater and everything stored of them.
    Delete {
        /// The name, or number and name as the list has them.
        name: String,
        /// What is done with comments on others in which a part of the name stands.
        #[arg(long, value_name = "WHAT")]
        comments: Option<CommentsGo>,
    },
}

/// What can be done with the settings files.
#[derive(Subcommand)]
pub enum ConfigCommand {
    /// Says whether the settings files are good.
    Check {
        /// Further lane files to look at.
        lane: Vec<PathBuf>,
    },
    /// Prints a settings file with every default written out.
    PrintDefaults {
        /// Which file.
        #[arg(default_value = "age-groups")]
        file: DefaultsOf,
    },
    /// Prints the reference of every key.
    Reference,
}

/// A settings file.
#[derive(Clone, Copy, ValueEnum)]
pub enum DefaultsOf {
    /// config/age-groups.toml
    AgeGroups,
    /// config/station.toml
    Station,
}

/// The version, the commit where the program was built as a package, and the models it
/// reads: no other file is taken for one of them.
static LONG_VERSION: LazyLock<String> = LazyLock::new(|| {
    let commit = option_env!("KICKPLATE_COMMIT").unwrap_or("not noted, built from source");
    let mut text = format!("{}\ncommit: {commit}\n", env!("CARGO_PKG_VERSION"));
    for model in SHIPPED_MODELS {
        // Writing into a String cannot fail.
        let _ = write!(text, "\n{}  {}", model.sha256, model.file);
    }
    text
});

#[cfg(test)]
mod tests {
    use clap::CommandFactory;

    use super::*;

    #[test]
    fn the_declaration_is_sound_and_the_long_version_names_commit_and_models() {
        CommandLine::command().debug_assert();
        let version = CommandLine::command().render_long_version();
        assert!(version.contains("commit: "), "{version}");
        for model in SHIPPED_MODELS {
            assert!(version.contains(model.sha256), "{version}");
        }
    }
}
