//! The quantities reported of a pass against exact truth, as the table of
//! `docs/pass-report.md`:
//!
//! ```text
//! cargo run --release --example pass_report -- CLIPS_DIR POSES_DIR
//! ```
//!
//! `CLIPS_DIR` is a folder of clips made by `tools/skater`, `POSES_DIR` the
//! folder of pose traces that `kickplate-lab score --poses` keeps of them; more
//! pairs may follow. `--each` also prints every pass.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use anyhow::Context;
use kickplate::pose::ModelKind;
use kickplate::rules::{JudgedPass, Leg, QUANTITIES, Quantity, QuantityUnit, RULES, Thresholds};
use kickplate_lab::score::{Truth, TruthPush, cached_poses, judge_poses};

/// A found push belongs to a true one of the same leg within this time.
const MATCH_S: f64 = 0.2;

/// What the truth file says beyond what `kickplate-lab score` reads.
#[derive(serde::Deserialize)]
struct Joints {
    params: BTreeMap<String, f64>,
    joint_names: Vec<String>,
    /// World X along the travel, Y to its left, Z up, metres; not in newer
    /// files, from which the body's line and the arm have no truth.
    #[serde(default)]
    joints3d: Vec<Vec<[f64; 3]>>,
    pushes: Vec<PushTimes>,
    #[serde(default)]
    directions: Vec<f64>,
}

#[derive(serde::Deserialize)]
struct PushTimes {
    push_length_m: f64,
    push_direction_deg: f64,
}

/// One pass of one clip.
struct Row {
    view: String,
    key: &'static str,
    value: f64,
    uncertainty: f64,
    truth: f64,
}

fn main() -> anyhow::Result<()> {
    let mut args: Vec<String> = std::env::args().skip(1).collect();
    let each = args.iter().any(|a| a == "--each");
    args.retain(|a| a != "--each");
    anyhow::ensure!(
        !args.is_empty() && args.len().is_multiple_of(2),
        "name a folder of clips and the folder of their pose traces"
    );
    let mut rows = Vec::new();
    let mut passes: BTreeMap<String, usize> = BTreeMap::new();
    for pair in args.chunks(2) {
        let mut clips: Vec<PathBuf> = std::fs::read_dir(&pair[0])
            .with_context(|| format!("the folder '{}' cannot be read", pair[0]))?
            .filter_map(|entry| Some(entry.ok()?.path()))
            .filter(|path| path.join("truth.json").is_file())
            .collect();
        clips.sort();
        for clip in clips {
            let name = clip.file_name().unwrap_or_default();
            let trace = Path::new(&pair[1]).join(name).join("poses.json");
            of_clip(&clip, &trace, each, &mut rows, &mut passes)?;
        }
    }
    print!("{}", table(&rows, &passes));
    Ok(())
}

fn of_clip(
    clip: &Path,
    trace: &Path,
    each: bool,
    rows: &mut Vec<Row>,
    passes: &mut BTreeMap<String, usize>,
) -> anyhow::Result<()> {
    let path = clip.join("truth.json");
    let truth = Truth::load(&path)?;
    // A second skater has other strides than the ones compared with here.
    if !truth.others.is_empty() {
        return Ok(());
    }
    let joints: Joints = serde_json::from_str(&std::fs::read_to_string(&path)?)?;
    let Some(frames) = cached_poses(trace, Path::new("no video is compared with"))? else {
        eprintln!("'{}' has no pose trace; left out", clip.display());
        return Ok(());
    };
    let thresholds = Thresholds::defaults(truth.age_group());
    for pass in judge_poses(
        frames.into_iter(),
        ModelKind::Full,
        &truth.lane(),
        &thresholds,
    ) {
        let found = matched(&truth, &pass);
        // Short stays at the edge of the picture show nothing whole.
        if found.is_empty() {
            continue;
        }
        *passes.entry(truth.view.clone()).or_default() += 1;
        for (quantity, measure) in pass.quantities.iter() {
            let (Some(value), Some(uncertainty)) = (measure.value, measure.uncertainty) else {
                continue;
            };
            let true_value = true_value(quantity.code(), &truth, &joints, &found);
            let Some(true_value) = true_value.filter(|_| measure.is_judged()) else {
                continue;
            };
            if each {
                println!(
                    "{:20} {:8} {:24} {value:8.3} truth {true_value:8.3} off {:+.3} ({})",
                    clip.file_name().unwrap_or_default().to_string_lossy(),
                    truth.view,
                    quantity.code(),
                    value - true_value,
                    measure.how
                );
            }
            rows.push(Row {
                view: truth.view.clone(),
                key: quantity.code(),
                value,
                uncertainty,
                truth: true_value,
            });
        }
    }
    Ok(())
}

/// True pushes the found ones of a pass are, by their place in the file, and
/// whether it is the nearer leg.
fn matched<'a>(truth: &'a Truth, pass: &JudgedPass) -> Vec<(usize, &'a TruthPush, Option<bool>)> {
    pass.pushes
        .iter()
        .filter_map(|found| {
            truth
                .first
                .pushes
                .iter()
                .enumerate()
                .find(|(_, p)| {
                    p.side == found.leg && (p.toe_off_s - found.toe_off_s).abs() < MATCH_S
                })
                .map(|(i, p)| (i, p, found.near_leg))
        })
        .collect()
}

fn true_value(
    key: &str,
    truth: &Truth,
    joints: &Joints,
    found: &[(usize, &TruthPush, Option<bool>)],
) -> Option<f64> {
    let param = |name: &str| joints.params.get(name).copied();
    let mean_of = |of: &dyn Fn(usize, &TruthPush) -> Option<f64>, near_only: bool| {
        let values: Vec<f64> = found
            .iter()
            .filter(|(_, _, near)| !near_only || *near != Some(false))
            .filter_map(|(i, push, _)| of(*i, push))
            .collect();
        (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
    };
    match key {
        "stride_rate_hz" => Some(2.0 * param("rate")?),
        "step_length_m" => Some(param("speed")? / (2.0 * param("rate")?)),
        "push_width_m" | "push_length_m" => mean_of(
            &|i, _| {
                let p = &joints.pushes[i];
                let (sine, cosine) = p.push_direction_deg.to_radians().sin_cos();
                let share = if key == "push_width_m" { sine } else { cosine };
                Some(p.push_length_m * share)
            },
            key == "push_length_m",
        ),
        "body_line_deg" => mean_of(&|_, push| body_line_deg(joints, push), true),
        "arm_leg_timing_s" => mean_of(&|_, push| arm_front_s(truth, joints, push), true),
        other => {
            let measure = other.strip_prefix("left_right_")?;
            let rule = RULES.iter().find(|rule| rule.measure == measure)?.id;
            let of_leg = |leg: Leg| {
                mean_of(
                    &|_, push| {
                        let value = truth.first.measure(rule, push)?;
                        (push.side == leg).then_some(value)
                    },
                    false,
                )
            };
            Some(of_leg(Leg::Left)? - of_leg(Leg::Right)?)
        }
    }
}

fn joint(joints: &Joints, frame: usize, side: Leg, name: &str) -> Option<[f64; 3]> {
    let side = if side == Leg::Left { "left" } else { "right" };
    let name = format!("{side}_{name}");
    let at = joints.joint_names.iter().position(|n| *n == name)?;
    joints.joints3d.get(frame)?.get(at).copied()
}

/// In the plane of travel, at the frame of the toe-off.
fn body_line_deg(joints: &Joints, push: &TruthPush) -> Option<f64> {
    let frame = usize::try_from(push.toe_off_frame).ok()?;
    let flat = |name| joint(joints, frame, push.side, name).map(|p| [p[0], p[2]]);
    kickplate::geometry::included_deg(flat("shoulder")?, flat("hip")?, flat("ankle")?)
}

/// When the wrist is farthest before the middle of the shoulders, after the
/// toe-off.
fn arm_front_s(truth: &Truth, joints: &Joints, push: &TruthPush) -> Option<f64> {
    let rate = joints.params.get("rate")?;
    let around = (0.3 / rate * truth.fps) as i64;
    let forward = |frame: i64| -> Option<f64> {
        let frame = usize::try_from(frame).ok()?;
        let shoulders = Leg::BOTH.map(|leg| joint(joints, frame, leg, "shoulder"));
        let middle = (shoulders[0]?[0] + shoulders[1]?[0]) / 2.0;
        let wrist = joint(joints, frame, push.side, "wrist")?[0];
        let direction = joints.directions.get(frame).copied().unwrap_or(1.0);
        Some((wrist - middle) * direction)
    };
    let best = (push.toe_off_frame - around..=push.toe_off_frame + around)
        .filter_map(|f| Some((f, forward(f)?)))
        .max_by(|a, b| a.1.total_cmp(&b.1))?
        .0;
    Some(best as f64 / truth.fps - push.toe_off_s)
}

/// Markdown: per quantity and view the passes, the share judged, the errors.
fn table(rows: &[Row], passes: &BTreeMap<String, usize>) -> String {
    let mut out = String::from(
        "| quantity | view | passes | judged | true values | bias | SD | mean absolute error | worst | uncertainty told |\n\
         |---|---|---|---|---|---|---|---|---|---|\n",
    );
    for quantity in QUANTITIES {
        for (view, n) in passes {
            let here: Vec<&Row> = rows
                .iter()
                .filter(|r| r.key == quantity.id.code() && r.view == *view)
                .collect();
            if here.is_empty() {
                continue;
            }
            out += &line(quantity, view, *n, &here);
        }
    }
    out
}

fn line(quantity: &Quantity, view: &str, passes: usize, rows: &[&Row]) -> String {
    let (scale, places, unit) = match quantity.unit {
        QuantityUnit::Deg => (1.0, 1, "°"),
        QuantityUnit::Metre => (100.0, 1, " cm"),
        QuantityUnit::Hertz => (1.0, 2, " /s"),
        QuantityUnit::Second => (1000.0, 0, " ms"),
    };
    let n = rows.len() as f64;
    let off: Vec<f64> = rows.iter().map(|r| r.value - r.truth).collect();
    let bias = off.iter().sum::<f64>() / n;
    let sd = (off.iter().map(|o| (o - bias).powi(2)).sum::<f64>() / n).sqrt();
    let mae = off.iter().map(|o| o.abs()).sum::<f64>() / n;
    let worst = off.iter().map(|o| o.abs()).fold(0.0, f64::max);
    let told = rows.iter().map(|r| r.uncertainty).sum::<f64>() / n;
    let truths = rows.iter().map(|r| r.truth);
    let (low, high) = truths.fold((f64::MAX, f64::MIN), |(l, h), t| (l.min(t), h.max(t)));
    let f = |v: f64| format!("{:.places$}", v * scale);
    format!(
        "| `{}` | {view} | {passes} | {} | {} to {}{unit} | {:+.places$} | {} | {} | {} | {} |\n",
        quantity.id.code(),
        rows.len(),
        f(low),
        f(high),
        bias * scale,
        f(sd),
        f(mae),
        f(worst),
        f(told)
    )
}
