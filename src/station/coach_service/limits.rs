//! Limits: changed in the settings file, in force from the next pass on.

use std::sync::Arc;

use super::{Done, Service, said};
use crate::config::{self, Edit, Written};
use crate::panel::{Effect, LimitEdit, Message, Of, Who};
use crate::roster::SkaterId;
use crate::rules::settings::{flagged_of, limit_edits, limits_fault, surety_edit};
use crate::rules::{AgeGroup, AgeGroups, Limits, RuleId, Surety, Thresholds};
use crate::station::settings::StationSettings;
use crate::station::settings::default_file as default_station_file;

/// Pushes a change of limits is tried on.
const TRIED_ON: u32 = 30;

impl Service {
    pub(super) fn preview_limits(&mut self, edit: LimitEdit) -> Done {
        let rule = edit.rule.rule();
        if let Some(why) = limits_fault(rule, &edit.limits) {
            return Err(said(Message::LimitsWrong { why }));
        }
        let values = self
            .archive()?
            .last_values(edit.rule, edit.group, TRIED_ON)?;
        let settings = self.settings.load();
        let now = settings.groups.thresholds(edit.group).limits[edit.rule];
        let surety = settings.groups.surety();
        let effect = Effect {
            pushes: values.len() as u32,
            flagged: flagged_of(&values, &edit.limits, surety) as u32,
            flagged_now: flagged_of(&values, &now, surety) as u32,
            edit,
        };
        let tried = Message::LimitsTried {
            of: effect.pushes,
            group: effect.edit.group,
            flagged: effect.flagged,
            now: effect.flagged_now,
        };
        self.view.effect = Some(effect);
        Ok(tried)
    }

    pub(super) fn set_limits(&mut self, edit: &LimitEdit) -> Done {
        let rule = edit.rule.rule();
        self.write_limits(&limit_edits(edit.group, rule, &edit.limits))?;
        Ok(Message::LimitsSet {
            what: Of(rule),
            group: edit.group,
        })
    }

    pub(super) fn set_surety(&mut self, surety: Surety) -> Done {
        self.write_limits(&[surety_edit(surety)])?;
        Ok(Message::SuretySet {
            percent: surety.percent(),
        })
    }

    pub(super) fn reset_limits(&mut self, group: AgeGroup, only: Option<RuleId>) -> Done {
        self.write_limits(&edits_of(group, &Thresholds::defaults(group), only))?;
        Ok(match only {
            Some(rule) => Message::LimitsDefault {
                what: Of(rule.rule()),
                group,
            },
            None => Message::LimitsDefaults { group },
        })
    }

    pub(super) fn copy_limits(&mut self, from: AgeGroup, to: AgeGroup) -> Done {
        let limits = self.settings.load().groups.thresholds(from);
        self.write_limits(&edits_of(to, &limits, None))?;
        Ok(Message::LimitsCopied { to, from })
    }

    pub(super) fn undo_limits(&mut self) -> Done {
        match self.groups_file.undo(AgeGroups::from_toml)? {
            Some(groups) => {
                self.take_groups(groups);
                Ok(Message::LimitsUndone {})
            }
            None => Err(said(Message::NoLimitsUndo {})),
        }
    }

    pub(super) fn override_limits(
        &mut self,
        skater: SkaterId,
        rule: RuleId,
        limits: Option<Limits>,
    ) -> Done {
        let rule = rule.rule();
        if let Some(why) = limits.and_then(|l| limits_fault(rule, &l)) {
            return Err(said(Message::LimitsWrong { why }));
        }
        let mut skater = self.skater(skater)?;
        match limits {
            Some(limits) => skater.overrides.insert(rule.id, limits),
            None => skater.overrides.remove(&rule.id),
        };
        self.archive()?.change_skater(&skater)?;
        self.roster_changed()?;
        let who = Who::is(skater.label());
        Ok(match limits {
            Some(_) => Message::LimitsOwn {
                who,
                what: Of(rule),
            },
            None => Message::LimitsOfGroup { who },
        })
    }

    pub(super) fn use_age_group(&mut self, group: AgeGroup) -> Done {
        self.write_station(&[Edit::new(
            &["age_group"],
            Written::Text(group.name().to_owned()),
        )])?;
        self.settings.change(|now| now.age_group = group);
        Ok(Message::GroupInUse { group })
    }

    fn write_limits(&mut self, edits: &[Edit]) -> Result<(), super::ServiceError> {
        let groups = self.groups_file.apply(
            edits,
            &crate::rules::settings::default_file(),
            AgeGroups::from_toml,
        )?;
        self.take_groups(groups);
        Ok(())
    }

    /// One snapshot, from the next pass on; the tracks in the lane stay.
    fn take_groups(&mut self, groups: AgeGroups) {
        let groups = Arc::new(groups);
        self.settings.change(|now| now.groups = Arc::clone(&groups));
        // It was made for other limits.
        self.view.effect = None;
    }

    /// Writes into the station file, and takes the settings as they then are.
    pub(super) fn write_station(&mut self, edits: &[Edit]) -> Result<(), super::ServiceError> {
        let folder = config::settings_folder(&self.home);
        self.station = self
            .station_file
            .apply(edits, &default_station_file(), |text, name| {
                StationSettings::from_toml(text, name, &folder)
            })?;
        Ok(())
    }
}

fn edits_of(group: AgeGroup, thresholds: &Thresholds, only: Option<RuleId>) -> Vec<Edit> {
    thresholds
        .limits
        .iter()
        .filter(|(rule, _)| only.is_none_or(|only| only == *rule))
        .flat_map(|(rule, limits)| limit_edits(group, rule.rule(), limits))
        .collect()
}
