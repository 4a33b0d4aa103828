//! One skater: what is known, consent, and deleting in two steps.

use egui::Ui;
use jiff::civil::Date;

use super::SkatersState;
use crate::panel::model::{Command, WouldDelete};
use crate::panel::pages::limits::group_word;
use crate::panel::pages::{Desk, band_colour, band_word};
use crate::panel::widgets::{
    Icon, Press, Slider, Voice, beside, card, columns, field, flow, grid, plain_card, say, stepper,
};
use crate::roster::{BandColour, Consent, HEIGHT_M, Skater, SkaterId};
use crate::rules::{AgeGroup, RULES};

/// One press of a key, metres.
const HEIGHT_STEP_M: f64 = 0.05;

/// Where the first press begins, metres: half of the children of the group are taller. WHO growth
/// reference 2007, means of boys and girls at the group's middle age, from memory.
fn usual_m(group: AgeGroup) -> f64 {
    match group {
        AgeGroup::U7 => 1.15,
        AgeGroup::U9 => 1.25,
        AgeGroup::U11 => 1.35,
        AgeGroup::U13 => 1.50,
        AgeGroup::U15 => 1.60,
        AgeGroup::U18 => 1.70,
        AgeGroup::Adult => 1.75,
    }
}

/// One step below the least height: it is not known.
fn not_known_m() -> f64 {
    HEIGHT_M.start() - HEIGHT_STEP_M
}

/// A skater while they are changed.
pub(super) struct Draft {
    /// The skater as they are; its id is not used for a new one.
    skater: Skater,
    new: bool,
    bib: String,
    height_m: f64,
    consent_by: String,
    consent_on: String,
}

impl Draft {
    pub(super) fn new(d: &Desk<'_>) -> Self {
        let skater = Skater::new("", d.view.age_group.unwrap_or(AgeGroup::U13));
        Draft {
            new: true,
            ..Draft::of(d, &skater)
        }
    }

    pub(super) fn of(d: &Desk<'_>, skater: &Skater) -> Self {
        Draft {
            skater: skater.clone(),
            new: false,
            bib: skater.bib.clone().unwrap_or_default(),
            height_m: skater.height_m.unwrap_or(not_known_m()),
            consent_by: String::new(),
            consent_on: d.today.to_string(),
        }
    }

    pub(super) fn id(&self) -> Option<SkaterId> {
        (!self.new).then_some(self.skater.id)
    }

    fn finished(&self) -> Skater {
        let bib = self.bib.trim();
        Skater {
            name: self.skater.name.trim().to_owned(),
            bib: (!bib.is_empty()).then(|| bib.to_owned()),
            height_m: (self.height_m >= *HEIGHT_M.start()).then_some(self.height_m),
            ..self.skater.clone()
        }
    }
}

pub(super) fn show(ui: &mut Ui, d: &mut Desk<'_>, state: &mut SkatersState) {
    let s = d.s;
    let mut shared = (d, state, false);
    beside(
        ui,
        s,
        [1.3, 1.0],
        &mut shared,
        |ui, (d, state, close)| *close |= fields(ui, d, state),
        |ui, (d, state, close)| *close |= rights(ui, d, state),
    );
    let (_, state, close) = shared;
    if close {
        state.draft = None;
    }
}

/// What is known of the skater; whether it is to be closed.
fn fields(ui: &mut Ui, d: &mut Desk<'_>, state: &mut SkatersState) -> bool {
    let s = d.s;
    let mut close = false;
    let Some(draft) = &mut state.draft else {
        return false;
    };
    let mut commands = vec![];
    let title = d.w.get(if draft.new {
        "skaters.new"
    } else {
        "skaters.change"
    });
    card(ui, s, title, |ui| {
        // At the head, so that they are seen on every screen.
        let named = !draft.skater.name.trim().is_empty();
        let keys = vec![
            Press::new(d.w.get("skaters.save")).main().enabled(named),
            Press::new(d.w.get("list.close")),
        ];
        match grid(ui, s, 2, keys) {
            Some(0) => {
                let skater = draft.finished();
                close = draft.new;
                commands.push(if draft.new {
                    Command::AddSkater(skater)
                } else {
                    Command::ChangeSkater(skater)
                });
            }
            Some(_) => close = true,
            None => {}
        }
        columns(ui, s, [2.2, 1.0], |[left, right]| {
            field(
                left,
                s,
                d.w.get("skaters.name"),
                &mut draft.skater.name,
                false,
            );
            field(right, s, d.w.get("skaters.bib"), &mut draft.bib, false);
        });
        if !named {
            say(ui, s, Voice::Quiet, d.w.get("skaters.name_first"));
        }
        say(ui, s, Voice::Quiet, d.w.get("skaters.group"));
        let groups = AgeGroup::ALL
            .iter()
            .map(|g| Press::new(group_word(d, *g)).page(*g == draft.skater.age_group))
            .collect();
        if let Some(index) = grid(ui, s, 4, groups) {
            draft.skater.age_group = AgeGroup::ALL[index];
        }
        let known = draft.height_m >= *HEIGHT_M.start();
        let stepped = stepper(
            ui,
            s,
            &Slider {
                name: d.w.get("skaters.height"),
                less: d.w.get("number.less"),
                more: d.w.get("number.more"),
                range: not_known_m()..=*HEIGHT_M.end(),
                step: HEIGHT_STEP_M,
                format: &|v| {
                    if v < *HEIGHT_M.start() {
                        d.w.get("skaters.not_known").to_owned()
                    } else {
                        d.f.cm(v, 0)
                    }
                },
            },
            &mut draft.height_m,
        );
        if stepped && !known {
            draft.height_m = usual_m(draft.skater.age_group);
        }
        say(ui, s, Voice::Quiet, d.w.get("skaters.band"));
        flow(ui, |ui| {
            let none = Press::new(d.w.get("band.none")).page(draft.skater.band.is_none());
            if none.show(ui, s) {
                draft.skater.band = None;
            }
            for band in BandColour::ALL {
                let key = Press::new(band_word(d.w, band))
                    .page(draft.skater.band == Some(band))
                    .swatch(Some(band_colour(band)));
                if key.show(ui, s) {
                    draft.skater.band = Some(band);
                }
            }
        });
        let delete = Press::new(d.w.get("skaters.delete")).icon(Icon::Bin);
        if !draft.new && delete.show(ui, s) {
            state.deleting = Some(draft.skater.id);
            commands.push(Command::PreviewDelete(draft.skater.id));
        }
    });
    d.out.append(&mut commands);
    close
}

/// Consent, and deleting; whether it is to be closed.
fn rights(ui: &mut Ui, d: &mut Desk<'_>, state: &mut SkatersState) -> bool {
    let mut close = false;
    let mut commands = vec![];
    let Some(draft) = &mut state.draft else {
        return false;
    };
    match draft.id() {
        Some(id) if state.deleting == Some(id) => {
            if let Some(deleted) = delete(ui, d, id, &mut commands) {
                state.deleting = None;
                close = deleted;
            }
        }
        Some(_) => {
            consent(ui, d, draft, &mut commands);
            focus(ui, d, draft, &mut commands);
        }
        None => {
            say(ui, d.s, Voice::Quiet, d.w.get("skaters.consent_later"));
        }
    }
    d.out.append(&mut commands);
    close
}

/// What this skater works on: holds at once, as what everybody works on does.
fn focus(ui: &mut Ui, d: &Desk<'_>, draft: &mut Draft, commands: &mut Vec<Command>) {
    let s = d.s;
    let Some(known) = d.skater(draft.skater.id) else {
        return;
    };
    card(ui, s, d.w.get("skaters.focus"), |ui| {
        let mut keys = vec![Press::new(d.w.get("skaters.focus_all")).page(known.focus.is_none())];
        let own = |id| known.focus == Some(id);
        keys.extend(
            RULES
                .iter()
                .map(|rule| Press::new(d.w.rule_name(rule)).page(own(rule.id))),
        );
        if let Some(index) = grid(ui, s, 2, keys) {
            let focus = index.checked_sub(1).map(|i| RULES[i].id);
            // What else is changed on this page waits for its own key.
            draft.skater.focus = focus;
            commands.push(Command::ChangeSkater(Skater {
                focus,
                ..known.clone()
            }));
        }
    });
}

/// The second step: says what goes, then does it. `Some` when it ended, with
/// whether they were deleted.
fn delete(ui: &mut Ui, d: &Desk<'_>, id: SkaterId, commands: &mut Vec<Command>) -> Option<bool> {
    let s = d.s;
    let mut ended = None;
    let would = d.view.would_delete.filter(|w| w.skater == id);
    plain_card(ui, s, s.c.warning, |ui| {
        let Some(would) = would else {
            say(ui, s, Voice::Body, d.w.get("skaters.delete_counting"));
            if Press::new(d.w.get("skaters.keep")).show(ui, s) {
                ended = Some(false);
            }
            return;
        };
        say(ui, s, Voice::Body, &delete_sentence(d, &would));
        if would.exports > 0 {
            let n = would.exports.to_string();
            let text = d.w.say("skaters.delete_exports", &[("n", &n)]);
            say(ui, s, Voice::Body, &text);
        }
        flow(ui, |ui| {
            if Press::new(d.w.get("skaters.delete_yes"))
                .danger()
                .icon(Icon::Bin)
                .show(ui, s)
            {
                commands.push(Command::DeleteSkater(id));
                ended = Some(true);
            }
            if Press::new(d.w.get("skaters.keep")).show(ui, s) {
                ended = Some(false);
            }
        });
    });
    ended
}

/// What goes and what stays, with the true counts.
fn delete_sentence(d: &Desk<'_>, would: &WouldDelete) -> String {
    d.w.say(
        "skaters.delete_what",
        &[
            ("who", &d.label(Some(would.skater))),
            ("passes", &would.passes.to_string()),
            ("strips", &would.strips.to_string()),
            ("comments", &would.comments.to_string()),
        ],
    )
}

fn consent(ui: &mut Ui, d: &Desk<'_>, draft: &mut Draft, commands: &mut Vec<Command>) {
    let s = d.s;
    let id = draft.skater.id;
    let leaving = d.view.withdrawing.is_some_and(|w| w.skater == id);
    let given = d
        .skater(id)
        .and_then(|x| x.consent.clone())
        .filter(|_| !leaving);
    card(ui, s, d.w.get("skaters.consent"), |ui| match given {
        Some(consent) => {
            let text = d.w.say(
                "skaters.consent_given",
                &[
                    ("date", &consent.given_on.to_string()),
                    ("who", &consent.given_by),
                ],
            );
            say(ui, s, Voice::Body, &text);
            // Who gives consent here would else believe that pictures are kept now.
            if !d.view.privacy.keep_pictures {
                say(ui, s, Voice::Body, d.w.get("skaters.consent_no_use"));
            }
            if Press::new(d.w.get("skaters.withdraw")).show(ui, s) {
                commands.push(Command::SetConsent(id, None));
            }
        }
        None => {
            say(ui, s, Voice::Body, d.w.get("skaters.consent_none"));
            columns(ui, s, [1.4, 1.0], |[left, right]| {
                let name = d.w.get("skaters.consent_by");
                field(left, s, name, &mut draft.consent_by, false);
                let name = d.w.get("skaters.consent_on");
                field(right, s, name, &mut draft.consent_on, false);
            });
            let on = draft.consent_on.trim().parse::<Date>().ok();
            let by = draft.consent_by.trim();
            let key =
                Press::new(d.w.get("skaters.consent_set")).enabled(on.is_some() && !by.is_empty());
            if key.show(ui, s)
                && let Some(given_on) = on
            {
                let given = Consent {
                    given_on,
                    given_by: by.to_owned(),
                };
                commands.push(Command::SetConsent(id, Some(given)));
            }
            if on.is_none() {
                say(ui, s, Voice::Quiet, d.w.get("skaters.date_rule"));
            }
        }
    });
}
