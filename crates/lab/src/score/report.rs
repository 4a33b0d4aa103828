//! The score as tables.

use std::collections::BTreeSet;
use std::fmt::{self, Write as _};
use std::path::Path;

use anyhow::Context;

use super::{ClipScore, Compared, CueCheck, Flagged, sight_table};
use kickplate::rules::{RULES, Rule, RuleId, Unit};

/// Lines of a document between which the tables belong.
const BEGIN: &str = "<!-- made by 'kickplate-lab score': begin -->";
const END: &str = "<!-- made by 'kickplate-lab score': end -->";

/// Scores of many clips, printed as Markdown tables.
pub struct ScoreReport {
    /// Name of the set of clips.
    pub set: String,
    /// Engine and model.
    pub measured_with: String,
    /// One entry a clip.
    pub clips: Vec<ClipScore>,
    /// Whether to say how fitted corrections were kept from their own clips.
    pub leave_one_out: bool,
}

/// Errors of one measure, in degrees or centimetres.
#[derive(Debug, Clone, PartialEq)]
pub struct Tally {
    /// Clips with at least one matched push.
    pub clips: usize,
    /// Matched pushes.
    pub pushes: usize,
    /// Of those, judged.
    pub judged: usize,
    /// Mean error of what was judged.
    pub bias: f64,
    /// Standard deviation of the errors.
    pub sd: f64,
    /// Mean size of the errors.
    pub mae: f64,
    /// The mean error of the clip where it is largest.
    pub worst_clip: f64,
    /// Share of the errors within twice the stated standard deviation.
    pub within_two_sd: f64,
}

impl Tally {
    /// Sums up one measure: one entry a clip; `scale` makes centimetres of
    /// metres. `None` where no push was matched.
    pub fn of(per_clip: &[Vec<Compared>], scale: f64) -> Option<Self> {
        let all: Vec<&Compared> = per_clip.iter().flatten().collect();
        if all.is_empty() {
            return None;
        }
        let error = |c: &Compared| Some(scale * (c.value? - c.truth)).filter(|_| c.judged);
        let errors: Vec<f64> = all.iter().filter_map(|c| error(c)).collect();
        let within = all
            .iter()
            .filter(|c| {
                let limit = c.uncertainty.map(|u| 2.0 * u * scale);
                error(c).zip(limit).is_some_and(|(e, l)| e.abs() <= l)
            })
            .count();
        let bias = mean(errors.iter().copied());
        Some(Tally {
            clips: per_clip.iter().filter(|v| !v.is_empty()).count(),
            pushes: all.len(),
            judged: all.iter().filter(|c| c.judged).count(),
            bias,
            sd: mean(errors.iter().map(|e| (e - bias).powi(2))).sqrt(),
            mae: mean(errors.iter().map(|e| e.abs())),
            worst_clip: per_clip
                .iter()
                .filter(|v| v.iter().any(|c| error(c).is_some()))
                .map(|v| mean(v.iter().filter_map(error)))
                .max_by(|a, b| a.abs().total_cmp(&b.abs()))
                .unwrap_or(f64::NAN),
            within_two_sd: within as f64 / errors.len() as f64,
        })
    }
}

/// View, rule, leg, scale, and the pushes compared, clip by clip.
type PerMeasure<'a> = (
    &'a str,
    &'static Rule,
    &'static str,
    f64,
    Vec<Vec<Compared>>,
);

/// Mean size of the errors when each clip's are lessened by the mean bias of
/// all other clips. `None` with fewer than two clips judged.
fn leave_one_out_mae(per_clip: &[Vec<Compared>], scale: f64) -> Option<f64> {
    let errors: Vec<Vec<f64>> = per_clip
        .iter()
        .map(|v| {
            v.iter()
                .filter(|c| c.judged)
                .filter_map(|c| Some(scale * (c.value? - c.truth)))
                .collect::<Vec<f64>>()
        })
        .filter(|v| !v.is_empty())
        .collect();
    if errors.len() < 2 {
        return None;
    }
    let biases: Vec<f64> = errors.iter().map(|v| mean(v.iter().copied())).collect();
    let sum: f64 = biases.iter().sum();
    let others = (errors.len() - 1) as f64;
    Some(mean(errors.iter().zip(&biases).flat_map(|(clip, own)| {
        let constant = (sum - own) / others;
        clip.iter().map(move |e| (e - constant).abs())
    })))
}

impl fmt::Display for ScoreReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.tables())?;
        f.write_str(&sight_table(&self.clips))?;
        writeln!(f, "\nClip by clip:\n")?;
        f.write_str(PUSH_HEAD)?;
        for c in &self.clips {
            f.write_str(&push_row(&c.name, std::slice::from_ref(c)))?;
        }
        for c in &self.clips {
            let faults = [
                ("missed", &c.missed),
                ("invented", &c.invented),
                ("silent misses", &c.silent_misses),
                ("flags on what is right", &c.false_flags),
            ];
            for (what, list) in faults.into_iter().filter(|(_, l)| !l.is_empty()) {
                writeln!(f, "{}: {what}: {}", c.name, list.join(", "))?;
            }
            for cue in c.cues.iter().filter(|q| is_false(q)) {
                let true_ones: Vec<&str> = cue.faults.iter().map(|r| r.code()).collect();
                let true_ones = true_ones.join(", ");
                let said = cue.said.map_or("", RuleId::code);
                writeln!(
                    f,
                    "{}: false cue {said}; true faults: [{true_ones}]",
                    c.name
                )?;
            }
        }
        Ok(())
    }
}

impl ScoreReport {
    /// The tables that go into the documents.
    pub fn tables(&self) -> String {
        let mut out = format!(
            "Set `{}`: {} clips; {}; {} UTC.\n\n",
            self.set,
            self.clips.len(),
            self.measured_with,
            jiff::Timestamp::now().strftime("%Y-%m-%d %H:%M")
        );
        self.pushes(&mut out);
        self.measures(&mut out);
        self.flags(&mut out);
        self.cues(&mut out);
        if self.leave_one_out {
            self.leave_one_out_table(&mut out);
        }
        out
    }

    /// Puts the tables into a document between its two marker lines.
    ///
    /// # Errors
    /// A document that cannot be read, has no marker lines, or cannot be
    /// written.
    pub fn write_into(&self, path: &Path) -> anyhow::Result<()> {
        let name = path.display();
        let text = std::fs::read_to_string(path)
            .with_context(|| format!("the document '{name}' cannot be read"))?;
        let new = between_markers(&text, &self.tables()).with_context(|| {
            format!("'{name}' lacks the lines between which the tables belong: {BEGIN} and {END}")
        })?;
        std::fs::write(path, new).with_context(|| format!("'{name}' cannot be written"))
    }

    fn views(&self) -> BTreeSet<&str> {
        self.clips.iter().map(|c| c.view.as_str()).collect()
    }

    fn of_view(&self, view: &str) -> Vec<ClipScore> {
        let all = self.clips.iter();
        all.filter(|c| c.view == view).cloned().collect()
    }

    fn pushes(&self, out: &mut String) {
        out.push_str(PUSH_HEAD);
        for view in self.views() {
            out.push_str(&push_row(view, &self.of_view(view)));
        }
        out.push_str(&push_row("all", &self.clips));
    }

    /// What was compared, by view, rule and leg: the scale that makes
    /// centimetres of metres, and one entry a clip.
    fn per_measure(&self) -> Vec<PerMeasure<'_>> {
        let mut all = Vec::new();
        for view in self.views() {
            let clips = self.of_view(view);
            for rule in RULES {
                let scale = match rule.unit {
                    Unit::Deg => 1.0,
                    Unit::Metre => 100.0,
                };
                for (near, leg) in [(Some(true), "near"), (Some(false), "far"), (None, "both")] {
                    let per_clip = clips
                        .iter()
                        .filter_map(|c| c.measures.get(&rule.id))
                        .map(|v| v.iter().copied().filter(|x| x.near_leg == near).collect())
                        .collect();
                    all.push((view, rule, leg, scale, per_clip));
                }
            }
        }
        all
    }

    fn measures(&self, out: &mut String) {
        out.push_str(
            "\n| view | measure | leg | clips | pushes | judged | bias | SD | MAE | worst clip | within 2 stated SD |\n\
             |---|---|---|---|---|---|---|---|---|---|---|\n",
        );
        for (view, rule, leg, scale, per_clip) in self.per_measure() {
            let unit = if scale > 1.0 { "cm" } else { "deg" };
            let Some(t) = Tally::of(&per_clip, scale).filter(|t| t.judged > 0) else {
                continue;
            };
            let _ = writeln!(
                out,
                "| {view} | {} ({unit}) | {leg} | {} | {} | {} | {:+.1} | {:.1} | {:.1} | {:+.1} | {:.0} % |",
                rule.short,
                t.clips,
                t.pushes,
                share(t.judged, t.pushes),
                t.bias,
                t.sd,
                t.mae,
                t.worst_clip,
                100.0 * t.within_two_sd
            );
        }
        out.push_str(
            "\nErrors are of what was judged. What is not listed is not judged from that view.\n",
        );
    }

    /// Every correction learned on rendered bodies comes out as a constant
    /// added to a measure: it is refitted on the other clips, one by one.
    fn leave_one_out_table(&self, out: &mut String) {
        out.push_str(
            "\nLeave one out: the MAE when the constant that corrects a measure is refitted on all other clips of the view, so that no clip takes part in its own correction.\n\n\
             | view | measure | leg | clips | MAE as the program stands | MAE, left out |\n\
             |---|---|---|---|---|---|\n",
        );
        for (view, rule, leg, scale, per_clip) in self.per_measure() {
            let Some(t) = Tally::of(&per_clip, scale).filter(|t| t.judged > 0) else {
                continue;
            };
            let Some(left_out) = leave_one_out_mae(&per_clip, scale) else {
                continue;
            };
            let unit = if scale > 1.0 { "cm" } else { "deg" };
            let _ = writeln!(
                out,
                "| {view} | {} ({unit}) | {leg} | {} | {:.1} | {left_out:.1} |",
                rule.short, t.clips, t.mae
            );
        }
    }

    fn flags(&self, out: &mut String) {
        out.push_str(
            "\n| rule | judged pushes | truly beyond the dead-band | flagged | right | precision | recall | wrongly flagged, yet past the limit itself |\n\
             |---|---|---|---|---|---|---|---|\n",
        );
        let mut all = Vec::new();
        for rule in RULES {
            let of_rule: Vec<Flagged> = self
                .clips
                .iter()
                .filter_map(|c| c.flags.get(&rule.id))
                .flatten()
                .copied()
                .collect();
            if !of_rule.is_empty() {
                out.push_str(&flag_row(rule.short, &of_rule));
                all.extend(of_rule);
            }
        }
        out.push_str(&flag_row("all", &all));
        let silent: usize = self.clips.iter().map(|c| c.silent_misses.len()).sum();
        let far: usize = self
            .clips
            .iter()
            .filter_map(|c| c.measures.get(&RuleId::ArmCrossover))
            .flatten()
            .filter(|c| c.judged && c.truth >= 0.08)
            .count();
        let _ = writeln!(
            out,
            "\nSilent misses of the hand (truly 8 cm or more past the line, judged, called short of it): {silent} of {far}."
        );
    }

    fn cues(&self, out: &mut String) {
        let cues: Vec<&CueCheck> = self.clips.iter().flat_map(|c| &c.cues).collect();
        let (bad, good): (Vec<&CueCheck>, Vec<&CueCheck>) =
            cues.into_iter().partition(|c| !c.faults.is_empty());
        let (near, clean): (Vec<&CueCheck>, Vec<&CueCheck>) =
            good.into_iter().partition(|c| !c.near_faults.is_empty());
        out.push_str("\n| passes | number | praised | cue on a true fault | cue past the limit, within the dead-band | cue on a push cut off by the clip, not known | false cue |\n|---|---|---|---|---|---|---|\n");
        for (name, list) in [
            ("nothing wrong in any judged push", clean),
            ("past a limit, within the dead-band", near),
            ("at least one true fault", bad),
        ] {
            let count = |f: &dyn Fn(&CueCheck) -> bool| list.iter().filter(|c| f(c)).count();
            let on = |list: &[RuleId], c: &CueCheck| c.said.is_some_and(|s| list.contains(&s));
            let _ = writeln!(
                out,
                "| {name} | {} | {} | {} | {} | {} | {} |",
                list.len(),
                count(&|c| c.praised),
                count(&|c| on(&c.faults, c)),
                count(&|c| on(&c.near_faults, c) && !on(&c.faults, c)),
                count(&|c| c.unknown && !on(&c.near_faults, c)),
                count(&is_false),
            );
        }
    }
}

/// A cue about a rule that holds in every judged push whose truth is known.
fn is_false(cue: &CueCheck) -> bool {
    !cue.unknown && cue.said.is_some_and(|s| !cue.near_faults.contains(&s))
}

const PUSH_HEAD: &str = "| view | clips | pushes asked | found | reported | false | toe-off: median frames off | within 1 | within 2 |\n\
                         |---|---|---|---|---|---|---|---|---|\n";

fn push_row(name: &str, clips: &[ClipScore]) -> String {
    let sum = |g: fn(&ClipScore) -> usize| clips.iter().map(g).sum::<usize>();
    let (asked, reported) = (sum(|c| c.asked), sum(|c| c.reported));
    let found = sum(|c| c.found);
    let mut off: Vec<f64> = clips
        .iter()
        .flat_map(|c| c.toe_off_frames.iter().map(|e| e.abs()))
        .collect();
    off.sort_by(f64::total_cmp);
    let within = |n: f64| share(off.iter().filter(|e| **e <= n).count(), off.len());
    let median = off
        .get(off.len() / 2)
        .map_or("-".to_owned(), |m| format!("{m:.2}"));
    format!(
        "| {name} | {} | {asked} | {found} ({}) | {reported} | {} | {median} | {} | {} |\n",
        clips.len(),
        share(found, asked),
        sum(|c| c.false_pushes),
        within(1.0),
        within(2.0),
    )
}

fn flag_row(name: &str, flags: &[Flagged]) -> String {
    let count = |f: &dyn Fn(&Flagged) -> bool| flags.iter().filter(|x| f(x)).count();
    let (beyond, said) = (count(&|f| f.beyond), count(&|f| f.said));
    let right = count(&|f| f.said && f.beyond);
    let near = count(&|f| f.said && !f.beyond && f.past_limit);
    format!(
        "| {name} | {} | {beyond} | {said} | {right} | {} | {} | {near} |\n",
        flags.len(),
        share(right, said),
        share(right, beyond),
    )
}

fn share(part: usize, whole: usize) -> String {
    if whole == 0 {
        return "-".to_owned();
    }
    format!("{:.0} %", 100.0 * part as f64 / whole as f64)
}

fn mean(values: impl Iterator<Item = f64>) -> f64 {
    let (mut sum, mut n) = (0.0, 0usize);
    for v in values {
        sum += v;
        n += 1;
    }
    if n == 0 { f64::NAN } else { sum / n as f64 }
}

fn between_markers(text: &str, tables: &str) -> Option<String> {
    let begin = text.find(BEGIN)? + BEGIN.len();
    let end = begin + text[begin..].find(END)?;
    Some(format!(
        "{}\n\n{}\n{}",
        &text[..begin],
        tables.trim_end(),
        &text[end..]
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn compared(value: f64, judged: bool) -> Compared {
        Compared {
            near_leg: None,
            value: Some(value),
            uncertainty: Some(1.0),
            judged,
            truth: 0.0,
        }
    }

    #[test]
    fn errors_are_of_what_was_judged() {
        let clips = [
            vec![compared(1.0, true), compared(3.0, true)],
            vec![compared(-2.0, true), compared(90.0, false)],
        ];
        let t = Tally::of(&clips, 1.0).unwrap();
        assert_eq!((t.clips, t.pushes, t.judged), (2, 4, 3));
        assert!((t.bias - 2.0 / 3.0).abs() < 1e-9 && (t.mae - 2.0).abs() < 1e-9);
        // deviations 1/3, 7/3, -8/3: mean square 38/9
        assert!((t.sd - (38.0f64 / 9.0).sqrt()).abs() < 1e-9);
        assert!((t.worst_clip.abs() - 2.0).abs() < 1e-9);
        assert!((t.within_two_sd - 2.0 / 3.0).abs() < 1e-9);
        assert_eq!(Tally::of(&[Vec::new()], 1.0), None);
    }

    #[test]
    fn a_clip_takes_no_part_in_its_own_correction() {
        // biases 2 and 6: each is corrected by the other's
        let clips = [vec![compared(2.0, true)], vec![compared(6.0, true)]];
        assert!((leave_one_out_mae(&clips, 1.0).unwrap() - 4.0).abs() < 1e-9);
        assert_eq!(leave_one_out_mae(&clips[..1], 1.0), None);
    }

    #[test]
    fn precision_and_recall() {
        let flag = |said, beyond| Flagged {
            said,
            beyond,
            past_limit: true,
        };
        let flags = [
            flag(true, true),
            flag(true, true),
            flag(true, false),
            flag(false, true),
            flag(false, true),
        ];
        assert_eq!(
            flag_row("x", &flags),
            "| x | 5 | 4 | 3 | 2 | 67 % | 50 % | 1 |\n"
        );
    }

    #[test]
    fn the_rest_of_a_document_stays() {
        let text = format!("before\n{BEGIN}\nold\n{END}\nafter\n");
        let new = between_markers(&text, "new\n").unwrap();
        assert_eq!(new, format!("before\n{BEGIN}\n\nnew\n{END}\nafter\n"));
        assert_eq!(between_markers("no markers", "new"), None);
    }
}
