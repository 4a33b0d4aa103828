use super::*;

fn pass(number: i64, skater: Option<&str>, subject: Subject) -> PassRow {
    PassRow {
        number,
        skater: skater.map(str::to_owned),
        group: AgeGroup::U11,
        subject,
        judged: QuantityMap::default(),
    }
}

fn push(pass: i64, skater: Option<&str>, knee: OfPush) -> PushRow {
    PushRow {
        pass,
        skater: skater.map(str::to_owned),
        group: AgeGroup::U11,
        view: View::Side,
        rules: RuleMap::from_fn(|rule| (rule == RuleId::KneeBend).then_some(knee)),
    }
}

fn judged(value: f64, flagged: bool, verdict: Option<Verdict>) -> OfPush {
    OfPush::Judged {
        value: Some(value),
        flagged,
        verdict,
    }
}

/// As NumPy's `quantile([1, 2, 3, 4], [0.25, 0.5, 0.75])`; whole datasets are held against
/// DuckDB and Polars (`tests/pure/club_report.rs`).
#[test]
fn quartiles_lie_between_values_in_proportion() {
    assert_eq!(quartiles(&mut []), None);
    assert_eq!(quartiles(&mut [7.0]), Some([7.0; 3]));
    let mut four = [4.0, 1.0, 3.0, 2.0];
    assert_eq!(quartiles(&mut four), Some([1.75, 2.5, 3.25]));
    let mut five = [10.0, 0.0, 20.0, 40.0, 30.0];
    assert_eq!(quartiles(&mut five), Some([10.0, 20.0, 30.0]));
}

#[test]
fn rendered_passes_and_their_pushes_are_counted_and_nothing_else() {
    let mut gathering = Gathering::default();
    let day = "2026-11-02".parse().unwrap();
    let passes = [
        pass(1, Some("a"), Subject::People),
        pass(2, Some("b"), Subject::Rendered),
    ];
    let pushes = [
        push(1, Some("a"), judged(120.0, true, None)),
        push(2, Some("b"), judged(90.0, true, None)),
    ];
    gathering.session("rink-a", day, &passes, &pushes);
    let only_rendered = [pass(1, None, Subject::Rendered)];
    gathering.session("rink-b", day, &only_rendered, &[]);
    let told = gathering.finish();
    assert_eq!(
        (
            told.sessions(),
            told.passes(),
            told.pushes,
            told.rendered_passes
        ),
        (1, 1, 1, 2)
    );
    assert_eq!(told.rules[RuleId::KneeBend].flagged, 1);
    let days = &told.progress[&(AgeGroup::U11, Measured::Rule(RuleId::KneeBend))];
    assert_eq!(days[0].quartiles, [120.0; 3]);
}

#[test]
fn a_verdict_counts_where_a_flag_stands_and_a_skater_counts_once_a_month() {
    let mut gathering = Gathering::default();
    for (day, station) in [
        ("2026-11-02", "rink-a"),
        ("2026-11-09", "rink-a"),
        ("2026-12-01", "rink-a"),
    ] {
        let passes = [
            pass(1, Some("a"), Subject::People),
            pass(2, Some("b"), Subject::People),
            pass(3, None, Subject::People),
        ];
        let pushes = [
            push(1, Some("a"), judged(130.0, true, Some(Verdict::Confirmed))),
            push(1, Some("a"), judged(110.0, false, Some(Verdict::Dismissed))),
            push(2, Some("b"), judged(140.0, true, Some(Verdict::Dismissed))),
            push(3, None, OfPush::Not(NotJudged::FarLegHidden)),
        ];
        gathering.session(station, day.parse().unwrap(), &passes, &pushes);
    }
    let told = gathering.finish();
    let month = |month: &str| &told.months[&(month.to_owned(), "rink-a".to_owned())];
    assert_eq!(
        (month("2026-11").sessions, month("2026-11").skaters),
        (2, 2)
    );
    assert_eq!(
        (month("2026-12").sessions, month("2026-12").skaters),
        (1, 2)
    );
    assert_eq!(month("2026-11").of_nobody, 2);
    let knee = &told.rules[RuleId::KneeBend];
    assert_eq!(
        *knee,
        RuleCounts {
            judged: 9,
            flagged: 6,
            confirmed: 3,
            dismissed: 3,
            skaters: 2
        }
    );
    let seen = told.seen[&("rink-a".to_owned(), View::Side)][RuleId::KneeBend];
    assert_eq!((seen.pushes, seen.judged), (12, 9));
    let reasons = &told.reasons[&(View::Side, RuleId::KneeBend)];
    assert_eq!(reasons[&NotJudged::FarLegHidden], 3);
    assert_eq!(told.progress.values().next().unwrap().len(), 3);
}
