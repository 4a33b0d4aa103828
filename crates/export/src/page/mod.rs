//! The pages: one for each skater, one for the session. Each is one file
//! without script and without anything from elsewhere but the clips and
//! stills beside it; it prints on at most two sheets.

mod session;
mod skater;

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::dataset::{Material, SessionPart};
use super::words::ExportWords;
use crate::calibration::Basis;
use crate::config::View;
use crate::rules::{Leg, RuleId};

pub use session::session_page;
pub use skater::skater_page;

const STYLE: &str = include_str!("page.css");

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

/// Text from a file or a coach, as a page takes it.
pub fn plain(text: &str) -> Markup {
    PreEscaped(escape(text))
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

/// A page of an export.
fn document(
    words: &ExportWords,
    title: &str,
    header: &Markup,
    sections: &Markup,
    sessions: &[SessionPart],
) -> String {
    let main = html! {
        (sections)
        (closing(words, sessions))
    };
    shell(words, title, header, &main)
}

/// A whole file.
pub fn shell(words: &ExportWords, title: &str, header: &Markup, main: &Markup) -> String {
    html! {
        (DOCTYPE)
        html lang=(words.code()) {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="robots" content="noindex";
                title { (plain(title)) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                header { (header) }
                main { (main) }
            }
        }
    }
    .into_string()
}

/// A table that can be moved sideways where it is too wide. `heads` are words as they are
/// shown, `rows` its rows.
pub fn wide_table(title: &str, heads: &[&str], rows: &Markup) -> Markup {
    html! {
        div.wide tabindex="0" role="region" aria-label=(plain(title)) {
            table {
                thead { tr { @for head in heads { th scope="col" { (plain(head)) } } } }
                tbody { (rows) }
            }
        }
    }
}

pub fn list(lines: &[String]) -> Markup {
    html! { ul { @for line in lines { li { (plain(line)) } } } }
}

/// How it was measured, cautions, deleting.
fn closing(words: &ExportWords, sessions: &[SessionPart]) -> Markup {
    let rests_on = |basis| sessions.iter().any(|s| Basis::of(&s.lane) == basis);
    let word = |key| words.get(key).to_owned();
    let mut sure = ["sure.how", "sure.band", "sure.sigma"].map(word).to_vec();
    for checked in sessions.iter().filter_map(|s| s.lane.checked.as_ref()) {
        let rules = checked.held().filter_map(|of| RuleId::from_code(of.rule()));
        let held: Vec<&str> = rules.map(|rule| words.name(rule.rule())).collect();
        let (n, held) = (checked.persons.to_string(), held.join(", "));
        let text = match checked.date.map(|day| day.to_string()) {
            Some(day) => words.fill(
                "sure.checked_on",
                &[("date", &day), ("n", &n), ("held", &held)],
            ),
            None => words.fill("sure.checked", &[("n", &n), ("held", &held)]),
        };
        if !sure.contains(&text) {
            sure.push(text);
        }
    }
    if rests_on(Basis::PeoplePublished) {
        sure.push(word("sure.people"));
    }
    if rests_on(Basis::Rendered) {
        sure.push(word("sure.rendered"));
    }
    sure.extend(["sure.limits", "sure.not_judged", "sure.one_day"].map(word));
    let care = [
        "care.eyes",
        "care.pain",
        "care.head",
        "care.professional",
        "care.rules",
    ]
    .map(word);
    let delete = ["delete.copy", "delete.station"].map(word);
    html! {
        section.sure {
            h2 { (plain(words.get("section.sure"))) }
            (list(&sure))
        }
        section.care {
            h2 { (plain(words.get("section.care"))) }
            (list(&care))
        }
        section.delete {
            h2 { (plain(words.get("section.delete"))) }
            (list(&delete))
        }
    }
}

/// '2026-11-25 14:07' of an RFC 9557 time.
fn short_time(text: &str) -> String {
    text.chars()
        .take(16)
        .map(|c| if c == 'T' { ' ' } else { c })
        .collect()
}

pub fn view_words(words: &ExportWords, view: View) -> &str {
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

fn notes_of_sessions(words: &ExportWords, material: &Material) -> Markup {
    let lost: u32 = material.sessions.iter().map(|s| s.passes_lost).sum();
    html! {
        @if material.anonymous {
            p.note { (plain(words.get("page.anonymous"))) }
        }
        @if material.sessions.iter().any(|s| s.interrupted) {
            p.note { (plain(words.get("page.interrupted"))) }
        }
        @if lost > 0 {
            p.note { (plain(&words.fill("page.lost_passes", &[("n", &lost.to_string())]))) }
        }
    }
}
