//! A word in the coach's own voice for each sound: record, hear, delete.

use egui::accesskit::Role;
use egui::{Sense, Ui, WidgetInfo, vec2};

use super::NowState;
use crate::panel::model::{Command, VoiceOrder, WordRecording};
use crate::panel::pages::Desk;
use crate::panel::widgets::{Icon, Press, Voice, card, grid, plain_card, say};
use crate::rules::RuleId;
use crate::sound::{Ending, SoundId, VoiceMode};

/// Above it the microphone is about to cut off.
const NEARLY_TOO_LOUD: f32 = 0.9;

/// The sounds that are chosen from first: praise, go again, each rule.
fn families() -> Vec<Vec<SoundId>> {
    let rules = RuleId::ALL.iter().map(|&rule| {
        let endings = Ending::of_rule(rule).iter();
        endings.map(|&e| SoundId::Order(rule, e)).collect()
    });
    [vec![SoundId::Praise], vec![SoundId::GoAgain]]
        .into_iter()
        .chain(rules)
        .collect()
}

pub(super) fn show(ui: &mut Ui, d: &mut Desk<'_>, state: &mut NowState) {
    let s = d.s;
    let voices = &d.view.voices;
    let mut orders = vec![];
    let wide = ui.available_width();
    let close = Press::new(d.w.get("list.close")).main().wide(wide);
    state.voice &= !close.show(ui, s);
    let mut chosen = state.voice_of.unwrap_or(SoundId::Praise);
    let free = voices.recording.is_none();
    // What is pressed most stands at the head, so that it is seen on every screen.
    card(ui, s, &d.w.sound_name(chosen), |ui| {
        match voices.recording {
            Some(recording) => {
                meter(ui, d, recording);
                let wide = ui.available_width();
                let stop = Press::new(d.w.get("voice.stop")).main().wide(wide);
                if stop.show(ui, s) {
                    orders.push(VoiceOrder::Stop);
                }
            }
            None => word_keys(ui, d, chosen, &mut orders),
        }
    });
    plain_card(ui, s, s.c.card, |ui| {
        let families = families();
        let keys = families.iter().map(|family| {
            let key = Press::new(d.w.sound_family(family[0]))
                .page(family.contains(&chosen))
                .enabled(free);
            match family.iter().all(|id| voices.has.contains(id)) {
                true => key.icon(Icon::Tick),
                false => key,
            }
        });
        if let Some(index) = grid(ui, s, 2, keys.collect()) {
            chosen = families[index][0];
        }
        let family = families.iter().find(|f| f.contains(&chosen));
        let endings: &[SoundId] = family.map_or(&[], Vec::as_slice);
        if endings.len() > 1 {
            let names: Vec<String> = endings.iter().map(|&id| d.w.sound_name(id)).collect();
            let keys = endings.iter().zip(&names).map(|(id, name)| {
                let key = Press::new(d.w.sound_ending(*id).unwrap_or_default())
                    .named(name)
                    .page(*id == chosen)
                    .enabled(free);
                match voices.has.contains(id) {
                    true => key.icon(Icon::Tick),
                    false => key,
                }
            });
            if let Some(index) = grid(ui, s, endings.len(), keys.collect()) {
                chosen = endings[index];
            }
        }
    });
    state.voice_of = Some(chosen);
    card(ui, s, d.w.get("voice.title"), |ui| {
        say(ui, s, Voice::Quiet, d.w.get("voice.about"));
        let modes = VoiceMode::ALL.map(|mode| {
            let key = match mode {
                VoiceMode::Off => "voice.off",
                VoiceMode::Instead => "voice.instead",
                VoiceMode::After => "voice.after",
            };
            Press::new(d.w.get(key)).page(voices.mode == mode)
        });
        if let Some(index) = grid(ui, s, 3, modes.into_iter().collect()) {
            orders.push(VoiceOrder::Use(VoiceMode::ALL[index]));
        }
        for sentence in &voices.left_out {
            say(ui, s, Voice::Quiet, sentence);
        }
    });
    d.out.extend(orders.into_iter().map(Command::Voice));
}

fn word_keys(ui: &mut Ui, d: &Desk<'_>, of: SoundId, orders: &mut Vec<VoiceOrder>) {
    let s = d.s;
    let voices = &d.view.voices;
    let has = voices.has.contains(&of);
    let said = if has { "voice.has" } else { "voice.has_not" };
    say(ui, s, Voice::Quiet, d.w.get(said));
    let nobody = !d.view.live.somebody_passing;
    let keys = vec![
        Press::new(d.w.get("voice.record")).main().enabled(nobody),
        Press::new(d.w.get("voice.hear"))
            .icon(Icon::Sound)
            .enabled(has && nobody),
        Press::new(d.w.get("voice.delete"))
            .icon(Icon::Bin)
            .enabled(has),
        Press::new(d.w.get("voice.put_back"))
            .icon(Icon::Undo)
            .enabled(voices.deleted.is_some()),
    ];
    match grid(ui, s, 2, keys) {
        Some(0) => orders.push(VoiceOrder::Record(of)),
        Some(1) => orders.push(VoiceOrder::Hear(of)),
        Some(2) => orders.push(VoiceOrder::Delete(of)),
        Some(_) => orders.push(VoiceOrder::PutBack),
        None => {}
    }
}

/// How loud it is now; the words beside the bar say the same as its colour.
fn meter(ui: &mut Ui, d: &Desk<'_>, recording: WordRecording) {
    let s = d.s;
    let left = d.f.number(recording.left_s, 1);
    let speak = d.w.say("voice.speak", &[("n", &left)]);
    say(ui, s, Voice::Head, &speak);
    let size = vec2(ui.available_width(), s.mm(6.0));
    let (rect, response) = ui.allocate_exact_size(size, Sense::hover());
    let percent = d.f.number(f64::from(recording.level) * 100.0, 0);
    let name = d.w.say("voice.level", &[("percent", &percent)]);
    response.widget_info(|| WidgetInfo::labeled(Role::Meter, true, &name));
    let mut bar = rect;
    bar.set_width(rect.width() * recording.level.clamp(0.0, 1.0));
    let painter = ui.painter();
    painter.rect_filled(rect, s.mm(1.0), s.c.edge);
    let near = recording.level > NEARLY_TOO_LOUD;
    let colour = if near { s.c.danger } else { s.c.main };
    painter.rect_filled(bar, s.mm(1.0), colour);
    let said = if near {
        "voice.too_loud"
    } else {
        "voice.level"
    };
    say(
        ui,
        s,
        Voice::Quiet,
        &d.w.say(said, &[("percent", &percent)]),
    );
}
