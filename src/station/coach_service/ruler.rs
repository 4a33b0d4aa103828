//! Holds of a check with persons, from the panel.

use super::{Done, Service, said};
use crate::calibration::Gauged;
use crate::config::Subject;
use crate::panel::{Message, Number, RulerRow};
use crate::ruler::stand::{StandFault, Standing};
use crate::ruler::{Hold, Record};
use crate::station::ruler::{Checks, camera_of};
use crate::station::vision::model_kind;

impl Service {
    /// Where the checks of the lane in use lie; `None` where there can be no check.
    fn checks(&self) -> Option<Checks> {
        let source = self.settings.load().source.clone();
        let of_people = source.lane.subject == Subject::People;
        source.checks.filter(|_| of_people)
    }

    /// The check of the camera and lane in use, and where it lies.
    fn check_in_use(&self) -> Result<(Checks, Record), super::ServiceError> {
        let source = self.settings.load().source.clone();
        let checks = self
            .checks()
            .ok_or_else(|| said(Message::HoldNoCamera {}))?;
        let camera = camera_of(source.camera.id.as_deref());
        let setting = checks.setting(&camera, &source.lane);
        let record = checks.load(&setting).map_err(refused)?;
        let record = record.unwrap_or_else(|| Record::new(setting));
        Ok((checks, record))
    }

    pub(super) fn ruler_hold(&mut self, of: Gauged, reference: f64, person: u32) -> Done {
        // Before cameras are looked for, which takes longer than poses are kept.
        let frames = self.session.recent_poses();
        let (checks, mut record) = self.check_in_use()?;
        let lane = self.settings.load().source.lane.clone();
        let at_work = self.session.view().model.map(model_kind);
        if at_work.is_some_and(|model| model != record.setting.model) {
            return Err(said(Message::HoldLighterModel {}));
        }
        let standing =
            Standing::find(&frames, &lane, record.setting.model).map_err(|e| said(fault(e)))?;
        let held = Hold {
            of,
            reference,
            reading: 0.0,
            person: person.to_string(),
            date: jiff::Zoned::now().date(),
            stature_m: lane.skater_height_m,
            gear: String::new(),
            undone: false,
        };
        let holds = standing.holds(held).map_err(|e| said(fault(e)))?;
        // The hold itself comes first.
        let reading = holds[0].reading;
        for hold in holds {
            record.add(hold).map_err(refused)?;
        }
        checks.save(&record).map_err(refused)?;
        self.show_holds(Some(&record));
        let (_, times) = of.told_in();
        Ok(Message::HoldTaken {
            held: Number(reference * times, 1),
            read: Number(reading * times, 1),
        })
    }

    pub(super) fn ruler_undo(&mut self) -> Done {
        let (checks, mut record) = self.check_in_use()?;
        if record.undo().is_empty() {
            return Err(said(Message::HoldNone {}));
        }
        checks.save(&record).map_err(refused)?;
        self.show_holds(Some(&record));
        Ok(Message::HoldUndone {})
    }

    /// The check's values hold from now on. A session of its own begins, which says so.
    pub(super) fn ruler_use(&mut self) -> Done {
        let (_, record) = self.check_in_use()?;
        let in_use = self.settings.load().source.lane.checked.is_some();
        if record.checked().is_none() && !in_use {
            return Err(said(Message::HoldNone {}));
        }
        self.settings.change_source(|_| {});
        self.list_lanes();
        Ok(match self.settings.load().source.lane.checked {
            Some(checked) => Message::CheckInUse {
                persons: checked.persons,
            },
            None => Message::HoldNone {},
        })
    }

    /// Lists what was held before the camera and lane in use.
    pub(super) fn list_holds(&mut self) {
        // Without asking for cameras, which may take time.
        if self.checks().is_some_and(|checks| !checks.any()) {
            return self.show_holds(None);
        }
        match self.check_in_use() {
            Ok((_, record)) => self.show_holds(Some(&record)),
            Err(_) => self.view.holds.clear(),
        }
    }

    /// Shows what stands in a check's record; `None` where there is no record yet.
    fn show_holds(&mut self, record: Option<&Record>) {
        let view = self.settings.load().source.lane.view;
        let seen = Gauged::ALL
            .into_iter()
            .filter(|g| g.views().contains(&view));
        self.view.holds = seen
            .map(|of| {
                let held: Vec<&Hold> = record
                    .into_iter()
                    .flat_map(|record| record.counting(of))
                    .map(|(_, hold)| hold)
                    .collect();
                let mut persons: Vec<&str> = held.iter().map(|h| h.person.as_str()).collect();
                persons.sort_unstable();
                persons.dedup();
                RulerRow {
                    of,
                    holds: held.len() as u32,
                    persons: persons.len() as u32,
                    last: held.last().map(|h| [h.reference, h.reading]),
                }
            })
            .collect();
    }
}

fn refused(error: impl std::fmt::Display) -> super::ServiceError {
    said(Message::HoldRefused {
        why: error.to_string(),
    })
}

fn fault(fault: StandFault) -> Message {
    match fault {
        StandFault::WrongView { .. } | StandFault::NotSeen => Message::HoldNotSeen {},
        StandFault::Nobody => Message::HoldNobody {},
        StandFault::SeveralPersons => Message::HoldSeveral {},
        StandFault::Moves => Message::HoldMoves {},
        StandFault::TooSmall => Message::HoldSmall {},
        StandFault::OtherWay => Message::HoldOtherWay {},
        StandFault::Turned => Message::HoldTurned {},
    }
}
