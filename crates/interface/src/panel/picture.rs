//! Pictures on the panel: loaded once each, dropped when no longer shown.

use std::sync::Arc;

use egui::{
    Color32, Rect, Sense, Stroke, StrokeKind, TextureHandle, TextureOptions, Ui, WidgetInfo,
    accesskit::Role, pos2, vec2,
};

use super::widgets::Sizes;
use crate::display::PreviewImage;
use crate::panel::look as theme;

/// Most pictures kept loaded: those of one strip and the live one.
const MOST_LOADED: usize = 40;

/// The textures of the pictures shown of late.
#[derive(Default)]
pub(super) struct Pictures {
    /// Newest last. The picture is held, so that its address stays its own.
    loaded: Vec<(Arc<PreviewImage>, TextureHandle)>,
    /// The picture of the lane; it changes several times a second, so it has
    /// one texture that is written over.
    live: Option<Arc<PreviewImage>>,
    live_loaded: Option<(Arc<PreviewImage>, TextureHandle)>,
}

impl Pictures {
    /// Says which picture is the one of the lane now.
    pub(super) fn set_live(&mut self, picture: Option<&Arc<PreviewImage>>) {
        self.live = picture.cloned();
    }

    fn live_texture(&mut self, ui: &Ui, picture: &Arc<PreviewImage>) -> egui::TextureId {
        let shown = match self.live_loaded.take() {
            Some((shown, handle)) if Arc::ptr_eq(&shown, picture) => (shown, handle),
            Some((_, mut handle)) => {
                handle.set(picture.to_color_image(), TextureOptions::LINEAR);
                (Arc::clone(picture), handle)
            }
            None => (Arc::clone(picture), load(ui, picture)),
        };
        let id = shown.1.id();
        self.live_loaded = Some(shown);
        id
    }

    /// The texture of a picture, loaded where it is new.
    pub(super) fn texture(&mut self, ui: &Ui, picture: &Arc<PreviewImage>) -> egui::TextureId {
        if self.live.as_ref().is_some_and(|p| Arc::ptr_eq(p, picture)) {
            return self.live_texture(ui, picture);
        }
        if let Some(at) = self
            .loaded
            .iter()
            .position(|(p, _)| Arc::ptr_eq(p, picture))
        {
            let entry = self.loaded.remove(at);
            let id = entry.1.id();
            self.loaded.push(entry);
            return id;
        }
        if self.loaded.len() >= MOST_LOADED {
            drop(self.loaded.remove(0));
        }
        let handle = load(ui, picture);
        let id = handle.id();
        self.loaded.push((Arc::clone(picture), handle));
        id
    }

    /// Draws a picture as large as it fits into `room`; where it came to
    /// stand. Without one, the place is grey and `instead` is said in it; `name` is what a
    /// screen reader says of one.
    pub(super) fn show(
        &mut self,
        ui: &mut Ui,
        s: Sizes,
        room: egui::Vec2,
        picture: Option<&Arc<PreviewImage>>,
        (name, instead): (&str, &str),
    ) -> (Rect, egui::Response) {
        let aspect = picture.map_or(16.0 / 9.0, |p| {
            let (w, h) = p.size();
            w as f32 / h.max(1) as f32
        });
        let width = room.x.min(room.y * aspect).max(1.0);
        let size = vec2(width, width / aspect);
        let (rect, response) = ui.allocate_exact_size(size, Sense::hover());
        let name = if picture.is_some() { name } else { instead };
        response.widget_info(|| WidgetInfo::labeled(Role::Image, true, name));
        match picture {
            Some(picture) => {
                let id = self.texture(ui, picture);
                let uv = Rect::from_min_max(pos2(0.0, 0.0), pos2(1.0, 1.0));
                ui.painter().image(id, rect, uv, Color32::WHITE);
            }
            None => {
                ui.painter().rect_filled(rect, 0.0, s.c.no_picture);
                let mut job = egui::text::LayoutJob::simple(
                    instead.to_owned(),
                    s.body(),
                    s.c.text,
                    rect.width() - s.mm(6.0),
                );
                job.halign = egui::Align::Center;
                let galley = ui.painter().layout_job(job);
                let at = rect.center() - vec2(0.0, galley.size().y / 2.0);
                ui.painter().galley(at, galley, s.c.text);
            }
        }
        let edge = Stroke::new(s.mm(theme::EDGE_MM), s.c.edge);
        ui.painter()
            .rect_stroke(rect, 0.0, edge, StrokeKind::Inside);
        (rect, response)
    }
}

fn load(ui: &Ui, picture: &PreviewImage) -> TextureHandle {
    let image = picture.to_color_image();
    ui.ctx()
        .load_texture("coach picture", image, TextureOptions::LINEAR)
}
