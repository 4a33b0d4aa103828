//! A coach's hand at the panel, in one of three ways: a mouse, the keyboard alone, or a finger
//! in a glove. What it presses goes to the station, and the panel shows what came of it.

#[path = "keyboard.rs"]
mod keyboard;

use std::cell::RefCell;
use std::path::PathBuf;
use std::rc::Rc;
use std::sync::Arc;
use std::time::{Duration, Instant};

use egui::accesskit::Role;
use egui::{Event, Key, Modifiers, PointerButton, Pos2, Rect, TouchPhase, Vec2, pos2, vec2};
use egui_kittest::kittest::{By, NodeT, Queryable};
use egui_kittest::{Harness, Node, TestRenderer};
use kickplate::display::{FramePainter, install_fonts};
use kickplate::panel::{Command, PageId, PanelSetup, PanelState, PanelWords, panel_ui};
use kickplate::station::coach_service::CoachService;

const STEP_S: f32 = 0.05;
const PATIENCE: Duration = Duration::from_secs(60);
/// What a glove slips while it presses, of the 12.5 mm of a key: a bit less than half.
const SLIP_MM: f32 = 5.5;
/// Every so many presses a finger rests: that many frames, 2 seconds.
const RESTS_EVERY: u32 = 7;
const REST_STEPS: u32 = 40;

/// How the panel is pressed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    Mouse,
    Keyboard,
    Touch,
}

/// What the hand did.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Counted {
    /// Things pressed.
    pub presses: u32,
    /// Keys of the keyboard for that, Tab and arrows too, letters not.
    pub keys: u32,
    /// Points dragged to their place.
    pub drags: u32,
    /// Times the page was moved to see more of it.
    pub scrolls: u32,
    /// Letters written.
    pub letters: u32,
}

/// A screen, pixels and inches.
#[derive(Debug, Clone, Copy)]
pub struct Glass {
    pub size: [u32; 2],
    pub diagonal_in: f32,
}

struct Front {
    state: PanelState,
    desk: CoachService,
    out: Vec<Command>,
}

/// Keeps the textures, so that any frame can be drawn.
struct Easel(Rc<RefCell<FramePainter>>);

impl TestRenderer for Easel {
    fn handle_delta(&mut self, delta: &mut egui::TexturesDelta) {
        self.0.borrow_mut().take(delta);
    }
}

pub struct Hand {
    h: Harness<'static, Front>,
    pub way: Way,
    pub counted: Counted,
    pub words: Arc<PanelWords>,
    glass: Glass,
    mm: f32,
    painter: Rc<RefCell<FramePainter>>,
    /// Where pictures go, where any are made, and how many there are.
    film: Option<PathBuf>,
    pictures: u32,
}

impl Hand {
    pub fn new(
        way: Way,
        glass: Glass,
        desk: CoachService,
        setup: PanelSetup,
        film: Option<PathBuf>,
    ) -> Self {
        let size = Vec2::from(glass.size.map(|v| v as f32));
        let mm = size.length() / (glass.diagonal_in * 25.4);
        let words = Arc::clone(&setup.words);
        let front = Front {
            state: PanelState::new(setup, jiff::Zoned::now().date(), mm),
            desk,
            out: vec![],
        };
        let painter = Rc::new(RefCell::new(FramePainter::default()));
        let h = Harness::builder()
            .with_size(size)
            .with_step_dt(STEP_S)
            .with_context_setup(install_fonts)
            .renderer(Easel(Rc::clone(&painter)))
            .build_ui_state(
                |ui, f: &mut Front| {
                    let view = f.desk.view();
                    panel_ui(ui, &mut f.state, &view, &mut f.out);
                },
                front,
            );
        let mut hand = Hand {
            h,
            way,
            counted: Counted::default(),
            words,
            glass,
            mm,
            painter,
            film,
            pictures: 0,
        };
        hand.settle();
        hand
    }

    /// The words of that key in the language of the panel.
    pub fn word(&self, key: &str) -> String {
        self.words.get(key).to_owned()
    }

    /// Lets the panel come to rest, and the station do what it was asked for.
    pub fn settle(&mut self) {
        for _ in 0..50 {
            let _ = self.h.run_ok();
            let out = std::mem::take(&mut self.h.state_mut().out);
            if out.is_empty() {
                return;
            }
            for command in out {
                self.ask(command);
            }
        }
        panic!("the panel asks for ever more");
    }

    fn answers(&self) -> u64 {
        let view = self.h.state().desk.view();
        view.answer.as_ref().map_or(0, |a| a.number)
    }

    fn ask(&mut self, command: Command) {
        let (before, what) = (self.answers(), format!("{command:?}"));
        self.h.state().desk.send(command);
        let start = Instant::now();
        while self.answers() <= before {
            assert!(start.elapsed() < PATIENCE, "never answered: {what}");
            std::thread::sleep(Duration::from_millis(1));
        }
    }

    pub fn page(&self) -> PageId {
        self.h.state().state.page
    }

    /// Whether these words stand somewhere on the panel.
    pub fn shows(&self, words: &str) -> bool {
        self.h.query_all_by_label_contains(words).next().is_some()
    }

    /// The thing whose whole name this is; else the first whose name begins so.
    fn find<'n>(&'n self, name: &'n str) -> Option<Node<'n>> {
        let can = |n: &Node<'_>| {
            !matches!(n.accesskit_node().role(), Role::Label | Role::Image)
                && !n.accesskit_node().is_disabled()
        };
        let begins = |n: &Node<'_>| {
            n.accesskit_node()
                .label()
                .is_some_and(|l| l.starts_with(name))
        };
        let whole = self.h.query_all_by_label(name).find(can);
        whole.or_else(|| {
            let all = self.h.query_all_by_label_contains(name);
            all.filter(can).find(begins)
        })
    }

    fn thing<'n>(&'n self, name: &'n str) -> Node<'n> {
        self.find(name)
            .unwrap_or_else(|| panic!("nothing to press is called '{name}'"))
    }

    /// Presses the thing that carries the words of this key.
    pub fn press(&mut self, key: &str) {
        let name = self.word(key);
        self.press_named(&name);
    }

    /// Presses the thing of that name.
    pub fn press_named(&mut self, name: &str) {
        self.counted.presses += 1;
        match self.way {
            Way::Keyboard => {
                self.walk_to(name);
                self.key(Key::Enter, Modifiers::NONE);
            }
            Way::Mouse => {
                self.bring(name);
                let at = self.thing(name).rect().center();
                self.pointer(&[Event::PointerMoved(at), button(at, true)]);
                self.pointer(&[button(at, false)]);
            }
            Way::Touch => {
                self.bring(name);
                let at = self.thing(name).rect().center();
                self.tap(at);
            }
        }
        self.settle();
    }

    /// Opens a page: by its digit where there is only a keyboard.
    pub fn open(&mut self, page: PageId) {
        if self.way != Way::Keyboard {
            return self.press(page.words_key());
        }
        // While somebody writes a digit is a digit.
        if self.writing() {
            self.key(Key::Escape, Modifiers::NONE);
        }
        let digit = (1 + page as usize).to_string();
        self.counted.presses += 1;
        self.key(Key::from_name(&digit).unwrap(), Modifiers::NONE);
        assert_eq!(self.page(), page);
    }

    /// Writes into a field what then stands in it alone.
    pub fn write(&mut self, key: &str, text: &str) {
        let name = self.word(key);
        match self.way {
            Way::Keyboard => self.walk_to(&name),
            Way::Mouse | Way::Touch => self.press_named(&name),
        }
        assert!(self.writing(), "'{name}' takes no letters");
        self.key(Key::A, Modifiers::COMMAND);
        self.h.event(Event::Text(text.to_owned()));
        self.counted.letters += text.chars().count() as u32;
        self.settle();
    }

    fn writing(&self) -> bool {
        let focused =
            |n: &Node<'_>| n.is_focused() && matches!(n.accesskit_node().role(), Role::TextInput);
        self.h.query_all(By::new()).any(|n| focused(&n))
    }

    /// Moves a point of the picture by so many pixels of the frame.
    pub fn drag(&mut self, key: &str, by_px: [f64; 2], frame_px: [u32; 2]) {
        let name = self.word(key);
        self.counted.drags += 1;
        if self.way == Way::Keyboard {
            self.walk_to(&name);
            for (by, back, on) in [
                (by_px[0], Key::ArrowLeft, Key::ArrowRight),
                (by_px[1], Key::ArrowUp, Key::ArrowDown),
            ] {
                let key = if by < 0.0 { back } else { on };
                let steps = by.abs().round() as u32;
                for _ in 0..steps / 10 {
                    self.key(key, Modifiers::SHIFT);
                }
                for _ in 0..steps % 10 {
                    self.key(key, Modifiers::NONE);
                }
            }
            return;
        }
        self.bring(&name);
        let picture = self.word("now.picture");
        let picture = self.h.get_all_by_label(&picture).next().unwrap().rect();
        let scale = f64::from(picture.width()) / f64::from(frame_px[0]);
        let by = Vec2::from(by_px.map(|v| (v * scale) as f32));
        let from = self.thing(&name).rect().center();
        self.finger(TouchPhase::Start, from);
        for share in [0.5, 1.0] {
            self.finger(TouchPhase::Move, from + by * share);
        }
        self.finger(TouchPhase::End, from + by);
        self.settle();
    }

    /// A mouse or a finger, as the window tells of them.
    fn finger(&mut self, phase: TouchPhase, at: Pos2) {
        let mut events = vec![];
        if self.way == Way::Touch {
            events.push(Event::Touch {
                device_id: egui::TouchDeviceId(0),
                id: egui::TouchId(0),
                phase,
                pos: at,
                force: None,
            });
        }
        match phase {
            TouchPhase::Start => events.extend([Event::PointerMoved(at), button(at, true)]),
            TouchPhase::Move => events.push(Event::PointerMoved(at)),
            TouchPhase::End | TouchPhase::Cancel => {
                events.push(button(at, false));
                if self.way == Way::Touch {
                    events.push(Event::PointerGone);
                }
            }
        }
        self.pointer(&events);
    }

    /// A glove: it slips by nearly half a key, and now and then it rests.
    fn tap(&mut self, at: Pos2) {
        self.finger(TouchPhase::Start, at);
        if self.counted.presses.is_multiple_of(RESTS_EVERY) {
            for _ in 0..REST_STEPS {
                self.h.step();
            }
        }
        let slipped = at + vec2(0.0, SLIP_MM * self.mm);
        self.finger(TouchPhase::Move, slipped);
        self.finger(TouchPhase::End, slipped);
    }

    fn pointer(&mut self, events: &[Event]) {
        for event in events {
            self.h.event(event.clone());
        }
        self.h.step();
    }

    fn key(&mut self, key: Key, with: Modifiers) {
        self.counted.keys += 1;
        self.h.key_press_modifiers(with, key);
        self.settle();
    }

    /// Moves the page until the thing of that name can be pressed. A page that does not move
    /// shows what it has.
    fn bring(&mut self, name: &str) {
        let [wide, high] = self.glass.size.map(|v| v as f32);
        let upright = high > wide;
        let foot = if upright { 50.0 } else { 14.0 } * self.mm;
        for _ in 0..30 {
            let place = self.thing(name).rect();
            let room = 1.0..=high - foot;
            let by = if place.top() < *room.start() {
                place.top() - 0.1 * high
            } else if place.bottom() > *room.end() && place.top() < high {
                place.bottom() - *room.end()
            } else if place.top() >= high {
                0.4 * high
            } else {
                return;
            };
            // What moves less than a finger slips is a press.
            let least = 3.0 * SLIP_MM * self.mm;
            self.scroll(by.signum() * by.abs().clamp(least, 0.4 * high));
            if (self.thing(name).rect().top() - place.top()).abs() < 0.5 {
                return;
            }
        }
    }

    fn scroll(&mut self, by: f32) {
        let [wide, high] = self.glass.size.map(|v| v as f32);
        self.counted.scrolls += 1;
        if self.way == Way::Mouse {
            let at = pos2(0.5 * wide, 0.5 * high);
            self.pointer(&[
                Event::PointerMoved(at),
                Event::MouseWheel {
                    unit: egui::MouseWheelUnit::Point,
                    delta: vec2(0.0, -by),
                    phase: TouchPhase::Move,
                    source: egui::MouseWheelSource::Wheel,
                    modifiers: Modifiers::NONE,
                },
            ]);
            for _ in 0..10 {
                self.h.step();
            }
            return self.settle();
        }
        // Where nothing lies that is dragged itself.
        let taken: Vec<Rect> = self
            .h
            .query_all_by(|_| true)
            .filter(|n| matches!(n.accesskit_node().role(), Role::Slider | Role::TextInput))
            .map(|n| n.rect())
            .collect();
        let from_y = if by > 0.0 { 0.7 } else { 0.25 } * high;
        let from = (0..5)
            .flat_map(|row| (0..20).map(move |column| (row as f32, column as f32)))
            .map(|(row, column)| {
                let y = from_y - by.signum() * 0.03 * high * row;
                pos2(wide * (0.3 + 0.03 * column), y)
            })
            .find(|at| {
                let tip = Rect::from_min_max(*at, *at).expand(4.0);
                !taken.iter().any(|t| t.intersects(tip))
            })
            .unwrap();
        self.finger(TouchPhase::Start, from);
        for i in 1..=8 {
            self.finger(TouchPhase::Move, from - vec2(0.0, by * i as f32 / 8.0));
        }
        // Held still, so that the page does not run on.
        for _ in 0..6 {
            self.h.step();
        }
        self.finger(TouchPhase::End, from - vec2(0.0, by));
        self.settle();
    }

    /// A picture of the panel as it stands.
    pub fn picture(&mut self, name: &str) {
        self.settle();
        self.pictures += 1;
        let Some(folder) = &self.film else { return };
        let [wide, high] = self.glass.size;
        let painter = self.painter.borrow();
        let image = painter.paint(&self.h.ctx, self.h.output(), wide, high);
        let file = format!("{:02}-{name}.png", self.pictures);
        image.save(folder.join(file)).unwrap();
    }
}

fn button(at: Pos2, pressed: bool) -> Event {
    Event::PointerButton {
        pos: at,
        button: PointerButton::Primary,
        pressed,
        modifiers: Modifiers::NONE,
    }
}
