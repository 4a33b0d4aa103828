//! The command line: reads the words and calls the station.

use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Parser, Subcommand, ValueEnum};

use kickplate::config::{self, Lane};
use kickplate::rules::{AgeGroups, settings as age_groups};
use kickplate::station::program::{self, FAILURE, USAGE, complain, print};
use kickplate::station::{
    self, DemoOptions, ExportOptions, LiveOptions, ReviewOptions, ScaleOptions, StationSettings,
    reference,
};

/// A rinkside camera station that watches the forward stride and gives each
/// skater one cue after each pass. Without a command: the live station.
#[derive(Parser)]
#[command(
    version,
    args_conflicts_with_subcommands = true,
    after_help = "Exit codes: 0 done, 1 it could not be done, 2 what was given has to be changed."
)]
struct CommandLine {
    /// Show more of what is going on.
    #[arg(short, long, global = true)]
    verbose: bool,
    #[command(flatten)]
    live: LiveOptions,
    #[command(subcommand)]
    command: Option<Command>,
}

#[derive(Subcommand)]
enum Command {
    /// Rendered skaters instead of a camera.
    Demo(DemoOptions),
    /// A recorded video, from a fixed camera.
    Review(ReviewOptions),
    /// How the camera stands, from things of known size in its picture.
    Scale(ScaleOptions),
    /// Measures the station with persons who hold angles and gaps.
    #[command(subcommand)]
    Ruler(station::RulerCommand),
    /// A recorded session as files: pages, clips, tables.
    Export(ExportOptions),
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

#[derive(Subcommand)]
enum RosterCommand {
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
        comments: Option<station::CommentsGo>,
    },
}

#[derive(Subcommand)]
enum ConfigCommand {
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

#[derive(Clone, Copy, ValueEnum)]
enum DefaultsOf {
    /// config/age-groups.toml
    AgeGroups,
    /// config/station.toml
    Station,
}

fn main() -> ExitCode {
    station::began();
    let line = CommandLine::parse();
    // Only what runs for long keeps a log file.
    let log_folder = match &line.command {
        None | Some(Command::Demo(_)) => config::data_folder().ok().map(|d| d.join("logs")),
        _ => None,
    };
    program::run(line.verbose, log_folder.as_deref(), || run(line))
}

fn run(line: CommandLine) -> anyhow::Result<ExitCode> {
    match line.command {
        None => station::live(&line.live)?,
        Some(Command::Demo(options)) => station::demo(&options)?,
        Some(Command::Review(options)) => station::review(&options)?,
        Some(Command::Scale(options)) => station::scale(&options)?,
        Some(Command::Ruler(command)) => station::ruler_command(&command)?,
        Some(Command::Export(options)) => station::export(&options)?,
        Some(Command::Check) => return check_station(),
        Some(Command::Cameras) => station::cameras()?,
        Some(Command::Config(command)) => return config_command(command),
        Some(Command::Roster(RosterCommand::Import { file })) => station::roster_import(&file)?,
        Some(Command::Roster(RosterCommand::Export { file, replace })) => {
            station::roster_export(&file, replace)?
        }
        Some(Command::Roster(RosterCommand::List)) => station::roster_list()?,
        Some(Command::Roster(RosterCommand::Delete { name, comments })) => {
            station::roster_delete(&name, comments)?
        }
        Some(Command::Backup { file, replace }) => station::back_up(&file, replace)?,
        Some(Command::Restore { file }) => station::restore(&file)?,
    }
    Ok(ExitCode::SUCCESS)
}

fn config_command(command: ConfigCommand) -> anyhow::Result<ExitCode> {
    print(&match command {
        ConfigCommand::Check { lane } => return check_config(&lane),
        ConfigCommand::PrintDefaults { file } => match file {
            DefaultsOf::AgeGroups => age_groups::default_file(),
            DefaultsOf::Station => station::default_station_file(),
        },
        ConfigCommand::Reference => reference::text(),
    })?;
    Ok(ExitCode::SUCCESS)
}

fn check_station() -> anyhow::Result<ExitCode> {
    let report = station::check_report();
    print(&report.to_text())?;
    Ok(if report.can_run() {
        ExitCode::SUCCESS
    } else {
        ExitCode::from(FAILURE)
    })
}

/// Every file is looked at, also after a bad one.
fn check_config(lanes: &[PathBuf]) -> anyhow::Result<ExitCode> {
    let home = config::home()?;
    let station_path = station::station_file(&home);
    let settings = StationSettings::load(&station_path);
    let groups_path = station::age_groups_file(&home);
    let mut lanes = lanes.to_vec();
    let mut results = Vec::new();
    match settings {
        Ok(settings) => {
            lanes.splice(0..0, settings.lanes());
            results.push(Ok(station_path));
        }
        Err(e) => results.push(Err(e)),
    }
    results.push(AgeGroups::load(&groups_path).map(|_| groups_path));
    results.extend(
        lanes
            .into_iter()
            .map(|path| Lane::load(&path).map(|_| path)),
    );
    let mut code = ExitCode::SUCCESS;
    for result in results {
        match result {
            Ok(path) => print(&format!("good: {}\n", path.display()))?,
            Err(error) => {
                complain(&error.to_string());
                code = ExitCode::from(USAGE);
            }
        }
    }
    Ok(code)
}
