//! `kickplate scale`: how the camera stands, from things of known size in one
//! of its pictures.

use std::fmt::Write;
use std::path::PathBuf;

use anyhow::Context;

use super::roster_cli::may_write;
use crate::config::{
    ConfigError, Document, Lane, Section, Subject, Travel, View, read_text, write_atomically,
};
use crate::geometry::{CameraPose, Known, Mark, solve_camera_pose};
use crate::station::usage::UsageError;

/// How well a mark is placed when the file does not say, pixels.
const MARK_ERROR_PX: f64 = 1.5;
/// From here on the scale is worth a warning: 5 % of a 6.5 cm gap is little,
/// but of a 1.2 m stance it is 6 cm.
const POOR_SCALE: f64 = 0.05;
const KEYS: [&str; 10] = [
    "view",
    "travel",
    "skater_height_m",
    "hfov_deg",
    "width_px",
    "height_px",
    "mark_error_px",
    "line",
    "upright",
    "on_ice",
];
const ENDS: [&str; 4] = ["from_x_px", "from_y_px", "to_x_px", "to_y_px"];
const FOOT_AND_TOP: [&str; 4] = ["bottom_x_px", "bottom_y_px", "top_x_px", "top_y_px"];

/// `kickplate scale`: how the camera stands, from things of known size in its
/// picture.
#[derive(Debug, Clone, PartialEq, clap::Args)]
pub struct ScaleOptions {
    /// The marks: see config/marks-example.toml.
    pub marks: PathBuf,
    /// Lane file to write.
    #[arg(long, value_name = "LANE.toml")]
    pub out: Option<PathBuf>,
    /// Also where there is a file of that name.
    #[arg(long)]
    pub replace: bool,
}

/// Reads the marks, finds the stand, prints it with its errors, and writes
/// the lane file where one is asked for.
///
/// # Errors
/// One sentence: what is wrong with the marks, or with the file to write.
pub fn scale(options: &ScaleOptions) -> anyhow::Result<()> {
    if let Some(path) = &options.out {
        may_write(path, options.replace)?;
    }
    let found = scale_of(
        &read_text(&options.marks)?,
        &options.marks.display().to_string(),
    )?;
    print!("{}", found.report);
    let text = found.lane_file;
    match &options.out {
        Some(path) => {
            // What is written is what the station would read.
            Lane::from_toml(&text, &path.display().to_string())?;
            write_atomically(path, text.as_bytes(), 0o644).with_context(|| {
                format!(
                    "{} cannot be written; choose another with --out",
                    path.display()
                )
            })?;
            println!("Written: {}", path.display());
        }
        None => print!("\n{text}"),
    }
    Ok(())
}

/// What marks tell of a camera.
#[derive(Debug, Clone, PartialEq)]
pub struct Scale {
    /// How the camera stands and how sure that is, for people.
    pub report: String,
    /// The lane file that follows.
    pub lane_file: String,
}

/// How the camera stands by the text of a marks file; `file` names it in
/// errors.
///
/// # Errors
/// One sentence: what is wrong with the marks.
pub fn scale_of(text: &str, file: &str) -> anyhow::Result<Scale> {
    let marks = MarksFile::from_toml(text, file)?;
    let stand = solve_camera_pose(
        &marks.lane,
        marks.size_px,
        &marks.marks,
        &marks.line_px,
        marks.hfov_known,
        marks.mark_error_px,
    )
    .map_err(|e| UsageError(format!("{file}: {e}")))?;
    Ok(Scale {
        report: report(&stand, marks.hfov_known),
        lane_file: lane_text(&marks.lane, &stand),
    })
}

struct MarksFile {
    lane: Lane,
    size_px: [u32; 2],
    marks: Vec<Mark>,
    line_px: Vec<[f64; 2]>,
    hfov_known: bool,
    mark_error_px: f64,
}

impl MarksFile {
    fn from_toml(text: &str, file: &str) -> Result<Self, ConfigError> {
        let document = Document::parse(text, file)?;
        let root = document.root();
        root.only(&KEYS)?;
        let views = View::ALL.map(View::name);
        let travels = Travel::ALL.map(Travel::name);
        let view = needed(&root, "view", root.choice("view", &views)?)?;
        let travel = needed(&root, "travel", root.choice("travel", &travels)?)?;
        let hfov_deg = root.number("hfov_deg", 10.0, 150.0)?;
        let width = root.whole("width_px", 64, 8192)?;
        let height = root.whole("height_px", 64, 8192)?;
        let size_px = [
            needed(&root, "width_px", width)?,
            needed(&root, "height_px", height)?,
        ];
        let stature = root.number("skater_height_m", 0.8, 2.2)?;
        let line = needed(&root, "line", root.section("line")?)?;
        line.only(&ENDS)?;
        let [a, b] = two_points(&line, &ENDS)?;
        let mut marks = Vec::new();
        for (section, _) in things(&root, "upright")? {
            section.only(&[&FOOT_AND_TOP[..], &["height_m"]].concat())?;
            let [bottom_px, top_px] = two_points(&section, &FOOT_AND_TOP)?;
            let height_m = section.number("height_m", 0.02, 20.0)?;
            marks.push(Mark::Upright {
                bottom_px,
                top_px,
                height_m: needed(&section, "height_m", height_m)?,
            });
        }
        for (section, _) in things(&root, "on_ice")? {
            section.only(&[&ENDS[..], &["length_m"]].concat())?;
            let [from_px, to_px] = two_points(&section, &ENDS)?;
            let length_m = section.number("length_m", 0.05, 70.0)?;
            marks.push(Mark::OnIce {
                from_px,
                to_px,
                length_m: needed(&section, "length_m", length_m)?,
            });
        }
        Ok(MarksFile {
            lane: Lane {
                view: View::ALL[view],
                travel: Travel::ALL[travel],
                hfov_deg: hfov_deg.unwrap_or(60.0),
                skater_height_m: needed(&root, "skater_height_m", stature)?,
                // found from the marks
                camera_height_m: 1.0,
                tilt_deg: 0.0,
                roll_deg: 0.0,
                lane_distance_m: 0.0,
                subject: Subject::People,
                errors: Default::default(),
                checked: None,
            },
            size_px,
            marks,
            line_px: vec![a, b],
            hfov_known: hfov_deg.is_some(),
            mark_error_px: root
                .number("mark_error_px", 0.1, 50.0)?
                .unwrap_or(MARK_ERROR_PX),
        })
    }
}

fn needed<T>(section: &Section<'_>, name: &str, given: Option<T>) -> Result<T, ConfigError> {
    given.ok_or_else(|| section.conflict(name, format!("{name} has to be given")))
}

/// The named tables below a table: the things of one kind.
fn things<'d>(root: &Section<'d>, kind: &str) -> Result<Vec<(Section<'d>, String)>, ConfigError> {
    let Some(kind) = root.section(kind)? else {
        return Ok(Vec::new());
    };
    let mut found = Vec::new();
    for name in kind.names() {
        if let Some(section) = kind.section(&name)? {
            found.push((section, name));
        }
    }
    Ok(found)
}

fn two_points(section: &Section<'_>, names: &[&str; 4]) -> Result<[[f64; 2]; 2], ConfigError> {
    let mut v = [0.0; 4];
    for (v, name) in v.iter_mut().zip(names) {
        let given = section.number(name, -2000.0, 10_000.0)?;
        *v = needed(section, name, given)?;
    }
    Ok([[v[0], v[1]], [v[2], v[3]]])
}

fn report(stand: &CameraPose, hfov_known: bool) -> String {
    let mut text = String::from("The camera, with one standard deviation:\n");
    let mut line = |what: &str, k: Known, unit: &str, digits: usize| {
        let _ = writeln!(
            text,
            "  {what:<26} {:.digits$} {unit}  +- {:.digits$}",
            k.value, k.error
        );
    };
    line("lens above the ice", stand.camera_height_m, "m", 3);
    line("tilt, down", stand.tilt_deg, "degrees", 2);
    line("roll", stand.roll_deg, "degrees", 2);
    if !hfov_known {
        line("field of view", stand.hfov_deg, "degrees", 1);
    }
    line("distance to the lane", stand.lane_distance_m, "m", 2);
    let _ = writeln!(
        text,
        "  the marks lie {:.1} pixels off this camera\n  lengths on the lane: +- {:.1} %, that is {:.1} cm in a gap of 10 cm",
        stand.misfit_px,
        100.0 * stand.scale_error,
        10.0 * stand.scale_error,
    );
    if stand.scale_error > POOR_SCALE {
        text.push_str(
            "  This scale is poor: mark longer things, one near and one far, and both ends well.\n",
        );
    }
    text
}

fn lane_text(lane: &Lane, stand: &CameraPose) -> String {
    format!(
        "# Found from marks in the picture; +- is one standard deviation.\n\
         view = \"{}\"\n\
         travel = \"{}\"\n\
         camera_height_m = {:.3} # +- {:.3}\n\
         tilt_deg = {:.3} # +- {:.3}\n\
         roll_deg = {:.3} # +- {:.3}\n\
         hfov_deg = {:.2} # +- {:.2}\n\
         lane_distance_m = {:.3} # +- {:.3}; lengths on the lane +- {:.1} %\n\
         skater_height_m = {}\n\
         # How far off these may be, one standard deviation, and how that goes together.\n\
         {}",
        lane.view.name(),
        lane.travel.name(),
        stand.camera_height_m.value,
        stand.camera_height_m.error,
        stand.tilt_deg.value,
        stand.tilt_deg.error,
        stand.roll_deg.value,
        stand.roll_deg.error,
        stand.hfov_deg.value,
        stand.hfov_deg.error,
        stand.lane_distance_m.value,
        stand.lane_distance_m.error,
        100.0 * stand.scale_error,
        lane.skater_height_m,
        stand.on(lane).errors.to_toml(),
    )
}
