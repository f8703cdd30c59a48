//! Registration: finds the face, size and position of each region's text. Learned faces have one size; for
//! built-in ones, sizes and appearances are searched ([`builtin_face`]). The [`position`] search finds the
//! row and the alignment.

mod builtin_face;
mod position;

use ndarray::Array2;
use rayon::prelude::*;

use super::features::energy_profile;
use super::features::sample::{Patch, Sample};
use super::features::window::{MARGIN_PX, working_factor};
use super::templates::alphabet::Alphabet;
use super::templates::appearance::Appearance;
use super::text::grammar::Grammar;
use crate::glyphs::{Face, GlyphSet};
use crate::model::channel::Channel;
use crate::setup::Region;
use builtin_face::CharacterMeans;
pub(super) use position::MIN_CALIBRATION_CORRELATION;
use position::{POSITION_FRAMES, Registration, evenly_spaced, find_position, match_quality};

/// Minimum mean correlation of a region's texts with the templates of its face. Set by judgement.
const MIN_FACE_CORRELATION: f32 = 0.45;

/// Minimum correlation of a region with a face that other regions use, relative to the highest correlation of
/// those regions with the face. Set by judgement.
const MIN_CORRELATION_RATIO: f32 = 0.85;

/// Magnifications tried for a built-in face, relative to the magnification computed from the height of the
/// strokes. The computed one is often a little low, since outlines and thin strokes at top and bottom have
/// little energy. Set by judgement.
const HEIGHT_STEPS: [f32; 7] = [0.92, 0.98, 1.04, 1.1, 1.17, 1.25, 1.33];

/// Ratios of the horizontal to the vertical magnification tried for a built-in face, because the pixels of
/// some frames are not square. Set by judgement.
const WIDTH_STEPS: [f32; 9] = [0.7, 0.77, 0.85, 0.92, 1.0, 1.08, 1.17, 1.27, 1.4];

/// Number of combinations of face and size that are refined. Set by judgement.
const FINALISTS: usize = 4;

/// Factors of the horizontal and of the vertical magnification that are tried in one iteration of refining a
/// size. Set by judgement.
const REFINEMENT_STEPS: [(f32, f32); 4] = [(0.97, 1.0), (1.03, 1.0), (1.0, 0.97), (1.0, 1.03)];

/// Maximum number of iterations of fitting the spacing of built-in glyphs. Characters are searched within one
/// column of their expected positions, so a spacing that is far off is corrected in several steps. Set by
/// judgement.
const SPACING_ITERATIONS: usize = 3;

/// Relative error of the spacing at which the iterations stop. With this error the characters of a text 100
/// columns wide are off by at most half a column.
const SPACING_TOLERANCE: f32 = 0.005;

/// Number of iterations of fitting the appearance of a built-in face: better templates find more of the
/// texts. Set by judgement.
const APPEARANCE_ITERATIONS: usize = 2;

/// Blur along the rows with which the search for a built-in face starts, in working pixels. Set by judgement.
const INITIAL_BLUR_PX: f32 = 0.75;
/// Grey level of the background with which the search for a built-in face starts, 0 to 255. Set by judgement.
const INITIAL_BACKGROUND: f32 = 160.0;

/// Maximum number of iterations of refining a size. Set by judgement.
const REFINEMENT_ITERATIONS: usize = 5;

/// Maximum height of a cell in the search over faces and sizes, in working pixels. Frames are averaged down
/// until the cells are at most this high. Set by judgement.
const SEARCH_HEIGHT_PX: f32 = 20.0;

/// Maximum number of frames that the search over faces and sizes uses. Set by judgement.
const SEARCH_FRAMES: usize = 5;

/// Face and placement of a region's text.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct RegisteredRegion {
    /// Index of the face in [`Registrations::faces`].
    pub(super) face: usize,
    pub(super) registration: Registration,
}

/// The faces that the regions show, and for each region its face and placement; `None` for a region in which
/// no face was found.
pub(super) struct Registrations<'a> {
    pub(super) faces: Vec<RegisteredFace<'a>>,
    pub(super) regions: Vec<Option<RegisteredRegion>>,
}

/// A face that at least one region shows.
pub(super) struct RegisteredFace<'a> {
    /// Templates of the face.
    pub(super) alphabet: Alphabet,
    face: &'a Face,
    /// Appearance of a built-in face; `None` for a learned one.
    appearance: Option<Appearance>,
}

/// A built-in face with its appearance.
type BuiltinFace<'a> = (&'a Face, Appearance);

/// A face with a magnification (x, y), tried in the search.
#[derive(Clone, Copy)]
struct FaceCandidate<'a> {
    face: &'a Face,
    scale: (f32, f32),
}

/// Finds the face and placement of every region of a setup. A region in which no face is found is tried again with
/// the faces found for later regions.
pub(super) fn register_all<'a>(
    regions: &[Region],
    sets: &'a [GlyphSet],
    sample: &Sample,
) -> Registrations<'a> {
    let mut all = Registrations { faces: Vec::new(), regions: Vec::new() };
    for (region, patches) in regions.iter().zip(&sample.regions) {
        let found = all.with_known_face(region, sets, patches).or_else(|| {
            let (face, registration) = search(region, sets, patches)?;
            all.faces.push(face);
            Some(RegisteredRegion { face: all.faces.len() - 1, registration })
        });
        all.regions.push(found);
    }
    for ((region, patches), number) in regions.iter().zip(&sample.regions).zip(0..) {
        if all.regions[number].is_none() {
            all.regions[number] = all.with_known_face(region, sets, patches);
        }
    }
    all
}

impl Registrations<'_> {
    /// Finds the best face for a region among the faces found for other regions, since most overlays use one
    /// typeface and size. Only faces that a glyph set has for the region's channel are tried. `None` if none
    /// of them fits.
    fn with_known_face(
        &self,
        region: &Region,
        sets: &[GlyphSet],
        patches: &[Patch],
    ) -> Option<RegisteredRegion> {
        let may_be = |face: &Face| {
            sets.iter().filter_map(|set| set.face_for(&region.channel)).any(|own| std::ptr::eq(own, face))
        };
        let known = self.faces.iter().enumerate().filter(|(_, known)| may_be(known.face));
        let fits = known.filter_map(|(number, known)| {
            let features = position_features(&known.alphabet, patches);
            let registration = register(&known.alphabet, region, &features, None)?;
            let builtin = known.appearance.map(|appearance| (known.face, appearance));
            if builtin.is_some_and(|face| !is_shown(face, &known.alphabet, &registration, region, patches)) {
                return None;
            }
            let others = self.regions.iter().flatten().filter(|other| other.face == number);
            let usual = others.map(|other| other.registration.correlation).fold(0.0, f32::max);
            (registration.correlation > MIN_CORRELATION_RATIO * usual)
                .then_some(RegisteredRegion { face: number, registration })
        });
        fits.max_by(|a, b| a.registration.correlation.total_cmp(&b.registration.correlation))
    }
}

/// Finds the placement of a region's text, given by the region's features, with the templates of an alphabet. If
/// `near` is given, only rows near this row are searched. `None` if the correlation is too low.
fn register(
    alphabet: &Alphabet,
    region: &Region,
    features: &[Array2<f32>],
    near: Option<usize>,
) -> Option<Registration> {
    find_position(alphabet, &Grammar::of(region), features, near)
        .filter(|registration| registration.correlation >= MIN_FACE_CORRELATION)
}

/// Features of at most [`POSITION_FRAMES`] of the patches, for the position search.
fn position_features(alphabet: &Alphabet, patches: &[Patch]) -> Vec<Array2<f32>> {
    features_of(alphabet, evenly_spaced(patches, POSITION_FRAMES))
}

fn features_of<'a>(alphabet: &Alphabet, patches: impl IntoIterator<Item = &'a Patch>) -> Vec<Array2<f32>> {
    let patches: Vec<&Patch> = patches.into_iter().collect();
    patches.par_iter().map(|patch| alphabet.high_pass.apply(&patch.levels(alphabet.factor))).collect()
}

/// Searches the faces of all glyph sets, and the sizes of built-in ones; `None` if the text is found with
/// none of them.
fn search<'a>(
    region: &Region,
    sets: &'a [GlyphSet],
    patches: &[Patch],
) -> Option<(RegisteredFace<'a>, Registration)> {
    let some: Vec<Patch> = evenly_spaced(patches, SEARCH_FRAMES).cloned().collect();
    let candidates = sets.iter().filter_map(|set| candidates_of(set, &region.channel, &some));
    let candidates: Vec<FaceCandidate<'_>> = candidates.flatten().collect();
    let mut rated: Vec<(f32, FaceCandidate<'_>)> =
        candidates.par_iter().map(|candidate| (candidate.match_quality(region, &some), *candidate)).collect();
    rated.sort_by(|a, b| b.0.total_cmp(&a.0));
    rated.truncate(FINALISTS);
    let refined: Vec<_> = rated
        .into_par_iter()
        .map(|finalist| {
            let refined = finalist.1.refined(finalist.0, region, &some);
            let alphabet = refined.alphabet();
            let features = position_features(&alphabet, patches);
            Some((register(&alphabet, region, &features, None)?, alphabet, refined))
        })
        .collect();
    let best = refined.into_iter().flatten().max_by(|a, b| a.0.explained.total_cmp(&b.0.explained));
    let (registration, alphabet, candidate) = best?;
    if !alphabet.is_builtin() {
        return Some((RegisteredFace { alphabet, face: candidate.face, appearance: None }, registration));
    }
    let faces: Vec<&Face> = sets.iter().filter_map(|set| set.face_for(&region.channel)).collect();
    fit_builtin_face(&faces, candidate, (alphabet, registration), region, patches)
}

/// Finds the built-in face that the sample shows, with its appearance, starting from a first guess; `None` if
/// the sample shows no built-in face.
fn fit_builtin_face<'a>(
    faces: &[&'a Face],
    guess: FaceCandidate<'_>,
    (mut alphabet, mut registration): (Alphabet, Registration),
    region: &Region,
    patches: &[Patch],
) -> Option<(RegisteredFace<'a>, Registration)> {
    let grammar = Grammar::of(region);
    let features = position_features(&alphabet, patches);
    (alphabet, registration) = with_spacing(alphabet, registration, region, &features)?;
    let mut start = initial_appearance(guess.scale);
    let mut height = guess.face.digit_height()?;
    let mut found = None;
    for _ in 0..APPEARANCE_ITERATIONS {
        let means = CharacterMeans::of(&alphabet, &registration.placement, &grammar, patches);
        let starts: Vec<BuiltinFace<'a>> = faces
            .iter()
            .filter_map(|face| {
                let ratio = height / face.digit_height()?;
                let scale = (start.scale.0 * ratio, start.scale.1 * ratio);
                Some((*face, Appearance { scale, ..start }))
            })
            .collect();
        let (face, appearance) = means.fit_appearance(&starts)?;
        (start, height, found) = (appearance, face.digit_height()?, Some((face, appearance)));
        alphabet = Alphabet::with_appearance(face, appearance, alphabet.factor);
        let features = position_features(&alphabet, patches);
        registration = register(&alphabet, region, &features, None)?;
        (alphabet, registration) = with_spacing(alphabet, registration, region, &features)?;
    }
    alphabet.match_contrast(&features_of(&alphabet, patches));
    let (face, appearance) = found?;
    is_shown((face, appearance), &alphabet, &registration, region, patches)
        .then_some((RegisteredFace { alphabet, face, appearance: Some(appearance) }, registration))
}

/// Corrects the advances of an alphabet until they agree with the spacing of the characters in the sample.
/// Returns the corrected alphabet and the placement of the text; `None` if the text is not found with the
/// corrected advances.
fn with_spacing(
    mut alphabet: Alphabet,
    mut registration: Registration,
    region: &Region,
    features: &[Array2<f32>],
) -> Option<(Alphabet, Registration)> {
    for _ in 0..SPACING_ITERATIONS {
        alphabet.scale_advances(registration.spacing);
        registration = register(&alphabet, region, features, Some(registration.placement.top))?;
        if (registration.spacing - 1.0).abs() < SPACING_TOLERANCE {
            break;
        }
    }
    Some((alphabet, registration))
}

/// Whether the sample shows the given built-in face with the given appearance.
fn is_shown(
    (face, appearance): BuiltinFace<'_>,
    alphabet: &Alphabet,
    registration: &Registration,
    region: &Region,
    patches: &[Patch],
) -> bool {
    CharacterMeans::of(alphabet, &registration.placement, &Grammar::of(region), patches)
        .match_face(face, appearance)
}

fn initial_appearance(scale: (f32, f32)) -> Appearance {
    let appearance = Appearance::magnified(scale).with_background(INITIAL_BACKGROUND);
    Appearance { blur_px: INITIAL_BLUR_PX, ..appearance }
}

impl FaceCandidate<'_> {
    /// The templates of the face at the working resolution.
    fn alphabet(&self) -> Alphabet {
        let factor = working_factor(self.height_px());
        Alphabet::with_appearance(self.face, self.appearance_at(factor), factor)
    }

    fn appearance_at(&self, factor: usize) -> Appearance {
        match self.scale {
            (1.0, 1.0) => Appearance::magnified(self.scale),
            scale => {
                let initial = initial_appearance(scale);
                let coarser = factor as f32 / working_factor(self.height_px()) as f32;
                Appearance { blur_px: initial.blur_px / coarser, ..initial }
            }
        }
    }

    /// Height of a cell in frame pixels.
    fn height_px(&self) -> f32 {
        self.face.cell.1 as f32 * self.scale.1
    }

    /// How well the digits of the face match the region, at a coarse resolution, as a correlation.
    fn match_quality(&self, region: &Region, patches: &[Patch]) -> f32 {
        let factor = (self.height_px() / SEARCH_HEIGHT_PX).ceil().max(1.0) as usize;
        let is_digit = |character: char| character.is_ascii_digit();
        let alphabet = Alphabet::with_some(self.face, self.appearance_at(factor), factor, is_digit);
        match_quality(&alphabet, &features_of(&alphabet, patches), &tops_of(&alphabet, region))
    }

    /// Searches sizes near the candidate's size by hill climbing, and returns the candidate with the highest
    /// match quality. A learned face keeps its size. `quality` is the match quality before the search.
    fn refined(self, quality: f32, region: &Region, patches: &[Patch]) -> Self {
        if self.scale == (1.0, 1.0) {
            return self;
        }
        let (mut best, mut at) = (quality, self);
        for _ in 0..REFINEMENT_ITERATIONS {
            let now = at;
            for (x, y) in REFINEMENT_STEPS {
                let scale = (now.scale.0 * x, now.scale.1 * y);
                let near = Self { scale, ..now };
                let quality = near.match_quality(region, patches);
                if quality > best {
                    (best, at) = (quality, near);
                }
            }
            if at.scale == now.scale {
                break;
            }
        }
        at
    }
}

/// Rows of the window at which a cell is tried. Of all rows at which a cell fits into the window, these are
/// the middle half; for high cells only every other row is tried.
fn tops_of(alphabet: &Alphabet, region: &Region) -> Vec<usize> {
    let rows = (region.rect.height as usize).div_ceil(alphabet.factor) + 2 * MARGIN_PX;
    let last = rows.saturating_sub(alphabet.rows);
    let step = if alphabet.rows as f32 > SEARCH_HEIGHT_PX / 2.0 { 2 } else { 1 };
    (last / 4..=last - last / 4).step_by(step).collect()
}

/// The candidates for a channel from one glyph set: a learned face at its size, a built-in one at several
/// sizes. `None` if the set has no face for the channel, or the height of the text cannot be measured.
fn candidates_of<'a>(
    set: &'a GlyphSet,
    channel: &Channel,
    patches: &[Patch],
) -> Option<Vec<FaceCandidate<'a>>> {
    let face = set.face_for(channel)?;
    if !set.any_size {
        return Some(vec![FaceCandidate { face, scale: (1.0, 1.0) }]);
    }
    let magnification = text_height_px(patches)? / face.digit_height()?;
    let sizes = HEIGHT_STEPS.iter().flat_map(|height| {
        WIDTH_STEPS.iter().map(move |width| {
            let scale_y = magnification * height;
            FaceCandidate { face, scale: (scale_y * width, scale_y) }
        })
    });
    Some(sizes.collect())
}

/// Height of the text in frame pixels, measured from the rows that contain strokes; `None` if no such rows are
/// found.
fn text_height_px(patches: &[Patch]) -> Option<f32> {
    let rows = energy_profile::text_rows(patches, patches.first()?.crop().height())?;
    Some(((rows.bottom - rows.top) * rows.factor) as f32)
}
