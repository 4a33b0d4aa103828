//! The age groups file: thresholds per group and rule, its keys made from the
//! rule declarations.

use std::path::Path;

use crate::config::{
    ConfigError, Document, Edit, FORMAT_KEY, Section, Step, Written, brought_up, edit_toml,
    in_written_lines, read_text, wrapped_comment,
};

use super::{AgeGroup, Limits, RULES, Rule, Sense, Surety, Thresholds};

/// Steps from earlier formats of the age groups file; there is none yet.
pub const AGE_GROUP_FORMATS: &[Step] = &[];

/// The key of the surety, one for all groups.
pub const SURETY_KEY: &str = "surety_percent";

/// The thresholds of every age group, as one immutable snapshot.
#[derive(Debug, Clone, PartialEq)]
pub struct AgeGroups {
    groups: [Thresholds; AgeGroup::ALL.len()],
}

impl Default for AgeGroups {
    /// As [`AgeGroups::defaults`].
    fn default() -> Self {
        Self::defaults()
    }
}

impl AgeGroups {
    /// The defaults of the declarations.
    pub fn defaults() -> Self {
        AgeGroups {
            groups: AgeGroup::ALL.map(Thresholds::defaults),
        }
    }

    /// Reads and checks an age groups file.
    pub fn load(path: &Path) -> Result<Self, ConfigError> {
        Self::from_toml(&read_text(path)?, &path.display().to_string())
    }

    /// Checks the text of an age groups file; `file_name` is the name faults
    /// are reported under. What is left out keeps its default.
    pub fn from_toml(text: &str, file_name: &str) -> Result<Self, ConfigError> {
        let newest = brought_up(text, file_name, AGE_GROUP_FORMATS)?;
        Self::from_newest(&newest, file_name)
            .map_err(|fault| in_written_lines(fault, text, &newest))
    }

    fn from_newest(text: &str, file_name: &str) -> Result<Self, ConfigError> {
        let document = Document::parse(text, file_name)?;
        let root = document.root();
        let names = AgeGroup::ALL.map(AgeGroup::name);
        let mut known = [&names[..], &[SURETY_KEY]].concat();
        if root.names().iter().any(|name| name == FORMAT_KEY) {
            known.push(FORMAT_KEY);
        }
        root.only(&known)?;
        let mut resolved = Self::defaults();
        if let Some(percent) = root.whole(SURETY_KEY, 80, 95)? {
            let surety = Surety::from_percent(percent).ok_or_else(|| {
                root.conflict(
                    SURETY_KEY,
                    format!("{SURETY_KEY} = {percent} is not known; it must be 80, 90 or 95"),
                )
            })?;
            for thresholds in &mut resolved.groups {
                thresholds.surety = surety;
            }
        }
        for (group, thresholds) in AgeGroup::ALL.into_iter().zip(&mut resolved.groups) {
            let Some(of_group) = root.section(group.name())? else {
                continue;
            };
            of_group.only(&RULES.map(|r| r.id.code()))?;
            for (rule, limits) in thresholds.limits.iter_mut() {
                if let Some(of_rule) = of_group.section(rule.code())? {
                    *limits = read_limits(&of_rule, rule.rule(), *limits)?;
                }
            }
        }
        Ok(resolved)
    }

    /// How sure it has to be before a value is flagged; the same in all groups.
    pub fn surety(&self) -> Surety {
        self.groups[0].surety
    }

    /// The thresholds of one group.
    pub fn thresholds(&self, group: AgeGroup) -> Thresholds {
        self.groups[group as usize].clone()
    }
}

/// The key of the smallest wanted value, where the rule has one.
pub fn low_key(rule: &Rule) -> Option<String> {
    matches!(rule.sense, Sense::AtLeast | Sense::Between)
        .then(|| format!("at_least_{}", rule.unit.suffix()))
}

/// The key of the largest wanted value, where the rule has one.
pub fn high_key(rule: &Rule) -> Option<String> {
    matches!(rule.sense, Sense::AtMost | Sense::Between)
        .then(|| format!("at_most_{}", rule.unit.suffix()))
}

/// The key of the dead-band.
pub fn dead_band_key(rule: &Rule) -> String {
    format!("dead_band_{}", rule.unit.suffix())
}

/// What has to be written into the age groups file so that these limits hold.
pub fn limit_edits(group: AgeGroup, rule: &Rule, limits: &Limits) -> Vec<Edit> {
    let at = |key: &str| {
        [group.name(), rule.id.code(), key]
            .map(str::to_owned)
            .to_vec()
    };
    let number = |key: Option<String>, value: Option<f64>| {
        Some(Edit {
            path: at(&key?),
            value: Written::Number(value?),
        })
    };
    [
        number(low_key(rule), limits.at_least),
        number(high_key(rule), limits.at_most),
        number(Some(dead_band_key(rule)), Some(limits.dead_band)),
        Some(Edit {
            path: at("flagged"),
            value: Written::Flag(limits.flagged),
        }),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// What has to be written into the age groups file so that this surety holds.
pub fn surety_edit(surety: Surety) -> Edit {
    Edit::new(&[SURETY_KEY], Written::Number(f64::from(surety.percent())))
}

/// Why limits cannot hold for a rule, in the words of the settings file;
/// `None` where they can.
pub fn limits_fault(rule: &Rule, limits: &Limits) -> Option<String> {
    let group = AgeGroup::Adult;
    let text = edit_toml("", "limits", &limit_edits(group, rule, limits));
    text.and_then(|text| AgeGroups::from_toml(&text, "limits"))
        .err()
        .map(|e| e.problem.to_string())
}

/// How many of these values, each with its standard deviation where it has one, would
/// be flagged with these limits.
pub fn flagged_of(values: &[(f64, Option<f64>)], limits: &Limits, surety: Surety) -> usize {
    if !limits.flagged {
        return 0;
    }
    let flagged = |&&(value, deviation): &&(f64, Option<f64>)| {
        let deviation = deviation.unwrap_or(0.0);
        limits.surely_beyond(value, deviation, surety).is_some()
    };
    values.iter().filter(flagged).count()
}

fn read_limits(section: &Section<'_>, rule: &Rule, base: Limits) -> Result<Limits, ConfigError> {
    let (low_key, high_key, band_key) = (low_key(rule), high_key(rule), dead_band_key(rule));
    let known: Vec<&str> = [low_key.as_deref(), high_key.as_deref()]
        .into_iter()
        .flatten()
        .chain([band_key.as_str(), "flagged"])
        .collect();
    section.only(&known)?;

    let limit = |key: &Option<String>| match key {
        Some(key) => section.number(key, *rule.range.start(), *rule.range.end()),
        None => Ok(None),
    };
    let low = limit(&low_key)?.or(base.at_least);
    let high = limit(&high_key)?.or(base.at_most);
    if let (Some(low), Some(high), Some(low_key), Some(high_key)) = (low, high, &low_key, &high_key)
        && low >= high
    {
        // Reported where the user wrote: one of the two may be a default.
        let at = match section.number(high_key, f64::MIN, f64::MAX)? {
            Some(_) => high_key,
            None => low_key,
        };
        return Err(section.conflict(
            at,
            format!(
                "{low_key} = {low} must be smaller than {high_key} = {high}; change one of them"
            ),
        ));
    }
    let (band_low, band_high) = (*rule.dead_band_range.start(), *rule.dead_band_range.end());
    Ok(Limits {
        flagged: section.flag("flagged")?.unwrap_or(base.flagged),
        at_least: low,
        at_most: high,
        dead_band: section
            .number(&band_key, band_low, band_high)?
            .unwrap_or(base.dead_band),
    })
}

/// The whole age groups file with every default written out.
pub fn default_file() -> String {
    let mut out = String::from(
        "# The thresholds of every age group.\n\
         #\n\
         # Made by 'kickplate config print-defaults'. Change what you need; what is\n\
         # left out keeps its default. A value is flagged when it is sure enough that\n\
         # the true one is beyond its limit, and never by less than the dead-band.\n\
         # flagged = false stores the measure and never speaks about it. What each\n\
         # rule measures:\n",
    );
    for rule in RULES {
        out += "#\n";
        out += &wrapped_comment(&format!("{} ({}): {}", rule.id, rule.short, rule.long));
        out += &wrapped_comment(&format!(
            "{}; dead-band {} to {}. Source: {}.",
            allowed(rule),
            rule.dead_band_range.start(),
            rule.dead_band_range.end(),
            rule.source
        ));
    }
    out += "\n# How sure it has to be, percent: 80, 90 or 95.\n";
    out += &format!("{SURETY_KEY} = {}\n", Surety::default().percent());
    for group in AgeGroup::ALL {
        for (rule, limits) in Thresholds::defaults(group).limits.iter() {
            let rule = rule.rule();
            out += &format!("\n[{}.{}]\n", group.name(), rule.id);
            for (key, value) in [
                (low_key(rule), limits.at_least),
                (high_key(rule), limits.at_most),
            ] {
                if let (Some(key), Some(value)) = (key, value) {
                    out += &format!("{key} = {value}\n");
                }
            }
            out += &format!("{} = {}\n", dead_band_key(rule), limits.dead_band);
            out += &format!("flagged = {}\n", limits.flagged);
        }
    }
    out
}

/// The part of the reference about the age groups file.
pub fn reference() -> String {
    let groups: Vec<String> = AgeGroup::ALL
        .iter()
        .map(|g| format!("`{}`", g.name()))
        .collect();
    let mut out = format!(
        "One table per group and rule, `[U15.knee_bend]`. Groups: {}. Groups, rules and\n\
         keys may be left out; the default then holds. `flagged = false` stores the\n\
         measure and never speaks about it.\n\n\
         `{SURETY_KEY}`, above the tables: 80, **90** or 95. A value is flagged when the\n\
         probability that the true one lies beyond the limit is at least this, from the\n\
         uncertainty that is told beside it; and never nearer to the limit than the dead-band.\n\
         Of people every value is told with the doubt that nobody checked it at this rink.\n",
        groups.join(", ")
    );
    for rule in RULES {
        let views: Vec<&str> = rule.views.iter().map(|v| v.name()).collect();
        out += &format!(
            "\n### `{}` ({})\n\n{}\n\nMeasure: `{}`. Judged from: {}. Source: {}.\n\n",
            rule.id,
            rule.short,
            rule.long,
            rule.measure,
            views.join(", "),
            rule.source
        );
        out += "| key | may be |";
        for group in AgeGroup::ALL {
            out += &format!(" {} |", group.name());
        }
        out += "\n|---|---|---|---|---|---|---|---|---|\n";
        let row = |key: String, allowed: String, value: &dyn Fn(&Limits) -> String| {
            let cells: String = rule
                .defaults
                .iter()
                .map(|l| format!(" {} |", value(l)))
                .collect();
            format!("| `{key}` | {allowed} |{cells}\n")
        };
        let range = |r: &std::ops::RangeInclusive<f64>| format!("{} to {}", r.start(), r.end());
        let number = |v: Option<f64>| v.map_or(String::new(), |v| v.to_string());
        if let Some(key) = low_key(rule) {
            out += &row(key, range(&rule.range), &|l| number(l.at_least));
        }
        if let Some(key) = high_key(rule) {
            out += &row(key, range(&rule.range), &|l| number(l.at_most));
        }
        out += &row(dead_band_key(rule), range(&rule.dead_band_range), &|l| {
            l.dead_band.to_string()
        });
        out += &row("flagged".to_owned(), "true or false".to_owned(), &|l| {
            l.flagged.to_string()
        });
    }
    out
}

fn allowed(rule: &Rule) -> String {
    let keys: Vec<String> = [low_key(rule), high_key(rule)]
        .into_iter()
        .flatten()
        .collect();
    format!(
        "{}: {} to {}",
        keys.join(" and "),
        rule.range.start(),
        rule.range.end()
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::RuleId;

    #[test]
    fn an_empty_file_is_the_defaults_and_so_is_the_generated_one() {
        let defaults = AgeGroups::defaults();
        assert_eq!(AgeGroups::from_toml("", "a.toml"), Ok(defaults.clone()));
        assert_eq!(
            AgeGroups::from_toml(&default_file(), "a.toml"),
            Ok(defaults)
        );
    }

    #[test]
    fn a_file_may_say_its_format() {
        let read = |text: &str| AgeGroups::from_toml(text, "a.toml");
        assert_eq!(read("format = 1\n"), Ok(AgeGroups::defaults()));
        let newer = read("format = 2\n").unwrap_err().to_string();
        assert!(newer.contains("newer Kickplate"), "{newer}");
    }

    #[test]
    fn the_surety_is_one_of_three_and_holds_for_all_groups() {
        let read = |text: &str| AgeGroups::from_toml(text, "a.toml");
        assert_eq!(read("").unwrap().surety(), Surety::Sure);
        for surety in Surety::ALL {
            let text = format!("{SURETY_KEY} = {}\n", surety.percent());
            let groups = read(&text).unwrap();
            assert_eq!(groups.surety(), surety);
            for group in AgeGroup::ALL {
                assert_eq!(groups.thresholds(group).surety, surety);
            }
            let written = edit_toml(&default_file(), "a.toml", &[surety_edit(surety)]).unwrap();
            assert_eq!(read(&written), Ok(groups));
        }
        for wrong in ["surety_percent = 85\n", "surety_percent = 50\n"] {
            let said = read(wrong).unwrap_err().to_string();
            assert!(
                said.contains("surety_percent") && said.contains("95"),
                "{said}"
            );
        }
    }

    #[test]
    fn one_value_changes_and_nothing_else() {
        let text = "[U15.knee_bend]\nat_most_deg = 110\n";
        let changed = AgeGroups::from_toml(text, "a.toml").unwrap();
        let mut expected = AgeGroups::defaults();
        expected.groups[AgeGroup::U15 as usize].limits[RuleId::KneeBend].at_most = Some(110.0);
        assert_eq!(changed, expected);
    }

    #[test]
    fn the_group_picked_is_the_group_asked_for() {
        for group in AgeGroup::ALL {
            assert_eq!(AgeGroups::defaults().thresholds(group).age_group, group);
        }
    }

    /// A default outside its own range could not be written into the file.
    #[test]
    fn every_default_is_inside_its_own_range() {
        for rule in RULES {
            for limits in rule.defaults {
                for value in [limits.at_least, limits.at_most].into_iter().flatten() {
                    assert!(rule.range.contains(&value), "{} {value}", rule.id);
                }
                assert!(
                    rule.dead_band_range.contains(&limits.dead_band),
                    "{}",
                    rule.id
                );
                assert_eq!(
                    limits.at_least.is_some(),
                    low_key(rule).is_some(),
                    "{}",
                    rule.id
                );
                assert_eq!(
                    limits.at_most.is_some(),
                    high_key(rule).is_some(),
                    "{}",
                    rule.id
                );
            }
        }
    }

    #[test]
    fn limits_that_are_written_are_the_limits_that_are_read() {
        let mut text = default_file();
        let mut expected = AgeGroups::defaults();
        for rule in RULES {
            let limits = Limits {
                flagged: !rule.defaults[2].flagged,
                dead_band: *rule.dead_band_range.end(),
                ..rule.defaults[2]
            };
            expected.groups[AgeGroup::U9 as usize].limits[rule.id] = limits;
            let edits = limit_edits(AgeGroup::U9, rule, &limits);
            text = edit_toml(&text, "a.toml", &edits).unwrap();
        }
        assert_eq!(AgeGroups::from_toml(&text, "a.toml"), Ok(expected));
        let comments = |t: &str| t.lines().filter(|l| l.starts_with('#')).count();
        assert_eq!(comments(&text), comments(&default_file()));
    }

    #[test]
    fn limits_that_cannot_hold_are_said_in_the_words_of_the_file() {
        let rule = RULES[0];
        let good = rule.defaults[0];
        assert_eq!(limits_fault(rule, &good), None);
        let wild = Limits {
            at_most: Some(1e6),
            ..good
        };
        let said = limits_fault(rule, &wild).unwrap();
        assert!(said.contains("is out of range"), "{said}");
    }

    #[test]
    fn the_effect_counts_what_is_beyond_by_more_than_the_dead_band() {
        let limits = Limits {
            flagged: true,
            at_least: None,
            at_most: Some(120.0),
            dead_band: 4.0,
        };
        let exact = [110.0, 123.9, 124.1, 130.0].map(|v| (v, Some(0.0)));
        let of = |values: &[(f64, Option<f64>)], limits: &Limits| {
            flagged_of(values, limits, Surety::Sure)
        };
        assert_eq!(of(&exact, &limits), 2);
        // With 5 degrees of doubt the nearer one is not sure to be beyond.
        let doubted = exact.map(|(v, _)| (v, Some(5.0)));
        assert_eq!(of(&doubted, &limits), 1);
        assert_eq!(flagged_of(&doubted, &limits, Surety::Likely), 1);
        // Whose doubt nobody wrote down is held to the dead-band.
        assert_eq!(of(&exact.map(|(v, _)| (v, None)), &limits), 2);
        let off = Limits {
            flagged: false,
            ..limits
        };
        assert_eq!(of(&exact, &off), 0);
        assert_eq!(of(&[], &limits), 0);
    }

    #[test]
    fn faults_name_line_and_key() {
        let fault = |text: &str| {
            AgeGroups::from_toml(text, "a.toml")
                .unwrap_err()
                .to_string()
        };
        assert_eq!(
            fault("[U16.knee_bend]\n"),
            "a.toml, line 1: unknown key 'U16'; it must be one of: U7, U9, U11, U13, U15, U18, adult, surety_percent"
        );
        assert_eq!(
            fault("[U15.knee_bend]\nat_least_deg = 100\n"),
            "a.toml, line 2: unknown key 'at_least_deg'; did you mean 'at_most_deg'?"
        );
        assert_eq!(
            fault("[adult.recovery_gap]\n\nat_most_m = 6.5\n"),
            "a.toml, line 3: adult.recovery_gap.at_most_m = 6.5 is out of range; it must be between 0 and 0.5"
        );
        assert_eq!(
            fault("[U9.trunk_lean]\nat_least_deg = 70\n"),
            "a.toml, line 2: at_least_deg = 70 must be smaller than at_most_deg = 60; change one of them"
        );
        assert_eq!(
            fault("U15 = 3\n"),
            "a.toml, line 1: U15 has to be a table; write it as '[U15]' on a line of its own"
        );
    }
}
