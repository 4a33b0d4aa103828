//! Signs of life for the service manager: the notification protocol of
//! systemd, sd_notify(3) and systemd.service(5), `WatchdogSec=`.
//!
//! A datagram on a unix socket that the manager names in the environment;
//! where it names none, nothing is sent. Nothing here waits: a manager that
//! does not read loses the message.

use std::ffi::OsStr;
use std::os::linux::net::SocketAddrExt;
use std::os::unix::ffi::OsStrExt;
use std::os::unix::net::{SocketAddr, UnixDatagram};
use std::time::{Duration, Instant};

/// Says that the station lives, as often as the manager wants to hear it.
#[derive(Debug, Default)]
pub struct Watchdog {
    to: Option<(UnixDatagram, SocketAddr)>,
    every: Option<Duration>,
    last: Option<Instant>,
    ready: bool,
}

impl Watchdog {
    /// As the service manager set the environment: `NOTIFY_SOCKET`,
    /// `WATCHDOG_USEC`, `WATCHDOG_PID`.
    pub fn from_environment() -> Self {
        let variable = |name| std::env::var_os(name).filter(|v| !v.is_empty());
        let Some(socket) = variable("NOTIFY_SOCKET") else {
            return Self::default();
        };
        let number = |name| variable(name)?.to_str()?.parse::<u64>().ok();
        // sd_watchdog_enabled(3): meant for another process where the number
        // differs; for this one where there is none.
        let meant = number("WATCHDOG_PID").is_none_or(|pid| pid == u64::from(std::process::id()));
        let patience = number("WATCHDOG_USEC")
            .filter(|us| meant && *us > 0)
            .map(Duration::from_micros);
        Self::new(&socket, patience)
    }

    /// Sends to `socket`, a path or, with `@` first, an abstract name.
    /// `patience` is how long the manager waits between two signs.
    fn new(socket: &OsStr, patience: Option<Duration>) -> Self {
        let address = match socket.as_bytes() {
            [b'@', name @ ..] => SocketAddr::from_abstract_name(name),
            _ => SocketAddr::from_pathname(socket),
        };
        let to = address.and_then(|address| {
            let from = UnixDatagram::unbound()?;
            from.set_nonblocking(true)?;
            Ok((from, address))
        });
        let to = to
            .map_err(|e| tracing::warn!("the service manager cannot be told anything: {e}"))
            .ok();
        Watchdog {
            to,
            // Half of the time, as sd_watchdog_enabled(3) recommends.
            every: patience.map(|p| p / 2),
            last: None,
            ready: false,
        }
    }

    /// To be called by the loop that must not hang, as often as it likes:
    /// sends when a sign is due. The first call says that the start is over.
    pub fn alive(&mut self) {
        if self.to.is_none() {
            return;
        }
        if !self.ready {
            self.ready = true;
            self.send("READY=1");
        }
        let Some(every) = self.every else { return };
        if self.last.is_none_or(|at| at.elapsed() >= every) {
            self.last = Some(Instant::now());
            self.send("WATCHDOG=1");
        }
    }

    /// One line for `systemctl status`.
    pub fn status(&self, line: &str) {
        let line = line.replace('\n', " ");
        self.send(&format!("STATUS={line}"));
    }

    /// Says that the end has begun.
    pub fn stopping(&self) {
        self.send("STOPPING=1");
    }

    fn send(&self, message: &str) {
        if let Some((from, address)) = &self.to
            && let Err(e) = from.send_to_addr(message.as_bytes(), address)
        {
            tracing::debug!("the service manager did not take '{message}': {e}");
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heard(manager: &UnixDatagram) -> Vec<String> {
        let mut all = Vec::new();
        let mut buffer = [0; 256];
        while let Ok(n) = manager.recv(&mut buffer) {
            all.push(String::from_utf8_lossy(&buffer[..n]).into_owned());
        }
        all
    }

    #[test]
    fn it_says_ready_once_and_lives_when_due() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("notify");
        let manager = UnixDatagram::bind(&path).unwrap();
        manager.set_nonblocking(true).unwrap();
        let mut dog = Watchdog::new(path.as_os_str(), Some(Duration::from_millis(60)));
        dog.alive();
        dog.alive();
        assert_eq!(heard(&manager), ["READY=1", "WATCHDOG=1"]);
        std::thread::sleep(Duration::from_millis(40));
        dog.alive();
        assert_eq!(heard(&manager), ["WATCHDOG=1"], "after half the time");
        dog.status("camera live\n30/s");
        dog.stopping();
        assert_eq!(heard(&manager), ["STATUS=camera live 30/s", "STOPPING=1"]);
    }

    #[test]
    fn an_abstract_socket_is_reached_and_no_patience_means_no_signs() {
        let name = format!("kickplate-test-{}", std::process::id());
        let address = SocketAddr::from_abstract_name(name.as_bytes()).unwrap();
        let manager = UnixDatagram::bind_addr(&address).unwrap();
        manager.set_nonblocking(true).unwrap();
        let mut dog = Watchdog::new(OsStr::new(&format!("@{name}")), None);
        dog.alive();
        dog.alive();
        assert_eq!(heard(&manager), ["READY=1"]);
    }

    #[test]
    fn a_manager_that_reads_nothing_holds_nobody_up() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("notify");
        let _deaf = UnixDatagram::bind(&path).unwrap();
        let mut dog = Watchdog::new(path.as_os_str(), Some(Duration::ZERO));
        // Far more than a socket buffer holds; a blocking send would hang.
        for _ in 0..10_000 {
            dog.alive();
        }
        let mut nobody = Watchdog::new(OsStr::new("/nowhere/at/all"), Some(Duration::ZERO));
        nobody.alive();
    }
}
