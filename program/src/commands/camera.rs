//! The setup of a recording for which none is given: an existing one beside the clip that fits, or a new one, made by
//! finding and deciphering the overlay.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use pairspeed::files::Existing;
use pairspeed::footage::Clip;
use pairspeed::known_camera::{FolderSearchError, known_camera};
use pairspeed::model::channel::Channel;
use pairspeed::new_camera::{DigitQuestion, NamedReadout, NewCamera, NewCameraError, prepare_camera};
use pairspeed::picture::{Label, annotate, check_path, save_png};
use pairspeed::setup::{LoadedSetup, usual_setup};

use super::Failure;
use super::ask::Conversation;
use super::progress::ShareBar;
use super::teach::{PictureFolder, QUESTION_NAME, enlarged};
use crate::quoting::quoted;
use crate::wording;

/// The setup for the clips of a flight. With `ask`, the pilot is asked about doubtful channels, missing units and
/// doubtful digits of a new setup.
///
/// `beside` are the setups in the folder of the first clip, or the reason why they cannot be listed.
pub fn setup_for(
    clips: &[PathBuf],
    beside: Result<Vec<LoadedSetup>, FolderSearchError>,
    ask: bool,
) -> Result<LoadedSetup, Failure> {
    let Some(first) = clips.first() else {
        return Err(Failure::Misuse("no clip is given".to_owned()));
    };
    let own = usual_setup(first);
    if own.exists() {
        say_line!("Setup: {}", own.display());
        return LoadedSetup::load(&own).map_err(Failure::advised);
    }
    let mut clip = Clip::open(first)?;
    if let Some(known) = known_camera(&mut clip, beside.map_err(Failure::misuse)?) {
        say_line!("Setup: {} (it fits this recording)", known.path.display());
        return Ok(known);
    }
    new_setup(&mut clip, first, &own, ask)
}

/// Finds and deciphers the overlay of a clip, saves the setup, and prints the channel of each readout.
fn new_setup(clip: &mut Clip, path: &Path, setup: &Path, ask: bool) -> Result<LoadedSetup, Failure> {
    let picture = setup.with_extension("png");
    check_path(&picture, &Existing::ReplaceOwn.into()).map_err(Failure::misuse)?;
    let bar = ShareBar::new("looking for the overlay");
    let mut camera = prepare_camera(clip, setup, &|share| bar.set(share)).map_err(failure)?;
    drop(bar);
    if ask {
        Conversation::on_terminal().ask_all(&mut camera, clip).map_err(failure)?;
    }
    camera.save(Existing::Keep).map_err(failure)?;
    save_boxes(&camera, &picture)?;
    describe(&camera, &picture);
    describe_questions(&camera, path)?;
    if camera.readouts.iter().any(|readout| readout.guess.channel == Channel::Speed) {
        return Ok(camera.setup);
    }
    let undeciphered = match camera.undeciphered.len() {
        0 => String::new(),
        count => format!(
            ". If the speed is in one of the {count} boxes whose digits could not be deciphered, run `pairspeed setup {} --force`: it replaces the setup file by one with these boxes, too",
            quoted(path)
        ),
    };
    Err(Failure::Failed(format!(
        "{}: none of the readouts behaves like a speed. Look at the image {}; write channel = \"speed\" for its box in {}, then give \
         the same command again{undeciphered}",
        path.display(),
        picture.display(),
        setup.display()
    )))
}

fn failure(error: NewCameraError) -> Failure {
    match error {
        NewCameraError::Footage(error) => error.into(),
        NewCameraError::Setup(_) | NewCameraError::Glyphs(_) | NewCameraError::Labels(_) => {
            Failure::Misuse(wording::message(&error))
        }
        other => Failure::Failed(wording::message(&other)),
    }
}

fn save_boxes(camera: &NewCamera, picture: &Path) -> Result<(), Failure> {
    let labels: Vec<Label> = camera
        .readouts
        .iter()
        .map(|NamedReadout { guess, rect, example }| Label {
            rect: *rect,
            title: guess.channel.name().to_owned(),
            // The text of another frame would contradict the image.
            detail: if example.time_s == camera.still_time_s { example.text.clone() } else { String::new() },
        })
        .collect();
    save_png(&annotate(&camera.still, &labels), picture, Existing::ReplaceOwn).map_err(Failure::misuse)
}

/// Prints the readouts that were found to standard error, because standard output is for the result alone.
/// `picture` is the path of the image of their boxes.
fn describe(camera: &NewCamera, picture: &Path) {
    say_line!(
        "No setup is given, so the overlay was searched. It shows these channels (certainty, reasons, example):"
    );
    for NamedReadout { guess, example, .. } in &camera.readouts {
        let check = if guess.is_certain() { "" } else { ", please check" };
        say_line!(
            "  {:12} {:.0} %{check}: {} (such as {} at {:.1} s)",
            guess.channel.name(),
            100.0 * guess.probability,
            guess.reasons_in_words(),
            example.text,
            example.time_s
        );
    }
    let setup = camera.setup.path.display();
    if !camera.undeciphered.is_empty() {
        let boxes = match camera.undeciphered.len() {
            1 => "1 box".to_owned(),
            number => format!("{number} boxes"),
        };
        say_line!("Left out: {boxes} with digits that could not be deciphered.");
    }
    say_line!("Image of the boxes: {}. Names, units and boxes can be changed in {setup}.", picture.display());
    let missing: String = camera.set.missing_digits().into_iter().collect();
    if !missing.is_empty() {
        say_line!("The shapes of these digits are not certain: {missing}. Readings with them stay blank.");
    }
}

/// Saves the images of the doubtful digits beside the glyphs, and prints the command that confirms them.
fn describe_questions(camera: &NewCamera, clip: &Path) -> Result<(), Failure> {
    if camera.questions.is_empty() {
        return Ok(());
    }
    let folder = camera.setup.glyph_folder();
    let pictures = PictureFolder { path: &folder, rules: &Existing::ReplaceOwn.into() };
    let mut labels = String::new();
    for (number, DigitQuestion { guess, image, .. }) in camera.questions.iter().enumerate() {
        let path = pictures.save(&enlarged(image), QUESTION_NAME, number)?;
        say_line!(
            "  {} at {:.2} s seems to show {}: see the image {}",
            guess.channel.name(),
            guess.time_s,
            guess.text,
            path.display()
        );
        write!(labels, " --say {}@{:.2}={}", guess.channel.name(), guess.time_s, guess.text)
            .map_err(Failure::failed)?;
    }
    say_line!(
        "Compare the images with these texts, correct the text after = where it is wrong, run this command, then read again:"
    );
    say_line!("  pairspeed teach {} --setup {}{labels}", quoted(clip), quoted(&camera.setup.path));
    Ok(())
}
