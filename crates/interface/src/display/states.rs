//! What each state of the screen shows in the rooms of the grid.

use egui::{Color32, Rect, Stroke, pos2, vec2};

use super::appearance::Appearance;
use super::card::{self, CueSaid};
use super::head;
use super::model::{Fault, PictureView, Screen, ScreenModel};
use super::motion;
use super::overlay;
use super::page::Page;
use super::people::People;
use super::skater;
use super::theme;
use super::typeset::{Role, Side, Typesetter};
use crate::feedback::SetSummary;
use crate::figure::{Picture, Stance};
use crate::rules::RuleId;

/// Stature skaters that are nobody in particular are drawn with; only shares count.
const ANY_STATURE_M: f64 = 1.4;

/// What the child reads of a fault takes so much of the words' room; the rest is the coach's.
const FAULT_WORDS: f32 = 0.62;

/// Draws the state of the model.
pub(super) fn paint(
    set: &mut Typesetter<'_>,
    page: &Page,
    model: &ScreenModel,
    people: &People,
    picture: Option<PictureView>,
) {
    let look = &model.look;
    let quiet = look.symbols_only;
    let share = model
        .since_s
        .and_then(|s| motion::share(motion::times(&model.screen), s))
        .unwrap_or(1.0);
    let get = |key| look.words.get(key);
    match &model.screen {
        Screen::Waiting => waiting(set, page, look, people),
        Screen::InLane => in_lane(set, page, people),
        Screen::Cue {
            rule,
            value,
            limit,
            leg,
            detail,
            ..
        } => {
            let said = CueSaid {
                rule: *rule,
                value: *value,
                target: *limit,
                leg: *leg,
                detail: detail.as_deref(),
            };
            card::order(set, page, look, said, share);
        }
        Screen::Improved {
            rule,
            value,
            earlier,
            leg,
            detail,
            ..
        } => {
            let said = CueSaid {
                rule: *rule,
                value: *value,
                target: *earlier,
                leg: *leg,
                detail: detail.as_deref(),
            };
            card::better(set, page, look, said, share);
        }
        Screen::Praise { .. } => {
            let (from, to) = (
                Stance::ready(ANY_STATURE_M),
                Stance::cheering(ANY_STATURE_M),
            );
            let whole = Picture::of_stance(&to, None).bounds();
            let now = Picture::of_stance(&from.toward(&to, f64::from(share)), None);
            skater::stance(set, page, &now, whole, figure_room(page, quiet));
            if !quiet {
                card::title(set, page, get("message.praise"), page.palette.text);
                zone_note(set, page, get("message.praise_note"));
            }
        }
        Screen::Unfed { .. } => {
            let ready = Picture::of_stance(&Stance::ready(ANY_STATURE_M), None);
            let room = figure_room(page, quiet);
            // The thought stands beside the head: the body keeps the whole height.
            let rect = skater::stance(set, page, &ready, ready.bounds(), room);
            thought(set, page, rect, room);
            if !quiet {
                card::title(set, page, get("message.unfed"), page.palette.text);
                card::row_note(set, page, get("message.unfed_note"), page.row);
            }
        }
        Screen::NotJudged { .. } => {
            // Nothing of a reason: it is not hers, and the coach reads it on the panel.
            let ghost = Picture::of_ghost(&Stance::ready(ANY_STATURE_M));
            let room = figure_room(page, quiet);
            viewfinder(set, page, room);
            let inner = room.shrink(0.04 * room.height().min(room.width()));
            skater::stance(set, page, &ghost, ghost.bounds(), inner);
            if !quiet {
                card::title(set, page, get("message.not_judged"), page.palette.text);
                card::row_note(set, page, get("message.not_judged_note"), page.row);
            }
        }
        Screen::Summary(of) => summary(set, page, look, of),
        Screen::Replay { overlay, order, .. } => match picture {
            Some(picture) => overlay::replay(set, page, look, overlay, *order, picture),
            None => waiting(set, page, look, people),
        },
        Screen::Fault(fault) => fault_card(set, page, look, fault),
    }
}

/// The figure's room; in quiet mode all there is.
pub(super) fn figure_room(page: &Page, quiet: bool) -> Rect {
    if quiet { page.content } else { page.figure }
}

/// The bib of who is next, larger than all else.
fn waiting(set: &mut Typesetter<'_>, page: &Page, look: &Appearance, people: &People) {
    let get = |key| look.words.get(key);
    let next = people.next.as_ref().filter(|p| p.is_known());
    if look.symbols_only || next.is_none() {
        let ready = Picture::of_stance(&Stance::ready(ANY_STATURE_M), None);
        let room = figure_room(page, look.symbols_only);
        skater::stance(set, page, &ready, ready.bounds(), room);
        if !look.symbols_only {
            let colours = (page.palette.text, page.bg);
            let most = theme::ORDER_MOST * page.order.height();
            card::words(
                set,
                get("message.next_skater"),
                Role::TITLE,
                page.order,
                most,
                colours,
            );
            card::row_note(set, page, &focus_or_eyes_up(look, None), page.row);
        }
        return;
    }
    let Some(person) = next else { return };
    let radius = (theme::NEXT_BIB * page.unit).min(0.40 * page.figure.width());
    head::bib(set, page, person, page.figure.center(), radius, page.bg);
    let mut above = page.order;
    above.max.y = page.order.top() + 0.44 * page.order.height();
    let mut below = page.order;
    below.min.y = above.bottom() + page.gap;
    let colours = (page.palette.quiet_text, page.bg);
    card::words(
        set,
        get("message.next"),
        Role::TITLE,
        above,
        0.24 * page.unit,
        colours,
    );
    if let Some(name) = &person.name {
        let colours = (page.palette.text, page.bg);
        card::words(set, name, Role::TITLE, below, 0.26 * page.unit, colours);
    }
    let note = focus_or_eyes_up(look, person.focus);
    card::row_note(set, page, &note, page.row);
}

/// What who is next works on: her own, else everybody's.
fn focus_or_eyes_up(look: &Appearance, own: Option<RuleId>) -> String {
    match own.or(look.focus) {
        Some(rule) => look
            .words
            .get("message.focus")
            .replace("{what}", &look.words.name(rule).to_lowercase()),
        None => look.words.get("message.eyes_up").to_owned(),
    }
}

/// Calm: the bib of who skates, and nothing that moves.
fn in_lane(set: &mut Typesetter<'_>, page: &Page, people: &People) {
    let radius = theme::LANE_BIB * page.unit;
    let centre = page.screen.center();
    match people.shown.as_ref().filter(|p| p.is_known()) {
        Some(person) => head::bib(set, page, person, centre, radius, page.bg),
        None => {
            let stroke = Stroke::new(0.09 * radius, page.palette.ice);
            set.painter().circle_stroke(centre, radius, stroke);
        }
    }
}

/// The note under praise: a puck in the zone.
fn zone_note(set: &mut Typesetter<'_>, page: &Page, words: &str) {
    let radius = 0.36 * page.row.height();
    let pill = Rect::from_min_size(
        pos2(page.row.left(), page.row.center().y - 0.5 * radius),
        vec2(3.6 * radius, radius),
    );
    let painter = set.painter();
    painter.rect_filled(pill, 0.5 * radius, page.palette.good);
    let centre = pill.center();
    painter.circle_filled(centre, 1.08 * radius, page.bg);
    painter.circle_filled(centre, 0.96 * radius, page.palette.text);
    painter.circle_filled(centre, 0.66 * radius, page.palette.good);
    let mut room = page.row;
    room.min.x = pill.right() + page.gap;
    card::row_note(set, page, words, room);
}

/// A thought over a head: two small pucks and a large empty one.
fn thought(set: &mut Typesetter<'_>, page: &Page, body: Rect, room: Rect) {
    let r = theme::THOUGHT * room.height().min(room.width());
    let cloud = pos2(
        (body.center().x + 0.29 * body.height()).min(room.right() - 1.1 * r),
        body.top() + 1.1 * r,
    );
    let ink = page.palette.body;
    let painter = set.painter();
    painter.circle_filled(pos2(cloud.x - 1.75 * r, cloud.y + 0.85 * r), 0.13 * r, ink);
    painter.circle_filled(pos2(cloud.x - 1.32 * r, cloud.y + 0.5 * r), 0.2 * r, ink);
    painter.circle_stroke(cloud, r, Stroke::new(0.16 * r, ink));
    let square = Rect::from_center_size(cloud, vec2(2.16 * r, 2.16 * r));
    set.note_graphic("thought", square, theme::LEAST_ARCMIN, vec![(ink, page.bg)]);
}

/// The corners of a camera's frame around a room.
fn viewfinder(set: &mut Typesetter<'_>, page: &Page, room: Rect) {
    let side = room.width().min(room.height());
    let frame =
        Rect::from_center_size(room.center(), vec2(side, room.height())).shrink(0.01 * side);
    let (long, thick) = (0.16 * side, 0.026 * side);
    let ink = page.palette.body;
    let painter = set.painter();
    for (corner, dx, dy) in [
        (frame.left_top(), 1.0, 1.0),
        (frame.right_top(), -1.0, 1.0),
        (frame.left_bottom(), 1.0, -1.0),
        (frame.right_bottom(), -1.0, -1.0),
    ] {
        let across = Rect::from_two_pos(corner, corner + vec2(dx * long, dy * thick));
        let along = Rect::from_two_pos(corner, corner + vec2(dx * thick, dy * long));
        painter.rect_filled(across, thick / 2.0, ink);
        painter.rect_filled(along, thick / 2.0, ink);
    }
    set.note_graphic("frame", frame, theme::NUMBER_ARCMIN, vec![(ink, page.bg)]);
}

/// Pucks, the full ones were in the zone, and one thing for the next set.
fn summary(set: &mut Typesetter<'_>, page: &Page, look: &Appearance, of: &SetSummary) {
    let room = figure_room(page, look.symbols_only);
    pucks(set, page, of.in_band, of.judged, room);
    if look.symbols_only {
        return;
    }
    let words = &look.words;
    let counted = words
        .get("summary.in_band")
        .replace("{n}", &of.in_band.to_string())
        .replace("{of}", &of.judged.to_string());
    card::row_note(set, page, &counted, page.row);
    match (of.next, of.good) {
        (Some(next), good) => {
            let mut top = page.order;
            top.max.y = top.top() + set.least_cap(Role::NOTE) * 1.3;
            let label = match good {
                Some(good) => words.good(good),
                None => words.get("summary.next").to_owned(),
            };
            card::row_note(set, page, &label, top);
            let mut rest = page.order;
            rest.min.y = top.bottom() + page.gap;
            let order = words.cue(next.rule, next.more);
            let colours = (page.palette.text, page.bg);
            card::words(set, order, Role::TITLE, rest, 0.215 * page.unit, colours);
        }
        (None, _) => card::title(set, page, words.get("message.praise"), page.palette.text),
    }
}

fn pucks(set: &mut Typesetter<'_>, page: &Page, full: u32, of: u32, room: Rect) {
    let of = of.clamp(1, 25);
    let columns = if of <= 4 {
        2
    } else if of <= 9 {
        3
    } else if of <= 16 {
        4
    } else {
        5
    };
    let rows = of.div_ceil(columns);
    let pitch = (room.width() / columns as f32).min(room.height() / rows as f32);
    let r = 0.36 * pitch;
    let size = vec2(pitch * columns as f32, pitch * rows as f32);
    let grid = Rect::from_center_size(room.center(), size);
    for i in 0..of {
        let (column, row) = ((i % columns) as f32, (i / columns) as f32);
        let centre = grid.min + vec2((column + 0.5) * pitch, (row + 0.5) * pitch);
        let painter = set.painter();
        if i < full {
            painter.circle_filled(centre, r, page.palette.text);
            painter.circle_filled(centre, 0.76 * r, page.palette.good);
        } else {
            painter.circle_stroke(centre, 0.88 * r, Stroke::new(0.14 * r, page.palette.far));
        }
    }
    let colours = vec![
        (page.palette.text, page.bg),
        (page.palette.far, page.bg),
        (page.palette.good, page.bg),
    ];
    set.note_graphic("pucks", grid, theme::NUMBER_ARCMIN, colours);
}

/// Small and friendly for the child, whole for the coach.
fn fault_card(set: &mut Typesetter<'_>, page: &Page, look: &Appearance, fault: &Fault) {
    let words = &look.words;
    let get = |key| words.get(key);
    let (title, note) = match fault {
        Fault::NoCamera => (get("fault.no_camera"), get("fault.no_camera_note")),
        Fault::CameraSilent => (get("fault.silent"), get("fault.silent_note")),
        Fault::EngineStopped => (get("fault.engine"), get("fault.engine_note")),
        Fault::NotRecording => (get("fault.not_recording"), get("fault.not_recording_note")),
        Fault::TooSlow => (get("fault.too_slow"), get("fault.too_slow_note")),
        Fault::Other(what) => (get("fault.other"), what.as_str()),
    };
    let ready = Picture::of_ghost(&Stance::ready(ANY_STATURE_M));
    skater::stance(set, page, &ready, ready.bounds(), page.figure);
    if !look.symbols_only {
        let mut room = page.order;
        room.max.y = room.top() + FAULT_WORDS * room.height();
        let most = 0.46 * room.height();
        let colours = (page.palette.text, page.bg);
        card::words(set, get("message.moment"), Role::TITLE, room, most, colours);
    }
    // For who stands at the screen: in words, twice the least height.
    let cap = 1.7 * set.least_cap(Role::STRIP);
    let text = format!("{title}. {}", super::words::sentence(note));
    let lines = set.wrap(&text, page.order.width() / cap);
    let colours: (Color32, Color32) = (page.palette.fault, page.bg);
    let mut baseline = page.order.top() + FAULT_WORDS * page.order.height() + 2.0 * cap;
    for line in lines.iter().take(4) {
        let at = pos2(page.order.left(), baseline);
        set.line(line, Role::STRIP, cap, at, Side::Left, colours);
        baseline += theme::LINE_PITCH * cap;
    }
}
