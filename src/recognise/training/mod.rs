//! Self-training: re-estimates the templates of a face, the noise and the static backgrounds from the
//! pseudo-labels ([`pseudo_labels`]), which are confidently decoded texts of the recording's sample. Each
//! region with the face gives one training line ([`lines`]).

pub mod lines;
pub mod pseudo_labels;

use arrayvec::ArrayVec;
use ndarray::Array2;
use rayon::prelude::*;

use super::decode::Decoder;
use super::decode::decoded::Decoded;
use super::decode::legibility::{MAX_CONTRAST_BESIDE, without_unknown_digits};
use super::decode::margins::{DigitMargins, between_digit_deviation};
use super::score::background::Background;
use super::score::matcher::Matcher;
use super::score::noise::Noise;
use super::templates::alphabet::Alphabet;
use lines::TrainingLine;
use pseudo_labels::{PseudoLabels, is_pseudo_label};

/// Initial standard deviation of the noise, in grey levels: larger than that of any real noise. Set by
/// judgement.
const INITIAL_NOISE_LEVELS: f32 = 20.0;

/// Margin penalty for digits never seen in a region, as a multiple of the standard deviation of the digits' mean
/// margins. An unseen digit may differ from its template as much as the seen ones do, and in
/// the direction that lowers the margin. Set by judgement.
const UNSEEN_MARGIN_PENALTY: f32 = 2.0;

/// Number of self-training iterations. There is one more if the glyph set lacks digits: a digit without a
/// glyph may look like a known one until the noise is well estimated. Set by judgement.
const ITERATIONS: usize = 2;
const ITERATIONS_WITH_UNKNOWN: usize = 3;

/// The templates and matched filters of one face. Self-training adapts them to the recording.
#[derive(Debug, Clone)]
pub(super) struct FaceModel {
    pub(super) alphabet: Alphabet,
    pub(super) matcher: Matcher,
    /// Maximum T-square distance of a pseudo-label, divided by the number of digits.
    pub(super) max_t2: f32,
    /// Margin penalty for digits never seen in a region, in units of the margin.
    pub(super) unseen_margin_penalty: f32,
}

impl FaceModel {
    /// A face before self-training; `None` if its filters cannot be computed.
    pub(super) fn new(alphabet: Alphabet) -> Option<Self> {
        let noise = Noise::white(alphabet.rows, INITIAL_NOISE_LEVELS);
        let matcher = Matcher::new(&alphabet, &noise)?;
        Some(Self { alphabet, matcher, max_t2: f32::INFINITY, unseen_margin_penalty: 0.0 })
    }
}

/// The result of self-training for one region.
pub(super) struct TrainedRegion {
    /// Index of the region in the setup.
    pub(super) index: usize,
    pub(super) background: Background,
    /// Digits that occur fewer than twice in the region's pseudo-labels.
    pub(super) unseen: ArrayVec<char, 10>,
}

/// Re-estimates the templates and the noise of a face from the samples of all regions with that face.
pub(super) fn train(face: &FaceModel, mut lines: Vec<TrainingLine<'_>>) -> (FaceModel, Vec<TrainedRegion>) {
    let mut model = face.clone();
    model.alphabet.equalise_contrasts();
    let iterations = match model.alphabet.has_all_digits() {
        true => ITERATIONS,
        false => ITERATIONS_WITH_UNKNOWN,
    };
    for iteration in 0..iterations {
        let mut texts = decoded_lines(&lines, &model);
        if iteration == 0 && lines::estimate_contrasts(&mut lines, &model.alphabet, &texts) {
            texts = decoded_lines(&lines, &model);
        }
        model.max_t2 = pseudo_labels::max_t2(texts.iter().flatten().flatten());
        keep_pseudo_labels(&mut texts, &lines, &model);
        lines::estimate_backgrounds(&mut lines, &model.alphabet, &texts);
        let labels_of = |(line, texts): (&TrainingLine<'_>, &Vec<Option<Decoded>>)| {
            let (placement, contrast) = (&line.placement, line.background.contrast);
            PseudoLabels::of(&model.alphabet, &line.foreground, (placement, contrast), texts)
        };
        let labels = PseudoLabels::merged(lines.par_iter().zip(&texts).map(labels_of).collect());
        labels.re_estimate(&mut model.alphabet, &face.alphabet.shapes);
        for (line, texts) in lines.iter_mut().zip(&texts) {
            line.margins = DigitMargins::of(texts.iter().flatten());
        }
        if lines::have_static_background(&lines) {
            pseudo_labels::limit_contrast_changes(&mut model.alphabet.shapes, &face.alphabet.shapes);
        }
        let matcher = labels.noise(&model.alphabet).and_then(|noise| Matcher::new(&model.alphabet, &noise));
        let Some(matcher) = matcher else { break };
        model.matcher = matcher;
    }
    model.unseen_margin_penalty =
        UNSEEN_MARGIN_PENALTY * between_digit_deviation(lines.iter().map(|line| &line.margins));
    let trained = |line: TrainingLine<'_>| TrainedRegion {
        index: line.index,
        background: line.background,
        unseen: line.margins.unseen(),
    };
    (model, lines.into_iter().map(trained).collect())
}

/// The decoded texts of some regions, all with the same face: one list for each region, with one text for
/// each sampled frame; `None` for a frame without text.
fn decoded_lines(lines: &[TrainingLine<'_>], model: &FaceModel) -> Vec<Vec<Option<Decoded>>> {
    let decoded_line = |line: &TrainingLine<'_>| {
        let (grammar, mask) = (line.grammar, Some(line.mask));
        let decoder = Decoder { alphabet: &model.alphabet, scorer: &model.matcher, grammar, mask };
        let decode = |features: &Array2<f32>| {
            Some(decoder.decode(features, &line.placement)?.at_contrast(line.background.contrast))
        };
        line.foreground.par_iter().map(decode).collect()
    };
    lines.par_iter().map(decoded_line).collect()
}

/// Replaces the texts that are not pseudo-labels by `None`.
fn keep_pseudo_labels(texts: &mut [Vec<Option<Decoded>>], lines: &[TrainingLine<'_>], model: &FaceModel) {
    let is_label = |decoded: &Decoded| {
        is_pseudo_label(decoded, model.max_t2) && decoded.contrast_beside <= MAX_CONTRAST_BESIDE
    };
    for (line, texts) in lines.iter().zip(texts) {
        let top = line.placement.top;
        texts.par_iter_mut().zip(&line.foreground).for_each(|(text, features)| {
            let labelled = text.take().filter(is_label);
            *text = labelled
                .and_then(|decoded| without_unknown_digits(decoded, &model.alphabet, (features, top)));
        });
    }
}
