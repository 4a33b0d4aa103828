//! Pictures of every page of the coach's panel, with a made-up station, drawn
//! without a display: `cargo run --example coach_pages -- FOLDER [WIDTH HEIGHT
//! [en|fr [NAME]]]`; NAME draws only the pages whose names begin so.

#[path = "../tests/common/coach.rs"]
mod coach_common;

use std::path::PathBuf;
use std::sync::Arc;

use coach_common as made_up;
use kickplate::display::{Language, Words, render_ui};
use kickplate::panel::{
    Answer, ExportState, Message, PageId, PanelSetup, PanelState, PanelView, PanelWords, PinState,
    WouldGo, panel_ui,
};
use kickplate::store::PushKey;

fn main() -> anyhow::Result<()> {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let folder = PathBuf::from(words.first().map_or(".", String::as_str));
    let number = |i: usize, usual: u32| words.get(i).and_then(|w| w.parse().ok()).unwrap_or(usual);
    let (width, height) = (number(1, 1920), number(2, 1080));
    let language = match words.get(3).map(String::as_str) {
        Some("fr") => Language::Fr,
        _ => Language::En,
    };
    let setup = PanelSetup {
        words: Arc::new(PanelWords::built_in(language)),
        screen_words: Arc::new(Words::built_in(language)),
        ..PanelSetup::default()
    };
    std::fs::create_dir_all(&folder)?;
    let only = words.get(4).map_or("", String::as_str);
    let dark = words.get(5).is_some_and(|w| w == "dark");
    let wanted = scenes().into_iter().filter(|s| s.0.starts_with(only));
    for (name, page, steps, view) in wanted {
        let diagonal_in = if width.min(height) <= 800 && width.max(height) <= 1280 {
            10.1
        } else {
            15.6
        };
        let points_per_mm = (width as f32).hypot(height as f32) / (diagonal_in * 25.4);
        let today = jiff::civil::date(2026, 11, 25);
        let mut state = PanelState::new(setup.clone(), today, points_per_mm);
        state.page = page;
        state.dark = dark;
        steps(&mut state);
        let image = render_ui(width, height, 3, |ui| {
            panel_ui(ui, &mut state, &view, &mut Vec::new());
        });
        image.save(folder.join(format!("{name}.png")))?;
    }
    Ok(())
}

type Steps = fn(&mut PanelState);
type Scene = (&'static str, PageId, Steps, PanelView);

fn scenes() -> Vec<Scene> {
    let rich = made_up::rich();
    let nothing: Steps = |_| {};
    let mut out: Vec<Scene> = vec![];
    let mut add = |name, page, steps, view: &PanelView| out.push((name, page, steps, view.clone()));
    add("now", PageId::Now, nothing, &rich);
    let more: Steps = |s| s.open_ice_settings(false);
    add("now-more", PageId::Now, more, &rich);
    let voice: Steps = |s| s.open_ice_settings(true);
    add("now-voice", PageId::Now, voice, &rich);
    let mut trouble = rich.clone();
    trouble.station.problems =
        vec!["No new picture for 4 seconds; look at the camera's cable.".to_owned()];
    trouble.answer = Some(Answer {
        number: 3,
        sentence: "The roster file has two faults: line 4, no name; line 9, group 'U14' is not known. Nothing was taken.".to_owned(),
        done: false,
    });
    add("now-trouble", PageId::Now, nothing, &trouble);
    add("empty-now", PageId::Now, nothing, &PanelView::default());
    for (i, name) in ["set-up-1", "set-up-2", "set-up-3", "set-up-4", "set-up-5"]
        .into_iter()
        .enumerate()
    {
        let steps: Steps = match i {
            0 => nothing,
            1 => |s| s.open_step(1),
            2 => |s| s.open_step(2),
            3 => |s| s.open_step(3),
            _ => |s| s.open_step(4),
        };
        let mut view = rich.clone();
        if i >= 3 {
            view.scale = Some(Ok(made_up::scale()));
        }
        add(name, PageId::SetUp, steps, &view);
    }
    add("limits", PageId::Limits, nothing, &rich);
    add("skaters", PageId::Skaters, nothing, &rich);
    add("passes", PageId::Passes, nothing, &rich);
    let mut close = rich.clone();
    let key = PushKey {
        pass: made_up::pass_key(12),
        position: 0,
    };
    close.push = Some(Arc::new(made_up::push_detail(key)));
    add(
        "push",
        PageId::Passes,
        |s| {
            s.open_push(PushKey {
                pass: made_up::pass_key(12),
                position: 0,
            })
        },
        &close,
    );
    let mut progress = rich.clone();
    progress.progress = Some(Arc::new(made_up::progress(kickplate::roster::SkaterId(4))));
    add("progress", PageId::Progress, nothing, &progress);
    add("group", PageId::Progress, |s| s.open_group(), &rich);
    let mut exporting = rich.clone();
    exporting.export = Some(ExportState {
        done: 0.42,
        sentence: "Pass 5 of 12.".to_owned(),
        running: true,
    });
    add("privacy", PageId::Privacy, nothing, &exporting);
    let mut old = rich.clone();
    old.privacy.would_go = Some(WouldGo {
        days: 730,
        passes: 310,
        sessions: 4,
    });
    add(
        "privacy-old",
        PageId::Privacy,
        |s| s.open_measures(730),
        &old,
    );
    add("help", PageId::Help, nothing, &rich);
    let mut places = rich.clone();
    places.folder = Some(Arc::new(made_up::places()));
    add(
        "places",
        PageId::Skaters,
        |s| s.open_file_choice(None),
        &places,
    );
    let mut folder = rich.clone();
    folder.folder = Some(Arc::new(made_up::folder()));
    let open: Steps = |s| s.open_file_choice(Some(made_up::STICK.into()));
    add("folder", PageId::Skaters, open, &folder);
    add(
        "roster-files",
        PageId::Skaters,
        |s| s.open_roster_files(),
        &rich,
    );
    add("taking", PageId::Privacy, |s| s.open_taking(), &exporting);
    let mut taken_up = rich.clone();
    taken_up.queue.taken_up = Some("18:42".to_owned());
    add("now-restarted", PageId::Now, nothing, &taken_up);
    let mut locked = rich.clone();
    locked.pin = PinState::Locked;
    locked.answer = Some(Answer {
        number: 4,
        sentence: Message::PinWrong {}.say(&PanelWords::built_in(Language::En)),
        done: false,
    });
    add("lock", PageId::Now, nothing, &locked);
    out
}
