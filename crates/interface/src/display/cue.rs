//! The screen of one thing to do: symbol and side, word, number against
//! number.

use egui::{Align2, Rect, Shape, Stroke, StrokeKind, pos2, vec2};

use super::appearance::Appearance;
use super::numbers::{Numbers, numbers, unit_of};
use super::page::{Block, Page, paint_symbol, set_block};
use super::symbols::Symbol;
use super::theme;
use super::typeset::{Role, Side, Typesetter, block_height_in_caps};
use crate::feedback::{CueLeg, Good};
use crate::rules::RuleId;

/// What a cue says.
#[derive(Debug, Clone, Copy)]
pub(super) struct CueSaid {
    pub(super) rule: RuleId,
    pub(super) value: f64,
    pub(super) limit: f64,
    pub(super) leg: CueLeg,
    pub(super) good: Option<Good>,
}

/// One thing to do: symbol and side, word, number against number.
pub(super) fn cue(set: &mut Typesetter<'_>, page: &Page, look: &Appearance, said: CueSaid) {
    let CueSaid {
        rule,
        value,
        limit,
        leg,
        good,
    } = said;
    side_bars(set, page, leg);
    let numbers = numbers(look, unit_of(rule), value, limit);
    let (pitch, gap) = match good {
        Some(_) if page.is_portrait() => (theme::TIGHT_PITCH, theme::TIGHT_GAP_STANDING * page.gap),
        Some(_) => (theme::TIGHT_PITCH, theme::TIGHT_GAP * page.gap),
        None => (theme::LINE_PITCH, page.gap),
    };
    let mut upper = page.content;
    if let Some(numbers) = numbers {
        let plan = NumberPlan::new(set, page, &numbers);
        let top = page.content.bottom() - plan.height;
        let room = Rect::from_min_max(pos2(page.content.left(), top), page.content.max);
        plan.paint(set, page, &numbers, room);
        upper.max.y = top - gap;
    }
    let text = look.words.cue(rule, value < limit);
    let symbol = Some(Symbol::of_rule(rule));
    let tag = SideTag::new(set, page, look.words.leg(leg), leg);
    let good = good.map(|good| (look.words.good(good), good));
    let at_right = leg == CueLeg::Right;
    if page.is_portrait() {
        // The tag stands beside the symbol, toward the side it names.
        let share = match good {
            Some(_) => theme::SYMBOL_STANDING_TIGHT,
            None => theme::SYMBOL_STANDING,
        };
        let side = (share * upper.width()).min(0.5 * upper.height()).max(0.0);
        let row = Rect::from_min_size(upper.min, vec2(upper.width(), side));
        let group = (row.width() - tag.width - page.gap - side).max(0.0) / 2.0;
        let (symbol_x, tag_x) = if at_right {
            let tag_x = row.right() - tag.width;
            (tag_x - group - page.gap - side, tag_x)
        } else {
            (row.left() + tag.width + page.gap + group, row.left())
        };
        let square = Rect::from_min_size(pos2(symbol_x, row.top()), vec2(side, side));
        paint_symbol(set, page, symbol, square);
        tag.paint(set, page, pos2(tag_x, row.center().y + tag.cap / 2.0), leg);
        let mut room = Rect::from_min_max(pos2(upper.left(), row.bottom() + gap), upper.max);
        if let Some((good, kind)) = good {
            let least = set.least_cap(Role::NOTE);
            let mark = theme::GOOD_MARK + theme::GOOD_MARK_GAP;
            let rows = set.wrap(&good, room.width() / least - mark).len();
            let height = least * block_height_in_caps(rows, theme::LINE_PITCH);
            room.max.y -= height + gap;
            let below = Rect::from_min_max(pos2(room.left(), room.bottom() + gap), upper.max);
            good_line(set, page, (&good, kind), below, Align2::CENTER_CENTER);
        }
        the_word(set, page, text, pitch, (room, Align2::CENTER_CENTER));
        return;
    }
    let side = (upper.height() - (1.0 + theme::TAG_LIFT) * tag.cap - 0.6 * page.gap)
        .min(theme::SYMBOL_LYING * upper.width())
        .max(0.0);
    let column = side.max(tag.width);
    let column_left = if at_right {
        upper.right() - column
    } else {
        upper.left()
    };
    let centre_x = column_left + column / 2.0;
    let square = Rect::from_min_size(pos2(centre_x - side / 2.0, upper.top()), vec2(side, side));
    paint_symbol(set, page, symbol, square);
    tag.paint(
        set,
        page,
        pos2(
            centre_x - tag.width / 2.0,
            upper.bottom() - theme::TAG_LIFT * tag.cap,
        ),
        leg,
    );
    let mut room = upper;
    let align = if at_right {
        room.max.x = column_left - page.gap * 1.4;
        Align2::RIGHT_CENTER
    } else {
        room.min.x = column_left + column + page.gap * 1.4;
        Align2::LEFT_CENTER
    };
    if let Some((good, kind)) = good {
        // Level with the word of the side, toward the other edge.
        let cap = set.least_cap(Role::NOTE);
        let baseline = upper.bottom() - theme::TAG_LIFT * tag.cap;
        let mut line = room;
        line.min.y = baseline - cap;
        line.max.y = baseline + theme::DESCENDER * cap;
        // The tag may be narrower than its column.
        let (tag_left, tag_right) = (centre_x - tag.width / 2.0, centre_x + tag.width / 2.0);
        if at_right {
            line.max.x = tag_left - 0.45 * page.gap;
        } else {
            line.min.x = tag_right + 0.45 * page.gap;
        }
        room.max.y = line.top() - 0.4 * gap;
        // In the middle of its room: close to the word of the side the two
        // would be read as one.
        good_line(set, page, (&good, kind), line, Align2::CENTER_BOTTOM);
    }
    the_word(set, page, text, pitch, (room, align));
}

/// The word of the cue, as large as its room allows, its lines `pitch` apart.
fn the_word(
    set: &mut Typesetter<'_>,
    page: &Page,
    text: &str,
    pitch: f32,
    (room, align): (Rect, Align2),
) {
    let (lines, cap) = set.fit_words(text, room, theme::WORD_MOST * page.unit, pitch);
    let block = Block {
        pitch,
        ..Block::new(Role::WORD, cap)
    };
    set_block(
        set,
        &lines,
        block,
        room,
        align,
        (page.palette.text, page.bg),
    );
}

/// Something good, with the mark of praise before it: it must not be read as
/// part of the word of the side.
fn good_line(
    set: &mut Typesetter<'_>,
    page: &Page,
    (text, good): (&str, Good),
    room: Rect,
    align: Align2,
) {
    let least = set.least_cap(Role::NOTE);
    let mark = theme::GOOD_MARK + theme::GOOD_MARK_GAP;
    let two_rows = least * block_height_in_caps(2, theme::LINE_PITCH) * 0.99;
    let lines = if room.height() > two_rows {
        set.wrap(text, room.width() / least - mark)
    } else {
        vec![text.to_owned()]
    };
    let widest = lines
        .iter()
        .map(|l| set.width_in_caps(l))
        .fold(f32::EPSILON, f32::max);
    let cap = (room.width() / (widest + mark)).min(least);
    let width = (widest + mark) * cap;
    let left = match align.x() {
        egui::Align::Min => room.left(),
        egui::Align::Center => room.center().x - width / 2.0,
        egui::Align::Max => room.right() - width,
    };
    let below = cap * theme::DESCENDER;
    let ink = cap * block_height_in_caps(lines.len(), theme::LINE_PITCH) - below;
    let top = match align.y() {
        egui::Align::Center => room.center().y - ink / 2.0,
        _ => room.bottom() - below - ink,
    };
    let side = theme::GOOD_MARK * cap;
    let square = Rect::from_center_size(pos2(left + side / 2.0, top + ink / 2.0), vec2(side, side));
    let symbol = match good {
        Good::Improved { .. } => Symbol::Improved,
        Good::InBand { .. } | Good::KeptGoing => Symbol::Praise,
    };
    let (square, colours) = symbol.paint(set.painter(), square, page.bg, page.palette);
    set.note_graphic("mark of praise", square, theme::LEAST_ARCMIN, colours);
    let words = Rect::from_min_max(pos2(left + mark * cap, top), room.max);
    set_block(
        set,
        &lines,
        Block::new(Role::NOTE, cap),
        words,
        Align2::LEFT_TOP,
        (page.palette.text, page.bg),
    );
}

/// Nothing but the symbol and the side.
pub(super) fn cue_symbol(set: &mut Typesetter<'_>, page: &Page, rule: RuleId, leg: CueLeg) {
    side_bars(set, page, leg);
    let tag = SideTag::new(set, page, "", leg);
    let content = page.content;
    let pointer = 2.0 * tag.cap + page.gap;
    let mut room = content;
    if leg != CueLeg::Right {
        room.min.x += pointer;
    }
    if leg != CueLeg::Left {
        room.max.x -= pointer;
    }
    paint_symbol(set, page, Some(Symbol::of_rule(rule)), room);
    let baseline = content.center().y + tag.cap;
    if leg != CueLeg::Right {
        tag.pointer(set, page, pos2(content.left(), baseline), true);
    }
    if leg != CueLeg::Left {
        let x = content.right() - SideTag::POINTER * 2.0 * tag.cap;
        tag.pointer(set, page, pos2(x, baseline), false);
    }
}

/// Bars along the edge of the screen on the side the cue is about.
fn side_bars(set: &mut Typesetter<'_>, page: &Page, leg: CueLeg) {
    let width = theme::SIDE_BAR * page.unit;
    let height = page.screen.height();
    let mut bar = |x: f32| {
        let rect = Rect::from_min_size(pos2(x, page.screen.top()), vec2(width, height));
        set.painter().rect_filled(rect, 0.0, page.palette.side);
        set.note_graphic(
            "side bar",
            rect,
            theme::NUMBER_ARCMIN,
            vec![(page.palette.side, page.bg)],
        );
    };
    if leg != CueLeg::Right {
        bar(page.screen.left());
    }
    if leg != CueLeg::Left {
        bar(page.screen.right() - width);
    }
}

/// The word of the side with a pointer toward it.
struct SideTag<'w> {
    word: &'w str,
    cap: f32,
    /// With its pointers.
    width: f32,
    word_width: f32,
}

impl<'w> SideTag<'w> {
    /// Width of a pointer in its heights.
    const POINTER: f32 = 0.62;

    fn new(set: &Typesetter<'_>, page: &Page, word: &'w str, leg: CueLeg) -> Self {
        let cap = set
            .least_cap(Role::NOTE)
            .max(theme::TAG * page.unit)
            .min(theme::TAG_HIGHEST * page.content.height());
        let word_width = set.width_in_caps(word) * cap;
        let pointers = if leg == CueLeg::Both { 2.0 } else { 1.0 };
        SideTag {
            word,
            cap,
            width: word_width + pointers * cap,
            word_width,
        }
    }

    /// A pointer; without a word it is twice as high. `at`: left foot.
    fn pointer(&self, set: &mut Typesetter<'_>, page: &Page, at: egui::Pos2, to_left: bool) {
        let height = if self.word.is_empty() { 2.0 } else { 1.0 } * self.cap;
        let size = vec2(Self::POINTER * height, height);
        let rect = Rect::from_min_size(pos2(at.x, at.y - height), size);
        let (tip, back) = if to_left {
            (rect.left_center(), [rect.right_top(), rect.right_bottom()])
        } else {
            (rect.right_center(), [rect.left_bottom(), rect.left_top()])
        };
        set.painter().add(Shape::convex_polygon(
            vec![tip, back[0], back[1]],
            page.palette.side,
            Stroke::NONE,
        ));
        set.note_graphic(
            "side pointer",
            rect,
            theme::LEAST_ARCMIN,
            vec![(page.palette.side, page.bg)],
        );
    }

    /// `at`: left end of the baseline.
    fn paint(&self, set: &mut Typesetter<'_>, page: &Page, at: egui::Pos2, leg: CueLeg) {
        let cap = self.cap;
        let mut x = at.x;
        if leg != CueLeg::Right {
            self.pointer(set, page, pos2(x, at.y), true);
            x += cap;
        }
        set.line(
            self.word,
            Role::NOTE,
            cap,
            pos2(x, at.y),
            Side::Left,
            (page.palette.text, page.bg),
        );
        if leg != CueLeg::Left {
            self.pointer(
                set,
                page,
                pos2(x + self.word_width + 0.38 * cap, at.y),
                false,
            );
        }
    }
}

/// Where the two numbers go: side by side, or one below the other where that
/// lets them be taller.
struct NumberPlan {
    cap: f32,
    stacked: bool,
    height: f32,
    measured_width: f32,
    wanted_width: f32,
}

impl NumberPlan {
    fn new(set: &Typesetter<'_>, page: &Page, numbers: &Numbers) -> Self {
        let measured = set.width_in_caps(&numbers.measured);
        let wanted = set.width_in_caps(&numbers.wanted) + 2.0 * theme::FRAME_PAD;
        let arrow = theme::ARROW_LENGTH + theme::ARROW_GAP;
        let most = (theme::NUMBER_MOST * page.unit).max(set.least_cap(Role::NUMBER));
        let width = page.content.width();
        let beside = most.min(width / (measured + theme::ARROW_GAP + arrow + wanted));
        let below = most.min(width / measured.max(arrow + wanted));
        let stacked = beside < set.least_cap(Role::NUMBER) && below > beside;
        let frame = 1.0 + 2.0 * theme::FRAME_PAD;
        let rows = if stacked {
            1.0 + 2.0 * theme::FRAME_PAD + frame
        } else {
            frame
        };
        let cap = if stacked { below } else { beside }
            .min(theme::NUMBERS_HIGHEST * page.content.height() / rows);
        NumberPlan {
            cap,
            stacked,
            height: rows * cap,
            measured_width: measured * cap,
            wanted_width: wanted * cap,
        }
    }

    fn paint(&self, set: &mut Typesetter<'_>, page: &Page, numbers: &Numbers, room: Rect) {
        let cap = self.cap;
        let pad = theme::FRAME_PAD * cap;
        let (arrow, gap) = (theme::ARROW_LENGTH * cap, theme::ARROW_GAP * cap);
        let wanted_baseline = room.bottom() - pad;
        let pair = arrow + gap + self.wanted_width;
        let (measured_x, measured_baseline, arrow_x) = if self.stacked {
            let left = room.center().x - pair / 2.0;
            (
                room.center().x - self.measured_width / 2.0,
                room.top() + cap,
                left,
            )
        } else {
            let left = room.center().x - (self.measured_width + gap + pair) / 2.0;
            (left, wanted_baseline, left + self.measured_width + gap)
        };
        set.line(
            &numbers.measured,
            Role::NUMBER,
            cap,
            pos2(measured_x, measured_baseline),
            Side::Left,
            (page.palette.text, page.bg),
        );
        let middle = wanted_baseline - cap / 2.0;
        let line = theme::FRAME_LINE * cap;
        let stroke = Stroke::new(line, page.palette.quiet_text);
        let (tail, tip) = (pos2(arrow_x, middle), pos2(arrow_x + arrow, middle));
        let head = 0.26 * cap;
        let painter = set.painter();
        painter.line_segment([tail, tip], stroke);
        for dy in [-head, head] {
            let back = tip + vec2(-head, dy);
            painter.line_segment([tip, back], stroke);
            painter.circle_filled(back, line / 2.0, page.palette.quiet_text);
        }
        painter.circle_filled(tail, line / 2.0, page.palette.quiet_text);
        painter.circle_filled(tip, line / 2.0, page.palette.quiet_text);

        let frame = Rect::from_min_max(
            pos2(arrow_x + arrow + gap, wanted_baseline - cap - pad),
            pos2(arrow_x + pair, wanted_baseline + pad),
        );
        painter.rect_stroke(
            frame,
            theme::ROUNDNESS * cap,
            Stroke::new(line, page.palette.goal),
            StrokeKind::Inside,
        );
        set.note_graphic(
            "goal frame",
            frame,
            theme::NUMBER_ARCMIN,
            vec![(page.palette.goal, page.bg)],
        );
        set.line(
            &numbers.wanted,
            Role::NUMBER,
            cap,
            pos2(frame.center().x, wanted_baseline),
            Side::Middle,
            (page.palette.goal, page.bg),
        );
    }
}
