//! The order of the runs: a falling voltage must not look like throttle.

use super::PlannedRun;
use crate::stats::mean;

/// The runs of all flights: passes in a balanced order, every other one backwards.
pub(super) fn runs(steps: &[f64], flights: &[u32]) -> Vec<PlannedRun> {
    let order = balanced_order(steps);
    let mut runs = Vec::new();
    let mut pass = 0;
    for (flight, passes) in (1..).zip(flights) {
        for _ in 0..*passes {
            let mut throttles = order.clone();
            if pass % 2 == 1 {
                throttles.reverse();
            }
            pass += 1;
            for throttle_percent in throttles {
                runs.push(PlannedRun { flight, run: runs.len() as u32 + 1, throttle_percent });
            }
        }
    }
    runs
}

/// The order of the steps in which throttle has the least to do with the time of flying, so that even a
/// single pass does not take a falling voltage for throttle: from the middle of the list outwards,
/// improved by exchanging two steps as long as that lessens the correlation.
#[must_use]
pub fn balanced_order(steps: &[f64]) -> Vec<f64> {
    let mut order = Vec::with_capacity(steps.len());
    for place in 0..steps.len() {
        let index = if place % 2 == 0 { place / 2 } else { steps.len() - 1 - place / 2 };
        order.extend(steps.get(index));
    }
    let mut least = order_correlation(&order);
    loop {
        let mut exchanged = None;
        for one in 0..order.len() {
            for other in one + 1..order.len() {
                order.swap(one, other);
                let now = order_correlation(&order);
                if now < least - 1e-9 {
                    (least, exchanged) = (now, Some((one, other)));
                }
                order.swap(one, other);
            }
        }
        match exchanged {
            Some((one, other)) => order.swap(one, other),
            None => return order,
        }
    }
}

/// How far numbers go with their places: the size of the correlation coefficient; 0 where it is not defined.
fn order_correlation(numbers: &[f64]) -> f64 {
    let places: Vec<f64> = (0..numbers.len()).map(|place| place as f64).collect();
    let (Some(place), Some(number)) = (mean(&places), mean(numbers)) else { return 0.0 };
    let apart: Vec<(f64, f64)> = places.iter().zip(numbers).map(|(p, n)| (p - place, n - number)).collect();
    let sum = |of: fn(&(f64, f64)) -> f64| apart.iter().map(of).sum::<f64>();
    let spread = (sum(|(p, _)| p * p) * sum(|(_, n)| n * n)).sqrt();
    if spread > 0.0 { (sum(|(p, n)| p * n) / spread).abs() } else { 0.0 }
}

/// The greatest of the flights' correlations.
pub(super) fn worst_correlation(runs: &[PlannedRun]) -> f64 {
    runs.chunk_by(|one, next| one.flight == next.flight)
        .map(|flight| order_correlation(&flight.iter().map(|run| run.throttle_percent).collect::<Vec<f64>>()))
        .fold(0.0, f64::max)
}
