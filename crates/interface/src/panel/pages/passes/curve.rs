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
    /// Least room up and down that is shown, whatever the points are.
    pub scale: Option<[f64; 2]>,
    /// Whether it is one curve; points alone else.
    pub joined: bool,
    /// Height, millimetres.
    pub height_mm: f32,
    /// Says a value.
    pub value: &'a dyn Fn(f64) -> String,
}

impl Plot<'_> {
    /// Draws it over the whole width.
    pub(in crate::panel) fn show(&self, ui: &mut Ui, s: Sizes) {
        let size = vec2(ui.available_width(), s.mm(self.height_mm));
        let (rect, response) = ui.allocate_exact_size(size, Sense::hover());
        response.widget_info(|| WidgetInfo::labeled(Role::Image, true, self.name));
        let Some((across, up)) = self.ranges() else {
            return;
        };
        // Room for the numbers at the left.
        let field = Rect::from_min_max(rect.min + vec2(s.mm(19.0), 0.0), rect.max);
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
