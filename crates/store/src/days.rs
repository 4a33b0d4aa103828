//! Sessions by the day they began on: a training of old recordings may be in
//! several pieces.

use jiff::civil::Date;

use super::SessionSummary;

/// What was recorded on one day.
#[derive(Debug, Clone, PartialEq)]
pub struct Day {
    /// The day, in the time zone it was recorded in.
    pub date: Date,
    /// Its sessions with at least one pass, oldest first.
    pub sessions: Vec<SessionSummary>,
}

impl Day {
    /// Passes of all its sessions.
    pub fn passes(&self) -> u32 {
        self.sessions.iter().map(|s| s.passes).sum()
    }
}

impl SessionSummary {
    /// The day it began on; `None` where that is unreadable.
    pub fn day(&self) -> Option<Date> {
        self.started_at
            .parse::<jiff::Zoned>()
            .ok()
            .map(|at| at.date())
    }
}

/// The days with a pass, oldest first.
pub fn days(sessions: &[SessionSummary]) -> Vec<Day> {
    let mut days: Vec<Day> = Vec::new();
    for session in sessions.iter().filter(|s| s.passes > 0) {
        let Some(date) = session.day() else { continue };
        match days.iter_mut().find(|day| day.date == date) {
            Some(day) => day.sessions.push(session.clone()),
            None => days.push(Day {
                date,
                sessions: vec![session.clone()],
            }),
        }
    }
    days.sort_by_key(|day| day.date);
    days
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{SessionId, SessionState};

    fn session(row: i64, started_at: &str, passes: u32) -> SessionSummary {
        SessionSummary {
            id: SessionId {
                row,
                token: row.to_string(),
            },
            started_at: started_at.to_owned(),
            ended_at: None,
            state: SessionState::Closed,
            passes,
            passes_lost: 0,
        }
    }

    #[test]
    fn the_pieces_of_an_evening_are_one_day() {
        let all = [
            session(1, "2026-11-29T18:00:00+01:00[Europe/Zurich]", 4),
            session(2, "2026-11-30T18:00:00+01:00[Europe/Zurich]", 15),
            session(3, "2026-11-30T18:40:00+01:00[Europe/Zurich]", 0),
            // In London it is still the same day; in Zurich it would not be.
            session(4, "2026-11-30T23:30:00+00:00[Europe/London]", 8),
            session(5, "unreadable", 8),
        ];
        let days = days(&all);
        let told: Vec<_> = days
            .iter()
            .map(|d| (d.date.to_string(), d.sessions.len(), d.passes()))
            .collect();
        assert_eq!(
            told,
            [
                ("2026-11-29".to_owned(), 1, 4),
                ("2026-11-30".to_owned(), 2, 23)
            ]
        );
    }
}
