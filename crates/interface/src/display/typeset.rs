//! Sets lines by the height of their capitals and writes down where they
//! went.
//!
//! The em size of a font says little about how tall its letters are, so every
//! size here is the height of capitals and every place is that of capitals:
//! a line stands where one sees it stand.

use egui::{Color32, FontId, Pos2, Rect, Sense, Stroke, Ui, WidgetInfo, pos2};

use super::layout::{LayoutReport, PlacedGraphic, PlacedText, Reader};
use super::scale::Scale;
use super::theme;

/// Size at which the font is measured: capitals of this font are then 140
/// points high, a whole number, so that rounding to pixels adds nothing.
const MEASURE_AT: f32 = 200.0;
/// Size at which the width of a line is measured: advances grow with the size
/// exactly, and every letter measured is drawn into the texture, where one of
/// 200 points takes sixteen times the room.
const WIDTH_AT: f32 = 50.0;
/// Letter with a flat top and a flat foot.
const CAPITAL: &str = "H";
/// Drawn apart from the font, whose own sign reaches far above the capitals.
const DEGREE: char = '\u{b0}';

/// How the text is read.
#[derive(Debug, Clone, Copy)]
pub(super) struct Role {
    pub(super) reader: Reader,
    pub(super) least_arcmin: f32,
    /// Set in the face of orders and bibs.
    pub(super) is_order: bool,
}

impl Role {
    pub(super) const ORDER: Role = Role::skater(theme::ORDER_ARCMIN, true);
    pub(super) const BIB: Role = Role::skater(theme::LEAST_ARCMIN, true);
    pub(super) const TITLE: Role = Role::skater(theme::WORD_ARCMIN, true);
    pub(super) const NOTE: Role = Role::skater(theme::LEAST_ARCMIN, false);
    pub(super) const STRIP: Role = Role {
        reader: Reader::Coach,
        least_arcmin: theme::LEAST_ARCMIN,
        is_order: false,
    };

    const fn skater(least_arcmin: f32, is_order: bool) -> Role {
        Role {
            reader: Reader::Skater,
            least_arcmin,
            is_order,
        }
    }

    fn family(self) -> egui::FontFamily {
        if self.is_order {
            theme::order_family()
        } else {
            theme::font_family()
        }
    }
}

/// Which edge or middle of a line stands at the given place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Side {
    Left,
    Middle,
    Right,
}

/// Sets text on one screen.
pub(super) struct Typesetter<'a> {
    ui: &'a Ui,
    pub(super) scale: Scale,
    /// Height of capitals as a share of the em size.
    cap_share: f32,
    report: LayoutReport,
}

impl<'a> Typesetter<'a> {
    pub(super) fn new(ui: &'a Ui, scale: Scale, screen: Rect) -> Self {
        Typesetter {
            ui,
            scale,
            cap_share: cap_share(ui),
            report: LayoutReport::new(screen),
        }
    }

    pub(super) fn painter(&self) -> &egui::Painter {
        self.ui.painter()
    }

    pub(super) fn into_report(self) -> LayoutReport {
        self.report
    }

    /// Least height of capitals for a role, points.
    pub(super) fn least_cap(&self, role: Role) -> f32 {
        self.scale.points(role.least_arcmin, role.reader)
    }

    fn font(&self, cap: f32, role: Role) -> FontId {
        // Rooms of no height still get letters of one point. Capitals have the
        // same share of the em size in both faces.
        FontId::new(cap.max(1.0) / self.cap_share, role.family())
    }

    /// Width of a line, in heights of its capitals.
    pub(super) fn width_in_caps(&self, text: &str) -> f32 {
        self.width_of(text, Role::NOTE)
    }

    /// Width of a line in the face of its role, in heights of its capitals.
    pub(super) fn width_of(&self, text: &str, role: Role) -> f32 {
        let (text, ring) = without_degree(text);
        let font = FontId::new(WIDTH_AT, role.family());
        let galley = self
            .painter()
            .layout_no_wrap(text.to_owned(), font, Color32::WHITE);
        galley.size().x / (WIDTH_AT * self.cap_share) + ring
    }

    /// Sets one line. `at` is a point on its baseline.
    pub(super) fn line(
        &mut self,
        text: &str,
        role: Role,
        cap: f32,
        at: Pos2,
        side: Side,
        (fg, bg): (Color32, Color32),
    ) -> Rect {
        let (letters, ring) = without_degree(text);
        let galley = self
            .painter()
            .layout_no_wrap(letters.to_owned(), self.font(cap, role), fg);
        let letters_width = galley.size().x;
        let width = letters_width + ring * cap;
        let left = match side {
            Side::Left => at.x,
            Side::Middle => at.x - width / 2.0,
            Side::Right => at.x - width,
        };
        let baseline = galley
            .rows
            .first()
            .and_then(|row| row.glyphs.first().map(|g| row.pos.y + g.pos.y))
            .unwrap_or(cap);
        let rect = Rect::from_min_max(pos2(left, at.y - cap), pos2(left + width, at.y));
        self.painter()
            .galley(pos2(left, at.y - baseline), galley, fg);
        if ring > 0.0 {
            let line = theme::DEGREE_LINE * cap;
            // A circle's line lies outside of its radius.
            let radius = theme::DEGREE_RADIUS * cap - line;
            let centre = pos2(
                left + letters_width + (theme::DEGREE_GAP + theme::DEGREE_RADIUS) * cap,
                at.y - cap + theme::DEGREE_RADIUS * cap,
            );
            self.painter()
                .circle_stroke(centre, radius, Stroke::new(line, fg));
        }
        // For screen readers and tests that look for words.
        self.ui
            .interact(
                rect,
                self.ui.scope_id().with(("text", self.report.texts.len())),
                Sense::hover(),
            )
            .widget_info(|| WidgetInfo::labeled(egui::Role::Label, true, text));
        self.report.texts.push(PlacedText {
            text: text.to_owned(),
            reader: role.reader,
            cap_height: cap,
            arcmin: self.scale.arcmin(cap, role.reader),
            least_arcmin: role.least_arcmin,
            fg,
            bg,
            rect,
        });
        rect
    }

    /// Says what a drawing means to a reader of screens.
    pub(super) fn label(&mut self, rect: Rect, words: &str) {
        self.ui
            .interact(
                rect,
                self.ui
                    .scope_id()
                    .with(("sign", self.report.graphics.len())),
                Sense::hover(),
            )
            .widget_info(|| WidgetInfo::labeled(egui::Role::Label, true, words));
    }

    /// Notes a drawing that carries meaning.
    pub(super) fn note_graphic(
        &mut self,
        name: &'static str,
        rect: Rect,
        least_arcmin: f32,
        colours: Vec<(Color32, Color32)>,
    ) {
        self.report.graphics.push(PlacedGraphic {
            name,
            arcmin: self.scale.arcmin(rect.height(), Reader::Skater),
            least_arcmin,
            colours,
            rect,
        });
    }

    /// The way to break a few words into lines that allows the tallest
    /// capitals in `room`. Never taller than `most`, and smaller than the
    /// role allows only where nothing else is possible; the report then says
    /// so.
    pub(super) fn fit_words(
        &self,
        text: &str,
        role: Role,
        room: Rect,
        most: f32,
        pitch: f32,
    ) -> (Vec<String>, f32) {
        let words: Vec<&str> = text.split_whitespace().collect();
        // More gaps than that are no headline any more.
        let gaps = words.len().saturating_sub(1).min(6);
        let mut best = (vec![text.to_owned()], 0.0);
        for breaks in 0..1u32 << gaps {
            let mut lines: Vec<String> = Vec::new();
            for (i, word) in words.iter().enumerate() {
                match lines.last_mut() {
                    Some(line) if i > gaps || breaks & (1 << (i - 1)) == 0 => {
                        line.push(' ');
                        line.push_str(word);
                    }
                    _ => lines.push((*word).to_owned()),
                }
            }
            let widest = lines
                .iter()
                .map(|l| self.width_of(l, role))
                .fold(f32::EPSILON, f32::max);
            let cap = most
                .min(room.width() / widest)
                .min(room.height() / height_in_caps(&lines, pitch));
            // Only clearly taller letters are worth another row.
            let worth = if lines.len() > best.0.len() { 1.1 } else { 1.0 };
            if cap > best.1 * worth {
                best = (lines, cap);
            }
        }
        best
    }

    /// Breaks at spaces; a single word longer than a line stays whole.
    pub(super) fn wrap(&self, text: &str, width_in_caps: f32) -> Vec<String> {
        let mut lines: Vec<String> = Vec::new();
        for word in text.split_whitespace() {
            match lines.last_mut() {
                Some(line) if self.width_in_caps(&format!("{line} {word}")) <= width_in_caps => {
                    line.push(' ');
                    line.push_str(word);
                }
                _ => lines.push(word.to_owned()),
            }
        }
        lines
    }
}

/// A line without the degree sign at its end, and the width the sign takes
/// in heights of capitals.
fn without_degree(text: &str) -> (&str, f32) {
    match text.strip_suffix(DEGREE) {
        Some(letters) => (letters, theme::DEGREE_GAP + 2.0 * theme::DEGREE_RADIUS),
        None => (text, 0.0),
    }
}

/// Whether a letter of the line reaches below it.
pub(super) fn descends(line: &str) -> bool {
    line.chars().any(|c| "gjpqyçQJ,;".contains(c))
}

/// Height of the lines of a headline in heights of capitals: as
/// [`block_height_in_caps`], without room below a last line that needs none.
pub(super) fn height_in_caps(lines: &[String], pitch: f32) -> f32 {
    let below = lines.last().is_some_and(|l| descends(l));
    block_height_in_caps(lines.len(), pitch) - if below { 0.0 } else { theme::DESCENDER }
}

/// From the top of the first capitals to the last baseline, with room for
/// the letters that reach below it, in heights of capitals.
pub(super) fn block_height_in_caps(lines: usize, pitch: f32) -> f32 {
    1.0 + lines.saturating_sub(1) as f32 * pitch + theme::DESCENDER
}

/// Height of the capitals of the font as a share of its em size, measured.
fn cap_share(ui: &Ui) -> f32 {
    let font = FontId::new(MEASURE_AT, theme::font_family());
    let galley = ui
        .painter()
        .layout_no_wrap(CAPITAL.to_owned(), font, Color32::WHITE);
    galley
        .rows
        .first()
        .and_then(|row| row.glyphs.first())
        .map(|glyph| glyph.uv_rect.size.y / MEASURE_AT)
        .filter(|share| *share > 0.1)
        // No glyph: nothing will be seen either way.
        .unwrap_or(1.0)
}
