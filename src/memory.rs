//! Returns freed memory to the operating system.

/// Returns freed memory to the operating system, for C libraries that would keep it for later use. This
/// lowers the peak memory of long flights.
pub(crate) fn release_freed() {
    #[cfg(all(target_os = "linux", target_env = "gnu"))]
    // SAFETY: `malloc_trim` may be called at any time, from any thread.
    #[allow(unsafe_code)]
    unsafe {
        libc::malloc_trim(0);
    }
}
