//! `kickplate ruler sheet`: the steps and the angle template as one page for printing.

use std::fmt::Write;
use std::path::PathBuf;

use anyhow::Context;

use super::may_write;
use crate::config::{self, write_atomically};
use crate::ruler::PUCK_M;
use crate::station::program::print;
use crate::station::settings::{StationSettings, station_file};
use crate::words::Catalogue;

/// `kickplate ruler sheet`.
#[derive(Debug, Clone, PartialEq, clap::Args)]
pub struct SheetOptions {
    /// The file to write, an SVG picture: any browser prints it, at 100 %.
    #[arg(long, value_name = "FILE.svg")]
    pub out: PathBuf,
    /// The paper.
    #[arg(long, default_value = "a4")]
    pub paper: Paper,
    /// Also where there is a file of that name.
    #[arg(long)]
    pub replace: bool,
}

/// The paper it is printed on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum Paper {
    /// 210 by 297 mm.
    A4,
    /// 8.5 by 11 inches.
    Letter,
}

impl Paper {
    /// Width and height, mm.
    fn size_mm(self) -> [f64; 2] {
        match self {
            Paper::A4 => [210.0, 297.0],
            Paper::Letter => [215.9, 279.4],
        }
    }
}

/// Writes the page.
pub fn sheet(options: &SheetOptions) -> anyhow::Result<()> {
    may_write(&options.out, options.replace)?;
    let home = config::home()?;
    let station = StationSettings::load(&station_file(&home))?;
    let words = Catalogue::load(&home, station.screen.language)?;
    let page = page(options.paper, &words);
    write_atomically(&options.out, page.as_bytes(), 0o644).with_context(|| {
        format!(
            "{} cannot be written; choose another with --out",
            options.out.display()
        )
    })?;
    print(&format!(
        "Written: {}. Print it at 100 % and hold a puck on the drawn one.\n",
        options.out.display()
    ))
}

/// Margin of the page, mm, the height of a letter, and of a line.
const MARGIN_MM: f64 = 14.0;
const LETTER_MM: f64 = 3.5;
const LINE_MM: f64 = 4.6;
/// Letters of a line: half a letter's height each is wide enough.
const LETTERS: usize = 96;
/// The angles of the template, and how long its lines are, mm.
const ANGLES_DEG: [f64; 4] = [180.0, 150.0, 120.0, 100.0];
const ARM_MM: f64 = 50.0;
/// A puck flat and on edge, mm.
const PUCK_MM: [f64; 2] = [1e3 * PUCK_M[1], 1e3 * PUCK_M[0]];

/// The page as SVG; a millimetre on paper is a unit.
fn page(paper: Paper, words: &Catalogue) -> String {
    let [width, height] = paper.size_mm();
    let word = |key: &str| escaped(words.export.get(key).map_or(key, String::as_str));
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}mm\" height=\"{height}mm\" viewBox=\"0 0 {width} {height}\" font-family=\"sans-serif\" font-size=\"{LETTER_MM}\">\n<rect width=\"{width}\" height=\"{height}\" fill=\"white\"/>\n"
    );
    let text = |svg: &mut String, x: f64, y: f64, more: &str, line: &str| {
        // Writing into a String cannot fail.
        let _ = writeln!(svg, "<text x=\"{x:.2}\" y=\"{y:.2}\"{more}>{line}</text>");
    };
    let line = |svg: &mut String, [x1, y1]: [f64; 2], [x2, y2]: [f64; 2]| {
        let _ = writeln!(
            svg,
            "<line x1=\"{x1:.2}\" y1=\"{y1:.2}\" x2=\"{x2:.2}\" y2=\"{y2:.2}\" stroke=\"black\" stroke-width=\"0.4\"/>"
        );
    };
    let title = " font-size=\"7\" font-weight=\"bold\"";
    text(&mut svg, MARGIN_MM, 20.0, title, &word("ruler_sheet.title"));
    let mut y = 30.0;
    for key in [
        "ruler_sheet.who",
        "ruler_sheet.stand",
        "ruler_sheet.knee",
        "ruler_sheet.measure",
        "ruler_sheet.gap",
        "ruler_sheet.trunk",
        "ruler_sheet.error",
        "ruler_sheet.ends",
    ] {
        for row in wrapped(&word(key)) {
            text(&mut svg, MARGIN_MM, y, "", &row);
            y += LINE_MM;
        }
        y += 2.0;
    }
    // The template: the shin down, the thigh at each angle forward of straight up.
    let knee = [MARGIN_MM + 30.0, height - MARGIN_MM - ARM_MM - 8.0];
    line(&mut svg, knee, [knee[0], knee[1] + ARM_MM]);
    for deg in ANGLES_DEG {
        let (sin, cos) = deg.to_radians().sin_cos();
        let end = [knee[0] + ARM_MM * sin, knee[1] + ARM_MM * cos];
        line(&mut svg, knee, end);
        let label = format!("{deg:.0}°");
        text(&mut svg, end[0] + 1.5, end[1], "", &label);
    }
    let _ = writeln!(
        svg,
        "<circle cx=\"{:.2}\" cy=\"{:.2}\" r=\"1.2\"/>",
        knee[0], knee[1]
    );
    let below = height - MARGIN_MM;
    for (k, row) in wrapped_at(&word("ruler_sheet.template"), 40)
        .iter()
        .enumerate()
    {
        let up = 4.5 * (1.0 - k as f64);
        text(&mut svg, MARGIN_MM, below - up + 2.0, "", row);
    }
    // A puck from above and from its side, and ten centimetres.
    let puck = [width - MARGIN_MM - PUCK_MM[0], below - 6.0];
    let _ = writeln!(
        svg,
        "<rect x=\"{:.2}\" y=\"{:.2}\" width=\"{}\" height=\"{}\" fill=\"none\" stroke=\"black\" stroke-width=\"0.4\"/>",
        puck[0],
        puck[1] - PUCK_MM[1] - 14.0,
        PUCK_MM[0],
        PUCK_MM[1]
    );
    let inside = [puck[0] + 4.0, puck[1] - 14.0 - PUCK_MM[1] / 2.0];
    text(
        &mut svg,
        inside[0],
        inside[1],
        "",
        &word("ruler_sheet.puck"),
    );
    let from = [width - MARGIN_MM - 100.0, puck[1] + 2.0];
    line(&mut svg, from, [from[0] + 100.0, from[1]]);
    for at in [from[0], from[0] + 100.0] {
        line(&mut svg, [at, from[1] - 2.0], [at, from[1] + 2.0]);
    }
    text(
        &mut svg,
        from[0] + 2.0,
        from[1] - 2.0,
        "",
        &word("ruler_sheet.scale"),
    );
    svg + "</svg>\n"
}

fn wrapped(text: &str) -> Vec<String> {
    wrapped_at(text, LETTERS)
}

fn wrapped_at(text: &str, letters: usize) -> Vec<String> {
    let mut rows: Vec<String> = vec![String::new()];
    for word in text.split_whitespace() {
        if let Some(row) = rows.last_mut()
            && (row.is_empty() || row.chars().count() + 1 + word.chars().count() <= letters)
        {
            if !row.is_empty() {
                row.push(' ');
            }
            row.push_str(word);
        } else {
            rows.push(word.to_owned());
        }
    }
    rows
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::Language;

    fn numbers_of(svg: &str, tag: &str, keys: &[&str]) -> Vec<Vec<f64>> {
        let of_tag = svg.lines().filter(|l| l.starts_with(tag));
        let value = |line: &str, key: &str| -> f64 {
            let from = line.find(&format!(" {key}=\"")).unwrap() + key.len() + 3;
            line[from..].split('"').next().unwrap().parse().unwrap()
        };
        of_tag
            .map(|l| keys.iter().map(|k| value(l, k)).collect())
            .collect()
    }

    /// Everything lies on the paper, the angles are what they say, the puck is a puck.
    #[test]
    fn the_page_is_to_scale_on_both_papers_in_both_languages() {
        for paper in [Paper::A4, Paper::Letter] {
            for language in Language::ALL {
                let svg = page(paper, &Catalogue::built_in(language));
                let [width, height] = paper.size_mm();
                let texts = numbers_of(&svg, "<text", &["x", "y"]);
                assert!(texts.len() > 18);
                for at in &texts {
                    assert!(at[0] < width - 8.0 && at[1] < height - 6.0, "{at:?}");
                }
                let lines = numbers_of(&svg, "<line", &["x1", "y1", "x2", "y2"]);
                // The steps come before the first angle.
                let mut rows = svg.lines().filter(|l| l.starts_with("<text"));
                let steps = rows.position(|l| l.contains("°</text>")).unwrap();
                let lowest = texts[..steps].iter().map(|t| t[1]).fold(0.0, f64::max);
                let top = lines
                    .iter()
                    .map(|l| l[1].min(l[3]))
                    .fold(f64::MAX, f64::min);
                assert!(lowest < top - 1.0, "{lowest} {top}");
                for (k, deg) in ANGLES_DEG.into_iter().enumerate() {
                    let arm = &lines[k + 1];
                    let [dx, dy] = [arm[2] - arm[0], arm[3] - arm[1]];
                    // From the shin, which points down.
                    let seen = dx.atan2(dy).to_degrees();
                    assert!((seen - deg).abs() < 0.05, "{seen} {deg}");
                }
                let ten = &lines[5];
                assert!((ten[2] - ten[0] - 100.0).abs() < 0.01);
                assert!(svg.contains("width=\"76.2\" height=\"25.4\""));
            }
        }
    }
}
