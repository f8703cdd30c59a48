//! Measures how well slips in told readings are found.
//!
//! `cargo run --release -p benchmarks --bin teach_slips -- FOLDER [EVERY]`
//!
//! FOLDER holds clips, each with its NAME.setup.toml and its true texts in NAME.readings.csv; of them
//! one in EVERY is taken. Eight readings are told as they are, then with one slip at a time: a digit
//! mistaken, left out, doubled, or swapped with its neighbour. Prints how many slips were found, for
//! how many the right reading was blamed, and for those not found whether the glyphs learnt would read
//! the clip wrongly.

use std::collections::BTreeMap;
use std::error::Error;
use std::path::{Path, PathBuf};

use pairspeed::footage::{Clip, sample};
use pairspeed::readings::DEFAULT_LEAST_CONFIDENCE;
use pairspeed::recognise::{Recogniser, Sample, Shown};
use pairspeed::setup::{Region, Setup};
use pairspeed::teach::{Contradiction, Lesson, TeachError, ToldMoment, teach};

use benchmarks::{Truth, clips, is_right, sampled, told_moments, truth_texts};

/// The channels told, in this order, as far as they are marked.
const TOLD: [&str; 8] =
    ["speed", "voltage", "altitude", "speed", "throttle", "voltage", "speed", "satellites"];

/// Frames read to tell whether a slip not found does harm.
const FRAMES_READ: usize = 60;

/// Numbers that look arbitrary but are the same in every run.
struct Arbitrary(u64);

impl Arbitrary {
    fn below(&mut self, limit: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as usize % limit.max(1)
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let folder = arguments.first().ok_or("usage: teach_slips FOLDER [EVERY]")?;
    let every = arguments.get(1).map_or(Ok(1), |every| every.parse())?;
    let mut tally = Tally::default();
    for clip in clips(Path::new(folder))?.iter().step_by(every) {
        Trial::of(clip)?.run(&mut tally)?;
    }
    tally.print();
    Ok(())
}

#[derive(Default)]
struct Tally {
    clean: usize,
    false_alarms: usize,
    /// By kind of slip.
    slips: BTreeMap<&'static str, Count>,
}

#[derive(Default)]
struct Count {
    found: usize,
    blamed: usize,
    named: usize,
    harmless: usize,
    harmful: usize,
}

impl Tally {
    fn print(&self) {
        println!("{} clean sets, {} false alarms", self.clean, self.false_alarms);
        println!("slip        found  blamed  named  missed: harmless  harmful");
        for (kind, count) in &self.slips {
            println!(
                "{kind:10} {:6} {:7} {:6} {:17} {:8}",
                count.found, count.blamed, count.named, count.harmless, count.harmful
            );
        }
    }
}

/// One clip with what is told of it.
struct Trial {
    name: String,
    clip: PathBuf,
    regions: Vec<Region>,
    truth: Truth,
    sample: Sample,
    moments: Vec<ToldMoment>,
}

impl Trial {
    fn of(clip: &Path) -> Result<Self, Box<dyn Error>> {
        let setup: Setup = toml::from_str(&std::fs::read_to_string(clip.with_extension("setup.toml"))?)?;
        let readings = clip.with_extension("readings.csv");
        let truth = truth_texts(&readings)?;
        let wanted = wanted_moments(&setup.regions, &truth);
        let moments = told_moments(clip, &truth, &wanted)?;
        let sample = sampled(clip, &setup.regions)?;
        let name = clip.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        Ok(Self { name, clip: clip.to_owned(), regions: setup.regions, truth, sample, moments })
    }

    fn run(&self, tally: &mut Tally) -> Result<(), Box<dyn Error>> {
        tally.clean += 1;
        match teach("true", &self.regions, &self.moments, &self.sample) {
            Ok(lesson) if lesson.contradictions.is_empty() => {}
            Ok(lesson) => {
                tally.false_alarms += 1;
                lesson
                    .contradictions
                    .iter()
                    .for_each(|one| println!("{}: FALSE ALARM: {}", self.name, one.message));
            }
            Err(error) => {
                tally.false_alarms += 1;
                println!("{}: FALSE ALARM: {error}", self.name);
            }
        }
        let mut arbitrary = Arbitrary(self.name.bytes().map(u64::from).sum());
        for (number, moment) in self.moments.iter().enumerate() {
            for (kind, text) in slips(&moment.told.text, &mut arbitrary) {
                let mut moments = self.moments.clone();
                moments[number].told.text = text;

                self.judge(kind, &moments, number, tally.slips.entry(kind).or_default())?;
            }
        }
        Ok(())
    }

    fn judge(
        &self,
        kind: &str,
        moments: &[ToldMoment],
        slipped: usize,
        count: &mut Count,
    ) -> Result<(), Box<dyn Error>> {
        let (told, true_text) = (&moments[slipped].told, &self.moments[slipped].told.text);
        let note = |verdict: &str| {
            println!(
                "{}: {kind} {}@{:.2}={} (shows {true_text}): {verdict}",
                self.name,
                told.channel.name(),
                told.time_s,
                told.text
            );
        };
        let lesson = match teach("slip", &self.regions, moments, &self.sample) {
            Err(error) => {
                count.found += 1;
                let blamed = names(&error, &moments[slipped]);
                count.blamed += usize::from(blamed);
                count.named += usize::from(blamed);
                if !blamed {
                    note(&format!("blamed another: {error}"));
                }
                return Ok(());
            }
            Ok(lesson) => lesson,
        };
        let found = &lesson.contradictions;
        if found.is_empty() {
            let wrong = self.wrong_readings(lesson)?;
            note(&format!("missed, {wrong} readings wrong"));
            *(if wrong == 0 { &mut count.harmless } else { &mut count.harmful }) += 1;
            return Ok(());
        }
        count.found += 1;
        let blamed = found.first().is_some_and(|one| one.suspect == *told);
        let named = |one: &Contradiction| one.suspect == *told || one.witness.as_ref() == Some(told);
        count.blamed += usize::from(blamed);
        count.named += usize::from(found.iter().any(named));
        if !blamed {
            note(&format!("blamed another: {}", found[0].message));
        }
        Ok(())
    }

    /// Readings of the sample that are given with confidence but wrong.
    fn wrong_readings(&self, lesson: Lesson) -> Result<usize, Box<dyn Error>> {
        let recogniser = Recogniser::calibrate(&self.regions, &[lesson.set], &self.sample);
        let mut wrong = 0;
        for frame in sample(&mut Clip::open(&self.clip)?, FRAMES_READ)? {
            for (region, read) in self.regions.iter().zip(recogniser.read_picture(&frame.image)) {
                let texts = self.truth.get(region.channel.name());
                let text = texts.and_then(|texts| texts.get(frame.index as usize));
                wrong += usize::from(text.is_some_and(|text| is_wrong(&read, text)));
            }
        }
        Ok(wrong)
    }
}

fn is_wrong(read: &Shown, truth: &str) -> bool {
    match read {
        Shown::Text { value, confidence, .. } => {
            *confidence >= DEFAULT_LEAST_CONFIDENCE && !is_right(truth, *value)
        }
        _ => false,
    }
}

fn names(error: &TeachError, moment: &ToldMoment) -> bool {
    error.to_string().contains(&format!("{}@{}", moment.told.channel.name(), moment.told.time_s))
}

/// The eight moments, spread over the clip, where one text is shown.
fn wanted_moments<'a>(regions: &'a [Region], truth: &Truth) -> Vec<(usize, &'a Region)> {
    let frames = truth.get("frame").map_or(0, Vec::len);
    let moment = |(number, name): (usize, &&str)| {
        let region = regions.iter().find(|region| region.channel.name() == *name)?;
        let texts = truth.get(*name)?;
        let first = (2 * number + 1) * frames / (2 * TOLD.len());
        let plain =
            |frame: &usize| texts.get(*frame).is_some_and(|text| !text.is_empty() && !text.contains('|'));
        Some(((first..frames).find(plain)?, region))
    };
    TOLD.iter().enumerate().filter_map(moment).collect()
}

/// Slips of one text: what happened and the text told.
fn slips(text: &str, arbitrary: &mut Arbitrary) -> Vec<(&'static str, String)> {
    let letters: Vec<char> = text.chars().collect();
    let digits: Vec<usize> = (0..letters.len()).filter(|at| letters[*at].is_ascii_digit()).collect();
    let changed = |change: &dyn Fn(&mut Vec<char>)| {
        let mut letters = letters.clone();
        change(&mut letters);
        letters.into_iter().collect::<String>()
    };
    let mut slips = Vec::new();
    for _ in 0..2 {
        let at = digits[arbitrary.below(digits.len())];
        let other = 1 + arbitrary.below(9) as u32;
        let digit = letters[at].to_digit(10).unwrap_or(0);
        let wrong = char::from_digit((digit + other) % 10, 10).unwrap_or('0');
        slips.push(("mistaken", changed(&|letters| letters[at] = wrong)));
    }
    let at = digits[arbitrary.below(digits.len())];
    if digits.len() > 1 {
        slips.push(("left out", changed(&|letters| _ = letters.remove(at))));
    }
    slips.push(("doubled", changed(&|letters| letters.insert(at, letters[at]))));
    let pairs: Vec<usize> = digits
        .windows(2)
        .filter(|two| two[1] == two[0] + 1 && letters[two[0]] != letters[two[1]])
        .map(|two| two[0])
        .collect();
    if !pairs.is_empty() {
        let at = pairs[arbitrary.below(pairs.len())];
        slips.push(("swapped", changed(&|letters| letters.swap(at, at + 1))));
    }
    slips
}
