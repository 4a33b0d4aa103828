//! What every page has to hold: large enough, readable, named, still.

use std::sync::Arc;

use egui::accesskit::Role;
use egui::epaint::{ClippedShape, TextShape};
use egui::{Color32, Rect, Shape, Vec2, vec2};
use egui_kittest::kittest::NodeT;
use kickplate::display::{Language, Words, contrast_ratio};
use kickplate::panel::{
    Answer, Command, ExportState, PageId, PanelSetup, PanelState, PanelView, PanelWords, PinState,
    WouldGo,
};
use kickplate::roster::SkaterId;
use kickplate::store::PushKey;

use super::{Coach, rich};
use crate::coach_common::{STICK, folder, pass_key, places, progress, push_detail, scale};

/// Least side of what is pressed, and least height of capitals, millimetres.
const TARGET_MM: f32 = 12.0;
const CAPITAL_MM: f32 = 4.0;
/// The same on a screen that is held near, for the names under signs.
const LEAST_MM: f32 = 2.1;
/// WCAG 2.2, 1.4.6: contrast of text, enhanced.
const CONTRAST: f32 = 7.0;
/// Height of the capitals of the font as a share of its size; read from the
/// font's own tables in `the_font_is_as_it_is_taken_to_be`.
const CAP_SHARE: f32 = 0.7;

/// The sizes that are looked at, points and inches of the diagonal.
const SIZES: [(Vec2, f32); 6] = [
    (vec2(1024.0, 600.0), 10.1),
    (vec2(1280.0, 720.0), 15.6),
    (vec2(1920.0, 1080.0), 15.6),
    (vec2(3840.0, 2160.0), 15.6),
    // Upright: a screen, and a small tablet.
    (vec2(1080.0, 1920.0), 15.6),
    (vec2(800.0, 1280.0), 10.1),
];

fn setup(language: Language) -> PanelSetup {
    PanelSetup {
        words: Arc::new(PanelWords::built_in(language)),
        screen_words: Arc::new(Words::built_in(language)),
        ..PanelSetup::default()
    }
}

/// What is done to the panel before it is looked at: a part of it is opened, or keys are
/// pressed, by their names among the words; two names with a colon are one.
#[derive(Clone, Copy)]
enum Prepare {
    Open(fn(&mut PanelState)),
    Press(&'static [&'static str]),
}

impl Prepare {
    fn on(self, coach: &mut Coach, words: &PanelWords) {
        match self {
            Prepare::Open(step) => {
                step(&mut coach.h.state_mut().state);
                coach.h.run();
            }
            Prepare::Press(keys) => {
                for key in keys {
                    let names: Vec<&str> = key.split(": ").map(|k| words.get(k)).collect();
                    coach.press(&names.join(": "));
                }
            }
        }
    }
}

/// What is pressed before a page is looked at, and the page.
const PRESSED: [(&str, PageId, &[&str]); 7] = [
    ("more", PageId::Now, &["now.more"]),
    ("voice", PageId::Now, &["now.more", "voice.open"]),
    ("end", PageId::Now, &["now.more", "now.end"]),
    ("new skater", PageId::Skaters, &["skaters.add"]),
    ("order", PageId::Skaters, &["skaters.order"]),
    (
        "a limit moved",
        PageId::Limits,
        &["limits.at_most: number.less"],
    ),
    ("who was it", PageId::Now, &["now.wrong"]),
];

/// Every page in the states that look different.
fn pages() -> Vec<(String, PageId, PanelView, Option<Prepare>)> {
    let mut out = vec![];
    let mut full = rich();
    full.progress = Some(Arc::new(progress(SkaterId(4))));
    full.scale = Some(Ok(scale()));
    full.export = Some(ExportState {
        done: 0.42,
        sentence: "Pass 5 of 12.".to_owned(),
        running: true,
    });
    let push = PushKey {
        pass: pass_key(12),
        position: 1,
    };
    full.push = Some(Arc::new(push_detail(push)));
    let mut troubled = full.clone();
    troubled.station.problems = vec!["No picture for 4 seconds; look at the cable.".to_owned()];
    troubled.answer = Some(Answer {
        number: 1,
        sentence: "The file cannot be read; check its name.".to_owned(),
        done: false,
    });
    let mut passing = full.clone();
    passing.live.somebody_passing = true;
    passing.live.in_lane = vec![passing.queue.current];
    let mut two = passing.clone();
    two.live.in_lane.push(None);
    for (name, view) in [("one in the lane", passing), ("two in the lane", two)] {
        out.push((name.to_owned(), PageId::Now, view, None));
    }
    let mut locked = rich();
    locked.pin = PinState::Locked;
    for page in PageId::ALL {
        for (name, view) in [
            ("full", &full),
            ("troubled", &troubled),
            ("empty", &PanelView::default()),
        ] {
            out.push((format!("{page:?} {name}"), page, view.clone(), None));
        }
    }
    let steps: [fn(&mut PanelState); 5] = [
        |s| s.open_step(0),
        |s| s.open_step(1),
        |s| s.open_step(2),
        |s| s.open_step(3),
        |s| s.open_step(4),
    ];
    for (i, step) in steps.into_iter().enumerate() {
        let name = format!("step {}", i + 1);
        out.push((name, PageId::SetUp, full.clone(), Some(Prepare::Open(step))));
    }
    out.push((
        "group".to_owned(),
        PageId::Progress,
        full.clone(),
        Some(Prepare::Open(|s| s.open_group())),
    ));
    out.push((
        "push".to_owned(),
        PageId::Passes,
        full.clone(),
        Some(Prepare::Open(|s| {
            s.open_push(PushKey {
                pass: pass_key(12),
                position: 1,
            });
        })),
    ));
    for (name, view) in [("places", places()), ("folder", folder())] {
        let mut choosing = full.clone();
        choosing.folder = Some(Arc::new(view));
        let step: fn(&mut PanelState) = match name {
            "places" => |s| s.open_file_choice(None),
            _ => |s| s.open_file_choice(Some(STICK.into())),
        };
        out.push((
            name.to_owned(),
            PageId::Skaters,
            choosing,
            Some(Prepare::Open(step)),
        ));
    }
    for (name, running) in [("taking", true), ("to take", false)] {
        let mut taking = full.clone();
        taking.export = taking.export.filter(|_| running);
        out.push((
            name.to_owned(),
            PageId::Privacy,
            taking,
            Some(Prepare::Open(|s| s.open_taking())),
        ));
    }
    for (name, page, keys) in PRESSED {
        let press = Some(Prepare::Press(keys));
        out.push((name.to_owned(), page, full.clone(), press));
    }
    let mut old = full.clone();
    old.privacy.would_go = Some(WouldGo {
        days: 730,
        passes: 310,
        sessions: 4,
    });
    out.push((
        "old measures".to_owned(),
        PageId::Privacy,
        old,
        Some(Prepare::Open(|s| s.open_measures(730))),
    ));
    out.push((
        "roster files".to_owned(),
        PageId::Skaters,
        full.clone(),
        Some(Prepare::Open(|s| s.open_roster_files())),
    ));
    out.push(("lock".to_owned(), PageId::Now, locked, None));
    out
}

fn every_page(mut look: impl FnMut(&str, &mut Coach, f32)) {
    for language in Language::ALL {
        for (size, inches) in SIZES {
            for (name, page, view, step) in pages() {
                let mm = size.length() / (inches * 25.4);
                let mut coach = Coach::on(page, view, setup(language), size, mm);
                if let Some(step) = step {
                    step.on(&mut coach, &PanelWords::built_in(language));
                }
                let name = format!("{name}, {}, {} x {}", language.code(), size.x, size.y);
                look(&name, &mut coach, mm);
            }
        }
    }
}

/// Which roles are pressed, dragged or written into.
fn is_for_fingers(role: Role) -> bool {
    matches!(
        role,
        Role::Button
            | Role::CheckBox
            | Role::RadioButton
            | Role::Tab
            | Role::Slider
            | Role::TextInput
            | Role::MultilineTextInput
            | Role::PasswordInput
            | Role::ScrollBar
            | Role::Link
            | Role::ComboBox
            | Role::SpinButton
    )
}

#[test]
fn everything_to_press_is_large_enough_and_has_a_name_of_its_own() {
    every_page(|name, coach, mm| {
        let least = TARGET_MM * mm;
        let screen = coach.h.ctx.content_rect();
        let is_bar = |n: &egui_kittest::Node<'_>| n.accesskit_node().role() == Role::ScrollBar;
        let bar = coach.h.root().children_recursive().find(is_bar);
        let bar = bar.map_or(Rect::NOTHING, |bar| bar.rect());
        let mut names: Vec<String> = vec![];
        let mut count = 0;
        for node in coach.h.root().children_recursive() {
            let inner = node.accesskit_node();
            if !is_for_fingers(inner.role()) {
                continue;
            }
            count += 1;
            let rect = node.rect();
            let label = inner.label().unwrap_or_default();
            assert!(
                rect.width() >= least && rect.height() >= least,
                "{name}: '{label}' is {rect:?}, less than {least}"
            );
            // What stands beside the bar ends before it.
            let beside = rect.top() < bar.bottom() && rect.bottom() > bar.top();
            let right = if beside { bar.left() } else { screen.right() };
            assert!(
                inner.role() == Role::ScrollBar
                    || screen.left() <= rect.left() && rect.right() <= right + 0.5,
                "{name}: '{label}' at {rect:?} goes beyond {right}"
            );
            assert!(
                !label.trim().is_empty(),
                "{name}: a {:?} without a name",
                inner.role()
            );
            assert!(
                !names.contains(&label),
                "{name}: two things are called '{label}'"
            );
            names.push(label);
        }
        assert!(count >= 8, "{name}: only {count} things were found");
    });
}

/// All text that is painted, with what is painted under its middle.
fn texts(shapes: &[ClippedShape]) -> Vec<(TextShape, Rect, Color32)> {
    let mut fills: Vec<(Rect, Color32)> = vec![];
    let mut out = vec![];
    for clipped in shapes {
        let mut walk = vec![&clipped.shape];
        while let Some(shape) = walk.pop() {
            match shape {
                Shape::Vec(inner) => walk.extend(inner.iter().rev()),
                Shape::Rect(rect) if rect.fill.a() == 255 && rect.fill != Color32::WHITE => {
                    fills.push((rect.rect.intersect(clipped.clip_rect), rect.fill));
                }
                // White is a fill too, but for pictures, which are drawn white.
                Shape::Rect(rect) if rect.fill == Color32::WHITE && rect.brush.is_none() => {
                    fills.push((rect.rect.intersect(clipped.clip_rect), rect.fill));
                }
                Shape::Circle(disc) if disc.fill.a() == 255 => {
                    let side = Vec2::splat(2.0 * disc.radius);
                    let disc_rect = Rect::from_center_size(disc.center, side);
                    fills.push((disc_rect.intersect(clipped.clip_rect), disc.fill));
                }
                Shape::Text(text) => {
                    let place = text.visual_bounding_rect();
                    let seen = place.intersect(clipped.clip_rect);
                    if text.galley.text().trim().is_empty() || !seen.is_positive() {
                        continue;
                    }
                    // What stands half below the fold is looked at where it is seen.
                    let under = fills.iter().rev().find(|(r, _)| r.contains(seen.center()));
                    let under = under.map_or(Color32::BLACK, |(_, c)| *c);
                    out.push((text.clone(), clipped.clip_rect, under));
                }
                _ => {}
            }
        }
    }
    out
}

#[test]
fn every_text_is_tall_dark_and_whole() {
    every_page(|name, coach, mm| {
        let size = coach.h.ctx.content_rect().size();
        // A small screen is held near: less height is the same to the eye.
        // Names under the signs of pages may be smaller still.
        let least = if size.min_elem() < 170.0 * mm || size.x < size.y {
            LEAST_MM
        } else {
            // A word that does not fit is set smaller, never broken.
            0.65 * CAPITAL_MM
        };
        let texts = texts(&coach.h.output().shapes);
        assert!(texts.len() > 8, "{name}");
        for (text, clip, under) in texts {
            let words = text.galley.text().to_owned();
            for section in &text.galley.job.sections {
                let capital_mm = section.format.font_id.size * CAP_SHARE / mm;
                assert!(
                    capital_mm >= least - 0.01,
                    "{name}: '{words}' {capital_mm} mm"
                );
                let colour = text
                    .override_text_color
                    .or(Some(section.format.color).filter(|c| *c != Color32::PLACEHOLDER))
                    .unwrap_or(text.fallback_color);
                let contrast = contrast_ratio(colour, under);
                assert!(
                    contrast >= CONTRAST,
                    "{name}: '{words}' {colour:?} on {under:?}: {contrast}"
                );
            }
            // Cut at a side: what is above or below can be scrolled to.
            let place = text.visual_bounding_rect();
            assert!(
                place.left() >= clip.left() - 1.0 && place.right() <= clip.right() + 1.0,
                "{name}: '{words}' is cut: {place:?} in {clip:?}"
            );
            assert!(!breaks_a_word(&text), "{name}: '{words}' breaks a word");
        }
    });
}

/// Somebody comes into the lane while a finger is on its way to a key: the key stays there.
#[test]
fn nothing_slides_away_when_somebody_comes_into_the_lane() {
    for language in Language::ALL {
        for (size, inches) in SIZES {
            let mm = size.length() / (inches * 25.4);
            let words = PanelWords::built_in(language);
            let mut coach = Coach::on(PageId::Now, rich(), setup(language), size, mm);
            let places = |coach: &Coach| {
                let keys = ["now.more", "now.skip", "now.unknown", "now.wrong"];
                keys.map(|key| coach.thing(words.get(key)).rect())
            };
            let before = places(&coach);
            coach.change(|v| {
                v.live.somebody_passing = true;
                v.live.in_lane = vec![v.queue.current];
            });
            assert_eq!(places(&coach), before, "{} {size:?}", language.code());
            coach.change(|v| v.live.in_lane.push(None));
            assert_eq!(places(&coach), before, "{} {size:?}", language.code());
        }
    }
}

/// While a limit is moved, what it would do is on the screen together with the slider, and the
/// slider stays under the finger.
#[test]
fn the_effect_of_a_limit_is_seen_while_it_is_moved() {
    for language in Language::ALL {
        let words = PanelWords::built_in(language);
        let slider = words.get("limits.at_most");
        let less = format!("{slider}: {}", words.get("number.less"));
        for (size, inches) in SIZES {
            let name = format!("{} {size:?}", language.code());
            let mm = size.length() / (inches * 25.4);
            let mut coach = Coach::on(PageId::Limits, rich(), setup(language), size, mm);
            let before = coach.thing(slider).rect();
            let given = coach.gives(&less);
            let [Command::PreviewLimits(edit)] = &given[..] else {
                panic!("{name}: {given:?}");
            };
            let effect = kickplate::panel::Effect {
                edit: edit.clone(),
                pushes: 300,
                flagged: 127,
                flagged_now: 116,
            };
            coach.change(|v| v.effect = Some(effect));
            assert_eq!(coach.thing(slider).rect(), before, "{name}");
            let screen = coach.h.ctx.content_rect();
            assert!(screen.contains_rect(before), "{name}: {before:?}");
            let texts = texts(&coach.h.output().shapes);
            let whole = texts.iter().any(|(text, clip, _)| {
                let place = text.visual_bounding_rect();
                text.galley.text().contains("127") && screen.intersect(*clip).contains_rect(place)
            });
            assert!(whole, "{name}: the effect is out of sight");
        }
    }
}

/// What a page is for is never below its foot: every main key is seen whole
/// without scrolling, in every size and language.
#[test]
fn nothing_main_is_below_the_fold() {
    let mut seen = 0;
    every_page(|name, coach, _| {
        let screen = coach.h.ctx.content_rect();
        for (key, rect) in kickplate::panel::main_keys(&coach.h.ctx) {
            seen += 1;
            assert!(screen.contains_rect(rect), "{name}: '{key}' at {rect:?}");
        }
    });
    assert!(seen > 150, "{seen}");
}

/// Whether a row ends in the middle of a word.
fn breaks_a_word(text: &TextShape) -> bool {
    let rows = &text.galley.rows;
    rows.windows(2).any(|pair| {
        let last = pair[0].row.glyphs.last().map(|g| g.chr);
        let first = pair[1].row.glyphs.first().map(|g| g.chr);
        let is_letter = |c: Option<char>| c.is_some_and(char::is_alphanumeric);
        is_letter(last) && is_letter(first)
    })
}

/// Nothing moves by itself: a page that is not touched asks for no frame.
#[test]
fn nothing_blinks() {
    for (name, page, view, step) in pages() {
        let mut coach = Coach::with(page, view, setup(Language::En), SIZES[2].0);
        if let Some(step) = step {
            step.on(&mut coach, &PanelWords::built_in(Language::En));
        }
        coach.h.run();
        coach.h.step();
        let output = &coach.h.output().viewport_output;
        for viewport in output.values() {
            assert!(viewport.repaint_delay.as_secs() > 3600, "{name}");
        }
    }
}

/// Version 1 of the table OS/2 and later has the height of capitals at byte
/// 88 and head has the units of an em at byte 18 (OpenType specification).
#[test]
fn the_font_is_as_it_is_taken_to_be() {
    let font = include_bytes!(
        "../../../crates/interface/src/display/fonts/BarlowSemiCondensed-SemiBold.ttf"
    );
    let u16_at = |at: usize| u16::from_be_bytes([font[at], font[at + 1]]);
    let u32_at = |at: usize| u32::from_be_bytes(font[at..at + 4].try_into().unwrap()) as usize;
    let table = |tag: &[u8; 4]| {
        (0..u16_at(4) as usize)
            .map(|i| 12 + 16 * i)
            .find(|at| &font[*at..*at + 4] == tag)
            .map(|at| u32_at(at + 8))
            .unwrap()
    };
    let capital = f32::from(u16_at(table(b"OS/2") + 88));
    let em = f32::from(u16_at(table(b"head") + 18));
    assert!(
        (capital / em - CAP_SHARE).abs() < 0.005,
        "{capital} of {em}"
    );
}
