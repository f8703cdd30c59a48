//! How well readouts are found without a setup: `find_table CLIP...`; a path is a clip or a folder of clips with their
//! truth beside them.
//!
//! For each clip: number of readouts, how many have their own box that contains every true text and no strokes of
//! other text, number of boxes without a readout, and seconds for fetching the frames and for the search. `--boxes`
//! lists the boxes as well.

use std::error::Error;
use std::path::{Path, PathBuf};
use std::time::Instant;

use benchmarks::{labelled_clips, true_regions};
use image::GrayImage;
use pairspeed::detect::{Proposal, propose};
use pairspeed::footage::{Clip, sample};
use pairspeed::geometry::PixelRect;

/// Frames searched, as for the figures in docs/benchmarks.md. `read` searches up to 120.
const FRAMES: usize = 50;
/// Margin of the true boxes around the widest text, in pixels (`benches/world`).
const TRUE_MARGIN_PX: u32 = 2;
/// Maximum distance of a stroke's end from the proposed box, in pixels: the soft edge of a stroke.
const TOLERANCE_PX: u32 = 2;
/// Width of a digit, in heights of the text.
const DIGIT_WIDTH: f32 = 0.6;
/// Minimum difference between neighbouring pixels of the median frame that counts as a stroke, in grey levels.
const STROKE_STEP: u8 = 40;

/// The result for one clip.
#[derive(Default)]
struct Found {
    readouts: usize,
    found: usize,
    false_boxes: usize,
    fetch_s: f64,
    search_s: f64,
}

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments: Vec<String> = std::env::args().skip(1).collect();
    let with_boxes = arguments.iter().any(|one| one == "--boxes");
    arguments.retain(|one| one != "--boxes");
    let paths: Vec<PathBuf> = arguments.into_iter().map(PathBuf::from).collect();
    println!("| clip | readouts | found | false boxes | fetch, s | search, s |");
    println!("| --- | --- | --- | --- | --- | --- |");
    let mut total = Found::default();
    for clip in labelled_clips(&paths)? {
        let found = measure(&clip, with_boxes)?;
        print_row(&clip.file_stem().unwrap_or_default().to_string_lossy(), &found);
        total.readouts += found.readouts;
        total.found += found.found;
        total.false_boxes += found.false_boxes;
        total.fetch_s += found.fetch_s;
        total.search_s += found.search_s;
    }
    print_row("all", &total);
    Ok(())
}

fn print_row(name: &str, row: &Found) {
    println!(
        "| {name} | {} | {} | {} | {:.1} | {:.1} |",
        row.readouts, row.found, row.false_boxes, row.fetch_s, row.search_s
    );
}

fn measure(clip: &Path, with_boxes: bool) -> Result<Found, Box<dyn Error>> {
    let truth = true_regions(clip)?;
    let start = Instant::now();
    let frames: Vec<GrayImage> =
        sample(&mut Clip::open(clip)?, FRAMES)?.into_iter().map(|frame| frame.image).collect();
    let fetch_s = start.elapsed().as_secs_f64();
    let start = Instant::now();
    let proposals = propose(&frames);
    let search_s = start.elapsed().as_secs_f64();
    let median = median_frame(&frames);
    let mut unmatched: Vec<&Proposal> = proposals.iter().collect();
    let mut result = Found { readouts: truth.len(), fetch_s, search_s, ..Found::default() };
    for region in &truth {
        let matching = unmatched.iter().position(|one| matches(one.rect, region.rect, &median));
        let proposal = matching.map(|position| unmatched.remove(position));
        result.found += usize::from(proposal.is_some());
        if with_boxes && proposal.is_none() {
            eprintln!("  missed {} {}", region.channel.name(), region.rect);
        }
    }
    result.false_boxes = unmatched.len();
    for one in unmatched.iter().filter(|_| with_boxes) {
        eprintln!("  false  {} score {:.2}", one.rect, one.score);
    }
    Ok(result)
}

/// Whether a proposed box contains the strokes of the true one and none of other text.
fn matches(proposed: PixelRect, truth: PixelRect, median: &GrayImage) -> bool {
    let inset = TRUE_MARGIN_PX + TOLERANCE_PX.min(truth.height / 12);
    let strokes = PixelRect::from_edges(
        truth.left + inset,
        truth.top + inset,
        truth.right().saturating_sub(inset),
        truth.bottom().saturating_sub(inset),
    );
    let digit = DIGIT_WIDTH * truth.height.saturating_sub(2 * TRUE_MARGIN_PX) as f32;
    let half = (digit / 2.0).ceil() as u32;
    let allowed = truth.with_margin(half);
    let outer = truth.with_margin((1.3 * digit).ceil() as u32);
    let rows = |left: u32, right: u32| PixelRect::from_edges(left, truth.top, right, truth.bottom());
    // A blank area before the value may belong to the box: a wider value may follow.
    let left = if has_strokes(rows(proposed.left.max(outer.left), allowed.left.max(proposed.left)), median) {
        allowed.left
    } else {
        outer.left
    };
    let limit = PixelRect::from_edges(left, allowed.top, allowed.right(), allowed.bottom());
    proposed.contains(strokes) && limit.contains(proposed)
}

/// Whether the median frame has strokes in an area.
fn has_strokes(area: PixelRect, median: &GrayImage) -> bool {
    let area = area.clipped_to(median.dimensions());
    let steps = (area.top..area.bottom()).flat_map(|y| {
        (area.left..area.right().saturating_sub(1))
            .map(move |x| median.get_pixel(x, y)[0].abs_diff(median.get_pixel(x + 1, y)[0]))
    });
    steps.filter(|step| *step >= STROKE_STEP).count() > 2
}

fn median_frame(frames: &[GrayImage]) -> GrayImage {
    let (width, height) = frames.first().map_or((1, 1), GrayImage::dimensions);
    let planes: Vec<&[u8]> = frames.iter().map(|frame| frame.as_raw().as_slice()).collect();
    let mut levels = Vec::with_capacity(planes.len());
    let median = (0..(width * height) as usize).map(|pixel| {
        levels.clear();
        levels.extend(planes.iter().filter_map(|plane| plane.get(pixel).copied()));
        levels.sort_unstable();
        levels.get(levels.len() / 2).copied().unwrap_or(0)
    });
    GrayImage::from_raw(width, height, median.collect()).unwrap_or_default()
}
