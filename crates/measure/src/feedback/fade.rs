//! Which passes get a cue at all.

use super::{FeedbackSettings, UnfedReason};
use crate::rules::AgeGroup;

/// Full feedback first, rarer once a skater stays in the band, full again
/// when it is lost.
#[derive(Debug, Clone, Default)]
pub(super) struct Fade {
    judged: u32,
    in_band_run: u32,
    miss_run: u32,
    faded: bool,
    /// Percent saved up toward the next cue.
    credit: u32,
    last_unfed: bool,
}

impl Fade {
    /// Takes in a judged pass; says why it gets no cue, if it gets none.
    pub(super) fn after(
        &mut self,
        in_band: bool,
        group: AgeGroup,
        settings: &FeedbackSettings,
    ) -> Option<UnfedReason> {
        self.judged = self.judged.saturating_add(1);
        if in_band {
            self.in_band_run = self.in_band_run.saturating_add(1);
            self.miss_run = 0;
        } else {
            self.miss_run = self.miss_run.saturating_add(1);
            self.in_band_run = 0;
        }
        if self.faded && self.miss_run >= settings.full_again_after_misses {
            self.faded = false;
        }
        let why = self.why_unfed(group, settings);
        self.last_unfed = why.is_some();
        // After the pass that earned it: that one is still praised.
        if !self.faded
            && settings.fade_after_in_band > 0
            && self.in_band_run >= settings.fade_after_in_band
            && self.judged >= settings.full_feedback_passes
        {
            self.faded = true;
            self.credit = 0;
        }
        why
    }

    fn why_unfed(&mut self, group: AgeGroup, settings: &FeedbackSettings) -> Option<UnfedReason> {
        if self.judged <= settings.full_feedback_passes {
            return None;
        }
        if self.faded {
            self.credit += settings.fade_percent(group).clamp(1, 100);
            if self.credit < 100 {
                return Some(UnfedReason::Faded);
            }
            self.credit -= 100;
        }
        let due = settings.unfed_every > 0 && self.judged.is_multiple_of(settings.unfed_every);
        (due && !self.last_unfed).then_some(UnfedReason::Planned)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn unfed(passes: &[bool], group: AgeGroup, settings: &FeedbackSettings) -> String {
        let mut fade = Fade::default();
        passes
            .iter()
            .map(|&in_band| match fade.after(in_band, group, settings) {
                None => 'f',
                Some(UnfedReason::Faded) => '-',
                Some(UnfedReason::Planned) => 'p',
            })
            .collect()
    }

    #[test]
    fn children_lose_every_fourth_cue_and_older_ones_every_second() {
        let settings = FeedbackSettings::default();
        let good = [true; 13];
        assert_eq!(unfed(&good, AgeGroup::U13, &settings), "fffff-fff-fff");
        assert_eq!(unfed(&good, AgeGroup::U15, &settings), "fffff-f-f-f-f");
    }

    #[test]
    fn two_misses_bring_every_cue_back_and_one_does_not() {
        let settings = FeedbackSettings::default();
        let (y, n) = (true, false);
        let passes = [y, y, y, y, y, y, n, y, n, n, n, n, y, y, y, y, y, y];
        // The second miss in a row (pass 10) is answered again, and so on
        // until three in a row are in the band (pass 15).
        assert_eq!(
            unfed(&passes, AgeGroup::Adult, &settings),
            "fffff-f-ffffff\
             f-f-"
        );
    }

    #[test]
    fn the_planned_pass_without_a_cue_never_follows_another() {
        let settings = FeedbackSettings {
            unfed_every: 6,
            ..Default::default()
        };
        assert_eq!(
            unfed(&[false; 13], AgeGroup::Adult, &settings),
            "fffffpfffffpf"
        );
        let always = FeedbackSettings {
            unfed_every: 1,
            full_feedback_passes: 0,
            ..Default::default()
        };
        assert_eq!(unfed(&[false; 6], AgeGroup::Adult, &always), "pfpfpf");
    }
}
