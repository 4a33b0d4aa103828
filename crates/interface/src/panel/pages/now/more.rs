//! What is set during the ice time: what we work on, sound, language, look;
//! and the end of the session.

use egui::Ui;

use super::NowState;
use crate::display::Language;
use crate::panel::model::Command;
use crate::panel::pages::Desk;
use crate::panel::state::PageId;
use crate::panel::widgets::{
    Icon, Press, Slider, Voice, card, grid, plain_card, say, stepper, toggle,
};
use crate::rules::{RULES, RuleId};

/// One press of the key for louder, percent.
const LEVEL_STEP: f64 = 10.0;

/// The keys under the last pass.
pub(super) fn keys(ui: &mut Ui, d: &mut Desk<'_>, state: &mut NowState) {
    let s = d.s;
    let rule = d.view.station.focus.map(RuleId::rule);
    if let Some(rule) = rule.filter(|_| !s.is_small()) {
        let text = d.w.say("now.focus_is", &[("what", d.w.rule_name(rule))]);
        say(ui, s, Voice::Quiet, &text);
    }
    let muted = d.view.station.muted;
    let (mute, icon) = mute_key(muted);
    let keys = vec![
        Press::new(d.w.get("now.more")).icon(Icon::More),
        Press::new(d.w.get(mute)).icon(icon),
    ];
    match grid(ui, s, 2, keys) {
        Some(0) => state.more = true,
        Some(_) => d.send(Command::SetSound {
            level: d.view.station.sound_level,
            muted: !muted,
        }),
        None => {}
    }
}

/// The word and the sign of the key that mutes or unmutes.
fn mute_key(muted: bool) -> (&'static str, Icon) {
    if muted {
        ("now.unmute", Icon::Mute)
    } else {
        ("now.mute", Icon::Sound)
    }
}

pub(super) fn show(ui: &mut Ui, d: &mut Desk<'_>, state: &mut NowState) {
    let s = d.s;
    let station = &d.view.station;
    let mut commands = vec![];
    // At the head, so that the end of the session is seen on every screen.
    let keys = vec![
        Press::new(d.w.get("list.close")).main(),
        Press::new(d.w.get("now.end"))
            .icon(Icon::End)
            .enabled(!state.ending),
    ];
    match grid(ui, s, 2, keys) {
        Some(0) => {
            state.close();
        }
        Some(_) => state.ending = true,
        None => {}
    }
    if state.ending {
        sure(ui, d, state, &mut commands);
    }
    card(ui, s, d.w.get("now.focus"), |ui| {
        let chosen = |id| station.focus == Some(id);
        let mut keys = vec![Press::new(d.w.get("now.focus_none")).page(station.focus.is_none())];
        keys.extend(
            RULES
                .iter()
                .map(|rule| Press::new(d.w.rule_name(rule)).page(chosen(rule.id))),
        );
        match grid(ui, s, 2, keys) {
            Some(0) => commands.push(Command::SetFocus(None)),
            Some(i) => commands.push(Command::SetFocus(Some(RULES[i - 1].id))),
            None => {}
        }
        // Who works on something else; it is set with the skater.
        for skater in d.view.roster.iter() {
            let Some(rule) = skater.focus else { continue };
            let what = d.w.rule_name(rule.rule());
            let of = [("who", skater.label()), ("what", what.to_owned())];
            let of = of.each_ref().map(|(key, text)| (*key, text.as_str()));
            say(ui, s, Voice::Body, &d.w.say("now.focus_own", &of));
        }
    });
    plain_card(ui, s, s.c.card, |ui| {
        let mut level = station.sound_level * 100.0;
        let slider = Slider {
            name: d.w.get("now.level"),
            less: d.w.get("number.less"),
            more: d.w.get("number.more"),
            range: 0.0..=100.0,
            step: LEVEL_STEP,
            format: &|v| format!("{} %", d.f.number(v, 0)),
        };
        if stepper(ui, s, &slider, &mut level) {
            commands.push(Command::SetSound {
                level: level / 100.0,
                muted: station.muted,
            });
        }
        let keys = vec![
            Press::new(d.w.get("now.try"))
                .icon(Icon::Sound)
                .enabled(!station.muted),
            Press::new(d.w.get("voice.open")),
        ];
        match grid(ui, s, 2, keys) {
            Some(0) => commands.push(Command::TrySound),
            Some(_) => state.voice = true,
            None => {}
        }
        if let Some(on) = toggle(ui, s, d.w.get("now.quiet"), station.quiet) {
            commands.push(Command::SetQuiet(on));
        }
        if let Some(on) = toggle(ui, s, d.w.get("now.dark"), s.c.dark) {
            d.dark = Some(on);
            commands.push(Command::SetDark(on));
        }
        let languages = Language::ALL.map(|l| {
            Press::new(d.w.get(match l {
                Language::En => "now.english",
                Language::Fr => "now.french",
            }))
            .page(station.language == l)
        });
        if let Some(index) = grid(ui, s, 2, languages.into_iter().collect()) {
            commands.push(Command::SetLanguage(Language::ALL[index]));
        }
    });
    d.out.append(&mut commands);
}

/// Ending is two presses.
fn sure(ui: &mut Ui, d: &Desk<'_>, state: &mut NowState, commands: &mut Vec<Command>) {
    let s = d.s;
    plain_card(ui, s, s.c.warning, |ui| {
        say(ui, s, Voice::Body, d.w.get("now.end_about"));
        let keys = vec![
            Press::new(d.w.get("now.end_yes")).danger(),
            Press::new(d.w.get("now.end_no")),
        ];
        match grid(ui, s, 2, keys) {
            Some(0) => {
                commands.push(Command::EndSession);
                (state.ending, state.more, state.ended) = (false, false, true);
            }
            Some(_) => state.ending = false,
            None => {}
        }
    });
}

/// The session was ended: taking it along is offered.
pub(super) fn ended(ui: &mut Ui, d: &mut Desk<'_>, state: &mut NowState) {
    let s = d.s;
    plain_card(ui, s, s.c.good, |ui| {
        say(ui, s, Voice::Title, d.w.get("now.ended"));
        say(ui, s, Voice::Body, d.w.get("now.ended_about"));
        let wide = ui.available_width();
        if Press::new(d.w.get("now.to_export"))
            .main()
            .large()
            .icon(Icon::Save)
            .wide(wide)
            .show(ui, s)
        {
            state.close();
            d.take_along = true;
            d.go = Some(PageId::Privacy);
        }
        if Press::new(d.w.get("now.go_on"))
            .large()
            .wide(wide)
            .show(ui, s)
        {
            state.close();
        }
    });
}
