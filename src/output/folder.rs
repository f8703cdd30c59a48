//! The folder of results: the only place where result files are written.

use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use tempfile::NamedTempFile;
use thiserror::Error;

use crate::flight::Flight;

use super::{FORMATS, RenderError, Serializer};

/// Why results could not be written; each says what to do next.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum OutputError {
    /// There are results already and they were not to be replaced.
    #[error(
        "the folder {} already holds results ({}): give --force to replace them, or name another \
         folder with --out",
        folder.display(),
        files.join(", ")
    )]
    ResultsExist {
        /// The folder.
        folder: PathBuf,
        /// The result files found there.
        files: Vec<&'static str>,
    },
    /// Something that is not a folder has the folder's name.
    #[error("{} is not a folder: name another folder with --out", folder.display())]
    NotAFolder {
        /// The path meant as the folder.
        folder: PathBuf,
    },
    /// A folder has the name of a result file.
    #[error("{} is a folder, but the results need that name for a file: move it away or name another \
             folder with --out", path.display())]
    NameTaken {
        /// The path of the folder in the way.
        path: PathBuf,
    },
    /// The folder could not be created.
    #[error("cannot create the folder {}: {source}; name another folder with --out", folder.display())]
    Create {
        /// The folder.
        folder: PathBuf,
        /// The system's reason.
        source: io::Error,
    },
    /// A file could not be written.
    #[error(
        "cannot write {}: {source}; check the free space and your rights there, or name another folder \
         with --out",
        path.display()
    )]
    Write {
        /// The file.
        path: PathBuf,
        /// The system's reason.
        source: io::Error,
    },
    /// A result could not be put into its format.
    #[error("cannot make {file}: {source}; this is a fault of the program, please report it")]
    Render {
        /// The result file.
        file: &'static str,
        /// The reason.
        source: RenderError,
    },
}

/// Whether results that exist already may be replaced.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Existing {
    /// They stay; writing is refused.
    Keep,
    /// They are replaced.
    Replace,
}

/// A folder that was found fit to take the results. Dropped without [`ResultFolder::write`], it
/// removes the folders it had to create.
#[derive(Debug)]
pub struct ResultFolder {
    folder: PathBuf,
    existing: Existing,
    /// Folders created here and not yet holding results, the innermost first.
    created: Vec<PathBuf>,
}

/// Checks the folder and writes all results into it.
///
/// # Errors
/// As [`ResultFolder::prepare`] and [`ResultFolder::write`].
pub fn write_all(folder: &Path, flight: &Flight, existing: Existing) -> Result<Vec<PathBuf>, OutputError> {
    ResultFolder::prepare(folder, existing)?.write(flight)
}

impl ResultFolder {
    /// Creates the folder, parents included, and makes sure that results can be written there:
    /// to be called before the long reading starts.
    ///
    /// # Errors
    /// [`OutputError`] if results exist and are to be kept, if the name is taken by something
    /// else, or if the folder cannot be created or written to.
    pub fn prepare(folder: &Path, existing: Existing) -> Result<Self, OutputError> {
        if folder.exists() && !folder.is_dir() {
            return Err(OutputError::NotAFolder { folder: folder.to_owned() });
        }
        check_names(folder, existing)?;
        let created = missing_folders(folder);
        let this = Self { folder: folder.to_owned(), existing, created };
        std::fs::create_dir_all(folder)
            .map_err(|source| OutputError::Create { folder: folder.to_owned(), source })?;
        temporary(folder, "results").map(drop)?;
        Ok(this)
    }

    /// Writes every result and returns the paths, in a fixed order. All are first written in full
    /// under temporary names in the same folder and then renamed; should a rename fail, those
    /// already renamed are removed, so that results of two flights never stand side by side.
    ///
    /// # Errors
    /// [`OutputError`] if a result cannot be made or written, or if results appeared meanwhile
    /// and are to be kept.
    pub fn write(self, flight: &Flight) -> Result<Vec<PathBuf>, OutputError> {
        self.write_formats(&FORMATS, flight)
    }

    /// As [`ResultFolder::write`], for the formats given.
    pub(super) fn write_formats(
        mut self,
        formats: &[(&'static str, Serializer)],
        flight: &Flight,
    ) -> Result<Vec<PathBuf>, OutputError> {
        let mut waiting = Vec::with_capacity(formats.len());
        for (file, serializer) in formats {
            let bytes = serializer(flight).map_err(|source| OutputError::Render { file, source })?;
            waiting.push((self.folder.join(file), self.written_aside(file, &bytes)?));
        }
        check_names(&self.folder, self.existing)?;
        let written = rename_all(waiting)?;
        self.created.clear();
        Ok(written)
    }

    fn written_aside(&self, file: &'static str, bytes: &[u8]) -> Result<NamedTempFile, OutputError> {
        let mut aside = temporary(&self.folder, file)?;
        aside
            .write_all(bytes)
            .and_then(|()| aside.as_file().sync_all())
            .map_err(|source| OutputError::Write { path: self.folder.join(file), source })?;
        Ok(aside)
    }
}

impl Drop for ResultFolder {
    fn drop(&mut self) {
        for folder in &self.created {
            // A folder that something else was put into meanwhile is not empty and stays.
            let _ = std::fs::remove_dir(folder);
        }
    }
}

/// The folders that do not exist yet on the way to `folder`, the innermost first.
fn missing_folders(folder: &Path) -> Vec<PathBuf> {
    let missing = folder.ancestors().take_while(|part| !part.as_os_str().is_empty() && !part.exists());
    missing.map(Path::to_owned).collect()
}

fn check_names(folder: &Path, existing: Existing) -> Result<(), OutputError> {
    let names = FORMATS.map(|(name, _)| name);
    if let Some(taken) = names.iter().find(|name| folder.join(name).is_dir()) {
        return Err(OutputError::NameTaken { path: folder.join(taken) });
    }
    let files: Vec<_> = names.into_iter().filter(|name| folder.join(name).exists()).collect();
    if existing == Existing::Keep && !files.is_empty() {
        return Err(OutputError::ResultsExist { folder: folder.to_owned(), files });
    }
    Ok(())
}

/// A temporary file in the folder that removes itself, named after the file it stands in for.
fn temporary(folder: &Path, file: &str) -> Result<NamedTempFile, OutputError> {
    let prefix = format!(".{file}.");
    let mut builder = tempfile::Builder::new();
    builder.prefix(&prefix).suffix(".part");
    let permissions = readable_by_others();
    if let Some(permissions) = permissions {
        builder.permissions(permissions);
    }
    builder
        .tempfile_in(folder)
        .map_err(|source| OutputError::Write { path: folder.join(file), source: plain(source) })
}

/// Rights of an ordinary new file, which the user's mask then narrows; temporary files would
/// otherwise be private.
#[cfg(unix)]
fn readable_by_others() -> Option<std::fs::Permissions> {
    use std::os::unix::fs::PermissionsExt as _;
    Some(std::fs::Permissions::from_mode(0o666))
}

#[cfg(not(unix))]
fn readable_by_others() -> Option<std::fs::Permissions> {
    None
}

/// The system's reason without the temporary name that tempfile adds to it.
fn plain(error: io::Error) -> io::Error {
    error.raw_os_error().map_or_else(|| io::Error::from(error.kind()), io::Error::from_raw_os_error)
}

fn rename_all(waiting: Vec<(PathBuf, NamedTempFile)>) -> Result<Vec<PathBuf>, OutputError> {
    let mut written: Vec<PathBuf> = Vec::with_capacity(waiting.len());
    for (path, aside) in waiting {
        if let Err(error) = aside.persist(&path) {
            for done in &written {
                let _ = std::fs::remove_file(done);
            }
            return Err(OutputError::Write { path, source: error.error });
        }
        written.push(path);
    }
    Ok(written)
}
