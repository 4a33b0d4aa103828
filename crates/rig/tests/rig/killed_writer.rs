//! A program is killed while it stores passes.

use std::io::{BufRead, BufReader};
use std::process::Stdio;

use kickplate::store::{SessionState, Store};

use crate::rig;
use crate::store_common::{cue, pass};

/// The part says 'acknowledged N' only after the writer did; it is killed
/// with SIGKILL at three different moments. That shows what outlives a kill;
/// a power cut cannot be had here and rests on SQLite's `synchronous = FULL`.
#[test]
fn after_a_kill_every_acknowledged_pass_is_there() {
    for kill_after in [1, 5, 23] {
        let dir = tempfile::tempdir().unwrap();
        let mut child = rig("writes_until_killed")
            .env("RIG_WRITES_TO", dir.path())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut acknowledged = 0;
        for line in BufReader::new(child.stdout.take().unwrap()).lines() {
            let line = line.unwrap();
            let Some((_, number)) = line.split_once("acknowledged ") else {
                continue;
            };
            acknowledged = number.parse().unwrap();
            if acknowledged == kill_after {
                child.kill().unwrap();
            }
        }
        assert!(!child.wait().unwrap().success());
        assert!(acknowledged >= kill_after, "{acknowledged}");

        let store = Store::open(dir.path()).unwrap();
        assert_eq!(store.recovered().len(), 1);
        let found = &store.recovered()[0];
        assert_eq!(found.state, SessionState::Recovered);
        assert!(found.ended_at.is_some());
        let back = store.load_session(found.id.number()).unwrap();
        assert_eq!(found.passes as usize, back.passes.len());
        assert!(back.passes.len() >= acknowledged as usize);
        for (n, stored) in (1..).zip(&back.passes) {
            assert_eq!((&stored.pass, &stored.cue), (&pass(n), &cue(n)));
        }
        drop(store);
        let again = Store::open(dir.path()).unwrap();
        assert!(again.recovered().is_empty(), "told once");
    }
}
