//! Names in every script: the order letters are seen in, and fonts that have
//! them, given to the window only when a text needs them.

use std::borrow::Cow;
use std::path::PathBuf;

use egui::epaint::text::{FontInsert, FontPriority, InsertFontFamily};
use egui::{FontData, FontFamily};
use unicode_bidi::{BidiClass, BidiInfo, Level, bidi_class};

/// A font of one script, and the letters it is for.
struct ScriptFont {
    name: &'static str,
    ranges: &'static [(u32, u32)],
    bytes: &'static [u8],
}

macro_rules! font {
    ($file:literal, $ranges:expr) => {
        ScriptFont {
            name: $file,
            ranges: $ranges,
            bytes: include_bytes!(concat!("fonts/", $file)),
        }
    };
}

/// Noto Sans, SIL Open Font License 1.1; made by `tools/fonts/make_fonts.sh`.
/// Ranges are blocks of the Unicode Standard.
static FONTS: [ScriptFont; 8] = [
    font!(
        "NotoSans-Bold-subset.ttf",
        &[(0x0370, 0x052F), (0x1E00, 0x1EFF)]
    ),
    font!(
        "NotoSansArabic-Bold.ttf",
        &[(0x0600, 0x06FF), (0x0750, 0x077F), (0x08A0, 0x08FF)]
    ),
    font!("NotoSansArmenian-Bold.ttf", &[(0x0530, 0x058F)]),
    font!("NotoSansDevanagari-Bold.ttf", &[(0x0900, 0x097F)]),
    font!("NotoSansGeorgian-Bold.ttf", &[(0x10A0, 0x10FF)]),
    font!("NotoSansHebrew-Bold.ttf", &[(0x0590, 0x05FF)]),
    font!("NotoSansTamil-Bold.ttf", &[(0x0B80, 0x0BFF)]),
    font!("NotoSansThai-Bold.ttf", &[(0x0E00, 0x0E7F)]),
];

/// Han, kana and Hangul: their fonts are too large to come with the program
/// and are taken from the computer.
const EAST_ASIAN: [(u32, u32); 4] = [
    (0x1100, 0x11FF),
    (0x3040, 0x30FF),
    (0x3400, 0x9FFF),
    (0xAC00, 0xD7AF),
];
/// Where Debian's packages put such fonts (`fonts-noto-cjk`,
/// `fonts-droid-fallback`, `fonts-wqy-zenhei`, `fonts-unfonts-core`).
const EAST_ASIAN_FILES: [&str; 4] = [
    "/usr/share/fonts/opentype/noto/NotoSansCJK-Bold.ttc",
    "/usr/share/fonts/truetype/droid/DroidSansFallbackFull.ttf",
    "/usr/share/fonts/truetype/wqy/wqy-zenhei.ttc",
    "/usr/share/fonts/truetype/unfonts-core/UnDotumBold.ttf",
];

/// Which fonts a window has been given, one bit each.
#[derive(Clone, Copy, Default)]
struct Given(u32);

/// Gives the window the fonts this text needs, where it has not got them.
/// They hold from the next frame on. A text in Latin letters costs one look
/// at its bytes.
pub fn fonts_for(ctx: &egui::Context, text: &str) {
    if text.is_ascii() {
        return;
    }
    let id = egui::Id::unique("fonts of scripts");
    let given: Given = ctx.data(|d| d.get_temp(id)).unwrap_or_default();
    let mut now = given;
    let mut add = |bit: usize, name: &str, data: &dyn Fn() -> Option<FontData>| {
        if now.0 & (1 << bit) != 0 {
            return;
        }
        now.0 |= 1 << bit;
        if let Some(data) = data() {
            let family = InsertFontFamily {
                family: FontFamily::Proportional,
                priority: FontPriority::Lowest,
            };
            ctx.add_font(FontInsert::new(name, data, vec![family]));
        }
    };
    for c in text.chars().map(u32::from).filter(|c| *c >= 0x0370) {
        let is_in = |ranges: &[(u32, u32)]| ranges.iter().any(|(a, b)| (*a..=*b).contains(&c));
        for (bit, font) in FONTS.iter().enumerate() {
            if is_in(font.ranges) {
                add(bit, font.name, &|| Some(FontData::from_static(font.bytes)));
            }
        }
        if is_in(&EAST_ASIAN) {
            add(FONTS.len(), "east asian", &east_asian);
        }
    }
    if now.0 != given.0 {
        ctx.data_mut(|d| d.insert_temp(id, now));
        ctx.request_repaint();
    }
}

/// The first East Asian font of this computer.
fn east_asian() -> Option<FontData> {
    let file = EAST_ASIAN_FILES
        .into_iter()
        .map(PathBuf::from)
        .find(|f| f.is_file());
    let Some(file) = file else {
        tracing::info!("no font for Chinese, Japanese or Korean names on this computer");
        return None;
    };
    std::fs::read(file).ok().map(FontData::from_owned)
}

/// The text in the order it is seen in a line that runs from left to right,
/// by the Unicode bidirectional algorithm (UAX #9). Letters inside of a word
/// stay as they are written: the window turns and joins them itself, word by
/// word. Signs that only steer the direction are left out.
pub fn visual_order(text: &str) -> Cow<'_, str> {
    let turns = |c: char| {
        matches!(
            bidi_class(c),
            BidiClass::R
                | BidiClass::AL
                | BidiClass::AN
                | BidiClass::RLE
                | BidiClass::RLO
                | BidiClass::RLI
                | BidiClass::LRE
                | BidiClass::LRO
                | BidiClass::LRI
                | BidiClass::FSI
                | BidiClass::PDF
                | BidiClass::PDI
        )
    };
    if text.is_ascii() || !text.chars().any(turns) {
        return Cow::Borrowed(text);
    }
    let plain: String = text.chars().filter(|c| !steers(*c)).collect();
    let info = BidiInfo::new(&plain, Some(Level::ltr()));
    let mut out = String::with_capacity(plain.len());
    for paragraph in &info.paragraphs {
        let (levels, runs) = info.visual_runs(paragraph, paragraph.range.clone());
        for run in runs {
            let piece = &plain[run.clone()];
            if levels[run.start].is_rtl() {
                turn(piece, &mut out);
            } else {
                out.push_str(piece);
            }
        }
    }
    Cow::Owned(out)
}

/// Whether a sign only steers the direction of what stands around it.
fn steers(c: char) -> bool {
    matches!(c, '\u{200E}' | '\u{200F}' | '\u{061C}' | '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}')
}

/// A run from right to left: its words from the last to the first, each as it
/// is written; what stands between them mirrored where it has two sides.
fn turn(run: &str, out: &mut String) {
    let letter = |c: char| matches!(bidi_class(c), BidiClass::R | BidiClass::AL | BidiClass::NSM);
    let mut pieces: Vec<String> = vec![];
    let mut in_word = false;
    for c in run.chars() {
        match (letter(c), in_word, pieces.last_mut()) {
            (true, true, Some(word)) => word.push(c),
            (true, ..) => pieces.push(c.to_string()),
            (false, ..) => pieces.push(mirrored(c).to_string()),
        }
        in_word = letter(c);
    }
    out.extend(pieces.into_iter().rev());
}

fn mirrored(c: char) -> char {
    match c {
        '(' => ')',
        ')' => '(',
        '[' => ']',
        ']' => '[',
        '<' => '>',
        '>' => '<',
        '«' => '»',
        '»' => '«',
        other => other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Orders worked out by hand by the rules of UAX #9 in a line from left to
    /// right; capital letters stand for Hebrew there, as in its examples.
    #[test]
    fn words_from_right_to_left_are_seen_in_their_order() {
        // A bib first: it stays at the left and is never turned.
        assert_eq!(visual_order("12 נועה כהן"), "12 כהן נועה");
        assert_eq!(visual_order("נועה 12"), "12 נועה");
        assert_eq!(visual_order("7 محمد علي"), "7 علي محمد");
        assert_eq!(visual_order("Kim נועה Lee"), "Kim נועה Lee");
        // Brackets show their other side.
        assert_eq!(visual_order("נועה (כהן) לוי"), "לוי (כהן) נועה");
        assert!(matches!(visual_order("Élodie Žižka"), Cow::Borrowed(_)));
        assert!(matches!(visual_order("김민준"), Cow::Borrowed(_)));
    }

    /// Nobody's name turns what stands around it.
    #[test]
    fn signs_that_steer_are_left_out() {
        assert_eq!(visual_order("12 \u{202E}Kim\u{202C} 34"), "12 Kim 34");
        assert_eq!(visual_order("\u{2067}נועה\u{2069} 12"), "12 נועה");
    }

    /// Every letter of a name in ten scripts has a drawing.
    #[test]
    fn names_in_ten_scripts_have_their_letters() {
        let names = [
            "Žofie Müller",
            "Αλέξανδρος",
            "Анастасия Ёлкина",
            "محمد علي",
            "נועה כהן",
            "आरव शर्मा",
            "สมชาย",
            "ნინო",
            "Արմեն",
            "அருண்",
        ];
        let ctx = egui::Context::default();
        crate::display::install_fonts(&ctx);
        let frame = |ctx: &egui::Context| {
            ctx.run_ui(egui::RawInput::default(), |ui| {
                for name in names {
                    fonts_for(ui.ctx(), name);
                }
            })
            .drop_without_applying_deltas();
        };
        frame(&ctx);
        frame(&ctx);
        for name in names {
            let id = egui::FontId::proportional(20.0);
            let all = ctx.fonts_mut(|f| f.has_glyphs(&id, name));
            assert!(all, "{name}");
        }
    }
}
