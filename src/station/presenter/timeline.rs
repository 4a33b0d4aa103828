//! What the big screen shows when: a pure state machine. Time comes in, the
//! screen comes out.

use std::time::Duration;

use crate::display::{Fault, Screen};
use crate::feedback::SetSummary;

/// A cue stays at least this long, even when the next skater is in the lane.
const CUE_AT_LEAST: Duration = Duration::from_millis(2500);
/// And no longer than this when nobody comes.
const CUE_AT_MOST: Duration = Duration::from_secs(8);
/// A fault has to last this long before the skater's screen speaks of it.
const FAULT_AFTER: Duration = Duration::from_millis(500);
/// How long the summary of a set stays.
const SUMMARY_FOR: Duration = Duration::from_secs(8);
/// How long it is said that nothing is stored; the strip goes on saying it.
const NOT_RECORDING_FOR: Duration = Duration::from_secs(8);
/// So long the computer has to be too slow before the skater's screen speaks of it,
/// and for so long it does then: it stops being slow whenever nobody skates.
const SLOW_AFTER: Duration = Duration::from_secs(2);
const SLOW_FOR: Duration = Duration::from_secs(8);
/// How long a replay runs on: three loops.
const REPLAY_FOR: Duration = Duration::from_millis(10_500);
/// A replay that nobody asked for so long is let go with its pictures.
const CLIP_KEPT_FOR: Duration = Duration::from_secs(60);

/// How things are in the lane.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Lane {
    /// Whether somebody is passing.
    pub somebody_passing: bool,
    /// What does not work.
    pub fault: Option<Fault>,
    /// Whether passes are not stored.
    pub not_recording: bool,
    /// Whether the computer is too slow: nothing is judged.
    pub too_slow: bool,
}

/// What is due on the screen.
#[derive(Debug, Clone, PartialEq)]
pub enum Due {
    /// This.
    Screen(Screen),
    /// The replay, which began so long ago.
    Replay(Duration),
}

/// What became of the wish for a replay.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Replay {
    /// It runs.
    Begins,
    /// It ran and was ended.
    Ends,
    /// There are no pictures of a flagged push.
    NoPictures,
    /// Somebody is in the lane.
    LaneBusy,
}

/// All moments are counted from one beginning.
#[derive(Debug, Default)]
pub struct Timeline {
    answer: Option<(Screen, Duration)>,
    /// And since when it is shown.
    summary: Option<(SetSummary, Option<Duration>)>,
    not_recording_since: Option<Duration>,
    fault_since: Option<Duration>,
    /// When somebody was last in the lane.
    passing_at: Option<Duration>,
    slow_since: Option<Duration>,
    slow_until: Option<Duration>,
    /// Since when there are pictures for a replay.
    clip_since: Option<Duration>,
    replaying_since: Option<Duration>,
}

impl Timeline {
    /// A pass is over. A replay that runs ends; the pictures of the pass
    /// before are no longer those of the last pass.
    pub fn announce(&mut self, now: Duration, answer: Screen, summary: Option<SetSummary>) {
        self.answer = Some((answer, now));
        if let Some(summary) = summary {
            self.summary = Some((summary, None));
        }
        self.replaying_since = None;
        self.clip_since = None;
    }

    /// There are pictures of the pass that was announced.
    pub fn has_clip(&mut self, now: Duration) {
        self.clip_since = Some(now);
    }

    /// Somebody wants to see the replay, or no more of it.
    pub fn ask_replay(&mut self, now: Duration, somebody_passing: bool) -> Replay {
        if somebody_passing {
            self.replaying_since = None;
            Replay::LaneBusy
        } else if self.replaying_since.take().is_some() {
            Replay::Ends
        } else if self.clip_since.is_some() {
            self.replaying_since = Some(now);
            Replay::Begins
        } else {
            Replay::NoPictures
        }
    }

    /// Whether a replay runs.
    pub fn is_replaying(&self) -> bool {
        self.replaying_since.is_some()
    }

    /// Whether the pictures of the last pass are still wanted.
    pub fn keeps_clip(&self) -> bool {
        self.clip_since.is_some()
    }

    /// What is to be seen now.
    pub fn due(&mut self, now: Duration, lane: &Lane) -> Due {
        let over = |since: Duration| now.saturating_sub(since) >= REPLAY_FOR;
        if lane.somebody_passing || self.replaying_since.is_some_and(over) {
            self.replaying_since = None;
        }
        let forgotten = |since: Duration| now.saturating_sub(since) >= CLIP_KEPT_FOR;
        if self.replaying_since.is_none() && self.clip_since.is_some_and(forgotten) {
            self.clip_since = None;
        }
        match self.replaying_since {
            Some(since) => Due::Replay(now.saturating_sub(since)),
            None => Due::Screen(self.screen(now, lane)),
        }
    }

    fn screen(&mut self, now: Duration, lane: &Lane) -> Screen {
        let lasting = match &lane.fault {
            None => {
                self.fault_since = None;
                None
            }
            Some(fault) => {
                let since = *self.fault_since.get_or_insert(now);
                Some(fault).filter(|_| now.saturating_sub(since) >= FAULT_AFTER)
            }
        };
        if lane.too_slow {
            let since = *self.slow_since.get_or_insert(now);
            if now.saturating_sub(since) >= SLOW_AFTER {
                self.slow_until = Some(now + SLOW_FOR);
            }
        } else {
            self.slow_since = None;
        }
        if lane.somebody_passing {
            self.passing_at = Some(now);
        }
        // Who came into the lane after an answer must not read it as her own; also where the
        // camera that went blind has lost her.
        if lasting.is_some() {
            let came = self.passing_at;
            self.answer.take_if(|(_, since)| came >= Some(*since));
        }
        if let Some((screen, since)) = &self.answer {
            let stayed = now.saturating_sub(*since);
            if stayed < CUE_AT_LEAST || (!lane.somebody_passing && stayed < CUE_AT_MOST) {
                return screen.clone();
            }
            self.answer = None;
        }
        match lasting {
            Some(fault) => Screen::Fault(fault.clone()),
            None if lane.somebody_passing => Screen::InLane,
            // Who skates is not held up by it; what she did is not judged.
            None if self.slow_until.is_some_and(|until| now < until) => {
                Screen::Fault(Fault::TooSlow)
            }
            None => self.free_lane(now, lane.not_recording),
        }
    }

    /// While nobody is there: the summary of the set, once that nothing is
    /// stored, else who is next.
    fn free_lane(&mut self, now: Duration, not_recording: bool) -> Screen {
        if let Some((summary, since)) = &mut self.summary {
            let since = *since.get_or_insert(now);
            if now.saturating_sub(since) < SUMMARY_FOR {
                return Screen::Summary(*summary);
            }
            self.summary = None;
        }
        if not_recording {
            let since = *self.not_recording_since.get_or_insert(now);
            if now.saturating_sub(since) < NOT_RECORDING_FOR {
                return Screen::Fault(Fault::NotRecording);
            }
        } else {
            self.not_recording_since = None;
        }
        Screen::Waiting
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ms(ms: u64) -> Duration {
        Duration::from_millis(ms)
    }

    fn lane(somebody_passing: bool) -> Lane {
        Lane {
            somebody_passing,
            ..Lane::default()
        }
    }

    fn broken(fault: Fault) -> Lane {
        Lane {
            fault: Some(fault),
            ..Lane::default()
        }
    }

    fn cue() -> Screen {
        Screen::of_cue(&crate::feedback::Cue {
            pass_number: 1,
            track_id: 1,
            kind: crate::feedback::CueKind::Praise,
        })
    }

    fn summary() -> SetSummary {
        SetSummary {
            last_pass: 5,
            judged: 4,
            in_band: 3,
            good: None,
            next: None,
        }
    }

    #[test]
    fn a_cue_stays_its_time_and_longer_while_nobody_comes() {
        let mut t = Timeline::default();
        t.announce(ms(1000), cue(), None);
        assert_eq!(t.due(ms(3499), &lane(true)), Due::Screen(cue()));
        assert_eq!(t.due(ms(3500), &lane(true)), Due::Screen(Screen::InLane));
        // It does not come back behind the next skater.
        assert_eq!(t.due(ms(3600), &lane(false)), Due::Screen(Screen::Waiting));
        t.announce(ms(10_000), cue(), None);
        assert_eq!(t.due(ms(17_999), &lane(false)), Due::Screen(cue()));
        assert_eq!(
            t.due(ms(18_000), &lane(false)),
            Due::Screen(Screen::Waiting)
        );
    }

    #[test]
    fn a_fault_has_to_last_and_does_not_cover_a_cue() {
        let mut t = Timeline::default();
        let (dark, fine) = (broken(Fault::NoCamera), lane(false));
        let shown = Due::Screen(Screen::Fault(Fault::NoCamera));
        assert_eq!(t.due(ms(0), &dark), Due::Screen(Screen::Waiting));
        assert_eq!(t.due(ms(499), &dark), Due::Screen(Screen::Waiting));
        assert_eq!(t.due(ms(500), &dark), shown);
        // It is gone at once, and counts anew.
        assert_eq!(t.due(ms(600), &fine), Due::Screen(Screen::Waiting));
        assert_eq!(t.due(ms(700), &dark), Due::Screen(Screen::Waiting));
        t.announce(ms(1300), cue(), None);
        assert_eq!(t.due(ms(1400), &dark), Due::Screen(cue()));
        assert_eq!(t.due(ms(1300 + 8000), &dark), shown);
    }

    /// The next skater is in the lane while the card of the one before stands, and the camera
    /// goes blind: it loses her at once, or a little later.
    #[test]
    fn nobody_reads_anothers_card_when_the_camera_is_lost() {
        let blind = |passing| Lane {
            somebody_passing: passing,
            ..broken(Fault::NoCamera)
        };
        for lost_at_once in [true, false] {
            let mut t = Timeline::default();
            t.announce(ms(0), cue(), None);
            assert_eq!(t.due(ms(800), &lane(true)), Due::Screen(cue()));
            assert_eq!(t.due(ms(1000), &blind(!lost_at_once)), Due::Screen(cue()));
            let fault = Due::Screen(Screen::Fault(Fault::NoCamera));
            assert_eq!(t.due(ms(1500), &blind(false)), fault);
        }
        // Nobody came after it: the card is still that of who has just skated.
        let mut t = Timeline::default();
        t.due(ms(0), &lane(true));
        t.announce(ms(100), cue(), None);
        assert_eq!(t.due(ms(200), &blind(false)), Due::Screen(cue()));
        assert_eq!(t.due(ms(1500), &blind(false)), Due::Screen(cue()));
    }

    #[test]
    fn the_summary_waits_for_a_free_lane_and_is_shown_once() {
        let mut t = Timeline::default();
        t.announce(ms(0), cue(), Some(summary()));
        assert_eq!(t.due(ms(2600), &lane(true)), Due::Screen(Screen::InLane));
        let shown = Due::Screen(Screen::Summary(summary()));
        assert_eq!(t.due(ms(5000), &lane(false)), shown);
        assert_eq!(t.due(ms(12_999), &lane(false)), shown);
        assert_eq!(
            t.due(ms(13_000), &lane(false)),
            Due::Screen(Screen::Waiting)
        );
    }

    #[test]
    fn that_nothing_is_stored_is_said_for_a_while_each_time_it_begins() {
        let mut t = Timeline::default();
        let lost = Lane {
            not_recording: true,
            ..Lane::default()
        };
        let said = Due::Screen(Screen::Fault(Fault::NotRecording));
        assert_eq!(t.due(ms(0), &lost), said);
        assert_eq!(t.due(ms(7999), &lost), said);
        assert_eq!(t.due(ms(8000), &lost), Due::Screen(Screen::Waiting));
        assert_eq!(t.due(ms(9000), &lane(false)), Due::Screen(Screen::Waiting));
        assert_eq!(t.due(ms(9500), &lost), said);
    }

    #[test]
    fn a_slow_computer_is_told_once_it_lasts_and_never_while_somebody_skates() {
        let mut t = Timeline::default();
        let slow = |somebody_passing| Lane {
            somebody_passing,
            too_slow: true,
            ..Lane::default()
        };
        assert_eq!(t.due(ms(0), &slow(true)), Due::Screen(Screen::InLane));
        assert_eq!(t.due(ms(1999), &slow(false)), Due::Screen(Screen::Waiting));
        assert_eq!(t.due(ms(2500), &slow(true)), Due::Screen(Screen::InLane));
        t.announce(ms(3000), cue(), None);
        assert_eq!(t.due(ms(3100), &slow(false)), Due::Screen(cue()));
        let said = Due::Screen(Screen::Fault(Fault::TooSlow));
        assert_eq!(t.due(ms(11_000), &slow(false)), said);
        // It stops being slow once nobody skates; that is no news.
        assert_eq!(t.due(ms(18_999), &lane(false)), said);
        assert_eq!(
            t.due(ms(19_000), &lane(false)),
            Due::Screen(Screen::Waiting)
        );
        assert_eq!(
            t.due(ms(20_000), &slow(false)),
            Due::Screen(Screen::Waiting)
        );
    }

    #[test]
    fn a_replay_runs_three_loops_and_makes_way_for_whoever_comes() {
        let mut t = Timeline::default();
        assert_eq!(t.ask_replay(ms(0), false), Replay::NoPictures);
        t.announce(ms(0), cue(), None);
        t.has_clip(ms(5));
        assert_eq!(t.ask_replay(ms(1000), true), Replay::LaneBusy);
        assert_eq!(t.ask_replay(ms(2000), false), Replay::Begins);
        assert_eq!(t.due(ms(2500), &lane(false)), Due::Replay(ms(500)));
        assert_eq!(t.due(ms(12_499), &lane(false)), Due::Replay(ms(10_499)));
        assert_eq!(
            t.due(ms(12_500), &lane(false)),
            Due::Screen(Screen::Waiting)
        );
        assert_eq!(t.ask_replay(ms(13_000), false), Replay::Begins);
        assert_eq!(t.ask_replay(ms(13_100), false), Replay::Ends);
        assert_eq!(t.ask_replay(ms(13_200), false), Replay::Begins);
        assert_eq!(t.due(ms(13_300), &lane(true)), Due::Screen(Screen::InLane));
        assert!(!t.is_replaying());
    }

    #[test]
    fn a_new_pass_ends_the_replay_and_old_pictures_are_let_go() {
        let mut t = Timeline::default();
        t.announce(ms(0), cue(), None);
        t.has_clip(ms(0));
        assert_eq!(t.ask_replay(ms(9000), false), Replay::Begins);
        t.announce(ms(9100), cue(), None);
        assert_eq!(t.due(ms(9200), &lane(false)), Due::Screen(cue()));
        assert_eq!(t.ask_replay(ms(9300), false), Replay::NoPictures);
        t.has_clip(ms(9400));
        t.due(ms(69_399), &lane(false));
        assert!(t.keeps_clip());
        t.due(ms(69_400), &lane(false));
        assert!(!t.keeps_clip());
        assert_eq!(t.ask_replay(ms(69_500), false), Replay::NoPictures);
    }
}
