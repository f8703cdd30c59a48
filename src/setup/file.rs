//! Loads and saves the setup file.

use std::io;
use std::path::{Path, PathBuf};

use serde::{Deserialize as _, Serialize};
use toml::de::DeTable;

use super::error::{SettingError, SetupError};
use super::key_positions::{KeyPositions, LocatedError};
use super::plausible_limits::symbols_of;
use super::schema::{self, KeySpec};
use super::text_file::{line_at, read_text};
use super::{Aircraft, Camera, Region, Setup};
use crate::files::{Existing, WriteRules, files_in, write_whole};
use crate::model::channel::Channel;
use crate::model::units::{Quantity, Unit};

/// A checked setup, and the file it was loaded from.
#[derive(Debug, Clone, PartialEq)]
pub struct LoadedSetup {
    /// The setup.
    pub setup: Setup,
    /// Path of the setup file.
    pub path: PathBuf,
}

impl LoadedSetup {
    /// Reads and checks a setup file.
    ///
    /// # Errors
    /// [`SetupError`] names the file, the line and the region, and says what is wrong and how to fix it.
    pub fn load(path: &Path) -> Result<Self, SetupError> {
        let text = read_text(path)?;
        Ok(Self { setup: parse(&text, path)?, path: path.to_owned() })
    }

    /// Folder of the glyph set: the path under the key `glyphs`, relative to the setup file's folder. If the
    /// setup states none, the folder is `nose-glyphs` beside a setup file `nose.setup.toml` or `nose.toml`.
    #[must_use]
    pub fn glyph_folder(&self) -> PathBuf {
        let glyphs = self.setup.camera.glyphs.clone().unwrap_or_else(|| default_glyph_folder(&self.path));
        self.path.parent().unwrap_or(Path::new("")).join(glyphs)
    }

    /// The files that are read when this setup is used: its own, and those in its glyph folder.
    #[must_use]
    pub fn input_files(&self) -> Vec<PathBuf> {
        [self.path.clone()].into_iter().chain(files_in(&self.glyph_folder())).collect()
    }

    /// Checks that the setup has a region for the speed, since otherwise no airspeed can be computed.
    ///
    /// # Errors
    ///
    /// [`SetupError::NoSpeed`] if there is no such region.
    pub fn require_speed(&self) -> Result<(), SetupError> {
        match self.setup.region(&Channel::Speed) {
            Some(_) => Ok(()),
            None => Err(SetupError::NoSpeed { path: self.path.clone() }),
        }
    }

    /// Warnings about settings that are valid but suspicious: a speed without a unit, or a channel name that
    /// is similar to that of a known channel. Each warning is a sentence that says how to fix the setting.
    #[must_use]
    pub fn warnings(&self) -> Vec<String> {
        let file = self.path.display();
        let speed = self.setup.region(&Channel::Speed);
        let no_unit = speed.filter(|region| region.unit_shown().is_none()).map(|_| {
            format!(
                "{file}: the speed has no unit, so speeds are given as plain numbers and results that need a unit \
                 are left out: add to its [[region]] the unit that the overlay shows: unit = \"{}\"",
                symbols_of(Quantity::Speed).replace(", ", "\" or unit = \"")
            )
        });
        let misspelt = self.setup.regions.iter().filter_map(|region| {
            let meant = region.channel.similar_known()?;
            Some(format!(
                "{file}: {} is not one of the known channels and is read as a channel of your own; if you meant {}, write channel = \"{}\"",
                region.channel.name(),
                meant.name(),
                meant.name()
            ))
        });
        no_unit.into_iter().chain(misspelt).collect()
    }

    /// Checks that the setup was made for frames of this size, in pixels. Boxes are never scaled to another
    /// size, because a scaled box may cut a digit. `clip` is the clip's name for the message.
    ///
    /// # Errors
    ///
    /// [`SetupError::OtherFrame`] with both sizes.
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
    /// Checks the setup and saves it, with an explanation of the keys at the top of the file. The file is
    /// written as a whole or not at all. `rules` states whether an existing file is replaced, and which files
    /// must not be overwritten. Comments in a file that is replaced are lost.
    ///
    /// # Errors
    ///
    /// [`SetupError::Invalid`] before anything is written, [`SetupError::Exists`] or
    /// [`SetupError::Unwritable`].
    pub fn save(&self, path: &Path, rules: impl Into<WriteRules>) -> Result<(), SetupError> {
        let rules = rules.into();
        self.validate().map_err(|error| invalid(path, None, error))?;
        let unwritable = |source| SetupError::Unwritable { path: path.to_owned(), source };
        let text = self.text().map_err(|error| unwritable(io::Error::other(error)))?;
        write_whole(path, text.as_bytes(), &rules).map_err(|source| match source.kind() {
            io::ErrorKind::AlreadyExists if rules.existing() == Existing::Keep => {
                SetupError::Exists { path: path.to_owned() }
            }
            _ => unwritable(source),
        })
    }

    /// The text of the setup file. In each region a comment lists the settings that are still missing.
    fn text(&self) -> Result<String, toml::ser::Error> {
        let camera = toml::to_string(&CameraTable { camera: &self.camera })?;
        let mut text = format!("{}\n{camera}", header());
        if let Some(aircraft) = &self.aircraft {
            text.push_str(&format!("\n{}", toml::to_string(&AircraftTable { aircraft })?));
        }
        for (number, region) in self.regions.iter().enumerate() {
            text.push_str(&format!("\n# Box {} in the picture{}\n", number + 1, name_hint(region)));
            text.push_str(&toml::to_string(&RegionTable { region: [region] })?);
            text.push_str(&missing_keys(region));
        }
        Ok(text)
    }
}

/// Name of the glyph folder beside a setup file that states none.
fn default_glyph_folder(setup: &Path) -> PathBuf {
    format!("{}-glyphs", setup_name(setup)).into()
}

/// Default path of a clip's setup file: beside the clip.
#[must_use]
pub fn usual_setup(clip: &Path) -> PathBuf {
    clip.with_extension("setup.toml")
}

/// The name of a setup file without its endings: `nose` for `nose.setup.toml` or `nose.toml`.
pub(crate) fn setup_name(setup: &Path) -> String {
    let name = setup.file_stem().unwrap_or_default().to_string_lossy();
    name.strip_suffix(".setup").unwrap_or(&name).to_owned()
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

fn name_hint(region: &Region) -> &'static str {
    match region.channel {
        Channel::Other(_) => ": give the channel a name, or delete this region if you do not need the number",
        _ => ": is the name correct?",
    }
}

/// Comment lines that explain the optional keys that a region does not have.
fn missing_keys(region: &Region) -> String {
    let mut lines = String::new();
    let units = region.channel.quantity().map(symbols_of);
    if region.unit.is_none() && units.is_some() || matches!(region.channel, Channel::Other(_)) {
        let choice = units.unwrap_or_else(|| "see the units above".to_owned());
        lines.push_str(&format!("# unit = \"\"       # as on the overlay: {choice}; write it between the quotes, and remove the # at the start of this line\n"));
    }
    if region.digits.is_none() {
        lines.push_str("# digits =        # number of digits of the widest value, including those after the point; write it after the =, and remove the # at the start of this line\n");
    }
    if region.decimals == 0 && matches!(region.channel, Channel::Voltage | Channel::Current) {
        lines.push_str(
            "# No decimal point was found, but a narrow one is easily missed. If the overlay shows one, set decimals = 1\n",
        );
    }
    lines
}

/// The first lines of a saved setup file, which say what to do next.
const INTRODUCTION: &str = "\
# Camera setup: where the overlay shows each number, and in which form.
# Next: look at the picture beside this file (same name, .png). Check for each box below: Is the name
# correct? Is there room for the widest value? Is there a decimal point? Which unit? Correct it here,
# then inspect what the boxes read at some time of the clip.
# Only the speed is required; voltage, altitude and throttle improve the result.";

/// The comments at the top of a saved setup file: what to do next, and an explanation of each key.
fn header() -> String {
    let mut lines = vec![INTRODUCTION.to_owned()];
    let mut explain = |title: &str, specs: &[KeySpec]| {
        lines.push(format!("#\n# {title}"));
        let width = specs.iter().map(|spec| spec.name.len()).max().unwrap_or(0);
        for spec in specs {
            let optional = if spec.required { "" } else { " (optional)" };
            lines.push(format!("#   {:<width$} {}{optional}", spec.name, spec.help));
        }
    };
    explain("[camera]", &schema::CAMERA);
    explain("[[region]]", &schema::REGION);
    explain("[aircraft] (optional)", &schema::AIRCRAFT);
    lines.push(format!("#\n# Units: {}\n", Unit::spellings()));
    lines.join("\n")
}

fn parse(text: &str, path: &Path) -> Result<Setup, SetupError> {
    let located = |LocatedError { error, byte }| invalid(path, byte.map(|byte| line_at(text, byte)), error);
    let root = DeTable::parse(text).map_err(|error| SetupError::NotToml {
        path: path.to_owned(),
        line: line_at(text, error.span().map_or(0, |span| span.start)),
        message: error.message().replace('\n', " "),
    })?;
    let positions = KeyPositions::of_setup(root.get_ref()).map_err(located)?;
    let setup = Setup::deserialize(toml::Deserializer::from(root))
        .map_err(|error| located(positions.wrong_value(&error)))?;
    setup.validate().map_err(|error| located(positions.locate(error)))?;
    Ok(setup)
}

fn invalid(path: &Path, line: Option<usize>, error: SettingError) -> SetupError {
    SetupError::Invalid { path: path.to_owned(), line, error }
}
