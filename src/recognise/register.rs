//! Registration: which face each region is written in, how large, and where.

use ndarray::Array2;
use rayon::prelude::*;

use super::alphabet::{Alphabet, Appearance, working_factor};
use super::calibrate::{PLACE_FRAMES, Registration, presence, register, spread};
use super::drawn::Means;
use super::feature::MARGIN_PX;
use super::grammar::Grammar;
use super::ink;
use super::sample::{Patch, Sample};
use crate::glyphs::{Face, GlyphSet};
use crate::model::channel::Channel;
use crate::setup::Region;

/// Mean correlation with the templates below which a face is not the one in the clip.
const LEAST_FACE_FIT: f32 = 0.45;

/// Magnifications tried around the one that the ink's height suggests, which is often a little low:
/// outlines and thin strokes at top and bottom hold little energy.
const HEIGHT_STEPS: [f32; 7] = [0.92, 0.98, 1.04, 1.1, 1.17, 1.25, 1.33];

/// Width of a glyph against its height, as drawn, on frames with other pixel shapes.
const WIDTH_STEPS: [f32; 9] = [0.7, 0.77, 0.85, 0.92, 1.0, 1.08, 1.17, 1.27, 1.4];

/// Faces and sizes that are looked at closely.
const FINALISTS: usize = 4;

/// Changes of a finalist's width and height tried at a time.
const SETTLING_STEPS: [(f32, f32); 4] = [(0.97, 1.0), (1.03, 1.0), (1.0, 0.97), (1.0, 1.03)];

/// Rounds of fitting the spacing of built-in glyphs: single characters are looked for within a column
/// of their places, so a spacing that is far off comes right in steps.
const SPACING_ROUNDS: usize = 3;

/// A spacing that is right to such a share moves no character of a text by half a column.
const EVEN_SPACING: f32 = 0.005;

/// Rounds of finding out how a drawn face appears: better templates find more of the texts.
const APPEARANCE_ROUNDS: usize = 2;

/// Blur along the lines, in working pixels, and brightness of the scenery that are tried first.
const USUAL_BLUR_PX: f32 = 0.75;
const USUAL_BACKDROP: f32 = 160.0;

/// Changes made at most.
const SETTLING_ROUNDS: usize = 5;

/// Height of cells, in working pixels, from which on the search over faces and sizes averages them down further
/// than reading does.
const SEARCH_HEIGHT_PX: f32 = 20.0;

/// Frames used in the coarse search over faces and sizes.
const SEARCH_FRAMES: usize = 5;

/// A region's registration and the alphabet it uses.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Registered {
    /// Index into the list of alphabets.
    pub(super) alphabet: usize,
    pub(super) registration: Registration,
}

/// Alphabets in use and what was found for each region.
pub(super) struct AllRegistered<'a> {
    pub(super) known: Vec<Known<'a>>,
    pub(super) regions: Vec<Option<Registered>>,
}

/// An alphabet in use.
pub(super) struct Known<'a> {
    pub(super) alphabet: Alphabet,
    /// The face that it is of.
    face: &'a Face,
    /// How a drawn face appears in the clip; `None` for a taught one.
    appearance: Option<Appearance>,
}

/// A drawn face as it appears in the clip.
type Drawn<'a> = (&'a Face, Appearance);

/// A face at a size.
#[derive(Clone, Copy)]
struct Candidate<'a> {
    face: &'a Face,
    scale: (f32, f32),
}

/// Registers every region of a setup. A region whose own search finds nothing may still be written in
/// the alphabet found for a later one.
pub(super) fn register_all<'a>(
    regions: &[Region],
    sets: &'a [GlyphSet],
    sample: &Sample,
) -> AllRegistered<'a> {
    let mut all = AllRegistered { known: Vec::new(), regions: Vec::new() };
    for (region, patches) in regions.iter().zip(&sample.regions) {
        let found = all.with_known_alphabet(region, sets, patches).or_else(|| {
            let (known, registration) = search(region, sets, patches)?;
            all.known.push(known);
            Some(Registered { alphabet: all.known.len() - 1, registration })
        });
        all.regions.push(found);
    }
    for ((region, patches), number) in regions.iter().zip(&sample.regions).zip(0..) {
        if all.regions[number].is_none() {
            all.regions[number] = all.with_known_alphabet(region, sets, patches);
        }
    }
    all
}

impl AllRegistered<'_> {
    /// Tries the alphabets found for former regions, of the faces that the channel may be written in: most overlays use
    /// one size of type.
    fn with_known_alphabet(
        &self,
        region: &Region,
        sets: &[GlyphSet],
        patches: &[Patch],
    ) -> Option<Registered> {
        let may_be = |face: &Face| {
            sets.iter().filter_map(|set| set.face_for(&region.channel)).any(|own| std::ptr::eq(own, face))
        };
        let known = self.known.iter().enumerate().filter(|(_, known)| may_be(known.face));
        let fits = known.filter_map(|(number, known)| {
            let features = place_features(&known.alphabet, patches);
            let registration = try_alphabet(&known.alphabet, region, &features, None)?;
            let drawn = known.appearance.map(|appearance| (known.face, appearance));
            if drawn.is_some_and(|drawn| !is_genuine(drawn, &known.alphabet, &registration, region, patches))
            {
                return None;
            }
            let others = self.regions.iter().flatten().filter(|other| other.alphabet == number);
            let usual = others.map(|other| other.registration.fit).fold(0.0, f32::max);
            (registration.fit > 0.85 * usual).then_some(Registered { alphabet: number, registration })
        });
        fits.max_by(|a, b| a.registration.fit.total_cmp(&b.registration.fit))
    }
}

/// Registers a region with an alphabet in which `features` of it were taken, in the row about the one told if it is
/// known; `None` where it does not fit.
fn try_alphabet(
    alphabet: &Alphabet,
    region: &Region,
    features: &[Array2<f32>],
    about: Option<usize>,
) -> Option<Registration> {
    register(alphabet, &Grammar::of(region), features, about)
        .filter(|registration| registration.fit >= LEAST_FACE_FIT)
}

/// Features of as many patches as a place is found in.
fn place_features(alphabet: &Alphabet, patches: &[Patch]) -> Vec<Array2<f32>> {
    features_of(alphabet, spread(patches, PLACE_FRAMES))
}

fn features_of<'a>(alphabet: &Alphabet, patches: impl IntoIterator<Item = &'a Patch>) -> Vec<Array2<f32>> {
    let patches: Vec<&Patch> = patches.into_iter().collect();
    patches.par_iter().map(|patch| alphabet.high_pass.apply(&patch.levels(alphabet.factor))).collect()
}

/// Searches the faces of all sets, and for built-in ones their size.
fn search<'a>(region: &Region, sets: &'a [GlyphSet], patches: &[Patch]) -> Option<(Known<'a>, Registration)> {
    let some: Vec<Patch> = spread(patches, SEARCH_FRAMES).cloned().collect();
    let candidates = sets.iter().filter_map(|set| candidates_of(set, &region.channel, &some));
    let candidates: Vec<Candidate<'_>> = candidates.flatten().collect();
    let mut rated: Vec<(f32, Candidate<'_>)> =
        candidates.par_iter().map(|candidate| (candidate.presence(region, &some), *candidate)).collect();
    rated.sort_by(|a, b| b.0.total_cmp(&a.0));
    rated.truncate(FINALISTS);
    let closely: Vec<_> = rated
        .into_par_iter()
        .map(|finalist| {
            let settled = finalist.1.settled(finalist.0, region, &some);
            let alphabet = settled.alphabet();
            let features = place_features(&alphabet, patches);
            Some((try_alphabet(&alphabet, region, &features, None)?, alphabet, settled))
        })
        .collect();
    let best = closely.into_iter().flatten().max_by(|a, b| a.0.explained.total_cmp(&b.0.explained));
    let (registration, alphabet, candidate) = best?;
    if !alphabet.is_drawn() {
        return Some((Known { alphabet, face: candidate.face, appearance: None }, registration));
    }
    let faces: Vec<&Face> = sets.iter().filter_map(|set| set.face_for(&region.channel)).collect();
    drawn_as_seen(&faces, candidate, (alphabet, registration), region, patches)
}

/// The drawn face, and its size and blur, that the sample shows, starting from a first guess; `None` if
/// it shows none of them.
fn drawn_as_seen<'a>(
    faces: &[&'a Face],
    guess: Candidate<'_>,
    (mut alphabet, mut registration): (Alphabet, Registration),
    region: &Region,
    patches: &[Patch],
) -> Option<(Known<'a>, Registration)> {
    let grammar = Grammar::of(region);
    let features = place_features(&alphabet, patches);
    (alphabet, registration) = evenly_spaced(alphabet, registration, region, &features)?;
    let mut start = usual_appearance(guess.scale);
    let mut height = guess.face.ink_height()?;
    let mut drawn = None;
    for _ in 0..APPEARANCE_ROUNDS {
        let means = Means::of(&alphabet, &registration.placement, &grammar, patches);
        let starts: Vec<Drawn<'a>> = faces
            .iter()
            .filter_map(|face| {
                let ratio = height / face.ink_height()?;
                let scale = (start.scale.0 * ratio, start.scale.1 * ratio);
                Some((*face, Appearance { scale, ..start }))
            })
            .collect();
        let (face, appearance) = means.appearance(&starts)?;
        (start, height, drawn) = (appearance, face.ink_height()?, Some((face, appearance)));
        alphabet = Alphabet::with_appearance(face, appearance, alphabet.factor);
        let features = place_features(&alphabet, patches);
        registration = try_alphabet(&alphabet, region, &features, None)?;
        (alphabet, registration) = evenly_spaced(alphabet, registration, region, &features)?;
    }
    alphabet.match_contrast(&features_of(&alphabet, patches));
    let (face, appearance) = drawn?;
    is_genuine((face, appearance), &alphabet, &registration, region, patches)
        .then_some((Known { alphabet, face, appearance: Some(appearance) }, registration))
}

/// The alphabet with the spacing of the characters that the sample shows.
fn evenly_spaced(
    mut alphabet: Alphabet,
    mut registration: Registration,
    region: &Region,
    features: &[Array2<f32>],
) -> Option<(Alphabet, Registration)> {
    for _ in 0..SPACING_ROUNDS {
        alphabet.scale_advances(registration.spacing);
        registration = try_alphabet(&alphabet, region, features, Some(registration.placement.top))?;
        if (registration.spacing - 1.0).abs() < EVEN_SPACING {
            break;
        }
    }
    Some((alphabet, registration))
}

/// Whether the sample shows the face of a drawn alphabet.
fn is_genuine(
    (face, appearance): Drawn<'_>,
    alphabet: &Alphabet,
    registration: &Registration,
    region: &Region,
    patches: &[Patch],
) -> bool {
    Means::of(alphabet, &registration.placement, &Grammar::of(region), patches).show(face, appearance)
}

fn usual_appearance(scale: (f32, f32)) -> Appearance {
    Appearance { blur_px: USUAL_BLUR_PX, ..Appearance::magnified(scale).before(USUAL_BACKDROP) }
}

impl Candidate<'_> {
    /// At the working resolution.
    fn alphabet(&self) -> Alphabet {
        let factor = working_factor(self.height_px());
        Alphabet::with_appearance(self.face, self.appearance_at(factor), factor)
    }

    fn appearance_at(&self, factor: usize) -> Appearance {
        match self.scale {
            (1.0, 1.0) => Appearance::magnified(self.scale),
            scale => {
                let usual = usual_appearance(scale);
                let coarser = factor as f32 / working_factor(self.height_px()) as f32;
                Appearance { blur_px: usual.blur_px / coarser, ..usual }
            }
        }
    }

    /// Height of its cells in frame pixels.
    fn height_px(&self) -> f32 {
        self.face.cell.1 as f32 * self.scale.1
    }

    /// How plainly its digits stand in the region, at a coarse resolution.
    fn presence(&self, region: &Region, patches: &[Patch]) -> f32 {
        let factor = (self.height_px() / SEARCH_HEIGHT_PX).ceil().max(1.0) as usize;
        let is_digit = |character: char| character.is_ascii_digit();
        let alphabet = Alphabet::of_some(self.face, self.appearance_at(factor), factor, is_digit);
        presence(&alphabet, &features_of(&alphabet, patches), &tops_of(&alphabet, region))
    }

    /// The size near this one at which the digits stand out most plainly; a taught face stays as it is.
    fn settled(self, presence: f32, region: &Region, patches: &[Patch]) -> Self {
        if self.scale == (1.0, 1.0) {
            return self;
        }
        let (mut best, mut at) = (presence, self);
        for _ in 0..SETTLING_ROUNDS {
            let now = at;
            for (x, y) in SETTLING_STEPS {
                let scale = (now.scale.0 * x, now.scale.1 * y);
                let near = Self { scale, ..now };
                let presence = near.presence(region, patches);
                if presence > best {
                    (best, at) = (presence, near);
                }
            }
            if at.scale == now.scale {
                break;
            }
        }
        at
    }
}

/// Rows where a cell's top edge may be for the cell to stand in the box, every other one where cells are high.
fn tops_of(alphabet: &Alphabet, region: &Region) -> Vec<usize> {
    let rows = (region.place.height as usize).div_ceil(alphabet.factor) + 2 * MARGIN_PX;
    let last = rows.saturating_sub(alphabet.rows);
    let step = if alphabet.rows as f32 > SEARCH_HEIGHT_PX / 2.0 { 2 } else { 1 };
    (last / 4..=last - last / 4).step_by(step).collect()
}

/// A taught face as it is; a built-in one (drawn for any frame, so for any channel) at several sizes.
fn candidates_of<'a>(set: &'a GlyphSet, channel: &Channel, patches: &[Patch]) -> Option<Vec<Candidate<'a>>> {
    let face = set.face_for(channel)?;
    if !set.any_size {
        return Some(vec![Candidate { face, scale: (1.0, 1.0) }]);
    }
    let magnification = ink_height_px(patches)? / face.ink_height()?;
    let sizes = HEIGHT_STEPS.iter().flat_map(|height| {
        WIDTH_STEPS.iter().map(move |width| {
            let scale_y = magnification * height;
            Candidate { face, scale: (scale_y * width, scale_y) }
        })
    });
    Some(sizes.collect())
}

/// Height of the text in frame pixels, from the rows that hold strokes.
fn ink_height_px(patches: &[Patch]) -> Option<f32> {
    let (top, bottom, factor) = ink::text_rows(patches, patches.first()?.crop().height())?;
    Some(((bottom - top) * factor) as f32)
}
