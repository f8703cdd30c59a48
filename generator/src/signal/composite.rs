//! Composite video: encodes brightness and colour into one signal, line by line, and decodes it.
//!
//! signal = Y + U sin(w t) +/- V cos(w t). The subcarrier is 4.43361875 MHz (PAL, where the sign of V
//! alternates from line to line, ITU-R BT.1700) or 3.579545 MHz (NTSC). The frame's width corresponds to the
//! active part of a line, 52 microseconds. The decoder gets brightness with a notch filter at the subcarrier,
//! and colour by multiplying with the subcarrier and averaging. At edges of text, brightness disturbs the colour and
//! colour the brightness. The phase of the subcarrier changes from frame to frame, so the resulting dots move.

use std::f64::consts::TAU;

use crate::scenario::Composite;

/// Length of the visible part of a line in seconds.
const ACTIVE_S: f64 = 52.0e-6;
/// Number of coefficients of the notch filter on either side of its middle (set by judgement).
const REACH: usize = 8;
/// Half the width of the notch, in Hz (set by judgement).
const NOTCH_HZ: f64 = 0.75e6;

/// Encoder and decoder for lines of one width.
#[derive(Debug)]
pub(super) struct Coder {
    system: Composite,
    /// Number of subcarrier cycles from one pixel to the next.
    cycles_per_pixel: f64,
    /// The `2 REACH + 1` coefficients of the notch filter.
    notch: Vec<f32>,
    /// Length of the moving average, applied twice, that smooths the decoded colour, in pixels.
    average: usize,
}

/// The subcarrier on one line, pixel by pixel.
pub(super) struct Carrier {
    sine: Vec<f32>,
    cosine: Vec<f32>,
}

impl Coder {
    pub(super) fn new(system: Composite, width: usize) -> Self {
        let subcarrier_hz = match system {
            Composite::Pal => 4_433_618.75,
            Composite::Ntsc => 3_579_545.0,
        };
        let sample_hz = width as f64 / ACTIVE_S;
        let cycles_per_pixel = subcarrier_hz / sample_hz;
        Self {
            system,
            cycles_per_pixel,
            notch: notch_taps(cycles_per_pixel, NOTCH_HZ / sample_hz),
            average: (1.3 / cycles_per_pixel).round().max(2.0) as usize,
        }
    }

    /// The subcarrier on a row of a frame, shifted to the right by `shift_px`. Its phase changes from line to
    /// line and from frame to frame.
    pub(super) fn carrier(&self, width: usize, row: usize, frame: u64, shift_px: f32) -> Carrier {
        // A line has 283.7516 (PAL) or 227.5 (NTSC) cycles, of which whole cycles do not matter. A frame of
        // 625 or 525 lines has a remainder of 0.75 or 0.5 cycles.
        let (per_line, per_frame) = match self.system {
            Composite::Pal => (0.7516, 0.75),
            Composite::Ntsc => (0.5, 0.5),
        };
        let start = per_line * row as f64 + per_frame * (frame % 4) as f64
            - self.cycles_per_pixel * f64::from(shift_px);
        let flip = if self.alternates(row) { -1.0 } else { 1.0 };
        let (mut sine, mut cosine) = (TAU * start).sin_cos();
        let (turn_sine, turn_cosine) = (TAU * self.cycles_per_pixel).sin_cos();
        let mut carrier = Carrier { sine: Vec::with_capacity(width), cosine: Vec::with_capacity(width) };
        for _ in 0..width {
            carrier.sine.push(sine as f32);
            carrier.cosine.push(flip * cosine as f32);
            (sine, cosine) =
                (sine * turn_cosine + cosine * turn_sine, cosine * turn_cosine - sine * turn_sine);
        }
        carrier
    }

    fn alternates(&self, row: usize) -> bool {
        self.system == Composite::Pal && row % 2 == 1
    }

    /// Adds the colour to the brightness in `signal`, modulated on the subcarrier. `blue` and `red` are the colour
    /// differences, with one value for every two pixels.
    pub(super) fn encode(&self, signal: &mut [f32], blue: &[f32], red: &[f32], carrier: &Carrier) {
        for (x, level) in signal.iter_mut().enumerate() {
            let (u, v) = (between(blue, x), between(red, x));
            *level += u * carrier.sine[x] + v * carrier.cosine[x];
        }
    }

    /// Separates colour from `signal`, which then holds the brightness.
    pub(super) fn decode(&self, signal: &mut [f32], blue: &mut [f32], red: &mut [f32], carrier: &Carrier) {
        // The colour is what the notch filter removes; brightness in it would cause patterns when multiplied
        // with the subcarrier.
        let mut luma = signal.to_vec();
        self.apply_notch(&mut luma);
        let product = |wave: &[f32]| -> Vec<f32> {
            let colour = signal.iter().zip(&luma).map(|(level, luma)| level - luma);
            colour.zip(wave).map(|(level, wave)| 2.0 * level * wave).collect()
        };
        let smooth = |values: Vec<f32>| moving_average(&moving_average(&values, self.average), self.average);
        let u = smooth(product(&carrier.sine));
        let v = smooth(product(&carrier.cosine));
        for (index, (blue, red)) in blue.iter_mut().zip(red).enumerate() {
            (*blue, *red) = (u[2 * index], v[2 * index]);
        }
        signal.copy_from_slice(&luma);
    }

    fn apply_notch(&self, signal: &mut [f32]) {
        let padded = padded(signal, REACH);
        for (level, window) in signal.iter_mut().zip(padded.windows(self.notch.len())) {
            *level = window.iter().zip(&self.notch).map(|(value, tap)| value * tap).sum();
        }
    }
}

/// A line extended on both sides by repeating its first and last value `reach` times.
pub(super) fn padded(line: &[f32], reach: usize) -> Vec<f32> {
    let first = line.first().copied().unwrap_or(0.0);
    let last = line.last().copied().unwrap_or(0.0);
    let mut longer = vec![first; reach];
    longer.extend_from_slice(line);
    longer.resize(line.len() + 2 * reach, last);
    longer
}

fn between(half: &[f32], x: usize) -> f32 {
    let here = half[(x / 2).min(half.len() - 1)];
    if x.is_multiple_of(2) { here } else { 0.5 * (here + half[(x / 2 + 1).min(half.len() - 1)]) }
}

/// Coefficients of the notch filter: an all-pass minus a windowed band-pass around the subcarrier; their sum is 1. Both
/// arguments are in cycles per pixel.
fn notch_taps(cycles_per_pixel: f64, half_width: f64) -> Vec<f32> {
    let reach = REACH as i32;
    let band: Vec<f64> = (-reach..=reach)
        .map(|tap| {
            let tap = f64::from(tap);
            let angle = TAU * half_width * tap;
            let sinc = if tap == 0.0 { 1.0 } else { angle.sin() / angle };
            let window = 0.54 + 0.46 * (TAU * tap / (2.0 * f64::from(reach) + 2.0)).cos();
            sinc * window * (TAU * cycles_per_pixel * tap).cos()
        })
        .collect();
    let at_carrier: f64 = band
        .iter()
        .zip(-reach..=reach)
        .map(|(value, tap)| value * (TAU * cycles_per_pixel * f64::from(tap)).cos())
        .sum();
    let at_rest: f64 = band.iter().sum::<f64>() / at_carrier;
    band.iter()
        .zip(-reach..=reach)
        .map(|(value, tap)| {
            let through = if tap == 0 { 1.0 + at_rest } else { 0.0 };
            (through - value / at_carrier) as f32
        })
        .collect()
}

fn moving_average(values: &[f32], length: usize) -> Vec<f32> {
    let around = padded(values, length);
    let mut sum: f32 = around[..length].iter().sum();
    let first = length - length / 2;
    let mut means = Vec::with_capacity(values.len());
    for end in length..around.len() {
        if end >= length + first && means.len() < values.len() {
            means.push(sum / length as f32);
        }
        sum += around[end] - around[end - length];
    }
    means.resize(values.len(), sum / length as f32);
    means
}

#[cfg(test)]
mod tests {
    use super::*;

    fn there_and_back(system: Composite, luma: f32, blue: f32, red: f32) -> (f32, f32, f32) {
        let coder = Coder::new(system, 640);
        let carrier = coder.carrier(640, 3, 1, 0.0);
        let mut signal = vec![luma; 640];
        let (mut blues, mut reds) = (vec![blue; 320], vec![red; 320]);
        coder.encode(&mut signal, &blues, &reds, &carrier);
        coder.decode(&mut signal, &mut blues, &mut reds, &carrier);
        (signal[300], blues[150], reds[150])
    }

    #[test]
    fn even_areas_survive_the_composite_signal() {
        for system in [Composite::Pal, Composite::Ntsc] {
            let (luma, blue, red) = there_and_back(system, 120.0, 25.0, -14.0);
            assert!((luma - 120.0).abs() < 3.0, "{system:?} {luma}");
            assert!((blue - 25.0).abs() < 12.0 && (red + 14.0).abs() < 12.0, "{system:?} {blue} {red}");
        }
    }

    #[test]
    fn a_white_edge_on_colour_leaves_crawling_dots() {
        let coder = Coder::new(Composite::Pal, 640);
        let line = |frame: u64| {
            let carrier = coder.carrier(640, 0, frame, 0.0);
            let mut signal: Vec<f32> = (0..640).map(|x| if x < 320 { 90.0 } else { 235.0 }).collect();
            let mut blue: Vec<f32> = (0..320).map(|x| if x < 160 { 30.0 } else { 0.0 }).collect();
            let mut red = vec![0.0; 320];
            coder.encode(&mut signal, &blue.clone(), &red.clone(), &carrier);
            coder.decode(&mut signal, &mut blue, &mut red, &carrier);
            signal
        };
        let apart = line(0).iter().zip(line(1)).map(|(a, b)| (a - b).abs()).fold(0.0, f32::max);
        assert!(apart > 3.0, "the dots do not move: {apart}");
    }
}
