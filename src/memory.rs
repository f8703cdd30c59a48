//! Memory that is no longer needed.

/// Gives memory that was freed back to the system, where the C library keeps it for later: what a long flight then
/// takes comes in its place, not on top of it.
pub(crate) fn release_freed() {
    #[cfg(all(target_os = "linux", target_env = "gnu"))]
    // SAFETY: it may be called at any time, from any thread.
    #[allow(unsafe_code)]
    unsafe {
        libc::malloc_trim(0);
    }
}
