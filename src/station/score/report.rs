//! The score as tables.

use std::collections::BTreeMap;
use std::fmt;

use super::{ClipScore, Compared};

/// Scores of many clips, printed as Markdown tables.
pub struct ScoreReport {
    /// One entry a clip.
    pub clips: Vec<ClipScore>,
}

impl fmt::Display for ScoreReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            f,
            "| clip | view | pushes asked | found | reported | false | toe-off median (frames) | within 1 | within 2 |"
        )?;
        writeln!(f, "|---|---|---|---|---|---|---|---|---|")?;
        for c in &self.clips {
            write_pushes(f, &c.name, &c.view, std::slice::from_ref(c))?;
        }
        for view in self.views() {
            let clips: Vec<ClipScore> = self.of_view(&view).cloned().collect();
            write_pushes(f, "all", &view, &clips)?;
        }
        write_pushes(f, "**all**", "**all**", &self.clips)?;
        writeln!(f)?;
        writeln!(
            f,
            "| view | measure | leg | skaters | pushes | judged % | bias | SD | MAE | worst skater |"
        )?;
        writeln!(f, "|---|---|---|---|---|---|---|---|---|---|")?;
        for view in self.views() {
            let mut keys: Vec<&'static str> = self
                .of_view(&view)
                .flat_map(|c| c.measures.keys().copied())
                .collect();
            keys.sort_unstable();
            keys.dedup();
            for key in keys {
                for near in [Some(true), Some(false), None] {
                    self.write_measure(f, &view, key, near)?;
                }
            }
        }
        let missed: Vec<String> = self
            .clips
            .iter()
            .filter(|c| !c.missed.is_empty() || !c.invented.is_empty())
            .map(|c| {
                format!(
                    "{}: missed {:?}, invented {:?}",
                    c.name, c.missed, c.invented
                )
            })
            .collect();
        for line in missed {
            writeln!(f, "\n{line}")?;
        }
        Ok(())
    }
}

impl ScoreReport {
    fn views(&self) -> Vec<String> {
        let set: BTreeMap<&str, ()> = self.clips.iter().map(|c| (c.view.as_str(), ())).collect();
        set.into_keys().map(str::to_owned).collect()
    }

    fn of_view<'a>(&'a self, view: &'a str) -> impl Iterator<Item = &'a ClipScore> {
        self.clips.iter().filter(move |c| c.view == view)
    }

    fn write_measure(
        &self,
        f: &mut fmt::Formatter<'_>,
        view: &str,
        key: &str,
        near: Option<bool>,
    ) -> fmt::Result {
        let scale = if key.ends_with("_m") { 100.0 } else { 1.0 };
        let per_clip: Vec<Vec<Compared>> = self
            .of_view(view)
            .filter_map(|c| c.measures.get(key))
            .map(|v| v.iter().copied().filter(|x| x.near_leg == near).collect())
            .collect();
        let all: Vec<Compared> = per_clip.iter().flatten().copied().collect();
        if all.is_empty() || all.iter().all(|c| c.value.is_none()) {
            return Ok(());
        }
        let judged = all.iter().filter(|c| c.judged).count();
        let errors = |v: &[Compared]| -> Vec<f64> {
            v.iter()
                .filter_map(|c| c.value.map(|x| scale * (x - c.truth)))
                .collect()
        };
        let e = errors(&all);
        let worst = per_clip
            .iter()
            .map(|v| errors(v))
            .filter(|e| !e.is_empty())
            .map(|e| mean(&e))
            .max_by(|a, b| a.abs().total_cmp(&b.abs()))
            .unwrap_or(0.0);
        let bias = mean(&e);
        let sd = mean(&e.iter().map(|x| (x - bias).powi(2)).collect::<Vec<_>>()).sqrt();
        let mae = mean(&e.iter().map(|x| x.abs()).collect::<Vec<_>>());
        let leg = match near {
            Some(true) => "near",
            Some(false) => "far",
            None => "both",
        };
        let unit = if scale > 1.0 { "cm" } else { "deg" };
        writeln!(
            f,
            "| {view} | {key} ({unit}) | {leg} | {} | {} | {:.0} | {bias:+.1} | {sd:.1} | {mae:.1} | {worst:+.1} |",
            per_clip.iter().filter(|v| !v.is_empty()).count(),
            all.len(),
            100.0 * judged as f64 / all.len() as f64,
        )
    }
}

fn write_pushes(
    f: &mut fmt::Formatter<'_>,
    name: &str,
    view: &str,
    clips: &[ClipScore],
) -> fmt::Result {
    let sum = |g: fn(&ClipScore) -> usize| clips.iter().map(g).sum::<usize>();
    let (asked, found) = (sum(|c| c.asked), sum(|c| c.found));
    let (reported, wrong) = (sum(|c| c.reported), sum(|c| c.false_pushes));
    let mut off: Vec<f64> = clips
        .iter()
        .flat_map(|c| c.toe_off_frames.iter().map(|e| e.abs()))
        .collect();
    off.sort_by(f64::total_cmp);
    let within =
        |n: f64| 100.0 * off.iter().filter(|e| **e <= n).count() as f64 / off.len().max(1) as f64;
    let median = off.get(off.len() / 2).copied().unwrap_or(f64::NAN);
    writeln!(
        f,
        "| {name} | {view} | {asked} | {found} ({:.0} %) | {reported} | {wrong} | {median:.2} | {:.0} % | {:.0} % |",
        100.0 * found as f64 / asked.max(1) as f64,
        within(1.0),
        within(2.0),
    )
}

fn mean(v: &[f64]) -> f64 {
    v.iter().sum::<f64>() / v.len().max(1) as f64
}
