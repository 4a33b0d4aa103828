//! The card of an order, and of something better: the figure, the order, the side
//! and the gauge.

use egui::{Align2, Color32, Rect, pos2};

use super::appearance::Appearance;
use super::gauge::{self, Gauge};
use super::model::CueDetail;
use super::numbers::{numbers, unit_of};
use super::page::{Block, Page, set_block};
use super::skater::{self, Signal};
use super::states::figure_room;
use super::theme;
use super::typeset::{Role, Side, Typesetter, descends, height_in_caps};
use crate::feedback::CueLeg;
use crate::figure::{Figure, Order, Stance};
use crate::rules::RuleId;
use crate::stride::Leg;

/// Stature a standard skater is drawn with; only shares count.
const ANY_STATURE_M: f64 = 1.4;

/// What a card says.
#[derive(Debug, Clone, Copy)]
pub(super) struct CueSaid<'a> {
    pub(super) rule: RuleId,
    pub(super) value: f64,
    /// The limit, or what was before.
    pub(super) target: f64,
    pub(super) leg: CueLeg,
    pub(super) detail: Option<&'a CueDetail>,
}

/// One thing to do.
pub(super) fn order(
    set: &mut Typesetter<'_>,
    page: &Page,
    look: &Appearance,
    said: CueSaid<'_>,
    share: f32,
) {
    let more = said.value < said.target;
    let quiet = look.symbols_only;
    paint_figure(
        set,
        page,
        said,
        (said.value, said.target),
        Signal::Do,
        share,
        quiet,
    );
    let detail = said.detail;
    let zone = match detail.map(|d| d.zone) {
        Some(zone) if zone.iter().any(Option::is_some) => zone,
        _ if more => [Some(said.target), None],
        _ => [None, Some(said.target)],
    };
    let gauge = Gauge {
        zone,
        value: said.value,
        doubt: detail.and_then(|d| d.doubt),
        before: detail.and_then(|d| d.before),
    };
    if quiet {
        return;
    }
    title(
        set,
        page,
        look.words.cue(said.rule, more),
        page.palette.text,
    );
    let has_side = Order::of_rule(said.rule, more).has_side();
    let mut room = page.row;
    if has_side {
        room.min.x = side_word(set, page, look.words.leg(said.leg), page.palette.text);
    }
    if let Some(text) = number(look, &said) {
        let cap = set.least_cap(Role::NOTE);
        let at = pos2(page.row.right(), page.row.center().y + cap / 2.0);
        let colours = (page.palette.text, page.bg);
        let rect = set.line(&text, Role::NOTE, cap, at, Side::Right, colours);
        room.max.x = rect.left() - 1.5 * page.gap;
    }
    gauge::paint(set, page, said.rule, &gauge, room);
}

/// Better than before: the figure goes from how it was to how it is.
pub(super) fn better(
    set: &mut Typesetter<'_>,
    page: &Page,
    look: &Appearance,
    said: CueSaid<'_>,
    share: f32,
) {
    let quiet = look.symbols_only;
    let (value, earlier) = (said.value, said.target);
    paint_figure(
        set,
        page,
        said,
        (earlier, value),
        Signal::Good,
        share,
        quiet,
    );
    if quiet {
        return;
    }
    title(
        set,
        page,
        look.words.get("message.improved"),
        page.palette.text,
    );
    let mut room = page.row;
    room.min.x = side_word(set, page, look.words.name(said.rule), page.palette.text);
    let more = value > earlier;
    let zone = said.detail.map_or([None, None], |d| d.zone);
    let gauge = Gauge {
        zone: if zone.iter().any(Option::is_some) {
            zone
        } else if more {
            [Some(value), None]
        } else {
            [None, Some(value)]
        },
        value,
        doubt: None,
        before: Some(earlier),
    };
    gauge::paint(set, page, said.rule, &gauge, room);
}

fn paint_figure(
    set: &mut Typesetter<'_>,
    page: &Page,
    said: CueSaid<'_>,
    (from, to): (f64, f64),
    signal: Signal,
    share: f32,
    quiet: bool,
) {
    let more = from < to;
    let order = Order::of_rule(said.rule, more);
    let measured = said.detail.and_then(|d| d.stance.as_ref());
    let standard;
    let stance = match measured {
        Some(stance) => stance,
        None => {
            let leg = match said.leg {
                CueLeg::Left => Leg::Left,
                CueLeg::Right | CueLeg::Both => Leg::Right,
            };
            standard = Stance::standard(order, Stance::usual_view(order), leg, ANY_STATURE_M);
            &standard
        }
    };
    let figure = Figure::new(order, stance, from, to);
    skater::figure(set, page, &figure, share, signal, figure_room(page, quiet));
}

/// The measured number, small, from the age the coach has set.
fn number(look: &Appearance, said: &CueSaid<'_>) -> Option<String> {
    let group = said.detail?.age_group?;
    if group < look.numbers_from? {
        return None;
    }
    let n = numbers(look, unit_of(said.rule), said.value, said.target)?;
    Some(format!("{}{}", n.measured, n.once))
}

/// The order, or what stands in its place: as tall as its room allows.
pub(super) fn title(set: &mut Typesetter<'_>, page: &Page, text: &str, fg: Color32) {
    // On a standing screen the room is no higher than two lines need.
    let least = set.least_cap(Role::ORDER) * (1.0 + theme::ROUNDING / 2.0);
    let most = (theme::ORDER_MOST * page.order.height()).max(least);
    words(set, text, Role::ORDER, page.order, most, (fg, page.bg));
}

/// A few words in the face of orders, in the middle of the height of a room.
pub(super) fn words(
    set: &mut Typesetter<'_>,
    text: &str,
    role: Role,
    room: Rect,
    most: f32,
    colours: (Color32, Color32),
) {
    let tight = theme::ORDER_PITCH;
    let (mut lines, mut cap) = set.fit_words(text, role, room, most, tight);
    let mut pitch = tight;
    let collide = lines
        .iter()
        .zip(lines.iter().skip(1))
        .any(|(upper, _)| descends(upper));
    if collide {
        pitch = theme::ORDER_PITCH_DESCENDING;
        (lines, cap) = set.fit_words(text, role, room, most, pitch);
    }
    let ink = cap * height_in_caps(&lines, pitch);
    let mut placed = room;
    placed.min.y = room.top() + (room.height() - ink).max(0.0) * 0.4;
    let block = Block {
        pitch,
        ..Block::new(role, cap)
    };
    set_block(set, &lines, block, placed, Align2::LEFT_TOP, colours);
}

/// The side's word at the left of the row; gives where the rest begins.
fn side_word(set: &mut Typesetter<'_>, page: &Page, text: &str, fg: Color32) -> f32 {
    // On a screen too small for its place the row's height is all there is; the report says so.
    let cap = set.least_cap(Role::NOTE).min(page.row.height());
    let at = pos2(page.row.left(), page.row.center().y + cap / 2.0);
    let rect = set.line(text, Role::NOTE, cap, at, Side::Left, (fg, page.bg));
    rect.right() + 2.0 * page.gap
}

/// One line in the row under the order, in the least letters there are.
pub(super) fn row_note(set: &mut Typesetter<'_>, page: &Page, text: &str, room: Rect) {
    let cap = set.least_cap(Role::NOTE);
    // A line too long for its room gets narrower letters, and the report says so.
    let wide = set.width_in_caps(text) * cap;
    let cap = if wide > room.width() {
        cap * room.width() / wide
    } else {
        cap
    };
    let at = pos2(room.left(), room.center().y + cap / 2.0);
    let colours = (page.palette.text, page.bg);
    set.line(text, Role::NOTE, cap, at, Side::Left, colours);
}
