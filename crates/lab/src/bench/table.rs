//! The table, and what the system tells of the program itself.

use std::fmt::Write;

use super::{BenchPath, Column};
use crate::stages::Durations;

/// Clock ticks a second of the times in `/proc/self/stat`: Linux on every
/// machine this program is built for.
const TICKS: f64 = 100.0;

pub(super) fn table(
    columns: &[(BenchPath, Column)],
    draw: &Durations,
    sound: &Durations,
) -> String {
    type Stage = fn(&Column) -> &Durations;
    let rows: [(&str, Stage); 14] = [
        ("decode", |c| &c.decode),
        ("motion proposal", |c| &c.stages.motion),
        ("detect", |c| &c.stages.detect),
        ("crop", |c| &c.stages.crop),
        ("landmark", |c| &c.stages.landmark),
        ("legs once more", |c| &c.stages.legs),
        ("track", |c| &c.stages.track),
        ("stride, a pass", |c| &c.stages.stride),
        ("rules, a pass", |c| &c.stages.rules),
        ("choice of the cue, a pass", |c| &c.stages.cue),
        ("these four together", |c| &c.stages.judge),
        ("a frame behind the decoder", |c| &c.stages.whole),
        ("frame captured to analysed", |c| &c.frame_age),
        ("pass end to cue", |c| &c.pass_end_to_cue),
    ];
    let mut out = format!("{:28}", "milliseconds");
    for (path, _) in columns {
        let _ = write!(out, "  {:^31}", path.title());
    }
    let _ = write!(out, "\n{:28}", "stage");
    for _ in columns {
        let _ = write!(out, "  {:>7}{:>8}{:>8}{:>8}", "n", "p50", "p95", "p99");
    }
    for (name, of) in rows {
        let _ = write!(out, "\n{name:28}");
        for (_, column) in columns {
            out.push_str(&cells(of(column)));
        }
    }
    for (name, durations) in [
        ("draw, 1920 x 1080, no window", draw),
        ("sound, asked to first sample", sound),
    ] {
        let _ = write!(out, "\n{name:28}{}", cells(durations));
    }
    let mut line = |name: &str, value: &dyn Fn(&Column) -> Option<String>| {
        let _ = write!(out, "\n{name:28}");
        for (_, column) in columns {
            let _ = write!(out, "  {:>31}", value(column).unwrap_or_else(|| "-".into()));
        }
    };
    line("frames", &|c| Some(c.frames.to_string()));
    line("frames a second", &|c| {
        Some(format!("{:.1}", c.frames as f64 / c.wall_s.max(1e-6)))
    });
    line("processor, % of one core", &|c| {
        Some(format!("{:.0}", 100.0 * c.cpu_s? / c.wall_s.max(1e-6)))
    });
    line("processor, ms a frame", &|c| {
        Some(format!("{:.2}", 1e3 * c.cpu_s? / c.frames.max(1) as f64))
    });
    line("frames overwritten", &|c| c.dropped.map(|n| n.to_string()));
    out.push('\n');
    out
}

fn cells(durations: &Durations) -> String {
    match durations.at([0.5, 0.95, 0.99]) {
        Some([p50, p95, p99]) => format!(
            "  {:>7}{:>8.2}{:>8.2}{:>8.2}",
            durations.count(),
            1e3 * p50,
            1e3 * p95,
            1e3 * p99
        ),
        None => format!("  {:>7}{:>8}{:>8}{:>8}", "-", "-", "-", "-"),
    }
}

/// Processor time of this program so far, all threads, seconds; in steps of
/// 10 ms. `None` where the system does not tell.
pub(super) fn cpu_s() -> Option<f64> {
    let stat = std::fs::read_to_string("/proc/self/stat").ok()?;
    // The second field is the program's name in brackets and may hold blanks;
    // the 14th and 15th are user and system time (proc(5)).
    let mut fields = stat.rsplit_once(')')?.1.split_whitespace().skip(11);
    let mut next = || fields.next()?.parse::<f64>().ok();
    Some((next()? + next()?) / TICKS)
}

/// Resident memory now and at its highest, MB of 10^6 bytes.
pub(super) fn resident_mb() -> Option<[f64; 2]> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let of = |key: &str| {
        let rest = status.lines().find_map(|line| line.strip_prefix(key))?;
        let kib: f64 = rest.trim().strip_suffix("kB")?.trim().parse().ok()?;
        Some(kib * 1024.0 / 1e6)
    };
    Some([of("VmRSS:")?, of("VmHWM:")?])
}

#[cfg(test)]
mod tests {
    use std::time::Instant;

    use super::*;

    #[test]
    fn the_table_lines_up_and_leaves_out_what_was_not_measured() {
        let mut column = Column::default();
        column.stages.motion.note(0.00125);
        column.frames = 10;
        column.wall_s = 2.0;
        column.cpu_s = Some(1.0);
        let text = table(
            &[
                (BenchPath::Review, column),
                (BenchPath::Live, Column::default()),
            ],
            &Durations::default(),
            &Durations::default(),
        );
        let row = |name: &str| {
            let line = text.lines().find(|l| l.starts_with(name));
            line.unwrap_or_else(|| panic!("no row {name} in\n{text}"))
        };
        let width = row("stage").chars().count();
        assert_eq!(row("motion proposal").chars().count(), width);
        assert_eq!(row("frames overwritten").chars().count(), width);
        let words = |name: &str| {
            row(name)
                .split_whitespace()
                .map(str::to_owned)
                .collect::<Vec<_>>()
        };
        assert_eq!(
            words("motion proposal")[2..],
            ["1", "1.25", "1.25", "1.25", "-", "-", "-", "-"]
        );
        assert_eq!(words("frames a second")[3], "5.0");
        assert_eq!(words("processor, % of one core")[5], "50");
    }

    #[test]
    fn the_system_tells_time_and_memory() {
        let before = cpu_s().expect("Linux tells");
        let mut x = 1u64;
        let since = Instant::now();
        while cpu_s().expect("Linux tells") <= before {
            (0..100_000).for_each(|k| x = std::hint::black_box(x.wrapping_mul(k | 1)));
            assert!(since.elapsed().as_secs() < 60, "time never rises");
        }
        let [now, most] = resident_mb().expect("Linux tells");
        assert!(now > 1.0 && most + 1.0 >= now, "{now} {most}");
    }
}
