//! The sheets of all states: none is missing, and the figure is as large as can be in each.

use std::collections::BTreeSet;
use std::path::Path;
use std::sync::Arc;

use kickplate::display::{
    Appearance, Language, LayoutReport, PictureView, Screen, ScreenModel, Words, big_screen_ui,
    install_fonts,
};
use kickplate::figure::Order;

use crate::screen_states::{Cell, KINDS, SIZES, cells, kind, model};

/// The layout of a cell, without drawing a pixel.
fn lay_out(
    ctx: &egui::Context,
    cell: &Cell,
    look: &Appearance,
    (width, height, height_m): (u32, u32, f32),
) -> LayoutReport {
    let picture = matches!(cell.screen, Screen::Replay { .. }).then_some(PictureView {
        texture: egui::TextureId::User(1),
        size: egui::vec2(640.0, 360.0),
    });
    lay_out_model(ctx, &model(cell, look, height_m), picture, width, height)
}

fn lay_out_model(
    ctx: &egui::Context,
    model: &ScreenModel,
    picture: Option<PictureView>,
    width: u32,
    height: u32,
) -> LayoutReport {
    let input = egui::RawInput {
        screen_rect: Some(egui::Rect::from_min_size(
            egui::Pos2::ZERO,
            egui::vec2(width as f32, height as f32),
        )),
        max_texture_side: Some(4096),
        ..Default::default()
    };
    let mut layout = None;
    let mut output = ctx.run_ui(input, |ui| layout = Some(big_screen_ui(ui, model, picture)));
    output.textures_delta.clear();
    layout.unwrap()
}

/// A state of the presenter is a `Screen`, and `kind` has a name for each: a new one does
/// not compile until it is named, and is missed here until it has its cell.
#[test]
fn every_state_has_its_cell() {
    let cells = cells();
    let shown: BTreeSet<&str> = cells.iter().map(|c| kind(&c.screen)).collect();
    for name in KINDS {
        assert!(shown.contains(name), "'{name}' has no cell");
    }
    let names: BTreeSet<&str> = cells.iter().map(|c| c.name).collect();
    assert_eq!(names.len(), cells.len(), "two cells have one name");
    let orders: BTreeSet<String> = cells
        .iter()
        .filter_map(|c| match c.screen {
            Screen::Cue {
                rule, value, limit, ..
            } => Some(Order::of_rule(rule, value < limit)),
            _ => None,
        })
        .map(|order| format!("{order:?}"))
        .collect();
    for order in Order::ALL {
        assert!(
            orders.contains(&format!("{order:?}")),
            "{order:?} has no cell"
        );
    }
}

/// What the page of the sheets shows is there, and nothing lies beside it.
#[test]
fn the_page_of_the_sheets_shows_every_sheet() {
    let docs = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs");
    let page = std::fs::read_to_string(docs.join("screens.md")).unwrap();
    let linked: BTreeSet<String> = page
        .split("](screens/")
        .skip(1)
        .map(|rest| rest.split(')').next().unwrap().to_owned())
        .collect();
    let there: BTreeSet<String> = std::fs::read_dir(docs.join("screens"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    assert_eq!(linked, there);
}

/// Least share of the height that the figure takes on a lying screen.
const LYING_SHARE: f32 = 0.70;

/// The same on a standing one: what is left there. Of 1.10 m seen from ten metres two lines
/// of an order take 43.9 cm (2.49 capitals of 60 minutes of arc, 17.5 cm, and 1 of 100 for
/// whole pixels), the strip along the top 8.1, the row of the gauge 9.2, the coach's line
/// 2.4 and the gaps and the ice 2.6: the figure has 43.8, which is 0.398.
const STANDING_SHARE: f32 = 0.39;

/// A figure as tall as can be, in every state that has one, at every size, in both
/// languages and with signs alone.
#[test]
fn the_figure_is_as_tall_as_the_screen_allows() {
    let ctx = egui::Context::default();
    install_fonts(&ctx);
    for language in Language::ALL {
        for symbols_only in [false, true] {
            let look = Appearance {
                words: Arc::new(Words::built_in(language)),
                symbols_only,
                ..Appearance::default()
            };
            for size in SIZES {
                let (width, height, _) = size;
                let mut figures = 0;
                for cell in cells() {
                    let layout = lay_out(&ctx, &cell, &look, size);
                    let of = format!("{} {width}x{height} {language:?}", cell.name);
                    assert_eq!(layout.shortfalls(), Vec::<String>::new(), "{of}");
                    // Of who was not seen it is the camera's frame around her.
                    let figure = ["frame", "figure"]
                        .iter()
                        .find_map(|name| layout.graphics.iter().find(|g| g.name == *name));
                    let Some(figure) = figure else { continue };
                    let rect = figure.rect;
                    let share = rect.height() / height as f32;
                    // Or as wide as the screen: a stride is wider than it is tall.
                    let wide = rect.width() / width as f32;
                    let least = if width > height {
                        LYING_SHARE
                    } else {
                        STANDING_SHARE
                    };
                    let full = width < height && wide >= 0.9;
                    assert!(
                        share >= least || full,
                        "{of}: {share:.3} of the height, {wide:.2} wide"
                    );
                    figures += 1;
                }
                assert!(figures >= 13, "{width}x{height}: {figures}");
            }
        }
    }
}

/// The nearer the reader, the smaller the letters may be and the taller the figure is.
#[test]
fn who_stands_nearer_to_a_standing_screen_has_a_taller_figure() {
    let ctx = egui::Context::default();
    install_fonts(&ctx);
    let cell = cells()
        .into_iter()
        .find(|c| c.name == "order-knees")
        .unwrap();
    let (width, height, height_m) = SIZES[3];
    let share = |reading_distance_m| {
        let mut model = model(&cell, &Appearance::default(), height_m);
        model.geometry.reading_distance_m = reading_distance_m;
        let layout = lay_out_model(&ctx, &model, None, width, height);
        assert_eq!(layout.shortfalls(), Vec::<String>::new());
        let figure = layout.graphics.iter().find(|g| g.name == "figure").unwrap();
        figure.rect.height() / height as f32
    };
    let (far, nearer) = (share(10.0), share(8.0));
    assert!(
        far >= STANDING_SHARE && nearer >= far + 0.08,
        "{far}, {nearer}"
    );
}
