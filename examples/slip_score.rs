//! Scores how `teach` deals with slips on a clip whose texts are known.
//!
//! `cargo run --release --example slip_score -- CLIP SETUP.toml READINGS.csv`
//!
//! All-true tellings at 4 to 10 moments must raise no contradiction; of tellings with one digit
//! replaced by another, prints how many are noticed and how often the reading told wrongly is the
//! first suspect or at least named.

use std::collections::HashMap;
use std::error::Error;
use std::path::Path;

use image::GrayImage;
use pairspeed::footage::{Clip, FrameSource, sample};
use pairspeed::recognise::{Patch, Sample};
use pairspeed::setup::{Region, Setup};
use pairspeed::teach::{Lesson, Told, ToldMoment, teach};

const SAMPLED_FRAMES: usize = 24;
/// Frames looked at on either side of a told one.
const NEIGHBOURS: usize = 4;
const COUNTS: [usize; 5] = [4, 5, 6, 8, 10];
/// Every so many digits of the told readings is told wrongly once.
const SLIP_STEP: usize = 7;

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [clip_path, setup_path, truth_path, ..] = arguments.as_slice() else {
        return Err("usage: slip_score CLIP SETUP READINGS".into());
    };
    let setup: Setup = toml::from_str(&std::fs::read_to_string(setup_path)?)?;
    let truth = truth_texts(truth_path)?;
    let mut clip = Clip::open(Path::new(clip_path))?;
    let mut frames = Sample::new(setup.regions.len());
    for found in sample(&mut clip, SAMPLED_FRAMES)? {
        frames.add(&setup.regions, &found.image, found.time_s);
    }
    let length = truth.get("frame").map_or(0, Vec::len);
    let told_at = |count: usize, moment: usize| (moment * 2 + 1) * length / (2 * count);
    let all: Vec<usize> = COUNTS.iter().flat_map(|c| (0..*c).map(|moment| told_at(*c, moment))).collect();
    let pictures = pictures(clip_path, &all)?;
    let learn = |moments: &[ToldMoment]| teach("scored", &setup.regions, moments, &frames);
    let mut tally = Tally::default();
    for count in COUNTS {
        let told: Vec<usize> = (0..count).map(|moment| told_at(count, moment)).collect();
        let moments = moments(&setup.regions, &truth, &pictures, &told);
        for contradiction in learn(&moments)?.contradictions {
            tally.false_alarms += 1;
            println!("false, {count} moments: {}", contradiction.message);
        }
        let digits = moments.iter().map(|moment| moment.told.text.len()).sum::<usize>();
        for number in (count % SLIP_STEP..digits).step_by(SLIP_STEP) {
            if let Some((slipped, index)) = with_slip(&moments, number) {
                tally.count(learn(&slipped), &slipped[index].told, &moments[index].told);
            }
        }
    }
    println!("{clip_path}: {tally:?}");
    Ok(())
}

#[derive(Debug, Default)]
struct Tally {
    false_alarms: usize,
    slips: usize,
    noticed: usize,
    named: usize,
    first: usize,
}

impl Tally {
    fn count<E>(&mut self, lesson: Result<Lesson, E>, slip: &Told, truth: &Told) {
        let found = lesson.map(|lesson| lesson.contradictions).unwrap_or_default();
        let named = found.iter().any(|found| found.suspect == *slip || found.witness == *slip);
        let first = found.first().is_some_and(|found| found.suspect == *slip);
        self.slips += 1;
        self.noticed += usize::from(!found.is_empty());
        self.named += usize::from(named);
        self.first += usize::from(first);
        if !first {
            let (channel, time_s) = (slip.channel.name(), slip.time_s);
            println!("{channel}@{time_s:.2} {} told {}:", truth.text, slip.text);
            found.iter().for_each(|found| println!("    {}", found.message));
        }
    }
}

/// The readings with one digit, counted over all of them, replaced by another.
fn with_slip(moments: &[ToldMoment], number: usize) -> Option<(Vec<ToldMoment>, usize)> {
    let mut places = moments.iter().enumerate().flat_map(|(index, moment)| {
        moment.told.text.chars().enumerate().map(move |(place, character)| (index, place, character))
    });
    let (index, place, character) = places.nth(number)?;
    let digit = character.to_digit(10)?;
    let other = char::from_digit((digit + 1 + (number as u32 * 7) % 9) % 10, 10)?;
    let mut slipped = moments.to_vec();
    let text = &moments[index].told.text;
    slipped[index].told.text =
        text.chars().enumerate().map(|(at, one)| if at == place { other } else { one }).collect();
    Some((slipped, index))
}

fn truth_texts(path: &str) -> Result<HashMap<String, Vec<String>>, Box<dyn Error>> {
    let mut reader = csv::Reader::from_path(path)?;
    let names: Vec<String> = reader.headers()?.iter().map(str::to_owned).collect();
    let mut texts: HashMap<String, Vec<String>> = HashMap::new();
    for record in reader.records() {
        for (name, text) in names.iter().zip(record?.iter()) {
            texts.entry(name.clone()).or_default().push(text.to_owned());
        }
    }
    Ok(texts)
}

/// The frames near those wanted, with their times.
fn pictures(clip: &str, wanted: &[usize]) -> Result<HashMap<usize, (f64, GrayImage)>, Box<dyn Error>> {
    let mut pictures = HashMap::new();
    let mut source = Clip::open(Path::new(clip))?;
    while let Some(frame) = source.next_frame()? {
        let index = frame.index as usize;
        if wanted.iter().any(|one| one.abs_diff(index) <= NEIGHBOURS) {
            pictures.insert(index, (frame.time_s, frame.luma.to_image()));
        }
    }
    Ok(pictures)
}

fn moments(
    regions: &[Region],
    truth: &HashMap<String, Vec<String>>,
    pictures: &HashMap<usize, (f64, GrayImage)>,
    told: &[usize],
) -> Vec<ToldMoment> {
    let mut moments = Vec::new();
    for (frame, region) in told.iter().flat_map(|frame| regions.iter().map(move |region| (*frame, region))) {
        let patch = |index: usize| {
            pictures.get(&index).map(|(time_s, picture)| Patch::of(picture, region.place, *time_s))
        };
        let text = truth.get(region.channel.name()).and_then(|texts| texts.get(frame));
        let Some((centre, text)) = patch(frame).zip(text.filter(|text| !text.contains('|'))) else {
            continue;
        };
        moments.push(ToldMoment {
            told: Told { channel: region.channel.clone(), time_s: centre.time_s, text: text.clone() },
            centre,
            before: (1..=NEIGHBOURS).filter_map(|k| patch(frame.checked_sub(k)?)).collect(),
            after: (1..=NEIGHBOURS).filter_map(|k| patch(frame + k)).collect(),
        });
    }
    moments
}
