//! State that is kept between sessions: unsaved edits next to their clip, known cameras, and choices.
//!
//! ```text
//! flight.regions.draft.toml                  unsaved edits, next to flight.avi
//! <user's data>/pairspeed/drafts/            unsaved edits, if the clip's folder cannot be written to
//! <user's data>/pairspeed/cameras/NAME/      camera.setup.toml and camera-glyphs/ of the camera called NAME
//! <user's data>/pairspeed/view.toml          theme and text size of the window
//! ```

use std::fs;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use etcetera::BaseStrategy as _;
use serde::Serialize;
use serde::de::DeserializeOwned;
use thiserror::Error;

use pairspeed::files::{Existing, FileBatch, FileBatchError, read_text, write_whole};
use pairspeed::setup::{LoadedSetup, SetupError};

/// Name of the setup file in the folder of a remembered camera.
const CAMERA_FILE: &str = "camera.setup.toml";
/// Maximum number of remembered cameras with the same frame size that are tried, the latest first (set by judgement).
const MAX_CAMERAS: usize = 6;
/// Maximum size of a file that is read, in bytes. Files of unsaved edits and images of glyphs are far smaller (set by
/// judgement).
const LIMIT_BYTES: u64 = 8 << 20;

/// The reason why something could not be written to the store.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum StoreError {
    /// A file or folder cannot be written.
    #[error("cannot save {}: {reason}; check the free space and that you may write there", path.display())]
    Unwritable {
        /// Path of the file or folder.
        path: PathBuf,
        /// Reason of the failure.
        reason: String,
    },
    /// The setup of a camera cannot be read or written.
    #[error(transparent)]
    Setup(#[from] SetupError),
}

impl StoreError {
    fn of(path: &Path) -> impl FnOnce(std::io::Error) -> Self + use<> {
        let path = path.to_owned();
        move |error| Self::Unwritable { path, reason: error.to_string() }
    }
}

/// The folder in which state is kept between sessions.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Store {
    /// The program's folder in the user's data folder; `None` if the operating system has no such folder, so
    /// that cameras are not remembered.
    folder: Option<PathBuf>,
}

impl Store {
    /// The store in the user's data folder.
    #[must_use]
    pub fn of_user() -> Self {
        let folder = etcetera::choose_base_strategy().ok().map(|base| base.data_dir().join("pairspeed"));
        Self { folder }
    }

    /// A store in the given folder.
    #[must_use]
    pub fn in_folder(folder: &Path) -> Self {
        Self { folder: Some(folder.to_owned()) }
    }

    /// Keeps unsaved edits for a clip; `kind` names what is edited, such as `regions`.
    ///
    /// # Errors
    ///
    /// [`StoreError`] if neither the clip's folder nor the user's folder can be written to.
    pub fn keep<T: Serialize>(&self, clip: &Path, kind: &str, draft: &T) -> Result<(), StoreError> {
        let text = text_of(draft, &beside(clip, kind))?;
        let first = write_whole(&beside(clip, kind), text.as_bytes(), Existing::Replace);
        let Err(error) = first else { return Ok(()) };
        let Some(path) = self.fallback_path(clip, kind) else {
            return Err(StoreError::of(&beside(clip, kind))(error));
        };
        write_in_folder(&path, &text)
    }

    /// The unsaved edits of a kind that were kept for a clip; `None` if there are none, or if they cannot be
    /// read.
    #[must_use]
    pub fn kept<T: DeserializeOwned>(&self, clip: &Path, kind: &str) -> Option<T> {
        let places = [Some(beside(clip, kind)), self.fallback_path(clip, kind)];
        places.into_iter().flatten().find_map(|path| read(&path))
    }

    /// Removes the unsaved edits of a kind that were kept for a clip, because they were saved or are not
    /// wanted.
    pub fn forget(&self, clip: &Path, kind: &str) {
        for path in [Some(beside(clip, kind)), self.fallback_path(clip, kind)].into_iter().flatten() {
            // Usually there is no such file, so an error is ignored.
            let _absent = fs::remove_file(path);
        }
    }

    /// Keeps a choice that applies to every recording, such as `view`. Without a user's folder it is not
    /// kept.
    ///
    /// # Errors
    ///
    /// [`StoreError`] if the user's folder cannot be written to.
    pub fn keep_choice<T: Serialize>(&self, name: &str, choice: &T) -> Result<(), StoreError> {
        let Some(path) = self.choice(name) else { return Ok(()) };
        write_in_folder(&path, &text_of(choice, &path)?)
    }

    /// A choice that was kept; `None` if there is none, or if it cannot be read.
    #[must_use]
    pub fn kept_choice<T: DeserializeOwned>(&self, name: &str) -> Option<T> {
        read(&self.choice(name)?)
    }

    fn choice(&self, name: &str) -> Option<PathBuf> {
        Some(self.folder.as_ref()?.join(format!("{name}.toml")))
    }

    /// Path at which unsaved edits are kept if the clip's folder cannot be written to; `None` without a user's folder.
    fn fallback_path(&self, clip: &Path, kind: &str) -> Option<PathBuf> {
        let mut hasher = DefaultHasher::new();
        std::path::absolute(clip).unwrap_or_else(|_| clip.to_owned()).hash(&mut hasher);
        let stem = clip.file_stem().unwrap_or_default().to_string_lossy();
        let name = format!("{stem}-{:08x}.{kind}.draft.toml", hasher.finish() as u32);
        Some(self.folder.as_ref()?.join("drafts").join(name))
    }

    /// Setups of the remembered cameras with this frame width and height, the latest first, at most `MAX_CAMERAS`.
    #[must_use]
    pub fn cameras(&self, frame: (u32, u32)) -> Vec<LoadedSetup> {
        let Some(folder) = self.folder.as_ref().map(|folder| folder.join("cameras")) else {
            return Vec::new();
        };
        let entries = fs::read_dir(folder).into_iter().flatten().flatten();
        let mut found: Vec<(SystemTime, LoadedSetup)> = entries
            .filter_map(|entry| {
                let setup = LoadedSetup::load(&entry.path().join(CAMERA_FILE)).ok()?;
                let used = fs::metadata(&setup.path).and_then(|found| found.modified()).ok()?;
                (setup.setup.camera.frame == frame).then_some((used, setup))
            })
            .collect();
        found.sort_by_key(|(used, _)| std::cmp::Reverse(*used));
        found.into_iter().take(MAX_CAMERAS).map(|(_, setup)| setup).collect()
    }

    /// Remembers the setup of a camera and its glyphs for other recordings. A remembered camera of the same name is
    /// replaced.
    ///
    /// # Errors
    ///
    /// [`StoreError`] if the user's folder cannot be written to.
    pub fn remember(&self, setup: &LoadedSetup) -> Result<(), StoreError> {
        let Some(folder) = &self.folder else { return Ok(()) };
        let folder = folder.join("cameras").join(file_name_of(&setup.setup.camera.name));
        copy_setup(setup, &folder.join(CAMERA_FILE), Existing::Replace).map(drop)
    }
}

/// Copies a setup with its glyphs to the path `to`; the copy does not depend on the original.
///
/// # Errors
///
/// [`StoreError`] if a file cannot be read or written; with [`Existing::Keep`] also if a setup exists there
/// already.
pub fn copy_setup(setup: &LoadedSetup, to: &Path, existing: Existing) -> Result<LoadedSetup, StoreError> {
    let folder = to.parent().unwrap_or(Path::new("."));
    fs::create_dir_all(folder).map_err(StoreError::of(folder))?;
    let mut copy = LoadedSetup { path: to.to_owned(), ..setup.clone() };
    copy.setup.camera.glyphs = None;
    copy.setup.save(to, existing)?;
    let (from, to) = (setup.glyph_folder(), copy.glyph_folder());
    if from.is_dir() && from != to {
        copy_files(&from, &to)?;
    }
    Ok(copy)
}

/// Copies the files of a folder of at most [`LIMIT_BYTES`] each; if one cannot be copied, none is.
fn copy_files(from: &Path, to: &Path) -> Result<(), StoreError> {
    fs::create_dir_all(to).map_err(StoreError::of(to))?;
    let unwritable =
        |error: FileBatchError| StoreError::Unwritable { path: error.path, reason: error.source.to_string() };
    let mut files = FileBatch::create(to).map_err(unwritable)?;
    for entry in fs::read_dir(from).map_err(StoreError::of(from))? {
        let path = entry.map_err(StoreError::of(from))?.path();
        let small = fs::metadata(&path).is_ok_and(|found| found.is_file() && found.len() <= LIMIT_BYTES);
        if let (true, Some(name)) = (small, path.file_name().and_then(|name| name.to_str())) {
            files.add(name, &fs::read(&path).map_err(StoreError::of(&path))?).map_err(unwritable)?;
        }
    }
    files.commit(Existing::Replace).map(drop).map_err(unwritable)
}

/// The content of a TOML file; `None` if there is no file, or if it cannot be read.
fn read<T: DeserializeOwned>(path: &Path) -> Option<T> {
    toml::from_str(&read_text(path, LIMIT_BYTES).ok()?).ok()
}

/// The text of a TOML file; `path` is only used in the error.
fn text_of<T: Serialize>(kept: &T, path: &Path) -> Result<String, StoreError> {
    toml::to_string(kept)
        .map_err(|error| StoreError::Unwritable { path: path.to_owned(), reason: error.to_string() })
}

/// Writes a file, and creates its folder if necessary.
fn write_in_folder(path: &Path, text: &str) -> Result<(), StoreError> {
    let folder = path.parent().unwrap_or(Path::new("."));
    fs::create_dir_all(folder).map_err(StoreError::of(folder))?;
    write_whole(path, text.as_bytes(), Existing::Replace).map_err(StoreError::of(path))
}

fn beside(clip: &Path, kind: &str) -> PathBuf {
    clip.with_extension(format!("{kind}.draft.toml"))
}

/// The camera name `name` as a folder name that every operating system accepts.
fn file_name_of(name: &str) -> String {
    let plain = |letter: char| if letter.is_alphanumeric() { letter } else { '-' };
    let plain: String = name.trim().to_lowercase().chars().map(plain).take(60).collect();
    if plain.is_empty() { "camera".to_owned() } else { plain }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use pairspeed::geometry::PixelRect;
    use pairspeed::model::channel::Channel;
    use pairspeed::setup::{Camera, Region, Setup};

    fn setup_in(folder: &Path, name: &str) -> LoadedSetup {
        let rect = PixelRect { left: 10, top: 10, width: 60, height: 20 };
        let camera = Camera { name: name.to_owned(), frame: (640, 480), glyphs: None };
        let regions = vec![Region::new(Channel::Speed, rect, None)];
        let setup = Setup { camera, aircraft: None, regions };
        let path = folder.join("flight.setup.toml");
        setup.save(&path, Existing::Replace).unwrap();
        LoadedSetup { setup, path }
    }

    #[test]
    fn a_camera_is_remembered_with_its_glyphs_and_found_by_its_frame_size() {
        let (card, home) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        let store = Store::in_folder(home.path());
        let setup = setup_in(card.path(), "Nose: 4/3");
        fs::create_dir(setup.glyph_folder()).unwrap();
        fs::write(setup.glyph_folder().join("glyphs.toml"), "shapes").unwrap();
        store.remember(&setup).unwrap();
        assert!(store.cameras((720, 576)).is_empty());
        let found = store.cameras((640, 480));
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].setup, setup.setup);
        assert_eq!(fs::read_to_string(found[0].glyph_folder().join("glyphs.toml")).unwrap(), "shapes");
    }

    #[test]
    fn a_draft_is_kept_beside_its_clip_until_it_is_forgotten() {
        let (card, home) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        let (store, clip) = (Store::in_folder(home.path()), card.path().join("flight.avi"));
        let draft = setup_in(card.path(), "nose").setup;
        assert_eq!(store.kept::<Setup>(&clip, "regions"), None);
        store.keep(&clip, "regions", &draft).unwrap();
        assert!(card.path().join("flight.regions.draft.toml").exists());
        assert_eq!(store.kept(&clip, "regions"), Some(draft));
        store.forget(&clip, "regions");
        assert_eq!(store.kept::<Setup>(&clip, "regions"), None);
    }

    #[test]
    fn a_draft_goes_to_the_users_folder_if_the_clips_folder_is_read_only() {
        let home = tempfile::tempdir().unwrap();
        let (store, clip) = (Store::in_folder(home.path()), home.path().join("absent").join("flight.avi"));
        let draft = setup_in(home.path(), "nose").setup;
        store.keep(&clip, "regions", &draft).unwrap();
        assert_eq!(store.kept(&clip, "regions"), Some(draft));
    }
}
