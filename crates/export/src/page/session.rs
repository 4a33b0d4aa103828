//! The page of the whole export.

use maud::{Markup, html};

use super::{Files, document, label, notes_of_sessions, plain, session_line, wide_table};
use crate::dataset::Material;
use crate::summary::{self, Row, RuleSummary, Well};
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
    // What the skater's own page says. Whoever passed without a name is not one skater.
    let rows: Vec<Row<'_>> = material.passes_of(person).collect();
    let summaries = match person {
        None => Vec::new(),
        Some(_) => summary::of_rules(&rows),
    };
    let work = summary::work(&summaries)
        .first()
        .map(|s| words.name(s.rule));
    let needs = match (person, work) {
        (None, _) => "",
        (_, Some(name)) => name,
        _ if summaries.is_empty() => words.get("team.not_judged"),
        _ => words.get("team.nothing"),
    };
    let good = summary::well(&summaries)
        .iter()
        .find_map(|well| match well {
            Well::InBand(s) => Some(words.name(s.rule)),
            Well::Better(..) => None,
        })
        .unwrap_or_default();
    html! {
        tr {
            th scope="row" {
                @match page {
                    Some(page) => a href=(plain(page)) { bdi { (name) } },
                    None => (name),
                }
            }
            td { (plain(needs)) }
            td { (plain(good)) }
            td { (rows.len()) }
        }
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
