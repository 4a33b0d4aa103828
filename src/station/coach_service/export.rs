//! Exports, on a thread of their own.

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;

use crossbeam_channel::{Receiver, bounded};

use super::{Done, Service, ServiceError, said};
use crate::config::private_folder;
use crate::panel::{ExportOrder, ExportState, Message};
use crate::store::Archive;

/// Writes an export: the recordings, what is asked for, where to tell how far
/// it is (a share and a few words), and whether to stop. Gives one sentence,
/// also for a failure.
pub type Exporter = Arc<
    dyn Fn(&Archive, &ExportOrder, &dyn Fn(f32, Message), &AtomicBool) -> Result<Message, Message>
        + Send
        + Sync,
>;

/// Words about an export that are not taken yet, at most.
const WAITING: usize = 16;

enum News {
    Going(f32, Message),
    Over(Result<Message, Message>),
}

/// Makes the folder exports go into, for its owner alone; one that is there
/// stays as it is.
fn make_folder(folder: &std::path::Path) -> Result<(), Message> {
    private_folder(folder).map_err(|e| Message::NoExportFolder {
        folder: folder.to_owned(),
        why: e.to_string(),
    })
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

impl Service {
    pub(super) fn start_export(&mut self, order: ExportOrder) -> Done {
        let Some(exporter) = self.exporter.clone() else {
            return Err(said(Message::NoExporter {}));
        };
        if self.export.is_some() {
            return Err(said(Message::ExportRuns {}));
        }
        let (tell, news) = bounded(WAITING);
        let cancel = Arc::new(AtomicBool::new(false));
        let stopping = Arc::clone(&cancel);
        let folder: PathBuf = self.folder.clone();
        thread::Builder::new()
            .name("export".into())
            .spawn(move || {
                // A word too many is let go; the last one waits for its place.
                let going = |share: f32, step: Message| {
                    let _ = tell.try_send(News::Going(share, step));
                };
                let result = make_folder(&order.into)
                    .and_then(|()| Archive::open(&folder).map_err(|e| ServiceError::from(e).0))
                    .and_then(|archive| exporter(&archive, &order, &going, &stopping));
                let _ = tell.send(News::Over(result));
            })
            .map_err(|e| said(Message::ExportNotStarted { why: e.to_string() }))?;
        self.export = Some(ExportRun { news, cancel });
        self.view.export = Some(ExportState {
            done: 0.0,
            sentence: Message::ExportBegins {}.say(&self.words),
            running: true,
        });
        Ok(Message::ExportBegins {})
    }

    pub(super) fn cancel_export(&mut self) -> Done {
        match &self.export {
            Some(run) => {
                run.cancel();
                Ok(Message::ExportStopping {})
            }
            None => Err(said(Message::NoExport {})),
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
                Ok(News::Going(done, step)) => {
                    self.view.export = Some(ExportState {
                        done: done.clamp(0.0, 1.0),
                        sentence: step.say(&self.words),
                        running: true,
                    });
                }
                Ok(News::Over(result)) => over = Some(result),
                Err(crossbeam_channel::TryRecvError::Empty) => break,
                Err(crossbeam_channel::TryRecvError::Disconnected) => {
                    over.get_or_insert(Err(Message::ProgramFault {}));
                    break;
                }
            }
        }
        if let Some(result) = over {
            self.export = None;
            let done = if result.is_ok() { 1.0 } else { 0.0 };
            let (Ok(saying) | Err(saying)) = &result;
            self.view.export = Some(ExportState {
                done,
                sentence: saying.say(&self.words),
                running: false,
            });
            self.answer(result.map_err(said));
        }
    }
}
