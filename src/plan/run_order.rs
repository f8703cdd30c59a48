//! The order of the runs, chosen so that a falling battery voltage is not mistaken for an effect of throttle.

use super::PlannedRun;
use crate::stats::mean;

/// Smallest decrease of the correlation for which the search exchanges two steps; with rounding errors alone the search
/// would never end (set by judgement).
const MIN_IMPROVEMENT: f64 = 1e-9;

/// The runs of all flights, in the order to fly. `steps` are the throttles in per cent, and `flights` holds the number
/// of passes of each flight. The first, third, fifth ... pass flies the steps in the balanced order, the others in the
/// reverse order.
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

/// Orders the throttle steps, in per cent, so that the correlation between throttle and time is small. A falling
/// voltage is then not mistaken for an effect of throttle, even in a single pass. The search starts with steps taken
/// alternately from both ends of the list, and exchanges two steps as long as that lowers the correlation.
#[must_use]
pub fn balanced_order(steps: &[f64]) -> Vec<f64> {
    let mut order = Vec::with_capacity(steps.len());
    for position in 0..steps.len() {
        let index = if position % 2 == 0 { position / 2 } else { steps.len() - 1 - position / 2 };
        order.extend(steps.get(index));
    }
    let mut lowest = order_correlation(&order);
    loop {
        let mut exchanged = None;
        for one in 0..order.len() {
            for other in one + 1..order.len() {
                order.swap(one, other);
                let correlation = order_correlation(&order);
                if correlation < lowest - MIN_IMPROVEMENT {
                    (lowest, exchanged) = (correlation, Some((one, other)));
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

/// Absolute value of the correlation coefficient between numbers and their positions, 0 to 1; 0 if it is not
/// defined.
fn order_correlation(numbers: &[f64]) -> f64 {
    let positions: Vec<f64> = (0..numbers.len()).map(|position| position as f64).collect();
    let (Some(mean_position), Some(mean_number)) = (mean(&positions), mean(numbers)) else { return 0.0 };
    let deviations: Vec<(f64, f64)> =
        positions.iter().zip(numbers).map(|(p, n)| (p - mean_position, n - mean_number)).collect();
    let sum = |of: fn(&(f64, f64)) -> f64| deviations.iter().map(of).sum::<f64>();
    let scale = (sum(|(p, _)| p * p) * sum(|(_, n)| n * n)).sqrt();
    if scale > 0.0 { (sum(|(p, n)| p * n) / scale).abs() } else { 0.0 }
}

/// The largest correlation between throttle and order of flying within any of the flights, 0 to 1.
pub(super) fn largest_correlation(runs: &[PlannedRun]) -> f64 {
    runs.chunk_by(|one, next| one.flight == next.flight)
        .map(|flight| order_correlation(&flight.iter().map(|run| run.throttle_percent).collect::<Vec<f64>>()))
        .fold(0.0, f64::max)
}
