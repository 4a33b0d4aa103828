//! What the rows come to.

use super::rows::Row;
use super::trend::trend;

/// A trend over less than this says nothing, hours.
const SHORTEST_H: f64 = 0.15;
/// Growth below this in an hour is not called growth, megabytes: it would
/// take a week of ice to matter.
const NEGLIGIBLE_MB_PER_H: f64 = 1.0;

/// Memory goes up by one picture (2.8 MB at 1280 x 720) when more of them are
/// under way than ever before; how many are kept is bounded. So a run of H
/// hours sees a leak of more than 3 / H megabytes an hour.
const ONE_PICTURE_MB: f64 = 3.0;

/// Name, unit, change in an hour and rise in all that are of no account, where
/// it stands.
type Thing = (&'static str, &'static str, f64, f64, fn(&Row) -> f64);

pub(super) struct Verdict {
    pub(super) text: String,
    pub(super) grows: bool,
}

/// From the rows after the first quarter, in which caches fill.
pub(super) fn verdict(rows: &[Row]) -> Verdict {
    let settled = &rows[rows.len() / 4..];
    let span_h = match settled {
        [first, .., last] => (last.at_s - first.at_s) / 3600.0,
        _ => 0.0,
    };
    let of = |value: fn(&Row) -> f64| {
        let points: Vec<(f64, f64)> = settled
            .iter()
            .map(|r| (r.at_s / 3600.0, value(r)))
            .collect();
        trend(&points)
    };
    let mut text = String::from("Verdict (rows after the first quarter, 95 % interval):");
    let mut grows = false;
    let things: [Thing; 4] = [
        ("memory", "MB", NEGLIGIBLE_MB_PER_H, ONE_PICTURE_MB, |r| {
            r.resident_mb
        }),
        ("descriptors", "", 1.0, 0.0, |r| r.descriptors),
        ("threads", "", 1.0, 0.0, |r| r.threads),
        ("delay, half of the frames", "ms", 5.0, 0.0, |r| r.half_ms),
    ];
    for (what, unit, negligible, step, value) in things {
        let (words, growing) = match of(value) {
            None => ("too few rows to tell".to_owned(), false),
            Some(_) if span_h < SHORTEST_H => ("too short a run to tell".to_owned(), false),
            Some(t) => {
                // Growth is what is above nothing for sure, not tiny, and has
                // not stopped: an allocator goes up in a few last steps.
                let growing = t.per_hour - t.plus_minus > 0.0
                    && t.per_hour > negligible
                    && of_late(settled, value) > negligible
                    && rise(settled, value) > step;
                let space = if unit.is_empty() { "" } else { " " };
                let words = format!(
                    "{:+.2} ±{:.2}{space}{unit} an hour: {}",
                    t.per_hour,
                    t.plus_minus,
                    if growing { "GROWS" } else { "no growth seen" }
                );
                (words, growing)
            }
        };
        grows |= growing;
        text += &format!("\n- {what}: {words}");
    }
    Verdict { text, grows }
}

fn mean(rows: &[Row], of: &dyn Fn(&Row) -> f64) -> f64 {
    rows.iter().map(of).sum::<f64>() / rows.len().max(1) as f64
}

/// From the first quarter of the rows to the last.
fn rise(rows: &[Row], value: fn(&Row) -> f64) -> f64 {
    let quarter = (rows.len() / 4).max(1).min(rows.len());
    mean(&rows[rows.len() - quarter..], &value) - mean(&rows[..quarter], &value)
}

/// Change in an hour from the last but one quarter of the rows to the last.
fn of_late(rows: &[Row], value: fn(&Row) -> f64) -> f64 {
    let quarter = (rows.len() / 4).max(1);
    let (before, last) = rows.split_at(rows.len() - quarter.min(rows.len()));
    let before = &before[before.len() - quarter.min(before.len())..];
    let hours = (mean(last, &|r| r.at_s) - mean(before, &|r| r.at_s)) / 3600.0;
    (mean(last, &value) - mean(before, &value)) / hours.max(1e-9)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(minute: f64, resident_mb: f64, descriptors: f64) -> Row {
        Row {
            at_s: 60.0 * minute,
            resident_mb,
            descriptors,
            threads: 9.0,
            analysed_per_s: 30.0,
            half_ms: 20.0,
            late_ms: 30.0,
            passes: 1,
            log_bytes: 0,
            recorded_bytes: 0,
        }
    }

    /// A wobble of 1.5 MB, the same every time.
    fn wobble(n: u32) -> f64 {
        [0.0, 1.1, -0.7, 0.4, -1.5, 0.9, -0.2][n as usize % 7]
    }

    #[test]
    fn a_leak_is_seen_through_the_wobble_and_a_warm_up_is_none() {
        let still: Vec<Row> = (0..48)
            .map(|n| {
                let warm_up = if n < 8 {
                    -40.0 + 5.0 * f64::from(n)
                } else {
                    0.0
                };
                row(f64::from(n), 200.0 + warm_up + wobble(n), 12.0)
            })
            .collect();
        let v = verdict(&still);
        assert!(!v.grows, "{}", v.text);
        // 8 MB an hour.
        let leaking: Vec<Row> = (0..48)
            .map(|n| {
                row(
                    f64::from(n),
                    200.0 + 8.0 * f64::from(n) / 60.0 + wobble(n),
                    12.0,
                )
            })
            .collect();
        let v = verdict(&leaking);
        assert!(v.grows && v.text.contains("memory: +"), "{}", v.text);
    }

    /// The rows of a real hour: three steps up, then level for half of it.
    #[test]
    fn an_allocator_that_has_found_its_size_is_no_growth() {
        let size = |n: u32| match n {
            0..=1 => 155.2,
            2..=9 => 158.0,
            10..=11 => 159.1,
            _ => 160.7,
        };
        let rows: Vec<Row> = (0..24)
            .map(|n| row(2.5 * f64::from(n + 1), size(n), 11.0))
            .collect();
        let v = verdict(&rows);
        assert!(!v.grows, "{}", v.text);
        // Another: one step of a picture near the end.
        let rows: Vec<Row> = (0..24)
            .map(|n| {
                row(
                    1.7 * f64::from(n + 1),
                    if n < 19 { 157.9 } else { 160.4 },
                    11.0,
                )
            })
            .collect();
        let v = verdict(&rows);
        assert!(!v.grows, "{}", v.text);
        let goes_on: Vec<Row> = (0..24)
            .map(|n| row(2.5 * f64::from(n + 1), 155.0 + f64::from(n / 4), 11.0))
            .collect();
        assert!(verdict(&goes_on).grows);
    }

    #[test]
    fn descriptors_that_stay_open_are_growth() {
        let rows: Vec<Row> = (0..20)
            .map(|n| row(f64::from(n), 200.0, 12.0 + f64::from(n / 5)))
            .collect();
        let v = verdict(&rows);
        assert!(v.grows && v.text.contains("descriptors: +"), "{}", v.text);
    }

    #[test]
    fn too_few_rows_are_no_verdict() {
        assert!(verdict(&[]).text.contains("too few rows"));
        assert!(!verdict(&[row(0.0, 1.0, 1.0)]).grows);
    }
}
