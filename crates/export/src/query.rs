//! From the store: the chosen passes and who skated them.

use std::collections::BTreeMap;

use super::dataset::{Material, PassPart, Person, SessionPart};
use super::write::Shelf;
use super::{ExportError, ExportRequest};
use crate::roster::{Skater, SkaterId};
use crate::store::{
    Archive, PassKey, PictureStrip, SessionState, StoredPass, StoredSession, StripInfo,
};
use crate::track::Pass;

impl Shelf for Archive {
    fn strip(&self, id: i64) -> Result<PictureStrip, String> {
        Archive::strip(self, id).map_err(|e| e.to_string())
    }

    fn points(&self, key: PassKey) -> Result<Option<Pass>, String> {
        Archive::points(self, key).map_err(|e| e.to_string())
    }
}

/// Reads what was asked for, and takes out what may not leave.
pub fn gather(archive: &Archive, request: &ExportRequest) -> Result<Material, ExportError> {
    let mut sessions = Vec::with_capacity(request.sessions.len());
    for &id in &request.sessions {
        let mut session = archive.load_session(id)?;
        session
            .passes
            .retain(|p| request.skater.is_none() || p.skater == request.skater);
        sessions.push(session);
    }
    let mut material = material_of(sessions, &archive.skaters()?);
    if request.anonymous {
        material.make_anonymous();
    }
    Ok(material)
}

/// Sessions with who skated in them, of a roster.
pub fn material_of(sessions: Vec<StoredSession>, roster: &[Skater]) -> Material {
    let known: BTreeMap<SkaterId, &Skater> = roster.iter().map(|s| (s.id, s)).collect();
    let mut material = Material::default();
    let mut places = BTreeMap::new();
    for mut session in sessions {
        let passes = std::mem::take(&mut session.passes);
        material.passes_damaged += session.damaged.len();
        let passes = passes
            .into_iter()
            .map(|p| part_of(p, &session, &known, &mut material.people, &mut places))
            .collect::<Vec<_>>();
        material.sessions.push(SessionPart {
            number: session.summary.id.number(),
            started_at: Some(session.info.started.to_string()),
            source: session.info.source,
            lane: session.info.lane,
            engine: session.info.engine,
            age_group: session.info.age_group,
            interrupted: session.summary.state == SessionState::Recovered,
            passes_lost: session.summary.passes_lost,
            passes,
        });
    }
    material
}

fn part_of(
    stored: StoredPass,
    session: &StoredSession,
    known: &BTreeMap<SkaterId, &Skater>,
    people: &mut Vec<Person>,
    places: &mut BTreeMap<SkaterId, usize>,
) -> PassPart {
    let lane = session.lane_of(&stored).clone();
    // A skater that was deleted meanwhile is nobody.
    let skater = stored.skater.and_then(|id| known.get(&id));
    let person = skater.map(|skater| {
        *places.entry(skater.id).or_insert_with(|| {
            people.push(Person {
                id: skater.id,
                name: skater.name.clone(),
                bib: skater.bib.clone(),
                consent: skater.consent.is_some(),
            });
            people.len() - 1
        })
    });
    // The store keeps no picture without consent; an export looks again.
    let may_leave = skater.is_some_and(|s| s.consent.is_some());
    let strips: Vec<StripInfo> = if may_leave { stored.strips } else { Vec::new() };
    PassPart {
        key: PassKey {
            session: session.summary.id.number(),
            number: stored.number,
        },
        pass: stored.pass,
        cue: stored.cue,
        person,
        notes: stored.notes,
        strips,
        has_points: stored.has_points,
        lane,
        engine: stored.engine,
        source: stored.source,
    }
}
