//! The PIN of the coach's panel: kept as a hash that is slow to try, in a
//! file only its owner can read.
//!
//! It keeps curious hands off the panel. It is no protection of the files:
//! who can read the folder can read the recordings.

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use argon2::Argon2;
use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher, PasswordVerifier};

use crate::config::write_atomically;

const FILE: &str = "panel-pin";
/// Digits or letters of a PIN.
const LENGTH: std::ops::RangeInclusive<usize> = 4..=64;
/// Wrong tries that cost nothing; then the wait doubles with each.
const FREE_TRIES: u32 = 3;
const FIRST_WAIT: Duration = Duration::from_secs(2);
const LONGEST_WAIT: Duration = Duration::from_secs(60);

/// Why a PIN was not taken.
#[derive(Debug, thiserror::Error, PartialEq, Eq)]
pub enum PinError {
    /// Too short or too long.
    #[error("a PIN has 4 to 64 characters")]
    Length,
    /// Not the PIN.
    #[error("this is not the PIN")]
    Wrong,
    /// Too many wrong ones.
    #[error("too many wrong PINs; wait {0} seconds")]
    Wait(u64),
    /// The file.
    #[error("{file} {why}; to open the panel without a PIN, delete this file")]
    File {
        /// The file.
        file: String,
        /// What is wrong.
        why: String,
    },
}

/// The PIN of the panel.
pub struct Pin {
    file: PathBuf,
    wrong: u32,
    not_before: Option<Instant>,
}

impl Pin {
    /// The PIN whose hash lies in this folder.
    pub fn in_folder(folder: &Path) -> Self {
        Pin {
            file: folder.join(FILE),
            wrong: 0,
            not_before: None,
        }
    }

    /// Whether there is one.
    pub fn is_set(&self) -> bool {
        self.file.exists()
    }

    /// Sets a PIN, or takes it away.
    pub fn set(&mut self, pin: Option<&str>) -> Result<(), PinError> {
        let Some(pin) = pin else {
            return match std::fs::remove_file(&self.file) {
                Err(e) if e.kind() != std::io::ErrorKind::NotFound => {
                    Err(self.fault(format!("could not be deleted ({e})")))
                }
                _ => Ok(()),
            };
        };
        if !LENGTH.contains(&pin.chars().count()) {
            return Err(PinError::Length);
        }
        // Argon2id with the crate's defaults: 19 MiB, two rounds, as OWASP's
        // Password Storage Cheat Sheet has it; a salt from the system.
        let hash = Argon2::default()
            .hash_password(pin.as_bytes())
            .map_err(|e| self.fault(format!("could not be made ({e})")))?;
        if let Some(folder) = self.file.parent() {
            std::fs::create_dir_all(folder)
                .map_err(|e| self.fault(format!("could not be written ({e})")))?;
        }
        write_atomically(&self.file, hash.to_string().as_bytes(), 0o600)
            .map_err(|e| self.fault(format!("could not be written ({e})")))?;
        self.wrong = 0;
        self.not_before = None;
        Ok(())
    }

    /// Whether this is the PIN. After a few wrong ones there is a wait that
    /// doubles; while it lasts, no PIN is looked at.
    pub fn check(&mut self, pin: &str) -> Result<(), PinError> {
        if !self.is_set() {
            return Ok(());
        }
        let now = Instant::now();
        if let Some(left) = self
            .not_before
            .and_then(|at| at.checked_duration_since(now))
            .filter(|left| !left.is_zero())
        {
            return Err(PinError::Wait(left.as_secs() + 1));
        }
        let text = std::fs::read_to_string(&self.file)
            .map_err(|e| self.fault(format!("cannot be read ({e})")))?;
        let hash =
            PasswordHash::new(text.trim()).map_err(|e| self.fault(format!("is damaged ({e})")))?;
        if Argon2::default()
            .verify_password(pin.as_bytes(), &hash)
            .is_ok()
        {
            self.wrong = 0;
            self.not_before = None;
            return Ok(());
        }
        self.wrong += 1;
        if let Some(more) = self.wrong.checked_sub(FREE_TRIES) {
            let wait = FIRST_WAIT
                .saturating_mul(1 << more.min(10))
                .min(LONGEST_WAIT);
            self.not_before = Some(now + wait);
        }
        Err(PinError::Wrong)
    }

    fn fault(&self, why: String) -> PinError {
        PinError::File {
            file: self.file.display().to_string(),
            why,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::os::unix::fs::PermissionsExt;

    #[test]
    fn the_right_pin_opens_and_the_file_does_not_tell_it() {
        let dir = tempfile::tempdir().unwrap();
        let mut pin = Pin::in_folder(dir.path());
        assert!(!pin.is_set());
        assert_eq!(pin.check("anything"), Ok(()));
        assert_eq!(pin.set(Some("123")), Err(PinError::Length));
        pin.set(Some("240781")).unwrap();
        let file = dir.path().join(FILE);
        let text = std::fs::read_to_string(&file).unwrap();
        assert!(text.starts_with("$argon2id$"), "{text}");
        assert!(!text.contains("240781"));
        assert_eq!(file.metadata().unwrap().permissions().mode() & 0o777, 0o600);
        // Also at the next start.
        let mut pin = Pin::in_folder(dir.path());
        assert_eq!(pin.check("240782"), Err(PinError::Wrong));
        assert_eq!(pin.check("240781"), Ok(()));
        // Two people with the same PIN have two hashes.
        pin.set(Some("240781")).unwrap();
        assert_ne!(std::fs::read_to_string(&file).unwrap(), text);
        pin.set(None).unwrap();
        assert!(!pin.is_set());
    }

    #[test]
    fn wrong_ones_cost_time_and_then_the_right_one_does_not_open_either() {
        let dir = tempfile::tempdir().unwrap();
        let mut pin = Pin::in_folder(dir.path());
        pin.set(Some("2407")).unwrap();
        for _ in 0..FREE_TRIES {
            assert_eq!(pin.check("0000"), Err(PinError::Wrong));
        }
        assert!(matches!(pin.check("2407"), Err(PinError::Wait(1..=3))));
        // As if the time had passed.
        pin.not_before = None;
        assert_eq!(pin.check("0000"), Err(PinError::Wrong));
        assert!(matches!(pin.check("2407"), Err(PinError::Wait(3..=5))));
        pin.not_before = None;
        assert_eq!(pin.check("2407"), Ok(()));
        assert_eq!(pin.wrong, 0);
    }

    #[test]
    fn a_damaged_file_opens_nothing_and_says_what_to_do() {
        let dir = tempfile::tempdir().unwrap();
        std::fs::write(dir.path().join(FILE), "rubbish").unwrap();
        let said = Pin::in_folder(dir.path()).check("2407").unwrap_err();
        assert!(said.to_string().contains("delete this file"), "{said}");
    }
}
