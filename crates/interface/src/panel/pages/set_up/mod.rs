//! The set-up, one thing after the other: which lane, which camera, how it
//! looks at the lane, the line, the scale, the picture, a test, a name.

mod canvas;
mod first;
mod last;
mod marks;
mod scale;

use egui::Ui;

use super::Desk;
use crate::config::{Lane, Subject, Travel, View};
use crate::display::panel_theme as theme;
use crate::panel::widgets::{Press, Voice, grid, say};
use crate::store::PassKey;
use marks::{Kind, MarkDraft};

/// One step of the set-up.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(in crate::panel) enum Step {
    #[default]
    Lane,
    Camera,
    View,
    Line,
    Scale,
    Picture,
    Save,
    Test,
}

impl Step {
    const ALL: [Step; 8] = [
        Step::Lane,
        Step::Camera,
        Step::View,
        Step::Line,
        Step::Scale,
        Step::Picture,
        Step::Save,
        Step::Test,
    ];

    fn key(self) -> &'static str {
        match self {
            Step::Lane => "step.lane",
            Step::Camera => "step.camera",
            Step::View => "step.view",
            Step::Line => "step.line",
            Step::Scale => "step.scale",
            Step::Picture => "step.picture",
            Step::Test => "step.test",
            Step::Save => "step.save",
        }
    }
}

/// What the set-up has so far.
pub(in crate::panel) struct SetUpState {
    step: Step,
    /// What is told of the lane; taken from the lane in use the first time.
    lane: Option<Lane>,
    hfov_known: bool,
    /// The two ends of the line, pixels of the frame, and whether each was
    /// put somewhere.
    line: [MovedPoint; 2],
    marks: Vec<MarkDraft>,
    kind: Kind,
    name: String,
    /// Whether a name was proposed.
    named: bool,
    reading_distance_m: f64,
    /// Whether cameras were looked for since the start.
    looked_for_cameras: bool,
    /// The last pass when the test began.
    test_from: Option<Option<PassKey>>,
}

/// A point of the picture that starts somewhere and has to be moved.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(in crate::panel) struct MovedPoint {
    /// Pixels of the frame; `None` before the picture was there.
    at_px: Option<[f64; 2]>,
    moved: bool,
}

impl Default for SetUpState {
    fn default() -> Self {
        SetUpState {
            step: Step::default(),
            lane: None,
            hfov_known: false,
            line: [MovedPoint::default(); 2],
            marks: vec![],
            kind: Kind::Boards,
            name: String::new(),
            named: false,
            reading_distance_m: 10.0,
            looked_for_cameras: false,
            test_from: None,
        }
    }
}

impl SetUpState {
    /// Goes to a step, counted from 0; the last one where there are fewer.
    pub(in crate::panel) fn open(&mut self, step: usize) {
        self.step = Step::ALL[step.min(Step::ALL.len() - 1)];
    }

    /// The lane so far.
    fn lane(&mut self, d: &Desk<'_>) -> &mut Lane {
        self.lane.get_or_insert_with(|| {
            let in_use = d.view.lanes.iter().find(|l| l.in_use);
            in_use
                .and_then(|l| l.lane.clone().ok())
                .unwrap_or_else(usual_lane)
        })
    }
}

/// Where nothing is known yet: a webcam square to the lane.
fn usual_lane() -> Lane {
    Lane {
        view: View::Side,
        camera_height_m: 2.0,
        tilt_deg: 8.0,
        hfov_deg: 70.0,
        roll_deg: 0.0,
        lane_distance_m: 6.0,
        travel: Travel::LeftToRight,
        skater_height_m: 1.5,
        subject: Subject::People,
    }
}

pub(in crate::panel) fn show(ui: &mut Ui, d: &mut Desk<'_>, state: &mut SetUpState) {
    let s = d.s;
    let names: Vec<String> = Step::ALL
        .iter()
        .enumerate()
        .map(|(i, step)| format!("{} {}", i + 1, d.w.get(step.key())))
        .collect();
    let keys = Step::ALL
        .iter()
        .zip(&names)
        .map(|(step, name)| Press::new(name).page(*step == state.step))
        .collect();
    let across = if ui.available_width() < s.mm(220.0) {
        4
    } else {
        8
    };
    if let Some(index) = grid(ui, s, across, keys) {
        state.step = Step::ALL[index];
    }
    if state.step != Step::Test {
        state.test_from = None;
    }
    match state.step {
        Step::Lane => first::lane(ui, d, state),
        Step::Camera => first::camera(ui, d, state),
        Step::View => first::view(ui, d, state),
        Step::Line => marks::line(ui, d, state),
        Step::Scale => scale::show(ui, d, state),
        Step::Picture => last::picture(ui, d),
        Step::Test => last::test(ui, d, state),
        Step::Save => last::save(ui, d, state),
    }
    // Both are always there: what is pressed twice must not do the opposite.
    let at = state.step as usize;
    let before = Press::new(d.w.get("set_up.before")).large().enabled(at > 0);
    let after = Press::new(d.w.get("set_up.after"))
        .large()
        .enabled(at + 1 < Step::ALL.len());
    let keys = [(before, at.saturating_sub(1)), (after.main(), at + 1)];
    // At the foot of the page, so that they stay where they are.
    let foot = ui.clip_rect().bottom() - s.mm(theme::LARGE_MM) - s.gap() - 1.0;
    ui.add_space((foot - ui.cursor().top()).max(0.0));
    ui.horizontal(|ui| {
        for (key, to) in keys {
            if key.wide(s.mm(60.0)).show(ui, s) {
                state.step = Step::ALL[to];
            }
        }
    });
}

/// What a step is about.
fn about(ui: &mut Ui, d: &Desk<'_>, key: &str) {
    say(ui, d.s, Voice::Body, d.w.get(key));
}
