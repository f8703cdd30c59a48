//! `teach`: learns the glyphs from told readings.

use std::path::{Path, PathBuf};

use clap::Args;
use pairspeed::channel::Channel;
use pairspeed::files::{Existing, file_name};
use pairspeed::glyphs::CHARACTERS;
use pairspeed::readings;
use pairspeed::setup::LoadedSetup;
use pairspeed::teach::{Contradiction, Lesson, Told, ToldFile, open_for, teach, told_moments};

use super::Failure;

/// How the names of the pictures of what to tell next begin.
const PICTURE_NAME: &str = "tell-next-";
/// The pictures are enlarged so many times at least, and to such a height.
const LEAST_TIMES: u32 = 4;
const LEAST_HEIGHT_PX: u32 = 120;

#[derive(Debug, Args)]
pub struct TeachArguments {
    /// The clip
    clip: PathBuf,
    /// The camera setup file
    #[arg(long, value_name = "FILE")]
    setup: PathBuf,
    /// What a channel shows at a moment, such as speed@12.4=63; give it several times. Former
    /// readings are remembered in told.toml beside the glyphs; one of the same moment is replaced
    #[arg(long, value_name = "CHANNEL@SECONDS=TEXT", value_parser = told)]
    say: Vec<Told>,
    /// Forget the reading told for a moment, such as speed@12.4
    #[arg(long, value_name = "CHANNEL@SECONDS", value_parser = moment_named)]
    forget: Vec<(Channel, f64)>,
    /// Learn although told readings contradict each other: only when you have looked at both again
    #[arg(long)]
    despite: bool,
    /// Print as JSON
    #[arg(long)]
    json: bool,
}

/// Parses `CHANNEL@SECONDS=TEXT`.
fn told(text: &str) -> Result<Told, String> {
    let form = || format!("\"{text}\" is not of the form CHANNEL@SECONDS=TEXT, such as speed@12.4=63");
    let (moment, shown) = text.split_once('=').ok_or_else(form)?;
    let (channel, time_s) = moment_named(moment).map_err(|_| form())?;
    let shown = shown.trim();
    if shown.is_empty() {
        return Err(form());
    }
    if let Some(other) = shown.chars().find(|letter| !CHARACTERS.contains(*letter)) {
        return Err(format!(
            "the text \"{shown}\" holds '{other}', but a number has only digits, `.`, `-` and `:`; leave out \
             units and icons"
        ));
    }
    Ok(Told { channel, time_s, text: shown.to_owned() })
}

/// Parses `CHANNEL@SECONDS`.
fn moment_named(text: &str) -> Result<(Channel, f64), String> {
    let form = || format!("\"{text}\" is not of the form CHANNEL@SECONDS, such as speed@12.4");
    let (channel, seconds) = text.split_once('@').ok_or_else(form)?;
    let time_s: f64 = seconds.trim().parse().map_err(|_| form())?;
    if !(time_s.is_finite() && time_s >= 0.0) || channel.trim().is_empty() {
        return Err(form());
    }
    Ok((Channel::from(channel.trim().to_owned()), time_s))
}

pub fn run(arguments: &TeachArguments) -> Result<(), Failure> {
    let setup = LoadedSetup::load(&arguments.setup).map_err(Failure::misuse)?;
    let folder = setup.glyph_folder();
    let mut clip = open_for(&setup, &arguments.clip)?;
    let remembered = remembered(arguments, &setup, &folder)?;
    let sample = readings::sample(&mut clip, &setup.setup)?;
    let (moments, left_out) = told_moments(&mut clip, &setup, &remembered)?;
    let lesson =
        teach(&setup.setup.camera.name, &setup.setup.regions, &moments, &sample).map_err(Failure::misuse)?;
    if !lesson.contradictions.is_empty() && !arguments.despite {
        return Err(Failure::Misuse(refusal(&lesson.contradictions)));
    }
    lesson.set.save(&folder).map_err(Failure::misuse)?;
    remembered.save(&folder).map_err(Failure::misuse)?;
    for clip in left_out {
        eprintln!("Not found beside this clip, so the readings told of it are left out this time: {clip}");
    }
    report(arguments, &lesson, &folder, moments.len())
}

/// What was told before, with what this call forgets and tells.
fn remembered(arguments: &TeachArguments, setup: &LoadedSetup, folder: &Path) -> Result<ToldFile, Failure> {
    let mut file = ToldFile::load(folder).map_err(Failure::misuse)?;
    let name = file_name(&arguments.clip);
    for (channel, time_s) in &arguments.forget {
        if !file.forget(&name, channel, *time_s) {
            return Err(Failure::Misuse(format!(
                "--forget {}@{time_s}: nothing was told of this moment of {name}; {} holds what was told",
                channel.name(),
                ToldFile::path(folder).display()
            )));
        }
    }
    arguments.say.iter().for_each(|told| file.add(&name, told));
    let marked: Vec<&str> = setup.setup.regions.iter().map(|region| region.channel.name()).collect();
    if let Some(told) = file.told.iter().find(|told| !marked.contains(&told.channel.name())) {
        return Err(Failure::Misuse(format!(
            "{}@{}={}: {} marks no channel {}; it marks {}. Told readings are kept in {}",
            told.channel.name(),
            told.time_s,
            told.text,
            arguments.setup.display(),
            told.channel.name(),
            marked.join(", "),
            ToldFile::path(folder).display()
        )));
    }
    Ok(file)
}

fn refusal(contradictions: &[Contradiction]) -> String {
    let mut lines =
        vec!["told readings contradict each other, so nothing is learnt or remembered:".to_owned()];
    for Contradiction { message, .. } in contradictions {
        lines.push(format!("  {message}"));
    }
    if let Some(Contradiction { suspect, .. }) = contradictions.first() {
        let moment = format!("{}@{}", suspect.channel.name(), suspect.time_s);
        lines.push(format!(
            "Look at it with `pairspeed inspect CLIP --setup FILE --at {}`, then give the call again with \
             the right text (--say {moment}=...), without this reading, or with --forget {moment} if it was \
             told before. If all is told rightly, add --despite.",
            suspect.time_s
        ));
    }
    lines.join("\n")
}

/// Removes the pictures of what an earlier lesson asked for.
fn remove_old_pictures(folder: &Path) -> Result<(), Failure> {
    let failed = |error: std::io::Error| {
        Failure::Failed(format!("{}: cannot remove the old {PICTURE_NAME}*.png: {error}", folder.display()))
    };
    for entry in std::fs::read_dir(folder).map_err(failed)? {
        let path = entry.map_err(failed)?.path();
        let name = file_name(&path);
        if name.starts_with(PICTURE_NAME) && name.ends_with(".png") {
            std::fs::remove_file(&path).map_err(failed)?;
        }
    }
    Ok(())
}

/// A picture large enough to be read at a glance.
fn enlarged(picture: &image::GrayImage) -> image::GrayImage {
    let times = LEAST_HEIGHT_PX.div_ceil(picture.height().max(1)).max(LEAST_TIMES);
    let (width, height) = (picture.width() * times, picture.height() * times);
    image::imageops::resize(picture, width, height, image::imageops::FilterType::CatmullRom)
}

fn report(arguments: &TeachArguments, lesson: &Lesson, folder: &Path, told: usize) -> Result<(), Failure> {
    let mut pictures = Vec::new();
    remove_old_pictures(folder)?;
    for (number, ask) in lesson.ask_next.iter().enumerate() {
        let path = folder.join(format!("{PICTURE_NAME}{}.png", number + 1));
        let picture = image::DynamicImage::ImageLuma8(enlarged(&ask.picture)).to_rgb8();
        pairspeed::picture::save_png(&picture, &path, Existing::Replace).map_err(Failure::failed)?;
        pictures.push(path);
    }
    let missing: String = lesson.missing.iter().flat_map(|(_, digits)| digits.iter()).collect();
    let contradictions: Vec<&str> = lesson.contradictions.iter().map(|one| one.message.as_str()).collect();
    if arguments.json {
        let ask: Vec<_> = lesson
            .ask_next
            .iter()
            .map(|ask| serde_json::json!({ "channel": ask.channel.name(), "time_s": ask.time_s }))
            .collect();
        tell!(
            "{}",
            serde_json::json!({ "glyphs": folder, "missing": missing, "contradictions": contradictions, "tell_next": ask })
        );
        return Ok(());
    }
    tell!("Glyphs: {}, learnt from {told} told readings (kept in its told.toml)", folder.display());
    for contradiction in contradictions {
        tell!("Contradiction: {contradiction}");
    }
    if missing.is_empty() {
        tell!("All ten digits are known. Next: pairspeed inspect, then pairspeed read.");
        return Ok(());
    }
    tell!(
        "Not seen yet: {missing}. Readings with these digits stay blank. Tell some of these next; what you told before is remembered:"
    );
    for (ask, path) in lesson.ask_next.iter().zip(pictures) {
        tell!("  --say {}@{:.2}=...   (shown in {})", ask.channel.name(), ask.time_s, path.display());
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn pictures_of_what_to_tell_next_are_large() {
        assert_eq!(enlarged(&image::GrayImage::new(40, 20)).dimensions(), (240, 120));
        assert_eq!(enlarged(&image::GrayImage::new(200, 90)).dimensions(), (800, 360));
    }

    #[test]
    fn only_the_pictures_of_an_earlier_lesson_are_removed() {
        let folder = tempfile::tempdir().unwrap();
        for name in ["tell-next-1.png", "tell-next-6.png", "told.toml", "5.png"] {
            std::fs::write(folder.path().join(name), "").unwrap();
        }
        remove_old_pictures(folder.path()).unwrap();
        let entries = std::fs::read_dir(folder.path()).unwrap();
        let mut left: Vec<String> = entries.map(|entry| file_name(&entry.unwrap().path())).collect();
        left.sort();
        assert_eq!(left, ["5.png", "told.toml"]);
    }
}
