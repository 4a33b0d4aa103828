//! What a limit means on the lane in use, and how sure a flag has to be.

use egui::Ui;

use crate::body::ModelKind;
use crate::calibration::{Basis, Calibration, Gauged};
use crate::panel::model::{CheckEnded, Command};
use crate::panel::pages::Desk;
use crate::panel::widgets::{Press, Voice, grid, say};
use crate::ruler::Difference;
use crate::rules::{Limits, Rule, Surety};

/// How far beyond its limit a value of the lane in use has to be, and what that rests
/// on. Nothing where the lane's view does not show it.
pub(super) fn what_it_means(d: &Desk<'_>, rule: &Rule, limits: &Limits) -> Option<String> {
    let in_use = d.view.lanes.iter().find(|l| l.in_use)?;
    let lane = in_use.lane.as_ref().ok()?;
    if !rule.views.contains(&lane.view) {
        return None;
    }
    // Without a check the doubt is the same for every model.
    let model = lane.checked.map_or(ModelKind::default(), |c| c.model);
    let calibration = Calibration::of_lane(lane, model);
    let margin = limits.margin_on(rule.id, calibration, lane, d.view.groups.surety())?;
    let margin = d.f.finer(rule.unit, margin);
    let part = ("margin", margin.as_str());
    // A check says something of what was held alone.
    let found = Gauged::of_rule(rule.id.code()).and_then(|of| calibration.found(of));
    Some(match (calibration.basis(), found) {
        (Basis::Rendered, _) => d.w.say("limits.rendered", &[part]),
        (Basis::CheckedHere, Some(found)) => {
            let date = lane.checked?.date;
            let date = date.map_or_else(String::new, |d| d.to_string());
            let persons = found.persons.to_string();
            d.w.say("limits.checked", &[("date", &date), ("n", &persons), part])
        }
        _ => {
            let text = d.w.say("limits.not_checked", &[part]);
            match &d.view.check_ended {
                Some(ended) => format!("{text} {}", why_ended(d, ended)),
                None => text,
            }
        }
    })
}

/// Why an earlier check counts no more.
fn why_ended(d: &Desk<'_>, ended: &CheckEnded) -> String {
    let CheckEnded::MadeWithAnother(date, with) = ended else {
        return d.w.get("limits.ended_file").to_owned();
    };
    let key = match with {
        Difference::Camera => "limits.ended_camera",
        Difference::Lane => "limits.ended_lane",
        Difference::Model => "limits.ended_model",
        Difference::Engine => "limits.ended_engine",
    };
    d.w.say(key, &[("date", &date.to_string())])
}

/// How sure it has to be before a push is flagged.
pub(super) fn surety(ui: &mut Ui, d: &mut Desk<'_>) {
    let s = d.s;
    say(ui, s, Voice::Head, d.w.get("limits.surety"));
    say(ui, s, Voice::Quiet, d.w.get("limits.surety_about"));
    let now = d.view.groups.surety();
    let names: Vec<String> = Surety::ALL
        .iter()
        .map(|surety| {
            let percent = surety.percent().to_string();
            d.w.say("limits.surety_of", &[("percent", &percent)])
        })
        .collect();
    let keys = names
        .iter()
        .zip(Surety::ALL)
        .map(|(name, surety)| Press::new(name).page(surety == now))
        .collect();
    if let Some(index) = grid(ui, s, 3, keys)
        && Surety::ALL[index] != now
    {
        d.send(Command::SetSurety(Surety::ALL[index]));
    }
}
