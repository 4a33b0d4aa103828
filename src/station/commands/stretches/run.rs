//! One stretch: its pictures, and what is seen in them.

use super::plan::{EVERY_S, Plan};
use super::{Ended, Eyes, Step};
use crate::body::bounds;
use crate::capture::{CaptureError, Frame, Source, read_ahead};
use crate::pose::PoseError;
use crate::standing::Glances;
use crate::station::vision::tracking::PassEvent;

/// Whoever a stretch is told.
pub(super) trait Told {
    /// A picture was looked at; whether to go on.
    fn frame(&mut self) -> bool;
    /// The stretch goes on over this place.
    fn crossed(&mut self, place: usize);
    /// What happened next; whether to go on.
    fn step(&mut self, step: Step) -> bool;
}

/// Sees a stretch from a place on; `None` where whoever is told has had enough.
///
/// # Errors
/// A pose engine that fails.
pub(super) fn watch(
    eyes: &mut Eyes,
    reader: &mut Reader<'_>,
    place: usize,
    told: &mut dyn Told,
) -> Result<Option<Ended>, PoseError> {
    let vision = &mut eyes.vision;
    vision.begin_anew(&eyes.lane, eyes.track);
    reader.begin(place);
    let mut glances = Glances::default();
    let mut frames = 0;
    let mut span_s: Option<[f64; 2]> = None;
    let mut damage = None;
    let next = loop {
        match reader.next() {
            Next::Frame(frame) => {
                frames += 1;
                let at_s = frame.captured_at_s;
                span_s = Some([span_s.map_or(at_s, |[first_s, _]| first_s), at_s]);
                let (poses, events) = vision.push(&frame)?;
                let bodies = poses.bodies.iter().map(|body| bounds(&body.points));
                let glance = glances.of(&frame, bodies);
                reader.reuse(frame.rgb);
                let mut goes_on = glance.is_none_or(|g| told.step(Step::Glance(Box::new(g))));
                goes_on = goes_on && passes(events, told) && told.frame();
                if !goes_on {
                    return Ok(None);
                }
            }
            Next::MayEnd(next) if vision.is_at_rest() => break Some(next),
            Next::MayEnd(next) => told.crossed(next),
            Next::Damaged(error) => {
                damage.get_or_insert(error);
            }
            Next::End => break None,
        }
    };
    if !passes(vision.finish(), told) {
        return Ok(None);
    }
    Ok(Some(Ended {
        next,
        frames,
        span_s,
        tracks: vision.track_numbers(),
        tally: vision.tally(),
        counters: vision.estimator().counters(),
        damage,
    }))
}

fn passes(events: Vec<PassEvent>, told: &mut dyn Told) -> bool {
    events.into_iter().all(|event| match event {
        PassEvent::Started { .. } => true,
        PassEvent::Ended { pass, read_by, .. } => told.step(Step::Pass(pass, read_by)),
    })
}

/// What a reader gives.
pub(super) enum Next {
    Frame(Frame),
    /// The stretch may end here, where nobody skates.
    MayEnd(usize),
    /// Something is damaged; what is good after it follows.
    Damaged(CaptureError),
    End,
}

/// Gives the pictures of a recording, and where it may be cut.
pub(super) enum Reader<'p> {
    /// In parts: see [`Plan`].
    Parts {
        plan: &'p Plan,
        place: usize,
        source: Option<Box<dyn Source>>,
        /// The part at `place` is still to be opened.
        unopened: bool,
        ended: bool,
    },
    /// In one; it may be cut wherever nobody skates, once in [`EVERY_S`].
    Whole {
        source: Box<dyn Source>,
        read: usize,
        began_s: Option<f64>,
        last_s: f64,
        offered: bool,
        ended: bool,
    },
}

impl<'p> Reader<'p> {
    pub(super) fn of_parts(plan: &'p Plan) -> Reader<'p> {
        Reader::Parts {
            plan,
            place: 0,
            source: None,
            unopened: false,
            ended: false,
        }
    }

    pub(super) fn of_whole(source: Box<dyn Source>) -> Reader<'p> {
        Reader::Whole {
            source,
            read: 0,
            began_s: None,
            last_s: 0.0,
            offered: false,
            ended: false,
        }
    }

    /// Leaves one picture out before a place where nothing else leads to it; whether there are
    /// more.
    pub(super) fn skips(&mut self, place: usize) -> bool {
        match self {
            Reader::Whole { source, read, .. } if *read < place => {
                let next = source.next_frame();
                let more = matches!(next, Ok(Some(_)));
                *read = if more { *read + 1 } else { place };
                if let Ok(Some(frame)) = next {
                    source.reuse(frame.rgb);
                }
                more
            }
            Reader::Parts { .. } | Reader::Whole { .. } => false,
        }
    }

    /// The pictures from a place on; of a whole recording, from where it is.
    fn begin(&mut self, from: usize) {
        match self {
            Reader::Parts {
                place,
                source,
                unopened,
                ended,
                ..
            } => {
                *place = from;
                *source = None;
                *unopened = true;
                *ended = false;
            }
            Reader::Whole {
                began_s, offered, ..
            } => {
                *began_s = None;
                *offered = false;
            }
        }
    }

    fn next(&mut self) -> Next {
        match self {
            Reader::Parts {
                plan,
                place,
                source,
                unopened,
                ended,
            } => {
                if std::mem::take(unopened) {
                    let source_of = |at| read_ahead(plan.open(at)?, plan.path().to_owned());
                    let opened = source_of(*place);
                    match opened {
                        Ok(opened) => *source = Some(opened),
                        Err(error) => {
                            *ended = true;
                            return Next::Damaged(error);
                        }
                    }
                }
                match source.as_mut().map(|source| source.next_frame()) {
                    Some(Ok(Some(frame))) => return Next::Frame(frame),
                    Some(Err(error)) => {
                        *source = None;
                        // The other parts are none the worse for it.
                        *ended = !matches!(error, CaptureError::Damaged { .. });
                        return Next::Damaged(error);
                    }
                    Some(Ok(None)) | None => *source = None,
                }
                match plan.after(*place).filter(|_| !*ended) {
                    Some(next) => {
                        *place = next;
                        *unopened = true;
                        Next::MayEnd(next)
                    }
                    None => Next::End,
                }
            }
            Reader::Whole {
                source,
                read,
                began_s,
                last_s,
                offered,
                ended,
            } => {
                if *ended {
                    return Next::End;
                }
                let long = began_s.is_some_and(|began_s| *last_s - began_s >= EVERY_S);
                if long && !std::mem::replace(offered, true) {
                    return Next::MayEnd(*read);
                }
                *offered = false;
                match source.next_frame() {
                    Ok(Some(frame)) => {
                        *read += 1;
                        *last_s = frame.captured_at_s;
                        began_s.get_or_insert(*last_s);
                        Next::Frame(frame)
                    }
                    Ok(None) => {
                        *ended = true;
                        Next::End
                    }
                    Err(error) => {
                        *ended = true;
                        Next::Damaged(error)
                    }
                }
            }
        }
    }

    fn reuse(&mut self, buffer: Vec<u8>) {
        match self {
            Reader::Parts { source, .. } => {
                if let Some(source) = source {
                    source.reuse(buffer);
                }
            }
            Reader::Whole { source, .. } => source.reuse(buffer),
        }
    }
}
