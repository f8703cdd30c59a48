//! `teach`: learns the glyphs from told readings.

use std::path::PathBuf;

use clap::Args;
use pairspeed::channel::Channel;
use pairspeed::files::Existing;
use pairspeed::footage::{Clip, FrameSource, frames_near};
use pairspeed::readings;
use pairspeed::recognise::Patch;
use pairspeed::setup::{LoadedSetup, Region};
use pairspeed::teach::{Lesson, Told, ToldMoment, teach};

use super::Failure;

/// Frames looked at before and after a told moment, to see how long its text was held.
const NEIGHBOURS: u64 = 4;

#[derive(Debug, Args)]
pub struct TeachArguments {
    /// The clip
    clip: PathBuf,
    /// The camera setup file
    #[arg(long, value_name = "FILE")]
    setup: PathBuf,
    /// What a channel shows at a moment, such as speed@12.4=63; give it several times
    #[arg(long, value_name = "CHANNEL@SECONDS=TEXT", required = true, value_parser = told)]
    say: Vec<Told>,
    /// Print as JSON
    #[arg(long)]
    json: bool,
}

/// Parses `CHANNEL@SECONDS=TEXT`.
fn told(text: &str) -> Result<Told, String> {
    let form = || format!("\"{text}\" is not of the form CHANNEL@SECONDS=TEXT, such as speed@12.4=63");
    let (channel, rest) = text.split_once('@').ok_or_else(form)?;
    let (seconds, shown) = rest.split_once('=').ok_or_else(form)?;
    let time_s: f64 = seconds.trim().parse().map_err(|_| form())?;
    if !(time_s.is_finite() && time_s >= 0.0) || channel.trim().is_empty() || shown.trim().is_empty() {
        return Err(form());
    }
    Ok(Told { channel: Channel::from(channel.to_owned()), time_s, text: shown.trim().to_owned() })
}

pub fn run(arguments: &TeachArguments) -> Result<(), Failure> {
    let setup = LoadedSetup::load(&arguments.setup).map_err(Failure::misuse)?;
    let folder = setup.glyph_folder().ok_or_else(|| {
        Failure::Misuse(format!(
            "{}: no folder for the glyphs: add glyphs = \"NAME-glyphs\" under [camera]",
            arguments.setup.display()
        ))
    })?;
    let mut clip = Clip::open(&arguments.clip)?;
    let info = clip.info().clone();
    setup.check_frame(&info.path.display().to_string(), info.width, info.height).map_err(Failure::misuse)?;
    let sample = readings::sample(&mut clip, &setup.setup)?;
    let regions = &setup.setup.regions;
    let mut moments = Vec::new();
    for told in &arguments.say {
        if let Some(region) = regions.iter().find(|region| region.channel == told.channel) {
            moments.push(moment(&mut clip, region, told)?);
        }
    }
    if let Some(told) = arguments.say.iter().find(|told| !regions.iter().any(|r| r.channel == told.channel)) {
        let marked: Vec<&str> = regions.iter().map(|region| region.channel.name()).collect();
        return Err(Failure::Misuse(format!(
            "--say {}@{}: the setup marks no such channel; it marks {}",
            told.channel.name(),
            told.time_s,
            marked.join(", ")
        )));
    }
    let lesson = teach(&setup.setup.camera.name, regions, &moments, &sample).map_err(Failure::misuse)?;
    lesson.set.save(&folder).map_err(Failure::failed)?;
    report(arguments, &lesson, &folder)
}

/// The told frame with those shortly before and after it.
fn moment(clip: &mut Clip, region: &Region, told: &Told) -> Result<ToldMoment, Failure> {
    let patch = |frame: &pairspeed::footage::FoundFrame| Patch::of(&frame.image, region.place, frame.time_s);
    let centre = frames_near(clip, &[told.time_s])?;
    let centre = centre.first().ok_or_else(|| Failure::Failed("the clip has no frames".to_owned()))?;
    let rate_hz = clip.info().nominal_rate_hz.filter(|rate| *rate > 1.0).unwrap_or(25.0);
    let offsets = (1..=NEIGHBOURS).map(|k| k as f64 / rate_hz);
    let before: Vec<f64> =
        offsets.clone().map(|offset| centre.time_s - offset).filter(|t| *t >= 0.0).collect();
    let after: Vec<f64> = offsets.map(|offset| centre.time_s + offset).collect();
    Ok(ToldMoment {
        told: told.clone(),
        centre: patch(centre),
        before: frames_near(clip, &before)?.iter().map(patch).collect(),
        after: frames_near(clip, &after)?.iter().map(patch).collect(),
    })
}

fn report(arguments: &TeachArguments, lesson: &Lesson, folder: &std::path::Path) -> Result<(), Failure> {
    let mut pictures = Vec::new();
    for (number, ask) in lesson.ask_next.iter().enumerate() {
        let path = folder.join(format!("tell-next-{}.png", number + 1));
        let picture = image::DynamicImage::ImageLuma8(ask.picture.clone()).to_rgb8();
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
        println!(
            "{}",
            serde_json::json!({ "glyphs": folder, "missing": missing, "contradictions": contradictions, "tell_next": ask })
        );
        return Ok(());
    }
    println!("Glyphs: {}", folder.display());
    for contradiction in contradictions {
        println!("Contradiction: {contradiction}");
    }
    if missing.is_empty() {
        println!("All ten digits are known.");
        return Ok(());
    }
    println!(
        "Not seen yet: {missing}. Readings with these digits stay blank. Tell one of these next, with the former ones:"
    );
    for (ask, path) in lesson.ask_next.iter().zip(pictures) {
        println!("  --say {}@{:.2}=...   (shown in {})", ask.channel.name(), ask.time_s, path.display());
    }
    Ok(())
}
