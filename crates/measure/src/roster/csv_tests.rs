//! Roster files as coaches' spreadsheets write them.

use super::*;
use crate::roster::SkaterId;

fn faults(text: &str, known: &[Skater]) -> Vec<String> {
    let report = import_csv(text.as_bytes(), known).unwrap_err();
    report.faults.iter().map(ToString::to_string).collect()
}

fn new(text: &str) -> Vec<Skater> {
    import_csv(text.as_bytes(), &[]).unwrap().new
}

#[test]
fn separators_quotes_line_ends_and_empty_lines() {
    let wanted =
        new("name,bib,age_group,height_cm\nRobin,12,U13,147.5\n\"Kim \"\"K\"\", jr\",,U9,\n");
    assert_eq!(wanted[0].label(), "12 Robin");
    assert_eq!(wanted[0].height_m, Some(1.475));
    assert_eq!(
        (wanted[1].name.as_str(), wanted[1].bib.as_deref()),
        ("Kim \"K\", jr", None)
    );
    for text in [
        "\u{FEFF}name;bib;age_group;height_cm\r\nRobin;12;U13;147,5\r\n;;;\r\n\r\n\"Kim \"\"K\"\", jr\";;U9;\r\n",
        "sep=;\r\nname;bib;age_group;height_cm\r\nRobin;12;u13;1,475\r\n\"Kim \"\"K\"\", jr\";;u9\r\n",
        "Name\tNumber\tGroup\tHeight\nRobin\t12\tU13\t1.475 m\n\"Kim \"\"K\"\", jr\"\t\tU9\t",
        "\n\nnom;numéro;groupe;taille\n Robin ; 12 ;U13;147,5 cm\nKim \"K\", jr;;U9;\n",
    ] {
        assert_eq!(new(text), wanted, "{text:?}");
    }
}

#[test]
fn every_fault_is_named_with_its_line_and_nothing_is_taken() {
    let text = "name;age_group;height_cm;band;consent_on;consent_by\n\
                Robin;U13;147;red;2026-09-01;Kim\n\
                \n\
                ;U13;;;;\n\
                Sasha;U14;;;;\n\
                robin;U13;;;;\n\
                Alex;U9;1470;;;\n\
                Chris;U9;;pink;;\n\
                Toni;U9;;;1.9.2026;Kim\n\
                Noa;U9;;;2026-09-01;\n\
                Uli;U9;;;;;extra\n";
    let said = faults(text, &[]);
    for (fault, begin) in said.iter().zip([
        "line 4: the name is missing",
        "line 5: the age group 'U14' is not known; it must be one of: U7, U9",
        "line 6: 'robin' stands already in line 2",
        "line 7: the height '1470' is not between 80 and 220 cm",
        "line 8: the colour 'pink' is not known",
        "line 9: the day '1.9.2026' is not written as 2026-09-30",
        "line 10: a consent needs both",
        "line 11: it has 7 cells, the first line has 6",
    ]) {
        assert!(fault.starts_with(begin), "{fault}");
    }
    assert_eq!(said.len(), 8, "{said:?}");
    let one_sentence = import_csv(text.as_bytes(), &[]).unwrap_err().to_string();
    assert!(one_sentence.starts_with("nothing was imported; line 4:"));
}

#[test]
fn headings_that_are_missing_unknown_or_double_are_named() {
    let one = |text: &str| faults(text, &[]).remove(0);
    assert_eq!(one(""), "the file is empty");
    assert_eq!(one("\n\n"), "the file is empty");
    assert_eq!(
        one("name;age_group\n"),
        "the file has no skater below its first line"
    );
    assert_eq!(
        one("name;bib\nA;1\n"),
        "line 1: the column 'age_group' is missing"
    );
    assert_eq!(
        one("name;Name;age_group\n"),
        "line 1: the column 'name' is there twice"
    );
    assert!(
        one("Robin;U13\n")
            .starts_with("line 1: the column 'Robin' is not known; the first line names")
    );
    assert!(one("name,age_group\n\"Robin,U13\nKim,U9\n").contains("quotation mark"));
    assert_eq!(
        one("a\0b"),
        "this is not a text file; save it as CSV in UTF-8"
    );
}

#[test]
fn an_odd_encoding_is_said_aloud() {
    let plan = import_csv(b"name;age_group\nZo\xE9;U9\n", &[]).unwrap();
    assert_eq!(plan.new[0].name, "Zoé");
    assert!(plan.notes[0].contains("Windows-1252"), "{:?}", plan.notes);
    let utf8 = import_csv("name;age_group\nZoé;U9\n".as_bytes(), &[]).unwrap();
    assert!(utf8.notes.is_empty());
}

#[test]
fn a_known_skater_is_changed_and_keeps_what_the_file_does_not_speak_of() {
    let mut robin = Skater::new("Robin", AgeGroup::U11);
    robin.id = SkaterId(4);
    robin.bib = Some("12".into());
    robin.height_m = Some(1.4);
    robin.consent = Some(Consent {
        given_on: "2026-01-02".parse().unwrap(),
        given_by: "Kim".into(),
    });
    let known = [robin.clone(), Skater::new("Sasha", AgeGroup::U9)];
    let text =
        "name,age_group,height_cm,consent_on,consent_by\nROBIN,U13,,,\nSasha,U9,,,\nNew,U7,,,\n";
    let plan = import_csv(text.as_bytes(), &known).unwrap();
    let expected = Skater {
        name: "ROBIN".into(),
        age_group: AgeGroup::U13,
        height_m: None,
        ..robin
    };
    assert_eq!(plan.changed, [expected]);
    assert_eq!((plan.unchanged, plan.new.len()), (1, 1));
    assert!(
        plan.notes[0].starts_with("one consent was kept"),
        "{:?}",
        plan.notes
    );

    let twice = [known[1].clone(), known[1].clone()];
    let said = faults("name,age_group\nsasha,U9\n", &twice);
    assert!(
        said[0].contains("two skaters of the roster are called 'sasha'"),
        "{said:?}"
    );
}

#[test]
fn what_is_written_is_read_back() {
    let mut odd = Skater::new("=1+1; \"x\", y", AgeGroup::Adult);
    odd.bib = Some("-7".into());
    odd.band = Some(BandColour::Black);
    odd.height_m = Some(1.815);
    odd.consent = Some(Consent {
        given_on: "2026-12-31".parse().unwrap(),
        given_by: "@self".into(),
    });
    let skaters = vec![odd, Skater::new("Zoé 李", AgeGroup::U7)];
    for separator in [',', ';', '\t'] {
        let text = export_csv(&skaters, separator);
        assert!(
            !text
                .lines()
                .any(|l| l.starts_with('=') || l.starts_with("\"=")),
            "{text}"
        );
        assert_eq!(new(&text), skaters, "{text}");
    }
}

#[test]
fn heights_as_people_write_them() {
    for (word, metres) in [
        ("147", 1.47),
        ("147cm", 1.47),
        ("147,5 cm", 1.475),
        ("1.47", 1.47),
        ("1,47", 1.47),
        ("1,47 M", 1.47),
        ("1m47", 1.47),
        ("0.8", 0.8),
    ] {
        let got = height_m(word).unwrap();
        assert!((got - metres).abs() < 1e-9, "{word} became {got}");
    }
    for word in ["", "tall", "5'2", "79", "221", "NaN", "inf", "1m5", "-1.5"] {
        assert_eq!(height_m(word), None, "{word}");
    }
}

/// 5000 files of noise around real ones: an answer, never a panic.
#[test]
fn noise_is_answered() {
    let good = "name;age_group;height_cm\r\nRobin;U13;147\r\n\"Kim\";U9;1,20\r\n".as_bytes();
    let mut state = 7u64;
    let mut random = || {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1);
        (state >> 33) as usize
    };
    let mut taken = 0;
    for _ in 0..5000 {
        let mut bytes = good.to_vec();
        for _ in 0..1 + random() % 4 {
            let at = random() % bytes.len();
            match random() % 3 {
                0 => bytes[at] = random() as u8,
                1 => drop(bytes.remove(at)),
                _ => bytes.insert(at, b";\"\n\r,\xFF"[random() % 6]),
            }
        }
        if let Ok(plan) = import_csv(&bytes, &[]) {
            taken += 1;
            assert!(!plan.new.is_empty());
            assert!(plan.new.iter().all(|s| !s.name.is_empty()));
        }
    }
    assert!(taken > 0 && taken < 5000);
}
