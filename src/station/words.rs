//! What the commands print about passes, and of what went wrong.

use std::fmt::Write;

use crate::calibration::{Basis, Gauged};
use crate::config::Lane;
use crate::feedback::{Cue, CueKind, CueLeg, Good, UnfedReason};
use crate::rules::{JudgedPass, Leg, Measure, QuantityUnit, RULES, Rule, RuleId, Unit};
use crate::words::{Catalogue, Language};

/// '1 pass', '3 passes'.
pub fn passes(n: usize) -> String {
    count(n, "pass", "passes")
}

/// '1 push', '3 pushes'.
pub fn count(n: usize, one: &str, many: &str) -> String {
    match n {
        1 => format!("1 {one}"),
        n => format!("{n} {many}"),
    }
}

/// A fault with its causes. A cause that the sentence before has named already
/// is left out: many errors tell theirs in the middle, before the remedy.
pub fn fault(error: &anyhow::Error) -> String {
    error.chain().fold(String::new(), |said, cause| {
        let cause = cause.to_string();
        match said {
            said if said.is_empty() => cause,
            said if said.contains(&cause) => said,
            said => format!("{said}: {cause}"),
        }
    })
}

/// What the values of a lane rest on.
pub fn rests_on(lane: &Lane) -> String {
    match (Basis::of(lane), &lane.checked) {
        (Basis::CheckedHere, Some(checked)) => format!(
            "Values: checked at this rink{}, persons: {} ({}); others as published.",
            checked
                .date
                .map_or_else(String::new, |d| format!(" on {d}")),
            checked.persons,
            checked
                .held()
                .map(Gauged::name)
                .collect::<Vec<_>>()
                .join(", ")
        ),
        (Basis::Rendered, _) => "Values: rendered; they hold for rendered bodies alone.".to_owned(),
        _ => "Values: people, published; not checked at this rink.".to_owned(),
    }
}

/// A cue as one line.
pub fn cue_sentence(cue: &Cue) -> String {
    match &cue.kind {
        CueKind::Do {
            rule,
            value,
            limit,
            leg,
            flagged_pushes,
            good,
        } => {
            let rule = rule.rule();
            format!(
                "{}: {}, limit {} ({}, {}){}",
                rule.short,
                number(rule, *value),
                number(rule, *limit),
                side(*leg),
                match flagged_pushes {
                    1 => "1 push".to_owned(),
                    n => format!("{n} pushes"),
                },
                good.map_or(String::new(), |g| format!("; {}", good_words(g)))
            )
        }
        CueKind::Improved {
            rule,
            value,
            earlier,
            leg,
        } => {
            let rule = rule.rule();
            format!(
                "better {}: {} now, {} before ({})",
                rule.short,
                number(rule, *value),
                number(rule, *earlier),
                side(*leg)
            )
        }
        CueKind::Unfed {
            why: UnfedReason::Faded,
        } => "no cue on purpose: cues are rarer after passes in the band".to_owned(),
        CueKind::Unfed {
            why: UnfedReason::Planned,
        } => "no cue on purpose: a pass the skater judges alone".to_owned(),
        CueKind::Praise => "well done: everything judged is in the band".to_owned(),
        CueKind::NotJudged { reason } => {
            let words = Catalogue::built_in(Language::En);
            format!("not judged: {}", words.reason(*reason))
        }
    }
}

fn side(leg: CueLeg) -> &'static str {
    match leg {
        CueLeg::Left => "left",
        CueLeg::Right => "right",
        CueLeg::Both => "both sides",
    }
}

fn good_words(good: Good) -> String {
    let short = |id: RuleId| id.rule().short;
    match good {
        Good::Improved { rule } => format!("better: {}", short(rule)),
        Good::InBand { rule } => format!("good: {}", short(rule)),
        Good::KeptGoing => "keep going".to_owned(),
    }
}

/// A number with its unit, as people read it: degrees whole, lengths in cm.
fn number(rule: &Rule, value: f64) -> String {
    match rule.unit {
        Unit::Deg => format!("{value:.0}°"),
        Unit::Metre => format!("{:.1} cm", 100.0 * value),
    }
}

/// One pass: a head line, a row a push, what is reported of the pass, the cue.
pub fn pass_table(pass: &JudgedPass, cue: &Cue) -> String {
    let mut text = format!(
        "Pass {}: {:.1} to {:.1} s, {:.1} m/s, {}\n",
        cue.pass_number,
        pass.started_at_s,
        pass.ended_at_s,
        pass.speed_mps,
        match pass.pushes.len() {
            1 => "1 push seen whole".to_owned(),
            n => format!("{n} pushes seen whole"),
        }
    );
    if !pass.pushes.is_empty() {
        let _ = write!(text, "  {:>8}  {:5}", "toe-off", "leg");
        for rule in RULES {
            let _ = write!(text, " {:>14}", rule.short);
        }
        text.push('\n');
    }
    for push in &pass.pushes {
        let leg = match push.leg {
            Leg::Left => "left",
            Leg::Right => "right",
        };
        let _ = write!(text, "  {:6.2} s  {leg:5}", push.toe_off_s);
        for (rule, measure) in push.measures.iter() {
            let flagged = push.flags.iter().any(|f| f.rule == rule);
            let _ = write!(text, " {:>14}", cell(rule.rule(), measure, flagged));
        }
        text.push('\n');
    }
    if let Some(line) = quantities_line(pass) {
        let _ = writeln!(text, "  {line}");
    }
    let _ = write!(text, "  -> {}", cue_sentence(cue));
    text
}

/// What was judged of the pass as a whole, with its uncertainty; `None` where
/// nothing was.
fn quantities_line(pass: &JudgedPass) -> Option<String> {
    let judged: Vec<String> = pass
        .quantities
        .iter()
        .filter(|(_, measure)| measure.is_judged())
        .filter_map(|(id, measure)| {
            let quantity = id.quantity();
            let value = quantity_words(quantity.unit, measure.value?, measure.uncertainty?);
            Some(format!("{} {value}", quantity.short))
        })
        .collect();
    (!judged.is_empty()).then(|| judged.join(", "))
}

/// '2.50 ±0.04 /s', '51 ±3 cm'.
fn quantity_words(unit: QuantityUnit, value: f64, uncertainty: f64) -> String {
    match unit {
        QuantityUnit::Deg => format!("{value:.0} ±{uncertainty:.0}°"),
        QuantityUnit::Metre => format!("{:.0} ±{:.0} cm", 100.0 * value, 100.0 * uncertainty),
        QuantityUnit::Hertz => format!("{value:.2} ±{uncertainty:.2} /s"),
        QuantityUnit::Second => format!("{value:+.2} ±{uncertainty:.2} s"),
    }
}

fn cell(rule: &Rule, measure: &Measure, flagged: bool) -> String {
    match measure.judged_value() {
        Some(value) => format!("{}{}", number(rule, value), if flagged { " !" } else { "" }),
        None => "-".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::View;
    use crate::rules::{AgeGroup, NotJudged, QuantityId, QuantityMap, Thresholds};

    #[test]
    fn a_cause_is_told_once() {
        let missing = || std::io::Error::other("the disk is gone");
        let named = crate::pose::PoseError::ModelUnreadable {
            path: "model.onnx".into(),
            source: missing(),
        };
        let said = fault(&anyhow::Error::new(named));
        assert_eq!(said.matches("the disk is gone").count(), 1, "{said}");
        assert!(said.ends_with("`models` folder"), "{said}");
        let added = anyhow::Error::new(missing()).context("the folder cannot be read");
        assert_eq!(fault(&added), "the folder cannot be read: the disk is gone");
    }

    fn pass(quantities: QuantityMap<Measure>) -> JudgedPass {
        JudgedPass {
            track_id: 1,
            started_at_s: 0.0,
            ended_at_s: 2.0,
            speed_mps: 5.0,
            view: View::Side,
            thresholds: Thresholds::defaults(AgeGroup::U15),
            pushes: Vec::new(),
            quantities,
        }
    }

    fn nothing() -> QuantityMap<Measure> {
        QuantityMap::from_fn(|_| Measure::not_judged(NotJudged::Other))
    }

    #[test]
    fn a_pass_has_one_line_of_what_was_judged_of_it() {
        let mut quantities = nothing();
        for (quantity, value, uncertainty) in [
            (QuantityId::StrideRate, 2.512, 0.04),
            (QuantityId::PushLength, 0.386, 0.031),
            (QuantityId::BodyLine, 164.4, 7.1),
            (QuantityId::ArmLegTiming, -0.034, 0.06),
        ] {
            quantities[quantity] = Measure::judged(value, uncertainty, "");
        }
        assert_eq!(
            quantities_line(&pass(quantities)).unwrap(),
            "stride rate 2.51 ±0.04 /s, push length 39 ±3 cm, body line 164 ±7°, \
             arm after leg -0.03 ±0.06 s"
        );
    }

    #[test]
    fn a_pass_of_which_nothing_was_judged_has_no_such_line() {
        assert_eq!(quantities_line(&pass(nothing())), None);
    }
}
