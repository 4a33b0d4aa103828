//! Drawings of numbers: over time, or over sessions.

use egui::{
    Align2, Color32, Rect, Sense, Shape, Stroke, StrokeKind, Ui, WidgetInfo, accesskit::Role, pos2,
    vec2,
};

use crate::panel::look as theme;
use crate::panel::widgets::Sizes;

/// Points with what is wanted behind them.
pub(in crate::panel) struct Plot<'a> {
    /// What a screen reader says.
    pub name: &'a str,
    /// Across and up.
    pub points: &'a [[f64; 2]],
    /// One standard deviation per point; empty where none is drawn.
    pub errors: &'a [f64],
    /// Smallest wanted value.
    pub low: Option<f64>,
    /// Largest wanted value.
    pub high: Option<f64>,
    /// A place across that is marked.
    pub mark: Option<f64>,
    /// Another one, of what is shown beside the curve.
    pub at: Option<f64>,
    /// A value that was measured at the mark, and one standard deviation of it.
    pub dot: Option<[f64; 2]>,
    /// Whether across is time in seconds: then an axis is drawn, with its zero at the
    /// mark, and a finger on the curve is told of.
    pub seconds: bool,
    /// Least room up and down that is shown, whatever the points are.
    pub scale: Option<[f64; 2]>,
    /// Whether it is one curve; points alone else.
    pub joined: bool,
    /// Height, millimetres.
    pub height_mm: f32,
    /// Says a value.
    pub value: &'a dyn Fn(f64) -> String,
    /// Says a time of the axis.
    pub second: &'a dyn Fn(f64) -> String,
}

impl Plot<'_> {
    /// Draws it over the whole width. Gives the place across a finger is at.
    pub(in crate::panel) fn show(&self, ui: &mut Ui, s: Sizes) -> Option<f64> {
        let size = vec2(ui.available_width(), s.mm(self.height_mm));
        let sense = if self.seconds {
            // No stop for the keyboard: it has the keys of the pictures.
            Sense::CLICK | Sense::DRAG
        } else {
            Sense::hover()
        };
        let (rect, response) = ui.allocate_exact_size(size, sense);
        response.widget_info(|| WidgetInfo::labeled(Role::Image, true, self.name));
        let (across, up) = self.ranges()?;
        // Room for the numbers at the left, and for those of the axis below.
        let below = if self.seconds { s.mm(7.0) } else { 0.0 };
        let field = Rect::from_min_max(
            rect.min + vec2(s.mm(19.0), 0.0),
            rect.max - vec2(0.0, below),
        );
        let x = |v: f64| {
            field.left() + ((v - across[0]) / (across[1] - across[0])) as f32 * field.width()
        };
        let y = |v: f64| field.bottom() - ((v - up[0]) / (up[1] - up[0])) as f32 * field.height();
        let painter = ui.painter();
        painter.rect_filled(field, 0.0, s.c.card);
        if self.low.is_some() || self.high.is_some() {
            let band = Rect::from_min_max(
                pos2(field.left(), y(self.high.unwrap_or(up[1]))),
                pos2(field.right(), y(self.low.unwrap_or(up[0]))),
            );
            painter.rect_filled(band.intersect(field), 0.0, s.c.band);
        }
        let limit = Stroke::new(s.mm(theme::CURVE_MM), s.c.limit);
        for value in [self.low, self.high].into_iter().flatten() {
            let ends = [pos2(field.left(), y(value)), pos2(field.right(), y(value))];
            painter.extend(Shape::dashed_line(&ends, limit, s.mm(3.0), s.mm(1.6)));
        }
        let edge = Stroke::new(s.mm(theme::EDGE_MM), s.c.edge);
        painter.rect_stroke(field, 0.0, edge, StrokeKind::Inside);
        if let Some(at) = self.mark {
            let ends = [pos2(x(at), field.top()), pos2(x(at), field.bottom())];
            painter.line_segment(ends, Stroke::new(s.mm(0.5), s.c.text));
        }
        if self.seconds {
            self.axis(ui, s, field, across);
        }
        if let Some(at) = self.at.filter(|at| (across[0]..=across[1]).contains(at)) {
            let ends = [pos2(x(at), field.top()), pos2(x(at), field.bottom())];
            painter.line_segment(ends, Stroke::new(s.mm(1.0), s.c.alarm));
        }
        let line = Stroke::new(s.mm(theme::CURVE_MM), s.c.main);
        let places: Vec<_> = self.points.iter().map(|p| pos2(x(p[0]), y(p[1]))).collect();
        if self.joined {
            painter.add(Shape::line(places, line));
        } else {
            // The doubt is a band: what lies in it may be chance.
            let mut doubt = egui::Mesh::default();
            for ((place, point), error) in places.iter().zip(self.points).zip(self.errors) {
                let ink = s.c.main.gamma_multiply(0.22);
                for up in [1.0, -1.0] {
                    doubt.colored_vertex(pos2(place.x, y(point[1] + up * error)), ink);
                }
                let n = doubt.vertices.len() as u32;
                if n >= 4 {
                    doubt.add_triangle(n - 4, n - 3, n - 2);
                    doubt.add_triangle(n - 3, n - 2, n - 1);
                }
                let bar = [
                    pos2(place.x, y(point[1] - error)),
                    pos2(place.x, y(point[1] + error)),
                ];
                painter.line_segment(bar, Stroke::new(s.mm(0.6), s.c.main));
            }
            painter.add(Shape::mesh(doubt));
            painter.add(Shape::line(
                places.clone(),
                Stroke::new(s.mm(0.4), s.c.main),
            ));
            for place in places {
                painter.circle_filled(place, s.mm(1.4), s.c.main);
            }
        }
        if let (Some([value, error]), Some(at)) = (self.dot, self.mark) {
            let bar = [pos2(x(at), y(value - error)), pos2(x(at), y(value + error))];
            painter.line_segment(bar, Stroke::new(s.mm(1.2), s.c.alarm));
            for end in bar {
                let across = vec2(s.mm(1.6), 0.0);
                painter.line_segment(
                    [end - across, end + across],
                    Stroke::new(s.mm(0.7), s.c.alarm),
                );
            }
            painter.circle_filled(pos2(x(at), y(value)), s.mm(2.0), s.c.card);
            painter.circle_filled(pos2(x(at), y(value)), s.mm(1.5), s.c.alarm);
        }
        let number = |anchor: Align2, at: f32, value: f64, colour: Color32| {
            painter.text(
                pos2(field.left() - s.mm(1.5), at),
                anchor,
                (self.value)(value),
                s.body(),
                colour,
            );
        };
        number(Align2::RIGHT_TOP, field.top(), up[1], s.c.quiet);
        number(Align2::RIGHT_BOTTOM, field.bottom(), up[0], s.c.quiet);
        // The limit's own number, where it does not run into the others.
        for value in [self.low, self.high].into_iter().flatten() {
            let at = y(value);
            let room = s.mm(8.5);
            if at - field.top() > room && field.bottom() - at > room {
                number(Align2::RIGHT_CENTER, at, value, s.c.limit);
            }
        }
        let finger = response.interact_pointer_pos().filter(|_| self.seconds)?;
        let share = ((finger.x - field.left()) / field.width()).clamp(0.0, 1.0);
        Some(across[0] + f64::from(share) * (across[1] - across[0]))
    }

    /// Ticks of a tenth of a second, counted from the mark; every second one with its
    /// number.
    fn axis(&self, ui: &Ui, s: Sizes, field: Rect, across: [f64; 2]) {
        let zero = self.mark.unwrap_or(across[0]);
        let x = |v: f64| {
            field.left() + ((v - across[0]) / (across[1] - across[0])) as f32 * field.width()
        };
        let first = ((across[0] - zero) * 10.0).ceil() as i32;
        let last = ((across[1] - zero) * 10.0).floor() as i32;
        for tenth in first..=last.min(first + 60) {
            let at = x(zero + f64::from(tenth) / 10.0);
            let even = tenth % 2 == 0;
            let long = s.mm(if even { 2.0 } else { 1.2 });
            let ends = [pos2(at, field.bottom() - long), pos2(at, field.bottom())];
            ui.painter()
                .line_segment(ends, Stroke::new(s.mm(0.35), s.c.quiet));
            let room = s.mm(7.0);
            if even && at > field.left() + room && at < field.right() - room {
                let text = (self.second)(f64::from(tenth) / 10.0);
                ui.painter().text(
                    pos2(at, field.bottom() + s.mm(0.8)),
                    Align2::CENTER_TOP,
                    text,
                    s.body(),
                    s.c.quiet,
                );
            }
        }
    }

    /// What has to be seen across and up; `None` without points.
    fn ranges(&self) -> Option<([f64; 2], [f64; 2])> {
        let first = self.points.first()?;
        let mut across = [first[0], first[0]];
        let mut up = self.scale.unwrap_or([first[1], first[1]]);
        let widen = |range: &mut [f64; 2], v: f64| {
            if v.is_finite() {
                range[0] = range[0].min(v);
                range[1] = range[1].max(v);
            }
        };
        for (i, point) in self.points.iter().enumerate() {
            let error = self.errors.get(i).copied().unwrap_or(0.0);
            widen(&mut across, point[0]);
            widen(&mut up, point[1] - error);
            widen(&mut up, point[1] + error);
        }
        for value in [self.low, self.high].into_iter().flatten() {
            widen(&mut up, value);
        }
        if let Some(at) = self.mark {
            widen(&mut across, at);
        }
        if let Some([value, error]) = self.dot {
            widen(&mut up, value - error);
            widen(&mut up, value + error);
        }
        if !(first[0].is_finite() && first[1].is_finite()) {
            return None;
        }
        let pad = |range: [f64; 2], share: f64| {
            let by = ((range[1] - range[0]) * share).max(1e-3);
            [range[0] - by, range[1] + by]
        };
        let across = pad(across, if self.joined { 0.0 } else { 0.08 });
        Some((across, pad(up, 0.12)))
    }
}
