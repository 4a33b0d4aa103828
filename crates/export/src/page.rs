//! The pages: one for each skater, one for the session. Each is one file
//! without script and without anything from elsewhere but the clips and
//! stills beside it; it prints on at most two sheets.

use std::fmt::Write;

use super::chart::chart;
use super::dataset::{Material, SessionPart};
use super::figure_svg::figure_svg;
use super::summary::{self, Row, RuleSummary, Well};
use super::words::ExportWords;
use crate::calibration::Basis;
use crate::config::View;
use crate::figure::Order;
use crate::rules::{Leg, RuleId};

const STYLE: &str = include_str!("page.css");
/// Comments that go onto paper; the others are on the screen.
const COMMENTS_PRINTED: usize = 4;
/// Clips of one page; the others are in their folder.
const MOST_CLIPS: usize = 60;

/// A clip that was made, as a page links it.
#[derive(Debug, Clone, PartialEq)]
pub struct ClipLink {
    /// Who is seen.
    pub person: Option<usize>,
    /// `clips/....mp4`, from the top folder.
    pub clip: String,
    /// `stills/....png`, from the top folder.
    pub still: String,
    /// Number of the pass.
    pub pass: u32,
    /// Number of the push in the pass, from 1.
    pub push: usize,
    /// The pushing leg.
    pub leg: Leg,
    /// The rule.
    pub rule: RuleId,
    /// Measured value, in the rule's unit.
    pub value: f64,
    /// The limits it was held against, in words.
    pub limits: String,
}

/// What is known of the pictures of somebody's flagged pushes.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Pictures {
    /// The clips.
    pub links: Vec<ClipLink>,
    /// Flagged pushes whose pictures cannot be read, for each of the people
    /// and, at the end, for nobody.
    pub broken: Vec<usize>,
    /// Pictures were not wanted.
    pub left_out: bool,
}

/// What stands in the folder, for the links of the session's page.
pub struct Files {
    /// Page of each of the people, from the top folder.
    pub pages: Vec<String>,
    /// Page of the passes of nobody.
    pub nobody: Option<String>,
    /// All others with the key of their description.
    pub others: Vec<(String, &'static str)>,
}

/// Text as HTML shows it; control characters are left out.
pub fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 8);
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\n' | '\t' => out.push(' '),
            c if c.is_control() || is_noncharacter(c) => {}
            c => out.push(c),
        }
    }
    out
}

/// HTML has no place for these.
fn is_noncharacter(c: char) -> bool {
    matches!(u32::from(c), 0xFDD0..=0xFDEF) || u32::from(c) & 0xFFFE == 0xFFFE
}

/// How somebody is called.
pub fn label(words: &ExportWords, material: &Material, person: Option<usize>) -> String {
    match person.and_then(|i| Some((i, material.people.get(i)?))) {
        Some((i, person)) => {
            let number = (i + 1).to_string();
            person.label(&words.fill("page.skater_number", &[("n", &number)]))
        }
        None => words.get("page.no_name").to_owned(),
    }
}

struct Page<'a> {
    words: &'a ExportWords,
    html: String,
}

impl<'a> Page<'a> {
    fn new(words: &'a ExportWords, title: &str) -> Self {
        let mut html = String::with_capacity(64 << 10);
        let _ = write!(
            html,
            "<!DOCTYPE html>\n<html lang=\"{}\">\n<head>\n<meta charset=\"utf-8\">\n\
             <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
             <meta name=\"robots\" content=\"noindex\">\n<title>{}</title>\n<style>\n{STYLE}</style>\n\
             </head>\n<body>\n",
            words.code(),
            escape(title)
        );
        Page { words, html }
    }

    fn raw(&mut self, html: &str) {
        self.html.push_str(html);
    }

    fn text(&mut self, tag: &str, text: &str) {
        let name = tag.split(' ').next().unwrap_or(tag);
        let _ = writeln!(self.html, "<{tag}>{}</{name}>", escape(text));
    }

    fn word(&mut self, tag: &str, key: &str) {
        let words = self.words;
        self.text(tag, words.get(key));
    }

    fn list(&mut self, keys: &[&str]) {
        self.raw("<ul>\n");
        for key in keys {
            self.word("li", key);
        }
        self.raw("</ul>\n");
    }

    fn finish(mut self) -> String {
        self.raw("</main>\n</body>\n</html>\n");
        self.html
    }

    /// How it was measured, cautions, deleting.
    fn closing(&mut self, sessions: &[SessionPart]) {
        self.raw("<section class=\"sure\">\n");
        self.word("h2", "section.sure");
        let rests_on = |basis| sessions.iter().any(|s| Basis::of(&s.lane) == basis);
        self.raw("<ul>\n");
        for key in ["sure.how", "sure.band", "sure.sigma"] {
            self.word("li", key);
        }
        let mut said = Vec::new();
        for checked in sessions.iter().filter_map(|s| s.lane.checked.as_ref()) {
            let (words, n) = (self.words, checked.persons.to_string());
            let text = match checked.date.map(|day| day.to_string()) {
                Some(day) => words.fill("sure.checked_on", &[("date", &day), ("n", &n)]),
                None => words.fill("sure.checked", &[("n", &n)]),
            };
            if !said.contains(&text) {
                self.text("li", &text);
                said.push(text);
            }
        }
        let mut keys = Vec::new();
        if rests_on(Basis::PeoplePublished) {
            keys.push("sure.people");
        }
        if rests_on(Basis::Rendered) {
            keys.push("sure.rendered");
        }
        keys.extend(["sure.limits", "sure.not_judged", "sure.one_day"]);
        for key in keys {
            self.word("li", key);
        }
        self.raw("</ul>\n</section>\n<section class=\"care\">\n");
        self.word("h2", "section.care");
        self.list(&[
            "care.eyes",
            "care.pain",
            "care.head",
            "care.professional",
            "care.rules",
        ]);
        self.raw("</section>\n<section class=\"delete\">\n");
        self.word("h2", "section.delete");
        self.list(&["delete.copy", "delete.station"]);
        self.raw("</section>\n");
    }
}

/// '2026-11-25 14:07' of an RFC 9557 time.
fn short_time(text: &str) -> String {
    text.chars()
        .take(16)
        .map(|c| if c == 'T' { ' ' } else { c })
        .collect()
}

fn view_words(words: &ExportWords, view: View) -> &str {
    words.get(match view {
        View::Side => "page.view_side",
        View::Front => "page.view_front",
        View::Rear => "page.view_rear",
        View::Oblique => "page.view_oblique",
    })
}

/// 'Session 3, 2026-11-25 14:07, seen from the side'.
fn session_line(words: &ExportWords, session: &SessionPart) -> String {
    let mut parts = vec![words.fill("page.session", &[("n", &session.number.to_string())])];
    parts.extend(session.started_at.as_deref().map(short_time));
    parts.push(view_words(words, session.lane.view).to_owned());
    parts.join(", ")
}

/// The page of one skater, or of the passes of nobody.
pub fn skater_page(
    words: &ExportWords,
    material: &Material,
    person: Option<usize>,
    pictures: &Pictures,
) -> String {
    let passes: Vec<Row<'_>> = material.passes_of(person).collect();
    let name = label(words, material, person);
    let title = words.get("page.skater_title");
    let mut page = Page::new(words, &format!("{title}: {name}"));
    page.raw("<header>\n");
    // A page for one skater leads to nobody else.
    if !material.is_of_one() {
        page.raw("<p class=\"screen\"><a href=\"../index.html\">");
        page.raw(&escape(words.get("page.back")));
        page.raw("</a></p>\n");
    }
    page.raw("<h1><bdi>");
    page.raw(&escape(&name));
    page.raw("</bdi></h1>\n");
    let mut about = vec![
        title.to_owned(),
        words.count("passes", passes.len()),
        words.count("pushes", summary::pushes(&passes)),
    ];
    let groups = material.age_groups_of(person).join(", ");
    if !groups.is_empty() {
        about.push(words.fill("page.age_group", &[("group", &groups)]));
    }
    page.text("p class=\"about\"", &about.join(" · "));
    let sessions: Vec<String> = material
        .sessions
        .iter()
        .filter(|s| s.passes.iter().any(|p| p.person == person))
        .map(|s| session_line(words, s))
        .collect();
    page.text("p class=\"about\"", &sessions.join(" · "));
    if person.is_none() {
        page.word("p", "page.no_name_note");
    }
    notes_of_sessions(&mut page, material);
    page.raw("</header>\n<main>\n");

    let summaries = summary::of_rules(&passes);
    figure_section(&mut page, &summaries);
    work_section(&mut page, &summaries, person, pictures);
    well_section(&mut page, &summaries, passes.len());
    charts_section(&mut page, &summaries);
    quantities_section(&mut page, &passes);
    comments_section(&mut page, &passes);
    clips_section(&mut page, material, person, pictures);
    page.closing(&material.sessions);
    page.finish()
}

fn notes_of_sessions(page: &mut Page<'_>, material: &Material) {
    if material.anonymous {
        page.word("p class=\"note\"", "page.anonymous");
    }
    if material.sessions.iter().any(|s| s.interrupted) {
        page.word("p class=\"note\"", "page.interrupted");
    }
    let lost: u32 = material.sessions.iter().map(|s| s.passes_lost).sum();
    if lost > 0 {
        let text = page
            .words
            .fill("page.lost_passes", &[("n", &lost.to_string())]);
        page.text("p class=\"note\"", &text);
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
fn figure_section(page: &mut Page<'_>, summaries: &[RuleSummary]) {
    let words = page.words;
    let Some(first) = summary::work(summaries).into_iter().next() else {
        return;
    };
    let (value, limit) = worst_side(first);
    let order = Order::of_rule(first.rule.id, value < limit);
    let said = words.cue(first.rule, value, limit);
    page.raw("<section class=\"next\">\n<div class=\"beside\">\n");
    let title = words.fill("next.figure", &[("what", said)]);
    let svg = figure_svg(order, Leg::Right, value, limit, &title);
    page.raw(&svg);
    page.raw("<div>\n");
    page.word("h2", "section.next");
    page.text("p class=\"order\"", said);
    page.word("p", drill_of(order));
    page.word("p class=\"note\"", "next.care");
    page.word("p class=\"note\"", "next.legend");
    page.raw("</div>\n</div>\n</section>\n");
}

fn work_section(
    page: &mut Page<'_>,
    summaries: &[RuleSummary],
    person: Option<usize>,
    pictures: &Pictures,
) {
    let words = page.words;
    let work = summary::work(summaries);
    page.raw("<section class=\"work\">\n");
    page.word(
        "h2",
        if work.len() == 3 {
            "section.work"
        } else {
            "section.work_fewer"
        },
    );
    if work.is_empty() {
        let sum = |of: fn(&RuleSummary) -> usize| summaries.iter().map(of).sum::<usize>();
        let (judged, flagged) = (sum(|s| s.judged), sum(|s| s.flagged));
        let text = match (judged, flagged) {
            (0, _) => words.get("work.none_judged").to_owned(),
            (_, 0) => words.get("work.none").to_owned(),
            (_, n) => words.fill("work.few", &[("flagged", &n.to_string())]),
        };
        page.text("p", &text);
    } else {
        page.raw("<ol>\n");
        for s in work {
            page.raw("<li>");
            // The flagged push nearest to what is typical of those shown.
            let link = pictures
                .links
                .iter()
                .filter(|l| l.person == person && l.rule == s.rule.id)
                .min_by(|a, b| {
                    let off = |l: &ClipLink| (l.value - s.typical).abs();
                    off(a).total_cmp(&off(b))
                });
            if let Some(link) = link {
                let _ = write!(
                    page.html,
                    "<img src=\"../{}\" alt=\"{}\">",
                    escape(&link.still),
                    escape(&still_words(words, link))
                );
            }
            let worst = worst_side(s);
            let cue = words.cue(s.rule, worst.0, worst.1);
            page.text("strong", cue);
            page.text("span class=\"what\"", words.about(s.rule));
            page.text("span", &counts_line(words, s));
            page.raw("</li>\n");
        }
        page.raw("</ol>\n");
    }
    page.raw("</section>\n");
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

fn well_section(page: &mut Page<'_>, summaries: &[RuleSummary], passes: usize) {
    let words = page.words;
    page.raw("<section class=\"well\">\n");
    page.word("h2", "section.well");
    page.raw("<ul>\n");
    let well = summary::well(summaries);
    for w in &well {
        let text = match w {
            Well::InBand(s) => words.fill(
                "well.in_band",
                &[
                    ("name", words.name(s.rule)),
                    ("good", &(s.judged - s.flagged.min(s.judged)).to_string()),
                    ("judged", &s.judged.to_string()),
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
        };
        page.text("li", &text);
    }
    if well.is_empty() {
        let skated = words.count("passes", passes);
        page.text("li", &words.fill("well.skated", &[("passes", &skated)]));
    }
    page.raw("</ul>\n</section>\n");
}

fn charts_section(page: &mut Page<'_>, summaries: &[RuleSummary]) {
    if summaries.is_empty() {
        return;
    }
    let words = page.words;
    page.raw("<section class=\"charts\">\n");
    page.word("h2", "section.charts");
    page.word("p class=\"note\"", "chart.legend");
    page.raw("<div class=\"grid\">\n");
    for (i, s) in summaries.iter().enumerate() {
        page.raw("<div class=\"cell\">");
        page.text("h3", words.name(s.rule));
        let wanted = if s.limits.flagged {
            limits_line(words, s)
        } else {
            words.get("chart.no_limit").to_owned()
        };
        page.text("p class=\"note\"", &wanted);
        let svg = chart(words, s, &format!("c{i}"));
        page.raw(&svg);
        page.raw("</div>\n");
    }
    page.raw("</div>\n<details class=\"screen\">");
    page.word("summary", "section.numbers");
    for s in summaries {
        page.raw("<table>");
        page.text("caption", words.name(s.rule));
        page.raw("<thead><tr>");
        for key in [
            "table.pass",
            "table.value",
            "table.uncertainty",
            "table.limit",
        ] {
            page.word("th scope=\"col\"", key);
        }
        page.raw("</tr></thead><tbody>\n");
        for dot in &s.series {
            page.raw("<tr>");
            page.text("th scope=\"row\"", &format!("{}/{}", dot.session, dot.pass));
            page.text("td", &words.value(s.rule, dot.value));
            page.text("td", &format!("±{}", words.value(s.rule, dot.uncertainty)));
            page.word(
                "td",
                if dot.flagged {
                    "table.outside"
                } else {
                    "table.inside"
                },
            );
            page.raw("</tr>\n");
        }
        page.raw("</tbody></table>\n");
    }
    page.raw("</details>\n</section>\n");
}

fn quantities_section(page: &mut Page<'_>, passes: &[Row<'_>]) {
    let quantities = summary::of_quantities(passes);
    if quantities.is_empty() {
        return;
    }
    let words = page.words;
    page.raw("<section class=\"more\">\n");
    page.word("h2", "section.more");
    page.raw("<dl>\n");
    for (quantity, value, uncertainty, _) in quantities {
        page.raw("<div>");
        page.text("dt", words.quantity_name(quantity));
        page.text("dd", &words.quantity(quantity.unit, value, uncertainty));
        page.raw("</div>\n");
    }
    page.raw("</dl>\n</section>\n");
}

fn comments_section(page: &mut Page<'_>, passes: &[Row<'_>]) {
    let comments: Vec<(i64, u32, usize, &str)> = passes
        .iter()
        .flat_map(|(s, p)| {
            p.notes
                .iter()
                .enumerate()
                .filter(|(_, n)| !n.comment.trim().is_empty())
                .map(move |(i, n)| (s.number, p.key.number, i + 1, n.comment.trim()))
        })
        .collect();
    if comments.is_empty() {
        return;
    }
    page.raw("<section class=\"comments\">\n");
    page.word("h2", "section.comments");
    page.raw("<ul>\n");
    let words = page.words;
    for (i, (session, pass, push, comment)) in comments.into_iter().enumerate() {
        let class = if i < COMMENTS_PRINTED {
            "clamp"
        } else {
            "screen"
        };
        let _ = writeln!(
            page.html,
            "<li class=\"{class}\"><span class=\"note\">{} {session}/{pass}.{push}</span> <bdi>{}</bdi></li>",
            escape(words.get("table.pass")),
            escape(comment)
        );
    }
    page.raw("</ul>\n</section>\n");
}

fn still_words(words: &ExportWords, link: &ClipLink) -> String {
    clip_words(words, "clip.still", link)
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
    page: &mut Page<'_>,
    material: &Material,
    person: Option<usize>,
    pictures: &Pictures,
) {
    let words = page.words;
    let flagged = material.passes_of(person).any(|(_, p)| p.is_flagged());
    if !flagged {
        return;
    }
    let mut links = pictures
        .links
        .iter()
        .filter(|l| l.person == person)
        .peekable();
    let place = person.unwrap_or(material.people.len());
    let broken = pictures.broken.get(place).copied().unwrap_or(0);
    // On paper there are no clips, only what is to be said of them.
    let class = if links.peek().is_some() && broken == 0 {
        "clips screen"
    } else {
        "clips"
    };
    page.raw(&format!("<section class=\"{class}\">\n"));
    page.word("h2", "section.clips");
    if links.peek().is_none() && broken == 0 {
        let consent = person
            .and_then(|i| material.people.get(i))
            .map(|p| p.consent);
        page.word(
            "p",
            if pictures.left_out {
                "clip.none_wanted"
            } else if consent == Some(false) {
                "clip.none_consent"
            } else if material.anonymous {
                "clip.none_unblurred"
            } else {
                "clip.none_kept"
            },
        );
    } else {
        page.word("p class=\"note screen\"", "clip.legend");
        page.raw("<div class=\"grid screen\">\n");
        for link in links.take(MOST_CLIPS) {
            let _ = write!(
                page.html,
                "<figure><video controls muted playsinline preload=\"none\" poster=\"../{}\" \
                 aria-label=\"{}\"><source src=\"../{}\" type=\"video/mp4\"></video>",
                escape(&link.still),
                escape(&clip_words(words, "clip.label", link)),
                escape(&link.clip),
            );
            page.text("figcaption", &clip_words(words, "clip.caption", link));
            page.raw("</figure>\n");
        }
        page.raw("</div>\n");
        if broken > 0 {
            let text = words.fill("clip.broken", &[("n", &broken.to_string())]);
            page.text("p", &text);
        }
    }
    page.raw("</section>\n");
}

/// The page of the whole export.
pub fn index_page(words: &ExportWords, material: &Material, files: &Files) -> String {
    let title = words.get("page.session_title");
    let mut page = Page::new(words, title);
    page.raw("<header>\n");
    page.text("h1", title);
    for session in &material.sessions {
        let line = [
            session_line(words, session),
            words.fill("page.age_group", &[("group", session.age_group.name())]),
            words.count("passes", session.passes.len()),
            words.count(
                "pushes",
                session.passes.iter().map(|p| p.pass.pushes.len()).sum(),
            ),
        ]
        .join(" · ");
        page.text("p class=\"about\"", &line);
    }
    notes_of_sessions(&mut page, material);
    page.raw("</header>\n<main>\n<section class=\"people\">\n");
    page.word("h2", "section.skaters");
    page.raw("<ul>\n");
    let people = (0..material.people.len()).map(Some);
    for person in people.chain(material.has_nobody().then_some(None)) {
        let href = match person {
            Some(i) => files.pages.get(i),
            None => files.nobody.as_ref(),
        };
        let passes = words.count("passes", material.passes_of(person).count());
        let name = escape(&label(words, material, person));
        page.raw("<li>");
        match href {
            Some(href) => {
                let _ = write!(
                    page.html,
                    "<a href=\"{}\"><bdi>{name}</bdi></a>",
                    escape(href)
                );
            }
            None => page.raw(&name),
        }
        let _ = writeln!(page.html, " · {}</li>", escape(&passes));
    }
    page.raw("</ul>\n</section>\n");
    measures_section(&mut page, material);
    page.raw("<section class=\"files screen\">\n");
    page.word("h2", "section.files");
    page.raw("<ul>\n");
    for (file, about) in &files.others {
        let _ = writeln!(
            page.html,
            "<li><a href=\"{0}\">{0}</a>: {1}</li>",
            escape(file),
            escape(words.get(about))
        );
    }
    page.raw("</ul>\n</section>\n");
    page.closing(&material.sessions);
    page.finish()
}

fn measures_section(page: &mut Page<'_>, material: &Material) {
    let words = page.words;
    let summaries = summary::of_rules(&material.passes().collect::<Vec<_>>());
    if summaries.is_empty() {
        return;
    }
    page.raw("<section class=\"measures\">\n");
    page.word("h2", "section.measures");
    page.raw("<div class=\"wide\" tabindex=\"0\" role=\"region\" aria-label=\"");
    page.raw(&escape(words.get("section.measures")));
    page.raw("\"><table><thead><tr>");
    for key in [
        "table.measure",
        "table.judged",
        "table.in_band",
        "table.flagged",
        "table.dismissed",
        "table.uncertainty",
    ] {
        page.word("th scope=\"col\"", key);
    }
    page.raw("</tr></thead><tbody>\n");
    for s in &summaries {
        page.raw("<tr>");
        page.text("th scope=\"row\"", words.name(s.rule));
        for n in [
            s.judged,
            s.judged - s.flagged.min(s.judged),
            s.flagged,
            s.dismissed,
        ] {
            page.text("td", &n.to_string());
        }
        let uncertainty = s
            .uncertainty
            .map(|d| format!("±{}", words.value(s.rule, d)))
            .unwrap_or_default();
        page.text("td", &uncertainty);
        page.raw("</tr>\n");
    }
    page.raw("</tbody></table></div>\n<dl>\n");
    for s in &summaries {
        page.raw("<div>");
        page.text("dt", words.name(s.rule));
        page.text("dd", words.about(s.rule));
        page.raw("</div>\n");
    }
    page.raw("</dl>\n</section>\n");
}
