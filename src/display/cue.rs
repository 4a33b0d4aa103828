//! The screen of one thing to do: symbol and side, word, number against
//! number.

use egui::{Align2, Rect, Shape, Stroke, StrokeKind, pos2, vec2};

use super::page::{Page, paint_symbol, set_block};
use super::symbols::Symbol;
use super::typeset::{Role, Side, Typesetter};
use super::{theme, words};
use crate::feedback::CueLeg;

/// One thing to do: symbol and side, word, number against number.
pub(super) fn cue(
    set: &mut Typesetter<'_>,
    page: &Page,
    rule: &'static str,
    value: f64,
    target: f64,
    leg: CueLeg,
) {
    side_bars(set, page, leg);
    let numbers = words::unit_of(rule).and_then(|unit| words::numbers(unit, value, target));
    let mut upper = page.content;
    if let Some(numbers) = numbers {
        let plan = NumberPlan::new(set, page, &numbers);
        let top = page.content.bottom() - plan.height;
        let room = Rect::from_min_max(pos2(page.content.left(), top), page.content.max);
        plan.paint(set, page, &numbers, room);
        upper.max.y = top - page.gap;
    }
    let text = words::cue(rule, value < target);
    let symbol = Symbol::of_rule(rule);
    let tag = SideTag::new(set, page, leg);
    let at_right = leg == CueLeg::Right;
    if page.is_portrait() {
        // The tag stands beside the symbol, toward the side it names.
        let side = (theme::SYMBOL_STANDING * upper.width())
            .min(0.5 * upper.height())
            .max(0.0);
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
        let room = Rect::from_min_max(pos2(upper.left(), row.bottom() + page.gap), upper.max);
        let (lines, cap) = set.fit_words(text, room, theme::WORD_MOST * page.unit);
        set_block(
            set,
            &lines,
            Role::WORD,
            cap,
            room,
            Align2::CENTER_CENTER,
            (theme::TEXT, page.bg),
        );
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
    let (lines, cap) = set.fit_words(text, room, theme::WORD_MOST * page.unit);
    set_block(
        set,
        &lines,
        Role::WORD,
        cap,
        room,
        align,
        (theme::TEXT, page.bg),
    );
}

/// Bars along the edge of the screen on the side the cue is about.
fn side_bars(set: &mut Typesetter<'_>, page: &Page, leg: CueLeg) {
    let width = theme::SIDE_BAR * page.unit;
    let height = page.screen.height();
    let mut bar = |x: f32| {
        let rect = Rect::from_min_size(pos2(x, page.screen.top()), vec2(width, height));
        set.painter().rect_filled(rect, 0.0, theme::SIDE);
        set.note_graphic(
            "side bar",
            rect,
            theme::NUMBER_ARCMIN,
            vec![(theme::SIDE, page.bg)],
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
struct SideTag {
    cap: f32,
    /// With its pointers.
    width: f32,
    word_width: f32,
}

impl SideTag {
    fn new(set: &Typesetter<'_>, page: &Page, leg: CueLeg) -> Self {
        let cap = set
            .least_cap(Role::NOTE)
            .max(theme::TAG * page.unit)
            .min(theme::TAG_HIGHEST * page.content.height());
        let word_width = set.width_in_caps(words::leg(leg)) * cap;
        let pointers = if leg == CueLeg::Both { 2.0 } else { 1.0 };
        SideTag {
            cap,
            width: word_width + pointers * cap,
            word_width,
        }
    }

    /// `at`: left end of the baseline.
    fn paint(&self, set: &mut Typesetter<'_>, page: &Page, at: egui::Pos2, leg: CueLeg) {
        let cap = self.cap;
        let mut x = at.x;
        let pointer = |set: &mut Typesetter<'_>, x: f32, to_left: bool| {
            let rect = Rect::from_min_size(pos2(x, at.y - cap), vec2(0.62 * cap, cap));
            let (tip, back) = if to_left {
                (rect.left_center(), [rect.right_top(), rect.right_bottom()])
            } else {
                (rect.right_center(), [rect.left_bottom(), rect.left_top()])
            };
            set.painter().add(Shape::convex_polygon(
                vec![tip, back[0], back[1]],
                theme::SIDE,
                Stroke::NONE,
            ));
            set.note_graphic(
                "side pointer",
                rect,
                theme::LEAST_ARCMIN,
                vec![(theme::SIDE, page.bg)],
            );
        };
        if leg != CueLeg::Right {
            pointer(set, x, true);
            x += cap;
        }
        set.line(
            words::leg(leg),
            Role::NOTE,
            cap,
            pos2(x, at.y),
            Side::Left,
            (theme::TEXT, page.bg),
        );
        if leg != CueLeg::Left {
            pointer(set, x + self.word_width + 0.38 * cap, false);
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
    fn new(set: &Typesetter<'_>, page: &Page, numbers: &words::Numbers) -> Self {
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

    fn paint(&self, set: &mut Typesetter<'_>, page: &Page, numbers: &words::Numbers, room: Rect) {
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
            (theme::TEXT, page.bg),
        );
        let middle = wanted_baseline - cap / 2.0;
        let line = theme::FRAME_LINE * cap;
        let stroke = Stroke::new(line, theme::QUIET_TEXT);
        let (tail, tip) = (pos2(arrow_x, middle), pos2(arrow_x + arrow, middle));
        let head = 0.26 * cap;
        let painter = set.painter();
        painter.line_segment([tail, tip], stroke);
        for dy in [-head, head] {
            let back = tip + vec2(-head, dy);
            painter.line_segment([tip, back], stroke);
            painter.circle_filled(back, line / 2.0, theme::QUIET_TEXT);
        }
        painter.circle_filled(tail, line / 2.0, theme::QUIET_TEXT);
        painter.circle_filled(tip, line / 2.0, theme::QUIET_TEXT);

        let frame = Rect::from_min_max(
            pos2(arrow_x + arrow + gap, wanted_baseline - cap - pad),
            pos2(arrow_x + pair, wanted_baseline + pad),
        );
        painter.rect_stroke(
            frame,
            theme::ROUNDNESS * cap,
            Stroke::new(line, theme::GOAL),
            StrokeKind::Inside,
        );
        set.note_graphic(
            "goal frame",
            frame,
            theme::NUMBER_ARCMIN,
            vec![(theme::GOAL, page.bg)],
        );
        set.line(
            &numbers.wanted,
            Role::NUMBER,
            cap,
            pos2(frame.center().x, wanted_baseline),
            Side::Middle,
            (theme::GOAL, page.bg),
        );
    }
}
