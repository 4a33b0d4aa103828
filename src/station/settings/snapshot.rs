//! Everything that may change while the station runs, as one immutable
//! snapshot.
//!
//! The coach service writes it, everybody else reads it, nobody waits.

use std::sync::Arc;

use arc_swap::ArcSwap;

use super::privacy::PrivacySettings;
use super::second_camera::SecondCamera;
use crate::capture::CameraRequest;
use crate::config::Lane;
use crate::display::{Appearance, ScreenPlace};
use crate::feedback::FeedbackSettings;
use crate::roster::{Skater, SkaterId};
use crate::rules::{AgeGroup, AgeGroups, Thresholds};
use crate::sound::SoundSettings;
use crate::station::backgrounds::Backgrounds;
use crate::station::ruler::{CheckState, Checks, camera_of};
use crate::track::TrackSettings;

/// What the pictures come from. Another one begins a session of its own.
#[derive(Debug, Clone)]
pub struct SourceSettings {
    /// Counts the changes: another number is another session, also where
    /// nothing else differs.
    pub number: u64,
    /// The camera.
    pub camera: CameraRequest,
    /// How it stands.
    pub lane: Lane,
    /// The second camera and how it stands, where there is one.
    pub second: Option<(SecondCamera, Lane)>,
    /// Where the checks with persons lie; `None` where a clip plays.
    pub checks: Option<Checks>,
    /// Where the background of each camera lies; `None` where a clip plays.
    pub backgrounds: Option<Backgrounds>,
}

/// How the big screen looks and how loud it sounds.
#[derive(Debug, Clone)]
pub struct OutputSettings {
    /// Words, colours, signs.
    pub look: Appearance,
    /// Level and mute.
    pub sound: SoundSettings,
}

/// The settings of a running station.
#[derive(Debug, Clone)]
pub struct LiveSettings {
    /// What the pictures come from.
    pub source: SourceSettings,
    /// When a passing person counts.
    pub track: TrackSettings,
    /// The group of whoever is not on the roster.
    pub age_group: AgeGroup,
    /// The limits of every group.
    pub groups: Arc<AgeGroups>,
    /// How cues are chosen.
    pub feedback: FeedbackSettings,
    /// What is kept of pictures.
    pub privacy: PrivacySettings,
    /// How the big screen is seen.
    pub screen: ScreenPlace,
    /// Everybody who may pass.
    pub roster: Arc<Vec<Skater>>,
    /// Look and sound, where they were set since the start.
    pub outputs: Option<Arc<OutputSettings>>,
}

impl LiveSettings {
    /// What a clip is played with: nothing is set but how it is seen and whose
    /// limits hold.
    pub fn of_clip(lane: Lane, age_group: AgeGroup, groups: AgeGroups) -> Self {
        LiveSettings {
            source: SourceSettings {
                number: 0,
                camera: CameraRequest::default(),
                lane,
                second: None,
                checks: None,
                backgrounds: None,
            },
            track: TrackSettings::default(),
            age_group,
            groups: Arc::new(groups),
            feedback: FeedbackSettings::default(),
            privacy: PrivacySettings::default(),
            screen: ScreenPlace::default(),
            roster: Arc::default(),
            outputs: None,
        }
    }

    /// The limits of whoever is not on the roster.
    pub fn thresholds(&self) -> Thresholds {
        self.groups.thresholds(self.age_group)
    }

    /// A skater of the roster.
    pub fn skater(&self, id: SkaterId) -> Option<&Skater> {
        self.roster.iter().find(|s| s.id == id)
    }

    /// Whether pictures of anybody may be stored.
    pub fn pictures_are_kept(&self) -> bool {
        self.privacy.keep_pictures && self.roster.iter().any(|s| s.consent.is_some())
    }
}

/// The newest settings. Clones share them.
#[derive(Clone)]
pub struct SharedSettings(Arc<ArcSwap<LiveSettings>>);

impl SharedSettings {
    /// The settings at the start.
    pub fn new(settings: LiveSettings) -> Self {
        SharedSettings(Arc::new(ArcSwap::from_pointee(settings)))
    }

    /// The settings now.
    pub fn load(&self) -> Arc<LiveSettings> {
        self.0.load_full()
    }

    /// Puts changed settings in the place of those now.
    pub fn change(&self, change: impl Fn(&mut LiveSettings)) {
        self.0.rcu(|now| {
            let mut next = LiveSettings::clone(now);
            change(&mut next);
            next
        });
    }

    /// Another clip, with all that it is played with.
    pub fn play_clip(&self, next: &LiveSettings) {
        self.change(|settings| {
            let number = settings.source.number + 1;
            *settings = next.clone();
            settings.source.number = number;
        });
    }

    /// Another source, or the same one anew.
    pub fn change_source(&self, change: impl FnOnce(&mut SourceSettings)) {
        // Once and beforehand: it reads files and may ask for cameras. Nobody but the caller
        // changes the source.
        let mut source = self.load().source.clone();
        change(&mut source);
        source.look_for_checks();
        self.change(|settings| {
            settings.source = SourceSettings {
                number: settings.source.number + 1,
                ..source.clone()
            };
        });
    }
}

impl SourceSettings {
    /// The check with persons that holds for each camera on its lane, where there is one.
    pub fn look_for_checks(&mut self) {
        let Some(checks) = &self.checks else { return };
        if !checks.any() {
            // Without asking for cameras, which may take time.
            self.lane.checked = None;
            self.second
                .iter_mut()
                .for_each(|(_, lane)| lane.checked = None);
            return;
        }
        self.lane = checks.applied(&camera_of(self.camera.id.as_deref()), &self.lane);
        if let Some((camera, lane)) = &mut self.second {
            *lane = checks.applied(&camera.id, lane);
        }
    }

    /// What there is of a check for the camera on its lane.
    pub fn check_state(&self) -> CheckState {
        match &self.checks {
            Some(checks) if checks.any() => {
                let camera = camera_of(self.camera.id.as_deref());
                checks.state(&checks.setting(&camera, &self.lane))
            }
            _ => CheckState::Never,
        }
    }
}
