//! Where things are: the program's own resources, and what it writes.

use std::path::{Path, PathBuf};

/// What a resources folder has to hold.
const ROOMS: [&str; 3] = ["models", "sounds", "config"];

/// The variable that names the resources folder.
pub const HOME_VARIABLE: &str = "KICKPLATE_HOME";

/// A folder that cannot be found, and the remedy.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PlaceError {
    /// `KICKPLATE_HOME` names something else.
    #[error(
        "KICKPLATE_HOME is set to {folder}, which has no folder '{missing}'; set it to the folder that holds models, sounds and config, or unset it"
    )]
    WrongHome {
        /// What the variable says.
        folder: PathBuf,
        /// The first folder that is not there.
        missing: &'static str,
    },
    /// Nowhere to be found.
    #[error(
        "the folders models, sounds and config were found neither in {current} nor above the program; start Kickplate from its own folder or set KICKPLATE_HOME to it"
    )]
    NoHome {
        /// The current folder.
        current: PathBuf,
    },
    /// No home folder of the user.
    #[error(
        "there is no place for recordings because neither XDG_DATA_HOME nor HOME is set; set one of them, or sessions_folder in config/station.toml"
    )]
    NoDataFolder,
}

/// The resources folder: the one with `models/`, `sounds/` and `config/`.
/// Looked for in `KICKPLATE_HOME`, then the current folder, then above the
/// program itself.
pub fn home() -> Result<PathBuf, PlaceError> {
    let variable = std::env::var_os(HOME_VARIABLE).filter(|v| !v.is_empty());
    let current = std::env::current_dir().unwrap_or_else(|_| PathBuf::from("."));
    let program = std::env::current_exe().and_then(|p| p.canonicalize()).ok();
    find_home(variable.map(PathBuf::from), current, program.as_deref())
}

fn find_home(
    variable: Option<PathBuf>,
    current: PathBuf,
    program: Option<&Path>,
) -> Result<PathBuf, PlaceError> {
    if let Some(folder) = variable {
        return match missing_room(&folder) {
            None => Ok(folder),
            Some(missing) => Err(PlaceError::WrongHome { folder, missing }),
        };
    }
    std::iter::once(current.as_path())
        .chain(program.into_iter().flat_map(|p| p.ancestors().skip(1)))
        .find(|folder| missing_room(folder).is_none())
        .map(Path::to_owned)
        .ok_or(PlaceError::NoHome {
            current: current.clone(),
        })
}

fn missing_room(folder: &Path) -> Option<&'static str> {
    ROOMS.into_iter().find(|room| !folder.join(room).is_dir())
}

/// The folder recordings and logs go to unless the settings name another:
/// `$XDG_DATA_HOME/kickplate`, or `~/.local/share/kickplate`. It need not
/// exist yet.
pub fn data_folder() -> Result<PathBuf, PlaceError> {
    data_folder_from(
        std::env::var_os("XDG_DATA_HOME").map(PathBuf::from),
        std::env::var_os("HOME").map(PathBuf::from),
    )
}

fn data_folder_from(xdg: Option<PathBuf>, home: Option<PathBuf>) -> Result<PathBuf, PlaceError> {
    // The XDG base directory specification says: a path that is not absolute
    // is to be ignored.
    let base = xdg
        .filter(|p| p.is_absolute())
        .or_else(|| {
            home.filter(|p| p.is_absolute())
                .map(|h| h.join(".local/share"))
        })
        .ok_or(PlaceError::NoDataFolder)?;
    Ok(base.join("kickplate"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn furnished(folder: &Path) {
        for room in ROOMS {
            std::fs::create_dir_all(folder.join(room)).unwrap();
        }
    }

    #[test]
    fn the_variable_wins_then_the_current_folder_then_the_program() {
        let dir = tempfile::tempdir().unwrap();
        let (a, b, c) = (
            dir.path().join("a"),
            dir.path().join("b"),
            dir.path().join("c"),
        );
        for folder in [&a, &b, &c] {
            furnished(folder);
        }
        let program = c.join("target/release/kickplate");
        let bare = dir.path().to_owned();
        assert_eq!(
            find_home(Some(a.clone()), b.clone(), Some(&program)),
            Ok(a.clone())
        );
        assert_eq!(find_home(None, b.clone(), Some(&program)), Ok(b));
        assert_eq!(find_home(None, bare.clone(), Some(&program)), Ok(c));
        let lost = find_home(None, bare, None).unwrap_err().to_string();
        assert!(lost.contains("KICKPLATE_HOME"), "{lost}");
    }

    #[test]
    fn a_wrong_variable_is_an_error_and_is_not_passed_over() {
        let dir = tempfile::tempdir().unwrap();
        furnished(dir.path());
        let wrong = dir.path().join("models");
        let error = find_home(Some(wrong), dir.path().to_owned(), None).unwrap_err();
        assert!(error.to_string().contains("has no folder 'models'"));
    }

    #[test]
    fn data_goes_where_the_xdg_base_directory_specification_says() {
        let at = |x: Option<&str>, h: Option<&str>| {
            data_folder_from(x.map(PathBuf::from), h.map(PathBuf::from))
        };
        assert_eq!(at(Some("/d"), Some("/h")), Ok("/d/kickplate".into()));
        assert_eq!(
            at(Some("relative"), Some("/h")),
            Ok("/h/.local/share/kickplate".into())
        );
        assert_eq!(at(None, Some("/h")), Ok("/h/.local/share/kickplate".into()));
        assert_eq!(at(None, None), Err(PlaceError::NoDataFolder));
    }
}
