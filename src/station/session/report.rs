//! What the session tells of itself: to the presenter, in its view, to the
//! service manager and the health page; and the background it keeps for the next start.

use std::sync::Arc;
use std::time::Instant;

use super::camera_pairing::CameraPairing;
use super::link::SoundOrder;
use super::{Session, SessionView};
use crate::display::{People, Person};
use crate::roster::SkaterId;
use crate::sound::SoundId;
use crate::standing::Reference;
use crate::station::health::{Mood, PoseHealth, Running};
use crate::station::output::complain;
use crate::station::presenter::LaneState;
use crate::station::vision::sight_watch::SightTrouble;

impl Session {
    /// What the strip of the screen says of the engine: with the model where
    /// that is not the one that was asked for.
    fn engine_label(&self) -> String {
        self.source.as_ref().map_or_else(String::new, |source| {
            let backend = &source.model.record.backend;
            match source.model.note {
                Some(_) => format!("{backend} ({})", source.model.model.name()),
                None => backend.clone(),
            }
        })
    }

    /// What of a skater may stand on the big screen.
    pub(super) fn person(&self, id: SkaterId) -> Option<Person> {
        let skater = self.now.skater(id)?;
        Some(Person {
            bib: skater.bib.clone(),
            name: Some(skater.name.clone()),
            band: skater.band,
            focus: skater.focus,
        })
    }

    /// Does what is asked of the loudspeaker beside the cues.
    pub(super) fn sound(&self, order: SoundOrder) {
        let Some(speaker) = &self.parts.speaker else {
            return;
        };
        match order {
            SoundOrder::Try => {
                speaker.play(SoundId::Praise);
            }
            SoundOrder::Word(of) => {
                speaker.play_word(of);
            }
            SoundOrder::ReadWords => speaker.read_words(),
        }
    }

    pub(super) fn tell_presenter(&self) {
        let status = self.status.as_ref();
        self.presenter.state(LaneState {
            feed: status.map(|s| s.feed.clone()),
            somebody_passing: status.is_some_and(|s| !s.passing.is_empty()),
            engine_stopped: self.no_model || status.is_some_and(|s| s.engine_fault.is_some()),
            engine: self.engine_label(),
            pictures_kept: self.now.pictures_are_kept(),
            not_recording: self.recording.trouble().is_some(),
            too_slow: matches!(
                status.and_then(|s| s.sight),
                Some(SightTrouble::ComputerSlow(_))
            ),
            reading_distance_m: self.now.screen.reading_distance_m as f32,
            screen_height_m: self.now.screen.height_m as f32,
            people: People {
                shown: self.queue.in_lane().and_then(|id| self.person(id)),
                next: self.queue.state().current.and_then(|id| self.person(id)),
            },
            outputs: self.now.outputs.clone(),
        });
    }

    pub(super) fn publish(&mut self) {
        self.published = Some(Instant::now());
        let status = self.status.as_ref();
        let source = self.source.as_ref();
        self.view.store(Arc::new(SessionView {
            feed: status.map(|s| s.feed.clone()),
            second: self.pairing.as_ref().and_then(CameraPairing::status),
            somebody_passing: status.is_some_and(|s| !s.passing.is_empty()),
            sight: status.and_then(|s| s.sight),
            place_unknown: status.is_some_and(|s| s.place_unknown),
            second_moved: self.pairing.as_ref().is_some_and(CameraPairing::moved),
            preview: status.and_then(|s| s.preview.clone()),
            body: status.map(|s| Arc::clone(&s.body)).unwrap_or_default(),
            frame_px: source.and_then(|s| s.frame_px),
            last: self.last.clone(),
            model: source.map(|s| s.model.model),
            engine: source.map_or_else(String::new, |s| s.model.record.backend.clone()),
            sound: self.parts.speaker.as_ref().map(|s| s.state()),
            recording: self.recording.status(),
            queue: self.queue.state(),
            kept_queue: self.queue.kept(),
        }));
    }

    /// Keeps the background that the lane was set up before.
    pub(super) fn keep_background(&self, background: Reference) {
        let Some(source) = &self.source else { return };
        let Some(backgrounds) = &source.settings.backgrounds else {
            return;
        };
        let camera = source.settings.camera.id.as_deref();
        if let Err(error) = backgrounds.save(camera, &source.settings.lane, background) {
            complain(&format!(
                "{error}: a camera that is moved while the station is off is not noticed"
            ));
        }
    }

    /// Tells the service manager and the health page that vision and session
    /// go on, and how. Does something about once a second.
    pub(super) fn pulse(&mut self) {
        self.parts.watchdog.alive();
        let (Some(health), Some(status)) = (self.parts.health.as_mut(), &self.status) else {
            return;
        };
        if !health.is_due() {
            return;
        }
        let model = self.source.as_ref().map(|s| &s.model);
        let (mood, message) = match (&status.engine_fault, model.and_then(|m| m.note.as_ref())) {
            (Some(fault), _) => (Mood::Out, fault.clone()),
            (None, Some(note)) => (Mood::Less, note.clone()),
            (None, None) => (Mood::Good, String::new()),
        };
        let (mood, message) = match (mood, status.sight) {
            (Mood::Out, _) | (_, None) => (mood, message),
            (Mood::Less, Some(trouble)) => {
                (Mood::Less, format!("{message}; {}", trouble.sentence()))
            }
            (_, Some(trouble)) => (Mood::Less, trouble.sentence()),
        };
        let pose = PoseHealth {
            mood,
            message,
            model: model.map_or_else(String::new, |m| {
                format!("{}, {}", m.model.name(), m.record.backend)
            }),
            frames: status.frames,
            passes: self.passes,
            frame_to_result_ms_half: health.late_ms(0.5),
            frame_to_result_ms_95: health.late_ms(0.95),
        };
        health.tell(Running {
            feed: status.feed.clone(),
            store: self.recording.status(),
            sound: self.parts.speaker.as_ref().map(|s| s.state()),
            pose,
        });
        if let Some(newest) = health.newest() {
            self.parts.watchdog.status(&newest.line());
        }
    }
}
