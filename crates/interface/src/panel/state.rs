//! What the panel remembers between two frames: which page is open, what is
//! typed. Nothing of the station.

use jiff::civil::Date;

use super::pages::files::FileChoice;
use super::pages::limits::LimitsState;
use super::pages::lock::LockState;
use super::pages::now::NowState;
use super::pages::passes::PassesState;
use super::pages::privacy::PrivacyState;
use super::pages::progress::ProgressState;
use super::pages::set_up::SetUpState;
use super::pages::skaters::SkatersState;
use super::picture::Pictures;
use super::settings::PanelSetup;
use super::status::StatusState;
use super::widgets::Icon;
use crate::store::{PassKey, PushKey};

/// A page of the panel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[allow(missing_docs, reason = "the names are the documentation")]
pub enum PageId {
    #[default]
    Now,
    SetUp,
    Limits,
    Skaters,
    Passes,
    Progress,
    Privacy,
    Help,
}

impl PageId {
    /// All pages, in the order of the column.
    pub const ALL: [PageId; 8] = [
        PageId::Now,
        PageId::SetUp,
        PageId::Limits,
        PageId::Skaters,
        PageId::Passes,
        PageId::Progress,
        PageId::Privacy,
        PageId::Help,
    ];

    /// Its sign.
    pub(super) fn icon(self) -> Icon {
        match self {
            PageId::Now => Icon::Now,
            PageId::SetUp => Icon::SetUp,
            PageId::Limits => Icon::Limits,
            PageId::Skaters => Icon::Skaters,
            PageId::Passes => Icon::Passes,
            PageId::Progress => Icon::Progress,
            PageId::Privacy => Icon::Privacy,
            PageId::Help => Icon::Help,
        }
    }

    /// The key of its name among the words.
    pub fn words_key(self) -> &'static str {
        match self {
            PageId::Now => "page.now",
            PageId::SetUp => "page.set_up",
            PageId::Limits => "page.limits",
            PageId::Skaters => "page.skaters",
            PageId::Passes => "page.passes",
            PageId::Progress => "page.progress",
            PageId::Privacy => "page.privacy",
            PageId::Help => "page.help",
        }
    }
}

/// What a skater is being chosen for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Choosing {
    /// Who a pass really was.
    OfPass(PassKey),
    /// Who is next.
    Next,
    /// Whose limits are set.
    Limits,
    /// Whose passes are listed.
    Filter,
    /// Whose progress is shown.
    Progress,
    /// Whose pushes are exported.
    Export,
}

/// The panel's own state.
pub struct PanelState {
    /// What the panel was opened with.
    pub setup: PanelSetup,
    /// The day, for consents; given from outside, so that drawing needs no
    /// clock.
    pub today: Date,
    /// Points of one millimetre on the glass.
    pub points_per_mm: f32,
    /// The page that is open.
    pub page: PageId,
    pub(super) choosing: Option<Choosing>,
    pub(super) choosing_leaf: usize,
    pub(super) choosing_file: Option<FileChoice>,
    /// Whether the look is the one for a dark hall.
    pub dark: bool,
    /// Whether the panel lies over the big screen.
    pub over: bool,
    /// Whether it is to be closed.
    pub close_asked: bool,
    /// Whether another page was opened in this frame.
    pub(super) turned: bool,
    pub(super) status: StatusState,
    pub(super) now: NowState,
    pub(super) set_up: SetUpState,
    pub(super) limits: LimitsState,
    pub(super) skaters: SkatersState,
    pub(super) passes: PassesState,
    pub(super) progress: ProgressState,
    pub(super) privacy: PrivacyState,
    pub(super) lock: LockState,
    pub(super) pictures: Pictures,
}

impl PanelState {
    /// The state of a panel that was just opened.
    pub fn new(setup: PanelSetup, today: Date, points_per_mm: f32) -> Self {
        PanelState {
            skaters: SkatersState::new(&setup.folder, today),
            privacy: PrivacyState::new(&setup.folder),
            dark: setup.settings.dark,
            setup,
            today,
            points_per_mm,
            page: PageId::Now,
            choosing: None,
            choosing_leaf: 0,
            choosing_file: None,
            over: false,
            close_asked: false,
            turned: false,
            status: StatusState::default(),
            now: NowState::default(),
            set_up: SetUpState::default(),
            limits: LimitsState::default(),
            passes: PassesState::default(),
            progress: ProgressState::default(),
            lock: LockState::default(),
            pictures: Pictures::default(),
        }
    }

    /// Opens a step of the set-up, counted from 0.
    pub fn open_step(&mut self, step: usize) {
        self.page = PageId::SetUp;
        self.set_up.open(step);
    }

    /// Opens the choice of a roster file, in this folder or at the places.
    pub fn open_file_choice(&mut self, folder: Option<std::path::PathBuf>) {
        self.page = PageId::Skaters;
        self.choosing_file = Some(FileChoice::of_roster(folder));
    }

    /// Opens the second half of the page Privacy: taking things along.
    pub fn open_taking(&mut self) {
        self.page = PageId::Privacy;
        self.privacy.taking = true;
    }

    /// Opens the page Privacy with these days chosen for what was measured.
    pub fn open_measures(&mut self, days: u32) {
        self.page = PageId::Privacy;
        self.privacy.measures_days = Some(days);
    }

    /// Opens the page of roster files.
    pub fn open_roster_files(&mut self) {
        self.page = PageId::Skaters;
        self.skaters.open_files();
    }

    /// Opens the table of the whole group.
    pub fn open_group(&mut self) {
        self.page = PageId::Progress;
        self.progress = ProgressState::of_group();
    }

    /// Opens what is set during the ice time, or there the coach's voice.
    pub fn open_ice_settings(&mut self, voice: bool) {
        self.page = PageId::Now;
        self.now.open_more(voice);
    }

    /// Opens a push closely.
    pub fn open_push(&mut self, push: PushKey) {
        self.page = PageId::Passes;
        self.passes.open(push);
    }
}
