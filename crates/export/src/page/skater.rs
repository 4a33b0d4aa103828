//! The page of one skater, for the skater and whoever she shows it to.

use maud::{Markup, PreEscaped, html};

use super::{ClipLink, Pictures, document, label, notes_of_sessions, plain, session_line};
use crate::chart::chart;
use crate::dataset::Material;
use crate::figure::Order;
use crate::figure_svg::figure_svg;
use crate::rules::Leg;
use crate::summary::{self, Row, RuleSummary, Well};
use crate::words::ExportWords;

/// Comments that go onto paper; the others are on the screen.
const COMMENTS_PRINTED: usize = 4;
/// Clips of one page; the others are in their folder.
const MOST_CLIPS: usize = 60;

/// The page of one skater, or of the passes of nobody.
pub fn skater_page(
    words: &ExportWords,
    material: &Material,
    person: Option<usize>,
    pictures: &Pictures,
) -> String {
    let passes: Vec<Row<'_>> = material.passes_of(person).collect();
    let name = label(words, material, person);
    let title = format!("{}: {name}", words.get("page.skater_title"));
    let header = header(words, material, person, &passes, &name);
    let summaries = summary::of_rules(&passes);
    let sections = html! {
        (figure_section(words, &summaries))
        (work_section(words, &summaries, person, pictures))
        (well_section(words, &summaries, passes.len()))
        (charts_section(words, &summaries))
        (quantities_section(words, &passes))
        (comments_section(words, &passes))
        (clips_section(words, material, person, pictures))
    };
    document(words, &title, &header, &sections, &material.sessions)
}

fn header(
    words: &ExportWords,
    material: &Material,
    person: Option<usize>,
    passes: &[Row<'_>],
    name: &str,
) -> Markup {
    let mut about = vec![
        words.get("page.skater_title").to_owned(),
        words.count("passes", passes.len()),
        words.count("pushes", summary::pushes(passes)),
    ];
    let groups = material.age_groups_of(person).join(", ");
    if !groups.is_empty() {
        about.push(words.fill("page.age_group", &[("group", &groups)]));
    }
    let sessions: Vec<String> = material
        .sessions
        .iter()
        .filter(|s| s.passes.iter().any(|p| p.person == person))
        .map(|s| session_line(words, s))
        .collect();
    html! {
        // A page for one skater leads to nobody else.
        @if !material.is_of_one() {
            p.screen { a href="../index.html" { (plain(words.get("page.back"))) } }
        }
        h1 { bdi { (plain(name)) } }
        p.about { (plain(&about.join(" · "))) }
        p.about { (plain(&sessions.join(" · "))) }
        @if person.is_none() {
            p { (plain(words.get("page.no_name_note"))) }
        }
        (notes_of_sessions(words, material))
    }
}

/// The words of an order's drill: common practice, no source.
fn drill_of(order: Order) -> &'static str {
    match order {
        Order::BendKnees => "next.drill_bend_knees",
        Order::PushLong => "next.drill_push_long",
        Order::HeelsTouch => "next.drill_heels_touch",
        Order::ArmsAhead => "next.drill_arms_ahead",
        Order::ChestAhead => "next.drill_chest_ahead",
        Order::ChestUp => "next.drill_chest_up",
        Order::ToeOut => "next.drill_toe_out",
    }
}

/// The page opens with one thing: how it was skated beside how to skate, and a drill
/// for it until next time. Nothing where nothing is to be worked on.
fn figure_section(words: &ExportWords, summaries: &[RuleSummary]) -> Markup {
    let Some(first) = summary::work(summaries).into_iter().next() else {
        return Markup::default();
    };
    let (value, limit) = worst_side(first);
    let order = Order::of_rule(first.rule.id, value < limit);
    let said = words.cue(first.rule, value, limit);
    let title = words.fill("next.figure", &[("what", said)]);
    html! {
        section.next {
            div.beside {
                (PreEscaped(figure_svg(order, Leg::Right, value, limit, &title)))
                div {
                    h2 { (plain(words.get("section.next"))) }
                    p.order { (plain(said)) }
                    p { (plain(words.get(drill_of(order)))) }
                    p.note { (plain(words.get("next.care"))) }
                    p.note { (plain(words.get("next.legend"))) }
                }
            }
        }
    }
}

fn work_section(
    words: &ExportWords,
    summaries: &[RuleSummary],
    person: Option<usize>,
    pictures: &Pictures,
) -> Markup {
    let work = summary::work(summaries);
    let title = match work.len() {
        3 => "section.work",
        _ => "section.work_fewer",
    };
    html! {
        section.work {
            h2 { (plain(words.get(title))) }
            @if work.is_empty() {
                p { (plain(&nothing_to_work_on(words, summaries))) }
            } @else {
                ol {
                    @for s in work {
                        @let (value, limit) = worst_side(s);
                        li {
                            @if let Some(link) = typical_still(s, person, pictures) {
                                img src={ "../" (plain(&link.still)) }
                                    alt=(plain(&clip_words(words, "clip.still", link)));
                            }
                            strong { (plain(words.cue(s.rule, value, limit))) }
                            span.what { (plain(words.about(s.rule))) }
                            span { (plain(&counts_line(words, s))) }
                        }
                    }
                }
            }
        }
    }
}

fn nothing_to_work_on(words: &ExportWords, summaries: &[RuleSummary]) -> String {
    let sum = |of: fn(&RuleSummary) -> usize| summaries.iter().map(of).sum::<usize>();
    match (sum(|s| s.judged), sum(|s| s.flagged)) {
        (0, _) => words.get("work.none_judged").to_owned(),
        (_, 0) => words.get("work.none").to_owned(),
        (_, n) => words.fill("work.few", &[("flagged", &n.to_string())]),
    }
}

/// The flagged push nearest to what is typical of those of a rule.
fn typical_still<'a>(
    s: &RuleSummary,
    person: Option<usize>,
    pictures: &'a Pictures,
) -> Option<&'a ClipLink> {
    let off = |l: &ClipLink| (l.value - s.typical).abs();
    pictures
        .links
        .iter()
        .filter(|l| l.person == person && l.rule == s.rule.id)
        .min_by(|a, b| off(a).total_cmp(&off(b)))
}

/// A value and the limit that show which side of a band is missed.
fn worst_side(s: &RuleSummary) -> (f64, f64) {
    let mut off = (
        s.typical,
        s.limits.at_most.or(s.limits.at_least).unwrap_or(s.typical),
    );
    let mut most = 0.0;
    for dot in s.series.iter().filter(|d| d.flagged) {
        for (limit, by) in [
            (s.limits.at_least, s.limits.at_least.map(|l| l - dot.value)),
            (s.limits.at_most, s.limits.at_most.map(|h| dot.value - h)),
        ] {
            if let (Some(limit), Some(by)) = (limit, by)
                && by > most
            {
                most = by;
                off = (dot.value, limit);
            }
        }
    }
    off
}

fn counts_line(words: &ExportWords, s: &RuleSummary) -> String {
    words.fill(
        "work.line",
        &[
            ("flagged", &s.flagged.to_string()),
            ("judged", &s.judged.to_string()),
            (
                "value",
                &words.value_and_uncertainty(s.rule, s.typical, s.uncertainty),
            ),
            ("limit", &limits_line(words, s)),
        ],
    )
}

/// 'at most 120° (a further 7° is let pass)'.
fn limits_line(words: &ExportWords, s: &RuleSummary) -> String {
    let wanted = words.limits(s.rule, &s.limits);
    if s.margin <= 0.0 {
        return wanted;
    }
    let dead_band = words.value(s.rule, s.margin);
    format!(
        "{wanted} ({})",
        words.fill("work.margin", &[("dead_band", &dead_band)])
    )
}

fn well_section(words: &ExportWords, summaries: &[RuleSummary], passes: usize) -> Markup {
    let well = summary::well(summaries);
    html! {
        section.well {
            h2 { (plain(words.get("section.well"))) }
            ul {
                @for w in &well { li { (plain(&well_line(words, w))) } }
                @if well.is_empty() {
                    @let skated = words.count("passes", passes);
                    li { (plain(&words.fill("well.skated", &[("passes", &skated)]))) }
                }
            }
        }
    }
}

fn well_line(words: &ExportWords, well: &Well) -> String {
    match well {
        Well::InBand(s) => words.fill(
            "well.in_band",
            &[
                ("name", words.name(s.rule)),
                ("good", &s.good().to_string()),
                ("seen", &s.seen_well.to_string()),
            ],
        ),
        Well::Better(s, before, after) => words.fill(
            "well.better",
            &[
                ("name", words.name(s.rule)),
                ("before", &words.value(s.rule, *before)),
                ("after", &words.value(s.rule, *after)),
            ],
        ),
    }
}

fn charts_section(words: &ExportWords, summaries: &[RuleSummary]) -> Markup {
    if summaries.is_empty() {
        return Markup::default();
    }
    html! {
        section.charts {
            h2 { (plain(words.get("section.charts"))) }
            p.note { (plain(words.get("chart.legend"))) }
            div.grid {
                @for (i, s) in summaries.iter().enumerate() {
                    @let wanted = if s.limits.flagged {
                        limits_line(words, s)
                    } else {
                        words.get("chart.no_limit").to_owned()
                    };
                    div.cell {
                        h3 { (plain(words.name(s.rule))) }
                        p.note { (plain(&wanted)) }
                        (PreEscaped(chart(words, s, &format!("c{i}"))))
                    }
                }
            }
            details.screen {
                summary { (plain(words.get("section.numbers"))) }
                @for s in summaries { (numbers_table(words, s)) }
            }
        }
    }
}

fn numbers_table(words: &ExportWords, s: &RuleSummary) -> Markup {
    let heads = [
        "table.pass",
        "table.value",
        "table.uncertainty",
        "table.limit",
    ];
    html! {
        table {
            caption { (plain(words.name(s.rule))) }
            thead { tr { @for key in heads { th scope="col" { (plain(words.get(key))) } } } }
            tbody {
                @for dot in &s.series {
                    @let side = if dot.flagged { "table.outside" } else { "table.inside" };
                    tr {
                        th scope="row" { (dot.session) "/" (dot.pass) }
                        td { (plain(&words.value(s.rule, dot.value))) }
                        td { "±" (plain(&words.value(s.rule, dot.uncertainty))) }
                        td { (plain(words.get(side))) }
                    }
                }
            }
        }
    }
}

fn quantities_section(words: &ExportWords, passes: &[Row<'_>]) -> Markup {
    let quantities = summary::of_quantities(passes);
    if quantities.is_empty() {
        return Markup::default();
    }
    html! {
        section.more {
            h2 { (plain(words.get("section.more"))) }
            dl {
                @for (quantity, value, uncertainty, _) in quantities {
                    div {
                        dt { (plain(words.quantity_name(quantity))) }
                        dd { (plain(&words.quantity(quantity.unit, value, uncertainty))) }
                    }
                }
            }
        }
    }
}

fn comments_section(words: &ExportWords, passes: &[Row<'_>]) -> Markup {
    let comments: Vec<(String, &str)> = passes
        .iter()
        .flat_map(|(s, p)| {
            p.notes
                .iter()
                .enumerate()
                .filter(|(_, n)| !n.comment.trim().is_empty())
                .map(move |(i, n)| {
                    let push = format!("{}/{}.{}", s.number, p.key.number, i + 1);
                    (push, n.comment.trim())
                })
        })
        .collect();
    if comments.is_empty() {
        return Markup::default();
    }
    html! {
        section.comments {
            h2 { (plain(words.get("section.comments"))) }
            ul {
                @for (i, (push, comment)) in comments.iter().enumerate() {
                    li class=(if i < COMMENTS_PRINTED { "clamp" } else { "screen" }) {
                        span.note { (plain(words.get("table.pass"))) " " (push) }
                        " " bdi { (plain(comment)) }
                    }
                }
            }
        }
    }
}

fn clip_words(words: &ExportWords, key: &str, link: &ClipLink) -> String {
    let rule = link.rule.rule();
    words.fill(
        key,
        &[
            ("pass", &link.pass.to_string()),
            ("push", &link.push.to_string()),
            (
                "leg",
                words.get(match link.leg {
                    Leg::Left => "clip.left",
                    Leg::Right => "clip.right",
                }),
            ),
            ("name", words.name(rule)),
            ("value", &words.value(rule, link.value)),
            ("limit", &link.limits),
        ],
    )
}

fn clips_section(
    words: &ExportWords,
    material: &Material,
    person: Option<usize>,
    pictures: &Pictures,
) -> Markup {
    if !material.passes_of(person).any(|(_, p)| p.is_flagged()) {
        return Markup::default();
    }
    let links: Vec<&ClipLink> = pictures
        .links
        .iter()
        .filter(|l| l.person == person)
        .take(MOST_CLIPS)
        .collect();
    let place = person.unwrap_or(material.people.len());
    let broken = pictures.broken.get(place).copied().unwrap_or(0);
    // On paper there are no clips, only what is to be said of them.
    let class = if !links.is_empty() && broken == 0 {
        "clips screen"
    } else {
        "clips"
    };
    html! {
        section class=(class) {
            h2 { (plain(words.get("section.clips"))) }
            @if links.is_empty() && broken == 0 {
                p { (plain(words.get(no_clips(material, person, pictures)))) }
            } @else {
                p class="note screen" { (plain(words.get("clip.legend"))) }
                div class="grid screen" {
                    @for link in links { (clip_figure(words, link)) }
                }
                @if broken > 0 {
                    p { (plain(&words.fill("clip.broken", &[("n", &broken.to_string())]))) }
                }
            }
        }
    }
}

/// The words that say why there are no clips.
fn no_clips(material: &Material, person: Option<usize>, pictures: &Pictures) -> &'static str {
    let consent = person
        .and_then(|i| material.people.get(i))
        .map(|p| p.consent);
    if pictures.left_out {
        "clip.none_wanted"
    } else if consent == Some(false) {
        "clip.none_consent"
    } else if material.anonymous {
        "clip.none_unblurred"
    } else {
        "clip.none_kept"
    }
}

fn clip_figure(words: &ExportWords, link: &ClipLink) -> Markup {
    html! {
        figure {
            video controls muted playsinline preload="none"
                poster={ "../" (plain(&link.still)) }
                aria-label=(plain(&clip_words(words, "clip.label", link))) {
                source src={ "../" (plain(&link.clip)) } type="video/mp4";
            }
            figcaption { (plain(&clip_words(words, "clip.caption", link))) }
        }
    }
}
