//! Functions that change the file system, one for each kind of change. Tests interrupt the work after any of them, as
//! a kill or a power failure would.

use std::fmt;
use std::fs::{self, File, OpenOptions};
use std::io;
use std::path::Path;
use std::sync::Arc;

/// The kind of a change.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum DiskChange {
    /// Exchanges two names.
    Exchange,
    /// Any other change: a file or folder is created, renamed or removed.
    Other,
}

/// A function that is called before every change of the disk; if the function fails, the change is not made.
type Hook = dyn Fn(DiskChange) -> io::Result<()> + Send + Sync;

/// Access to the file system.
#[derive(Clone, Default)]
pub(super) struct Disk {
    /// Injects faults in tests; `None` outside tests.
    hook: Option<Arc<Hook>>,
}

impl fmt::Debug for Disk {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Disk").field("hook", &self.hook.is_some()).finish()
    }
}

/// A disk on which only the first `changes` changes succeed, as if the program were killed then; the second value is
/// the number of changes left. If `no_exchange` is true, names of folders cannot be exchanged.
#[cfg(test)]
pub(super) fn failing(changes: usize, no_exchange: bool) -> (Disk, Arc<std::sync::atomic::AtomicUsize>) {
    use std::sync::atomic::Ordering::SeqCst;
    let left = Arc::new(std::sync::atomic::AtomicUsize::new(changes));
    let counter = left.clone();
    let hook = move |change| {
        let counted = counter.fetch_update(SeqCst, SeqCst, |left| left.checked_sub(1));
        counted.map_err(|_| io::Error::other("killed"))?;
        let unsupported = no_exchange && change == DiskChange::Exchange;
        if unsupported { Err(io::ErrorKind::Unsupported.into()) } else { Ok(()) }
    };
    (Disk { hook: Some(Arc::new(hook)) }, left)
}

impl Disk {
    /// Whether this operating system has a call that exchanges the names of two folders. The call can still fail on
    /// some file systems.
    pub(super) const EXCHANGES: bool = cfg!(any(target_os = "linux", target_os = "macos"));

    fn change(&self) -> io::Result<()> {
        self.hook.as_ref().map_or(Ok(()), |hook| hook(DiskChange::Other))
    }

    /// Creates a file that does not exist yet.
    pub(super) fn create_file(&self, path: &Path) -> io::Result<File> {
        self.change()?;
        File::create_new(path)
    }

    /// Opens a file for writing, or creates it if it does not exist. The content of an existing file stays. Fails if
    /// `path` is a link.
    pub(super) fn open_or_create(&self, path: &Path) -> io::Result<File> {
        self.change()?;
        let mut options = OpenOptions::new();
        options.write(true).create(true).truncate(false);
        no_follow(&mut options);
        options.open(path)
    }

    pub(super) fn create_folder(&self, path: &Path) -> io::Result<()> {
        self.change()?;
        fs::create_dir(path)
    }

    pub(super) fn set_permissions(&self, path: &Path, permissions: fs::Permissions) -> io::Result<()> {
        self.change()?;
        fs::set_permissions(path, permissions)
    }

    pub(super) fn hard_link(&self, from: &Path, to: &Path) -> io::Result<()> {
        self.change()?;
        fs::hard_link(from, to)
    }

    /// Renames a file or folder; an existing file at `to` is replaced.
    pub(super) fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        self.change()?;
        fs::rename(from, to)
    }

    /// Renames a file; fails with [`io::ErrorKind::AlreadyExists`] if `to` exists.
    pub(super) fn rename_new(&self, from: &Path, to: &Path) -> io::Result<()> {
        self.change()?;
        match rename_no_replace(from, to) {
            Err(error) if error.kind() == io::ErrorKind::Unsupported => {}
            outcome => return outcome,
        }
        match fs::hard_link(from, to) {
            Ok(()) => self.remove_file(from),
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => Err(error),
            Err(_) if fs::symlink_metadata(to).is_ok() => Err(io::ErrorKind::AlreadyExists.into()),
            Err(_) => fs::rename(from, to),
        }
    }

    /// Exchanges the names of two folders in one step. Fails with [`io::ErrorKind::Unsupported`] if the system or the
    /// file system cannot do it.
    pub(super) fn exchange(&self, one: &Path, other: &Path) -> io::Result<()> {
        self.hook.as_ref().map_or(Ok(()), |hook| hook(DiskChange::Exchange))?;
        exchange_names(one, other)
    }

    pub(super) fn remove_file(&self, path: &Path) -> io::Result<()> {
        self.change()?;
        fs::remove_file(path)
    }

    pub(super) fn remove_empty_folder(&self, path: &Path) -> io::Result<()> {
        self.change()?;
        fs::remove_dir(path)
    }

    /// Makes the changes to a folder's entries permanent, where the system can.
    pub(super) fn sync_folder(&self, path: &Path) {
        // If this fails, the changes become permanent later, so the failure is ignored.
        let _later = self.change().and_then(|()| File::open(path)?.sync_all());
    }
}

#[cfg(any(target_os = "linux", target_os = "macos"))]
fn exchange_names(one: &Path, other: &Path) -> io::Result<()> {
    renamed_with(one, other, rustix::fs::RenameFlags::EXCHANGE)
}

#[cfg(any(target_os = "linux", target_os = "macos"))]
fn rename_no_replace(from: &Path, to: &Path) -> io::Result<()> {
    renamed_with(from, to, rustix::fs::RenameFlags::NOREPLACE)
}

#[cfg(any(target_os = "linux", target_os = "macos"))]
fn renamed_with(from: &Path, to: &Path, flags: rustix::fs::RenameFlags) -> io::Result<()> {
    use rustix::fs::{CWD, renameat_with};
    use rustix::io::Errno;
    renameat_with(CWD, from, CWD, to, flags).map_err(|error| match error {
        Errno::INVAL | Errno::NOSYS | Errno::NOTSUP => io::ErrorKind::Unsupported.into(),
        other => other.into(),
    })
}

#[cfg(not(any(target_os = "linux", target_os = "macos")))]
fn exchange_names(_: &Path, _: &Path) -> io::Result<()> {
    Err(io::ErrorKind::Unsupported.into())
}

#[cfg(not(any(target_os = "linux", target_os = "macos")))]
fn rename_no_replace(_: &Path, _: &Path) -> io::Result<()> {
    Err(io::ErrorKind::Unsupported.into())
}

/// Makes opening fail if the path is a link.
#[cfg(unix)]
pub(super) fn no_follow(options: &mut OpenOptions) {
    use std::os::unix::fs::OpenOptionsExt as _;
    options.custom_flags(rustix::fs::OFlags::NOFOLLOW.bits().cast_signed());
}

#[cfg(not(unix))]
pub(super) fn no_follow(_: &mut OpenOptions) {}
