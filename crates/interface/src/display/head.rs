//! The strip along the top: whose answer this is, who is next, and whether
//! pictures are kept.

use egui::{Color32, Pos2, Rect, Stroke, pos2, vec2};

use super::page::Page;
use super::people::{People, Person, disc_of};
use super::theme;
use super::typeset::{Role, Side, Typesetter};

/// What stands at the right of the strip.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Aside<'a> {
    /// Nothing.
    Nothing,
    /// Who is next, after this word.
    Next(&'a str),
    /// Something good.
    Good(&'a str),
}

/// Draws the strip.
pub(super) fn paint(
    set: &mut Typesetter<'_>,
    page: &Page,
    people: &People,
    mut aside: Aside<'_>,
    kept: Option<&str>,
) {
    let (p, room) = (page.palette, page.head);
    set.painter().rect_filled(room, 0.0, p.strip);
    let cap = set.least_cap(Role::NOTE).min(0.82 * room.height());
    let pad = 0.28 * room.height();
    let radius = 0.494 * room.height();
    let middle = room.center().y;
    let baseline = middle + cap / 2.0;
    let mut right = room.right() - pad;
    if let Some(words) = kept {
        let ink = (p.on_strip, p.strip);
        let rect = camera_sign(set, words, ink, pos2(right, middle), cap);
        right = rect.left() - 1.2 * pad;
    }
    let small = 0.8 * radius;
    let next = people.next.as_ref().filter(|p| p.is_known());
    let wide = |text: &str| set.width_in_caps(text) * cap;
    // What the right side takes comes first: a name can be shortened.
    let taken = match aside {
        Aside::Nothing => 0.0,
        Aside::Next(word) => next.map_or(0.0, |next| {
            2.0 * bib_half(set, next, radius) + 0.5 * pad + wide(word)
        }),
        // On a narrow screen the mark stands alone, beside the bib.
        Aside::Good(text) => {
            let whole = 2.0 * small + 0.5 * pad + wide(text);
            if right - whole < room.left() + 2.0 * (radius + pad) {
                aside = Aside::Good("");
                2.0 * small
            } else {
                whole
            }
        }
    };
    let mut left = room.left() + pad;
    if let Some(person) = people.shown.as_ref().filter(|p| p.is_known()) {
        let half = bib_half(set, person, radius);
        bib(
            set,
            page,
            person,
            pos2(left + half, middle),
            radius,
            p.strip,
        );
        left += 2.0 * half + pad;
        if let Some(name) = &person.name {
            let most = right - taken - 2.0 * pad - left;
            let name = shortened(set, name, cap, most);
            let colours = (p.on_strip, p.strip);
            if !name.is_empty() {
                set.line(
                    &name,
                    Role::NOTE,
                    cap,
                    pos2(left, baseline),
                    Side::Left,
                    colours,
                );
            }
        }
    }
    match aside {
        Aside::Next(word) => {
            let Some(next) = next else { return };
            let half = bib_half(set, next, radius);
            bib(set, page, next, pos2(right - half, middle), radius, p.strip);
            let at = pos2(right - 2.0 * half - 0.5 * pad, baseline);
            let colours = (p.quiet_on_strip, p.strip);
            set.line(word, Role::NOTE, cap, at, Side::Right, colours);
        }
        Aside::Good(text) => {
            let colours = (p.on_strip, p.strip);
            let end = if text.is_empty() {
                right
            } else {
                let at = pos2(right, baseline);
                let rect = set.line(text, Role::NOTE, cap, at, Side::Right, colours);
                rect.left() - 0.5 * pad
            };
            let centre = pos2(end - small, middle);
            let painter = set.painter();
            painter.circle_filled(centre, small, p.on_strip);
            painter.circle_filled(centre, 0.74 * small, p.good);
            let square = Rect::from_center_size(centre, vec2(2.0 * small, 2.0 * small));
            let colours = vec![(p.on_strip, p.strip)];
            set.note_graphic("mark of praise", square, theme::LEAST_ARCMIN * 0.9, colours);
        }
        Aside::Nothing => {}
    }
}

/// As much of a name as fits; nothing where not even two letters do.
fn shortened(set: &Typesetter<'_>, name: &str, cap: f32, most: f32) -> String {
    let mut out = name.to_owned();
    while set.width_in_caps(&out) * cap > most {
        let keep = out.trim_end_matches('.').chars().count().saturating_sub(1);
        if keep < 2 {
            return String::new();
        }
        out = out.chars().take(keep).collect::<String>();
        out = format!("{}.", out.trim_end());
    }
    out
}

/// Height of a bib's letters in radii of the bib.
const BIB_CAP: f32 = 1.62;

/// Half the width of a bib: round, and longer where a number has more digits.
fn bib_half(set: &Typesetter<'_>, person: &Person, radius: f32) -> f32 {
    let wide = set.width_of(&person.in_disc(), Role::BIB) * BIB_CAP * radius;
    radius.max(0.5 * wide + 0.38 * radius)
}

/// A round bib: the number in the colour of the band.
pub(super) fn bib(
    set: &mut Typesetter<'_>,
    page: &Page,
    person: &Person,
    centre: Pos2,
    radius: f32,
    behind: Color32,
) {
    let plain = (page.palette.background, page.palette.text);
    let (disc, letters) = disc_of(person.band, plain);
    let half = bib_half(set, person, radius);
    let room = Rect::from_center_size(centre, vec2(2.0 * half, 2.0 * radius));
    let painter = set.painter();
    // The ring keeps a dark bib off a dark strip.
    painter.rect_filled(room, radius, letters);
    painter.rect_filled(room.shrink(0.06 * radius), 0.94 * radius, disc);
    let ring = if theme::contrast_ratio(disc, behind) >= theme::contrast_ratio(letters, behind) {
        disc
    } else {
        letters
    };
    set.note_graphic("bib", room, theme::LEAST_ARCMIN, vec![(ring, behind)]);
    let text = person.in_disc();
    if text.is_empty() {
        return;
    }
    let cap = BIB_CAP * radius;
    set.line(
        &text,
        Role::BIB,
        cap,
        pos2(centre.x, centre.y + cap / 2.0),
        Side::Middle,
        (letters, disc),
    );
}

/// The sign that pictures are kept: a camera with the round bib for a lens, its
/// right edge and middle at `at`, `high` points high. `words` are for those who
/// cannot see it.
pub(super) fn camera_sign(
    set: &mut Typesetter<'_>,
    words: &str,
    (ink, ground): (Color32, Color32),
    at: Pos2,
    high: f32,
) -> Rect {
    let wide = 1.42 * high;
    let rect = Rect::from_min_size(pos2(at.x - wide, at.y - high / 2.0), vec2(wide, high));
    let painter = set.painter();
    let body = Rect::from_min_max(pos2(rect.left(), rect.top() + 0.20 * high), rect.max);
    let hump = Rect::from_min_max(
        pos2(rect.left() + 0.16 * wide, rect.top()),
        pos2(rect.left() + 0.50 * wide, rect.top() + 0.4 * high),
    );
    painter.rect_filled(hump, 0.08 * high, ink);
    painter.rect_filled(body, 0.13 * high, ink);
    let lens = body.center();
    painter.circle_filled(lens, 0.30 * high, ground);
    painter.circle_stroke(lens, 0.17 * high, Stroke::new(0.09 * high, ink));
    set.note_graphic(
        "pictures are kept",
        rect,
        theme::LEAST_ARCMIN,
        vec![(ink, ground)],
    );
    set.label(rect, words);
    rect
}
