//! Confinement: while a recording is decoded, the program can read only the files that the command names, write only to
//! the folders of its results, and open no network connection. A malicious recording that takes control of a decoder
//! can do no more.
//!
//! It uses Landlock, which only Linux has. Threads that run already are not confined: call [`Confinement::begin`]
//! first.

use std::path::{Path, PathBuf};

use pairspeed::files::folder_of;

/// The files and folders that a command uses.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Confinement {
    read: Vec<PathBuf>,
    write: Vec<PathBuf>,
}

impl Confinement {
    /// Adds files that are read, with the folders that contain them: setups and glyphs lie beside recordings.
    pub fn reading<P: AsRef<Path>>(mut self, files: impl IntoIterator<Item = P>) -> Self {
        for file in files {
            let file = file.as_ref();
            self.read.extend([file.to_owned(), folder_of(file).to_owned()]);
        }
        self
    }

    /// Adds the folder in which `path` is created or changed; if it does not exist yet, the folder in which it will be
    /// created.
    pub fn writing(mut self, path: &Path) -> Self {
        let existing =
            path.ancestors().skip(1).find(|folder| !folder.as_os_str().is_empty() && folder.is_dir());
        self.write.push(existing.map_or_else(|| PathBuf::from("."), Path::to_owned));
        // A path such as `..` is added itself: its parent is not what the path suggests.
        self.write.extend(path.is_dir().then(|| path.to_owned()));
        self
    }

    /// Confines the command, and prints a message if that is not possible.
    pub fn begin(self) {
        if let Some(reason) = self.enforce() {
            say_line!("pairspeed: the decoding of recordings is not confined: {reason}");
        }
    }

    /// Confines this thread and all threads that it starts, permanently. Returns the reason if that is not fully
    /// possible; otherwise `None`.
    #[cfg(target_os = "linux")]
    fn enforce(self) -> Option<String> {
        linux::enforce(&self).map_err(|error| error.to_string()).unwrap_or_else(Some)
    }

    /// Does nothing, because this system has no Landlock. Returns `None`.
    #[cfg(not(target_os = "linux"))]
    fn enforce(self) -> Option<String> {
        None
    }
}

#[cfg(target_os = "linux")]
mod linux {
    use landlock::{
        ABI, Access, AccessFs, AccessNet, BitFlags, RestrictionStatus, Ruleset, RulesetAttr,
        RulesetCreatedAttr, RulesetError, RulesetStatus, path_beneath_rules,
    };

    use super::Confinement;

    /// Version of the Landlock interface whose access rights are used where the kernel supports them: files and TCP
    /// connections.
    const VERSION: ABI = ABI::V4;
    /// System files from which the number of usable cores is determined.
    const SYSTEM: [&str; 3] = ["/proc/self/cgroup", "/proc/self/mountinfo", "/sys/fs/cgroup"];

    pub(super) fn enforce(files: &Confinement) -> Result<Option<String>, RulesetError> {
        let read: BitFlags<AccessFs> = AccessFs::ReadFile | AccessFs::ReadDir;
        let write = read | AccessFs::from_write(VERSION);
        // Paths that do not exist are left out. The restriction also prevents gaining new privileges.
        let RestrictionStatus { ruleset, .. } = Ruleset::default()
            .handle_access(AccessFs::from_all(VERSION))?
            .handle_access(AccessNet::from_all(VERSION))?
            .create()?
            .add_rules(path_beneath_rules(SYSTEM, read))?
            .add_rules(path_beneath_rules(&files.read, read))?
            .add_rules(path_beneath_rules(&files.write, write))?
            .restrict_self()?;
        let missing = "this kernel has no Landlock".to_owned();
        Ok((ruleset == RulesetStatus::NotEnforced).then_some(missing))
    }
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

    #[cfg(target_os = "linux")]
    #[test]
    fn a_confined_thread_reads_and_writes_only_the_given_files() {
        let folders = [(); 3].map(|()| tempfile::tempdir().unwrap());
        let [input, output, other] = [0, 1, 2].map(|number| folders[number].path().join("file"));
        std::fs::write(&input, "clip").unwrap();
        std::fs::write(&other, "private").unwrap();
        let thread = std::thread::spawn(move || {
            let confinement = Confinement::default().reading([&input]).writing(&output);
            if confinement.enforce().is_some() {
                return None; // This kernel has no Landlock.
            }
            let connected = std::net::TcpStream::connect(("127.0.0.1", 9));
            let refused = |error: std::io::Error| error.kind() == std::io::ErrorKind::PermissionDenied;
            Some([
                std::fs::read(&input).is_ok() && std::fs::write(&output, "result").is_ok(),
                std::fs::read(&other).is_err_and(refused),
                std::fs::write(&other, "changed").is_err_and(refused),
                std::fs::write(&input, "changed").is_err_and(refused),
                std::process::Command::new("/bin/true").status().is_err(),
                connected.is_err(),
            ])
        });
        assert!(thread.join().unwrap().is_none_or(|outcomes| outcomes == [true; 6]));
    }
}
