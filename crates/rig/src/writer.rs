//! A program that stores passes until it is killed.

use std::time::Duration;

use kickplate::store::{StoreWriter, WriterPolicy, Written};

use crate::store_common::{cue, pass, session};

/// Longer than a write takes on a slow disk.
const PATIENCE: Duration = Duration::from_secs(30);

/// Says 'acknowledged N' only after the writer did.
pub fn writes_until_killed() {
    let folder = std::env::var_os("RIG_WRITES_TO").expect("a folder");
    let writer = StoreWriter::start(folder.into(), session(), WriterPolicy::default());
    for n in 1.. {
        let written = writer.submit((pass(n), cue(n)).into()).wait(PATIENCE);
        assert_eq!(written, Written::OnDisk);
        println!("acknowledged {n}");
    }
}
