//! Drawn faces: whether a built-in face is really the one in the clip, and how it looks there.
//!
//! Noise and background hide how well a drawn glyph fits a single frame. The mean of all pictures
//! read as one character shows it: if the face is the right one, the mean looks like the drawing, but
//! for the blur of camera and recorder; if the face is another, or the texts are misread, it does not.

use ndarray::Array2;

use super::alphabet::{Alphabet, Appearance, AppearanceStep};
use super::calibrate::fit_of;
use super::decode::{Decoded, Decoder, Placement};
use super::grammar::Grammar;
use super::matcher::{Correlator, correlations};
use super::patches::patch_at;
use super::sample::Patch;
use crate::glyphs::Face;

/// Room around a cell in a mean picture, in working pixels.
const ROOM_PX: usize = 4;

/// Mean correlation of the digits' mean pictures with the drawing, from which on the face is believed to
/// be the one in the clip. Other faces reach less, and so do this one's digits if they are misread.
const GENUINE_FIT: f32 = 0.92;

/// The same for every single digit that was seen in a few pictures at least.
const GENUINE_DIGIT_FIT: f32 = 0.86;
const FEW_PICTURES: usize = 4;

/// Changes tried at a time, coarse and fine.
const STEPS: [AppearanceStep; 2] = [
    AppearanceStep { magnification: 0.05, blur_px: 0.5, down_px: 0.5, backdrop: 50.0 },
    AppearanceStep { magnification: 0.02, blur_px: 0.25, down_px: 0.25, backdrop: 20.0 },
];

/// Brightness of the scenery tried behind a face whose appearance is known otherwise.
const BACKDROPS: [f32; 6] = [30.0, 70.0, 110.0, 150.0, 190.0, 230.0];

/// Changes made at most with each step.
const ROUNDS: usize = 8;

/// Mean of all pictures read as one character.
#[derive(Debug, Clone)]
struct Mean {
    character: char,
    /// Grey levels, room around the cell included.
    levels: Array2<f32>,
    pictures: usize,
}

/// Means of the characters that a region's sample shows.
#[derive(Debug, Clone)]
pub(super) struct Means {
    means: Vec<Mean>,
    factor: usize,
}

impl Means {
    /// Reads a region's sample with an alphabet and averages the better half of the texts.
    pub(super) fn of(
        alphabet: &Alphabet,
        placement: &Placement,
        grammar: &Grammar,
        patches: &[Patch],
    ) -> Self {
        let decoder = Decoder { alphabet, scorer: &Correlator::new(alphabet), grammar };
        let read = |patch: &Patch| {
            let levels = patch.levels(alphabet.factor);
            let decoded = decoder.decode(&alphabet.high_pass.apply(&levels), placement)?;
            Some((levels, decoded))
        };
        let mut texts: Vec<(Array2<f32>, Decoded)> = patches.iter().filter_map(read).collect();
        texts.sort_by(|a, b| fit_of(&b.1).total_cmp(&fit_of(&a.1)));
        texts.truncate(texts.len().div_ceil(2));
        let mut means = Self { means: Vec::new(), factor: alphabet.factor };
        for (levels, decoded) in &texts {
            means.add(alphabet, placement, levels, decoded);
        }
        means.means.iter_mut().for_each(|mean| mean.levels /= mean.pictures as f32);
        means
    }

    fn add(&mut self, alphabet: &Alphabet, placement: &Placement, levels: &Array2<f32>, decoded: &Decoded) {
        let Some(top) = placement.top.checked_sub(ROOM_PX) else { return };
        let size = (alphabet.rows + 2 * ROOM_PX, alphabet.cols + 2 * ROOM_PX);
        for place in decoded.places.iter().filter(|place| place.character.is_ascii_digit()) {
            let Some(patch) = patch_at(levels, top, place.left - ROOM_PX as f32, size) else { continue };
            match self.means.iter_mut().find(|mean| mean.character == place.character) {
                Some(mean) => {
                    mean.levels += &patch;
                    mean.pictures += 1;
                }
                None => {
                    self.means.push(Mean { character: place.character, levels: patch, pictures: 1 });
                }
            }
        }
    }

    /// Correlation of every mean with an alphabet's template, all at one row, and the mean of them.
    fn fits(&self, alphabet: &Alphabet) -> (f32, Vec<f32>) {
        let features: Vec<Array2<f32>> =
            self.means.iter().map(|mean| alphabet.high_pass.apply(&mean.levels)).collect();
        let Some(rows) = features.first().map(Array2::nrows) else { return (-1.0, Vec::new()) };
        let fits_at = |top: usize| {
            let fit = |(mean, features): (&Mean, &Array2<f32>)| {
                let template = &alphabet.shapes[alphabet.index_of(mean.character)?].template;
                correlations(template, features, top).into_iter().reduce(f32::max)
            };
            let fits: Vec<f32> =
                self.means.iter().zip(&features).map(|both| fit(both).unwrap_or(-1.0)).collect();
            (fits.iter().sum::<f32>() / fits.len().max(1) as f32, fits)
        };
        let all = (0..=rows.saturating_sub(alphabet.rows)).map(fits_at);
        all.max_by(|a, b| a.0.total_cmp(&b.0)).unwrap_or((-1.0, Vec::new()))
    }

    /// Whether a face, appearing as told but before any scenery, is the one that the sample shows.
    pub(super) fn show(&self, face: &Face, appearance: Appearance) -> bool {
        let before = |backdrop: &f32| {
            self.fits(&Alphabet::with_appearance(face, appearance.before(*backdrop), self.factor))
        };
        let best = BACKDROPS.iter().map(before).max_by(|a, b| a.0.total_cmp(&b.0));
        let (overall, fits) = best.unwrap_or((-1.0, Vec::new()));
        let mut seen = fits.iter().zip(&self.means).filter(|(_, mean)| mean.pictures >= FEW_PICTURES);
        overall >= GENUINE_FIT && seen.all(|(fit, _)| *fit >= GENUINE_DIGIT_FIT)
    }

    /// How a face appears if the means are its digits, near `start`; and the mean correlation then.
    pub(super) fn appearance(&self, face: &Face, start: Appearance) -> (Appearance, f32) {
        let rate = |at: Appearance| self.fits(&Alphabet::with_appearance(face, at, self.factor)).0;
        let (mut best, mut at) = (rate(start), start);
        for step in STEPS {
            for _ in 0..ROUNDS {
                let now = at;
                for near in now.neighbours(step) {
                    let rated = rate(near);
                    if rated > best {
                        (best, at) = (rated, near);
                    }
                }
                if at == now {
                    break;
                }
            }
        }
        (at, best)
    }
}
