//! The text that `pairspeed --version` prints.

use std::sync::LazyLock;

use pairspeed::footage::VideoLibrary;

/// Version of the program.
pub const VERSION: &str = env!("CARGO_PKG_VERSION");

/// The version; below it the commit, the FFmpeg release in use, and the features that were built in.
pub static TEXT: LazyLock<String> = LazyLock::new(|| {
    let commit = option_env!("PAIRSPEED_COMMIT").unwrap_or("unknown");
    let features =
        if cfg!(feature = "window") { "window" } else { "no window (this program was built without it)" };
    format!("{VERSION}\ncommit {commit}\nFFmpeg {}\nfeatures: {features}", VideoLibrary::in_use().release)
});
