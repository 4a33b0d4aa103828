//! The page of the whole export.

use maud::{Markup, html};

use super::{Files, document, label, notes_of_sessions, plain, session_line, wide_table};
use crate::dataset::Material;
use crate::feedback::Counted;
use crate::store::Verdict;
use crate::summary::{self, RuleSummary};
use crate::words::ExportWords;

/// The page of the whole export.
pub fn session_page(words: &ExportWords, material: &Material, files: &Files) -> String {
    let title = words.get("page.session_title");
    let header = html! {
        h1 { (plain(title)) }
        @for session in &material.sessions {
            @let pushes = session.passes.iter().map(|p| p.pass.pushes.len()).sum();
            @let line = [
                session_line(words, session),
                words.fill("page.age_group", &[("group", session.age_group.name())]),
                words.count("passes", session.passes.len()),
                words.count("pushes", pushes),
            ];
            p.about { (plain(&line.join(" · "))) }
        }
        (notes_of_sessions(words, material))
    };
    let sections = html! {
        (people_section(words, material, files))
        (measures_section(words, material))
        (files_section(words, files))
    };
    document(words, title, &header, &sections, &material.sessions)
}

/// Who needs what: in the order of their first pass and without values, since children are not
/// ranked here.
fn people_section(words: &ExportWords, material: &Material, files: &Files) -> Markup {
    let people = (0..material.people.len()).map(Some);
    let title = words.get("section.skaters");
    let heads = ["team.skater", "team.needs", "team.good", "team.passes"].map(|key| words.get(key));
    let rows = html! {
        @for person in people.chain(material.has_nobody().then_some(None)) {
            (person_row(words, material, files, person))
        }
    };
    html! {
        section.people {
            h2 { (plain(title)) }
            (wide_table(title, &heads, &rows))
            p.about { (plain(words.get("team.how"))) }
        }
    }
}

fn person_row(
    words: &ExportWords,
    material: &Material,
    files: &Files,
    person: Option<usize>,
) -> Markup {
    let name = plain(&label(words, material, person));
    let page = match person {
        Some(i) => files.pages.get(i),
        None => files.nobody.as_ref(),
    };
    let mut counted = Counted::default();
    for (_, part) in material.passes_of(person) {
        let limits = &part.pass.thresholds.limits;
        for (i, push) in part.pass.pushes.iter().enumerate() {
            let dismissed = |rule| part.verdict(i, rule) == Some(Verdict::Dismissed);
            counted.add(push, |rule| limits[rule].flagged, dismissed);
        }
    }
    // Whoever passed without a name is not one skater.
    let (needs, good) = match person {
        None => Default::default(),
        Some(_) => (needs_words(words, &counted), counted.goes_well()),
    };
    html! {
        tr {
            th scope="row" {
                @match page {
                    Some(page) => a href=(plain(page)) { bdi { (name) } },
                    None => (name),
                }
            }
            td { (plain(&needs)) }
            td { @if let Some(rule) = good { (plain(words.name(rule.rule()))) } }
            td { (material.passes_of(person).count()) }
        }
    }
}

fn needs_words(words: &ExportWords, counted: &Counted) -> String {
    match counted.needs() {
        Some((rule, _)) => words.name(rule.rule()).to_owned(),
        None if counted.is_enough() => words.get("team.nothing").to_owned(),
        None => words.get("team.too_few").to_owned(),
    }
}

fn files_section(words: &ExportWords, files: &Files) -> Markup {
    html! {
        section class="files screen" {
            h2 { (plain(words.get("section.files"))) }
            ul {
                @for (file, about) in &files.others {
                    li {
                        a href=(plain(file)) { (plain(file)) } ": " (plain(words.get(about)))
                    }
                }
            }
        }
    }
}

fn measures_section(words: &ExportWords, material: &Material) -> Markup {
    let summaries = summary::of_rules(&material.passes().collect::<Vec<_>>());
    if summaries.is_empty() {
        return Markup::default();
    }
    let heads = [
        "table.measure",
        "table.judged",
        "table.in_band",
        "table.flagged",
        "table.dismissed",
        "table.uncertainty",
    ]
    .map(|key| words.get(key));
    let title = words.get("section.measures");
    let rows = html! { @for s in &summaries { (measure_row(words, s)) } };
    html! {
        section.measures {
            h2 { (plain(title)) }
            (wide_table(title, &heads, &rows))
            dl {
                @for s in &summaries {
                    div {
                        dt { (plain(words.name(s.rule))) }
                        dd { (plain(words.about(s.rule))) }
                    }
                }
            }
        }
    }
}

fn measure_row(words: &ExportWords, s: &RuleSummary) -> Markup {
    let in_band = s.judged - s.flagged.min(s.judged);
    let uncertainty = s
        .uncertainty
        .map(|d| format!("±{}", words.value(s.rule, d)))
        .unwrap_or_default();
    html! {
        tr {
            th scope="row" { (plain(words.name(s.rule))) }
            @for n in [s.judged, in_band, s.flagged, s.dismissed] { td { (n) } }
            td { (plain(&uncertainty)) }
        }
    }
}
