//! Degradation of frames between camera and recorder, line by line.

mod composite;
#[cfg(test)]
mod tests;

use rand::RngExt;
use rand_chacha::ChaCha8Rng;

use crate::frame::{BLACK, Frame};
use crate::random::{NoiseStore, Purpose, slow_wave, stream};
use crate::scenario::{Degradation, Echo, Scenario, SignalLossKind};
use composite::{Coder, padded};

/// Standard deviation of the noise of the colour, as a share of that of the brightness, for signals other than
/// composite video (set by judgement).
const COLOUR_NOISE: f32 = 0.5;
/// Maximum horizontal shift of an image line, in standard deviations of the shifts, except for lost lines (set by
/// judgement).
const MAX_SHIFT: f32 = 2.0;

/// A Gaussian blur, which imitates the softness of the camera image.
#[derive(Debug)]
pub(crate) struct GaussianBlur {
    /// Weights of the blur from its centre to one side; empty if there is no blur.
    taps: Vec<f32>,
}

impl GaussianBlur {
    /// A blur in both directions with this standard deviation in pixels.
    pub(crate) fn new(blur_px: f32) -> Self {
        Self { taps: blur_taps(blur_px) }
    }

    /// Blurs the brightness of a frame.
    pub(crate) fn apply(&self, frame: &mut Frame) {
        let taps = &self.taps;
        if taps.is_empty() {
            return;
        }
        let mut above = frame.luma.clone();
        for row in above.chunks_exact_mut(frame.width) {
            let line: Vec<f32> = row.iter().map(|&level| f32::from(level)).collect();
            store(&blurred(&line, taps), row);
        }
        let reach = taps.len() as i64 - 1;
        let last = frame.height as i64 - 1;
        for (y, row) in frame.luma.chunks_exact_mut(frame.width).enumerate() {
            let mut sum = vec![0.0; row.len()];
            for offset in -reach..=reach {
                let source = (y as i64 + offset).clamp(0, last) as usize * frame.width;
                let tap = taps[offset.unsigned_abs() as usize];
                for (total, &level) in sum.iter_mut().zip(&above[source..source + frame.width]) {
                    *total += tap * f32::from(level);
                }
            }
            store(&sum, row);
        }
    }
}

/// Degrades frames as the video link between camera and recorder does.
#[derive(Debug)]
pub(crate) struct VideoLink {
    degradation: Degradation,
    seed: u64,
    noise: NoiseStore,
    coder: Option<Coder>,
    /// Weights of the blur from its centre to one side; empty if there is no blur.
    blur: Vec<f32>,
    bursts: Vec<Burst>,
}

/// A burst of lost lines.
#[derive(Debug, Clone, Copy)]
struct Burst {
    start_s: f64,
    end_s: f64,
    /// First line of the burst, as a share of the frame's height.
    top: f32,
    lines: u32,
}

/// Random values that all lines of a frame share.
struct FrameState {
    number: u64,
    gain: f32,
    bursts: Vec<(usize, usize)>,
}

impl VideoLink {
    pub(crate) fn new(scenario: &Scenario, length_s: f64) -> Self {
        let degradation = scenario.degradation.clone();
        let coder = degradation.composite.map(|system| Coder::new(system, scenario.video.width));
        Self {
            seed: scenario.seed,
            noise: NoiseStore::new(scenario.seed),
            coder,
            blur: blur_taps(degradation.blur_px),
            bursts: bursts(&degradation, scenario.seed, length_s),
            degradation,
        }
    }

    /// Degrades a frame at a time of the flight in seconds. `number` is the index of the frame's nominal time in the
    /// flight; it selects the noise and the phase of the subcarrier.
    pub(crate) fn degrade(&self, frame: &mut Frame, number: u64, time_s: f64) {
        if !self.changes_anything() {
            return;
        }
        let mut random = stream(self.seed, Purpose::Frame(number));
        let state = FrameState {
            number,
            gain: self.gain(time_s),
            bursts: self.lost_lines(frame.height, time_s, &mut random),
        };
        let width = frame.width;
        let mut sway = 0.0;
        for row in 0..frame.height {
            // Weak synchronisation shifts neighbouring lines in the same direction, with an additional random
            // part for each line.
            let shift_px = self.degradation.line_shift_px;
            sway = 0.6 * sway + 0.8 * shift_px * self.deviate(&mut random);
            let line_shift = sway.clamp(-MAX_SHIFT * shift_px, MAX_SHIFT * shift_px);
            let (luma, blue, red) = (
                &mut frame.luma[row * width..(row + 1) * width],
                &mut frame.blue[row * width / 2..(row + 1) * width / 2],
                &mut frame.red[row * width / 2..(row + 1) * width / 2],
            );
            self.send_line([luma, blue, red], row, line_shift, &state, &mut random);
        }
    }

    /// The frame shown during signal loss; `None` if the last frame is repeated.
    pub(crate) fn lost(
        &self,
        look: SignalLossKind,
        width: usize,
        height: usize,
        number: u64,
    ) -> Option<Frame> {
        match look {
            SignalLossKind::Frozen => None,
            SignalLossKind::Blue => Some(Frame::plain(width, height, 41, 240, 110)),
            SignalLossKind::Black => Some(Frame::plain(width, height, 16, 128, 128)),
            SignalLossKind::Static => {
                let mut frame = Frame::plain(width, height, 90, 128, 128);
                let mut random = stream(self.seed, Purpose::Frame(number));
                for row in frame.luma.chunks_exact_mut(width) {
                    let noise = self.noise.slice(random.random(), width);
                    let line: Vec<f32> = noise.iter().map(|value| 95.0 + 60.0 * value).collect();
                    store(&line, row);
                }
                Some(frame)
            }
        }
    }

    fn changes_anything(&self) -> bool {
        let degradation = &self.degradation;
        self.coder.is_some()
            || degradation.noise > 0.0
            || !self.blur.is_empty()
            || degradation.line_shift_px > 0.0
            || degradation.gain_flutter > 0.0
            || degradation.flatten > 0.0
            || degradation.echo.is_some()
            || !self.bursts.is_empty()
    }

    fn deviate(&self, random: &mut ChaCha8Rng) -> f32 {
        self.noise.slice(random.random(), 1).first().copied().unwrap_or(0.0)
    }

    fn lost_lines(&self, height: usize, time_s: f64, random: &mut ChaCha8Rng) -> Vec<(usize, usize)> {
        let now = self.bursts.iter().filter(|burst| (burst.start_s..burst.end_s).contains(&time_s));
        now.map(|burst| {
            let top = (burst.top * height as f32) as usize + random.random_range(0..6);
            (top, top + random.random_range(1..=burst.lines) as usize)
        })
        .collect()
    }

    fn send_line(
        &self,
        [luma, blue, red]: [&mut [u8]; 3],
        row: usize,
        sway: f32,
        state: &FrameState,
        random: &mut ChaCha8Rng,
    ) {
        let mut signal: Vec<f32> = luma.iter().map(|&level| f32::from(level)).collect();
        let mut colours = [&*blue, &*red]
            .map(|plane| -> Vec<f32> { plane.iter().map(|&level| f32::from(level) - 128.0).collect() });
        let carrier = |shift_px| {
            let coder = self.coder.as_ref()?;
            Some((coder, coder.carrier(luma.len(), row, state.number, shift_px)))
        };
        if let Some((coder, carrier)) = carrier(0.0) {
            coder.encode(&mut signal, &colours[0], &colours[1], &carrier);
        }
        if !self.blur.is_empty() {
            signal = blurred(&signal, &self.blur);
        }
        if let Some(echo) = self.degradation.echo {
            add_echo(&mut signal, echo);
        }
        let lost = state.bursts.iter().any(|&(top, bottom)| (top..bottom).contains(&row));
        let torn = if lost { 14.0 * self.deviate(random) } else { 0.0 };
        // The decoder synchronises with the line's colour burst, so the subcarrier is shifted together with
        // the line.
        shift(&mut signal, sway + torn);
        self.set_levels(&mut signal, state.gain);
        let strength = if lost { self.degradation.noise + 55.0 } else { self.degradation.noise };
        self.add_noise(&mut signal, strength, random);
        if let Some((coder, carrier)) = carrier(sway + torn) {
            let [blue, red] = &mut colours;
            coder.decode(&mut signal, blue, red, &carrier);
        } else {
            for plane in &mut colours {
                self.add_noise(plane, strength * COLOUR_NOISE, random);
            }
        }
        store(&signal, luma);
        for (plane, out) in colours.iter_mut().zip([blue, red]) {
            plane.iter_mut().for_each(|level| *level += 128.0);
            store(plane, out);
        }
    }

    /// Contrast at a time in seconds, around 1.
    fn gain(&self, time_s: f64) -> f32 {
        // The slow wave's standard deviation is 0.436; that of a sine of amplitude 1 is 0.707.
        1.0 + self.degradation.gain_flutter * 1.6 * slow_wave(11, time_s * 2.0) as f32
    }

    /// Changes the contrast: by the slow variation `gain`, and by the loss of contrast of a weak signal.
    fn set_levels(&self, signal: &mut [f32], gain: f32) {
        let flatten = self.degradation.flatten;
        if gain == 1.0 && flatten == 0.0 {
            return;
        }
        let contrast = gain * (1.0 - flatten);
        for level in signal {
            *level = 120.0 * flatten + BLACK * (1.0 - flatten) + (*level - BLACK) * contrast;
        }
    }

    fn add_noise(&self, line: &mut [f32], strength: f32, random: &mut ChaCha8Rng) {
        if strength > 0.0 {
            let noise = self.noise.slice(random.random(), line.len());
            line.iter_mut().zip(noise).for_each(|(level, value)| *level += strength * value);
        }
    }
}

fn bursts(degradation: &Degradation, seed: u64, length_s: f64) -> Vec<Burst> {
    let Some(lost) = degradation.lost_lines else { return Vec::new() };
    let mut random = stream(seed, Purpose::Bursts);
    let count = (f64::from(lost.bursts_per_s) * length_s).round().clamp(0.0, 1e5) as usize;
    (0..count)
        .map(|_| {
            let start_s = random.random_range(0.0..length_s.max(1e-3));
            Burst {
                start_s,
                end_s: start_s + random.random_range(0.03..0.2),
                top: random.random_range(0.0..1.0),
                lines: lost.lines.max(1),
            }
        })
        .collect()
}

/// Weights of a Gaussian kernel with the standard deviation `sigma_px` in pixels, from its centre to one side; empty
/// for no blur.
fn blur_taps(sigma_px: f32) -> Vec<f32> {
    if sigma_px <= 0.0 {
        return Vec::new();
    }
    let reach = (2.5 * sigma_px).ceil().max(1.0) as usize;
    let side = |tap: usize| (-0.5 * (tap as f32 / sigma_px).powi(2)).exp();
    let total: f32 = 1.0 + 2.0 * (1..=reach).map(side).sum::<f32>();
    (0..=reach).map(|tap| side(tap) / total).collect()
}

fn blurred(line: &[f32], taps: &[f32]) -> Vec<f32> {
    let reach = taps.len() - 1;
    let around = padded(line, reach);
    (reach..reach + line.len())
        .map(|x| {
            let sides = (1..=reach).map(|tap| taps[tap] * (around[x - tap] + around[x + tap]));
            taps[0] * around[x] + sides.sum::<f32>()
        })
        .collect()
}

fn add_echo(signal: &mut [f32], echo: Echo) {
    let delay = echo.delay_px.round() as usize;
    for x in (delay..signal.len()).rev() {
        // The echo adds the difference from the average level, so that the mean stays unchanged.
        signal[x] += echo.strength * (signal[x - delay] - 110.0);
    }
}

/// Shifts a line to the right by a number of pixels, which may be fractional.
fn shift(signal: &mut Vec<f32>, pixels: f32) {
    if pixels == 0.0 {
        return;
    }
    let last = signal.len() as i64 - 1;
    let whole = pixels.floor();
    let part = pixels - whole;
    let value = |x: i64| signal[x.clamp(0, last) as usize];
    *signal = (0..=last)
        .map(|x| {
            let source = x - whole as i64;
            value(source) * (1.0 - part) + value(source - 1) * part
        })
        .collect();
}

fn store(line: &[f32], out: &mut [u8]) {
    for (out, level) in out.iter_mut().zip(line) {
        // All levels are positive, so that adding a half and truncating rounds them, far faster than `round`.
        *out = (level + 0.5).clamp(1.0, 254.5) as u8;
    }
}
