//! Recognises a known camera: finds a setup that was made for another recording and fits this one.

use std::path::{Path, PathBuf};

use thiserror::Error;

use crate::files::{file_name, folder_of};
use crate::footage::{Clip, FrameSource};
use crate::model::channel::Channel;
use crate::readings;
use crate::setup::{LoadedSetup, glyph_sets};

/// Ending of the names of setup files.
pub const SETUP_ENDING: &str = ".setup.toml";

/// The folder of a clip cannot be searched for setup files.
#[derive(Debug, Error)]
#[error("{}: this folder cannot be searched for setup files: {source}", folder.display())]
pub struct FolderSearchError {
    folder: PathBuf,
    source: std::io::Error,
}

/// The first of several setups that has glyphs and [fits] the clip; `None` if there is none.
pub fn known_camera(clip: &mut Clip, setups: Vec<LoadedSetup>) -> Option<LoadedSetup> {
    setups.into_iter().filter(|setup| setup.glyph_folder().exists()).find(|setup| fits(clip, setup))
}

/// The setups in the folder of a clip, sorted by name. Files that are not valid setups are left out.
///
/// # Errors
/// If the folder cannot be read.
pub fn setups_beside(clip: &Path) -> Result<Vec<LoadedSetup>, FolderSearchError> {
    let folder = folder_of(clip);
    let entries = std::fs::read_dir(folder)
        .map_err(|source| FolderSearchError { folder: folder.to_owned(), source })?;
    let mut files: Vec<PathBuf> = entries
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| file_name(path).ends_with(SETUP_ENDING))
        .collect();
    files.sort();
    Ok(files.into_iter().filter_map(|file| LoadedSetup::load(&file).ok()).collect())
}

/// Whether a setup fits a recording: the frame size is the same, the overlay has not moved, and the glyphs of the
/// setup can read the speed in its box.
pub fn fits<S: FrameSource>(source: &mut S, setup: &LoadedSetup) -> bool {
    if setup.setup.camera.frame != (source.info().width, source.info().height) {
        return false;
    }
    let Ok(sets) = glyph_sets(setup) else { return false };
    let prepared = readings::prepare(source, &setup.setup, &sets);
    prepared.is_ok_and(|prepared| prepared.moved.is_none() && prepared.readable().contains(&&Channel::Speed))
}
