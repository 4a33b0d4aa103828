//! The other threads' side of the big screen's window.
//!
//! Takes: the newest model with its picture, and what is to happen once it was drawn.
//! Gives: what was drawn last and whether a replay was asked for.
//! Fails: never; it may be used before the window is open and after it is closed.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError};
use std::time::Instant;

use super::model::{PreviewImage, ScreenModel};

/// What the window is to show, and what it has shown.
pub(super) struct Shared {
    pub(super) newest: Mutex<(ScreenModel, Option<Arc<PreviewImage>>)>,
    pub(super) painted: Mutex<Option<(u32, Instant)>>,
    pub(super) context: OnceLock<egui::Context>,
    pub(super) closing: AtomicBool,
    pub(super) lost: AtomicBool,
    pub(super) show_me: AtomicBool,
    pub(super) after_painting: Mutex<Option<(u32, AfterPainting)>>,
}

pub(super) type AfterPainting = Box<dyn FnOnce() + Send>;

pub(super) fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The other threads' side of the window. Clones drive the same window; it
/// may be used before the window is open and after it is closed.
#[derive(Clone)]
pub struct ScreenHandle(pub(super) Arc<Shared>);

impl ScreenHandle {
    /// A handle whose window will open with this model.
    pub fn new(first: ScreenModel) -> Self {
        ScreenHandle(Arc::new(Shared {
            newest: Mutex::new((first, None)),
            painted: Mutex::new(None),
            context: OnceLock::new(),
            closing: AtomicBool::new(false),
            lost: AtomicBool::new(false),
            show_me: AtomicBool::new(false),
            after_painting: Mutex::new(None),
        }))
    }

    /// Shows a model, with the picture that belongs to it where there is
    /// one. Never waits for the window; a model that was not drawn yet is
    /// replaced. Showing the same again costs nothing.
    pub fn show(&self, model: ScreenModel, picture: Option<Arc<PreviewImage>>) {
        let mut newest = lock(&self.0.newest);
        if newest.0 == model && same_picture(&newest.1, &picture) {
            return;
        }
        *newest = (model, picture);
        drop(newest);
        self.wake();
    }

    /// Closes the window; [`run_big_screen`] then returns.
    pub fn close(&self) {
        self.0.closing.store(true, Ordering::Release);
        self.wake();
    }

    /// Whether a replay was asked for since the last call.
    pub fn take_show_me(&self) -> bool {
        self.0.show_me.swap(false, Ordering::AcqRel)
    }

    /// The last pass whose answer was drawn, and a moment by which its
    /// picture had been handed to the window system. The truth is earlier by
    /// up to one frame; what the monitor adds is not known here.
    pub fn last_painted(&self) -> Option<(u32, Instant)> {
        *lock(&self.0.painted)
    }

    /// Calls `then` in the window's thread once the answer to that pass has
    /// been drawn, so that a sound comes with its card and not before it. It
    /// must not block. Called at once where no window is open; one that was
    /// not called yet is dropped.
    pub fn after_painting(&self, pass_number: u32, then: impl FnOnce() + Send + 'static) {
        if self.context().is_none() {
            then();
            return;
        }
        *lock(&self.0.after_painting) = Some((pass_number, Box::new(then)));
    }

    /// Calls what still waits for its answer to be drawn, if anything: the
    /// window may be covered or very slow.
    pub fn no_longer_wait_for_painting(&self) {
        let waiting = lock(&self.0.after_painting).take();
        if let Some((_, then)) = waiting {
            then();
        }
    }

    /// The window is gone with its window system: nothing waits for it any
    /// more.
    pub fn lost(&self) {
        self.0.lost.store(true, Ordering::Release);
        self.no_longer_wait_for_painting();
    }

    fn context(&self) -> Option<&egui::Context> {
        let lost = self.0.lost.load(Ordering::Acquire);
        self.0.context.get().filter(|_| !lost)
    }

    fn wake(&self) {
        if let Some(ctx) = self.context() {
            ctx.request_repaint();
        }
    }
}

/// Whether it is the same picture, not only an equal one.
pub(super) fn same_picture(a: &Option<Arc<PreviewImage>>, b: &Option<Arc<PreviewImage>>) -> bool {
    match (a, b) {
        (Some(a), Some(b)) => Arc::ptr_eq(a, b),
        (None, None) => true,
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::display::ScreenGeometry;

    #[test]
    fn without_a_window_nothing_waits_to_be_painted() {
        let handle = ScreenHandle::new(ScreenModel::waiting(ScreenGeometry::default()));
        let called = Arc::new(AtomicBool::new(false));
        let seen = Arc::clone(&called);
        handle.after_painting(1, move || seen.store(true, Ordering::Relaxed));
        assert!(called.load(Ordering::Relaxed));
    }

    #[test]
    fn what_waits_is_called_once_and_replaced_by_the_next() {
        let handle = ScreenHandle::new(ScreenModel::waiting(ScreenGeometry::default()));
        let _ = handle.0.context.set(egui::Context::default());
        let calls = Arc::new(Mutex::new(Vec::new()));
        for n in [1, 2] {
            let calls = Arc::clone(&calls);
            handle.after_painting(n, move || lock(&calls).push(n));
        }
        assert!(lock(&calls).is_empty());
        handle.no_longer_wait_for_painting();
        handle.no_longer_wait_for_painting();
        assert_eq!(*lock(&calls), [2]);
    }

    #[test]
    fn a_replay_is_asked_for_once_a_press() {
        let handle = ScreenHandle::new(ScreenModel::waiting(ScreenGeometry::default()));
        handle.0.show_me.store(true, Ordering::Release);
        assert!(handle.take_show_me());
        assert!(!handle.take_show_me());
    }
}
