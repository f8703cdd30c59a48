//! The codecs and containers that the FFmpeg libraries in use can read.

use std::ffi::CStr;

use ffmpeg_next::codec::Id;
use ffmpeg_next::decoder;

use super::libav;

/// The codecs that onboard recorders write: usual name, and codec in libavcodec.
const CODECS: [(&str, Id); 4] =
    [("Motion JPEG", Id::MJPEG), ("H.264", Id::H264), ("HEVC", Id::HEVC), ("MPEG-4", Id::MPEG4)];
/// The container formats that onboard recorders write: usual name, and name in libavformat.
const CONTAINERS: [(&str, &CStr); 4] =
    [("AVI", c"avi"), ("MP4 and MOV", c"mov"), ("MPEG-TS", c"mpegts"), ("Matroska", c"matroska")];

/// The FFmpeg libraries that the program uses.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct VideoLibrary {
    /// Version of the FFmpeg release, such as `5.1.9`. A Linux distribution may append its own version.
    pub release: String,
    /// Names of the codecs and container formats of usual recordings that the libraries read.
    pub reads: Vec<&'static str>,
    /// Names of the codecs and container formats of usual recordings that the libraries do not read.
    pub lacks: Vec<&'static str>,
}

impl VideoLibrary {
    /// Finds out which FFmpeg libraries the program uses, and what they can read.
    #[must_use]
    pub fn in_use() -> Self {
        let codecs = CODECS.map(|(name, id)| (name, decoder::find(id).is_some()));
        let containers = CONTAINERS.map(|(name, short)| (name, libav::has_demuxer(short)));
        let (reads, lacks): (Vec<_>, Vec<_>) =
            codecs.into_iter().chain(containers).partition(|(_, found)| *found);
        let names = |list: Vec<(&'static str, bool)>| list.into_iter().map(|(name, _)| name).collect();
        Self { release: libav::release(), reads: names(reads), lacks: names(lacks) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_libraries_read_what_recorders_write() {
        let library = VideoLibrary::in_use();
        assert_eq!(library.lacks, Vec::<&str>::new());
        assert_eq!(library.reads.len(), CODECS.len() + CONTAINERS.len());
        assert!(library.release.starts_with(|first: char| first.is_ascii_alphanumeric()), "{library:?}");
    }

    #[test]
    fn a_container_format_that_does_not_exist_is_not_read() {
        assert!(!libav::has_demuxer(c"no such format"));
    }
}
