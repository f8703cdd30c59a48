//! Loading and saving the setup file.

use std::fs::File;
use std::io::{self, Read as _};
use std::path::{Path, PathBuf};

use serde::{Deserialize as _, Serialize};
use toml::de::DeTable;

use super::error::{Fault, SetupError};
use super::keys;
use super::outline::Outline;
use super::plausible::units_of;
use super::{Aircraft, Camera, LIMIT_BYTES, Region, Setup};
use crate::files::{Existing, read_error_in_words, write_whole};
use crate::model::channel::Channel;
use crate::model::units::Quantity;

/// A checked setup and the file it came from.
#[derive(Debug, Clone, PartialEq)]
pub struct LoadedSetup {
    /// The setup.
    pub setup: Setup,
    /// The file.
    pub path: PathBuf,
}

impl LoadedSetup {
    /// Reads and checks a setup file.
    ///
    /// # Errors
    /// [`SetupError`] names the file, the line, the region, what is wrong and the mend.
    pub fn load(path: &Path) -> Result<Self, SetupError> {
        let text = read_text(path)?;
        Ok(Self { setup: parse(&text, path)?, path: path.to_owned() })
    }

    /// Folder of the glyph set: `glyphs` seen from the setup file's folder; where that is not named,
    /// `nose-glyphs` beside `nose.setup.toml` or `nose.toml`.
    #[must_use]
    pub fn glyph_folder(&self) -> PathBuf {
        let glyphs = self.setup.camera.glyphs.clone().unwrap_or_else(|| usual_glyph_folder(&self.path));
        self.path.parent().unwrap_or(Path::new("")).join(glyphs)
    }

    /// Makes sure that the setup marks the speed, which an airspeed cannot be found without.
    ///
    /// # Errors
    /// [`SetupError::NoSpeed`].
    pub fn require_speed(&self) -> Result<(), SetupError> {
        match self.setup.region(&Channel::Speed) {
            Some(_) => Ok(()),
            None => Err(SetupError::NoSpeed { path: self.path.clone() }),
        }
    }

    /// What a reading can do with but the pilot hardly meant, a sentence each with the mend: a speed without a
    /// unit, a channel with nearly the name of a known one.
    #[must_use]
    pub fn doubts(&self) -> Vec<String> {
        let file = self.path.display();
        let bare = self.setup.region(&Channel::Speed).filter(|region| region.unit_shown().is_none());
        let bare = bare.map(|_| {
            format!(
                "{file}: the speed has no unit, so speeds stay bare numbers and nothing that needs a unit is \
                 told: write unit = \"{}\" in its [[region]], whichever the overlay shows",
                units_of(Quantity::Speed).replace(", ", "\" or unit = \"")
            )
        });
        let slips = self.setup.regions.iter().filter_map(|region| {
            let meant = region.channel.nearly()?;
            Some(format!(
                "{file}: the channel {} is taken for one of your own; if you meant {}, write channel = \"{}\"",
                region.channel.name(),
                meant.name(),
                meant.name()
            ))
        });
        bare.into_iter().chain(slips).collect()
    }

    /// Makes sure that the setup was made for frames of this size, in pixels. Boxes are never
    /// scaled silently: a scaled box may cut a digit.
    ///
    /// # Errors
    /// [`SetupError::OtherFrame`] with both sizes; `clip` is the name to call the clip by.
    pub fn check_frame(&self, clip: &str, width: u32, height: u32) -> Result<(), SetupError> {
        let setup_frame = self.setup.camera.frame;
        let clip_frame = (width, height);
        if setup_frame == clip_frame {
            return Ok(());
        }
        Err(SetupError::OtherFrame {
            path: self.path.clone(),
            clip: clip.to_owned(),
            setup_frame,
            clip_frame,
        })
    }
}

impl Setup {
    /// Saves the setup after checking it, with the keys explained at the head of the file. The
    /// file is written whole or not at all. Comments that stood in an older file are lost.
    ///
    /// # Errors
    /// [`SetupError::Invalid`] before anything is written, [`SetupError::Exists`] or
    /// [`SetupError::Unwritable`].
    pub fn save(&self, path: &Path, existing: Existing) -> Result<(), SetupError> {
        self.validate().map_err(|fault| invalid(path, None, fault))?;
        let unwritable = |source| SetupError::Unwritable { path: path.to_owned(), source };
        let text = self.text().map_err(|error| unwritable(io::Error::other(error)))?;
        write_whole(path, text.as_bytes(), existing).map_err(|source| match source.kind() {
            io::ErrorKind::AlreadyExists if existing == Existing::Keep => {
                SetupError::Exists { path: path.to_owned() }
            }
            _ => unwritable(source),
        })
    }

    /// The setup as the text of its file, with a comment in each region for what is still open.
    fn text(&self) -> Result<String, toml::ser::Error> {
        let camera = toml::to_string(&CameraTable { camera: &self.camera })?;
        let mut text = format!("{}\n{camera}", header());
        if let Some(aircraft) = &self.aircraft {
            text.push_str(&format!("\n{}", toml::to_string(&AircraftTable { aircraft })?));
        }
        for (number, region) in self.regions.iter().enumerate() {
            text.push_str(&format!("\n# Box {} in the picture{}\n", number + 1, open_name(region)));
            text.push_str(&toml::to_string(&RegionTable { region: [region] })?);
            text.push_str(&open_keys(region));
        }
        Ok(text)
    }
}

/// Name of the glyph folder beside a setup file that names none.
fn usual_glyph_folder(setup: &Path) -> PathBuf {
    let name = setup.file_stem().unwrap_or_default().to_string_lossy();
    format!("{}-glyphs", name.strip_suffix(".setup").unwrap_or(&name)).into()
}

#[derive(Serialize)]
struct CameraTable<'a> {
    camera: &'a Camera,
}

#[derive(Serialize)]
struct AircraftTable<'a> {
    aircraft: &'a Aircraft,
}

#[derive(Serialize)]
struct RegionTable<'a> {
    region: [&'a Region; 1],
}

fn open_name(region: &Region) -> &'static str {
    match region.channel {
        Channel::Other(_) => ": give it its name, or delete it if it is no number you need",
        _ => ": is the name right?",
    }
}

/// Comment lines for the keys that a region leaves open.
fn open_keys(region: &Region) -> String {
    let mut lines = String::new();
    let units = region.channel.quantity().map(units_of);
    if region.unit.is_none() && units.is_some() || matches!(region.channel, Channel::Other(_)) {
        let choice = units.unwrap_or_else(|| "see the units above".to_owned());
        lines
            .push_str(&format!("# unit = \"\"       # as on the overlay: {choice}; take the first # away\n"));
    }
    if region.digits.is_none() {
        lines.push_str("# digits =        # of the widest value, those after the point included; fill in, take the first # away\n");
    }
    if region.decimals == 0 && matches!(region.channel, Channel::Voltage | Channel::Current) {
        lines.push_str(
            "# Is there a decimal point? None was seen, which happens in tight type: then set decimals = 1\n",
        );
    }
    lines
}

/// The explanation at the head of the file.
fn header() -> String {
    let mut lines = vec![
        "# Camera setup: where each number of the overlay stands and how it is written.".to_owned(),
        "# Next: look at the picture beside this file (same name, .png). For each box below: is the name"
            .to_owned(),
        "# right, does the box hold the widest value, is there a decimal point, which unit? Mend that here,"
            .to_owned(),
        "# then see what is read: pairspeed inspect CLIP --setup THIS-FILE --at SECONDS".to_owned(),
        "# Only the speed is needed; voltage, altitude and throttle make the answer better.".to_owned(),
    ];
    for (table, keys) in [
        ("[camera]", &keys::CAMERA[..]),
        ("[[region]]", &keys::REGION[..]),
        ("[aircraft], which may be left out", &keys::AIRCRAFT[..]),
    ] {
        lines.push(format!("#\n# {table}"));
        let width = keys.iter().map(|key| key.name.len()).max().unwrap_or(0);
        for key in keys {
            let optional = if key.required { "" } else { " (may be left out)" };
            lines.push(format!("#   {:<width$} {}{optional}", key.name, key.help));
        }
    }
    lines.push(format!("#\n# Units: {}\n", crate::model::units::Unit::spellings()));
    lines.join("\n")
}

pub(super) fn read_text(path: &Path) -> Result<String, SetupError> {
    let mut bytes = Vec::new();
    File::open(path).and_then(|file| file.take(LIMIT_BYTES + 1).read_to_end(&mut bytes)).map_err(
        |error| SetupError::Unreadable { path: path.to_owned(), source: read_error_in_words(error) },
    )?;
    if bytes.len() as u64 > LIMIT_BYTES {
        return Err(SetupError::TooLarge { path: path.to_owned(), limit_bytes: LIMIT_BYTES });
    }
    String::from_utf8(bytes).map_err(|_| SetupError::NotText { path: path.to_owned() })
}

fn parse(text: &str, path: &Path) -> Result<Setup, SetupError> {
    let invalid_at =
        |(fault, at): (Fault, Option<usize>)| invalid(path, at.map(|at| line_of(text, at)), fault);
    let root = DeTable::parse(text).map_err(|error| SetupError::NotToml {
        path: path.to_owned(),
        line: line_of(text, error.span().map_or(0, |span| span.start)),
        message: error.message().replace('\n', " "),
    })?;
    let outline = Outline::of(root.get_ref()).map_err(invalid_at)?;
    let setup = Setup::deserialize(toml::Deserializer::from(root))
        .map_err(|error| invalid_at(outline.wrong_value(&error)))?;
    setup.validate().map_err(|fault| {
        let at = outline.place_of(&fault);
        invalid_at((fault, at))
    })?;
    Ok(setup)
}

fn invalid(path: &Path, line: Option<usize>, fault: Fault) -> SetupError {
    SetupError::Invalid { path: path.to_owned(), line, fault }
}

/// The line, from 1, of a place in the text given in bytes from its start.
pub(super) fn line_of(text: &str, at: usize) -> usize {
    1 + text.bytes().take(at).filter(|byte| *byte == b'\n').count()
}
