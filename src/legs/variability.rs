//! Variability of the speed within legs, and the uncertainty of a leg's median: slow gusts, fast noise, and the
//! rounding of the display.

use std::f64::consts::PI;

use super::Leg;
use super::leg_channels::LegChannels;
use crate::stats::{effective_count, lag_one_autocorrelation, median, standard_deviation};

/// Height above ground that is assumed for the scale of turbulence, in feet (set by judgement).
const ASSUMED_HEIGHT_FT: f64 = 100.0;

/// Expected standard deviation of gusts before any are measured, as a share of the wind: its value at 100 ft, relative
/// to the wind at 20 ft (MIL-F-8785C: sigma_w = 0.1 W20, sigma_u = sigma_w / (0.177 + 0.000823 h)^0.4).
const EXPECTED_GUST_SHARE: f64 = 0.17;

/// Minimum expected standard deviation of gusts, in m/s. Set by judgement.
const MIN_EXPECTED_GUST_MPS: f64 = 0.07;

/// Weight of the expected gusts ([`EXPECTED_GUST_SHARE`]) against measured ones, in degrees of freedom:
/// corresponds to a relative uncertainty of 41 % (JCGM 100:2008, G.4.2: nu = 1/2 (relative uncertainty)^-2).
const EXPECTED_GUST_DF: f64 = 3.0;

/// Variability of the speed within the legs of a flight, pooled over all legs, in the speed's unit.
///
/// The speed about a leg's mean is modelled as slow gusts, whose correlation falls off as exp(-t/T), plus
/// fast noise without correlation (receiver, rounding). The time scale is `T = L_u / V` with the longitudinal
/// scale of the Dryden model at low altitude, `L_u = h / (0.177 + 0.000823 h)^1.2` in feet (MIL-F-8785C), at
/// 100 ft. The mean of a leg that lasts only a few `T` follows its own gusts, so that the variance within the
/// leg is only `1 - 1/n_eff` of the whole; the estimate is corrected for this.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpeedVariability {
    /// Standard deviation of the slow gusts, in the speed's unit.
    pub gust: f64,
    /// Degrees of freedom of [`Self::gust`].
    pub degrees_of_freedom: f64,
    /// Time scale T of the slow gusts, in seconds.
    pub gust_time_s: f64,
    /// Standard deviation of the fast noise, in the speed's unit.
    pub noise: f64,
    /// Standard deviation of the speed within the legs before it is rounded for display. It spreads the
    /// readings over several display steps.
    pub dither: f64,
    /// Display step of the speed.
    pub quantum: f64,
    /// Time between overlay updates, in seconds.
    pub update_interval_s: f64,
}

/// Standard uncertainties of one leg's median speed, by cause, in the speed's unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MedianUncertainty {
    /// Uncertainty due to slow gusts that the leg is too short to average out, in the speed's unit.
    pub gusts: f64,
    /// Uncertainty due to fast noise, in the speed's unit.
    pub noise: f64,
    /// Uncertainty due to the rounding of the display, in the speed's unit.
    pub rounding: f64,
}

impl MedianUncertainty {
    /// Combined standard uncertainty: the root of the sum of squares.
    #[must_use]
    pub fn combined(&self) -> f64 {
        self.gusts.hypot(self.noise).hypot(self.rounding)
    }
}

/// One leg's contribution to the pooled variability.
struct LegVariability {
    variance: f64,
    slow_variance: f64,
    fast_variance: f64,
    weight: f64,
    slow_count: f64,
}

impl SpeedVariability {
    /// Pools the variability of all legs; `speed_si` is the factor from the speed's unit to m/s. `None`
    /// without legs.
    pub(super) fn of(
        legs: &[Leg],
        channels: &LegChannels,
        speed_si: f64,
        update_interval_s: f64,
    ) -> Option<Self> {
        let speeds: Vec<f64> = legs.iter().map(|leg| leg.speed_median).collect();
        let typical_speed = median(&speeds)?;
        let gust_time_s = gust_time_s(typical_speed * speed_si);
        let shares: Vec<LegVariability> =
            legs.iter().filter_map(|leg| share(leg, channels, gust_time_s, update_interval_s)).collect();
        let expected = expected_gust(&speeds, speed_si);
        let seen_df: f64 = shares.iter().map(|share| share.slow_count - 1.0).sum();
        let seen: f64 = shares.iter().map(|share| (share.slow_count - 1.0) * share.slow_variance).sum();
        let weight: f64 = shares.iter().map(|share| share.weight).sum();
        let fast: f64 = shares.iter().map(|share| share.weight * share.fast_variance).sum();
        let within: f64 = shares.iter().map(|share| share.weight * share.variance).sum();
        Some(Self {
            gust: ((seen + EXPECTED_GUST_DF * expected.powi(2)) / (seen_df + EXPECTED_GUST_DF)).sqrt(),
            degrees_of_freedom: seen_df + EXPECTED_GUST_DF,
            gust_time_s,
            noise: if weight > 0.0 { (fast / weight).sqrt() } else { channels.quantum / 12f64.sqrt() },
            dither: (within / weight - channels.quantum.powi(2) / 12.0).max(0.0).sqrt(),
            quantum: channels.quantum,
            update_interval_s,
        })
    }

    /// Standard uncertainty of a leg's median speed.
    ///
    /// Gusts: `sigma / sqrt(n_eff)` with the effective count of [`effective_count`]. Noise: `sqrt(pi/2) sigma
    /// / sqrt(n)`, the standard error of the median of normal data. Rounding: `q / sqrt(12)` (JCGM 100:2008,
    /// 4.3.7), and less where the variability `s` within the legs spreads the readings over several display
    /// steps, see [`rounding_of_median`]. The variance of the readings is `s^2 + q^2 / 12` (Sheppard's
    /// correction). The median absolute deviation cannot serve as `s`, since it is 0 as long as most readings
    /// are equal.
    #[must_use]
    pub fn of_median(&self, leg: &Leg) -> MedianUncertainty {
        let count = (leg.samples as f64).max(1.0);
        let length_s = (leg.steady_end_s - leg.steady_start_s).max(self.update_interval_s);
        let independent = slow_count(length_s, self.gust_time_s, self.update_interval_s);
        MedianUncertainty {
            gusts: self.gust / independent.sqrt(),
            noise: (PI / 2.0 / count).sqrt() * self.noise,
            rounding: self.quantum * rounding_of_median(self.dither / self.quantum),
        }
    }
}

/// Standard uncertainty of an interpolated median from rounding, in display steps: `exp(-3.5 spread) /
/// sqrt(12)`. The readings are normally distributed, and `spread` is their standard deviation before
/// rounding, in display steps. The formula is an approximation of our own; it lies within 0.012 of the root
/// mean square error over all positions of the true median between two display steps.
fn rounding_of_median(spread: f64) -> f64 {
    (-3.5 * spread).exp() / 12f64.sqrt()
}

/// Time scale of gusts along the flight path at a given speed, in seconds (MIL-F-8785C, see
/// [`SpeedVariability`]).
fn gust_time_s(speed_mps: f64) -> f64 {
    let scale_ft = ASSUMED_HEIGHT_FT / (0.177 + 0.000_823 * ASSUMED_HEIGHT_FT).powf(1.2);
    (0.3048 * scale_ft / speed_mps.abs().max(1.0)).min(20.0)
}

fn slow_count(length_s: f64, gust_time_s: f64, update_interval_s: f64) -> f64 {
    effective_count(length_s / update_interval_s, (-update_interval_s / gust_time_s).exp())
}

/// Standard deviation of gusts to expect in the wind of a flight, in the speed's unit. The wind is half the
/// median difference between the speeds of successive legs.
fn expected_gust(speeds: &[f64], speed_si: f64) -> f64 {
    let differences: Vec<f64> = speeds.windows(2).map(|two| (two[1] - two[0]).abs()).collect();
    let wind = median(&differences).unwrap_or(0.0) / 2.0;
    (EXPECTED_GUST_SHARE * wind).max(MIN_EXPECTED_GUST_MPS / speed_si)
}

fn share(
    leg: &Leg,
    channels: &LegChannels,
    gust_time_s: f64,
    update_interval_s: f64,
) -> Option<LegVariability> {
    let speeds = channels.speed.within(leg.steady_start_s, leg.steady_end_s);
    let variance = standard_deviation(speeds)?.powi(2);
    let lag_one = (-update_interval_s / gust_time_s).exp();
    let correlation = lag_one_autocorrelation(speeds).unwrap_or(0.0);
    let slow_share = (correlation / lag_one).clamp(0.0, 1.0);
    let slow_count = slow_count(leg.steady_end_s - leg.steady_start_s, gust_time_s, update_interval_s);
    let seen_share = 1.0 - 1.0 / slow_count;
    (seen_share > 0.0).then(|| LegVariability {
        variance,
        slow_variance: variance * slow_share / seen_share,
        fast_variance: variance * (1.0 - slow_share),
        weight: speeds.len() as f64,
        slow_count,
    })
}

#[cfg(test)]
mod tests {
    use statrs::distribution::{ContinuousCDF, Normal};

    use super::*;

    #[test]
    fn gusts_last_as_long_as_the_standard_says() {
        // MIL-F-8785C, low altitude: L_u = 505.169 ft at 100 ft, which 88 ft/s (60 mph) crosses in 5.7406 s.
        assert!((gust_time_s(88.0 * 0.3048) - 5.7406).abs() < 1e-3);
    }

    #[test]
    fn rounding_matters_less_the_more_the_readings_are_spread() {
        let normal =
            Normal::new(0.0, 1.0).unwrap_or_else(|_| unreachable!("the standard normal distribution"));
        for spread in [0.05, 0.1, 0.2, 0.3, 0.5, 0.8] {
            let error = |middle: f64| {
                let below = |edge: f64| normal.cdf((edge - middle) / spread);
                // The step that holds half of the readings, and the place within it.
                let edge = (-8..8).map(|step| f64::from(step) - 0.5).filter(|edge| below(*edge) < 0.5);
                let edge = edge.fold(-8.5, f64::max);
                edge + (0.5 - below(edge)) / (below(edge + 1.0) - below(edge)) - middle
            };
            let squares = (0..200).map(|place| error(f64::from(place) / 200.0 - 0.4975).powi(2));
            let found = (squares.sum::<f64>() / 200.0).sqrt();
            assert!((rounding_of_median(spread) - found).abs() < 0.012, "{spread}: {found}");
        }
    }

    #[test]
    fn expected_gusts_are_those_of_the_standard_for_the_wind_at_100_ft() {
        // The same standard: sigma_u = 2.57376 for a wind of 15 at 20 ft. Legs that differ by 30 correspond to a wind
        // of 15.
        assert!((expected_gust(&[50.0, 80.0, 50.0], 1.0) - 2.57376).abs() < 0.03);
    }
}
