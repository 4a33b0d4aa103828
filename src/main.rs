//! The command line: reads the words and calls the station.

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Parser;

use kickplate::command_line::{Command, CommandLine, ConfigCommand, DefaultsOf, RosterCommand};
use kickplate::config::{self, Lane};
use kickplate::rules::{AgeGroups, settings as age_groups};
use kickplate::station::program::{self, FAILURE, USAGE, complain, print};
use kickplate::station::{self, StationSettings, reference};

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
        Some(Command::Rejudge(options)) => station::rejudge(&options)?,
        Some(Command::Scale(options)) => station::scale(&options)?,
        Some(Command::Ruler(command)) => station::ruler_command(&command)?,
        Some(Command::Export(options)) => station::export(&options)?,
        Some(Command::ClubReport(options)) => station::club_report(&options)?,
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
