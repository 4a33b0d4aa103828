//! A made-up club: two stations, three groups, an evening a week. The numbers come from
//! a fixed sequence, so that every run makes the same season.

#![allow(dead_code, reason = "each test file uses its own part of these")]

use std::path::Path;
use std::sync::atomic::AtomicBool;

use jiff::ToSpan;
use jiff::civil::Date;
use kickplate::config::{Subject, View};
use kickplate::export::{DatasetRequest, add_to_dataset};
use kickplate::roster::{Skater, SkaterId};
use kickplate::rules::{
    AgeGroup, Flag, JudgedPass, JudgedPush, Leg, Measure, NotJudged, QuantityId, QuantityMap,
    RuleId, RuleMap, Thresholds,
};
use kickplate::store::{Archive, NewPass, PassKey, PushKey, Store, Verdict};

use crate::store_common::{cue, session};

/// Stations, and from where each films.
const STATIONS: [(&str, View); 2] = [("rink-a", View::Side), ("rink-b", View::Front)];
/// Skaters of each group at a station; of three nothing may be told.
const GROUPS: [(AgeGroup, usize); 3] =
    [(AgeGroup::U9, 3), (AgeGroup::U11, 7), (AgeGroup::Adult, 6)];
/// Reasons that are drawn.
const REASONS: [NotJudged; 4] = [
    NotJudged::FarLegHidden,
    NotJudged::LegsMixedUp,
    NotJudged::TooSmall,
    NotJudged::PointsUnsteady,
];

/// A sequence that is the same in every run (Lehmer, 2^31 - 1 and 48271: Park, Miller
/// and Stockmeyer 1993).
pub struct Lot(u64);

impl Lot {
    fn next(&mut self) -> u64 {
        self.0 = self.0 * 48_271 % 2_147_483_647;
        self.0
    }

    fn below(&mut self, n: u64) -> u64 {
        self.next() % n
    }

    /// About zero, at most `reach` away, more often near than far.
    fn about(&mut self, reach: f64) -> f64 {
        let one = |lot: &mut Lot| lot.below(2001) as f64 / 1000.0 - 1.0;
        reach * (one(self) + one(self)) / 2.0
    }
}

/// Writes the recordings of the club into `work`, and its dataset into `dataset`: so
/// many evenings at each station, and one with rendered skaters.
pub fn club(work: &Path, dataset: &Path, evenings: usize) {
    let first: Date = "2025-11-07".parse().unwrap();
    for (s, (station, view)) in STATIONS.into_iter().enumerate() {
        let mut lot = Lot(19 + s as u64);
        let folder = work.join(station);
        let archive = Archive::open(&folder).unwrap();
        let mut skaters: Vec<(SkaterId, AgeGroup)> = Vec::new();
        for (group, n) in GROUPS {
            for i in 0..n {
                let skater = Skater::new(&format!("{} {i}", group.name()), group);
                skaters.push((archive.add_skater(&skater).unwrap(), group));
            }
        }
        let mut sessions = Vec::new();
        for evening in 0..evenings {
            let date = first + (7 * evening as i64).days();
            let rendered = s == 0 && evening == 1;
            sessions.push(record(
                &folder,
                &archive,
                &skaters,
                (date, view),
                rendered,
                &mut lot,
            ));
        }
        let request = DatasetRequest {
            sessions,
            folder: dataset.to_owned(),
            station: station.to_owned(),
            names: false,
        };
        add_to_dataset(&archive, &request, &AtomicBool::new(false)).unwrap();
    }
}

fn record(
    folder: &Path,
    archive: &Archive,
    skaters: &[(SkaterId, AgeGroup)],
    (date, view): (Date, View),
    rendered: bool,
    lot: &mut Lot,
) -> i64 {
    let mut store = Store::open(folder).unwrap();
    let mut info = session();
    info.started = date.at(18, 5, 0, 0).in_tz("Europe/Zurich").unwrap();
    info.lane.view = view;
    if rendered {
        info.lane.subject = Subject::Rendered;
    }
    let id = store.begin_session(&info).unwrap();
    let mut verdicts = Vec::new();
    let mut number = 0;
    for &(skater, group) in skaters {
        // Somebody is always missing.
        if lot.below(8) == 0 {
            continue;
        }
        for _ in 0..2 {
            number += 1;
            let judged = pass(number, group, view, lot);
            for (position, push) in (0..).zip(&judged.pushes) {
                let push_key = PushKey {
                    pass: PassKey {
                        session: id.number(),
                        number,
                    },
                    position,
                };
                for flag in &push.flags {
                    let said = match lot.below(4) {
                        0 => continue,
                        1 => Verdict::Dismissed,
                        _ => Verdict::Confirmed,
                    };
                    verdicts.push((push_key, flag.rule, said));
                }
            }
            let new = NewPass {
                skater: (lot.below(9) > 0).then_some(skater),
                ..(judged, cue(number)).into()
            };
            store.write_pass(&id, &new).unwrap();
        }
    }
    store.end_session(&id).unwrap();
    for (push, rule, said) in verdicts {
        archive.set_verdict(&push, rule, Some(said)).unwrap();
    }
    id.number()
}

fn pass(number: u32, group: AgeGroup, view: View, lot: &mut Lot) -> JudgedPass {
    let start = f64::from(number) * 10.0;
    let quantities = QuantityMap::from_fn(|id: QuantityId| {
        let value = 2.0 + id as usize as f64 + lot.about(1.0);
        measure(value, 0.25, id.quantity().views.contains(&view), lot)
    });
    JudgedPass {
        track_id: number,
        started_at_s: start,
        ended_at_s: start + 2.4,
        speed_mps: 5.25,
        view,
        thresholds: Thresholds::defaults(group),
        pushes: (0..2).map(|i| push(i, start, view, lot)).collect(),
        quantities,
    }
}

fn push(i: u32, start: f64, view: View, lot: &mut Lot) -> JudgedPush {
    let measures = RuleMap::from_fn(|id: RuleId| {
        let value = match id.rule().unit {
            kickplate::rules::Unit::Deg => 110.0 + 5.0 * id as usize as f64 + lot.about(25.0),
            kickplate::rules::Unit::Metre => 0.1 + lot.about(0.08),
        };
        measure(value, 2.5, id.rule().views.contains(&view), lot)
    });
    let flagged = measures.iter().filter_map(|(rule, m)| {
        let value = m.judged_value()?;
        (lot.below(3) == 0).then_some(Flag {
            rule,
            value,
            limit: value - 1.0,
        })
    });
    let flags = flagged.collect();
    JudgedPush {
        quality: None,
        leg: if i == 1 { Leg::Right } else { Leg::Left },
        near_leg: Some(i == 0),
        push_start_s: start + 0.4 * f64::from(i),
        toe_off_s: start + 0.4 * f64::from(i) + 0.3,
        measures,
        flags,
    }
}

fn measure(value: f64, uncertainty: f64, from_here: bool, lot: &mut Lot) -> Measure {
    if !from_here {
        return Measure::not_judged(NotJudged::NotFromSide);
    }
    match lot.below(4) {
        // Some have a value all the same: it is no measurement.
        0 => {
            let why = REASONS[lot.below(REASONS.len() as u64) as usize];
            Measure::unsure(value + 40.0, uncertainty, why)
        }
        _ => Measure::judged(value, uncertainty, "9 frames"),
    }
}
