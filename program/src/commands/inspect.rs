//! `inspect`: the properties of a clip, and what each region reads at one time.

use std::path::{Path, PathBuf};

use clap::Args;
use pairspeed::confinement::Confinement;
use pairspeed::files::{Existing, WriteRules};
use pairspeed::footage::{Clip, ClipInfo, FootageError, FrameSource, frames_near};
use pairspeed::glyph_sets;
use pairspeed::output::BlankReasons;
use pairspeed::picture::{Label, annotate, check_path, save_png};
use pairspeed::readings::{self, FrameReading, read_frame};
use pairspeed::recognise::{Recogniser, RegionReading};
use pairspeed::series::Blank;
use pairspeed::setup::{LoadedSetup, Region};
use serde_json::{Value, json};

use super::numbers::seconds;
use super::{Failure, begin, existing_or, picture_failure};

/// Maximum time, in seconds, by which the time given with `--at` may exceed the timestamp of the last frame. Set
/// by judgement: one frame interval at 20 frames per second, the lowest usual rate.
const LATE_S: f64 = 0.05;

#[derive(Debug, Args)]
pub struct InspectArguments {
    /// The clip to inspect
    clip: PathBuf,
    /// The camera setup file whose regions are read
    #[arg(long, value_name = "FILE")]
    setup: Option<PathBuf>,
    /// Time in seconds from the first video frame. Without it, the first frame is shown, and all frames are
    /// counted and checked for damage
    #[arg(long, value_name = "SECONDS", value_parser = seconds, allow_negative_numbers = true)]
    at: Option<f64>,
    /// File for the image. Default: beside the clip, with the time in its name, such as
    /// flight.inspect-12.4s.png
    #[arg(long, value_name = "FILE")]
    picture: Option<PathBuf>,
    /// Replace an image file that this program did not make
    #[arg(long)]
    force: bool,
    /// Print as JSON
    #[arg(long)]
    json: bool,
}

impl InspectArguments {
    /// Path of the image file: the one given with `--picture`, otherwise a file beside the clip with the time
    /// `at_s`, in seconds, in its name.
    fn picture_file(&self, at_s: f64) -> PathBuf {
        let usual = || self.clip.with_extension(format!("inspect-{at_s}s.png"));
        self.picture.clone().unwrap_or_else(usual)
    }

    fn rules(&self, setup: Option<&LoadedSetup>) -> WriteRules {
        let inputs = setup.map(LoadedSetup::input_files).unwrap_or_default();
        let existing = existing_or(self.force, Existing::ReplaceOwn);
        WriteRules::from(existing).with_inputs([&self.clip]).with_inputs(inputs)
    }
}

/// The properties of a clip and the readings of one frame.
struct Inspection {
    info: ClipInfo,
    /// Number of frames; `None` if a time was given, so that they were not counted.
    frames: Option<u64>,
    /// Time of the last frame of the clip, in seconds from the first.
    length_s: f64,
    /// Notes on damage and gaps, as sentences.
    notes: Vec<String>,
    /// Time of the frame shown, in seconds from the first.
    time_s: f64,
    regions: Vec<InspectedRegion>,
    /// Path of the saved image of the frame shown.
    picture: PathBuf,
}

pub fn run(arguments: &InspectArguments) -> Result<(), Failure> {
    let setup =
        arguments.setup.as_ref().map(|path| LoadedSetup::load(path)).transpose().map_err(Failure::advised)?;
    let confinement = Confinement::default()
        .reading([&arguments.clip])
        .reading(setup.iter().flat_map(LoadedSetup::input_files));
    begin(confinement.writing(&arguments.picture_file(arguments.at.unwrap_or(0.0))));
    let mut clip = Clip::open(&arguments.clip)?;
    setup.iter().flat_map(LoadedSetup::warnings).for_each(|warning| say_line!("pairspeed: {warning}"));
    let at_s = arguments.at.unwrap_or(0.0);
    let picture = arguments.picture_file(at_s);
    let rules = arguments.rules(setup.as_ref());
    check_path(&picture, &rules).map_err(|error| picture_failure(&error))?;
    let (frames, length_s) = match arguments.at {
        Some(_) => (None, clip.last_time_s()?),
        None => {
            let (frames, length_s) = count_frames(&mut clip)?;
            (Some(frames), length_s)
        }
    };
    if at_s > length_s + LATE_S {
        return Err(Failure::Misuse(format!(
            "--at {at_s}: {} ends at {length_s:.2} s; give an earlier time",
            arguments.clip.display()
        )));
    }
    let info = clip.info().clone();
    let notes = clip.notes().sentences(&arguments.clip);
    let found = frames_near(&mut clip, &[at_s])?;
    let frame = found.first().ok_or_else(|| {
        Failure::Failed(format!(
            "{}: no frame can be decoded at this time; give another time with --at",
            arguments.clip.display()
        ))
    })?;
    let regions = match &setup {
        Some(setup) => read_regions(&mut clip, setup, frame)?,
        None => Vec::new(),
    };
    // An image of a large frame takes as much memory as its decoder.
    drop(clip);
    let labels: Vec<Label> = regions.iter().map(InspectedRegion::label).collect();
    save_png(&annotate(&frame.image, &labels), &picture, &rules).map_err(Failure::misuse)?;
    let inspection = Inspection { info, frames, length_s, notes, time_s: frame.time_s, regions, picture };
    if arguments.json {
        super::print_json(&inspection.json(&arguments.clip).to_string());
    } else {
        inspection.print(&arguments.clip);
    }
    Ok(())
}

impl Inspection {
    fn json(&self, clip: &Path) -> Value {
        let Self { info, frames, length_s, notes, time_s, regions, picture } = self;
        let regions: Vec<_> = regions.iter().map(InspectedRegion::json).collect();
        json!({
            "clip": clip.to_string_lossy(), "container": info.container, "codec": info.codec,
            "width": info.width, "height": info.height, "nominal_rate_hz": info.nominal_rate_hz,
            "frames": frames, "last_frame_s": length_s, "notes": notes,
            "time_s": time_s, "regions": regions, "picture": picture.to_string_lossy(),
        })
    }

    fn print(&self, clip: &Path) {
        let Self { info, frames, length_s, notes, time_s, regions, picture } = self;
        print_line!(
            "{}: {} in {}, {}x{} pixels",
            clip.display(),
            info.codec,
            info.container,
            info.width,
            info.height
        );
        match frames {
            Some(frames) => print_line!("{}", count_and_rate(*frames, *length_s)),
            None => print_line!("last frame at {length_s:.3} s"),
        }
        for note in notes {
            print_line!("{note}");
        }
        for read in regions {
            print_line!("at {time_s:.3} s  {:12} {}", read.region.channel.name(), read.in_words());
        }
        print_line!("Picture: {}", picture.display());
    }
}

/// Decodes a whole clip, and returns the number of its frames and the time of its last frame, in seconds from the
/// first.
fn count_frames(clip: &mut Clip) -> Result<(u64, f64), FootageError> {
    let (mut frames, mut length_s) = (0, 0.0);
    while let Some(frame) = clip.next_frame()? {
        frames += 1;
        length_s = frame.time_s;
    }
    Ok((frames, length_s))
}

/// The number of frames and the frame rate as text; `length_s` is the time of the last frame, in seconds from the
/// first.
fn count_and_rate(frames: u64, length_s: f64) -> String {
    if frames <= 1 || length_s <= 0.0 {
        return format!("{frames} frame{}", if frames == 1 { "" } else { "s" });
    }
    let rate_hz = (frames - 1) as f64 / length_s;
    format!(
        "{frames} frames in {length_s:.3} s, on average {rate_hz:.2} frames per second by their timestamps"
    )
}

/// A region and its reading.
struct InspectedRegion {
    region: Region,
    shown: RegionReading,
    /// Why the command `read` would leave the reading blank, judged by this frame alone; `None` if it would not be
    /// left blank.
    blank: Option<String>,
}

impl InspectedRegion {
    fn of(region: &Region, reading: FrameReading) -> Self {
        let FrameReading { shown, blank, unknown_digits } = reading;
        let reasons = BlankReasons::of_region(region, &unknown_digits);
        let blank = (blank != Blank::No).then(|| reasons.words(blank));
        Self { region: region.clone(), shown, blank }
    }

    /// The text that was read, or why there is none.
    fn in_words(&self) -> String {
        let blank = |reason: &String| format!("left blank: {reason}");
        match (&self.shown, &self.blank) {
            (RegionReading::Text { text, confidence, .. }, None) => {
                format!("{text}, confidence {:.1} %", (100.0 * confidence).min(99.9))
            }
            (RegionReading::Text { text, .. } | RegionReading::Unclear { text, .. }, Some(reason)) => {
                format!("{}; perhaps {text}", blank(reason))
            }
            (_, reason) => reason.as_ref().map_or_else(String::new, blank),
        }
    }

    fn label(&self) -> Label {
        Label {
            rect: self.region.rect,
            title: self.region.channel.name().to_owned(),
            detail: self.in_words(),
        }
    }

    /// The reading as JSON: `text` is the most probable text, `value` its number if the text is clear,
    /// `confidence` the probability that the text is right, `blank_reason` why `read` would leave it blank;
    /// each is `null` if there is none.
    fn json(&self) -> Value {
        let (text, value, confidence) = match &self.shown {
            RegionReading::Nothing => (None, None, None),
            RegionReading::Unclear { text, confidence, .. } => (Some(text), None, Some(confidence)),
            RegionReading::Text { text, value, confidence } => (Some(text), Some(value), Some(confidence)),
        };
        json!({
            "channel": self.region.channel, "unit": self.region.unit_shown(),
            "text": text, "value": value, "confidence": confidence, "blank_reason": self.blank,
        })
    }
}

fn read_regions(
    clip: &mut Clip,
    setup: &LoadedSetup,
    frame: &pairspeed::footage::FoundFrame,
) -> Result<Vec<InspectedRegion>, Failure> {
    let name = clip.info().path.display().to_string();
    setup.check_frame(&name, clip.info().width, clip.info().height).map_err(Failure::advised)?;
    let sets = glyph_sets(setup).map_err(Failure::advised)?;
    let sample = readings::sample(clip, &setup.setup)?;
    let recogniser = Recogniser::calibrate(&setup.setup.regions, &sets, &sample);
    let regions = &setup.setup.regions;
    let readings = read_frame(&recogniser, regions, &frame.image);
    Ok(regions.iter().zip(readings).map(|(region, reading)| InspectedRegion::of(region, reading)).collect())
}
