//! Random numbers from a seed, and a random process in time or along a path.

use std::f64::consts::TAU;

/// Random numbers: xoshiro256++ of Blackman and Vigna, seeded by splitmix64.
#[derive(Debug, Clone)]
pub struct Random {
    state: [u64; 4],
    second_normal: Option<f64>,
}

impl Random {
    pub fn new(seed: u64) -> Self {
        let mut mixed = seed;
        let state = std::array::from_fn(|_| {
            mixed = mixed.wrapping_add(0x9e37_79b9_7f4a_7c15);
            let z = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
            let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
            z ^ (z >> 31)
        });
        Self { state, second_normal: None }
    }

    pub fn next(&mut self) -> u64 {
        let s = &mut self.state;
        let result = s[0].wrapping_add(s[3]).rotate_left(23).wrapping_add(s[0]);
        let shifted = s[1] << 17;
        s[2] ^= s[0];
        s[3] ^= s[1];
        s[1] ^= s[2];
        s[0] ^= s[3];
        s[2] ^= shifted;
        s[3] = s[3].rotate_left(45);
        result
    }

    pub fn uniform(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * ((self.next() >> 11) as f64 / (1_u64 << 53) as f64)
    }

    pub fn chance(&mut self, probability: f64) -> bool {
        self.uniform(0.0, 1.0) < probability
    }

    pub fn pick<T: Copy>(&mut self, from: &[T]) -> T {
        from[(self.next() % from.len() as u64) as usize]
    }

    pub fn sign(&mut self) -> f64 {
        self.pick(&[1.0, -1.0])
    }

    /// A normal deviate with mean 0 and standard deviation 1, by the method of Box and Muller.
    pub fn normal(&mut self) -> f64 {
        self.second_normal.take().unwrap_or_else(|| {
            let radius = (-2.0 * (1.0 - self.uniform(0.0, 1.0)).ln()).sqrt();
            let (sin, cos) = self.uniform(0.0, TAU).sin_cos();
            self.second_normal = Some(radius * sin);
            radius * cos
        })
    }
}

/// A stationary Ornstein-Uhlenbeck process with mean zero.
#[derive(Debug, Clone)]
pub struct Wandering {
    pub value: f64,
    deviation: f64,
}

impl Wandering {
    pub fn new(deviation: f64, random: &mut Random) -> Self {
        Self { value: deviation * random.normal(), deviation }
    }

    /// The value after one step; `ratio` is the step divided by the correlation time or length.
    pub fn step(&mut self, ratio: f64, random: &mut Random) -> f64 {
        let kept = (-ratio).exp();
        self.value = kept * self.value + self.deviation * (1.0 - kept * kept).sqrt() * random.normal();
        self.value
    }
}
