//! What a user has to change: words of the command line, and files they name.

use std::path::Path;

use crate::config::View;
use crate::rules::AgeGroup;

/// What the user gave has to be changed: a word on the command line, or what
/// it names. Ends the program with exit code 2.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct UsageError(pub String);

/// A file the user named has to be there.
///
/// # Errors
/// One sentence that names it.
pub fn is_there(path: &Path) -> Result<(), UsageError> {
    if path.exists() {
        return Ok(());
    }
    Err(UsageError(format!(
        "there is no file '{}': check the spelling of the path",
        path.display()
    )))
}

/// An age group by its name.
pub(super) fn age_group(word: &str) -> Result<AgeGroup, String> {
    AgeGroup::from_name(word).ok_or_else(|| {
        format!(
            "it must be one of: {}",
            AgeGroup::ALL.map(AgeGroup::name).join(", ")
        )
    })
}

/// A view by its name.
pub(super) fn view(word: &str) -> Result<View, String> {
    View::from_name(word).ok_or_else(|| {
        format!(
            "it must be one of: {}",
            View::ALL.map(View::name).join(", ")
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_that_is_not_there_is_named() {
        assert_eq!(is_there(Path::new(env!("CARGO_MANIFEST_DIR"))), Ok(()));
        assert_eq!(
            is_there(Path::new("no/clip.mp4")).unwrap_err().to_string(),
            "there is no file 'no/clip.mp4': check the spelling of the path"
        );
    }
}
