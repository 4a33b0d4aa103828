//! What was placed where, for checks and for the coach's warnings.

use egui::{Color32, Rect};

use super::theme;

/// For whom something is written, which decides the distance it is read at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reader {
    /// On the ice, at the reading distance of the settings.
    Skater,
    /// Beside the screen.
    Coach,
}

/// A line of text as it was placed.
#[derive(Debug, Clone, PartialEq)]
pub struct PlacedText {
    /// What it says.
    pub text: String,
    /// Who has to be able to read it.
    pub reader: Reader,
    /// Height of its capital letters, points.
    pub cap_height: f32,
    /// The same in minutes of arc at the reader's eye.
    pub arcmin: f32,
    /// The least it may be, minutes of arc.
    pub least_arcmin: f32,
    /// Colour of the letters.
    pub fg: Color32,
    /// Colour behind them; the worst there can be where it is a picture.
    pub bg: Color32,
    /// From the left edge of the line to the right, from the top of the
    /// capitals to the baseline, points.
    pub rect: Rect,
}

/// A drawing as it was placed.
#[derive(Debug, Clone, PartialEq)]
pub struct PlacedGraphic {
    /// What it is.
    pub name: &'static str,
    /// Its height in minutes of arc at the skater's eye.
    pub arcmin: f32,
    /// The least it may be, minutes of arc.
    pub least_arcmin: f32,
    /// Every colour that carries meaning, and the colour beside it.
    pub colours: Vec<(Color32, Color32)>,
    /// Where it is, points.
    pub rect: Rect,
}

/// Everything that was placed on one screen.
#[derive(Debug, Clone, PartialEq)]
pub struct LayoutReport {
    /// The whole screen, points.
    pub screen: Rect,
    /// Texts in the order they were drawn.
    pub texts: Vec<PlacedText>,
    /// Drawings in the order they were drawn.
    pub graphics: Vec<PlacedGraphic>,
}

impl LayoutReport {
    pub(super) fn new(screen: Rect) -> Self {
        LayoutReport {
            screen,
            texts: Vec::new(),
            graphics: Vec::new(),
        }
    }

    /// What cannot be read as it should: names of things that are too small,
    /// too faint, or cut off. Empty when all is well.
    pub fn shortfalls(&self) -> Vec<String> {
        // Layout and drawing round to whole pixels.
        let whole = self.screen.expand(1.0);
        let small = |is: f32, least: f32| is < least * (1.0 - theme::ROUNDING);
        let mut out = Vec::new();
        for t in &self.texts {
            if small(t.arcmin, t.least_arcmin) {
                out.push(format!(
                    "'{}' is seen under {:.1}' and needs {:.0}'",
                    t.text, t.arcmin, t.least_arcmin
                ));
            }
            let contrast = theme::contrast_ratio(t.fg, t.bg);
            if contrast < theme::LEAST_TEXT_CONTRAST {
                out.push(format!("'{}' has a contrast of {contrast:.1}", t.text));
            }
            if !whole.contains_rect(t.rect) {
                out.push(format!("'{}' is cut off", t.text));
            }
        }
        for g in &self.graphics {
            if small(g.arcmin, g.least_arcmin) {
                out.push(format!(
                    "{} is seen under {:.1}' and needs {:.0}'",
                    g.name, g.arcmin, g.least_arcmin
                ));
            }
            for &(fg, bg) in &g.colours {
                let contrast = theme::contrast_ratio(fg, bg);
                if contrast < theme::LEAST_GRAPHIC_CONTRAST {
                    out.push(format!("{} has a contrast of {contrast:.1}", g.name));
                }
            }
            if !whole.contains_rect(g.rect) {
                out.push(format!("{} is cut off", g.name));
            }
        }
        out
    }
}
