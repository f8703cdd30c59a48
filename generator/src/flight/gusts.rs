//! Gusts according to the Dryden model for low altitude, MIL-F-8785C, section 3.7.3.
//!
//! With the height h in feet and the mean wind W20 at 20 ft: sigma_w = 0.1 W20, sigma_u = sigma_v = sigma_w /
//! (0.177 + 0.000823 h)^0.4, L_u = L_v = h / (0.177 + 0.000823 h)^1.2. The model is valid from 10 to 1000 ft.
//! The spectra are produced by filters driven with white noise, with the time constant T = L / V: along the
//! flight 1 / (1 + T s), across it (1 + sqrt(3) T s) / (1 + T s)^2.

use rand_chacha::ChaCha8Rng;

use crate::random::normal;

const FEET_PER_METRE: f64 = 1.0 / 0.3048;

/// Standard deviation and scale length of the gusts along and across the flight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GustStrength {
    /// Standard deviation in metres per second.
    pub sigma_mps: f64,
    /// Scale length in metres.
    pub length_m: f64,
}

impl GustStrength {
    /// Gust strength at a height above ground, for a mean wind given at 20 ft (6 m).
    #[must_use]
    pub fn at(height_m: f64, wind_20ft_mps: f64) -> Self {
        let height_ft = (height_m * FEET_PER_METRE).clamp(10.0, 1000.0);
        let base = 0.177 + 0.000_823 * height_ft;
        Self {
            sigma_mps: 0.1 * wind_20ft_mps / base.powf(0.4),
            length_m: height_ft / base.powf(1.2) / FEET_PER_METRE,
        }
    }
}

/// The state of the gust filters, whose outputs have the standard deviation 1.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Gusts {
    along: f64,
    across: [f64; 2],
}

impl Gusts {
    /// Advances the gusts by `step_s` seconds, and returns their components along and across the flight, in metres
    /// per second.
    pub(super) fn step(
        &mut self,
        strength: GustStrength,
        airspeed_mps: f64,
        step_s: f64,
        random: &mut ChaCha8Rng,
    ) -> [f64; 2] {
        let time_constant_s = strength.length_m / airspeed_mps.max(3.0);
        let kept = (-step_s / time_constant_s).exp();
        let fresh = (1.0 - kept * kept).sqrt();
        self.along = kept * self.along + fresh * normal(random);
        self.across[0] = kept * self.across[0] + fresh * normal(random);
        self.across[1] = kept * self.across[1] + (1.0 - kept) * self.across[0];
        // (1 + sqrt(3) T s) / (1 + T s)^2 = sqrt(3) / (1 + T s) + (1 - sqrt(3)) / (1 + T s)^2; fed with
        // a first stage of unit variance the sum has variance 2.
        let root = 3.0_f64.sqrt();
        let across = (root * self.across[0] + (1.0 - root) * self.across[1]) / 2.0_f64.sqrt();
        [self.along * strength.sigma_mps, across * strength.sigma_mps]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::{Purpose, stream};

    #[test]
    fn strength_at_100_ft_follows_the_military_specification() {
        // Computed by hand from MIL-F-8785C: base 0.2593, sigma 0.1 * 10 / 0.2593^0.4 = 1.7160, length 100 /
        // 0.2593^1.2 = 505.2 ft.
        let strength = GustStrength::at(30.48, 10.0);
        assert!((strength.sigma_mps - 1.716).abs() < 0.002, "{strength:?}");
        assert!((strength.length_m - 505.2 * 0.3048).abs() < 0.3, "{strength:?}");
    }

    #[test]
    fn long_gusts_have_the_asked_standard_deviation() {
        let strength = GustStrength { sigma_mps: 1.5, length_m: 60.0 };
        let mut random = stream(3, Purpose::Gusts);
        let mut gusts = Gusts::default();
        let drawn: Vec<[f64; 2]> =
            (0..400_000).map(|_| gusts.step(strength, 30.0, 0.05, &mut random)).collect();
        for axis in 0..2 {
            let square = drawn.iter().map(|gust| gust[axis].powi(2)).sum::<f64>() / drawn.len() as f64;
            assert!((square.sqrt() - 1.5).abs() < 0.06, "axis {axis}: {}", square.sqrt());
        }
    }
}
