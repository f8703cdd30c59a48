//! Airspeed against throttle: a power law with its interval, and the gain from more throttle.

use nalgebra::{DMatrix, DVector};
use serde::Serialize;

use crate::model::estimate::COVERAGE_PROBABILITY;
use crate::stats::{
    Fit, Linearisation, StandardUncertainty, coverage_factor, linear, nonlinear, welch_satterthwaite,
};

/// One measured point of the curve.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Point {
    /// Throttle in per cent.
    pub throttle_percent: f64,
    /// Airspeed in m/s.
    pub airspeed_mps: f64,
    /// Standard uncertainty of the airspeed, in m/s.
    pub uncertainty_mps: f64,
    /// Degrees of freedom of `uncertainty_mps`.
    pub degrees_of_freedom: f64,
}

/// Airspeed against throttle: `V = a (throttle / 100)^b`, so that `a` is the speed at full throttle.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SpeedCurve {
    /// Speed at full throttle in m/s.
    pub full_throttle_mps: f64,
    /// The exponent b: airspeed is proportional to throttle to the power of b.
    pub exponent: f64,
    /// `[var a, cov, var b]` for the speed at full throttle a in m/s and the exponent b: the variance of a, the
    /// covariance of a and b, and the variance of b.
    pub covariance: [f64; 3],
    /// Degrees of freedom of `covariance`.
    pub degrees_of_freedom: f64,
    /// Lowest and highest throttle flown, in per cent.
    pub flown_percent: (f64, f64),
    /// Residual standard deviation divided by the one expected from the uncertainties of the points: above 1,
    /// the points scatter more than expected. `None` with two points, which leave no residuals.
    pub excess_scatter: Option<f64>,
}

/// A speed on the curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpeedOnCurve {
    /// Airspeed in m/s.
    pub airspeed_mps: f64,
    /// Standard uncertainty of that airspeed, in m/s.
    pub uncertainty_mps: f64,
}

/// A speed predicted by the curve, with its 95 % interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Prediction {
    /// Throttle in per cent.
    pub throttle_percent: f64,
    /// Airspeed in m/s.
    pub airspeed_mps: f64,
    /// Lower end of the 95 % interval, in m/s.
    pub low_mps: f64,
    /// Upper end of the 95 % interval, in m/s.
    pub high_mps: f64,
    /// Whether the throttle was flown, or lies between or beyond those flown.
    pub throttle_coverage: ThrottleCoverage,
}

/// Whether a throttle was flown, or lies between or beyond the throttles flown.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum ThrottleCoverage {
    /// The throttle was flown.
    Flown,
    /// The throttle was not flown, but lower and higher ones were.
    UntestedBetween,
    /// The throttle lies outside the range flown.
    UntestedBeyond,
}

/// Fits `y = a x^b` by least squares in `y` (least squares in the logarithm of `y` would give small values too much
/// weight). `sigma` holds the standard uncertainty of each `y`. The fit starts from the straight line through the
/// logarithms. `None` with fewer than two different `x`, if a number is not positive, or if the fit fails. Checked
/// against the data set DanWood of the NIST Statistical Reference Datasets.
#[must_use]
pub fn power_law(x: &[f64], y: &[f64], sigma: &[f64]) -> Option<Fit> {
    let positive = |numbers: &[f64]| numbers.iter().all(|number| number.is_finite() && *number > 0.0);
    if x.len() != y.len() || x.len() != sigma.len() || !positive(x) || !positive(y) || !positive(sigma) {
        return None;
    }
    let logs = DMatrix::from_fn(x.len(), 2, |row, column| if column == 0 { 1.0 } else { x[row].ln() });
    let line = linear(&logs, &DVector::from_iterator(y.len(), y.iter().map(|y| y.ln())))?;
    let start = DVector::from_vec(vec![line.parameters[0].exp(), line.parameters[1]]);
    nonlinear(&start, |parameters| {
        let (a, b) = (parameters[0], parameters[1]);
        let residuals = DVector::from_iterator(
            x.len(),
            (0..x.len()).map(|row| (y[row] - a * x[row].powf(b)) / sigma[row]),
        );
        let derivatives = DMatrix::from_fn(x.len(), 2, |row, column| {
            let power = x[row].powf(b) / sigma[row];
            if column == 0 { power } else { a * power * x[row].ln() }
        });
        Linearisation { residuals, derivatives }
    })
}

impl SpeedCurve {
    /// Fits the curve through the points. `None` with fewer than two different throttles, or if the fit fails. If the
    /// points scatter more than their uncertainties explain, the standard uncertainties of the curve are multiplied by
    /// the ratio of observed to expected scatter (the Birge ratio).
    #[must_use]
    pub fn of(points: &[Point]) -> Option<Self> {
        let column = |of: fn(&Point) -> f64| points.iter().map(of).collect::<Vec<f64>>();
        let (throttles, speeds) =
            (column(|point| point.throttle_percent / 100.0), column(|point| point.airspeed_mps));
        let fit = power_law(&throttles, &speeds, &column(|point| point.uncertainty_mps))?;
        let excess = fit.residual_deviation();
        let widened = excess.unwrap_or(1.0).max(1.0).powi(2);
        let of_points = column(|point| point.degrees_of_freedom).into_iter().fold(f64::INFINITY, f64::min);
        let scattered = excess.is_some_and(|excess| excess > 1.0);
        let (low, high) = throttles.iter().fold((f64::INFINITY, 0.0), |(low, high): (f64, f64), one| {
            (low.min(100.0 * one), high.max(100.0 * one))
        });
        let covariance = &fit.unit_covariance;
        Some(Self {
            full_throttle_mps: fit.parameters[0],
            exponent: fit.parameters[1],
            covariance: [covariance[(0, 0)], covariance[(0, 1)], covariance[(1, 1)]]
                .map(|part| part * widened),
            degrees_of_freedom: if scattered { fit.degrees_of_freedom() as f64 } else { of_points },
            flown_percent: (low, high),
            excess_scatter: excess,
        })
    }

    /// The airspeed that the curve gives at a throttle in per cent, with its standard uncertainty.
    #[must_use]
    pub fn at(&self, throttle_percent: f64) -> SpeedOnCurve {
        let share = (throttle_percent / 100.0).max(1e-6);
        let by_a = share.powf(self.exponent);
        let airspeed_mps = self.full_throttle_mps * by_a;
        let by_b = airspeed_mps * share.ln();
        let [aa, ab, bb] = self.covariance;
        let variance = by_a.powi(2) * aa + 2.0 * by_a * by_b * ab + by_b.powi(2) * bb;
        SpeedOnCurve { airspeed_mps, uncertainty_mps: variance.max(0.0).sqrt() }
    }

    /// Predicts the speed at a throttle; `flown` lists the throttles flown, in per cent.
    #[must_use]
    pub fn predict(&self, throttle_percent: f64, flown: &[f64]) -> Prediction {
        let SpeedOnCurve { airspeed_mps, uncertainty_mps } = self.at(throttle_percent);
        let half = coverage_factor(COVERAGE_PROBABILITY, self.degrees_of_freedom) * uncertainty_mps;
        let throttle_coverage = if flown.iter().any(|one| (one - throttle_percent).abs() < 0.5) {
            ThrottleCoverage::Flown
        } else if (self.flown_percent.0..=self.flown_percent.1).contains(&throttle_percent) {
            ThrottleCoverage::UntestedBetween
        } else {
            ThrottleCoverage::UntestedBeyond
        };
        Prediction {
            throttle_percent,
            airspeed_mps,
            low_mps: airspeed_mps - half,
            high_mps: airspeed_mps + half,
            throttle_coverage,
        }
    }
}

/// Gain of speed per per cent of throttle between two neighbouring steps.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Gain {
    /// Throttle of the lower step, in per cent.
    pub from_percent: f64,
    /// Throttle of the upper step, in per cent.
    pub to_percent: f64,
    /// Gain of speed per per cent of throttle, in m/s.
    pub per_percent_mps: f64,
    /// Lower end of the 95 % interval of the gain, in m/s per per cent.
    pub low_mps: f64,
    /// Upper end of the 95 % interval of the gain, in m/s per per cent.
    pub high_mps: f64,
}

/// The gains between neighbouring steps, in ascending order of throttle. The uncertainties of two steps are assumed
/// independent; their degrees of freedom are combined after Welch and Satterthwaite.
#[must_use]
pub fn gains(points: &[Point]) -> Vec<Gain> {
    let mut sorted = points.to_vec();
    sorted.sort_by(|one, other| one.throttle_percent.total_cmp(&other.throttle_percent));
    sorted
        .windows(2)
        .filter_map(|two| {
            let [below, above] = two else { return None };
            let apart = above.throttle_percent - below.throttle_percent;
            let combined = welch_satterthwaite(&[below, above].map(|point| StandardUncertainty {
                value: point.uncertainty_mps,
                degrees_of_freedom: point.degrees_of_freedom,
            }));
            let per_percent_mps = (above.airspeed_mps - below.airspeed_mps) / apart;
            let factor = coverage_factor(COVERAGE_PROBABILITY, combined.degrees_of_freedom);
            let half = factor * combined.value / apart;
            (apart > 0.0).then_some(Gain {
                from_percent: below.throttle_percent,
                to_percent: above.throttle_percent,
                per_percent_mps,
                low_mps: per_percent_mps - half,
                high_mps: per_percent_mps + half,
            })
        })
        .collect()
}

/// The point of diminishing return: the throttle above which more throttle adds little speed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct DiminishingReturn {
    /// The throttle above which more throttle gains little, in per cent.
    pub throttle_percent: f64,
    /// The threshold of a small gain, in m/s per per cent of throttle.
    pub threshold_mps: f64,
    /// Whether the point is certain: the whole 95 % interval of every gain above this throttle lies below the
    /// threshold.
    pub significant: bool,
}

/// Finds the point of diminishing return: the lowest step above which every gain is below `threshold_mps`.
/// By default the threshold is half of the average gain per per cent of throttle between the lowest and
/// the highest step (our own definition). `None` if the last gain, the one to the highest step, is still above the
/// threshold, or with fewer than three steps.
#[must_use]
pub fn diminishing_return(gains: &[Gain], threshold_mps: Option<f64>) -> Option<DiminishingReturn> {
    let (first, last) = (gains.first()?, gains.last()?);
    let risen: f64 =
        gains.iter().map(|gain| gain.per_percent_mps * (gain.to_percent - gain.from_percent)).sum();
    let average = risen / (last.to_percent - first.from_percent);
    let threshold_mps = threshold_mps.unwrap_or(average / 2.0);
    let little: Vec<&Gain> =
        gains.iter().rev().take_while(|gain| gain.per_percent_mps < threshold_mps).collect();
    let lowest = little.last().filter(|_| gains.len() > 1)?;
    let significant = little.iter().all(|gain| gain.high_mps < threshold_mps);
    Some(DiminishingReturn { throttle_percent: lowest.from_percent, threshold_mps, significant })
}
