//! `evidence.png`: image crops of readings in each leg, and of the trusted readings with the lowest
//! confidence.

use std::io::Write;

use image::{GrayImage, Luma, imageops};

use super::RenderError;
use super::numbers::{fixed, shown};
use super::words::{kind_name, with_symbol};
use crate::flight::Flight;
use crate::legs::Leg;
use crate::model::channel::Channel;
use crate::picture::draw_line;
use crate::series::{Crop, Readings};

/// Number of crops shown for each leg (set by judgement).
const CROPS_PER_LEG: usize = 5;

/// Number of crops shown of the readings with the lowest confidence (set by judgement).
const LEAST_CONFIDENT_CROPS: usize = 20;

/// Height of a crop in pixels below which it is shown at twice its size (set by judgement).
const LOW_PX: u32 = 70;

/// Width of a letter, in pixels (set by judgement).
const LETTER_PX: u32 = 8;

/// Space around texts and images, in pixels (set by judgement).
const SPACE_PX: u32 = 12;

/// Height of a line of text, in pixels (set by judgement).
const LINE_PX: u32 = 12;

/// Minimum width of a column in pixels, so that its captions fit.
const LEAST_COLUMN_PX: u32 = 18 * LETTER_PX;

const PAPER: Luma<u8> = Luma([250]);
const INK: Luma<u8> = Luma([30]);

/// One line of the evidence image.
enum SheetRow<'a> {
    Heading(String),
    Crops(Vec<&'a Crop>),
}

/// Draws the evidence image: for each leg some crops of the speed over its steady middle, then the trusted
/// readings of the flight with the lowest confidence, each with time, text and confidence.
///
/// # Errors
///
/// [`RenderError::Picture`] and [`RenderError::Write`] if the PNG cannot be made or written.
pub fn evidence_png(flight: &Flight, out: &mut dyn Write) -> Result<(), RenderError> {
    let rows = rows(flight);
    let crops =
        || rows.iter().flat_map(|row| if let SheetRow::Crops(crops) = row { &crops[..] } else { &[] });
    let widest = crops().map(|crop| size_of(crop).0).max().unwrap_or(0).max(LEAST_COLUMN_PX);
    let letters =
        rows.iter().map(|row| if let SheetRow::Heading(text) = row { text.chars().count() } else { 0 });
    let columns = CROPS_PER_LEG as u32;
    let width =
        (columns * (widest + SPACE_PX)).max(letters.max().unwrap_or(0) as u32 * LETTER_PX) + 2 * SPACE_PX;
    let height = rows.iter().map(height_of).sum::<u32>() + 2 * SPACE_PX;
    let mut encoder = png::Encoder::new(out, width, height);
    encoder.set_color(png::ColorType::Grayscale);
    encoder.set_compression(png::Compression::Fast);
    let mut writer = encoder.write_header()?;
    // The image is written row by row, since that of a long flight is high.
    let mut lines = writer.stream_writer()?;
    let mut write = |part: &GrayImage| lines.write_all(part.as_raw()).map_err(png::EncodingError::from);
    let margin = GrayImage::from_pixel(width, SPACE_PX, PAPER);
    write(&margin)?;
    for row in &rows {
        let mut part = GrayImage::from_pixel(width, height_of(row), PAPER);
        match row {
            SheetRow::Heading(text) => draw_line(&mut part, text, (SPACE_PX, SPACE_PX / 2), 1, INK),
            SheetRow::Crops(crops) => {
                for (column, crop) in (0..).zip(crops) {
                    draw_crop(&mut part, crop, SPACE_PX + column * (widest + SPACE_PX));
                }
            }
        }
        write(&part)?;
    }
    write(&margin)?;
    lines.finish()?;
    Ok(writer.finish()?)
}

fn rows(flight: &Flight) -> Vec<SheetRow<'_>> {
    let readings = &flight.series.readings;
    let symbol = flight.unit(&Channel::Speed).map_or("", |unit| unit.symbol());
    let mut rows = vec![SheetRow::Heading("What was read, and the image it was read from".to_owned())];
    for (number, leg) in (1..).zip(&flight.legs) {
        let crops = crops_of_leg(readings, leg);
        let median = with_symbol(&fixed(leg.speed_median, 1), symbol);
        let none = if crops.is_empty() { "; no images of its readings were kept" } else { "" };
        let (kind, start, end) =
            (kind_name(leg.kind), fixed(leg.steady_start_s, 1), fixed(leg.steady_end_s, 1));
        rows.push(SheetRow::Heading(format!(
            "Leg {number}, {kind}, {start} to {end} s: median speed {median}{none}"
        )));
        rows.extend((!crops.is_empty()).then_some(SheetRow::Crops(crops)));
    }
    let least_confident: Vec<&Crop> =
        readings.crops.least_confident.iter().take(LEAST_CONFIDENT_CROPS).collect();
    if !least_confident.is_empty() {
        rows.push(SheetRow::Heading("The trusted readings with the lowest confidence".to_owned()));
        rows.extend(least_confident.chunks(CROPS_PER_LEG).map(|crops| SheetRow::Crops(crops.to_vec())));
    }
    rows
}

/// Crops of trusted readings of the speed, spread over the steady middle of a leg.
fn crops_of_leg<'a>(readings: &'a Readings, leg: &Leg) -> Vec<&'a Crop> {
    let believed = |crop: &Crop| {
        let frame = readings.time_s.partition_point(|time| *time < crop.time_s - 1e-6);
        readings.channel(&crop.channel).is_some_and(|channel| channel.trusted(frame).is_some())
    };
    let within = leg.steady_start_s..=leg.steady_end_s;
    let of_leg = readings.crops.speed.iter().filter(|crop| within.contains(&crop.time_s) && believed(crop));
    let crops: Vec<&Crop> = of_leg.collect();
    let count = crops.len().min(CROPS_PER_LEG);
    (0..count).map(|number| crops[(2 * number + 1) * crops.len() / (2 * count)]).collect()
}

fn magnification(crop: &Crop) -> u32 {
    if crop.image.height() < LOW_PX { 2 } else { 1 }
}

fn size_of(crop: &Crop) -> (u32, u32) {
    let times = magnification(crop);
    (crop.image.width() * times, crop.image.height() * times)
}

fn height_of(row: &SheetRow<'_>) -> u32 {
    match row {
        SheetRow::Heading(_) => LINE_PX + SPACE_PX,
        SheetRow::Crops(crops) => {
            crops.iter().map(|crop| size_of(crop).1).max().unwrap_or(0) + 2 * LINE_PX + SPACE_PX
        }
    }
}

fn draw_crop(part: &mut GrayImage, crop: &Crop, left: u32) {
    let ((width, height), times) = (size_of(crop), magnification(crop));
    let enlarged = GrayImage::from_fn(width, height, |x, y| *crop.image.get_pixel(x / times, y / times));
    imageops::replace(part, &enlarged, i64::from(left), 0);
    let value = shown(crop.value, usize::from(crop.decimals));
    let below = height + 3;
    draw_line(part, &format!("{} {value}", crop.channel.name()), (left, below), 1, INK);
    let sure = (f64::from(crop.confidence) * 100.0).min(99.99);
    draw_line(part, &format!("{:.2} s, {sure:.2} %", crop.time_s), (left, below + LINE_PX), 1, INK);
}
