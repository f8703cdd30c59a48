//! Teaching: learns the shapes of an overlay's characters from a few told readings.
//!
//! Told texts show where strokes must be ([`layout`]); the characters cut there are averaged and
//! aligned to each other ([`align`]); then the sample of the whole clip is read with these first
//! shapes and the characters that are believed are averaged into clean glyphs.

mod align;
mod ask;
mod behind;
mod blame;
mod contradiction;
mod count;
mod faces;
mod heights;
mod hold;
mod layout;
mod misread;
mod moments;
mod shapes;
mod told_file;

use image::GrayImage;
use ndarray::Array2;
use thiserror::Error;

use crate::channel::Channel;
use crate::glyphs::{CHARACTERS, Face, GlyphSet};
use crate::recognise::alphabet::working_factor;
use crate::recognise::feature::{HighPass, MARGIN_PX};
use crate::recognise::{Backdrop, Patch, Recogniser, Sample, ink};
use crate::setup::Region;

use align::{CharacterCut, ranked_cuts};
pub use ask::ask_first;
use faces::{cleaned, face_of};
use heights::{InkRows, heights_agreed};
pub use moments::{MomentError, open_for, told_moments};
pub use told_file::{Remembered, ToldFile, ToldFileError};

use layout::{Layout, RegionInk, ToldInk, find_layouts, with_other_points};

/// Heights of type that differ by no more than this share count as one face.
const SAME_HEIGHT_SHARE: f32 = 0.3;

/// How far text may stand out of its box, in working pixels.
const BOX_PADDING_PX: usize = 2;

/// Blank rows kept above and below the strokes, in working pixels.
const ROW_PADDING_PX: usize = 1;

/// A reading told by the pilot.
#[derive(Debug, Clone, PartialEq)]
pub struct Told {
    /// The channel.
    pub channel: Channel,
    /// Time in seconds from the clip's first frame.
    pub time_s: f64,
    /// What the overlay shows there.
    pub text: String,
}

/// A told reading with the pictures of its region: the frame told and some before and after it.
#[derive(Debug, Clone)]
pub struct ToldMoment {
    /// What was told.
    pub told: Told,
    /// The region at the told time.
    pub centre: Patch,
    /// The region in the frames before, nearest first.
    pub before: Vec<Patch>,
    /// The region in the frames after, nearest first.
    pub after: Vec<Patch>,
}

/// Two told readings that cannot both be right.
#[derive(Debug, Clone, PartialEq)]
pub struct Contradiction {
    /// One sentence naming both moments.
    pub message: String,
    /// The reading that is probably wrong.
    pub suspect: Told,
    /// The reading that it contradicts, if it is one reading.
    pub witness: Option<Told>,
}

/// A moment worth telling next.
#[derive(Debug, Clone)]
pub struct Ask {
    /// The channel.
    pub channel: Channel,
    /// Time in seconds from the clip's first frame.
    pub time_s: f64,
    /// What the region shows then.
    pub picture: GrayImage,
}

/// What was learnt.
#[derive(Debug, Clone)]
pub struct Lesson {
    /// The glyph set.
    pub set: GlyphSet,
    /// Digits not seen yet, with the channels of their face (empty: all channels).
    pub missing: Vec<(Vec<Channel>, Vec<char>)>,
    /// Told readings at odds with each other, or with what the shapes learnt from them read.
    pub contradictions: Vec<Contradiction>,
    /// Channels whose told readings the shapes learnt do not read as told; each is a contradiction too.
    pub misread: Vec<Channel>,
    /// Moments that show shapes not known yet, most useful first.
    pub ask_next: Vec<Ask>,
}

/// Why nothing could be learnt.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum TeachError {
    /// No reading was told.
    #[error("no reading is told: give at least one, for example --say speed@12.4=63")]
    NothingTold,
    /// A told channel is not marked.
    #[error("{channel}@{time_s}: the setup marks no region for this channel; it marks {marked}")]
    UnknownChannel {
        /// The channel told.
        channel: String,
        /// The time told.
        time_s: f64,
        /// The channels marked.
        marked: String,
    },
    /// A told text holds characters that no readout shows.
    #[error("{channel}@{time_s}={text}: a reading holds only the characters {CHARACTERS}")]
    UnusableText {
        /// The channel told.
        channel: String,
        /// The time told.
        time_s: f64,
        /// The text told.
        text: String,
    },
    /// A told text is not of the form that the setup gives.
    #[error(
        "{channel}@{time_s}={text}: {told} told, but the setup says {key} = {wanted} for {channel}: if the \
         overlay shows this text, set {key} = {mend} there; else tell the text as shown, its point included"
    )]
    OtherForm {
        /// The channel told.
        channel: String,
        /// The time told.
        time_s: f64,
        /// The text told.
        text: String,
        /// What was told: so many digits.
        told: String,
        /// The key of the setup.
        key: &'static str,
        /// Its value.
        wanted: u8,
        /// The value that the told text needs.
        mend: usize,
    },
    /// A told text and the unit of its region disagree on a colon.
    #[error(
        "{channel}@{time_s}={text}: a readout of unit = \"min:s\" shows minutes, a colon and two digits of seconds, \
         and no other shows a colon: tell the text as shown, or mend the unit of {channel} in the setup"
    )]
    NoClock {
        /// The channel told.
        channel: String,
        /// The time told.
        time_s: f64,
        /// The text told.
        text: String,
    },
    /// No strokes stand out where the text should be.
    #[error(
        "channel {channel}: no text stands out in its box; look at the box with `pairspeed inspect CLIP --setup FILE`"
    )]
    NoStrokes {
        /// The channel.
        channel: String,
    },
    /// The told texts fit no layout.
    #[error(
        "the readings told for {channels} do not fit into their boxes: check the texts and whether the boxes hold the widest value"
    )]
    NoLayout {
        /// The channels.
        channels: String,
    },
}

/// Learns a glyph set from told readings and a sample of the whole clip.
///
/// `sample` holds a list of patches for each of `regions`, in their order.
///
/// # Errors
/// [`TeachError`] says which told reading or region is unusable and why.
pub fn teach(
    name: &str,
    regions: &[Region],
    moments: &[ToldMoment],
    sample: &Sample,
) -> Result<Lesson, TeachError> {
    check_told(regions, moments)?;
    let heights = heights_agreed(regions, moments, sample)?;
    let mut groups = Vec::new();
    let mut faces = Vec::new();
    let mut contradictions = Vec::new();
    for mut group in group_by_height(regions, moments, &heights)? {
        let (layout, cuts) = cut_group(&mut group)?;
        contradictions.extend(at_odds(&group, &layout, &cuts, sample));
        faces.push(face_of(&group, &cuts));
        groups.push((group, cuts));
    }
    name_channels(&mut faces, regions, &heights);
    let first = GlyphSet { name: name.to_owned(), faces, any_size: false };
    let recogniser = Recogniser::calibrate(regions, std::slice::from_ref(&first), sample);
    let set = cleaned(first, &groups, regions, &recogniser, sample);
    let as_read = Recogniser::calibrate(regions, std::slice::from_ref(&set), sample);
    let contradictions = misread::unrefuted(contradictions, regions, moments, &as_read);
    let without = |left: &[ToldMoment]| found_at_odds(regions, left, &heights, sample);
    let mut contradictions = blame::blamed(contradictions, moments, without);
    let misread = misread::misread(regions, moments, &as_read);
    let misread_channels = misread.iter().map(|one| one.suspect.channel.clone()).collect();
    contradictions.extend(misread);
    let missing = set.faces.iter().map(|face| (face.channels.clone(), face.missing_digits()));
    let missing: Vec<_> = missing.filter(|(_, digits)| !digits.is_empty()).collect();
    let ask_next = if missing.is_empty() { Vec::new() } else { ask::ask_next(regions, &recogniser, sample) };
    Ok(Lesson { set, missing, contradictions, misread: misread_channels, ask_next })
}

/// Contradictions among some of the told readings.
fn found_at_odds(
    regions: &[Region],
    moments: &[ToldMoment],
    heights: &[Option<InkRows>],
    sample: &Sample,
) -> Result<Vec<Contradiction>, TeachError> {
    let mut found = Vec::new();
    for group in &mut group_by_height(regions, moments, heights)? {
        let (layout, cuts) = cut_group(group)?;
        found.extend(at_odds(group, &layout, &cuts, sample));
    }
    Ok(found)
}

fn at_odds(group: &Group<'_>, layout: &Layout, cuts: &[CharacterCut], sample: &Sample) -> Vec<Contradiction> {
    let shapes = shapes::shapes(group, layout, cuts, sample);
    let mut found = count::miscounted(group, layout);
    found.extend(contradiction::contradictions(cuts, &shapes));
    found
}

fn check_told(regions: &[Region], moments: &[ToldMoment]) -> Result<(), TeachError> {
    if moments.is_empty() {
        return Err(TeachError::NothingTold);
    }
    for ToldMoment { told, .. } in moments {
        let channel = told.channel.name().to_owned();
        if !regions.iter().any(|region| region.channel == told.channel) {
            let marked: Vec<&str> = regions.iter().map(|region| region.channel.name()).collect();
            return Err(TeachError::UnknownChannel {
                channel,
                time_s: told.time_s,
                marked: marked.join(", "),
            });
        }
        let usable = !told.text.is_empty() && told.text.chars().all(|c| CHARACTERS.contains(c));
        if !usable {
            return Err(TeachError::UnusableText { channel, time_s: told.time_s, text: told.text.clone() });
        }
        if let Some(region) = regions.iter().find(|region| region.channel == told.channel) {
            check_form(region, told)?;
        }
    }
    Ok(())
}

/// Makes sure that a told text has as many digits as the setup allows, before and after the point:
/// another text would never be read.
fn check_form(region: &Region, told: &Told) -> Result<(), TeachError> {
    let of_digits = |text: &str| text.chars().filter(char::is_ascii_digit).count();
    let (mark, wanted_after) = region.parted();
    let after = told.text.split_once(mark).map_or(0, |(_, after)| of_digits(after));
    let all = of_digits(&told.text);
    let other = |told_count: usize, place: &str, key: &'static str, wanted: u8, mend: usize| {
        let digits = if told_count == 1 { "digit" } else { "digits" };
        Err(TeachError::OtherForm {
            channel: region.channel.name().to_owned(),
            time_s: told.time_s,
            text: told.text.clone(),
            told: format!("{told_count} {digits}{place}"),
            key,
            wanted,
            mend,
        })
    };
    if (mark == ':' && after != usize::from(wanted_after)) || told.text.contains(':') != (mark == ':') {
        return Err(TeachError::NoClock {
            channel: region.channel.name().to_owned(),
            time_s: told.time_s,
            text: told.text.clone(),
        });
    }
    if after != usize::from(wanted_after) {
        return other(after, " after the point", "decimals", wanted_after, after);
    }
    match region.digits {
        Some(digits) if all > usize::from(digits) => other(all, "", "digits", digits, all),
        _ => Ok(()),
    }
}

/// The told readings of one region, at the working resolution of its face.
struct ToldRegion<'a> {
    /// Its place among the setup's regions.
    number: usize,
    region: &'a Region,
    moments: Vec<&'a ToldMoment>,
    /// The place of every moment in the order told.
    orders: Vec<usize>,
    /// The pictures that show the told text, the one told first, for every moment.
    held: Vec<Vec<&'a Patch>>,
    /// Mean features over the frames that show the told text, one a moment.
    features: Vec<Array2<f32>>,
    /// What was taken off these.
    backdrop: Backdrop,
    /// Row of the cells' top edge in the window.
    top: usize,
}

/// Regions written in one size of type.
struct Group<'a> {
    regions: Vec<ToldRegion<'a>>,
    /// Rows of a cell in working pixels.
    rows: usize,
    factor: usize,
    high_pass: HighPass,
}

impl Group<'_> {
    /// Features of a picture's window.
    fn features(&self, patch: &Patch) -> Array2<f32> {
        self.high_pass.apply(&patch.levels(self.factor))
    }

    /// Height of the strokes in frame pixels.
    fn height_px(&self) -> f32 {
        ((self.rows - 2 * ROW_PADDING_PX) * self.factor) as f32
    }

    /// First row of the strokes in frame pixels from the top of a box, of cells whose top edge is a row of the window.
    fn ink_top_px(&self, top: usize) -> f32 {
        ((top + ROW_PADDING_PX) as f32 - MARGIN_PX as f32) * self.factor as f32
    }
}

fn group_by_height<'a>(
    regions: &'a [Region],
    moments: &'a [ToldMoment],
    heights: &[Option<InkRows>],
) -> Result<Vec<Group<'a>>, TeachError> {
    let mut by_height: Vec<(f32, Vec<Member<'_>>)> = Vec::new();
    for (number, (region, rows)) in regions.iter().zip(heights).enumerate() {
        if !moments.iter().any(|moment| moment.told.channel == region.channel) {
            continue;
        }
        let rows = rows.ok_or_else(|| TeachError::NoStrokes { channel: region.channel.name().to_owned() })?;
        let same =
            |(height, _): &&mut (f32, Vec<_>)| (rows.height_px / *height - 1.0).abs() <= SAME_HEIGHT_SHARE;
        match by_height.iter_mut().find(same) {
            Some((_, members)) => members.push((number, region, rows)),
            None => by_height.push((rows.height_px, vec![(number, region, rows)])),
        }
    }
    Ok(by_height.into_iter().map(|(_, members)| group_of(&members, moments)).collect())
}

/// A told region: its place among the setup's regions, itself, and its rows.
type Member<'a> = (usize, &'a Region, InkRows);

fn group_of<'a>(members: &[Member<'a>], moments: &'a [ToldMoment]) -> Group<'a> {
    let mut heights_px: Vec<f32> = members.iter().map(|(.., rows)| rows.height_px).collect();
    heights_px.sort_by(f32::total_cmp);
    let height_px = heights_px.get(heights_px.len() / 2).copied().unwrap_or(1.0);
    let factor = working_factor(height_px);
    let rows = (height_px / factor as f32).round() as usize + 2 * ROW_PADDING_PX;
    let high_pass = HighPass::for_cell_width(0.6 * rows as f32);
    let told = members.iter().map(|(number, region, ink)| {
        let own = moments.iter().enumerate().filter(|(_, moment)| moment.told.channel == region.channel);
        let (orders, moments): (Vec<usize>, Vec<&ToldMoment>) = own.unzip();
        let held: Vec<Vec<&Patch>> =
            moments.iter().map(|moment| align::held(moment, factor, &high_pass)).collect();
        let features = |patch: &&Patch| high_pass.apply(&patch.levels(factor));
        let features = held.iter().map(|held| align::mean_features(held.iter().map(features))).collect();
        let middle = (ink.top_px + 0.5 * ink.height_px) / factor as f32 + MARGIN_PX as f32;
        let top = (middle - 0.5 * rows as f32).round().max(0.0) as usize;
        ToldRegion {
            number: *number,
            region,
            moments,
            orders,
            held,
            features,
            backdrop: Backdrop::plain(),
            top,
        }
    });
    let regions = told.collect();
    Group { regions, rows, factor, high_pass }
}

/// Pitches for which all widths of the decimal point are tried: a coarse width can favour a wrong pitch.
const PITCHES_LOOKED_AT_CLOSELY: usize = 5;

/// Cuts the characters of a group's told readings, aligned to each other, and takes the scenery off its pictures.
fn cut_group(group: &mut Group<'_>) -> Result<(Layout, Vec<CharacterCut>), TeachError> {
    let inks: Vec<RegionInk> = group.regions.iter().map(|told| region_ink(told, group.rows)).collect();
    let height = (group.rows - 2 * ROW_PADDING_PX) as f32;
    let layouts = find_layouts(&inks, height);
    let ranked = ranked_cuts(group, &layouts);
    let finer: Vec<Layout> = ranked
        .iter()
        .take(PITCHES_LOOKED_AT_CLOSELY)
        .flat_map(|(layout, _)| with_other_points(layout, &inks))
        .collect();
    let best = ranked_cuts(group, &finer).into_iter().chain(ranked).next();
    let Some((layout, cuts)) = best else {
        let channels: Vec<&str> = group.regions.iter().map(|told| told.region.channel.name()).collect();
        return Err(TeachError::NoLayout { channels: channels.join(", ") });
    };
    let layout = layout.clone();
    hold::settle(group, &cuts);
    let cuts = cuts_at(group, &layout).unwrap_or(cuts);
    behind::take_off(group, &cuts);
    let cuts = cuts_at(group, &layout).unwrap_or(cuts);
    Ok((layout, cuts))
}

fn cuts_at(group: &Group<'_>, layout: &Layout) -> Option<Vec<CharacterCut>> {
    Some(ranked_cuts(group, [layout]).into_iter().next()?.1)
}

fn region_ink(told: &ToldRegion<'_>, rows: usize) -> RegionInk {
    let readings = told.moments.iter().zip(&told.features).map(|(moment, features)| {
        let mut energy = ink::column_energy(std::slice::from_ref(features), told.top, told.top + rows);
        blank_margins(&mut energy);
        let mut sorted = energy.clone();
        sorted.sort_by(f32::total_cmp);
        let floor = sorted.get(sorted.len() / 8).copied().unwrap_or(0.0);
        // Square roots: a faint stroke counts nearly as much as a strong one.
        let above: Vec<f32> = energy.iter().map(|value| (value - floor).max(0.0).sqrt()).collect();
        let total = above.iter().sum::<f32>().max(f32::MIN_POSITIVE);
        ToldInk { text: moment.told.text.clone(), ink: above.iter().map(|value| value / total).collect() }
    });
    RegionInk { told: readings.collect() }
}

/// Strokes beyond the box are those of icons and unit letters: they do not count.
fn blank_margins(energy: &mut [f32]) {
    let beyond = MARGIN_PX.saturating_sub(BOX_PADDING_PX).min(energy.len() / 2);
    let inner = &energy[beyond..energy.len() - beyond];
    let floor = inner.iter().copied().fold(f32::INFINITY, f32::min);
    let last = energy.len() - beyond;
    energy[..beyond].fill(floor);
    energy[last..].fill(floor);
}

/// One face serves every channel; of several, each channel not told goes with the nearest height.
fn name_channels(faces: &mut [Face], regions: &[Region], heights: &[Option<InkRows>]) {
    if let [only] = faces {
        only.channels.clear();
        return;
    }
    for (region, rows) in regions.iter().zip(heights) {
        let known = faces.iter().any(|face| face.channels.contains(&region.channel));
        let Some(rows) = rows.as_ref().filter(|_| !known) else { continue };
        let distance = |face: &&mut Face| (face.cell.1 as f32 - rows.height_px).abs();
        if let Some(face) = faces.iter_mut().min_by(|a, b| distance(a).total_cmp(&distance(b))) {
            face.channels.push(region.channel.clone());
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::setup::PixelBox;

    fn checked(text: &str, digits: u8, decimals: u8) -> Result<(), TeachError> {
        let place = PixelBox { x: 0, y: 0, width: 40, height: 20 };
        let region = Region { digits: Some(digits), decimals, ..Region::new(Channel::Voltage, place, None) };
        check_form(&region, &Told { channel: Channel::Voltage, time_s: 12.0, text: text.to_owned() })
    }

    #[test]
    fn a_text_of_another_form_than_the_setup_says_is_refused_with_the_mend() {
        for (text, digits, decimals, mend) in [
            ("239", 3, 1, "decimals = 0"),
            ("24.26", 4, 0, "decimals = 2"),
            ("1166", 3, 0, "digits = 4"),
            ("123.9", 3, 1, "digits = 4"),
        ] {
            let said = checked(text, digits, decimals).unwrap_err().to_string();
            assert!(said.starts_with(&format!("voltage@12={text}")), "{said}");
            assert!(said.contains(&format!("set {mend}")), "{said}");
        }
    }

    #[test]
    fn shorter_and_signed_texts_of_the_form_of_the_setup_are_taken() {
        for (text, digits, decimals) in [("23.9", 3, 1), ("9.9", 3, 1), ("-12.5", 3, 1), ("7", 3, 0)] {
            assert_eq!(checked(text, digits, decimals), Ok(()), "{text}");
        }
    }
}
