//! Measures learning from labels on clips with known texts.
//!
//! `cargo run --release -p benchmarks --bin lessons -- [--mistakes N] [--seed S] CLIP-OR-FOLDER ...`
//!
//! A clip has its truth beside it: NAME.truth.json and NAME.truth.csv, or NAME.setup.toml and NAME.readings.csv.
//!
//! First, glyphs are learned from correct labels: 3, 5, 10 and 50 readings, and all channels at ten moments. Printed are
//! the seconds, the suspected labels, and the shares of right and wrong readings on frames without a label, each frame by
//! itself. Then glyphs are learned N times from 10 to 50 readings with one or two wrong labels: another digit, a digit too
//! many or too few, the texts of two channels swapped, the text of a second later. A mistake is harmful if more frames are
//! read wrong, or fewer right, than without it.

use std::collections::BTreeMap;
use std::error::Error;
use std::path::PathBuf;
use std::time::Instant;

use benchmarks::{LabelledClip, Random, is_right, labelled_clips};
use pairspeed::learn::{LearnError, LearnedGlyphs, TrainingExample, learn_glyphs};
use pairspeed::readings::DEFAULT_MIN_CONFIDENCE;
use pairspeed::recognise::{Recogniser, RegionReading};

/// Number of frames that may be labelled, and of other frames that are read.
const LABELLED: usize = 60;
const UNSEEN: usize = 150;

/// Numbers of correct labels to learn from.
const READINGS: [usize; 4] = [3, 5, 10, 50];

/// Moments at which all channels are labelled.
const MOMENTS: usize = 10;

/// Number of wrong readings printed as examples.
const EXAMPLES: usize = 4;

/// A mistake is harmful if the share of wrong readings rises, or that of right ones falls, by more than this, in per cent.
/// Set by judgement.
const HARMFUL_WRONG: f64 = 0.2;
const HARMFUL_RIGHT: f64 = 2.0;

fn main() -> Result<(), Box<dyn Error>> {
    let (mut mistakes, mut seed, mut paths) = (0, 5, Vec::new());
    let mut arguments = std::env::args().skip(1);
    while let Some(argument) = arguments.next() {
        match argument.as_str() {
            "--mistakes" => mistakes = arguments.next().ok_or("--mistakes N")?.parse()?,
            "--seed" => seed = arguments.next().ok_or("--seed S")?.parse()?,
            _ => paths.push(PathBuf::from(argument)),
        }
    }
    let mut all = Sums::default();
    for clip in labelled_clips(&paths)? {
        let clip = LabelledClip::load(&clip, LABELLED, UNSEEN, seed)?;
        right_labels(&clip, &mut Random(seed), &mut all);
        wrong_labels(&clip, &mut Random(seed + 1), mistakes, &mut all);
    }
    all.print();
    Ok(())
}

#[derive(Default)]
struct Sums {
    lessons: usize,
    failed: usize,
    labels: usize,
    suspected: usize,
    mistakes: BTreeMap<&'static str, Mistakes>,
}

#[derive(Default)]
struct Mistakes {
    made: usize,
    found: usize,
    harmful_missed: usize,
    suspected_wrongly: usize,
}

impl Sums {
    fn print(&self) {
        println!(
            "right labels: {} lessons, {} failed; {} of {} labels suspected",
            self.lessons, self.failed, self.suspected, self.labels
        );
        for (kind, Mistakes { made, found, harmful_missed, suspected_wrongly }) in &self.mistakes {
            println!(
                "{kind:14} {made:4} made, {found:4} named, {harmful_missed:3} missed and harmful, {suspected_wrongly:3} right labels suspected"
            );
        }
    }
}

/// Readings of frames without a label, in per cent.
struct Reads {
    right: f64,
    wrong: f64,
    by_channel: String,
}

fn right_labels(clip: &LabelledClip, random: &mut Random, all: &mut Sums) {
    let lists =
        READINGS.iter().map(|count| (format!("{count} readings"), some_readings(clip, *count, random)));
    let moments: Vec<TrainingExample> = clip.labelled.iter().take(MOMENTS).flatten().cloned().collect();
    let lists: Vec<(String, Vec<TrainingExample>)> =
        lists.chain([(format!("{MOMENTS} moments"), moments)]).collect();
    for (kind, labels) in lists {
        all.lessons += 1;
        all.labels += labels.len();
        let start = Instant::now();
        let lesson = learned(clip, &labels);
        let seconds = start.elapsed().as_secs_f64();
        match lesson {
            Ok(lesson) => {
                let Reads { right, wrong, by_channel } = reads(clip, &lesson);
                let missing: String = lesson.missing.iter().flat_map(|(_, digits)| digits).collect();
                println!(
                    "{:14} {kind:11} {seconds:6.2} s  right {right:6.2}  wrong {wrong:5.2}  {by_channel}  missing {missing}",
                    clip.name
                );
                all.suspected += lesson.suspects.len();
                for suspect in lesson.suspects {
                    println!("{:14} {kind:11} SUSPECTED: {suspect}", clip.name);
                }
            }
            Err(error) => {
                all.failed += 1;
                println!("{:14} {kind:11} {seconds:6.2} s  FAILED: {error}", clip.name);
            }
        }
    }
}

fn learned(clip: &LabelledClip, labels: &[TrainingExample]) -> Result<LearnedGlyphs, LearnError> {
    learn_glyphs("lesson", &clip.regions, labels, &[], &clip.sample)
}

/// A random choice of the labels of a clip.
fn some_readings(clip: &LabelledClip, count: usize, random: &mut Random) -> Vec<TrainingExample> {
    let mut readings: Vec<TrainingExample> = clip.labelled.iter().flatten().cloned().collect();
    random.shuffle(&mut readings);
    readings.truncate(count);
    readings
}

fn reads(clip: &LabelledClip, lesson: &LearnedGlyphs) -> Reads {
    let recogniser = Recogniser::calibrate(&clip.regions, std::slice::from_ref(&lesson.set), &clip.sample);
    let (mut right, mut wrong, mut all) = (0, 0, 0);
    let mut examples = Vec::new();
    let mut by_channel = vec![(0, 0); clip.regions.len()];
    for frame in &clip.unseen {
        for (number, (patch, truth)) in frame.iter().enumerate().filter(|(_, (_, truth))| !truth.is_empty()) {
            all += 1;
            by_channel[number].1 += 1;
            if let RegionReading::Text { value, confidence, .. } = recogniser.read_patch(number, patch)
                && confidence >= DEFAULT_MIN_CONFIDENCE
            {
                match is_right(truth, value) {
                    true => {
                        right += 1;
                        by_channel[number].0 += 1;
                    }
                    false => {
                        wrong += 1;
                        examples.push(format!(
                            "{}: {truth} read as {value}",
                            clip.regions[number].channel.name()
                        ));
                    }
                }
            }
        }
    }
    let share = |count: usize| 100.0 * count as f64 / f64::from(all.max(1) as u32);
    let of_channel = clip.regions.iter().zip(&by_channel).map(|(region, (right, all))| {
        format!("{}{:.0}", &region.channel.name()[..1], 100.0 * f64::from(*right) / f64::from((*all).max(1)))
    });
    examples.dedup();
    let examples = examples.iter().take(EXAMPLES).map(|example| format!("  [{example}]"));
    let by_channel = of_channel.chain(examples).collect::<Vec<_>>().join(" ");
    Reads { right: share(right), wrong: share(wrong), by_channel }
}

fn wrong_labels(clip: &LabelledClip, random: &mut Random, mistakes: usize, all: &mut Sums) {
    for number in 0..mistakes {
        let labels = some_readings(clip, [10, 20, 30, 50][number % 4], random);
        let slipped = random.below(labels.len());
        let kind = KINDS[number % KINDS.len()];
        let Some(wrong) = with_mistake(clip, &labels, slipped, kind, random) else { continue };
        let changed: Vec<usize> =
            (0..labels.len()).filter(|label| wrong[*label].label.text != labels[*label].label.text).collect();
        let mistakes = all.mistakes.entry(kind).or_default();
        mistakes.made += 1;
        let lesson = learned(clip, &wrong);
        let is_named = |lesson: &LearnedGlyphs| {
            let named = |label: &usize| {
                let wrong_label = &wrong[*label].label;
                lesson.suspects.iter().any(|suspect| suspect.label == *wrong_label)
                    || lesson.rejected.iter().any(|rejected| rejected.label == *wrong_label)
            };
            changed.iter().any(named)
        };
        let texts: Vec<String> = changed
            .iter()
            .map(|label| format!("{} (shows {})", wrong[*label].label, labels[*label].label.text))
            .collect();
        match lesson {
            Ok(lesson) => {
                let others = lesson
                    .suspects
                    .iter()
                    .filter(|suspect| changed.iter().all(|label| wrong[*label].label != suspect.label));
                for other in others {
                    mistakes.suspected_wrongly += 1;
                    println!("{:14} {kind}: {texts:?}: RIGHT LABEL SUSPECTED: {other}", clip.name);
                }
                if is_named(&lesson) {
                    mistakes.found += 1;
                } else if let Ok(as_is) = learned(clip, &labels) {
                    let (with, without) = (reads(clip, &lesson), reads(clip, &as_is));
                    let harmful = with.wrong > without.wrong + HARMFUL_WRONG
                        || with.right < without.right - HARMFUL_RIGHT;
                    mistakes.harmful_missed += usize::from(harmful);
                    println!(
                        "{:14} {kind}: {texts:?} of {} missed: right {:.2} -> {:.2}, wrong {:.2} -> {:.2}{}  {}",
                        clip.name,
                        labels.len(),
                        without.right,
                        with.right,
                        without.wrong,
                        with.wrong,
                        if harmful { " HARMFUL" } else { "" },
                        with.by_channel
                    );
                }
            }
            Err(error) => println!("{:14} {kind}: {texts:?}: FAILED: {error}", clip.name),
        }
    }
}

/// Kinds of mistakes.
const KINDS: [&str; 5] = ["other digit", "digit too many", "digit too few", "swapped", "second late"];

/// The labels with one mistake; `None` if the chosen label cannot have it.
fn with_mistake(
    clip: &LabelledClip,
    labels: &[TrainingExample],
    slipped: usize,
    kind: &str,
    random: &mut Random,
) -> Option<Vec<TrainingExample>> {
    let mut wrong = labels.to_vec();
    let text = labels[slipped].label.text.clone();
    let digits: Vec<usize> =
        text.char_indices().filter(|(_, one)| one.is_ascii_digit()).map(|(at, _)| at).collect();
    let at = digits[random.below(digits.len())];
    let mut letters: Vec<char> = text.chars().collect();
    match kind {
        "other digit" => {
            let digit = letters[at].to_digit(10)?;
            letters[at] = char::from_digit((digit + 1 + random.below(9) as u32) % 10, 10)?;
        }
        "digit too many" => letters.insert(at, letters[at]),
        "digit too few" if digits.len() > 1 => _ = letters.remove(at),
        "swapped" => {
            // The text of another channel at the same moment, and the other way round.
            let same = |moment: &&TrainingExample| {
                moment.label.time_s == labels[slipped].label.time_s
                    && moment.label.channel != labels[slipped].label.channel
                    && moment.label.text.contains('.') == text.contains('.')
                    && moment.label.text != text
            };
            let other = clip.labelled.iter().flatten().find(same)?;
            if let Some(partner) = wrong.iter_mut().find(|one| one.label == other.label) {
                partner.label.text = text.clone();
            }
            letters = other.label.text.chars().collect();
        }
        "second late" => {
            let later = |moment: &&TrainingExample| {
                moment.label.channel == labels[slipped].label.channel
                    && moment.label.time_s > labels[slipped].label.time_s
                    && moment.label.text != text
            };
            let later = clip.labelled.iter().flatten().filter(later);
            let nearest = later.min_by(|one, other| one.label.time_s.total_cmp(&other.label.time_s))?;
            letters = nearest.label.text.chars().collect();
        }
        _ => return None,
    }
    wrong[slipped].label.text = letters.into_iter().collect();
    (wrong[slipped].label.text != text).then_some(wrong)
}
