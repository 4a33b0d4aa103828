//! The rows of the table, and the thread that writes them.

use std::path::{Path, PathBuf};
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

use kickplate::station::health::HealthWatch;
use kickplate::station::live::shutdown::Stop;
use kickplate::station::say;

/// How often the watching thread looks up.
const LOOK_EVERY: Duration = Duration::from_millis(200);

/// One row of the table.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Row {
    pub(super) at_s: f64,
    pub(super) resident_mb: f64,
    pub(super) descriptors: f64,
    pub(super) threads: f64,
    pub(super) analysed_per_s: f64,
    pub(super) half_ms: f64,
    pub(super) late_ms: f64,
    pub(super) passes: u64,
    pub(super) log_bytes: u64,
    pub(super) recorded_bytes: u64,
}

impl Row {
    pub(super) const HEAD: &str = "| min | memory MB | descriptors | threads | frames/s | result ms, half | 95 % | passes | log kB | recordings kB |\n|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|";

    fn text(&self) -> String {
        format!(
            "| {:.1} | {:.1} | {} | {} | {:.1} | {:.0} | {:.0} | {} | {} | {} |",
            self.at_s / 60.0,
            self.resident_mb,
            self.descriptors,
            self.threads,
            self.analysed_per_s,
            self.half_ms,
            self.late_ms,
            self.passes,
            self.log_bytes / 1000,
            self.recorded_bytes / 1000,
        )
    }
}

/// The thread that writes the rows and ends sessions.
pub(super) struct Watch {
    pub(super) health: HealthWatch,
    pub(super) out: PathBuf,
    pub(super) started: Instant,
    pub(super) lasting: Duration,
    pub(super) session: Duration,
    pub(super) every: Duration,
    /// Ends everything.
    pub(super) all: Stop,
    /// Ends the session.
    pub(super) this: Stop,
}

impl Watch {
    pub(super) fn rows(self) -> Vec<Row> {
        let mut rows: Vec<Row> = Vec::new();
        let mut row_at = self.started + self.every;
        let mut session_began = self.started;
        let mut before = (self.started, 0);
        while !self.all.load(Ordering::Relaxed) {
            std::thread::sleep(LOOK_EVERY);
            let now = Instant::now();
            if now - self.started >= self.lasting {
                self.all.store(true, Ordering::Relaxed);
            }
            if now - session_began >= self.session || self.all.load(Ordering::Relaxed) {
                session_began = now;
                self.this.store(true, Ordering::Relaxed);
            }
            if now >= row_at {
                row_at += self.every;
                if let Some(row) = self.row(now, &mut before) {
                    say(&row.text());
                    rows.push(row);
                }
            }
        }
        self.this.store(true, Ordering::Relaxed);
        rows
    }

    fn row(&self, now: Instant, before: &mut (Instant, u64)) -> Option<Row> {
        let health = self.health.newest()?;
        let seconds = (now - before.0).as_secs_f64();
        let frames = health.pose.frames - before.1.min(health.pose.frames);
        *before = (now, health.pose.frames);
        Some(Row {
            at_s: (now - self.started).as_secs_f64(),
            resident_mb: health.host.resident_mb?,
            descriptors: health.host.descriptors?.into(),
            threads: health.host.threads?.into(),
            analysed_per_s: frames as f64 / seconds.max(1e-3),
            half_ms: health.pose.frame_to_result_ms_half.unwrap_or(0.0),
            late_ms: health.pose.frame_to_result_ms_95.unwrap_or(0.0),
            passes: health.pose.passes,
            log_bytes: bytes_in(&self.out.join("logs")),
            recorded_bytes: bytes_in(&self.out),
        })
    }
}

/// Bytes of the files in a folder, without those in folders below.
fn bytes_in(folder: &Path) -> u64 {
    std::fs::read_dir(folder)
        .into_iter()
        .flatten()
        .flatten()
        .filter_map(|entry| entry.metadata().ok())
        .filter(std::fs::Metadata::is_file)
        .map(|meta| meta.len())
        .sum()
}
