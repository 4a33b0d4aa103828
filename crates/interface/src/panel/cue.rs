//! A cue as the coach reads it: with the numbers the skater is not shown.

use super::figures::Figures;
use super::words::PanelWords;
use crate::display::{Units, Words};
use crate::feedback::{Cue, CueKind, CueLeg, Good, UnfedReason};
use crate::rules::RuleId;

/// A cue in one line. `screen` has the words for why nothing was judged.
pub fn cue_line(cue: &Cue, words: &PanelWords, screen: &Words, units: Units) -> String {
    let f = Figures { words, units };
    match &cue.kind {
        CueKind::Do {
            rule,
            value,
            limit,
            leg,
            flagged_pushes,
            good,
        } => {
            let of = rule.rule();
            let line = words.say(
                "cue.do",
                &[
                    ("what", words.rule_name(of)),
                    ("value", &f.value(of.unit, *value)),
                    ("limit", &f.value(of.unit, *limit)),
                    ("leg", side(words, *leg)),
                    ("n", &flagged_pushes.to_string()),
                ],
            );
            match good {
                Some(good) => format!("{line} {}", good_words(words, *good)),
                None => line,
            }
        }
        CueKind::Improved {
            rule,
            value,
            earlier,
            leg,
        } => {
            let of = rule.rule();
            words.say(
                "cue.improved",
                &[
                    ("what", words.rule_name(of)),
                    ("now", &f.value(of.unit, *value)),
                    ("before", &f.value(of.unit, *earlier)),
                    ("leg", side(words, *leg)),
                ],
            )
        }
        CueKind::Unfed {
            why: UnfedReason::Faded,
        } => words.get("cue.faded").to_owned(),
        CueKind::Unfed {
            why: UnfedReason::Planned,
        } => words.get("cue.planned").to_owned(),
        CueKind::Praise => words.get("cue.praise").to_owned(),
        CueKind::NotJudged { reason } => {
            words.say("cue.not_judged", &[("why", &screen.reason(*reason))])
        }
    }
}

fn side(words: &PanelWords, leg: CueLeg) -> &str {
    words.get(match leg {
        CueLeg::Left => "leg.left",
        CueLeg::Right => "leg.right",
        CueLeg::Both => "leg.both",
    })
}

fn good_words(words: &PanelWords, good: Good) -> String {
    let said = |key: &str, rule: RuleId| words.say(key, &[("what", words.rule_name(rule.rule()))]);
    match good {
        Good::Improved { rule } => said("cue.good_improved", rule),
        Good::InBand { rule } => said("cue.good_in_band", rule),
        Good::KeptGoing => words.get("cue.good_kept_going").to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::display::Language;
    use crate::rules::NotJudged;

    #[test]
    fn a_cue_is_said_with_its_numbers_in_the_language() {
        let mut cue = Cue {
            track_id: 1,
            pass_number: 3,
            kind: CueKind::Do {
                rule: RuleId::RecoveryGap,
                value: 0.312,
                limit: 0.2,
                leg: CueLeg::Left,
                flagged_pushes: 2,
                good: Some(Good::InBand {
                    rule: RuleId::KneeBend,
                }),
            },
        };
        let line = |cue: &Cue, language| {
            let words = PanelWords::built_in(language);
            cue_line(cue, &words, &Words::built_in(language), Units::Metric)
        };
        assert_eq!(
            line(&cue, Language::En),
            "Heels together: 31 cm, limit 20 cm (left, 2x). Good: Knee bend."
        );
        let french = line(&cue, Language::Fr);
        assert!(french.starts_with("Talons joints\u{a0}: 31 cm"), "{french}");
        assert!(french.contains("Flexion du genou"), "{french}");
        cue.kind = CueKind::NotJudged {
            reason: NotJudged::NoPush,
        };
        assert_eq!(line(&cue, Language::En), "Not judged. No push was seen.");
        assert_eq!(line(&cue, Language::Fr), "Pas jugé. Aucune poussée vue.");
    }
}
