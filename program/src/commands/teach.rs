//! `teach`: learns the glyphs from labelled readings.

use std::path::{Path, PathBuf};

use clap::Args;
use image::{GrayImage, Luma};
use pairspeed::confinement::Confinement;
use pairspeed::files::{Existing, WriteRules, file_name, files_in, remove_checked};
use pairspeed::glyphs::{CHARACTERS, GlyphSet};
use pairspeed::learn::{
    FetchedExamples, LabelFile, LabelMoment, LabelledReading, LearnedGlyphs, SuspectLabel, fetch_examples,
    learn_glyphs, open_clip,
};
use pairspeed::model::channel::Channel;
use pairspeed::picture::save_png;
use pairspeed::readings;
use pairspeed::setup::LoadedSetup;

use super::numbers::MAX_NUMBER;
use super::progress::ShareBar;
use super::{Failure, begin, existing_or};
use crate::wording;

/// Prefix of the file names of the images that show what to label next.
const NEXT_NAME: &str = "label-next-";

/// Prefix of the file names of the images that show conflicting labels.
const SUSPECT_NAME: &str = "suspect-";
/// Prefix of the file names of the images of doubtful digits that `read` saves.
pub const QUESTION_NAME: &str = "doubtful-";
/// Prefix of the file names of the images to label that earlier versions of the program saved.
const EARLIER_NAME: &str = "tell-next-";
/// Minimum magnification of the images of readings, in image pixels per frame pixel (set by judgement).
const MIN_MAGNIFICATION: u32 = 4;
/// Minimum height of the images of readings, in pixels (set by judgement).
const MIN_HEIGHT_PX: u32 = 120;
/// Gap between two images side by side, in pixels (set by judgement).
const GAP_PX: u32 = 16;
/// Grey level of the gap between two images, 0 to 255 (set by judgement).
const GAP_LEVEL: u8 = 128;

#[derive(Debug, Args)]
pub struct TeachArguments {
    /// The clip from which the digits are learned
    clip: PathBuf,
    /// The camera setup file
    #[arg(long, value_name = "FILE")]
    setup: PathBuf,
    /// Label a reading: the text that a channel shows at a time, such as speed@12.4=63; can be given several
    /// times. Labels are kept in labels.toml beside the glyphs; a label for the same time is replaced
    #[arg(long, value_name = "CHANNEL@SECONDS=TEXT", value_parser = labelled_reading)]
    say: Vec<LabelledReading>,
    /// Remove the label of a time, such as speed@12.4
    #[arg(long, value_name = "CHANNEL@SECONDS", value_parser = moment_named)]
    forget: Vec<LabelMoment>,
    /// Learn from the label of a time, such as speed@12.4, although other labels contradict it: only after
    /// you have checked both
    #[arg(long, value_name = "CHANNEL@SECONDS", value_parser = moment_named)]
    insist: Vec<LabelMoment>,
    /// Replace files in the glyph folder that this program did not make
    #[arg(long)]
    force: bool,
    /// Print as JSON
    #[arg(long)]
    json: bool,
}

/// Parses a label of the form `CHANNEL@SECONDS=TEXT`.
fn labelled_reading(text: &str) -> Result<LabelledReading, String> {
    let form = || format!("\"{text}\" is not of the form CHANNEL@SECONDS=TEXT, such as speed@12.4=63");
    let (moment, shown) = text.split_once('=').ok_or_else(form)?;
    let LabelMoment { channel, time_s } = moment_named(moment).map_err(|_| form())?;
    let shown = shown.trim();
    if shown.is_empty() {
        return Err(form());
    }
    if let Some(other) = shown.chars().find(|letter| !CHARACTERS.contains(*letter)) {
        return Err(format!(
            "the text \"{shown}\" contains '{other}', but a number has only digits, `.`, `-` and `:`; leave out \
             units and icons"
        ));
    }
    Ok(LabelledReading { channel, time_s, text: shown.to_owned() })
}

/// Parses a channel and a time of the form `CHANNEL@SECONDS`.
fn moment_named(text: &str) -> Result<LabelMoment, String> {
    let form = || format!("\"{text}\" is not of the form CHANNEL@SECONDS, such as speed@12.4");
    let (channel, seconds) = text.split_once('@').ok_or_else(form)?;
    let time_s: f64 = seconds.trim().parse().map_err(|_| form())?;
    if !(0.0..=MAX_NUMBER).contains(&time_s) || channel.trim().is_empty() {
        return Err(form());
    }
    Ok(LabelMoment { channel: Channel::from(channel.trim().to_owned()), time_s })
}

pub fn run(arguments: &TeachArguments) -> Result<(), Failure> {
    let setup = LoadedSetup::load(&arguments.setup).map_err(Failure::advised)?;
    let folder = setup.glyph_folder();
    GlyphSet::check_folder(&folder).map_err(Failure::advised)?;
    let existing = existing_or(arguments.force, Existing::ReplaceOwn);
    let rules = WriteRules::from(existing).with_inputs([&arguments.clip, &arguments.setup]);
    // Labelled clips lie in the folder of the clip.
    let confinement = Confinement::default().reading([&arguments.clip]).reading(setup.input_files());
    begin(confinement.writing(&folder));
    let mut clip = open_clip(&setup, &arguments.clip)?;
    let mut remembered = remembered(arguments, &folder)?;
    let sample = readings::sample(&mut clip, &setup.setup)?;
    let bar = ShareBar::new("fetching labelled frames");
    let FetchedExamples { examples, rejected, missing_clips } =
        fetch_examples(&mut clip, &setup, &remembered, &|share| bar.set(share))?;
    drop(bar);
    if let (true, Some(first)) = (examples.is_empty(), rejected.first()) {
        return Err(Failure::Misuse(format!("none of the labels can be used: {first}")));
    }
    let insisted = remembered.insisted();
    let mut learned =
        learn_glyphs(&setup.setup.camera.name, &setup.setup.regions, &examples, &insisted, &sample)
            .map_err(Failure::advised)?;
    let labels = examples.len() - learned.rejected.len() - learned.suspects.len();
    learned.rejected.extend(rejected);
    learned.set.save(&folder, &rules).map_err(Failure::advised)?;
    let name = file_name(&arguments.clip);
    for rejected in &learned.rejected {
        say_line!(
            "Label not used and not stored: {}: {}",
            rejected.label,
            wording::label_problem(&rejected.problem)
        );
        remembered.reject(&name, &rejected.label);
    }
    remembered.save(&folder).map_err(Failure::misuse)?;
    for clip in missing_clips {
        say_line!(
            "The labels of {clip} are not used this time, since that clip is not in the same folder as this one. To use them, copy {clip} into this folder."
        );
    }
    report(arguments, &learned, PictureFolder { path: &folder, rules: &rules }, labels)
}

/// The labels stored in `folder`, with the changes that the command line asks for.
fn remembered(arguments: &TeachArguments, folder: &Path) -> Result<LabelFile, Failure> {
    let mut file = LabelFile::load(folder).map_err(Failure::misuse)?;
    let name = file_name(&arguments.clip);
    let unlabelled = |option: &str, moment: &LabelMoment| {
        Failure::Misuse(format!(
            "{option} {moment}: the clip {name} has no label of this channel at this time; the labels are listed in {}",
            LabelFile::path(folder).display()
        ))
    };
    for moment in &arguments.forget {
        if !file.forget(&name, &moment.channel, moment.time_s) {
            return Err(unlabelled("--forget", moment));
        }
    }
    arguments.say.iter().for_each(|label| file.add(&name, label));
    for moment in &arguments.insist {
        if !file.insist(&name, &moment.channel, moment.time_s) {
            return Err(unlabelled("--insist", moment));
        }
    }
    Ok(file)
}

/// The folder for the images that show what to label.
#[derive(Clone, Copy)]
pub struct PictureFolder<'a> {
    pub path: &'a Path,
    pub rules: &'a WriteRules,
}

impl PictureFolder<'_> {
    /// Removes the images that an earlier run of the command saved.
    fn remove_old(self) -> Result<(), Failure> {
        for path in files_in(self.path).iter().filter(|path| is_old_picture(&file_name(path))) {
            remove_checked(path, self.rules).map_err(|error| {
                Failure::Failed(format!(
                    "cannot remove the old image {}: {error}; remove it by hand",
                    path.display()
                ))
            })?;
        }
        Ok(())
    }

    /// Saves an image and returns its path. The file name consists of `name` and `number` + 1.
    pub fn save(self, picture: &GrayImage, name: &str, number: usize) -> Result<PathBuf, Failure> {
        let path = self.path.join(format!("{name}{}.png", number + 1));
        let picture = image::DynamicImage::ImageLuma8(picture.clone()).to_rgb8();
        save_png(&picture, &path, self.rules).map_err(Failure::failed)?;
        Ok(path)
    }
}

/// Whether `name` is a file name under which the command saves images: one of its prefixes, a number and `.png`.
fn is_old_picture(name: &str) -> bool {
    let numbered = |prefix: &str| {
        let number = name.strip_prefix(prefix).and_then(|rest| rest.strip_suffix(".png"));
        number.is_some_and(|number| number.parse::<u32>().is_ok())
    };
    [NEXT_NAME, SUSPECT_NAME, QUESTION_NAME, EARLIER_NAME].into_iter().any(numbered)
}

/// The image enlarged so that it is easy to read.
pub fn enlarged(picture: &GrayImage) -> GrayImage {
    let times = MIN_HEIGHT_PX.div_ceil(picture.height().max(1)).max(MIN_MAGNIFICATION);
    let (width, height) = (picture.width() * times, picture.height() * times);
    image::imageops::resize(picture, width, height, image::imageops::FilterType::CatmullRom)
}

/// The image of a suspect label and, to its right, that of the label that contradicts it, if there is one.
fn side_by_side(suspect: &SuspectLabel) -> GrayImage {
    let one = enlarged(&suspect.image);
    let Some(conflicting) = &suspect.conflicting else { return one };
    let other = enlarged(&conflicting.image);
    let size = (one.width() + GAP_PX + other.width(), one.height().max(other.height()));
    let mut both = GrayImage::from_pixel(size.0, size.1, Luma([GAP_LEVEL]));
    image::imageops::replace(&mut both, &one, 0, 0);
    image::imageops::replace(&mut both, &other, i64::from(one.width() + GAP_PX), 0);
    both
}

fn report(
    arguments: &TeachArguments,
    learned: &LearnedGlyphs,
    folder: PictureFolder<'_>,
    labels: usize,
) -> Result<(), Failure> {
    folder.remove_old()?;
    let (mut suspects, mut next) = (Vec::new(), Vec::new());
    for (number, suspect) in learned.suspects.iter().enumerate() {
        suspects.push(folder.save(&side_by_side(suspect), SUSPECT_NAME, number)?);
    }
    for (number, ask) in learned.requests.iter().enumerate() {
        next.push(folder.save(&enlarged(&ask.image), NEXT_NAME, number)?);
    }
    let missing: String = learned.missing.iter().flat_map(|missing| missing.digits.iter()).collect();
    if arguments.json {
        super::print_json(&as_json(learned, folder.path, &missing, &suspects).to_string());
        return Ok(());
    }
    for (suspect, path) in learned.suspects.iter().zip(suspects) {
        let moment = format!("{}@{}", suspect.label.channel.name(), suspect.label.time_s);
        print_line!("Label not used: {suspect}; see the image {}", path.display());
        print_line!(
            "  correct it with --say {moment}={}, remove it with --forget {moment}, or, if it is right, keep it with --insist {moment}",
            suspect.likely_text
        );
    }
    print_line!(
        "Glyphs: {}, learned from {labels} labelled readings, which are kept in labels.toml in this folder",
        folder.path.display()
    );
    if missing.is_empty() {
        print_line!("All ten digits are known. Next: pairspeed inspect, then pairspeed read.");
        return Ok(());
    }
    print_line!(
        "Digits not labelled yet: {missing}. Readings with these digits stay blank. Label some of these readings next; earlier labels are kept:"
    );
    for (ask, path) in learned.requests.iter().zip(next) {
        print_line!(
            "  --say {}@{:.2}=...   (write the text of the image {} after =)",
            ask.channel.name(),
            ask.time_s,
            path.display()
        );
    }
    Ok(())
}

fn as_json(learned: &LearnedGlyphs, folder: &Path, missing: &str, pictures: &[PathBuf]) -> serde_json::Value {
    let label = |label: &LabelledReading| serde_json::json!({ "channel": label.channel.name(), "time_s": label.time_s, "text": label.text });
    let suspect = |(suspect, picture): (&SuspectLabel, &PathBuf)| serde_json::json!({ "label": label(&suspect.label), "seems": suspect.likely_text, "picture": picture.to_string_lossy() });
    let suspects: Vec<_> = learned.suspects.iter().zip(pictures).map(suspect).collect();
    let rejected = learned.rejected.iter();
    let rejected: Vec<_> = rejected
        .map(|one| serde_json::json!({ "label": label(&one.label), "problem": one.problem.to_string() }))
        .collect();
    let next = learned.requests.iter();
    let next: Vec<_> =
        next.map(|ask| serde_json::json!({ "channel": ask.channel.name(), "time_s": ask.time_s })).collect();
    serde_json::json!({
        "glyphs": folder.to_string_lossy(), "missing": missing, "suspects": suspects, "rejected": rejected, "label_next": next
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn images_of_readings_to_label_are_large() {
        assert_eq!(enlarged(&GrayImage::new(40, 20)).dimensions(), (240, 120));
        assert_eq!(enlarged(&GrayImage::new(200, 90)).dimensions(), (800, 360));
    }

    #[test]
    fn only_the_images_of_an_earlier_command_are_removed() {
        let folder = tempfile::tempdir().unwrap();
        for name in ["tell-next-1.png", "label-next-6.png", "suspect-2.png", "labels.toml", "5.png"] {
            std::fs::write(folder.path().join(name), "").unwrap();
        }
        for name in ["label-next-best.png", "suspect-.png", "label-next-1.jpg"] {
            std::fs::write(folder.path().join(name), "mine").unwrap();
        }
        let rules = WriteRules::from(Existing::ReplaceOwn);
        PictureFolder { path: folder.path(), rules: &rules }.remove_old().unwrap();
        let entries = std::fs::read_dir(folder.path()).unwrap();
        let mut left: Vec<String> = entries.map(|entry| file_name(&entry.unwrap().path())).collect();
        left.sort();
        assert_eq!(left, ["5.png", "label-next-1.jpg", "label-next-best.png", "labels.toml", "suspect-.png"]);
    }
}
