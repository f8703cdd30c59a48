//! Writes complete files: each under a temporary name next to its target, which is then renamed.

use std::io::Write;
use std::path::{Path, PathBuf};

use serde::Serialize;

use crate::error::Error;

/// Creates a folder and its parents.
pub(crate) fn make_folder(folder: &Path) -> Result<(), Error> {
    std::fs::create_dir_all(folder).map_err(|cause| Error::write(folder, cause))
}

/// The temporary name of a file until it is complete.
pub(crate) fn part_name(path: &Path) -> PathBuf {
    let mut name = path.file_name().unwrap_or_default().to_os_string();
    name.push(".part");
    path.with_file_name(name)
}

/// Gives a complete file its final name.
pub(crate) fn finish(part: &Path, path: &Path) -> Result<(), Error> {
    std::fs::rename(part, path).map_err(|cause| Error::write(path, cause))
}

/// Writes bytes as a file that is either complete or absent.
pub(crate) fn write_bytes(path: &Path, bytes: &[u8]) -> Result<(), Error> {
    let part = part_name(path);
    let write = || {
        let mut file = std::fs::File::create(&part)?;
        file.write_all(bytes)?;
        file.sync_all()
    };
    write().map_err(|cause| Error::write(&part, cause))?;
    finish(&part, path)
}

/// Writes a value as a TOML file.
pub(crate) fn write_toml(path: &Path, value: &impl Serialize) -> Result<(), Error> {
    let text = toml::to_string(value).map_err(|cause| Error::write(path, to_io(cause)))?;
    write_bytes(path, text.as_bytes())
}

/// Writes rows as a CSV file.
pub(crate) fn write_csv(
    path: &Path,
    header: &[String],
    rows: impl Iterator<Item = Vec<String>>,
) -> Result<(), Error> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let fill = || {
        writer.write_record(header)?;
        rows.into_iter().try_for_each(|row| writer.write_record(row))
    };
    fill().map_err(|cause| Error::write(path, to_io(cause)))?;
    let bytes = writer.into_inner().map_err(|cause| Error::write(path, to_io(cause)))?;
    write_bytes(path, &bytes)
}

/// Writes an image with brightness and opacity as a PNG file.
pub(crate) fn write_png(
    path: &Path,
    picture: &image::ImageBuffer<image::LumaA<u8>, Vec<u8>>,
) -> Result<(), Error> {
    let mut bytes = std::io::Cursor::new(Vec::new());
    picture
        .write_to(&mut bytes, image::ImageFormat::Png)
        .map_err(|cause| Error::write(path, to_io(cause)))?;
    write_bytes(path, bytes.get_ref())
}

fn to_io(cause: impl std::error::Error) -> std::io::Error {
    std::io::Error::other(cause.to_string())
}
