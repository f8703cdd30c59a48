//! The calls that only Linux has. On other systems these functions exist and have no effect.

use std::path::PathBuf;

/// Confines this thread, and all that it starts, for good: files and folders are opened only below `read` and `write`, and
/// no connection is made. Paths that do not exist are left out.
///
/// # Errors
/// The reason in words if the kernel refuses. The thread keeps its rights then.
#[cfg(target_os = "linux")]
pub(crate) fn confine_thread(read: &[PathBuf], write: &[PathBuf]) -> Result<(), String> {
    use landlock::RulesetStatus;
    match landlock_status(read, write) {
        Ok(RulesetStatus::NotEnforced) => {
            Err("this Linux kernel has no Landlock, which restricts access to files".to_owned())
        }
        Ok(_) => Ok(()),
        Err(error) => Err(error.to_string()),
    }
}

#[cfg(not(target_os = "linux"))]
pub(crate) fn confine_thread(_: &[PathBuf], _: &[PathBuf]) -> Result<(), String> {
    Ok(())
}

#[cfg(target_os = "linux")]
fn landlock_status(
    read: &[PathBuf],
    write: &[PathBuf],
) -> Result<landlock::RulesetStatus, landlock::RulesetError> {
    use landlock::{ABI, Access, AccessFs, AccessNet, BitFlags, Ruleset, path_beneath_rules};
    use landlock::{RulesetAttr as _, RulesetCreatedAttr as _};

    /// Version of the Landlock interface: the access rights that it defines for files and TCP connections are
    /// restricted, as far as the kernel supports them.
    const VERSION: ABI = ABI::V4;
    /// System files from which the number of usable cores is determined.
    const SYSTEM: [&str; 3] = ["/proc/self/cgroup", "/proc/self/mountinfo", "/sys/fs/cgroup"];

    let to_read: BitFlags<AccessFs> = AccessFs::ReadFile | AccessFs::ReadDir;
    let to_write = to_read | AccessFs::from_write(VERSION);
    // The restriction also prevents gaining new privileges.
    let status = Ruleset::default()
        .handle_access(AccessFs::from_all(VERSION))?
        .handle_access(AccessNet::from_all(VERSION))?
        .create()?
        .add_rules(path_beneath_rules(SYSTEM, to_read))?
        .add_rules(path_beneath_rules(read, to_read))?
        .add_rules(path_beneath_rules(write, to_write))?
        .restrict_self()?;
    Ok(status.ruleset)
}

/// Returns freed memory to the operating system: the C library would keep it for later use. This lowers the peak memory of
/// long flights.
pub(crate) fn release_freed_memory() {
    #[cfg(all(target_os = "linux", target_env = "gnu"))]
    // SAFETY: `malloc_trim` may be called at any time, from any thread.
    #[allow(unsafe_code)]
    unsafe {
        libc::malloc_trim(0);
    }
}
