//! One measure over the passes as a small picture (SVG): dots with their
//! uncertainty, the band that is wanted.
//!
//! No meaning hangs on colour alone: what is outside the band is a triangle.

use std::fmt::Write;

use crate::geometry::median;

use super::page::escape;
use super::summary::{Dot, RuleSummary};
use super::words::ExportWords;
use crate::rules::Unit;

pub const WIDTH: f64 = 360.0;
pub const HEIGHT: f64 = 150.0;
pub const LEFT: f64 = 42.0;
pub const RIGHT: f64 = 8.0;
const TOP: f64 = 8.0;
const BOTTOM: f64 = 22.0;
/// More dots than this are drawn as middles of several passes.
const MOST_DOTS: usize = 48;
/// Lines across.
const LINES: usize = 4;

/// A picture without anything drawn in it; `id` is unique in its page, `title` and `about` are
/// for those who do not see it.
pub fn begin(id: &str, title: &str, about: &str) -> String {
    let (title, about) = (escape(title), escape(about));
    format!(
        "<svg class=\"chart\" viewBox=\"0 0 {WIDTH} {HEIGHT}\" role=\"img\" aria-labelledby=\"{id}t {id}d\">\
         <title id=\"{id}t\">{title}</title><desc id=\"{id}d\">{about}</desc>"
    )
}

/// The picture; `id` is unique in its page.
pub fn chart(words: &ExportWords, s: &RuleSummary, id: &str) -> String {
    let (dots, per_dot) = thinned(&s.series);
    let scale = Scale::of(s, &dots);
    let (right, bottom) = (WIDTH - RIGHT, HEIGHT - BOTTOM);
    let wanted = words.limits(s.rule, &s.limits);
    let flagged = s.series.iter().filter(|d| d.flagged).count().to_string();
    let passes = s.series.len().to_string();
    let about = words.fill(
        "chart.about",
        &[
            ("name", words.name(s.rule)),
            ("n", &passes),
            ("flagged", &flagged),
            ("limit", &wanted),
        ],
    );
    let mut svg = begin(id, words.name(s.rule), &about);
    if s.limits.flagged && s.same_limits {
        let (from, to) = (
            s.limits.at_most.map_or(TOP, |v| scale.y(v)),
            s.limits.at_least.map_or(bottom, |v| scale.y(v)),
        );
        let _ = write!(
            svg,
            "<rect class=\"band\" x=\"{LEFT}\" y=\"{from:.1}\" width=\"{:.1}\" height=\"{:.1}\"/>",
            right - LEFT,
            (to - from).max(0.0)
        );
        for limit in [s.limits.at_least, s.limits.at_most].into_iter().flatten() {
            let y = scale.y(limit);
            let _ = write!(
                svg,
                "<line class=\"limit\" x1=\"{LEFT}\" x2=\"{right}\" y1=\"{y:.1}\" y2=\"{y:.1}\"/>"
            );
        }
    }
    scale.grid(&mut svg, |value| tick(words, s.rule.unit, value));
    let n = dots.len();
    let step = (right - LEFT) / n.max(1) as f64;
    let every = n.div_ceil(12).max(1);
    for (i, dot) in dots.iter().enumerate() {
        let x = LEFT + step * (i as f64 + 0.5);
        let (y, high, low) = (
            scale.y(dot.value),
            scale.y(dot.value + dot.uncertainty),
            scale.y(dot.value - dot.uncertainty),
        );
        let _ = write!(
            svg,
            "<line class=\"doubt\" x1=\"{x:.1}\" x2=\"{x:.1}\" y1=\"{high:.1}\" y2=\"{low:.1}\"/>"
        );
        if dot.flagged {
            let _ = write!(
                svg,
                "<path class=\"out\" d=\"M{x:.1} {:.1}l4.6 8h-9.2z\"/>",
                y - 5.0
            );
        } else {
            let _ = write!(
                svg,
                "<circle class=\"in\" cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"3.6\"/>"
            );
        }
        if i % every == 0 {
            let _ = write!(
                svg,
                "<text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{}</text>",
                HEIGHT - 8.0,
                dot.pass
            );
        }
    }
    svg.push_str("</svg>");
    if per_dot > 1 {
        let _ = write!(
            svg,
            "<p class=\"note\">{}</p>",
            escape(&words.fill("chart.bin", &[("n", &per_dot.to_string())]))
        );
    }
    svg
}

fn tick(words: &ExportWords, unit: Unit, value: f64) -> String {
    match unit {
        Unit::Deg => format!("{}°", words.number(value, 0)),
        Unit::Metre => format!("{} cm", words.number(100.0 * value, 0)),
    }
}

/// At most [`MOST_DOTS`] dots, and how many passes one of them stands for.
fn thinned(series: &[Dot]) -> (Vec<Dot>, usize) {
    let per_dot = series.len().div_ceil(MOST_DOTS).max(1);
    let middle = |dots: &[Dot], of: fn(&Dot) -> f64| {
        median(&mut dots.iter().map(of).collect::<Vec<_>>()).unwrap_or(f64::NAN)
    };
    let dots = series
        .chunks(per_dot)
        .map(|dots| Dot {
            pass: dots[0].pass,
            session: dots[0].session,
            value: middle(dots, |d| d.value),
            uncertainty: middle(dots, |d| d.uncertainty),
            flagged: 2 * dots.iter().filter(|d| d.flagged).count() > dots.len(),
        })
        .collect();
    (dots, per_dot)
}

/// From values to places in the picture.
pub struct Scale {
    low: f64,
    high: f64,
    step: f64,
}

impl Scale {
    /// Round numbers around everything that is drawn.
    fn of(s: &RuleSummary, dots: &[Dot]) -> Self {
        let limits = [s.limits.at_least, s.limits.at_most].into_iter().flatten();
        let drawn = dots
            .iter()
            .flat_map(|d| [d.value - d.uncertainty, d.value + d.uncertainty])
            .chain(limits);
        let least = match s.rule.unit {
            Unit::Deg => 10.0,
            Unit::Metre => 0.04,
        };
        Self::around(drawn, least)
    }

    /// Lines across with what they stand for.
    pub fn grid(&self, svg: &mut String, label: impl Fn(f64) -> String) {
        let right = WIDTH - RIGHT;
        for value in self.ticks() {
            let y = self.y(value);
            let text = escape(&label(value));
            // Writing into a String cannot fail.
            let _ = write!(
                svg,
                "<line class=\"grid\" x1=\"{LEFT}\" x2=\"{right}\" y1=\"{y:.1}\" y2=\"{y:.1}\"/>\
                 <text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{text}</text>",
                LEFT - 4.0,
                y + 3.5
            );
        }
    }

    /// Round numbers around these values, `least` apart at least.
    pub fn around(values: impl Iterator<Item = f64>, least: f64) -> Self {
        let (low, high) = values
            .filter(|v| v.is_finite())
            .fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(v), h.max(v)));
        let (low, high) = if low > high {
            (0.0, least)
        } else {
            (low, high)
        };
        let span = (high - low).max(least);
        let rough = span / LINES as f64;
        let power = 10f64.powf(rough.log10().floor());
        let step = [1.0, 2.0, 5.0, 10.0]
            .into_iter()
            .map(|f| f * power)
            .find(|step| *step >= rough)
            .unwrap_or(10.0 * power);
        let low = ((low - 0.04 * span) / step).floor() * step;
        let high = ((high + 0.04 * span) / step).ceil() * step;
        Scale { low, high, step }
    }

    /// How far down a value stands.
    pub fn y(&self, value: f64) -> f64 {
        let share = (value - self.low) / (self.high - self.low);
        HEIGHT - BOTTOM - share.clamp(0.0, 1.0) * (HEIGHT - BOTTOM - TOP)
    }

    /// The values of the lines across.
    pub fn ticks(&self) -> impl Iterator<Item = f64> {
        let n = ((self.high - self.low) / self.step).round() as usize;
        let (low, step) = (self.low, self.step);
        (0..=n.min(12)).map(move |i| low + step * i as f64)
    }
}
