//! The words a coach has spoken, as files: one for each sound, in the folder `voices`
//! of the recordings.

use std::fs::File;
use std::io::{self, ErrorKind, Read};
use std::path::{Path, PathBuf};

use super::SoundId;
use super::word::{WavFault, Word};
use crate::config::{private_folder, sync_folder_of, write_atomically};

/// The folder of the words, in the folder of the recordings.
pub const VOICES_FOLDER: &str = "voices";
/// No word comes near it, bytes: 2 s at 192 kHz, and room for what others write before it.
const LARGEST: u64 = 1 << 20;
/// A voice is personal: nobody but its owner reads it.
const FILE_MODE: u32 = 0o600;
/// More than that are not looked at: the folder is somebody else's.
const MOST_FILES: usize = 1_000;

/// Why a file of the folder is left out. The tone plays in its place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum LeftOut {
    /// The file is no word.
    NoWord(PathBuf, WavFault),
    /// It cannot be read. The system's words.
    Unreadable(PathBuf, String),
    /// No sound is called so.
    Unknown(PathBuf),
}

impl LeftOut {
    /// The file.
    pub fn file(&self) -> &Path {
        match self {
            LeftOut::NoWord(file, _) | LeftOut::Unreadable(file, _) | LeftOut::Unknown(file) => {
                file
            }
        }
    }
}

/// What there is in the folder.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Voices {
    /// The words.
    pub words: Vec<(SoundId, Word)>,
    /// What was left out.
    pub left_out: Vec<LeftOut>,
}

impl Voices {
    /// Reads the folder; one that is not there is empty.
    pub fn read(folder: &Path) -> Voices {
        let mut voices = Voices::default();
        let entries = match std::fs::read_dir(folder) {
            Ok(entries) => entries,
            Err(error) if error.kind() == ErrorKind::NotFound => return voices,
            Err(error) => {
                let left_out = LeftOut::Unreadable(folder.to_owned(), error.to_string());
                voices.left_out.push(left_out);
                return voices;
            }
        };
        let mut files: Vec<PathBuf> = entries
            .take(MOST_FILES)
            .flatten()
            .map(|entry| entry.path())
            // What a power cut left half written.
            .filter(|file| file.extension().is_some_and(|e| e == "wav"))
            .collect();
        files.sort();
        for file in files {
            let name = file.file_stem().unwrap_or_default();
            let Some(id) = SoundId::all().find(|id| *name == *id.name()) else {
                voices.left_out.push(LeftOut::Unknown(file));
                continue;
            };
            match read_file(&file).map(|bytes| Word::from_wav(&bytes)) {
                Ok(Ok(word)) => voices.words.push((id, word)),
                Ok(Err(fault)) => voices.left_out.push(LeftOut::NoWord(file, fault)),
                Err(error) => voices
                    .left_out
                    .push(LeftOut::Unreadable(file, error.to_string())),
            }
        }
        voices
    }
}

/// The file of a sound's word.
pub fn word_file(folder: &Path, id: SoundId) -> PathBuf {
    folder.join(format!("{}.wav", id.name()))
}

/// Writes a word, whole or not at all, for its owner alone.
///
/// # Errors
/// The folder or the file cannot be written.
pub fn keep_word(folder: &Path, id: SoundId, word: &Word) -> io::Result<()> {
    private_folder(folder)?;
    write_atomically(&word_file(folder, id), &word.to_wav(), FILE_MODE)
}

/// Deletes a word's file. One that is not there is fine.
///
/// # Errors
/// The file cannot be deleted.
pub fn delete_word(folder: &Path, id: SoundId) -> io::Result<()> {
    let file = word_file(folder, id);
    match std::fs::remove_file(&file) {
        Err(error) if error.kind() == ErrorKind::NotFound => Ok(()),
        other => other.and_then(|()| sync_folder_of(&file)),
    }
}

fn read_file(file: &Path) -> io::Result<Vec<u8>> {
    // Anything else could be waited for for ever.
    if !std::fs::metadata(file)?.is_file() {
        return Err(io::Error::other("not a plain file"));
    }
    let mut bytes = Vec::new();
    File::open(file)?
        .take(LARGEST + 1)
        .read_to_end(&mut bytes)?;
    if bytes.len() as u64 > LARGEST {
        return Err(io::Error::other("far too large"));
    }
    Ok(bytes)
}
