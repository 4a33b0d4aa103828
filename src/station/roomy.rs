//! What may be left out on a bounded queue.
//!
//! Takes: the sender of a queue and a message of which the next one will do as well.
//! Gives: nothing.
//! Fails: never; where the queue is half full the message is let go.

use crossbeam_channel::Sender;

/// Sends a message where half of the queue is free: the other half is kept for what must not
/// be lost.
pub(crate) fn send_if_roomy<T>(sender: &Sender<T>, message: T) {
    let room = sender.capacity().unwrap_or(usize::MAX);
    if sender.len() < room / 2 {
        let _ = sender.try_send(message);
    }
}
