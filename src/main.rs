//! The command line: reads the words, calls the station, turns what went wrong
//! into one sentence and an exit code.

use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::Context;
use clap::{Args, Parser, Subcommand, ValueEnum};

use kickplate::config::{self, ConfigError, Lane, PlaceError, View};
use kickplate::display::Language;
use kickplate::export::{Format, Separator};
use kickplate::rules::{AgeGroup, AgeGroups, settings as age_groups};
use kickplate::station::score::{self, ScoreOptions};
use kickplate::station::{
    self, BenchOptions, BenchPath, DemoOptions, EngineChoice, ExportOptions, LiveOptions,
    ModelChoice, ReviewOptions, ScaleOptions, SessionChoice, SoakOptions, StationSettings,
    UsageError, fault, logging, reference,
};

/// It could not be done.
const FAILURE: u8 = 1;
/// What was given has to be changed: a word, or a settings file it names.
const USAGE: u8 = 2;

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
    live: LiveWords,
    #[command(subcommand)]
    command: Option<Command>,
}

#[derive(Args)]
struct LiveWords {
    /// Camera, by the id that 'kickplate cameras' prints.
    #[arg(long, value_name = "ID")]
    camera: Option<String>,
    /// Lane file instead of the one in the settings.
    #[arg(long, value_name = "LANE.toml")]
    lane: Option<PathBuf>,
    /// Age group instead of the one in the settings.
    #[arg(long, value_name = "GROUP", value_parser = age_group)]
    age_group: Option<AgeGroup>,
    /// Pose model instead of the one in the settings.
    #[arg(long)]
    model: Option<ModelChoice>,
    /// Inference engine instead of the one in the settings.
    #[arg(long)]
    engine: Option<EngineChoice>,
    /// A video instead of the camera, over and over: for trying out. It is
    /// recorded like a camera.
    #[arg(long, value_name = "CLIP", conflicts_with = "camera")]
    source: Option<PathBuf>,
    /// No frame of the video is missed, however slow the machine: for tests.
    #[arg(long, requires = "source", hide = true)]
    every_frame: bool,
    /// In a window instead of the full screen.
    #[arg(long)]
    windowed: bool,
}

#[derive(Subcommand)]
enum Command {
    /// Rendered skaters instead of a camera.
    Demo {
        /// Without window and sound; writes its results to --out.
        #[arg(long)]
        headless: bool,
        /// Folder for the results of the headless demo.
        #[arg(long, value_name = "DIR", default_value = "demo-out")]
        out: PathBuf,
        /// In a window instead of the full screen.
        #[arg(long)]
        windowed: bool,
    },
    /// A recorded video, from a fixed camera.
    Review {
        /// The video.
        file: PathBuf,
        /// The set-up of the camera.
        #[arg(long, value_name = "LANE.toml")]
        lane: PathBuf,
        /// The group the skaters are judged as: U7, U9, U11, U13, U15, U18, adult.
        #[arg(long, value_name = "GROUP", value_parser = age_group)]
        age_group: AgeGroup,
        /// Folder for the results.
        #[arg(long, value_name = "DIR")]
        out: PathBuf,
        /// View, where it differs from the lane file: side, front, rear, oblique.
        #[arg(long, value_parser = view)]
        view: Option<View>,
        /// Pose model.
        #[arg(long, default_value = "full")]
        model: ModelChoice,
        /// Inference engine.
        #[arg(long, default_value = "auto")]
        engine: EngineChoice,
    },
    /// How right the station is: scores it on rendered clips whose truth is known.
    Score {
        /// Folder of clips, as tools/skater/render_set.py makes it.
        clips: PathBuf,
        /// Folder for pose traces: <clip>/poses.json is read where it is there, written where not.
        #[arg(long, value_name = "DIR")]
        poses: Option<PathBuf>,
        /// Pose model.
        #[arg(long, default_value = "full")]
        model: ModelChoice,
        /// Inference engine.
        #[arg(long, default_value = "auto")]
        engine: EngineChoice,
        /// Also the errors when each correction is refitted on the other clips.
        #[arg(long)]
        leave_one_out: bool,
        /// Document to write the tables into, between its two marker lines.
        #[arg(long, value_name = "FILE.md")]
        write: Option<PathBuf>,
    },
    /// How fast this machine is, stage by stage.
    Bench {
        /// Clips; those of the demo where none is named.
        clips: Vec<PathBuf>,
        /// Lane file for every clip, instead of the one beside each (CLIP.toml).
        #[arg(long, value_name = "LANE.toml")]
        lane: Option<PathBuf>,
        /// Pose model.
        #[arg(long, default_value = "full")]
        model: ModelChoice,
        /// Inference engine.
        #[arg(long, default_value = "auto")]
        engine: EngineChoice,
        /// One way of reading the clips only: as fast as it goes, or at their own speed.
        #[arg(long, value_name = "PATH")]
        only: Option<BenchPath>,
    },
    /// An endurance run: clips as the camera over and over, and what must not grow.
    Soak {
        /// Clips, each with its lane file (CLIP.toml or lane.toml) beside it; the demo's where none is named.
        clips: Vec<PathBuf>,
        /// How long, hours.
        #[arg(long, default_value_t = 1.0)]
        hours: f64,
        /// How many times as fast as recorded.
        #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=100))]
        speed: u32,
        /// Seconds the lane is empty between two plays of a clip; they are left out.
        #[arg(long, default_value_t = 0, value_name = "SECONDS", value_parser = clap::value_parser!(u32).range(..=3600))]
        empty: u32,
        /// How long one recorded session lasts; each plays one clip. Without: 5 minutes, or an eighth of a short run.
        #[arg(long, value_name = "MINUTES")]
        session_minutes: Option<f64>,
        /// Folder for recordings and log.
        #[arg(long, value_name = "DIR", default_value = "soak-out")]
        out: PathBuf,
        /// Pose model.
        #[arg(long, default_value = "full")]
        model: ModelChoice,
        /// Inference engine.
        #[arg(long, default_value = "auto")]
        engine: EngineChoice,
    },
    /// How the camera stands, from things of known size in its picture.
    Scale {
        /// The marks: see config/marks-example.toml.
        marks: PathBuf,
        /// Lane file to write.
        #[arg(long, value_name = "LANE.toml")]
        out: Option<PathBuf>,
    },
    /// A recorded session as files: pages, clips, tables.
    Export {
        /// Number of the session, 'latest' or 'all'.
        #[arg(long, value_name = "WHICH", default_value = "latest", value_parser = session)]
        session: SessionChoice,
        /// Only this skater: name, number or both.
        #[arg(long, value_name = "NAME")]
        skater: Option<String>,
        /// Only flagged pushes in the tables; the pages still count everything.
        #[arg(long)]
        flagged_only: bool,
        /// What is written.
        #[arg(long, default_value = "folder")]
        format: ExportFormat,
        /// Without names, numbers, dates and comments; only pictures with blurred faces.
        #[arg(long)]
        anonymous: bool,
        /// Without clips and stills.
        #[arg(long)]
        without_pictures: bool,
        /// Of the CSV files: comma with decimal point, semicolon with decimal comma.
        #[arg(long, default_value = "comma")]
        separator: ExportSeparator,
        /// Language of the pages, where it is not the screen's.
        #[arg(long)]
        language: Option<ExportLanguage>,
        /// Name of the folder or archive to write; it must not be there yet.
        #[arg(long, value_name = "PATH")]
        out: PathBuf,
    },
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
    },
    /// Prints the skaters.
    List,
    /// Deletes a skater and everything stored of them.
    Delete {
        /// The name, or number and name as the list has them.
        name: String,
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
enum ExportFormat {
    Folder,
    Zip,
}

#[derive(Clone, Copy, ValueEnum)]
enum ExportSeparator {
    Comma,
    Semicolon,
}

#[derive(Clone, Copy, ValueEnum)]
enum ExportLanguage {
    En,
    Fr,
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
    say_one_sentence_on_panic();
    // Only what runs for long keeps a log file.
    let log_folder = match &line.command {
        None | Some(Command::Demo { .. }) => config::data_folder().ok().map(|d| d.join("logs")),
        Some(Command::Soak { out, .. }) => Some(out.join("logs")),
        _ => None,
    };
    let log = logging::start(line.verbose, log_folder.as_deref());
    let result = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| run(line)));
    let code = match result {
        Ok(Ok(code)) => code,
        Ok(Err(error)) => {
            complain(&fault(&error));
            ExitCode::from(code_of(&error))
        }
        // The hook has said it.
        Err(_) => ExitCode::from(FAILURE),
    };
    drop(log);
    code
}

fn run(line: CommandLine) -> anyhow::Result<ExitCode> {
    match line.command {
        None => station::live(&LiveOptions {
            camera: line.live.camera,
            lane: line.live.lane,
            age_group: line.live.age_group,
            model: line.live.model,
            engine: line.live.engine,
            source: line.live.source,
            every_frame: line.live.every_frame,
            windowed: line.live.windowed,
        })?,
        Some(Command::Demo {
            headless,
            out,
            windowed,
        }) => station::demo(&DemoOptions {
            headless,
            out,
            windowed,
        })?,
        Some(Command::Review {
            file,
            lane,
            age_group,
            out,
            view,
            model,
            engine,
        }) => station::review(&ReviewOptions {
            file,
            lane,
            age_group,
            out,
            view,
            model,
            engine,
        })?,
        Some(Command::Score {
            clips,
            poses,
            model,
            engine,
            leave_one_out,
            write,
        }) => score::score(&ScoreOptions {
            clips,
            poses,
            model,
            engine,
            leave_one_out,
            write,
        })?,
        Some(Command::Bench {
            clips,
            lane,
            model,
            engine,
            only,
        }) => print(&station::bench(&BenchOptions {
            clips,
            lane,
            model,
            engine,
            only,
        })?)?,
        Some(Command::Soak {
            clips,
            hours,
            speed,
            empty,
            session_minutes,
            out,
            model,
            engine,
        }) => station::soak(&SoakOptions {
            clips,
            hours,
            speed,
            empty_s: empty,
            session_min: session_minutes,
            out,
            model,
            engine,
        })?,
        Some(Command::Scale { marks, out }) => station::scale(&ScaleOptions { marks, out })?,
        Some(Command::Export {
            session,
            skater,
            flagged_only,
            format,
            anonymous,
            without_pictures,
            separator,
            language,
            out,
        }) => station::export(&ExportOptions {
            session,
            skater,
            flagged_only,
            format: match format {
                ExportFormat::Folder => Format::Folder,
                ExportFormat::Zip => Format::Zip,
            },
            anonymous,
            without_pictures,
            separator: match separator {
                ExportSeparator::Comma => Separator::Comma,
                ExportSeparator::Semicolon => Separator::Semicolon,
            },
            language: language.map(|l| match l {
                ExportLanguage::En => Language::En,
                ExportLanguage::Fr => Language::Fr,
            }),
            out,
        })?,
        Some(Command::Check) => return check_station(),
        Some(Command::Cameras) => station::cameras()?,
        Some(Command::Config(ConfigCommand::Check { lane })) => return check_config(&lane),
        Some(Command::Config(ConfigCommand::PrintDefaults { file })) => print(&match file {
            DefaultsOf::AgeGroups => age_groups::default_file(),
            DefaultsOf::Station => station::default_station_file(),
        })?,
        Some(Command::Config(ConfigCommand::Reference)) => print(&reference::text())?,
        Some(Command::Roster(RosterCommand::Import { file })) => station::roster_import(&file)?,
        Some(Command::Roster(RosterCommand::Export { file })) => station::roster_export(&file)?,
        Some(Command::Roster(RosterCommand::List)) => station::roster_list()?,
        Some(Command::Roster(RosterCommand::Delete { name })) => station::roster_delete(&name)?,
        Some(Command::Backup { file }) => station::back_up(&file)?,
        Some(Command::Restore { file }) => station::restore(&file)?,
    }
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

fn session(word: &str) -> Result<SessionChoice, String> {
    match word {
        "latest" => Ok(SessionChoice::Latest),
        "all" => Ok(SessionChoice::All),
        number => number
            .parse()
            .map(SessionChoice::Number)
            .map_err(|_| "it must be the number of a session, 'latest' or 'all'".to_owned()),
    }
}

fn age_group(word: &str) -> Result<AgeGroup, String> {
    AgeGroup::from_name(word).ok_or_else(|| {
        format!(
            "it must be one of: {}",
            AgeGroup::ALL.map(AgeGroup::name).join(", ")
        )
    })
}

fn view(word: &str) -> Result<View, String> {
    View::from_name(word).ok_or_else(|| {
        format!(
            "it must be one of: {}",
            View::ALL.map(View::name).join(", ")
        )
    })
}

/// What the user gave is exit code 2, everything else 1.
fn code_of(error: &anyhow::Error) -> u8 {
    let given = error.chain().any(|cause| {
        cause.is::<ConfigError>() || cause.is::<UsageError>() || cause.is::<PlaceError>()
    });
    if given { USAGE } else { FAILURE }
}

/// Standard output may be closed by its reader (`| head`); that is no fault.
fn print(text: &str) -> anyhow::Result<()> {
    let mut out = std::io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(e) if e.kind() != std::io::ErrorKind::BrokenPipe => {
            Err(e).context("the result could not be printed")
        }
        _ => Ok(()),
    }
}

/// One line on the error output, also when nobody listens there.
fn complain(sentence: &str) {
    let one_line = sentence.split_whitespace().collect::<Vec<_>>().join(" ");
    let _ = writeln!(std::io::stderr(), "kickplate: {one_line}");
}

/// A fault of this program is one sentence for the user and a line in the
/// log, in whatever thread it happens.
fn say_one_sentence_on_panic() {
    std::panic::set_hook(Box::new(|info| {
        let what = info
            .payload_as_str()
            .unwrap_or("no further words")
            .to_owned();
        let place = info
            .location()
            .map_or_else(|| "an unknown place".to_owned(), ToString::to_string);
        let thread = std::thread::current().name().unwrap_or("?").to_owned();
        tracing::error!(target: logging::PANIC_TARGET, %what, %place, %thread, "panic");
        complain(&format!(
            "a fault of the program itself at {place} ({what}); please report this line"
        ));
    }));
}
