//! The tables of `docs/accuracy.md` about a real person.

use std::fmt::Write;
use std::path::Path;

use anyhow::{Context, bail};

use super::{CAMERAS, Read, Reading, spread};

const BEGIN: &str = "<!-- made by 'kickplate-lab people': begin -->";
const END: &str = "<!-- made by 'kickplate-lab people': end -->";
const FLEXION_DEG: [[f64; 2]; 5] = [
    [110.0, 130.0],
    [130.0, 150.0],
    [110.0, 150.0],
    [150.0, 160.0],
    [160.0, 175.0],
];
const VIEWS_DEG: [[f64; 2]; 3] = [[0.0, 46.0], [46.0, 60.0], [60.0, 90.0]];

fn figures(readings: &[&Reading], value: impl Fn(&Reading) -> Option<f64>) -> String {
    match spread(readings.iter().filter_map(|r| value(r))) {
        (0, ..) => "-".to_owned(),
        (n, mean, sd) => format!("{mean:+.1} (SD {sd:.1}, n {n})"),
    }
}

/// All tables, as Markdown.
pub fn tables(all: &[Read]) -> String {
    let mut out = String::new();
    let name = |read: &Read| format!("{:?}", read.model).to_lowercase();
    out += "Knee angle, each leg in the camera that sees it most squarely, degrees, positive is too straight: read in the picture less the\ntrue joints' in the same picture, *shown* with what the station adds on people, and the second reader where it was asked.\n\n";
    out += "| model | true angle | read | shown | second reader |\n|---|---|---|---|---|\n";
    for read in all {
        let best = read.best();
        for [low, high] in FLEXION_DEG {
            let of: Vec<&Reading> = best
                .iter()
                .copied()
                .filter(|r| (low..high).contains(&r.true_deg))
                .collect();
            let _ = writeln!(
                out,
                "| {} | {low} to {high} | {} | {} | {} |",
                name(read),
                figures(&of, |r| Some(r.read_deg - r.seen_deg)),
                figures(&of, |r| Some(r.read_deg - r.seen_deg + read.shift_deg())),
                figures(&of, |r| r.second_deg.map(|deg| deg - r.seen_deg)),
            );
        }
    }
    out += "\nBy view, true angles of 110 to 150, all cameras: the angle between the line of sight and square to the leg.\n\n| model | off square | read |\n|---|---|---|\n";
    for read in all {
        for [low, high] in VIEWS_DEG {
            let of: Vec<&Reading> = read
                .readings
                .iter()
                .filter(|r| r.visible && !r.exchanged)
                .filter(|r| (110.0..150.0).contains(&r.true_deg))
                .filter(|r| (low..high).contains(&r.off_square_deg))
                .collect();
            let read_off = figures(&of, |r| Some(r.read_deg - r.seen_deg));
            let _ = writeln!(out, "| {} | {low} to {high} | {read_off} |", name(read));
        }
    }
    out += "\nThe model's points less the true joints, centimetres, means of legs that are seen: along the walk / up. Then frames: found, with legs\nfar enough apart to tell, exchanged by the model, exchanged after the program's mending.\n\n| model | camera | hip | knee | ankle | found | told | exchanged | after |\n|---|---|---|---|---|---|---|---|---|\n";
    for read in all {
        for (camera, camera_name) in CAMERAS.into_iter().enumerate() {
            let of: Vec<&Reading> = read
                .readings
                .iter()
                .filter(|r| r.camera == camera && r.visible && !r.exchanged)
                .collect();
            let joint = |k: usize| {
                let [along, up] =
                    [0, 1].map(|axis| spread(of.iter().map(|r| r.offset_cm[k][axis])).1);
                format!("{along:+.1} / {up:+.1}")
            };
            let [told, by_model, after] = read.exchanged[camera];
            let _ = writeln!(
                out,
                "| {} | {camera_name} | {} | {} | {} | {} | {told} | {by_model} | {after} |",
                name(read),
                joint(0),
                joint(1),
                joint(2),
                read.found[camera],
            );
        }
    }
    out
}

/// Puts the tables between the two marker lines of a document.
///
/// # Errors
/// A document that cannot be read or written, or has not those lines.
pub(super) fn write_into(path: &Path, text: &str) -> anyhow::Result<()> {
    let page = std::fs::read_to_string(path)
        .with_context(|| format!("'{}' cannot be read", path.display()))?;
    let parts = page
        .split_once(BEGIN)
        .and_then(|(head, rest)| Some((head, rest.split_once(END)?.1)));
    let Some((head, tail)) = parts else {
        bail!(
            "'{}' has not the lines '{BEGIN}' and '{END}'",
            path.display()
        );
    };
    std::fs::write(path, format!("{head}{BEGIN}\n\n{text}{END}{tail}"))
        .with_context(|| format!("'{}' cannot be written", path.display()))
}
