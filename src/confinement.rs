//! Confinement: while a recording is decoded, the program can read only the given files, write only where its results
//! are stored, and open no connection. A malicious recording that exploits a fault of a decoder can then do nothing
//! else.
//!
//! This uses Landlock and works on Linux only. It confines one thread and everything that this thread starts: decoders
//! must be opened in a confined thread.

use std::path::{Path, PathBuf};
use std::thread;

use thiserror::Error;

use crate::files::folder_of;
use crate::linux::confine_thread;

/// The files and folders that a confined thread may use.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Confinement {
    read: Vec<PathBuf>,
    write: Vec<PathBuf>,
}

/// Why the decoding of recordings cannot be confined.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error(
    "the program cannot restrict itself to the files that it needs while it decodes recordings ({reason}); recordings are decoded without that protection"
)]
pub struct NotConfined {
    reason: String,
}

impl Confinement {
    /// Checks that this system can confine threads, by confining a thread that ends at once. Always succeeds on
    /// systems other than Linux, which confine nothing.
    ///
    /// # Errors
    /// [`NotConfined`] if the thread cannot be confined.
    pub fn check_available() -> Result<(), NotConfined> {
        thread::scope(|scope| joined(scope.spawn(|| Self::default().begin())))
    }

    /// Allows reading `files` and everything in the folders that contain them: setups and glyphs lie beside
    /// recordings.
    #[must_use]
    pub fn reading<P: AsRef<Path>>(mut self, files: impl IntoIterator<Item = P>) -> Self {
        for file in files {
            let file = file.as_ref();
            self.read.extend([file.to_owned(), folder_of(file).to_owned()]);
        }
        self
    }

    /// Allows writing in the folder that contains `path`. If that folder does not exist yet, allows writing in the
    /// nearest existing folder above it, so that it can be created.
    #[must_use]
    pub fn writing(mut self, path: &Path) -> Self {
        let existing =
            path.ancestors().skip(1).find(|folder| !folder.as_os_str().is_empty() && folder.is_dir());
        self.write.push(existing.map_or_else(|| PathBuf::from("."), Path::to_owned));
        // A path such as `..` is added itself: its parent is not what the path suggests.
        self.write.extend(path.is_dir().then(|| path.to_owned()));
        self
    }

    /// Confines this thread and all threads and processes that it starts, until they end. Threads that already run are
    /// not confined.
    ///
    /// # Errors
    /// [`NotConfined`] if the system cannot confine the thread, which then keeps its rights.
    pub fn begin(self) -> Result<(), NotConfined> {
        confine_thread(&self.read, &self.write).map_err(|reason| NotConfined { reason })
    }

    /// Runs `work` in a new confined thread and returns its result; the thread is not confined where that is not
    /// possible. The new thread has its own thread pool for parallel work: threads of the common pool may have been
    /// started without confinement, or may be used without it later.
    pub fn run<T: Send>(self, work: impl FnOnce() -> T + Send) -> T {
        // Started here, the common pool keeps its rights: code that starts threads of its own may use it.
        let _cores = rayon::current_num_threads();
        let confined = move || {
            let _unconfined = self.begin();
            match rayon::ThreadPoolBuilder::new().build() {
                Ok(pool) => pool.install(work),
                Err(_) => work(),
            }
        };
        thread::scope(|scope| joined(scope.spawn(confined)))
    }
}

/// The result of a thread; if the thread panicked, the panic is raised again here.
fn joined<T>(thread: thread::ScopedJoinHandle<'_, T>) -> T {
    thread.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn a_new_folder_may_be_created_in_the_innermost_folder_that_exists() {
        let folder = tempfile::tempdir().unwrap();
        let confinement = Confinement::default().writing(&folder.path().join("a/b/result"));
        assert_eq!(confinement.write, [folder.path()]);
        assert_eq!(Confinement::default().writing(Path::new("absent/result")).write, [Path::new(".")]);
        let confinement = Confinement::default().reading(["clip.avi"]);
        assert_eq!(confinement.read, [Path::new("clip.avi"), Path::new(".")]);
    }

    /// Whether the kernel can confine threads. Tests that need it say so and end if it cannot.
    #[cfg(target_os = "linux")]
    fn is_available() -> bool {
        let available = Confinement::check_available();
        available.inspect_err(|reason| eprintln!("not tested: {reason}")).is_ok()
    }

    #[cfg(target_os = "linux")]
    fn is_refused<T>(outcome: std::io::Result<T>) -> bool {
        outcome.is_err_and(|error| error.kind() == std::io::ErrorKind::PermissionDenied)
    }

    #[cfg(target_os = "linux")]
    #[test]
    fn a_confined_thread_reads_and_writes_what_it_was_given_and_nothing_else() {
        if !is_available() {
            return;
        }
        let folders = [(); 3].map(|()| tempfile::tempdir().unwrap());
        let [input, output, other] = [0, 1, 2].map(|number| folders[number].path().join("file"));
        std::fs::write(&input, "clip").unwrap();
        std::fs::write(&other, "private").unwrap();
        let outcomes = Confinement::default().reading([&input]).writing(&output).run(|| {
            let connected = std::net::TcpStream::connect(("127.0.0.1", 9));
            [
                std::fs::read(&input).is_ok() && std::fs::write(&output, "result").is_ok(),
                is_refused(std::fs::read(&other)),
                is_refused(std::fs::write(&other, "changed")),
                is_refused(std::fs::write(&input, "changed")),
                std::process::Command::new("/bin/true").status().is_err(),
                connected.is_err(),
            ]
        });
        assert_eq!(outcomes, [true; 6]);
    }

    #[cfg(target_os = "linux")]
    #[test]
    fn threads_that_confined_work_starts_are_confined_and_others_are_not() {
        use rayon::prelude::*;
        if !is_available() {
            return;
        }
        let reads = || std::fs::File::open("/etc/passwd");
        let (own, started, parallel) = Confinement::default().run(|| {
            let started = thread::scope(|scope| is_refused(joined(scope.spawn(reads))));
            (is_refused(reads()), started, (0..100).into_par_iter().all(|_| is_refused(reads())))
        });
        assert!(own && started && parallel);
        assert!((0..100).into_par_iter().all(|_| reads().is_ok()));
        assert!(reads().is_ok());
    }
}
