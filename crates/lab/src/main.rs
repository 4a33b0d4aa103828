//! The command line of the developers' program.

use std::process::ExitCode;

use clap::{Parser, Subcommand};

use kickplate::station::{self, program};
use kickplate_lab::bench::{BenchOptions, bench};
use kickplate_lab::knock::{KnockOptions, knock};
use kickplate_lab::manual::{ManualOptions, manual};
use kickplate_lab::people::{PeopleOptions, people};
use kickplate_lab::score::{ScoreOptions, score};
use kickplate_lab::soak::{SoakOptions, soak};

/// Measures Kickplate: how right, how fast, how lasting.
#[derive(Parser)]
#[command(
    version,
    after_help = "Exit codes: 0 done, 1 it could not be done, 2 what was given has to be changed."
)]
struct CommandLine {
    /// Show more of what is going on.
    #[arg(short, long, global = true)]
    verbose: bool,
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// How right the station is: scores it on rendered clips whose truth is known.
    Score(ScoreOptions),
    /// What the station reads of a real person with skin markers (tests/people).
    People(PeopleOptions),
    /// Whether a knocked camera is noticed, and nothing harmless taken for one.
    Knock(KnockOptions),
    /// How fast this machine is, stage by stage.
    Bench(BenchOptions),
    /// An endurance run: clips as the camera over and over, and what must not grow.
    Soak(SoakOptions),
    /// The manual pages and completions of the station's program, for a package.
    Manual(ManualOptions),
}

fn main() -> ExitCode {
    station::began();
    let line = CommandLine::parse();
    let log_folder = match &line.command {
        Command::Soak(options) => Some(options.out.join("logs")),
        Command::Score(_)
        | Command::People(_)
        | Command::Knock(_)
        | Command::Bench(_)
        | Command::Manual(_) => None,
    };
    program::run(line.verbose, log_folder.as_deref(), || {
        match &line.command {
            Command::Score(options) => score(options)?,
            Command::People(options) => people(options)?,
            Command::Knock(options) => knock(options)?,
            Command::Bench(options) => program::print(&bench(options)?)?,
            Command::Soak(options) => soak(options)?,
            Command::Manual(options) => manual(options)?,
        }
        Ok(ExitCode::SUCCESS)
    })
}
