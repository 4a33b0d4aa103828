//! `kickplate-lab knock`: whether a camera that is knocked is noticed, and whether anything
//! harmless is taken for that.
//!
//! Each clip gives a background. It is filmed by a camera made of software that is turned,
//! shifted and zoomed, through light, noise and bodies made of software, and the station's
//! own watch looks at it twice a second. Nobody is masked: the pose model does not run, so
//! every body is as good as one that was not found.
//!
//! Takes: clips, and how their camera stands (a lane file beside each, or the usual one).
//! Gives: a table of what was noticed and when, and of false alarms.
//! Fails: a clip that cannot be read.

mod film;
mod scene;

use std::fmt::Write;
use std::path::PathBuf;

use kickplate::config::Lane;
use kickplate::standing::{Standing, StandingWatch};
use kickplate::station::program;
use kickplate::station::usage::is_there;

use film::{Disturbance, Film};
use scene::{Knock, Scene};

/// `kickplate-lab knock`: a knocked camera, and what is none.
#[derive(Debug, Clone, PartialEq, clap::Args)]
pub struct KnockOptions {
    /// Clips of a camera that stands still.
    #[arg(required = true)]
    pub clips: Vec<PathBuf>,
    /// Of each clip only its first picture is the background: its camera moves.
    #[arg(long)]
    pub first: bool,
    /// How far the boards behind the ice are, metres.
    #[arg(long, value_name = "METRES", default_value_t = 25.0)]
    pub boards_m: f64,
    /// Each harmless thing lasts so long, seconds.
    #[arg(long, value_name = "SECONDS", default_value_t = 90.0)]
    pub seconds: f64,
    /// One line a case.
    #[arg(long)]
    pub each: bool,
}

/// The watch is given a picture this often, seconds.
const EVERY_S: f64 = 0.5;
/// The camera stands still for so long before it is knocked, seconds.
const BEFORE_S: f64 = 12.0;
/// A slow slide lasts so long, seconds.
const SLIDE_S: f64 = 20.0;
/// So soon after a knock it has to be noticed, seconds.
const WITHIN_S: f64 = 10.0;

/// What came of one kind of knock, or of one harmless thing.
#[derive(Debug, Clone, Default, PartialEq)]
struct Row {
    what: String,
    cases: u32,
    /// Knocks that were noticed in time; harmless things that were taken for a knock.
    noticed: u32,
    /// Seconds to the notice; a slide's count from its end.
    after_s: Vec<f64>,
    /// Looks that told a knock before there was one.
    too_early: u32,
    /// Cases in which judging went on after the camera was put back.
    put_back: u32,
    /// Seconds watched.
    seconds: f64,
    /// Cases in which the watch never said how the camera stands.
    blind: u32,
}

/// Films every clip and prints the tables.
///
/// # Errors
/// A clip or a lane file that cannot be read.
pub fn knock(options: &KnockOptions) -> anyhow::Result<()> {
    let (mut knocks, mut harmless): (Vec<Row>, Vec<Row>) = (Vec::new(), Vec::new());
    for clip in &options.clips {
        is_there(clip)?;
        let lane_file = clip.with_extension("toml");
        let lane = match lane_file.exists() {
            true => Lane::load(&lane_file)?,
            false => usual_lane()?,
        };
        let scene = Scene::of_clip(clip, lane, options.boards_m, options.first)?;
        for (i, (what, knock)) in Knock::all().into_iter().enumerate() {
            for slide in [false, true] {
                let (name, case) = knocked(&scene, what, knock, slide, i as u64);
                said(options, clip, &case);
                add(&mut knocks, name, case);
            }
        }
        for (i, what) in Disturbance::ALL.into_iter().enumerate() {
            let case = undisturbed(&scene, what, options.seconds, i as u64);
            said(options, clip, &case);
            add(&mut harmless, what.name().to_owned(), case);
        }
    }
    program::print(&tables(&knocks, &harmless))
}

fn usual_lane() -> anyhow::Result<Lane> {
    let text = "view = \"side\"\ncamera_height_m = 1.2\ntilt_deg = 2.7\nhfov_deg = 62.0\n\
                lane_distance_m = 6.0\ntravel = \"left_to_right\"\nskater_height_m = 1.78\nsubject = \"rendered\"\n";
    Ok(Lane::from_toml(text, "the usual lane")?)
}

fn said(options: &KnockOptions, clip: &std::path::Path, row: &Row) {
    if options.each {
        // Nobody may be reading.
        let _ = program::print(&format!("{}: {row:?}\n", clip.display()));
    }
}

fn add(rows: &mut Vec<Row>, what: String, case: Row) {
    let at = rows.iter().position(|row| row.what == what);
    let at = at.unwrap_or_else(|| {
        rows.push(Row {
            what,
            ..Row::default()
        });
        rows.len() - 1
    });
    let row = &mut rows[at];
    row.cases += case.cases;
    row.noticed += case.noticed;
    row.too_early += case.too_early;
    row.put_back += case.put_back;
    row.seconds += case.seconds;
    row.blind += case.blind;
    row.after_s.extend(case.after_s);
}

/// A knock, and the camera put back after it.
fn knocked(scene: &Scene, what: &str, knock: Knock, slide: bool, seed: u64) -> (String, Row) {
    let name = format!("{what}, {}", if slide { "slow slide" } else { "at once" });
    let mut film = Film::new(scene, Disturbance::Usual, seed);
    let mut watch = StandingWatch::new(scene.lane.hfov_deg, None);
    let over_s = if slide { SLIDE_S } else { 0.0 };
    let last_s = BEFORE_S + over_s + WITHIN_S;
    let mut row = Row {
        what: name.clone(),
        cases: 1,
        ..Row::default()
    };
    let mut at_s = 0.0;
    let mut back_s = None;
    loop {
        let moved = watch.standing() == Standing::Moved;
        let share = match back_s {
            Some(_) => 0.0,
            None if at_s < BEFORE_S => 0.0,
            None if slide => ((at_s - BEFORE_S) / SLIDE_S).min(1.0),
            None => 1.0,
        };
        match back_s {
            // One that is told before the knock is an alarm for nothing.
            None if moved && at_s < BEFORE_S => row.too_early += 1,
            None if moved && row.after_s.is_empty() => {
                row.noticed += 1;
                row.after_s.push(at_s - BEFORE_S - over_s);
            }
            // It lies there for a while, then it is put back.
            None if at_s > last_s => back_s = Some(at_s),
            Some(_) if !moved => {
                row.put_back += u32::from(watch.standing() == Standing::Stands);
                break;
            }
            Some(back_s) if at_s > back_s + WITHIN_S => break,
            _ => {}
        }
        let frame = film.picture(at_s, knock.times(share));
        watch.frame(&frame, std::iter::empty());
        at_s += EVERY_S;
    }
    row.seconds = at_s;
    (name, row)
}

/// Something harmless for a while.
fn undisturbed(scene: &Scene, what: Disturbance, seconds: f64, seed: u64) -> Row {
    let mut film = Film::new(scene, what, 1000 + seed);
    let mut watch = StandingWatch::new(scene.lane.hfov_deg, None);
    let (mut alarm, mut doubt, mut stood) = (false, false, false);
    let looks = (seconds / EVERY_S) as u32;
    for k in 0..looks {
        let at_s = f64::from(k) * EVERY_S;
        let frame = film.picture(at_s, Knock::default());
        watch.frame(&frame, std::iter::empty());
        alarm |= watch.standing() == Standing::Moved;
        doubt |= watch.is_doubtful();
        stood |= watch.standing() == Standing::Stands;
    }
    Row {
        what: format!("{}{}", what.name(), if doubt { " (doubt)" } else { "" }),
        cases: 1,
        noticed: u32::from(alarm || doubt),
        seconds,
        blind: u32::from(!stood),
        ..Row::default()
    }
}

fn tables(knocks: &[Row], harmless: &[Row]) -> String {
    let mut text = String::from(
        "| knock | noticed within 10 s | slowest, s | judged again once put back |\n|---|---|---|---|\n",
    );
    for row in knocks {
        let slowest = row.after_s.iter().copied().fold(f64::NAN, f64::max);
        // Writing into a String cannot fail.
        let _ = writeln!(
            text,
            "| {} | {} of {} | {slowest:.1} | {} |",
            row.what, row.noticed, row.cases, row.put_back
        );
    }
    let sum = |rows: &[Row], of: fn(&Row) -> u32| rows.iter().map(of).sum::<u32>();
    let _ = writeln!(
        text,
        "| all | {} of {} | | {} |\n\nTold before the knock: {}.\n\n| harmless | minutes | false alarms | cannot tell |\n|---|---|---|---|",
        sum(knocks, |r| r.noticed),
        sum(knocks, |r| r.cases),
        sum(knocks, |r| r.put_back),
        sum(knocks, |r| r.too_early)
    );
    for row in harmless {
        let _ = writeln!(
            text,
            "| {} | {:.1} | {} | {} of {} |",
            row.what,
            row.seconds / 60.0,
            row.noticed,
            row.blind,
            row.cases
        );
    }
    let minutes = harmless.iter().map(|r| r.seconds).sum::<f64>() / 60.0;
    let _ = writeln!(
        text,
        "| all | {minutes:.1} | {} | {} of {} |",
        sum(harmless, |r| r.noticed),
        sum(harmless, |r| r.blind),
        sum(harmless, |r| r.cases)
    );
    text
}
