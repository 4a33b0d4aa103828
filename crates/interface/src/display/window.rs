//! The window of the big screen.
//!
//! The thread that judges never waits for the window: it puts the newest
//! model into a slot and wakes the window, which draws what it finds there.
//! Between two models nothing is drawn at all.

use std::convert::Infallible;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

use eframe::{NativeOptions, Renderer};
use egui::{Key, TextureHandle, TextureOptions, ViewportBuilder, ViewportCommand};

use super::appearance::ShowMeKey;
use super::dwell::Dwell;
use super::leave::{Keys, Leaving, Wanted};
use super::lost::when_lost;
use super::model::{PictureView, PreviewImage, Screen, ScreenModel};
use super::motion;
use super::screen_handle::{ScreenHandle, Shared, lock, same_picture};
use super::side::{Monitors, Side, SideWindow};
use super::still::FONT_TEXTURE_SIDE;
use super::theme;
use super::ui::big_screen_ui;
use super::words::WINDOW_TITLE;

/// Side of the texture of letters on a screen whose longer side is not more,
/// pixels. It takes 16 MB, and as much in the graphics driver; egui lets it
/// fill up with every size of letter that was ever shown before it begins
/// anew.
const SMALL_FONT_TEXTURE_SIDE: usize = 2048;
/// How often the monitor of the settings is looked for.
const LOOK_FOR_MONITOR_EVERY: Duration = Duration::from_secs(2);

/// How the window opens.
#[derive(Debug, Clone, PartialEq)]
pub struct WindowOptions {
    /// Without frame, over the whole monitor.
    pub fullscreen: bool,
    /// Name of the monitor, as the log names them; the window system's choice
    /// when `None` or while there is no such monitor. Only for full screen.
    pub monitor: Option<String>,
    /// The key that asks for a replay, beside those of presenters.
    pub show_me: ShowMeKey,
    /// Width and height in points when not full screen.
    pub size: (f32, f32),
    /// What is shown beside it.
    pub side: Option<SideWindow>,
}

impl Default for WindowOptions {
    fn default() -> Self {
        WindowOptions {
            fullscreen: true,
            monitor: None,
            show_me: ShowMeKey::default(),
            size: (1280.0, 720.0),
            side: None,
        }
    }
}

/// Why there is no window.
#[derive(Debug, thiserror::Error)]
pub enum DisplayError {
    /// Neither X11 nor Wayland is there.
    #[error(
        "No display to open the big screen on (neither DISPLAY nor WAYLAND_DISPLAY is set); start the station from a desktop session, or without a window"
    )]
    NoDisplay,
    /// The window system does not answer.
    #[error(
        "The window system does not answer, so the big screen cannot be opened; check DISPLAY or WAYLAND_DISPLAY and that this user may use that session"
    )]
    NoWindowSystem,
    /// OpenGL or a library of the window system is missing.
    #[error(
        "The big screen cannot be opened ({0}); check that OpenGL 2.1 or newer (libegl1) and libxkbcommon-x11 are installed"
    )]
    Open(String),
}

/// Whether two screens are the same card: its figure then goes on where it is.
fn same_card(a: &Screen, b: &Screen) -> bool {
    std::mem::discriminant(a) == std::mem::discriminant(b) && a.pass_number() == b.pass_number()
}

/// Opens the window and runs it until it is closed: by Esc or Q pressed twice or held, by the
/// window system, or through [`ScreenHandle::close`]. Must be called in the
/// main thread, once. `on_quit` is called when the window goes away, before
/// this returns; not when it never opened. `on_lost` is called when the X
/// server goes away under it; it has to end the program at some time, since
/// X11's library cannot be left any more.
pub fn run_big_screen(
    options: &WindowOptions,
    handle: &ScreenHandle,
    on_quit: impl FnOnce() + 'static,
    on_lost: impl Fn() -> Infallible + Send + Sync + 'static,
) -> Result<(), DisplayError> {
    let named = |name| std::env::var_os(name).is_some_and(|v| !v.is_empty());
    if cfg!(target_os = "linux") && !named("DISPLAY") && !named("WAYLAND_DISPLAY") {
        return Err(DisplayError::NoDisplay);
    }
    let viewport = ViewportBuilder::default()
        .with_title(WINDOW_TITLE)
        .with_inner_size([options.size.0, options.size.1])
        .with_fullscreen(options.fullscreen);
    let native = NativeOptions {
        viewport,
        // The lightest of eframe's renderers without a graphics card.
        renderer: Renderer::Glow,
        // Flat colours stay flat, so that a screenshot shows what was meant.
        dithering: false,
        ..Default::default()
    };
    when_lost(on_lost);
    let shared = Arc::clone(&handle.0);
    let wanted = options.clone();
    // Missing system libraries make the window libraries panic, not fail.
    let ran = catch_unwind(AssertUnwindSafe(|| {
        eframe::run_native(
            WINDOW_TITLE,
            native,
            Box::new(move |creation| {
                Ok(Box::new(App::new(
                    creation,
                    shared,
                    wanted,
                    Box::new(on_quit),
                )))
            }),
        )
    }));
    match ran {
        Ok(Ok(())) => Ok(()),
        Ok(Err(error @ (eframe::Error::Winit(_) | eframe::Error::WinitEventLoop(_)))) => {
            tracing::debug!("no window: {error}");
            Err(DisplayError::NoWindowSystem)
        }
        Ok(Err(error)) => Err(DisplayError::Open(error.to_string())),
        Err(panic) => Err(DisplayError::Open(
            panic
                .downcast_ref::<String>()
                .map(String::as_str)
                .or_else(|| panic.downcast_ref::<&str>().copied())
                .unwrap_or("the window library gave up")
                .to_owned(),
        )),
    }
}

/// The keys that ask for a replay; presenters send the last two.
fn show_me_keys(key: ShowMeKey) -> [Key; 3] {
    let chosen = match key {
        ShowMeKey::Space => Key::Space,
        ShowMeKey::Enter => Key::Enter,
        ShowMeKey::R => Key::R,
        ShowMeKey::F5 => Key::F5,
    };
    [chosen, Key::PageDown, Key::B]
}

/// What is said where there is no panel and so no words of it.
const LEAVE_WORDS: &str = "Press again to end the station";

fn leaving_keys(ctx: &egui::Context) -> Keys {
    ctx.input(|i| {
        let mut keys = Keys {
            down: i.key_down(Key::Escape) || i.key_down(Key::Q),
            ..Keys::default()
        };
        for event in &i.events {
            if let egui::Event::Key {
                key,
                pressed: true,
                repeat: false,
                ..
            } = event
            {
                match key {
                    Key::Escape | Key::Q => keys.pressed = true,
                    _ => keys.other = true,
                }
            }
        }
        keys
    })
}

/// A line at the foot of the big screen.
fn say_leaving(ui: &egui::Ui, words: &str) {
    let room = ui.max_rect();
    let size = room.height() * 0.04;
    let font = egui::FontId::new(size, theme::font_family());
    let galley = ui.painter().layout(
        words.to_owned(),
        font,
        egui::Color32::WHITE,
        room.width() * 0.9,
    );
    let ground = egui::Rect::from_center_size(
        egui::pos2(room.center().x, room.bottom() - size * 2.0),
        galley.size() + egui::vec2(size, size * 0.6),
    );
    ui.painter().rect_filled(
        ground,
        size * 0.3,
        egui::Color32::from_rgb(0x04, 0x18, 0x1D),
    );
    ui.painter().galley(
        ground.center() - galley.size() / 2.0,
        galley,
        egui::Color32::WHITE,
    );
}

struct App {
    shared: Arc<Shared>,
    options: WindowOptions,
    /// When the monitors were looked at last.
    monitors_at: Option<Instant>,
    on_quit: Option<Box<dyn FnOnce()>>,
    /// What is on the screen.
    model: ScreenModel,
    /// Since when its card is up.
    shown_at: Instant,
    picture: Option<Arc<PreviewImage>>,
    texture: Option<TextureHandle>,
    dwell: Dwell,
    side: Option<Side>,
    leaving: Leaving,
    /// Whether it is to be said that a second press ends the station.
    leaving_asked: bool,
    opened: Instant,
    /// An answer that was drawn in the last frame and whose moment is taken
    /// at the next one, after the buffers were swapped.
    drawn: Option<u32>,
    /// Side of the texture of letters, pixels. Only grows: another side means
    /// that all letters are drawn anew.
    font_side: usize,
}

impl App {
    fn new(
        creation: &eframe::CreationContext<'_>,
        shared: Arc<Shared>,
        options: WindowOptions,
        on_quit: Box<dyn FnOnce()>,
    ) -> Self {
        theme::install_fonts(&creation.egui_ctx);
        let (model, picture) = lock(&shared.newest).clone();
        // Cannot be set twice: the window opens once.
        let _ = shared.context.set(creation.egui_ctx.clone());
        tracing::info!("the big screen is open");
        App {
            shared,
            side: options.side.clone().map(Side::new),
            options,
            leaving: Leaving::default(),
            leaving_asked: false,
            opened: Instant::now(),
            monitors_at: None,
            on_quit: Some(on_quit),
            model,
            shown_at: Instant::now(),
            picture: None,
            texture: None,
            dwell: Dwell::default(),
            drawn: None,
            font_side: SMALL_FONT_TEXTURE_SIDE,
        }
        .with_picture(&creation.egui_ctx, picture)
    }

    fn with_picture(mut self, ctx: &egui::Context, picture: Option<Arc<PreviewImage>>) -> Self {
        self.take_picture(ctx, picture);
        self
    }

    /// Loads the picture into the one texture there is, made once.
    fn take_picture(&mut self, ctx: &egui::Context, picture: Option<Arc<PreviewImage>>) {
        if same_picture(&self.picture, &picture) {
            return;
        }
        if let Some(picture) = &picture {
            let image = picture.to_color_image();
            match &mut self.texture {
                Some(texture) => texture.set(image, TextureOptions::LINEAR),
                None => {
                    self.texture = Some(ctx.load_texture("picture", image, TextureOptions::LINEAR));
                }
            }
        }
        self.picture = picture;
    }

    /// Goes to the monitor of the settings, also when that is plugged in
    /// again; until then the window stays where the window system put it.
    fn find_monitor(&mut self, ctx: &egui::Context, frame: &eframe::Frame) {
        let Some(window) = frame.winit_window() else {
            return;
        };
        let first = self.monitors_at.is_none();
        let due = self
            .monitors_at
            .is_none_or(|at| at.elapsed() >= LOOK_FOR_MONITOR_EVERY);
        let wanted = match &self.options.monitor {
            Some(name) if self.options.fullscreen => Some(name),
            _ => None,
        };
        if !due || (!first && wanted.is_none()) {
            return;
        }
        self.monitors_at = Some(Instant::now());
        let names: Vec<Option<String>> = window.available_monitors().map(|m| m.name()).collect();
        if first {
            let known: Vec<&str> = names.iter().flatten().map(String::as_str).collect();
            tracing::info!("monitors: {}", known.join(", "));
        }
        let Some(wanted) = wanted else { return };
        ctx.request_repaint_after(LOOK_FOR_MONITOR_EVERY);
        let current = window.current_monitor().and_then(|m| m.name());
        match names.iter().position(|n| n.as_ref() == Some(wanted)) {
            Some(index) if current.as_ref() != Some(wanted) => {
                tracing::info!("the big screen goes to the monitor '{wanted}'");
                ctx.send_viewport_cmd(ViewportCommand::SetMonitor(index));
            }
            Some(_) => {}
            None if first => tracing::warn!(
                "there is no monitor '{wanted}'; another one is taken until it is there"
            ),
            None => {}
        }
    }

    fn take_newest(&mut self, ctx: &egui::Context) {
        let (model, picture) = lock(&self.shared.newest).clone();
        match self
            .dwell
            .may_change(&self.model.screen, &model.screen, Instant::now())
        {
            Ok(()) => {
                let same = same_card(&self.model.screen, &model.screen);
                if !same {
                    self.shown_at = Instant::now();
                }
                self.model = model;
                self.take_picture(ctx, picture);
            }
            Err(wait) => ctx.request_repaint_after(wait),
        }
    }
}

impl eframe::App for App {
    fn logic(&mut self, ctx: &egui::Context, frame: &mut eframe::Frame) {
        self.find_monitor(ctx, frame);
        if let Some(side) = &mut self.side {
            side.keep(ctx, || Monitors::of(frame), self.options.fullscreen);
        }
        // Over the big screen the keys are those of what lies there.
        let covered = self.side.as_ref().is_some_and(Side::is_over);
        let asked = show_me_keys(self.options.show_me);
        if !covered && ctx.input(|i| asked.iter().any(|key| i.key_pressed(*key))) {
            self.shared.show_me.store(true, Ordering::Release);
        }
        if let Some(pass_number) = self.drawn.take() {
            *lock(&self.shared.painted) = Some((pass_number, Instant::now()));
            let due = lock(&self.shared.after_painting).take_if(|(n, _)| *n == pass_number);
            if let Some((_, then)) = due {
                then();
            }
        }
        let keys = if covered {
            Keys::default()
        } else {
            leaving_keys(ctx)
        };
        self.leaving_asked = false;
        match self.leaving.look(keys, self.opened.elapsed().as_secs_f64()) {
            Wanted::Leave => ctx.send_viewport_cmd(ViewportCommand::Close),
            Wanted::Ask => {
                self.leaving_asked = true;
                ctx.request_repaint_after(Duration::from_millis(100));
            }
            Wanted::Stay => {}
        }
        if self.shared.closing.load(Ordering::Acquire) {
            ctx.send_viewport_cmd(ViewportCommand::Close);
        }
    }

    fn ui(&mut self, ui: &mut egui::Ui, _frame: &mut eframe::Frame) {
        self.take_newest(ui.ctx());
        if let Some(side) = self.side.as_ref().filter(|s| s.is_over()) {
            side.draw_over(ui);
            return;
        }
        let view = match (&self.picture, &self.texture) {
            (Some(_), Some(texture)) => Some(PictureView {
                texture: texture.id(),
                size: texture.size_vec2(),
            }),
            _ => None,
        };
        let times = motion::times(&self.model.screen);
        let since_s = self.shown_at.elapsed().as_secs_f32();
        self.model.since_s = Some(since_s);
        self.model.status.panel_closed = self.side.as_ref().is_some_and(Side::is_closed);
        big_screen_ui(ui, &self.model, view);
        // Frames are asked for while the figure moves, one when it starts again,
        // and none once it rests.
        if motion::is_moving(times, since_s) {
            ui.ctx().request_repaint();
        } else if let Some(wait_s) = motion::next_move_s(times, since_s) {
            ui.ctx()
                .request_repaint_after(Duration::from_secs_f32(wait_s));
        }
        ui.ctx().set_cursor_icon(egui::CursorIcon::None);
        if let Some(side) = self.side.as_mut() {
            side.handle(ui);
        }
        if self.leaving_asked {
            let words = self.side.as_ref().map(Side::leave_words);
            say_leaving(ui, words.unwrap_or(LEAVE_WORDS));
        }

        let answer = self.model.screen.pass_number();
        let noted = lock(&self.shared.painted).map(|(pass_number, _)| pass_number);
        if answer.is_some() && answer != noted {
            self.drawn = answer;
            // One more frame, only to see that this one was swapped.
            ui.ctx().request_repaint();
        }
    }

    fn raw_input_hook(&mut self, ctx: &egui::Context, input: &mut egui::RawInput) {
        let seen = input.viewport().native_pixels_per_point.unwrap_or(1.0) * ctx.zoom_factor();
        let longer = input.screen_rect.map_or(0.0, |r| r.width().max(r.height()));
        if longer * seen > SMALL_FONT_TEXTURE_SIDE as f32 {
            self.font_side = FONT_TEXTURE_SIDE;
        }
        // As wide as the graphics card allows it would cost hundreds of
        // megabytes.
        let most = input.max_texture_side.unwrap_or(FONT_TEXTURE_SIDE);
        input.max_texture_side = Some(most.min(self.font_side));
    }

    fn on_exit(&mut self, _gl: Option<&eframe::glow::Context>) {
        if let Some(on_quit) = self.on_quit.take() {
            on_quit();
        }
    }
}
