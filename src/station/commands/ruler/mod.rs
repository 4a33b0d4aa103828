//! `kickplate ruler`: the coach measures the station with persons who hold angles and gaps.

mod hold;
mod sheet;

use std::path::{Path, PathBuf};

use anyhow::Context;

use super::review::usage_or_failure;
use super::roster_cli::may_write;
use crate::calibration::{Calibration, Gauged};
use crate::capture::{self, SourceSpec};
use crate::config::{self, Lane, Subject, write_atomically};
use crate::ruler::{Fitted, Record, Setting};
use crate::rules::{AgeGroups, RuleId};
use crate::station::program::print;
use crate::station::ruler::{CheckError, CheckState, Checks, camera_of, recordings_of};
use crate::station::settings::choices::{EngineChoice, ModelChoice};
use crate::station::settings::{CameraChoice, StationSettings, age_groups_file, station_file};
use crate::station::usage::UsageError;

pub use hold::HoldOptions;
pub use sheet::SheetOptions;

/// Which check is meant: the one of the station's camera, lane, model and engine, where
/// nothing else is said.
#[derive(Debug, Clone, PartialEq, clap::Args)]
pub struct PlaceOptions {
    /// Lane file instead of the one in the settings.
    #[arg(long, value_name = "LANE.toml")]
    pub lane: Option<PathBuf>,
    /// Camera, by the id that 'kickplate cameras' prints.
    #[arg(long, value_name = "ID")]
    pub camera: Option<String>,
    /// A recording instead of the camera: the check of recordings of its size.
    #[arg(long, value_name = "FILE", conflicts_with = "camera")]
    pub clip: Option<PathBuf>,
    /// Pose model instead of the one in the settings.
    #[arg(long)]
    pub model: Option<ModelChoice>,
    /// Inference engine instead of the one in the settings.
    #[arg(long)]
    pub engine: Option<EngineChoice>,
}

/// `kickplate ruler`.
#[derive(Debug, Clone, PartialEq, clap::Subcommand)]
pub enum RulerCommand {
    /// Writes the page with the steps and the angle template, for printing.
    Sheet(SheetOptions),
    /// One person holds an angle or a gap for two seconds.
    Hold(HoldOptions),
    /// What the check says so far.
    Show(PlaceOptions),
    /// Takes the last hold back.
    Undo(PlaceOptions),
    /// Writes every hold into a CSV file.
    Csv {
        /// The file to write.
        file: PathBuf,
        /// Also where there is a file of that name.
        #[arg(long)]
        replace: bool,
        /// Of which check.
        #[command(flatten)]
        place: PlaceOptions,
    },
    /// Deletes the check.
    Forget(PlaceOptions),
}

/// What one command works with.
struct Place {
    home: PathBuf,
    station: StationSettings,
    checks: Checks,
    setting: Setting,
    model: ModelChoice,
    engine: EngineChoice,
    lane: Lane,
}

/// Runs one of the commands.
///
/// # Errors
/// One sentence; nothing is changed then.
pub fn ruler(command: &RulerCommand) -> anyhow::Result<()> {
    match command {
        RulerCommand::Sheet(options) => sheet::sheet(options),
        RulerCommand::Hold(options) => hold::hold(options),
        RulerCommand::Show(place) => show(&Place::find(place)?),
        RulerCommand::Undo(place) => undo(&Place::find(place)?),
        RulerCommand::Csv {
            file,
            replace,
            place,
        } => csv(&Place::find(place)?, file, *replace),
        RulerCommand::Forget(place) => forget(&Place::find(place)?),
    }
}

impl Place {
    fn find(options: &PlaceOptions) -> anyhow::Result<Self> {
        let home = config::home()?;
        let station = StationSettings::load(&station_file(&home))?;
        let lane = Lane::load(options.lane.as_deref().unwrap_or(&station.lane))?;
        if lane.subject == Subject::Rendered {
            return Err(UsageError(
                "the lane file says subject = \"rendered\"; a check is for people".to_owned(),
            )
            .into());
        }
        let model = options.model.unwrap_or(station.model);
        let engine = options.engine.unwrap_or(station.engine);
        let checks = Checks::new(&home, &station.recordings_folder()?, model, engine)?;
        let camera = match (&options.clip, &options.camera, &station.camera) {
            (Some(clip), ..) => {
                let spec = SourceSpec::parse(&clip.to_string_lossy()).map_err(usage_or_failure)?;
                let source = capture::open(&spec).map_err(usage_or_failure)?;
                recordings_of(source.info().width, source.info().height)
            }
            (None, Some(id), _) | (None, None, CameraChoice::Id(id)) => id.clone(),
            (None, None, CameraChoice::Auto) => camera_of(None),
        };
        Ok(Place {
            setting: checks.setting(&camera, &lane),
            home,
            station,
            checks,
            model,
            engine,
            lane,
        })
    }

    /// The check; a new one where there is none.
    fn record(&self) -> anyhow::Result<Record> {
        let found = self.checks.load(&self.setting).map_err(refused)?;
        Ok(found.unwrap_or_else(|| Record::new(self.setting.clone())))
    }
}

/// A file that is not this check's has to be changed by whoever gave it.
fn refused(error: CheckError) -> anyhow::Error {
    match error {
        CheckError::Refused { .. } => UsageError(format!(
            "{error}; 'kickplate ruler forget' deletes it, nothing was changed"
        ))
        .into(),
        CheckError::File { .. } => error.into(),
    }
}

fn show(place: &Place) -> anyhow::Result<()> {
    let record = place.record()?;
    let mut text = head(place);
    match place.checks.state(&place.setting) {
        CheckState::Holds(checked) => {
            text += &format!(
                "Checked {}with {}: {}.\n",
                checked
                    .date
                    .map_or_else(String::new, |d| format!("on {d} ")),
                persons(checked.persons),
                record.persons().join(", ")
            );
        }
        other => {
            text += &match other.ended() {
                Some(why) => format!("Not checked: {why}.\n"),
                None => "Not checked yet.\n".to_owned(),
            }
        }
    }
    text += &table(place, &record)?;
    print(&text)
}

fn head(place: &Place) -> String {
    format!(
        "Camera {}, {} view, model {}, engine {}.\n",
        place.setting.camera,
        place.lane.view.name(),
        place.model.name(),
        place.setting.engine
    )
}

fn persons(n: u32) -> String {
    match n {
        1 => "1 person".to_owned(),
        n => format!("{n} persons"),
    }
}

/// What the check says of every quantity the lane shows, and what that means for flags.
fn table(place: &Place, record: &Record) -> anyhow::Result<String> {
    let groups = AgeGroups::load(&age_groups_file(&place.home))?;
    let limits = groups.thresholds(place.station.age_group).limits;
    let view = place.lane.view;
    let before = Calibration::of(Subject::People, record.setting.model);
    let lane = Lane {
        checked: record.checked(),
        ..place.lane.clone()
    };
    let now = Calibration::of_lane(&lane, record.setting.model);
    let mut text = String::new();
    for of in Gauged::ALL
        .into_iter()
        .filter(|g| g.views().contains(&view))
    {
        let (unit, times) = of.told_in();
        let said = |v: f64| format!("{:.1} {unit}", v * times);
        let margin = |c: Calibration| {
            let rule = RuleId::from_code(of.rule())?;
            let margin = limits[rule].margin_on(rule, c, &place.lane, groups.surety());
            margin.map(said)
        };
        text += &format!("{}: ", of.name());
        let fitted = record.fitted(of);
        match &fitted {
            None => text += "nobody held it",
            Some(fitted) => text += &sentence(of, record, fitted),
        }
        if let (Some(was), Some(is)) = (margin(before), margin(now)) {
            text += &if was == is {
                format!("; a push by itself is flagged from {is} beyond the limit\n")
            } else {
                format!(
                    "; a push by itself is flagged from {is} beyond the limit, {was} without the check\n"
                )
            };
        }
        for place in fitted.map_or_else(Vec::new, |f| f.outliers) {
            let hold = &record.holds[place];
            text += &format!(
                "  far off the person's others, and it counts: {} held {} and was read {}\n",
                hold.person,
                said(hold.reference),
                said(hold.reading)
            );
        }
    }
    Ok(text)
}

fn sentence(of: Gauged, record: &Record, fitted: &Fitted) -> String {
    let (unit, times) = of.told_in();
    let found = &fitted.found;
    let holds = record.counting(of).count();
    let mut text = format!(
        "{} by {}; read {:+.1} {unit} (+- {:.1}) at {:.0}, persons differ by {:.1}, holds by {:.1}",
        match holds {
            1 => "1 hold".to_owned(),
            n => format!("{n} holds"),
        },
        persons(found.persons),
        found.offset * times,
        found.offset_error * times,
        found.centre * times,
        found.between * times,
        fitted.within * times,
    );
    if found.slope != 0.0 {
        text += &format!(", {:+.1} for 10 more", 10.0 * found.slope);
    }
    text
}

fn undo(place: &Place) -> anyhow::Result<()> {
    let mut record = place.record()?;
    let back = record.undo();
    let Some(last) = back.first() else {
        return Err(UsageError("there is no hold to take back".to_owned()).into());
    };
    let (unit, times) = last.of.told_in();
    let said = format!(
        "Taken back: {} held {:.1} {unit}. It stays in the CSV and counts no more.\n",
        last.person,
        last.reference * times
    );
    place.checks.save(&record)?;
    print(&(said + &table(place, &record)?))
}

fn csv(place: &Place, file: &Path, replace: bool) -> anyhow::Result<()> {
    may_write(file, replace)?;
    let record = place.record()?;
    write_atomically(file, record.to_csv().as_bytes(), 0o600)
        .with_context(|| format!("{} cannot be written; choose another name", file.display()))?;
    print(&format!(
        "{} holds written to {}.\n",
        record.holds.len(),
        file.display()
    ))
}

fn forget(place: &Place) -> anyhow::Result<()> {
    if !place.checks.forget(&place.setting)? {
        return Err(UsageError("there is no check to delete".to_owned()).into());
    }
    print("The check is deleted: values rest on what is published of people again.\n")
}
