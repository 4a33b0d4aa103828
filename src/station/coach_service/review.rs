//! What was recorded: sessions, passes, one push closely, one skater over the
//! sessions.

use std::sync::Arc;

use super::{Done, Service, ServiceError, said};
use crate::body::BodyPoint as P;
use crate::display::PreviewImage;
use crate::geometry::{included_deg, median};
use crate::panel::{
    Agreement, CurveOf, CurvePoint, Message, PassRow, Progress, ProgressPoint, ProgressSeries,
    PushDetail, PushRow, Who,
};
use crate::roster::SkaterId;
use crate::rules::{JudgedPush, RULES, RuleId, RuleMap};
use crate::store::{Archive, PassKey, PictureStrip, PushKey, StoredPass, StoredSession, ValueOf};
use crate::stride::{PassMotion, Push, cut, leg_points};

/// Pictures are shown no larger than this, pixels on their longest side.
const SHOWN_PX: u32 = 960;
/// The median of many values of a normal spread is this much less sure than
/// their mean: the square root of pi / 2.
const MEDIAN_FACTOR: f64 = 1.2533;

impl Service {
    /// The session that is being recorded, once it is in the file.
    pub(super) fn recording_session(&self) -> Option<i64> {
        let seen = self.session.view();
        seen.recording
            .as_ref()?
            .session
            .as_ref()
            .map(|s| s.number())
    }

    pub(super) fn open_session(&mut self, id: i64) -> Done {
        self.list(id)?;
        self.count_stored();
        self.follow_recording = self.recording_session() == Some(id);
        Ok(Message::SessionOpen {
            n: id,
            passes: self.view.passes.len(),
        })
    }

    /// Lists the passes of a session, newest first.
    pub(super) fn list(&mut self, id: i64) -> Result<(), ServiceError> {
        let mut thumbnails = std::mem::take(&mut self.thumbnails);
        let archive = self.archive()?;
        let session = archive.load_session(id)?;
        let times = archive.written_times(id)?;
        let sessions = archive.sessions()?;
        let newest = session.passes.iter().rev();
        thumbnails.take(archive, id, newest.clone());
        let rows = newest
            .map(|pass| PassRow {
                thumbnail: thumbnails.of(pass),
                ..row_of(id, pass, self.cue_line(&pass.cue), &times)
            })
            .collect();
        self.thumbnails = thumbnails;
        self.view.passes = Arc::new(rows);
        self.view.session = Some(id);
        self.view.sessions = Arc::new(sessions.into_iter().rev().collect());
        self.count_agreement()?;
        Ok(())
    }

    fn count_agreement(&mut self) -> Result<(), ServiceError> {
        let agreement = self
            .archive()?
            .agreement()?
            .into_iter()
            .map(|a| Agreement {
                rule: a.rule,
                confirmed: a.confirmed,
                dismissed: a.dismissed,
            })
            .collect();
        self.view.agreement = Arc::new(agreement);
        Ok(())
    }

    /// Something was written to a push: shows it.
    pub(super) fn noted(&mut self, push: PushKey) -> Done {
        if self.view.session == Some(push.pass.session) {
            self.list(push.pass.session)?;
        } else {
            self.count_agreement()?;
        }
        Ok(Message::Noted {})
    }

    pub(super) fn open_push(&mut self, key: PushKey, rule: Option<RuleId>) -> Done {
        let archive = self.archive()?;
        let session = archive.load_session(key.pass.session)?;
        let detail = detail_of(archive, &session, key, rule)?;
        let pictures = detail.pictures.len();
        self.view.push = Some(Arc::new(detail));
        Ok(match pictures {
            0 => Message::NoPictures {},
            n => Message::PicturesOpen { n },
        })
    }

    pub(super) fn open_progress(&mut self, id: SkaterId) -> Done {
        let skater = self.skater(id)?;
        let values = self.archive()?.values_of_skater(id)?;
        let limits = skater.thresholds(&self.settings.load().groups).limits;
        let series: Vec<ProgressSeries> = limits
            .iter()
            .filter_map(|(rule, limits)| {
                let points = points_of(rule, &values);
                (!points.is_empty()).then_some(ProgressSeries {
                    rule,
                    limits: *limits,
                    points,
                })
            })
            .collect();
        let found = series.len();
        self.view.progress = Some(Arc::new(Progress { skater: id, series }));
        let who = Who::is(skater.label());
        Ok(match found {
            0 => Message::ProgressEmpty { who },
            _ => Message::ProgressOpen { who },
        })
    }
}

fn row_of(session: i64, stored: &StoredPass, cue: String, times: &[(u32, String)]) -> PassRow {
    let at = times
        .iter()
        .find(|(n, _)| *n == stored.number)
        .and_then(|(_, at)| at.parse::<jiff::Zoned>().ok())
        .map_or_else(String::new, |at| at.strftime("%H:%M").to_string());
    PassRow {
        key: PassKey {
            session,
            number: stored.number,
        },
        at,
        skater: stored.skater,
        view: stored.pass.view,
        speed_mps: stored.pass.speed_mps,
        cue,
        watched: RuleMap::from_fn(|rule| stored.pass.thresholds.limits[rule].flagged),
        pushes: stored
            .pass
            .pushes
            .iter()
            .enumerate()
            .map(|(i, judged)| PushRow {
                judged: judged.clone(),
                note: stored.notes.get(i).cloned().unwrap_or_default(),
                has_pictures: stored.strips.iter().any(|s| s.push as usize == i),
            })
            .collect(),
        thumbnail: None,
    }
}

fn detail_of(
    archive: &Archive,
    session: &StoredSession,
    key: PushKey,
    rule: Option<RuleId>,
) -> Result<PushDetail, ServiceError> {
    let gone = || {
        said(Message::PushGone {
            push: key.position + 1,
            n: key.pass.number,
        })
    };
    let stored = session
        .passes
        .iter()
        .find(|p| p.number == key.pass.number)
        .ok_or_else(gone)?;
    let judged = stored
        .pass
        .pushes
        .get(key.position as usize)
        .ok_or_else(gone)?;
    let rule = rule
        .or_else(|| judged.flags.first().map(|f| f.rule))
        .unwrap_or(RULES[0].id);
    let motion = archive
        .points(key.pass)?
        .map(|points| cut(&points, session.lane_of(stored)));
    // The same push again; a later program may cut a pass in other places.
    let push = motion.as_ref().and_then(|m| {
        m.pushes
            .iter()
            .find(|p| p.leg == judged.leg && (p.toe_off_s - judged.toe_off_s).abs() < 0.1)
    });
    let of_push = || stored.strips.iter().filter(|s| s.push == key.position);
    let strip = of_push()
        .find(|s| s.rule == rule)
        .or_else(|| of_push().next())
        .map(|info| archive.strip(info.id))
        .transpose()?;
    let instant = match (&motion, push) {
        (Some(motion), Some(push)) => (rule.rule().shown_at_s)(motion, push),
        _ => strip.as_ref().map_or(judged.toe_off_s, |s| s.flagged_at_s),
    };
    let pictures = strip.as_ref().map(pictures_of).unwrap_or_default();
    let flagged = (0..pictures.len())
        .min_by(|&a, &b| {
            let off = |i: usize| (pictures[i].0 - instant).abs();
            off(a).total_cmp(&off(b))
        })
        .unwrap_or(0);
    Ok(PushDetail {
        key,
        leg: judged.leg,
        rule,
        pictures,
        flagged,
        curve_of: CurveOf::of_rule(rule),
        curve: match (&motion, push) {
            (Some(motion), Some(push)) => curve(motion, push, CurveOf::of_rule(rule)),
            _ => Vec::new(),
        },
        measured: measured(judged, rule),
        instant_s: instant,
        limits: stored.pass.thresholds.limits[rule],
    })
}

/// A picture that cannot be read is left out; the others are shown.
fn pictures_of(strip: &PictureStrip) -> Vec<(f64, Arc<PreviewImage>)> {
    strip
        .shots
        .iter()
        .filter_map(|shot| {
            let picture = image::load_from_memory_with_format(&shot.jpeg, image::ImageFormat::Jpeg)
                .ok()?
                .into_rgb8();
            let (width, height) = picture.dimensions();
            let picture = PreviewImage::from_rgb(width, height, picture.as_raw(), SHOWN_PX)?;
            Some((shot.captured_at_s, Arc::new(picture)))
        })
        .collect()
}

/// What was judged of a rule, with one standard deviation.
fn measured(judged: &JudgedPush, rule: RuleId) -> Option<(f64, f64)> {
    let measure = &judged.measures[rule];
    let value = measure.value.filter(|_| measure.not_judged.is_none())?;
    Some((value, measure.uncertainty.unwrap_or(0.0)))
}

/// An angle of the body from the touchdown of the pushing leg to its recovery, as the
/// picture shows it.
fn curve(motion: &PassMotion, push: &Push, of: CurveOf) -> Vec<CurvePoint> {
    let curves = &motion.curves;
    let p = leg_points(push.leg);
    let (from, to) = (
        curves.index_at(push.touchdown_s),
        curves.index_at(push.recovery_s),
    );
    // To the right of the picture or to the left: the trunk leans that way.
    let way = heading_in_picture(motion);
    (from..=to.min(curves.len().saturating_sub(1)))
        .filter(|&i| curves.seen[i])
        .filter_map(|i| {
            let at = |point: usize| curves.points[i][point];
            Some(CurvePoint {
                at_s: curves.time_s(i as f64),
                value_deg: match of {
                    CurveOf::Knee => included_deg(at(p.hip), at(p.knee), at(p.ankle))?,
                    CurveOf::Trunk => {
                        let hips = curves.mid(i, P::LeftHip as usize, P::RightHip as usize);
                        let top =
                            curves.mid(i, P::LeftShoulder as usize, P::RightShoulder as usize);
                        let (across, up) = (way * (top[0] - hips[0]), hips[1] - top[1]);
                        across.atan2(up).to_degrees()
                    }
                },
            })
        })
        .collect()
}

/// +1 where the skater goes to the right of the picture, else -1.
fn heading_in_picture(motion: &PassMotion) -> f64 {
    let [right, _, _] = motion.camera.axes();
    let [x, y] = motion.place.heading;
    if right[0] * x + right[1] * y >= 0.0 {
        1.0
    } else {
        -1.0
    }
}

/// One point per session: the median of the judged pushes. Its uncertainty
/// is the larger of the spread of the values and of what they were measured
/// with, over the square root of their number.
fn points_of(rule: RuleId, values: &[ValueOf]) -> Vec<ProgressPoint> {
    let mut points: Vec<ProgressPoint> = Vec::new();
    let of_measure: Vec<&ValueOf> = values.iter().filter(|v| v.rule == rule).collect();
    for of_session in of_measure.chunk_by(|a, b| a.session == b.session) {
        let Some(first) = of_session.first() else {
            continue;
        };
        let n = of_session.len() as f64;
        let mut sorted: Vec<f64> = of_session.iter().map(|v| v.value).collect();
        let mean = sorted.iter().sum::<f64>() / n;
        let spread =
            (sorted.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0).max(1.0)).sqrt();
        let measuring = of_session
            .iter()
            .filter_map(|v| v.uncertainty)
            .fold(0.0, f64::max);
        let Some(median) = median(&mut sorted) else {
            continue;
        };
        points.push(ProgressPoint {
            session: first.session,
            day: first
                .started_at
                .split('T')
                .next()
                .unwrap_or_default()
                .to_owned(),
            median,
            uncertainty: MEDIAN_FACTOR * spread.max(measuring) / n.sqrt(),
            pushes: of_session.len() as u32,
        });
    }
    points
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_point_a_session_with_what_the_spread_leaves_open() {
        let value = |session: i64, value: f64, uncertainty| ValueOf {
            session,
            started_at: format!("2026-01-0{session}T18:00:00+01:00[Europe/Zurich]"),
            rule: RuleId::KneeBend,
            value,
            uncertainty,
        };
        let values = [
            value(1, 100.0, Some(4.0)),
            value(2, 100.0, Some(1.0)),
            value(2, 104.0, Some(1.0)),
            value(2, 111.0, None),
        ];
        let points = points_of(RuleId::KneeBend, &values);
        assert_eq!(points.len(), 2);
        assert_eq!((points[0].median, points[0].pushes), (100.0, 1));
        assert_eq!(points[0].day, "2026-01-01");
        assert!((points[0].uncertainty - 1.2533 * 4.0).abs() < 1e-9);
        assert_eq!(points[1].median, 104.0);
        // Spread of 100, 104, 111 about 105: sqrt(62 / 2).
        let expected = 1.2533 * 31f64.sqrt() / 3f64.sqrt();
        assert!((points[1].uncertainty - expected).abs() < 1e-9);
        assert!(points_of(RuleId::Extension, &values).is_empty());
    }
}
