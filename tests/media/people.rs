//! The station's own reading of a real person with skin markers: what the knee would be
//! shown at, with what holds for people and with nothing from rendered bodies. What the person
//! and the truth are: `tests/people/README.md`.

use std::path::Path;

use kickplate::body::ModelKind;
use kickplate_lab::people::{CAMERAS, Read, read, spread, tables};

/// Degrees; `docs/accuracy.md` states it. The aim is 3 and is not reached: both models
/// show this person's knees 3.8 too bent, within one standard deviation of what is told.
const LARGEST_BIAS_DEG: f64 = 6.0;

fn check(model: ModelKind) -> Read {
    let home = Path::new(env!("CARGO_MANIFEST_DIR"));
    let seen = read(home, model).unwrap();
    let bent = || {
        seen.best()
            .into_iter()
            .filter(|r| (110.0..150.0).contains(&r.true_deg))
    };
    let (n, raw_deg, sd_deg) = spread(bent().map(|r| r.read_deg - r.seen_deg));
    let shown_deg = raw_deg + seen.shift_deg();
    println!(
        "{model:?}: {n} knees of 110 to 150 degrees read {raw_deg:+.1} (SD {sd_deg:.1}), shown {shown_deg:+.1}; found {:?}, exchanged {:?}",
        seen.found, seen.exchanged
    );
    assert!(n >= 80, "only {n} knees were read");
    assert!(
        shown_deg.abs() <= LARGEST_BIAS_DEG,
        "{model:?}: knees are shown {shown_deg:+.1} degrees off in the mean"
    );
    seen
}

/// The model exchanges the legs now and then; the program's mending must leave fewer of
/// those than it found, and invent none where there were none.
fn mending_helps(seen: &Read) {
    let mut before = 0;
    let mut after = 0;
    for (name, [told, by_model, left]) in CAMERAS.iter().zip(seen.exchanged) {
        assert!(told > 20, "{name}: only {told} frames tell the legs apart");
        before += by_model;
        after += left;
    }
    assert!(
        after <= before,
        "{after} frames exchanged after the mending, {before} before"
    );
}

#[test]
fn both_models_show_the_knees_of_a_person_as_far_off_as_is_stated() {
    let all = [ModelKind::Full, ModelKind::Heavy].map(|model| {
        let seen = check(model);
        mending_helps(&seen);
        seen
    });
    // The tables of docs/accuracy.md, with `--nocapture`.
    println!("{}", tables(&all));
}
