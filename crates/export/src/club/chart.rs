//! One quantity of one age group over the season as a small picture (SVG): a dot for
//! the median of a day, an upright line from quartile to quartile.

use std::fmt::Write;

use jiff::civil::Date;

use super::figures::{Day, Measured};
use super::page::{name, tick, unit};
use crate::chart::{HEIGHT, LEFT, RIGHT, Scale, WIDTH, begin};
use crate::rules::QuantityUnit;
use crate::words::ExportWords;

/// The picture; `id` is unique in its page, `span` the first day and the last of the
/// season.
pub fn chart(
    words: &ExportWords,
    measured: Measured,
    days: &[&Day],
    span: [Date; 2],
    id: &str,
) -> String {
    let least = match unit(measured) {
        QuantityUnit::Deg => 10.0,
        QuantityUnit::Metre => 0.04,
        QuantityUnit::Hertz => 0.4,
        QuantityUnit::Second => 0.2,
    };
    let scale = Scale::around(days.iter().flat_map(|day| day.quartiles), least);
    let right = WIDTH - RIGHT;
    let about = words.fill(
        "club.chart",
        &[
            ("name", name(words, measured)),
            ("n", &days.len().to_string()),
        ],
    );
    let mut svg = begin(id, name(words, measured), &about);
    scale.grid(&mut svg, |value| tick(words, measured, value));
    // The dots of the first and the last day stand whole within the picture.
    let (from, to) = (LEFT + 8.0, right - 8.0);
    let days_between = |a: Date, b: Date| f64::from((b - a).get_days());
    let whole = days_between(span[0], span[1]).max(1.0);
    for day in days {
        let x = from + (to - from) * days_between(span[0], day.date) / whole;
        let [low, middle, high] = day.quartiles.map(|v| scale.y(v));
        // Writing into a String cannot fail.
        let _ = write!(
            svg,
            "<line class=\"doubt\" x1=\"{x:.1}\" x2=\"{x:.1}\" y1=\"{high:.1}\" y2=\"{low:.1}\"/>\
             <circle class=\"in\" cx=\"{x:.1}\" cy=\"{middle:.1}\" r=\"3.2\"/>"
        );
    }
    let ends = [(LEFT, "start", span[0]), (right, "end", span[1])];
    for (x, anchor, date) in ends {
        let _ = write!(
            svg,
            "<text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"{anchor}\">{date}</text>",
            HEIGHT - 8.0
        );
    }
    svg.push_str("</svg>");
    svg
}
