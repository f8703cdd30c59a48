//! The result folder: the only place where result files are written.

use std::ffi::OsString;
use std::io;
use std::path::{Path, PathBuf};

use thiserror::Error;

use crate::advice::{Advice, Advised};
use crate::files::{
    Busy, Existing, FileBatch, FileBatchError, FolderLock, OutputKind, WriteRefusal, WriteRules,
    write_error_in_words, write_whole,
};
use crate::flight::Flight;

use super::{FORMATS, RenderError, ResultFile, Serializer};

/// Why results could not be written. Each message says what to do next.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum OutputError {
    /// The folder already holds results, and the caller did not allow replacing them.
    #[error(
        "the folder {} already holds results ({})",
        folder.display(),
        files.join(", ")
    )]
    ResultsExist {
        /// Path of the result folder.
        folder: PathBuf,
        /// Names of the result files found in the folder.
        files: Vec<&'static str>,
    },
    /// A file has the name of the result folder.
    #[error("{} is not a folder", folder.display())]
    NotAFolder {
        /// Path of the file.
        folder: PathBuf,
    },
    /// A folder has the name of a result file.
    #[error("{} is a folder, but the results need that name for a file: move it away or name another \
             folder", path.display())]
    NameTaken {
        /// Path of the folder that has the name of a result file.
        path: PathBuf,
    },
    /// A result file must not be written to.
    #[error("the result cannot be written to {}: {refusal}", path.display())]
    Refused {
        /// Path of the result file.
        path: PathBuf,
        /// Why the file may not be written to.
        refusal: WriteRefusal,
    },
    /// The result folder could not be created.
    #[error("cannot create the folder {}: {source}", folder.display())]
    Create {
        /// Path of the result folder.
        folder: PathBuf,
        /// Error of the operating system.
        source: io::Error,
    },
    /// A result file could not be written.
    #[error(
        "cannot write {}: {source}; check the free space and that you may write there, or name another folder",
        path.display()
    )]
    Write {
        /// Path of the result file.
        path: PathBuf,
        /// Error of the operating system.
        source: io::Error,
    },
    /// Another run of the program writes to the folder.
    #[error("the folder {} is in use: {Busy}", folder.display())]
    InUse {
        /// Path of the result folder.
        folder: PathBuf,
    },
    /// The new results are complete, but not all of them could be moved to their places.
    #[error(
        "cannot write {}: {source}; the other new results are in {}: when that is fixed, give the same command again, which \
         moves them, or move them by hand",
        path.display(),
        kept.display()
    )]
    NotMoved {
        /// Path of the result file.
        path: PathBuf,
        /// Error of the operating system.
        source: io::Error,
        /// Path of the folder that holds the results that were not moved.
        kept: PathBuf,
    },
    /// A result could not be converted to the format of its file.
    #[error("cannot make {file}: {source}; this is a fault of the program, please report it")]
    Render {
        /// Name of the result file.
        file: &'static str,
        /// Reason of the failure.
        source: RenderError,
    },
}

impl Advised for OutputError {
    fn advice(&self) -> Option<Advice> {
        match self {
            Self::ResultsExist { .. } => Some(Advice::ReplaceOrOtherFolder),
            Self::NotAFolder { .. }
            | Self::NameTaken { .. }
            | Self::Refused { .. }
            | Self::InUse { .. }
            | Self::Create { .. }
            | Self::Write { .. } => Some(Advice::OtherFolder),
            _ => None,
        }
    }
}

/// A folder that was checked and can take the results. If it is dropped without a call of
/// [`ResultFolder::write`], it removes the folders that it created.
#[derive(Debug)]
pub struct ResultFolder {
    folder: PathBuf,
    rules: WriteRules,
    /// Lock on the folder, so that no other run writes there before this one has ended; `None` once the results are
    /// written.
    lock: Option<FolderLock>,
    /// Folders that were created and do not hold results yet, the innermost first.
    created: Vec<PathBuf>,
}

/// The default folder for the results of a flight: beside its first clip, and named after that clip.
#[must_use]
pub fn usual_folder(clips: &[PathBuf]) -> PathBuf {
    let first = clips.first().map_or(Path::new("flight"), PathBuf::as_path);
    first.with_file_name(usual_name(first))
}

/// Ending of the names of folders for results.
pub const RESULT_ENDING: &str = "-result";

/// Whether a folder holds a result.
#[must_use]
pub fn holds_results(folder: &Path) -> bool {
    FORMATS.iter().any(|(name, _)| folder.join(name).exists())
}

/// Completes or removes the files that a killed run left in a result folder and beside it. Does nothing if another run
/// is writing there, or if the folder cannot be written to.
pub fn recover_results(folder: &Path) {
    // Taking the lock recovers the files.
    drop(FolderLock::take(folder));
}

/// The default name of the folder for the results of a clip.
#[must_use]
pub fn usual_name(clip: &Path) -> OsString {
    let mut name = clip.file_stem().unwrap_or_default().to_owned();
    name.push(RESULT_ENDING);
    name
}

/// Checks the folder and writes all results into it.
///
/// # Errors
///
/// The errors of [`ResultFolder::prepare`] and [`ResultFolder::write`].
pub fn write_all(
    folder: &Path,
    flight: &Flight,
    rules: impl Into<WriteRules>,
) -> Result<Vec<PathBuf>, OutputError> {
    ResultFolder::prepare(folder, rules)?.write(flight)
}

/// Writes one result file, such as `legs.csv`, into an existing folder and returns its path. A file of that
/// name is replaced.
///
/// # Errors
///
/// [`OutputError`] if the result cannot be made or written.
pub fn write_one(folder: &Path, file: ResultFile, flight: &Flight) -> Result<PathBuf, OutputError> {
    let (name, serializer) = file.format();
    let mut bytes = Vec::new();
    serializer.write(flight, &mut bytes).map_err(|source| OutputError::Render { file: name, source })?;
    let path = folder.join(name);
    write_whole(&path, &bytes, Existing::Replace)
        .map_err(|source| OutputError::Write { path: path.clone(), source })?;
    Ok(path)
}

impl ResultFolder {
    /// Creates the folder, including its parents, and locks it, so that no other run writes results there. Call it
    /// before the clips are read, which takes long.
    ///
    /// # Errors
    ///
    /// [`OutputError`] if results exist and must not be replaced, if a file has the name of the folder, if a folder has
    /// the name of a result file, if the folder cannot be created or written to, or if another run is writing to it.
    pub fn prepare(folder: &Path, rules: impl Into<WriteRules>) -> Result<Self, OutputError> {
        let rules = rules.into();
        if folder.exists() && !folder.is_dir() {
            return Err(OutputError::NotAFolder { folder: folder.to_owned() });
        }
        check_names(folder, &rules)?;
        let created = missing_folders(folder);
        let mut this = Self { folder: folder.to_owned(), rules, lock: None, created };
        std::fs::create_dir_all(folder).map_err(|source| OutputError::Create {
            folder: folder.to_owned(),
            source: write_error_in_words(source),
        })?;
        this.lock = Some(FolderLock::take(folder).map_err(|error| not_locked(folder, error))?);
        check_names(folder, &this.rules)?;
        Ok(this)
    }

    /// Writes every result and returns the paths, in a fixed order. All files are first written in full to a temporary
    /// folder, which then replaces the result folder in one step. Where the system cannot do that, the files are moved
    /// one by one; if the program is killed meanwhile, its next run moves the rest. A folder therefore never keeps
    /// results of two flights.
    ///
    /// # Errors
    ///
    /// [`OutputError`] if a result cannot be made or written, or if results have appeared in the meantime and must not
    /// be replaced.
    pub fn write(self, flight: &Flight) -> Result<Vec<PathBuf>, OutputError> {
        self.write_formats(&FORMATS, flight)
    }

    /// Writes the results in the given formats, in the same way as [`ResultFolder::write`].
    pub(super) fn write_formats(
        mut self,
        formats: &[(&'static str, Serializer)],
        flight: &Flight,
    ) -> Result<Vec<PathBuf>, OutputError> {
        let mut files = match self.lock.take() {
            Some(lock) => FileBatch::in_locked(lock)?,
            None => FileBatch::create(&self.folder)?,
        };
        let names: Vec<&str> = formats.iter().map(|(file, _)| *file).collect();
        files.add_all(&names, |number, out| {
            let (file, serializer) = formats[number];
            serializer.write(flight, out).map_err(|source| OutputError::Render { file, source })
        })??;
        check_names(&self.folder, &self.rules)?;
        let written = files.commit(&self.rules)?;
        self.created.clear();
        Ok(written)
    }
}

impl From<FileBatchError> for OutputError {
    fn from(FileBatchError { path, source, kept }: FileBatchError) -> Self {
        match kept {
            Some(kept) => Self::NotMoved { path, source, kept },
            None => Self::Write { path, source },
        }
    }
}

impl Drop for ResultFolder {
    fn drop(&mut self) {
        drop(self.lock.take());
        for folder in &self.created {
            // A folder is not removed if something else was put into it in the meantime.
            let _ = std::fs::remove_dir(folder);
        }
    }
}

fn not_locked(folder: &Path, error: io::Error) -> OutputError {
    if error.get_ref().is_some_and(|inner| inner.is::<Busy>()) {
        return OutputError::InUse { folder: folder.to_owned() };
    }
    OutputError::Write { path: folder.to_owned(), source: write_error_in_words(error) }
}

/// The folders in the path `folder` that do not exist yet, the innermost first.
fn missing_folders(folder: &Path) -> Vec<PathBuf> {
    let missing = folder.ancestors().take_while(|part| !part.as_os_str().is_empty() && !part.exists());
    missing.map(Path::to_owned).collect()
}

fn check_names(folder: &Path, rules: &WriteRules) -> Result<(), OutputError> {
    let names = FORMATS.map(|(name, _)| name);
    if let Some(taken) = names.iter().find(|name| folder.join(name).is_dir()) {
        return Err(OutputError::NameTaken { path: folder.join(taken) });
    }
    let files: Vec<_> = names.into_iter().filter(|name| folder.join(name).exists()).collect();
    for path in files.iter().map(|name| folder.join(name)) {
        let refused = rules.with_existing(Existing::Replace).check(&path, OutputKind::Document);
        refused.map_err(|refusal| OutputError::Refused { path, refusal })?;
    }
    if rules.existing() != Existing::Replace && !files.is_empty() {
        return Err(OutputError::ResultsExist { folder: folder.to_owned(), files });
    }
    Ok(())
}
