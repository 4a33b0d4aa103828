//! Which sessions and skaters are meant, and what is said in the end.

use super::*;
use crate::rules::AgeGroup;

#[test]
fn an_export_from_the_panel_is_named_by_day_and_session_and_by_nobody() {
    let now = "2026-01-17T18:05:09+01:00[Europe/Zurich]".parse().unwrap();
    let mut order = ExportOrder {
        what: ExportWhat::Session(12),
        skater: Some(SkaterId(3)),
        flagged_only: false,
        anonymous: true,
        zip: true,
        into: "/media/stick".into(),
    };
    assert_eq!(
        panel_name(&order, &now),
        "kickplate-2026-01-17-180509-session-12.zip"
    );
    (order.what, order.zip) = (ExportWhat::All, false);
    assert_eq!(panel_name(&order, &now), "kickplate-2026-01-17-180509");
}

fn skater(id: i64, name: &str, bib: Option<&str>) -> Skater {
    Skater {
        id: SkaterId(id),
        bib: bib.map(str::to_owned),
        ..Skater::new(name, AgeGroup::U11)
    }
}

#[test]
fn a_skater_is_found_by_name_number_or_both_and_never_guessed() {
    let known = [
        skater(1, "Robin", Some("12")),
        skater(2, "Robin", Some("7")),
        skater(3, "Élodie", None),
    ];
    assert_eq!(chosen_skater(&known, "12 robin").unwrap(), SkaterId(1));
    assert_eq!(chosen_skater(&known, "7").unwrap(), SkaterId(2));
    assert_eq!(chosen_skater(&known, " ÉLODIE ").unwrap(), SkaterId(3));
    let two = chosen_skater(&known, "Robin").unwrap_err().0;
    assert!(two.contains("12 Robin, 7 Robin"), "{two}");
    let none = chosen_skater(&known, "Rob").unwrap_err().0;
    assert!(none.contains("no skater 'Rob'"), "{none}");
    assert!(chosen_skater(&[], "").is_err());
}

#[test]
fn without_sessions_there_is_a_sentence() {
    for choice in [
        SessionChoice::Tonight,
        SessionChoice::All,
        SessionChoice::Latest,
        SessionChoice::Number(3),
        SessionChoice::Day("2026-11-30".parse().unwrap()),
    ] {
        let today = "2026-11-30".parse().unwrap();
        let said = chosen_sessions(&[], choice, today).unwrap_err().0;
        assert!(said.contains("no session"), "{said}");
    }
}
