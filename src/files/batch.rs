//! Files that are written into a folder together or not at all.
//!
//! The new files are first written to a temporary folder beside the target folder; hard links to all other files of the
//! target folder are added. Then the two folders exchange their names in one step, and the previous folder is removed.
//! Where that is not possible, the temporary folder is moved into the target folder as [`COMMIT`]: from then on the new
//! files are complete, and if the run is killed before all are moved to their targets, the next run that locks the
//! folder moves the rest.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use rayon::prelude::*;
use thiserror::Error;

use super::disk::Disk;
use super::error_keeper::fill;
use super::folder_lock::FolderLock;
use super::leftovers::{
    COMMIT, STAGE, entries, is_file, is_temporary, move_back, move_committed, remove_folder, temporary_beside,
};
use super::write_error_in_words;
use super::write_rules::{OutputKind, WriteRules, are_same, have_same_owner};

/// Why a batch of files could not be written. The folder is unchanged if `kept` is `None`.
#[derive(Debug, Error)]
#[error("cannot write {}: {source}", path.display())]
pub struct FileBatchError {
    /// Path of the file that could not be written.
    pub path: PathBuf,
    /// The operating system's error.
    pub source: io::Error,
    /// The folder with those complete new files that could not be moved to their targets; `None` if the target folder
    /// is unchanged.
    pub kept: Option<PathBuf>,
}

/// A batch of files that are written into a folder together or not at all. Each is written to a temporary folder when it
/// is added. [`FileBatch::commit`] moves all of them to their targets.
#[derive(Debug)]
pub struct FileBatch {
    lock: FolderLock,
    stage: PathBuf,
    names: Vec<String>,
}

impl FileBatch {
    /// An empty batch for a folder.
    ///
    /// # Errors
    /// [`FileBatchError`] if files cannot be created in the folder, or if another run writes there.
    pub fn create(folder: &Path) -> Result<Self, FileBatchError> {
        FolderLock::take(folder)
            .map_err(|source| FileBatchError::at(folder, source))
            .and_then(Self::in_locked)
    }

    /// An empty batch for a locked folder.
    ///
    /// # Errors
    /// [`FileBatchError`] if files cannot be created in the folder.
    pub fn in_locked(lock: FolderLock) -> Result<Self, FileBatchError> {
        let (folder, disk) = (lock.folder(), lock.disk());
        let beside = fs::canonicalize(folder).ok().and_then(|folder| temporary_beside(&folder));
        let stage = match beside.filter(|beside| disk.create_folder(beside).is_ok()) {
            Some(beside) => beside,
            None => {
                let within = folder.join(STAGE);
                disk.create_folder(&within).map_err(|source| FileBatchError::at(folder, source))?;
                within
            }
        };
        Ok(Self { lock, stage, names: Vec::new() })
    }

    /// Writes one file to the temporary folder.
    ///
    /// # Errors
    ///
    /// [`FileBatchError`] if the file cannot be written completely.
    pub fn add(&mut self, name: &str, bytes: &[u8]) -> Result<(), FileBatchError> {
        let answer = self.add_all(&[name], |_, out| out.write_all(bytes))?;
        answer.map_err(|source| FileBatchError::at(&self.target(name), source))
    }

    /// Writes several files to the temporary folder, on all cores. `write` receives the index of a name and writes that
    /// file's content. The inner result is the first error of `write`, in the order of the names.
    ///
    /// # Errors
    ///
    /// [`FileBatchError`] if one of the files cannot be written completely.
    pub fn add_all<E: Send>(
        &mut self,
        names: &[&str],
        write: impl Fn(usize, &mut dyn io::Write) -> Result<(), E> + Sync,
    ) -> Result<Result<(), E>, FileBatchError> {
        let aside = |(number, name): (usize, &&str)| {
            let file = self.lock.disk().create_file(&self.stage.join(name));
            file.and_then(|file| fill(file, |out| write(number, out)))
                .map_err(|source| FileBatchError::at(&self.target(name), source))
        };
        let answers: Vec<_> = names.par_iter().with_max_len(1).enumerate().map(aside).collect();
        for (name, answer) in names.iter().zip(answers) {
            match answer? {
                Ok(()) => self.names.push((*name).to_owned()),
                failure => return Ok(failure),
            }
        }
        Ok(Ok(()))
    }

    /// Moves all files to their targets and returns their paths in the order in which they were added.
    ///
    /// # Errors
    ///
    /// [`FileBatchError`] if a file cannot be moved, or if the rules forbid writing one; in the latter case nothing is
    /// moved.
    pub fn commit(self, rules: impl Into<WriteRules>) -> Result<Vec<PathBuf>, FileBatchError> {
        let rules = rules.into();
        let targets: Vec<PathBuf> = self.names.iter().map(|name| self.target(name)).collect();
        for path in &targets {
            let allowed = rules.check(path, OutputKind::Document);
            allowed.map_err(|refusal| FileBatchError::at(path, refusal.into()))?;
        }
        let exchanged = self.exchange().map_err(|source| FileBatchError::at(self.lock.folder(), source))?;
        if !exchanged {
            self.move_each()?;
        }
        self.remove_old_temporary();
        Ok(targets)
    }

    fn target(&self, name: &str) -> PathBuf {
        self.lock.folder().join(name)
    }

    fn disk(&self) -> &Disk {
        self.lock.disk()
    }

    /// Exchanges the temporary folder and the target folder. Returns `false`, with nothing changed, if that is not
    /// possible.
    fn exchange(&self) -> io::Result<bool> {
        if !Disk::EXCHANGES {
            return Ok(false);
        }
        let folder = fs::canonicalize(self.lock.folder())?;
        // A process whose current folder is the target would stay in the previous folder.
        let is_current =
            std::env::current_dir().and_then(fs::canonicalize).is_ok_and(|current| current == folder);
        if is_current || self.stage.parent() != folder.parent() || !have_same_owner(&self.stage, &folder) {
            return Ok(false);
        }
        let linked = fs::metadata(&folder)
            .and_then(|found| self.disk().set_permissions(&self.stage, found.permissions()))
            .and_then(|()| self.link_others(&folder))
            .and_then(|()| self.disk().exchange(&self.stage, &folder));
        if linked.is_err() {
            self.unlink_others()?;
            return Ok(false);
        }
        if let Some(parent) = folder.parent() {
            self.disk().sync_folder(parent);
        }
        self.keep_late(&folder);
        move_back(&self.stage, &folder, self.disk());
        remove_folder(&self.stage, self.disk());
        Ok(true)
    }

    /// The files of a folder that do not belong to the batch.
    fn others(&self, folder: &Path) -> impl Iterator<Item = fs::DirEntry> {
        let is_other =
            |entry: &fs::DirEntry| !self.names.iter().any(|name| entry.file_name() == name.as_str());
        entries(folder).filter(is_file).filter(is_other)
    }

    fn link_others(&self, folder: &Path) -> io::Result<()> {
        let link =
            |entry: fs::DirEntry| self.disk().hard_link(&entry.path(), &self.stage.join(entry.file_name()));
        self.others(folder).try_for_each(link)
    }

    fn unlink_others(&self) -> io::Result<()> {
        self.others(&self.stage).try_for_each(|entry| self.disk().remove_file(&entry.path()))
    }

    /// Saves files that were written to the previous folder after the hard links to its files were made: moves them to
    /// the new folder.
    fn keep_late(&self, folder: &Path) {
        for entry in self.others(&self.stage) {
            let present = folder.join(entry.file_name());
            if !are_same(&entry.path(), &present) {
                let _stays = self.disk().rename(&entry.path(), &present);
            }
        }
    }

    /// Moves the new files one by one. If this run of the program is killed, the next run continues.
    fn move_each(&self) -> Result<(), FileBatchError> {
        let folder = self.lock.folder();
        let commit = folder.join(COMMIT);
        self.disk().rename(&self.stage, &commit).map_err(|source| FileBatchError::at(folder, source))?;
        self.disk().sync_folder(folder);
        move_committed(folder, self.disk()).map_err(|(path, source)| FileBatchError {
            kept: Some(commit),
            ..FileBatchError::at(&path, source)
        })
    }

    /// Removes temporary folders that earlier versions of the program left in the folder. Call this only after the new
    /// files are in place: until then the temporary folders may hold the only copy of the previous files.
    fn remove_old_temporary(&self) {
        for entry in entries(self.lock.folder()).filter(is_temporary) {
            remove_folder(&entry.path(), self.disk());
        }
    }
}

impl Drop for FileBatch {
    fn drop(&mut self) {
        remove_folder(&self.stage, self.lock.disk());
    }
}

impl FileBatchError {
    fn at(path: &Path, source: io::Error) -> Self {
        Self { path: path.to_owned(), source: write_error_in_words(source), kept: None }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use std::sync::atomic::Ordering::SeqCst;

    use super::super::disk::failing;
    use super::super::write_rules::Existing;
    use super::*;

    const NAMES: [&str; 3] = ["a.txt", "b.txt", "c.txt"];

    fn names_in(folder: &Path) -> Vec<String> {
        let mut names: Vec<String> =
            entries(folder).map(|entry| entry.file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }

    fn put_on(
        folder: &Path,
        text: &str,
        existing: Existing,
        disk: Disk,
    ) -> Result<Vec<PathBuf>, FileBatchError> {
        let lock = FolderLock::take_on(folder, disk).map_err(|source| FileBatchError::at(folder, source))?;
        let mut files = FileBatch::in_locked(lock)?;
        for name in NAMES {
            files.add(name, format!("{text} {name}").as_bytes())?;
        }
        files.commit(existing)
    }

    fn put(folder: &Path, text: &str, existing: Existing) -> Result<Vec<PathBuf>, FileBatchError> {
        put_on(folder, text, existing, Disk::default())
    }

    /// The word that all three files begin with; fails if they differ or if one is missing.
    fn text_of(folder: &Path) -> String {
        let texts = NAMES.map(|name| fs::read_to_string(folder.join(name)).unwrap());
        let word = texts[0].split(' ').next().unwrap().to_owned();
        for (name, text) in NAMES.iter().zip(&texts) {
            assert_eq!(*text, format!("{word} {name}"));
        }
        word
    }

    /// A folder with three files of a batch, a note and a subfolder of the pilot.
    fn filled(home: &Path) -> PathBuf {
        let folder = home.join("result");
        fs::create_dir(&folder).unwrap();
        put(&folder, "old", Existing::Keep).unwrap();
        fs::write(folder.join("note.txt"), "mine").unwrap();
        fs::create_dir(folder.join("photos")).unwrap();
        fs::write(folder.join("photos/one.jpg"), "mine").unwrap();
        folder
    }

    fn assert_tidy(home: &Path, folder: &Path) {
        assert_eq!(names_in(home), ["result"]);
        assert_eq!(names_in(folder), ["a.txt", "b.txt", "c.txt", "note.txt", "photos"]);
        assert_eq!(fs::read_to_string(folder.join("note.txt")).unwrap(), "mine");
        assert_eq!(fs::read_to_string(folder.join("photos/one.jpg")).unwrap(), "mine");
    }

    #[test]
    fn files_that_belong_together_are_replaced_together_and_others_stay() {
        for no_exchange in [false, true] {
            let home = tempfile::tempdir().unwrap();
            let folder = filled(home.path());
            let (disk, _) = failing(usize::MAX, no_exchange);
            let written = put_on(&folder, "new", Existing::Replace, disk).unwrap();
            assert_eq!(written, NAMES.map(|name| folder.join(name)));
            assert_eq!(text_of(&folder), "new");
            assert_tidy(home.path(), &folder);
        }
    }

    /// Replaces files with a kill after each change to the disk. `check` sees the folder after every kill.
    fn with_every_kill(no_exchange: bool, check: impl Fn(&Path)) {
        let mut seen = Vec::new();
        for changes in 0.. {
            let home = tempfile::tempdir().unwrap();
            let folder = filled(home.path());
            let (disk, left) = failing(changes, no_exchange);
            // After the exchange the result is complete even if the cleanup is interrupted.
            let _outcome = put_on(&folder, "new", Existing::Replace, disk);
            check(&folder);
            drop(FolderLock::take(&folder).unwrap());
            seen.push(text_of(&folder));
            assert_tidy(home.path(), &folder);
            if left.load(SeqCst) > 0 {
                break;
            }
        }
        seen.dedup();
        assert_eq!(seen, ["old", "new"]);
    }

    #[cfg(any(target_os = "linux", target_os = "macos"))]
    #[test]
    fn a_kill_at_any_change_leaves_the_old_or_the_new_files_complete() {
        with_every_kill(false, |folder| {
            text_of(folder);
            assert_eq!(fs::read_to_string(folder.join("note.txt")).unwrap(), "mine");
        });
    }

    #[test]
    fn without_an_exchange_the_next_run_completes_what_a_kill_interrupted() {
        with_every_kill(true, |_| {});
    }

    #[test]
    fn a_second_writer_is_refused_and_the_first_loses_nothing() {
        let home = tempfile::tempdir().unwrap();
        let folder = filled(home.path());
        let mut first = FileBatch::create(&folder).unwrap();
        let message = put(&folder, "second", Existing::Replace).unwrap_err().to_string();
        assert!(message.contains("another run of this program is writing there"), "{message}");
        for name in NAMES {
            first.add(name, format!("first {name}").as_bytes()).unwrap();
        }
        first.commit(Existing::Replace).unwrap();
        assert_eq!(text_of(&folder), "first");
        put(&folder, "second", Existing::Replace).unwrap();
        assert_eq!(text_of(&folder), "second");
        assert_tidy(home.path(), &folder);
    }

    #[test]
    fn a_folder_that_has_the_name_of_a_file_stops_the_batch_before_anything_is_moved() {
        let home = tempfile::tempdir().unwrap();
        let folder = filled(home.path());
        fs::remove_file(folder.join("b.txt")).unwrap();
        fs::create_dir(folder.join("b.txt")).unwrap();
        fs::write(folder.join("b.txt/within"), "kept").unwrap();
        let error = put(&folder, "new", Existing::Replace).unwrap_err();
        assert!(error.path.ends_with("b.txt") && error.kept.is_none(), "{error:?}");
        for (name, text) in [("a.txt", "old a.txt"), ("b.txt/within", "kept"), ("c.txt", "old c.txt")] {
            assert_eq!(fs::read_to_string(folder.join(name)).unwrap(), text);
        }
        assert_tidy(home.path(), &folder);
    }

    #[test]
    fn a_file_that_appeared_meanwhile_is_kept_and_none_is_added() {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("c.txt"), "mine").unwrap();
        let error = put(folder.path(), "new", Existing::Keep).unwrap_err();
        assert_eq!(error.source.kind(), io::ErrorKind::AlreadyExists);
        assert_eq!(names_in(folder.path()), ["c.txt"]);
        assert_eq!(fs::read_to_string(folder.path().join("c.txt")).unwrap(), "mine");
    }

    #[test]
    fn new_files_that_cannot_be_moved_are_named_and_moved_by_the_next_run() {
        let home = tempfile::tempdir().unwrap();
        let folder = filled(home.path());
        fs::create_dir(folder.join(COMMIT)).unwrap();
        for name in NAMES {
            fs::write(folder.join(COMMIT).join(name), format!("new {name}")).unwrap();
        }
        fs::remove_file(folder.join("b.txt")).unwrap();
        fs::create_dir(folder.join("b.txt")).unwrap();
        let (path, _) = move_committed(&folder, &Disk::default()).unwrap_err();
        assert_eq!(path, folder.join("b.txt"));
        fs::remove_dir(folder.join("b.txt")).unwrap();
        drop(FolderLock::take(&folder).unwrap());
        assert_eq!(text_of(&folder), "new");
        assert_tidy(home.path(), &folder);
    }

    #[test]
    fn a_commit_folder_from_elsewhere_replaces_no_recording() {
        let home = tempfile::tempdir().unwrap();
        let folder = filled(home.path());
        fs::create_dir(folder.join(COMMIT)).unwrap();
        fs::write(folder.join(COMMIT).join("flight.avi"), "other").unwrap();
        fs::write(folder.join("flight.avi"), "RIFF").unwrap();
        drop(FolderLock::take(&folder).unwrap());
        assert_eq!(fs::read_to_string(folder.join("flight.avi")).unwrap(), "RIFF");
    }
}
