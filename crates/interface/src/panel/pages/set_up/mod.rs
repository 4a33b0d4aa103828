//! The set-up in five steps: which place, which camera and how it looks, the
//! line, the scale, and a test that ends on the ice.

mod canvas;
mod first;
mod last;
mod marks;
mod ruler;
mod scale;

use std::sync::Arc;

use egui::Ui;

use super::Desk;
use crate::config::{Lane, Subject, Travel, View};
use crate::display::{PreviewImage, ScreenPlace};
use crate::panel::look as theme;
use crate::panel::state::PageId;
use crate::panel::widgets::{Icon, Press, Voice, columns, grid, say};
use crate::store::PassKey;
use marks::{MarkDraft, Thing};

/// One step of the set-up.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(in crate::panel) enum Step {
    #[default]
    Place,
    Camera,
    Line,
    Scale,
    Test,
}

impl Step {
    const ALL: [Step; 5] = [
        Step::Place,
        Step::Camera,
        Step::Line,
        Step::Scale,
        Step::Test,
    ];

    fn key(self) -> &'static str {
        match self {
            Step::Place => "step.place",
            Step::Camera => "step.camera",
            Step::Line => "step.line",
            Step::Scale => "step.scale",
            Step::Test => "step.test",
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
    thing: Thing,
    name: String,
    /// Whether a name was proposed.
    named: bool,
    /// How the big screen is seen, where it was changed here.
    screen: Option<ScreenPlace>,
    /// Whether cameras were looked for since the start.
    looked_for_cameras: bool,
    /// The last pass when the lane was saved or taken: only later ones test
    /// it. `None` before.
    test_from: Option<Option<PassKey>>,
    /// What a person holds next.
    hold: ruler::HoldDraft,
    /// Whether the line is drawn anew after the camera was moved.
    anew: bool,
    /// The picture while it stands still to be marked.
    frozen: Option<Arc<PreviewImage>>,
    /// How much larger the picture is shown.
    zoom: f32,
    /// What is in the middle then, shares of the frame.
    middle: [f32; 2],
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
            thing: Thing::Boards,
            name: String::new(),
            named: false,
            screen: None,
            looked_for_cameras: false,
            test_from: None,
            hold: ruler::HoldDraft::default(),
            anew: false,
            frozen: None,
            zoom: 1.0,
            middle: [0.5, 0.5],
        }
    }
}

impl SetUpState {
    /// Goes to a step, counted from 0; the last one where there are fewer.
    pub(in crate::panel) fn open(&mut self, step: usize) {
        self.step = Step::ALL[step.min(Step::ALL.len() - 1)];
    }

    /// Goes to the line, to compare it with the picture of now.
    pub(in crate::panel) fn open_line(&mut self) {
        self.step = Step::Line;
        self.frozen = None;
        self.zoom = 1.0;
        self.anew = false;
    }

    /// Whether the camera was moved and the picture is compared with the line of the lane.
    fn compares(&self, d: &Desk<'_>) -> bool {
        d.view.station.camera_moved && !self.anew
    }

    /// What was marked lies where the camera looked before: it is marked anew.
    fn draw_anew(&mut self) {
        self.anew = true;
        self.line = [MovedPoint::default(); 2];
        self.marks.clear();
    }

    /// The lane so far.
    fn lane(&mut self, d: &Desk<'_>) -> &mut Lane {
        self.lane.get_or_insert_with(|| {
            super::lane_line::lane_in_use(d.view)
                .cloned()
                .unwrap_or_else(usual_lane)
        })
    }

    /// From now on passes test the lane.
    fn begin_test(&mut self, d: &Desk<'_>) {
        self.test_from = Some(d.view.live.last.as_ref().map(|(key, _)| *key));
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
        errors: Default::default(),
        checked: None,
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
    if let Some(index) = grid(ui, s, Step::ALL.len(), keys) {
        state.step = Step::ALL[index];
    }
    foot_first(ui, d, state);
    match state.step {
        Step::Place => first::place(ui, d, state),
        Step::Camera => first::camera(ui, d, state),
        Step::Line => marks::line(ui, d, state),
        Step::Scale => scale::show(ui, d, state),
        Step::Test => last::test(ui, d, state),
    }
}

/// The keys that go on, at the head of the page, so that they never move and
/// never have to be scrolled to.
fn foot_first(ui: &mut Ui, d: &mut Desk<'_>, state: &mut SetUpState) {
    let s = d.s;
    let at = state.step as usize;
    let last = at + 1 == Step::ALL.len();
    let wide = (ui.available_width() - s.gap()) / 2.0;
    ui.horizontal(|ui| {
        // Both are always there: what is pressed twice must not do the
        // opposite.
        let before = Press::new(d.w.get("set_up.before"))
            .icon(Icon::Back)
            .enabled(at > 0)
            .wide(wide);
        if before.show(ui, s) {
            state.step = Step::ALL[at.saturating_sub(1)];
        }
        let word = if last { "set_up.done" } else { "set_up.after" };
        let after = Press::new(d.w.get(word))
            .icon(if last { Icon::Tick } else { Icon::Skip })
            .main()
            .wide(wide);
        if after.show(ui, s) {
            if last {
                d.go = Some(PageId::Now);
            } else {
                state.step = Step::ALL[at + 1];
            }
        }
    });
}

/// The picture with what belongs to it beside: it takes most of the page.
fn beside_picture<S>(
    ui: &mut Ui,
    d: &mut Desk<'_>,
    state: &mut S,
    picture: impl FnOnce(&mut Ui, &mut Desk<'_>, &mut S),
    rest: impl FnOnce(&mut Ui, &mut Desk<'_>, &mut S),
) {
    if d.s.is_upright() {
        picture(ui, d, state);
        rest(ui, d, state);
        return;
    }
    columns(ui, d.s, [1.62, 1.0], |[left, right]| {
        picture(left, d, state);
        rest(right, d, state);
    });
}

/// What a step is about.
fn about(ui: &mut Ui, d: &Desk<'_>, key: &str) {
    say(ui, d.s, Voice::Body, d.w.get(key));
}

/// The room a picture has on the page, points: as high as is left.
fn picture_room(ui: &Ui, d: &Desk<'_>) -> egui::Vec2 {
    let left = ui.clip_rect().bottom() - ui.cursor().top() - d.s.gap();
    let share = if d.s.is_upright() { 0.45 } else { 1.0 };
    let keys = d.s.mm(theme::TARGET_MM) + d.s.gap();
    egui::vec2(
        ui.available_width(),
        (left * share - keys).max(d.s.mm(40.0)),
    )
}
