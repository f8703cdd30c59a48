//! Measures learning on clips with known texts: how well glyphs from right labels read, and whether wrong labels are found.
//!
//! `cargo run --release -p benchmarks --bin lessons -- [--mistakes N] [--seed S] CLIP-OR-FOLDER ...`
//!
//! A clip has its truth beside it: NAME.truth.json and NAME.truth.csv, or NAME.setup.toml and NAME.readings.csv.
//!
//! First, glyphs are learned from right labels of every clip: from 3, 5, 10 and 50 labels, and from the labels of all
//! channels at ten moments. For each training the program prints the suspected labels, the time, and how many readings of
//! unlabelled frames are then right, blank and wrong, each frame by itself.
//!
//! Then glyphs are learned N times from 10 to 50 labels with one or two wrong ones: another digit, a digit too many or too
//! few, the texts of two channels swapped, or the text of a second later. A missed mistake is harmful if it makes more
//! readings wrong, or fewer right, than the same labels without it.

use std::collections::BTreeMap;
use std::error::Error;
use std::path::PathBuf;
use std::time::Instant;

use benchmarks::{LabelledClip, Random, is_right, labelled_clips};
use pairspeed::learn::{LabelledReading, LearnError, LearnedGlyphs, TrainingExample, learn_glyphs};
use pairspeed::readings::DEFAULT_MIN_CONFIDENCE;
use pairspeed::recognise::{Recogniser, RegionReading};

/// Number of frames of a clip that may be labelled, and of other frames that are read.
const LABELLED_FRAMES: usize = 60;
const READ_FRAMES: usize = 150;

/// Numbers of labels of the trainings with right labels.
const LABEL_COUNTS: [usize; 4] = [3, 5, 10, 50];

/// Number of moments of the training that labels all channels.
const MOMENTS: usize = 10;

/// Numbers of labels of the trainings with a mistake, in turn.
const LABEL_COUNTS_WITH_MISTAKE: [usize; 4] = [10, 20, 30, 50];

/// Maximum number of wrong readings printed as examples.
const MAX_PRINTED: usize = 4;

/// Minimum increase of the wrong readings, or decrease of the right ones, of a harmful mistake, in per cent of all readings.
const HARMFUL_WRONG_PERCENT: f64 = 0.2;
const HARMFUL_RIGHT_PERCENT: f64 = 2.0;

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
    let mut totals = Totals::default();
    for clip in labelled_clips(&paths)? {
        let clip = LabelledClip::load(&clip, LABELLED_FRAMES, READ_FRAMES, seed)?;
        measure_right_labels(&clip, &mut Random(seed), &mut totals);
        measure_mistakes(&clip, &mut Random(seed + 1), mistakes, &mut totals);
    }
    totals.print();
    Ok(())
}

/// Counts over all clips.
#[derive(Default)]
struct Totals {
    trainings: usize,
    failed: usize,
    labels: usize,
    suspected: usize,
    mistakes: BTreeMap<&'static str, MistakeCounts>,
}

/// Counts over all mistakes of one kind.
#[derive(Default)]
struct MistakeCounts {
    made: usize,
    found: usize,
    harmful_missed: usize,
    right_suspected: usize,
}

impl Totals {
    fn print(&self) {
        println!(
            "right labels: {} trainings, {} failed; {} of {} labels suspected",
            self.trainings, self.failed, self.suspected, self.labels
        );
        for (kind, MistakeCounts { made, found, harmful_missed, right_suspected }) in &self.mistakes {
            println!(
                "{kind:14} {made:4} made, {found:4} named, {harmful_missed:3} missed and harmful, {right_suspected:3} right labels suspected"
            );
        }
    }
}

/// Shares of right and wrong readings of unlabelled frames, in per cent of all readings.
struct ReadingShares {
    right: f64,
    wrong: f64,
    /// Share of right readings for each channel, and some wrong readings, in words.
    details: String,
}

fn measure_right_labels(clip: &LabelledClip, random: &mut Random, totals: &mut Totals) {
    let by_count =
        LABEL_COUNTS.iter().map(|count| (format!("{count} labels"), random_labels(clip, *count, random)));
    let moments: Vec<TrainingExample> = clip.labelled.iter().take(MOMENTS).flatten().cloned().collect();
    let trainings: Vec<(String, Vec<TrainingExample>)> =
        by_count.chain([(format!("{MOMENTS} moments"), moments)]).collect();
    for (kind, labels) in trainings {
        totals.trainings += 1;
        totals.labels += labels.len();
        let start = Instant::now();
        let learned = learn_from(clip, &labels);
        let seconds = start.elapsed().as_secs_f64();
        match learned {
            Ok(learned) => {
                let ReadingShares { right, wrong, details } = reading_shares(clip, &learned);
                let missing: String = learned.missing.iter().flat_map(|missing| &missing.digits).collect();
                println!(
                    "{:14} {kind:11} {seconds:6.2} s  right {right:6.2}  wrong {wrong:5.2}  {details}  missing {missing}",
                    clip.name
                );
                totals.suspected += learned.suspects.len();
                for suspect in learned.suspects {
                    println!("{:14} {kind:11} SUSPECTED: {suspect}", clip.name);
                }
            }
            Err(error) => {
                totals.failed += 1;
                println!("{:14} {kind:11} {seconds:6.2} s  FAILED: {error}", clip.name);
            }
        }
    }
}

fn learn_from(clip: &LabelledClip, labels: &[TrainingExample]) -> Result<LearnedGlyphs, LearnError> {
    learn_glyphs("bench", &clip.regions, labels, &[], &clip.sample)
}

/// Some labels of a clip, drawn from all that are available.
fn random_labels(clip: &LabelledClip, count: usize, random: &mut Random) -> Vec<TrainingExample> {
    let mut labels: Vec<TrainingExample> = clip.labelled.iter().flatten().cloned().collect();
    random.shuffle(&mut labels);
    labels.truncate(count);
    labels
}

fn reading_shares(clip: &LabelledClip, learned: &LearnedGlyphs) -> ReadingShares {
    let recogniser = Recogniser::calibrate(&clip.regions, std::slice::from_ref(&learned.set), &clip.sample);
    let (mut right, mut wrong, mut all) = (0, 0, 0);
    let mut wrong_readings = Vec::new();
    let mut by_channel = vec![(0, 0); clip.regions.len()];
    for frame in &clip.unseen {
        for (region, (patch, truth)) in frame.iter().enumerate().filter(|(_, (_, truth))| !truth.is_empty()) {
            all += 1;
            by_channel[region].1 += 1;
            if let RegionReading::Text { value, confidence, .. } = recogniser.read_patch(region, patch)
                && confidence >= DEFAULT_MIN_CONFIDENCE
            {
                if is_right(truth, value) {
                    right += 1;
                    by_channel[region].0 += 1;
                } else {
                    wrong += 1;
                    let channel = clip.regions[region].channel.name();
                    wrong_readings.push(format!("{channel}: {truth} read as {value}"));
                }
            }
        }
    }
    let percent = |count: usize| 100.0 * count as f64 / f64::from(all.max(1) as u32);
    let of_channel = clip.regions.iter().zip(&by_channel).map(|(region, (right, all))| {
        format!("{}{:.0}", &region.channel.name()[..1], 100.0 * f64::from(*right) / f64::from((*all).max(1)))
    });
    wrong_readings.dedup();
    let printed = wrong_readings.iter().take(MAX_PRINTED).map(|reading| format!("  [{reading}]"));
    let details = of_channel.chain(printed).collect::<Vec<_>>().join(" ");
    ReadingShares { right: percent(right), wrong: percent(wrong), details }
}

fn measure_mistakes(clip: &LabelledClip, random: &mut Random, count: usize, totals: &mut Totals) {
    for number in 0..count {
        let label_count = LABEL_COUNTS_WITH_MISTAKE[number % LABEL_COUNTS_WITH_MISTAKE.len()];
        let labels = random_labels(clip, label_count, random);
        let mistaken = random.below(labels.len());
        let kind = KINDS[number % KINDS.len()];
        if let Some(wrong) = with_mistake(clip, &labels, mistaken, kind, random) {
            measure_mistake(clip, kind, (&labels, &wrong), totals.mistakes.entry(kind).or_default());
        }
    }
}

/// Learns from labels with a mistake and counts whether it is found; `labels` are the right labels and the mistaken ones.
fn measure_mistake(
    clip: &LabelledClip,
    kind: &str,
    labels: (&[TrainingExample], &[TrainingExample]),
    counts: &mut MistakeCounts,
) {
    let (right, wrong) = labels;
    let changed: Vec<usize> =
        (0..right.len()).filter(|index| wrong[*index].label.text != right[*index].label.text).collect();
    counts.made += 1;
    let is_found = |learned: &LearnedGlyphs| {
        let is_named = |index: &usize| {
            let label = &wrong[*index].label;
            learned.suspects.iter().any(|suspect| suspect.label == *label)
                || learned.rejected.iter().any(|rejected| rejected.label == *label)
        };
        changed.iter().any(is_named)
    };
    let texts: Vec<String> = changed
        .iter()
        .map(|index| format!("{} (shows {})", wrong[*index].label, right[*index].label.text))
        .collect();
    let learned = match learn_from(clip, wrong) {
        Ok(learned) => learned,
        Err(error) => {
            println!("{:14} {kind}: {texts:?}: FAILED: {error}", clip.name);
            return;
        }
    };
    let is_right_label = |label: &LabelledReading| changed.iter().all(|index| wrong[*index].label != *label);
    for other in learned.suspects.iter().filter(|suspect| is_right_label(&suspect.label)) {
        counts.right_suspected += 1;
        println!("{:14} {kind}: {texts:?}: RIGHT LABEL SUSPECTED: {other}", clip.name);
    }
    if is_found(&learned) {
        counts.found += 1;
    } else if let Ok(without) = learn_from(clip, right) {
        let (with, without) = (reading_shares(clip, &learned), reading_shares(clip, &without));
        let harmful = with.wrong > without.wrong + HARMFUL_WRONG_PERCENT
            || with.right < without.right - HARMFUL_RIGHT_PERCENT;
        counts.harmful_missed += usize::from(harmful);
        println!(
            "{:14} {kind}: {texts:?} of {} missed: right {:.2} -> {:.2}, wrong {:.2} -> {:.2}{}  {}",
            clip.name,
            right.len(),
            without.right,
            with.right,
            without.wrong,
            with.wrong,
            if harmful { " HARMFUL" } else { "" },
            with.details
        );
    }
}

/// Kinds of mistakes.
const KINDS: [&str; 5] = ["other digit", "digit too many", "digit too few", "swapped", "second late"];

/// The labels with one mistake; `None` where the label with index `mistaken` cannot have a mistake of this kind.
fn with_mistake(
    clip: &LabelledClip,
    labels: &[TrainingExample],
    mistaken: usize,
    kind: &str,
    random: &mut Random,
) -> Option<Vec<TrainingExample>> {
    let mut wrong = labels.to_vec();
    let text = labels[mistaken].label.text.clone();
    let digits: Vec<usize> =
        text.char_indices().filter(|(_, one)| one.is_ascii_digit()).map(|(at, _)| at).collect();
    let at = digits[random.below(digits.len())];
    let mut characters: Vec<char> = text.chars().collect();
    match kind {
        "other digit" => {
            let digit = characters[at].to_digit(10)?;
            characters[at] = char::from_digit((digit + 1 + random.below(9) as u32) % 10, 10)?;
        }
        "digit too many" => characters.insert(at, characters[at]),
        "digit too few" if digits.len() > 1 => _ = characters.remove(at),
        "swapped" => {
            // The texts of two channels at one moment.
            let can_be_swapped = |example: &&TrainingExample| {
                example.label.time_s == labels[mistaken].label.time_s
                    && example.label.channel != labels[mistaken].label.channel
                    && example.label.text.contains('.') == text.contains('.')
                    && example.label.text != text
            };
            let other = clip.labelled.iter().flatten().find(can_be_swapped)?;
            if let Some(partner) = wrong.iter_mut().find(|one| one.label == other.label) {
                partner.label.text = text.clone();
            }
            characters = other.label.text.chars().collect();
        }
        "second late" => {
            let is_later = |example: &&TrainingExample| {
                example.label.channel == labels[mistaken].label.channel
                    && example.label.time_s > labels[mistaken].label.time_s
                    && example.label.text != text
            };
            let later = clip.labelled.iter().flatten().filter(is_later);
            let nearest = later.min_by(|one, other| one.label.time_s.total_cmp(&other.label.time_s))?;
            characters = nearest.label.text.chars().collect();
        }
        _ => return None,
    }
    wrong[mistaken].label.text = characters.into_iter().collect();
    (wrong[mistaken].label.text != text).then_some(wrong)
}
