//! Every state of the skater's screen, once: what the sheets of `docs/screens` show and
//! what tests look at. A state that is new does not compile here until it has its line in
//! `kinds!`, and `screen_sheets` in `tests/screens` fails until it has its cell.

use std::sync::Arc;

use kickplate::display::{
    AngleMark, Appearance, CueDetail, CueOrder, Fault, Overlay, People, Person, PictureShare,
    Screen, ScreenGeometry, ScreenModel, SoundNote, StatusStrip,
};
use kickplate::feedback::{CueLeg, Good, NextThing, SetSummary};
use kickplate::roster::BandColour;
use kickplate::rules::{AgeGroup, NotJudged, RuleId};

/// A screen in the hall: pixels, and height of the glass in metres. The first three are a
/// 50-inch panel (1.107 m x 0.623 m); the last is the same one on its short side.
pub const SIZES: [(u32, u32, f32); 4] = [
    (1280, 720, 0.62),
    (1920, 1080, 0.62),
    (3840, 2160, 0.62),
    (1080, 1920, 1.10),
];

macro_rules! kinds {
    ($($pattern:pat => $name:literal,)*) => {
        /// Name of what a screen is. No arm takes the rest: a new state is missed here.
        pub fn kind(screen: &Screen) -> &'static str {
            match screen {
                $($pattern => $name,)*
            }
        }

        /// Every name that [`kind`] gives.
        pub const KINDS: &[&str] = &[$($name),*];
    };
}

kinds! {
    Screen::Waiting => "waiting",
    Screen::InLane => "in the lane",
    Screen::Cue { good: None, .. } => "an order",
    Screen::Cue { good: Some(_), .. } => "an order with something good",
    Screen::Praise { .. } => "praise",
    Screen::Improved { .. } => "better",
    Screen::Unfed { .. } => "the skater's own judgement",
    Screen::Summary(SetSummary { next: Some(_), .. }) => "the end of a set with a next thing",
    Screen::Summary(SetSummary { next: None, .. }) => "the end of a set, all good",
    Screen::NotJudged { .. } => "not judged",
    Screen::Replay { .. } => "replay",
    Screen::Fault(Fault::NoCamera) => "no camera",
    Screen::Fault(Fault::CameraSilent) => "a silent camera",
    Screen::Fault(Fault::EngineStopped) => "no engine",
    Screen::Fault(Fault::NotRecording) => "not recording",
    Screen::Fault(Fault::TooSlow) => "too slow",
    Screen::Fault(Fault::Other(_)) => "another fault",
}

/// One cell of a sheet.
#[derive(Clone)]
pub struct Cell {
    /// Its name in the names of files.
    pub name: &'static str,
    /// What is shown.
    pub screen: Screen,
    /// Whether the station knows whose turn it is.
    pub known: bool,
}

fn cue(rule: RuleId, value: f64, limit: f64, leg: CueLeg) -> Screen {
    let more = value < limit;
    Screen::Cue {
        pass_number: 3,
        rule,
        value,
        limit,
        leg,
        good: None,
        detail: Some(Arc::new(CueDetail {
            before: Some(value + (value - limit) * 0.6),
            doubt: Some((value - limit).abs() * 0.4),
            zone: if more {
                [Some(limit), None]
            } else {
                [None, Some(limit)]
            },
            age_group: Some(AgeGroup::U11),
            stance: None,
        })),
    }
}

fn with_good() -> Screen {
    let mut out = cue(RuleId::KneeBend, 134.0, 115.0, CueLeg::Right);
    if let Screen::Cue { good, .. } = &mut out {
        *good = Some(Good::Improved {
            rule: RuleId::RecoveryGap,
        });
    }
    out
}

fn with_number() -> Screen {
    cue(RuleId::Extension, 143.0, 160.0, CueLeg::Left).with_detail(CueDetail {
        zone: [Some(160.0), None],
        age_group: Some(AgeGroup::U15),
        ..CueDetail::default()
    })
}

fn summary(in_band: u32, next: Option<NextThing>) -> Screen {
    Screen::Summary(SetSummary {
        last_pass: 9,
        judged: 9,
        in_band,
        good: Some(Good::Improved {
            rule: RuleId::KneeBend,
        }),
        next,
    })
}

/// Every state, the orders first seven of each rule and direction.
pub fn cells() -> Vec<Cell> {
    let next = Some(NextThing {
        rule: RuleId::Extension,
        more: true,
    });
    let better = Screen::Improved {
        pass_number: 3,
        rule: RuleId::KneeBend,
        value: 121.0,
        earlier: 134.0,
        leg: CueLeg::Right,
        detail: None,
    };
    let not_judged = Screen::NotJudged {
        pass_number: 3,
        reason: NotJudged::NoPush,
    };
    let (left, right, both) = (CueLeg::Left, CueLeg::Right, CueLeg::Both);
    let fault = Screen::Fault;
    let named = [
        ("waiting", Screen::Waiting),
        ("in-lane", Screen::InLane),
        ("order-knees", cue(RuleId::KneeBend, 134.0, 115.0, right)),
        ("order-push", cue(RuleId::Extension, 143.0, 160.0, left)),
        ("order-heels", cue(RuleId::RecoveryGap, 0.19, 0.12, both)),
        ("order-arms", cue(RuleId::ArmCrossover, 0.07, 0.0, left)),
        ("order-ahead", cue(RuleId::TrunkLean, 21.0, 30.0, both)),
        ("order-up", cue(RuleId::TrunkLean, 71.0, 60.0, both)),
        ("order-toe", cue(RuleId::ToeDirection, 12.0, 20.0, right)),
        ("order-good", with_good()),
        ("order-number", with_number()),
        ("praise", Screen::Praise { pass_number: 3 }),
        ("better", better),
        ("own-judgement", Screen::Unfed { pass_number: 3 }),
        ("not-judged", not_judged),
        ("set", summary(6, next)),
        ("set-good", summary(9, None)),
        ("replay", replay()),
        ("no-camera", fault(Fault::NoCamera)),
        ("silent", fault(Fault::CameraSilent)),
        ("no-engine", fault(Fault::EngineStopped)),
        ("not-recording", fault(Fault::NotRecording)),
        ("too-slow", fault(Fault::TooSlow)),
        ("fault", fault(Fault::Other("the disk is full".to_owned()))),
    ];
    let known = named.into_iter().map(|(name, screen)| Cell {
        name,
        screen,
        known: true,
    });
    let nobody = Cell {
        name: "waiting-nobody",
        screen: Screen::Waiting,
        known: false,
    };
    known.chain([nobody]).collect()
}

/// A replay over a drawn picture of ice and boards.
fn replay() -> Screen {
    let knee = [[0.47, 0.47], [0.53, 0.60], [0.47, 0.76]];
    let lines = vec![
        [[0.57, 0.28], [0.47, 0.47]],
        [knee[0], knee[1]],
        [knee[1], knee[2]],
        [[0.47, 0.47], [0.38, 0.62]],
        [[0.38, 0.62], [0.27, 0.72]],
        [[0.57, 0.28], [0.65, 0.40]],
    ];
    // The same bones, lower: hips and knee as the order wants them.
    let low = [[0.46, 0.51], [0.545, 0.605], [0.47, 0.76]];
    let target = vec![
        [[0.58, 0.33], low[0]],
        [low[0], low[1]],
        [low[1], low[2]],
        [low[0], [0.38, 0.64]],
        [[0.38, 0.64], [0.27, 0.72]],
    ];
    Screen::Replay {
        pass_number: 3,
        overlay: Arc::new(Overlay {
            lines,
            target,
            mark: Some(AngleMark {
                points: knee.to_vec(),
                rule: RuleId::KneeBend,
                numbers: Some((134.0, 115.0)),
            }),
            view: PictureShare::default(),
        }),
        order: Some(CueOrder {
            rule: RuleId::KneeBend,
            more: false,
            leg: CueLeg::Right,
        }),
    }
}

fn person(bib: &str, name: &str, band: BandColour) -> Person {
    Person {
        bib: Some(bib.to_owned()),
        name: Some(name.to_owned()),
        band: Some(band),
        focus: None,
    }
}

/// A cell as the station would show it ten metres from the glass.
pub fn model(cell: &Cell, look: &Appearance, height_m: f32) -> ScreenModel {
    let people = People {
        shown: Some(person("7", "Mila", BandColour::Blue)),
        next: Some(person("14", "Noah", BandColour::Yellow)),
    };
    ScreenModel {
        screen: cell.screen.clone(),
        people: if cell.known {
            people
        } else {
            People::default()
        },
        status: StatusStrip {
            engine: Some("native".to_owned()),
            fps: Some(30.0),
            sound: SoundNote::On,
            pictures_kept: true,
            not_recording: matches!(cell.screen, Screen::Fault(Fault::NotRecording)),
            panel_closed: true,
        },
        geometry: ScreenGeometry {
            screen_height_m: height_m,
            reading_distance_m: 10.0,
        },
        look: look.clone(),
        since_s: None,
    }
}
