//! Reproducible random numbers: separate streams for one seed, slow random variation, and a store of normal
//! deviates.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// The purpose of a random stream; streams with the same seed are independent of each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Purpose {
    Gusts,
    Plan,
    Wander,
    Receiver,
    Readout,
    Texture(u8),
    NoiseStore,
    Drops,
    Bursts,
    Frame(u64),
}

impl Purpose {
    fn stream(self) -> u64 {
        match self {
            Self::Gusts => 1,
            Self::Plan => 2,
            Self::Wander => 3,
            Self::Receiver => 4,
            Self::Readout => 5,
            Self::NoiseStore => 6,
            Self::Drops => 7,
            Self::Bursts => 8,
            Self::Texture(number) => 1000 + u64::from(number),
            Self::Frame(number) => 1_000_000 + number,
        }
    }
}

/// The random numbers of a seed for a purpose.
pub(crate) fn stream(seed: u64, purpose: Purpose) -> ChaCha8Rng {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    random.set_stream(purpose.stream());
    random
}

/// A normal deviate with mean 0 and standard deviation 1.
pub(crate) fn normal(random: &mut ChaCha8Rng) -> f64 {
    StandardNormal.sample(random)
}

/// A slow random variation around 0: a first-order Gauss-Markov process in its exact discrete form x(t + dt)
/// = a x(t) + sigma sqrt(1 - a^2) n, a = exp(-dt / tau), where n is a normal deviate.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Wander {
    sigma: f64,
    time_constant_s: f64,
    value: f64,
}

impl Wander {
    /// A variation that starts at 0, with the standard deviation `sigma`.
    pub(crate) const fn new(sigma: f64, time_constant_s: f64) -> Self {
        Self { sigma, time_constant_s, value: 0.0 }
    }

    /// The value `step_s` seconds later.
    pub(crate) fn step(&mut self, step_s: f64, random: &mut ChaCha8Rng) -> f64 {
        let kept = (-step_s / self.time_constant_s).exp();
        self.value = kept * self.value + self.sigma * (1.0 - kept * kept).sqrt() * normal(random);
        self.value
    }
}

/// A smooth function of time with values between about -1 and 1, different for each `kind`.
pub(crate) fn slow_wave(kind: u32, time_s: f64) -> f64 {
    let phase = f64::from(kind) * 2.399_963;
    (0.5 * (0.61 * time_s + phase).sin())
        + (0.3 * (1.43 * time_s + 2.0 * phase).sin())
        + (0.2 * (3.71 * time_s + 3.0 * phase).sin())
}

/// Many normal deviates that are drawn once. Lines of a frame read them from random positions.
#[derive(Debug)]
pub(crate) struct NoiseStore(Vec<f32>);

/// Number of deviates in the store (set by judgement).
const STORE_LENGTH: usize = 1 << 18;

impl NoiseStore {
    pub(crate) fn new(seed: u64) -> Self {
        let random = stream(seed, Purpose::NoiseStore);
        Self(StandardNormal.sample_iter(random).take(STORE_LENGTH).collect())
    }

    /// `length` deviates, starting at a position that is derived from the number `pick`.
    pub(crate) fn slice(&self, pick: u32, length: usize) -> &[f32] {
        let last = self.0.len().saturating_sub(length).max(1);
        let start = pick as usize % last;
        &self.0[start..(start + length).min(self.0.len())]
    }
}
