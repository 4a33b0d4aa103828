//! Exports, on a thread of their own.

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;

use crossbeam_channel::{Receiver, bounded};

use super::{Desk, Done, said};
use crate::coach::{ExportOrder, ExportState};
use crate::store::Archive;

/// Writes an export: the recordings, what is asked for, where to tell how far
/// it is (a share and a few words), and whether to stop. Gives one sentence,
/// also for a failure.
pub type Exporter = Arc<
    dyn Fn(&Archive, &ExportOrder, &dyn Fn(f32, &str), &AtomicBool) -> Result<String, String>
        + Send
        + Sync,
>;

/// Words about an export that are not taken yet, at most.
const WAITING: usize = 16;

enum News {
    Going(f32, String),
    Over(Result<String, String>),
}

/// An export that runs.
pub(super) struct ExportRun {
    news: Receiver<News>,
    cancel: Arc<AtomicBool>,
}

impl ExportRun {
    pub(super) fn cancel(&self) {
        self.cancel.store(true, Ordering::Release);
    }
}

impl Desk {
    pub(super) fn start_export(&mut self, order: ExportOrder) -> Done {
        let Some(exporter) = self.exporter.clone() else {
            return Err(said("this station has no way to write exports"));
        };
        if self.export.is_some() {
            return Err(said("an export runs already; wait for it or cancel it"));
        }
        let (tell, news) = bounded(WAITING);
        let cancel = Arc::new(AtomicBool::new(false));
        let stopping = Arc::clone(&cancel);
        let folder: PathBuf = self.folder.clone();
        thread::Builder::new()
            .name("export".into())
            .spawn(move || {
                // A word too many is let go; the last one waits for its place.
                let going = |share: f32, words: &str| {
                    let _ = tell.try_send(News::Going(share, words.to_owned()));
                };
                let result = Archive::open(&folder)
                    .map_err(|e| e.to_string())
                    .and_then(|archive| exporter(&archive, &order, &going, &stopping));
                let _ = tell.send(News::Over(result));
            })
            .map_err(|e| said(format!("the export could not be started ({e})")))?;
        self.export = Some(ExportRun { news, cancel });
        self.view.export = Some(ExportState {
            done: 0.0,
            sentence: "The export begins.".to_owned(),
            running: true,
        });
        Ok("The export begins.".to_owned())
    }

    pub(super) fn cancel_export(&mut self) -> Done {
        match &self.export {
            Some(run) => {
                run.cancel();
                Ok("The export is being stopped.".to_owned())
            }
            None => Err(said("no export runs")),
        }
    }

    /// Takes what the export tells.
    pub(super) fn follow_export(&mut self) {
        let Some(run) = &self.export else {
            return;
        };
        let mut over = None;
        loop {
            match run.news.try_recv() {
                Ok(News::Going(done, sentence)) => {
                    self.view.export = Some(ExportState {
                        done: done.clamp(0.0, 1.0),
                        sentence,
                        running: true,
                    });
                }
                Ok(News::Over(result)) => over = Some(result),
                Err(crossbeam_channel::TryRecvError::Empty) => break,
                Err(crossbeam_channel::TryRecvError::Disconnected) => {
                    over.get_or_insert_with(|| {
                        Err("a fault of the program itself stopped the export".to_owned())
                    });
                    break;
                }
            }
        }
        if let Some(result) = over {
            self.export = None;
            let done = if result.is_ok() { 1.0 } else { 0.0 };
            let (Ok(sentence) | Err(sentence)) = result.clone();
            self.view.export = Some(ExportState {
                done,
                sentence,
                running: false,
            });
            self.answer(result.map_err(said));
        }
    }
}
