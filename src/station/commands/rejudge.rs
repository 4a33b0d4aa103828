//! `kickplate rejudge`: stored passes judged anew without their video, with the limits
//! and the program of today.
//!
//! A pass is measured again from its body points by the code that judges a live one.
//! What cannot be had from them stays as it was seen: a pass that two cameras saw, one
//! that would be cut into other pushes today, or one without points keeps its stored
//! values, and these are held against the limits of today; and nothing
//! becomes surer than it was, since the pictures are not there any more.

use std::fmt::Write as _;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};

use jiff::Zoned;

use super::export::{SessionChoice, chosen_sessions};
use crate::config::home;
use crate::multi_camera::{SAME_PUSH_S, seen_by_two, with_thresholds};
use crate::roster::{Skater, SkaterId};
use crate::rules::{
    AgeGroups, Id, IdMap, JudgedPass, Measure, NotJudged, RULES, RuleId, RuleMap, Thresholds,
    flag_all,
};
use crate::station::live::shutdown::stop_on_signals;
use crate::station::program::print;
use crate::station::session::pass_judge::judge_points;
use crate::station::settings::choices::ModelChoice;
use crate::station::settings::{StationSettings, age_groups_file, station_file};
use crate::station::vision::model_kind;
use crate::station::words::passes;
use crate::store::{Archive, Basis, PassKey, StoreError, StoredPass, StoredSession};

/// `kickplate rejudge`: stored passes, judged anew with the limits of today.
#[derive(Debug, Clone, PartialEq, clap::Args)]
pub struct RejudgeOptions {
    /// 'tonight' (or else the last evening), 'latest', 'all', or the number of a session.
    #[arg(long, value_name = "WHICH", default_value = "all")]
    pub session: SessionChoice,
    /// Writes it; without it only what would change is said.
    #[arg(long)]
    pub apply: bool,
}

/// Judges anew, says what changes, and writes it where that is asked for.
///
/// # Errors
/// A session that is not there (exit code 2), a store that cannot be read or written,
/// Ctrl-C.
pub fn rejudge(options: &RejudgeOptions) -> anyhow::Result<()> {
    let home = home()?;
    let settings = StationSettings::load(&station_file(&home))?;
    let groups = AgeGroups::load(&age_groups_file(&home))?;
    let folder = settings.recordings_folder()?;
    let archive = Archive::open(&folder)?;
    let sessions = chosen_sessions(&archive.sessions()?, options.session, Zoned::now().date())?;
    let stop = stop_on_signals()?;
    let mut told = Told::default();
    let mut again = Again::open(&folder, &groups, archive.skaters()?)?;
    for id in sessions {
        let session = archive.load_session(id)?;
        let judged = again.session(&session, &stop)?;
        if stop.load(Ordering::Relaxed) {
            anyhow::bail!(
                "it was stopped; {}",
                match (options.apply, told.changed) {
                    (true, n) if n > 0 =>
                        "the sessions before this one are judged anew, and the same command does the rest",
                    _ => "nothing was written",
                }
            );
        }
        told.session(&session, &judged);
        if options.apply {
            let new: Vec<_> = session
                .passes
                .iter()
                .zip(&judged)
                .filter(|(old, new)| old.pass != new.pass)
                .map(|(old, new)| (old, key_of(&session, old), &new.pass, new.basis))
                .collect();
            if !new.is_empty() {
                archive.rejudge(&new, env!("CARGO_PKG_VERSION"))?;
            }
        }
    }
    print(&told.text(options.apply))
}

fn key_of(session: &StoredSession, pass: &StoredPass) -> PassKey {
    PassKey {
        session: session.summary.id.number(),
        number: pass.number,
    }
}

/// A pass judged anew. Where nothing changed it equals the stored one.
#[derive(Debug, Clone, PartialEq)]
struct Anew {
    pass: JudgedPass,
    basis: Basis,
    /// The points are damaged.
    points_broken: bool,
}

/// What passes are judged anew with, on all cores.
struct Again<'a> {
    groups: &'a AgeGroups,
    skaters: Vec<Skater>,
    /// One way to the points for each core.
    archives: Vec<Archive>,
}

impl<'a> Again<'a> {
    fn open(
        folder: &Path,
        groups: &'a AgeGroups,
        skaters: Vec<Skater>,
    ) -> Result<Self, StoreError> {
        let cores = std::thread::available_parallelism().map_or(1, usize::from);
        Ok(Again {
            groups,
            skaters,
            archives: (0..cores)
                .map(|_| Archive::open(folder))
                .collect::<Result<_, _>>()?,
        })
    }

    /// The passes of a session in their order; fewer where it was stopped.
    fn session(
        &mut self,
        session: &StoredSession,
        stop: &AtomicBool,
    ) -> Result<Vec<Anew>, StoreError> {
        let (groups, skaters) = (self.groups, &self.skaters);
        let share = session.passes.len().div_ceil(self.archives.len()).max(1);
        std::thread::scope(|scope| {
            let workers: Vec<_> = self
                .archives
                .iter_mut()
                .zip(session.passes.chunks(share))
                .map(|(archive, part)| {
                    scope.spawn(move || {
                        part.iter()
                            .take_while(|_| !stop.load(Ordering::Relaxed))
                            .map(|pass| {
                                let limits = limits_of(pass, session, groups, skaters);
                                anew(archive, session, pass, &limits)
                            })
                            .collect::<Result<Vec<_>, StoreError>>()
                    })
                })
                .collect();
            let parts = workers.into_iter().map(|worker| match worker.join() {
                Ok(part) => part,
                // The hook has said it; it goes on as it does in one thread.
                Err(panic) => std::panic::resume_unwind(panic),
            });
            Ok(parts.collect::<Result<Vec<_>, _>>()?.concat())
        })
    }
}

/// The limits that hold today for whose pass it is.
fn limits_of(
    pass: &StoredPass,
    session: &StoredSession,
    groups: &AgeGroups,
    skaters: &[Skater],
) -> Thresholds {
    let of = |id: SkaterId| skaters.iter().find(|s| s.id == id);
    match pass.skater.and_then(of) {
        Some(skater) => skater.thresholds(groups),
        None => groups.thresholds(session.info.age_group),
    }
}

fn anew(
    archive: &Archive,
    session: &StoredSession,
    stored: &StoredPass,
    limits: &Thresholds,
) -> Result<Anew, StoreError> {
    let old = &stored.pass;
    let from_values = |points_broken| Anew {
        pass: flagged_anew(old, limits),
        basis: Basis::Values,
        points_broken,
    };
    if seen_by_two(old) {
        return Ok(from_values(false));
    }
    let points = match archive.points(key_of(session, stored)) {
        Ok(Some(points)) => points,
        Ok(None) => return Ok(from_values(false)),
        Err(StoreError::Damaged { .. }) => return Ok(from_values(true)),
        Err(error) => return Err(error),
    };
    let model = &session.engine_of(stored).model;
    let Some(model) = ModelChoice::ALL.into_iter().find(|m| m.name() == model) else {
        return Ok(from_values(false));
    };
    let lane = session.lane_of(stored);
    let (_, new, _) = judge_points(&points, lane, model_kind(model), limits);
    // A program of before carried none of the lane's errors, and wrote none of them: until the
    // pass was measured again.
    let measured_again = || {
        let before = archive.earlier_judgements(key_of(session, stored))?;
        Ok::<_, StoreError>(before.iter().any(|e| e.basis == Basis::Points.name()))
    };
    let held = if lane.errors.is_empty() && !measured_again()? {
        SetUp::NotHeld
    } else {
        SetUp::Held
    };
    Ok(match as_it_was_seen(old, new, held) {
        Some(pass) => Anew {
            pass,
            basis: Basis::Points,
            points_broken: false,
        },
        None => from_values(false),
    })
}

/// A pass as it stands held against other limits. What the pushes of a leg say together
/// rests on more than is stored: under the same limits the flags of a rule stay as they were.
fn flagged_anew(old: &JudgedPass, limits: &Thresholds) -> JudgedPass {
    let mut new = with_thresholds(old.clone(), limits);
    let was = &old.thresholds;
    let stays =
        |rule: RuleId| was.surety == limits.surety && was.limits[rule] == limits.limits[rule];
    for (old, new) in old.pushes.iter().zip(&mut new.pushes) {
        new.flags.retain(|flag| !stays(flag.rule));
        new.flags
            .extend(old.flags.iter().filter(|flag| stays(flag.rule)).cloned());
        new.flags.sort_by_key(|flag| flag.rule);
    }
    new
}

/// A pass measured again, with what only the pictures could tell; `None` where it is
/// cut into other pushes than the stored one, or the camera had been moved.
fn as_it_was_seen(old: &JudgedPass, mut new: JudgedPass, held: SetUp) -> Option<JudgedPass> {
    // Of a camera that lay elsewhere no number can be believed, however it is measured.
    if old.camera_moved() {
        return None;
    }
    let same = old.pushes.len() == new.pushes.len()
        && old
            .pushes
            .iter()
            .zip(&new.pushes)
            .all(|(a, b)| a.leg == b.leg && (a.toe_off_s - b.toe_off_s).abs() <= SAME_PUSH_S);
    if !same {
        return None;
    }
    for (old, new) in old.pushes.iter().zip(&mut new.pushes) {
        no_surer(&old.measures, &mut new.measures, held);
        // How good the pictures were, the points do not tell.
        new.quality = old.quality;
    }
    no_surer(&old.quantities, &mut new.quantities, held);
    flag_all(&mut new.pushes, &new.thresholds);
    // It is not stored: only flags rest on it.
    let measures = new.pushes.iter_mut().flat_map(|p| p.measures.values_mut());
    measures
        .chain(new.quantities.values_mut())
        .for_each(|m| (m.random, m.set_up, m.praise_not) = (None, None, None));
    Some(JudgedPass {
        track_id: old.track_id,
        started_at_s: old.started_at_s,
        ended_at_s: old.ended_at_s,
        speed_mps: old.speed_mps,
        view: old.view,
        ..new
    })
}

/// Whether stored uncertainties hold the part of the lane's errors.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum SetUp {
    Held,
    NotHeld,
}

/// The points do not hold the pictures, which widen a doubt and forbid to judge: so
/// nothing becomes surer than it was. What was not judged stays so, but for what is new
/// in the program, and a doubt is never smaller than the one that was stored.
fn no_surer<K: Id>(old: &IdMap<K, Measure>, new: &mut IdMap<K, Measure>, held: SetUp) {
    for (old, new) in old.values().zip(new.values_mut()) {
        match old.not_judged {
            Some(NotJudged::NotInRecording) => {}
            Some(_) => *new = old.clone(),
            None if new.is_judged() => {
                let (Some(then), Some(now)) = (old.uncertainty, new.uncertainty) else {
                    continue;
                };
                // Poor pictures widen what was read by one factor, and the lane's errors not at
                // all.
                let set_up = new.set_up.unwrap_or(0.0);
                let read = |all: f64| (all * all - set_up * set_up).max(0.0).sqrt();
                let (was, whole) = match held {
                    SetUp::Held => (read(then), then),
                    SetUp::NotHeld => (then, then.hypot(set_up)),
                };
                let now = read(now);
                if was > now && now > 0.0 {
                    new.random = new.random.map(|random| random * was / now);
                    new.uncertainty = Some(whole);
                }
            }
            None => {}
        }
    }
}

/// What is told in the end.
#[derive(Debug, Default)]
struct Told {
    sessions: usize,
    of_points: usize,
    of_values: usize,
    points_broken: usize,
    damaged: usize,
    changed: usize,
    rules: RuleMap<OfRule>,
    /// Flags the coach has confirmed that are none any more.
    confirmed_gone: usize,
}

/// What changes of one rule, in pushes.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
struct OfRule {
    flagged_before: usize,
    come: usize,
    gone: usize,
    /// Values that are not what they were.
    moved: usize,
    /// Judged before or now, and not both.
    judged_otherwise: usize,
}

impl Told {
    fn session(&mut self, session: &StoredSession, judged: &[Anew]) {
        self.sessions += 1;
        self.damaged += session.damaged.len();
        for (old, new) in session.passes.iter().zip(judged) {
            match new.basis {
                Basis::Points => self.of_points += 1,
                Basis::Values => self.of_values += 1,
            }
            self.points_broken += usize::from(new.points_broken);
            self.changed += usize::from(old.pass != new.pass);
            for (i, (was, is)) in old.pass.pushes.iter().zip(&new.pass.pushes).enumerate() {
                for rule in RULES {
                    let id = rule.id;
                    let flagged = |flags: &[crate::rules::Flag]| flags.iter().any(|f| f.rule == id);
                    let told = &mut self.rules[id];
                    let (before, now) = (flagged(&was.flags), flagged(&is.flags));
                    told.flagged_before += usize::from(before);
                    told.come += usize::from(now && !before);
                    told.gone += usize::from(before && !now);
                    let (a, b) = (&was.measures[id], &is.measures[id]);
                    told.judged_otherwise += usize::from(a.is_judged() != b.is_judged());
                    told.moved += usize::from(a.is_judged() && b.is_judged() && a.value != b.value);
                    let verdict = old.notes.get(i).and_then(|note| note.verdicts.get(&id));
                    let confirmed = verdict == Some(&crate::store::Verdict::Confirmed);
                    self.confirmed_gone += usize::from(confirmed && before && !now);
                }
            }
        }
    }

    fn text(&self, applied: bool) -> String {
        let n = self.of_points + self.of_values;
        let mut text = format!(
            "{} of {} judged anew: {} from body points, {} from stored values with the limits of today\n",
            passes(n),
            match self.sessions {
                1 => "1 session".to_owned(),
                n => format!("{n} sessions"),
            },
            self.of_points,
            self.of_values
        );
        // Writing into a String cannot fail.
        let _ = writeln!(
            text,
            "\n{:<16}{:>9}{:>8}{:>8}{:>8}{:>14}{:>18}",
            "rule", "flagged", "anew", "come", "gone", "values moved", "judged otherwise"
        );
        for (id, told) in self.rules.iter() {
            let _ = writeln!(
                text,
                "{:<16}{:>9}{:>8}{:>8}{:>8}{:>14}{:>18}",
                id.code(),
                told.flagged_before,
                told.flagged_before + told.come - told.gone,
                told.come,
                told.gone,
                told.moved,
                told.judged_otherwise
            );
        }
        text += "\n";
        if self.confirmed_gone > 0 {
            let _ = writeln!(
                text,
                "Flags that the coach has confirmed and that are none any more: {}.",
                self.confirmed_gone
            );
        }
        if self.points_broken + self.damaged > 0 {
            let _ = writeln!(
                text,
                "Body points that cannot be read: of {}. Passes left out because they do not read as they were written: {}. The disk may be failing.",
                passes(self.points_broken),
                self.damaged
            );
        }
        text += &match (self.changed, applied) {
            (0, _) => "Nothing changes.\n".to_owned(),
            (n, true) => format!(
                "{} changed. The values from before are kept beside the new ones; the cues stay as they were given.\n",
                passes(n)
            ),
            (n, false) => format!(
                "{} would change; nothing was written. '--apply' writes it and keeps the values from before beside the new ones; the cues stay as they were given.\n",
                passes(n)
            ),
        };
        text
    }
}

#[cfg(test)]
#[path = "rejudge_tests.rs"]
mod tests;
