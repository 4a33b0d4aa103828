//! Where things are: the program's own resources, and what it writes.
//!
//! A resources folder that a person owns (a copy of this project, an unpacked
//! archive) holds the settings as well. Where the program is installed for
//! everybody (`PREFIX/bin/kickplate`, `PREFIX/share/kickplate`), the resources
//! are the system's, and each user has settings of their own, which begin as a
//! copy of those that are shipped.

use std::io;
use std::os::unix::fs::DirBuilderExt;
use std::path::{Path, PathBuf};

use super::private_folder;

/// What a resources folder has to hold.
const ROOMS: [&str; 3] = ["models", "sounds", "config"];

/// The file in a resources folder that says that it belongs to the system.
const FOR_ALL: &str = "installed-for-all";

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
        "the folders models, sounds and config were found neither in {current} nor beside or above the program; start Kickplate from its own folder or set KICKPLATE_HOME to it"
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
    /// No home folder of the user, where the settings are each user's own.
    #[error(
        "there is no place for your settings because neither XDG_CONFIG_HOME nor HOME is set; set one of them"
    )]
    NoSettingsFolder,
    /// The user's own settings could not be begun.
    #[error("your settings cannot be written to {} ({why}); make that folder writable", .folder.display())]
    Settings {
        /// Where they would be.
        folder: PathBuf,
        /// The system's words.
        why: String,
    },
}

/// The resources folder: the one with `models/`, `sounds/` and `config/`.
/// Looked for in `KICKPLATE_HOME`, then the current folder, then above the
/// program itself and in `share/kickplate` beside its folder.
///
/// Where it belongs to the system, the user's own settings are begun as well: the
/// first call copies those that are shipped.
///
/// # Errors
/// No such folder, or one that is named wrongly; settings that cannot be begun.
pub fn home() -> Result<PathBuf, PlaceError> {
    let variable = std::env::var_os(HOME_VARIABLE).filter(|v| !v.is_empty());
    let current = std::env::current_dir().unwrap_or_else(|_| PathBuf::from("."));
    let program = std::env::current_exe().and_then(|p| p.canonicalize()).ok();
    let home = find_home(variable.map(PathBuf::from), current, program.as_deref())?;
    if is_for_all(&home) {
        let settings = own_settings().ok_or(PlaceError::NoSettingsFolder)?;
        begin_settings(&home, &settings).map_err(|e| PlaceError::Settings {
            folder: settings,
            why: e.to_string(),
        })?;
    }
    Ok(home)
}

/// The folder of the settings files of a resources folder: `config/` in it, or the
/// user's own (`$XDG_CONFIG_HOME/kickplate`, `~/.config/kickplate`) where the
/// resources belong to the system.
pub fn settings_folder(home: &Path) -> PathBuf {
    let own = is_for_all(home).then(own_settings).flatten();
    own.unwrap_or_else(|| home.join("config"))
}

fn is_for_all(home: &Path) -> bool {
    home.join(FOR_ALL).is_file()
}

fn own_settings() -> Option<PathBuf> {
    let of = |name| std::env::var_os(name).map(PathBuf::from);
    xdg_folder(of("XDG_CONFIG_HOME"), of("HOME"), ".config")
}

/// Copies the shipped settings to where there are none yet: all of them, or none.
/// A file that the user deletes later stays deleted.
fn begin_settings(home: &Path, settings: &Path) -> io::Result<()> {
    if settings.exists() {
        return Ok(());
    }
    let above = settings.parent().unwrap_or(settings);
    private_folder(above)?;
    let new = above.join(format!(".kickplate-new-{}", std::process::id()));
    // A new one: it fails where there is one of this name.
    std::fs::DirBuilder::new().mode(0o700).create(&new)?;
    let copied = std::fs::read_dir(home.join("config")).and_then(|entries| {
        for entry in entries {
            let from = entry?.path();
            if let (Some("toml"), Some(name)) =
                (from.extension().and_then(|e| e.to_str()), from.file_name())
            {
                // Not `copy`: what is shipped may be read-only.
                std::fs::write(new.join(name), std::fs::read(&from)?)?;
            }
        }
        std::fs::rename(&new, settings)
    });
    if copied.is_err() {
        // The first fault is the one to report.
        let _ = std::fs::remove_dir_all(&new);
    }
    match copied {
        // Another start was faster.
        Err(_) if settings.is_dir() => Ok(()),
        other => other,
    }
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
    let above = || program.into_iter().flat_map(|p| p.ancestors().skip(1));
    std::iter::once(current.clone())
        .chain(above().map(Path::to_owned))
        // PREFIX/bin/kickplate
        .chain(above().nth(1).map(|prefix| prefix.join("share/kickplate")))
        .find(|folder| missing_room(folder).is_none())
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
    xdg_folder(xdg, home, ".local/share").ok_or(PlaceError::NoDataFolder)
}

/// Ours in the folder that a variable of the XDG base directory specification names,
/// or else in `usual` under the user's home. That specification says: a path that is
/// not absolute is to be ignored.
fn xdg_folder(xdg: Option<PathBuf>, home: Option<PathBuf>, usual: &str) -> Option<PathBuf> {
    let absolute = |path: Option<PathBuf>| path.filter(|p| p.is_absolute());
    let base = absolute(xdg).or_else(|| Some(absolute(home)?.join(usual)))?;
    Some(base.join("kickplate"))
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
    fn an_installed_program_finds_what_the_system_holds_for_it() {
        let dir = tempfile::tempdir().unwrap();
        let share = dir.path().join("usr/share/kickplate");
        furnished(&share);
        let program = dir.path().join("usr/bin/kickplate");
        let elsewhere = dir.path().join("home");
        assert_eq!(
            find_home(None, elsewhere, Some(&program)),
            Ok(share.clone())
        );
        // A person's own folder keeps its settings, whatever its name.
        assert_eq!(settings_folder(&share), share.join("config"));
        std::fs::write(share.join(FOR_ALL), "").unwrap();
        assert_ne!(settings_folder(&share), share.join("config"));
    }

    #[test]
    fn the_settings_of_a_user_begin_as_those_that_are_shipped_and_are_then_left_alone() {
        let dir = tempfile::tempdir().unwrap();
        let home = dir.path().join("share/kickplate");
        furnished(&home);
        for name in ["station.toml", "lane-side.toml", "REFERENCE.md"] {
            let file = home.join("config").join(name);
            std::fs::write(&file, name).unwrap();
            let mut mode = file.metadata().unwrap().permissions();
            mode.set_readonly(true);
            std::fs::set_permissions(&file, mode).unwrap();
        }
        let settings = dir.path().join("me/.config/kickplate");
        begin_settings(&home, &settings).unwrap();
        let names = || {
            let mut names: Vec<_> = std::fs::read_dir(&settings)
                .unwrap()
                .map(|e| e.unwrap().file_name().into_string().unwrap())
                .collect();
            names.sort();
            names
        };
        assert_eq!(names(), ["lane-side.toml", "station.toml"]);
        // The coach may write, and what the coach deletes stays deleted.
        std::fs::write(settings.join("station.toml"), "mine").unwrap();
        std::fs::remove_file(settings.join("lane-side.toml")).unwrap();
        begin_settings(&home, &settings).unwrap();
        assert_eq!(names(), ["station.toml"]);
        let text = std::fs::read_to_string(settings.join("station.toml")).unwrap();
        assert_eq!(text, "mine");
        // Nothing is left beside it.
        let beside = settings.parent().unwrap().read_dir().unwrap().count();
        assert_eq!(beside, 1);
    }

    #[test]
    fn settings_that_cannot_be_begun_leave_nothing_behind() {
        let dir = tempfile::tempdir().unwrap();
        let settings = dir.path().join(".config/kickplate");
        let nowhere = dir.path().join("nowhere");
        assert!(begin_settings(&nowhere, &settings).is_err());
        let left = dir.path().join(".config").read_dir().unwrap().count();
        assert_eq!(left, 0);
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
