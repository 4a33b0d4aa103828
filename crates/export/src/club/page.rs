//! The page of a club's season: one file, without script and without anything from
//! elsewhere; it prints on A4.

use maud::{Markup, PreEscaped, html};

use super::chart::chart;
use super::figures::{ClubFigures, Day, FEWEST_FOR_PERCENT, FEWEST_SKATERS, Measured, RuleCounts};
use crate::page::{list, plain, shell, view_words, wide_table};
use crate::rules::{AgeGroup, QuantityUnit, RuleId, Unit};
use crate::words::ExportWords;

/// Reasons that are named for each rule and view.
const MOST_REASONS: usize = 3;

/// The page.
pub fn club_page(words: &ExportWords, figures: &ClubFigures) -> String {
    let title = words.get("club.title");
    let few = FEWEST_SKATERS.to_string();
    let header = html! {
        h1 { (plain(title)) }
        @if let Some([from, to]) = figures.days {
            @let span = words.fill("club.span", &[("from", &from.to_string()), ("to", &to.to_string())]);
            @let totals = words.fill("club.totals", &[
                ("sessions", &figures.sessions().to_string()),
                ("passes", &figures.passes().to_string()),
                ("pushes", &figures.pushes.to_string()),
            ]);
            p.about { (plain(&format!("{span} · {totals}"))) }
        } @else {
            p.about { (plain(words.get("club.empty"))) }
        }
        @if figures.rendered_passes > 0 {
            @let n = figures.rendered_passes.to_string();
            p.note { (plain(&words.fill("club.rendered", &[("n", &n)]))) }
        }
        p.note { (plain(&words.fill("club.nobody_named", &[("n", &few)]))) }
    };
    let told = told(figures);
    let main = html! {
        @if figures.days.is_some() {
            (attendance(words, figures))
            (progress(words, figures, &told))
            (flags(words, figures))
            (seen(words, figures))
            (reasons(words, figures))
        }
        section.sure {
            h2 { (plain(words.get("section.sure"))) }
            (list(&["sure.how", "club.unchecked", "sure.limits", "sure.not_judged", "sure.one_day"]
                .map(|key| words.get(key).to_owned())))
        }
        @if told.iter().any(|of| !of.measures.is_empty()) {
            (numbers(words, &told))
        }
    };
    shell(words, title, &header, &main)
}

/// What a quantity is called.
pub(super) fn name(words: &ExportWords, measured: Measured) -> &str {
    match measured {
        Measured::Rule(rule) => words.name(rule.rule()),
        Measured::Quantity(quantity) => words.quantity_name(quantity.quantity()),
    }
}

pub(super) fn unit(measured: Measured) -> QuantityUnit {
    match measured {
        Measured::Rule(rule) => match rule.rule().unit {
            Unit::Deg => QuantityUnit::Deg,
            Unit::Metre => QuantityUnit::Metre,
        },
        Measured::Quantity(quantity) => quantity.quantity().unit,
    }
}

/// A value with its unit, a decimal finer than a single value has: middles of many move
/// by less.
pub(super) fn shown(words: &ExportWords, measured: Measured, value: f64) -> String {
    match unit(measured) {
        QuantityUnit::Deg => format!("{}°", words.number(value, 1)),
        QuantityUnit::Metre => format!("{}\u{a0}cm", words.number(100.0 * value, 1)),
        QuantityUnit::Hertz => {
            format!("{}{}", words.number(value, 2), words.get("unit.per_second"))
        }
        QuantityUnit::Second => format!(
            "{}\u{a0}{}",
            words.number(value, 2),
            words.get("unit.second")
        ),
    }
}

/// The same beside a chart, where there is little room.
pub(super) fn tick(words: &ExportWords, measured: Measured, value: f64) -> String {
    match unit(measured) {
        QuantityUnit::Deg => format!("{}°", words.number(value, 0)),
        QuantityUnit::Metre => format!("{}\u{a0}cm", words.number(100.0 * value, 0)),
        QuantityUnit::Hertz | QuantityUnit::Second => shown(words, measured, value),
    }
}

/// '12 of 40 (30 %)'; no share of few.
fn share(words: &ExportWords, n: usize, of: usize) -> String {
    let percent = (100.0 * n as f64 / of.max(1) as f64).round().to_string();
    let key = match of < FEWEST_FOR_PERCENT {
        true => "club.count",
        false => "club.share",
    };
    let (n, of) = (n.to_string(), of.to_string());
    words.fill(key, &[("n", &n), ("of", &of), ("percent", &percent)])
}

fn table(words: &ExportWords, name: &str, heads: &[&str], rows: &[Vec<String>]) -> Markup {
    let heads: Vec<&str> = heads.iter().map(|head| words.get(head)).collect();
    let rows = html! {
        @for row in rows {
            tr {
                @for (i, cell) in row.iter().enumerate() {
                    @if i == 0 { th scope="row" { (plain(cell)) } }
                    @else { td { (plain(cell)) } }
                }
            }
        }
    };
    wide_table(name, &heads, &rows)
}

fn attendance(words: &ExportWords, figures: &ClubFigures) -> Markup {
    let rows: Vec<Vec<String>> = figures
        .months
        .iter()
        .map(|((month, station), m)| {
            let mut row = vec![month.clone(), station.clone()];
            row.extend([m.sessions, m.passes, m.skaters, m.of_nobody].map(|n| n.to_string()));
            row
        })
        .collect();
    let heads = [
        "club.month",
        "club.station",
        "club.sessions",
        "club.passes",
        "club.attending",
        "page.no_name",
    ];
    let title = words.get("club.attendance");
    html! {
        section.attendance {
            h2 { (plain(title)) }
            (table(words, title, &heads, &rows))
        }
    }
}

/// A group and its measures, each with the days that may be shown; and how many may not.
struct Told<'f> {
    group: AgeGroup,
    measures: Vec<(Measured, Vec<&'f Day>)>,
    left_out: usize,
}

fn told(figures: &ClubFigures) -> Vec<Told<'_>> {
    let of = |group: AgeGroup| {
        let all = || {
            let here = figures
                .progress
                .iter()
                .filter(move |((of, _), _)| *of == group);
            here.map(|((_, measured), days)| (*measured, days))
        };
        let enough = |day: &&Day| day.skaters >= FEWEST_SKATERS;
        let measures: Vec<_> = all()
            .map(|(measured, days)| (measured, days.iter().filter(enough).collect::<Vec<_>>()))
            .filter(|(_, days)| !days.is_empty())
            .collect();
        let days: usize = all().map(|(_, days)| days.len()).sum();
        let shown: usize = measures.iter().map(|(_, days)| days.len()).sum();
        (days > 0).then_some(Told {
            group,
            measures,
            left_out: days - shown,
        })
    };
    AgeGroup::ALL.into_iter().filter_map(of).collect()
}

fn group_title(words: &ExportWords, group: AgeGroup) -> String {
    words.fill("club.group", &[("group", group.name())])
}

fn progress(words: &ExportWords, figures: &ClubFigures, told: &[Told<'_>]) -> Markup {
    let span = figures.days.unwrap_or_default();
    html! {
        section.progress {
            h2 { (plain(words.get("club.progress"))) }
            p.note { (plain(words.get("club.progress_note"))) }
            @for of in told {
                h3 { (plain(&group_title(words, of.group))) }
                @if !of.measures.is_empty() {
                    div.grid {
                        @for (measured, days) in &of.measures {
                            div.cell {
                                p { (plain(name(words, *measured))) }
                                @let id = format!("{}-{}", of.group.name(), measured.column());
                                (PreEscaped(chart(words, *measured, days, span, &id)))
                            }
                        }
                    }
                }
                @if of.left_out > 0 {
                    @let (n, few) = (of.left_out.to_string(), FEWEST_SKATERS.to_string());
                    p.note { (plain(&words.fill("club.left_out", &[("n", &n), ("few", &few)]))) }
                }
            }
        }
    }
}

/// Last on the page, since it is long.
fn numbers(words: &ExportWords, told: &[Told<'_>]) -> Markup {
    let heads = [
        "table.measure",
        "club.date",
        "club.median",
        "club.quartiles",
        "club.values",
        "club.skaters",
    ];
    html! {
        section.numbers {
            h2 { (plain(words.get("section.numbers"))) }
            @for of in told.iter().filter(|of| !of.measures.is_empty()) {
                @let title = group_title(words, of.group);
                @let rows: Vec<Vec<String>> = of
                    .measures
                    .iter()
                    .flat_map(|(measured, days)| days.iter().map(|day| row_of(words, *measured, day)))
                    .collect();
                h3 { (plain(&title)) }
                (table(words, &title, &heads, &rows))
            }
        }
    }
}

fn row_of(words: &ExportWords, measured: Measured, day: &Day) -> Vec<String> {
    let [low, middle, high] = day.quartiles.map(|v| shown(words, measured, v));
    vec![
        name(words, measured).to_owned(),
        day.date.to_string(),
        middle,
        words.fill("work.limit_between", &[("low", &low), ("high", &high)]),
        day.values.to_string(),
        day.skaters.to_string(),
    ]
}

fn flags(words: &ExportWords, figures: &ClubFigures) -> Markup {
    let row = |(rule, counts): (RuleId, &RuleCounts)| {
        let name = words.name(rule.rule()).to_owned();
        if counts.skaters < FEWEST_SKATERS {
            let few = FEWEST_SKATERS.to_string();
            return vec![
                name,
                words.fill("club.too_few", &[("n", &few)]),
                String::new(),
                String::new(),
                String::new(),
            ];
        }
        let spoken = counts.confirmed + counts.dismissed;
        vec![
            name,
            counts.judged.to_string(),
            share(words, counts.flagged, counts.judged),
            share(words, counts.confirmed, spoken),
            share(words, counts.dismissed, spoken),
        ]
    };
    let rows: Vec<Vec<String>> = figures
        .rules
        .iter()
        .filter(|(_, counts)| counts.judged > 0)
        .map(row)
        .collect();
    let heads = [
        "table.measure",
        "table.judged",
        "table.flagged",
        "club.confirmed",
        "table.dismissed",
    ];
    let title = words.get("club.flags");
    let least = FEWEST_FOR_PERCENT.to_string();
    html! {
        section.flags {
            h2 { (plain(title)) }
            (table(words, title, &heads, &rows))
            p.note { (plain(&words.fill("club.flags_note", &[("n", &least)]))) }
        }
    }
}

fn seen(words: &ExportWords, figures: &ClubFigures) -> Markup {
    let rows = figures.seen.iter().map(|((station, view), rules)| {
        let of_rules = rules.iter().map(|(rule, seen)| {
            if seen.pushes == 0 || !rule.rule().views.contains(view) {
                return "–".to_owned();
            }
            share(words, seen.judged, seen.pushes)
        });
        let names = [station.clone(), view_words(words, *view).to_owned()];
        names.into_iter().chain(of_rules).collect::<Vec<_>>()
    });
    let rows = html! { @for row in rows { tr { @for cell in &row { td { (plain(cell)) } } } } };
    let heads: Vec<&str> = ["club.station", "club.view"]
        .into_iter()
        .map(|key| words.get(key))
        .chain(RuleId::ALL.iter().map(|rule| words.name(rule.rule())))
        .collect();
    let title = words.get("club.seen");
    html! {
        section.seen {
            h2 { (plain(title)) }
            (wide_table(title, &heads, &rows))
            p.note { (plain(words.get("club.seen_note"))) }
        }
    }
}

fn reasons(words: &ExportWords, figures: &ClubFigures) -> Markup {
    let mut rows = Vec::new();
    for ((view, rule), reasons) in &figures.reasons {
        // That a view cannot show it at all is said in the table above.
        if !rule.rule().views.contains(view) {
            continue;
        }
        let mut by_count: Vec<_> = reasons.iter().collect();
        by_count.sort_by_key(|(why, n)| (std::cmp::Reverse(**n), why.code()));
        for (why, n) in by_count.into_iter().take(MOST_REASONS) {
            rows.push(vec![
                words.name(rule.rule()).to_owned(),
                view_words(words, *view).to_owned(),
                words.reason(*why).to_owned(),
                n.to_string(),
            ]);
        }
    }
    let heads = ["table.measure", "club.view", "club.reason", "club.pushes"];
    let title = words.get("club.reasons");
    html! {
        section.reasons {
            h2 { (plain(title)) }
            (table(words, title, &heads, &rows))
        }
    }
}
