//! The throttle steps: groups of pairs flown at one throttle setting.

use super::ThrottleSource;
use super::flight_grid::SAME_THROTTLE_PERCENT;
use super::note::Note;

/// The throttle step of every pair, in the order of the pairs.
pub(super) struct ThrottleSteps {
    pub source: ThrottleSource,
    /// For each pair the number of its throttle step, from 1, and the throttle of the pair in per cent; `None` if the
    /// throttle is not known.
    pub of_pairs: Vec<(u32, Option<f64>)>,
    pub note: Option<Note>,
}

/// Makes steps from known throttles. A pair within [`SAME_THROTTLE_PERCENT`] of an earlier pair belongs to
/// the same step.
pub(super) fn known(throttles: &[Option<f64>], source: ThrottleSource) -> ThrottleSteps {
    let mut seen: Vec<Option<f64>> = Vec::new();
    let of_pairs = throttles
        .iter()
        .map(|throttle| {
            let same = |other: &Option<f64>| {
                other.zip(*throttle).is_some_and(|(a, b)| (a - b).abs() <= SAME_THROTTLE_PERCENT)
            };
            let step = seen.iter().position(same).unwrap_or_else(|| {
                seen.push(*throttle);
                seen.len() - 1
            });
            (step as u32 + 1, seen[step])
        })
        .collect();
    ThrottleSteps { source, of_pairs, note: None }
}

/// Makes steps from a list that the pilot gives in the order flown. Each step gets equally many pairs. If the
/// pairs do not divide evenly, each step gets successive pairs such that the airspeeds within steps differ
/// least.
pub(super) fn given(throttles: &[f64], airspeeds: &[f64]) -> ThrottleSteps {
    let (pairs, steps) = (airspeeds.len(), throttles.len());
    if pairs < steps || steps == 0 {
        return ThrottleSteps { note: Some(Note::TooFewPairs { pairs, steps }), ..numbered(pairs) };
    }
    let even = pairs % steps == 0;
    let groups = if even {
        (0..pairs).map(|pair| pair * steps / pairs).collect()
    } else {
        contiguous_groups(airspeeds, steps)
    };
    ThrottleSteps {
        source: ThrottleSource::Given,
        of_pairs: groups.iter().map(|group| (*group as u32 + 1, throttles.get(*group).copied())).collect(),
        note: (!even).then_some(Note::UnequalSteps { pairs, steps }),
    }
}

/// Whether a given throttle step holds pairs that the overlay shows at different throttles.
pub(super) fn is_mixed(given: &ThrottleSteps, shown: &[Option<f64>]) -> bool {
    let pairs: Vec<(u32, f64)> =
        given.of_pairs.iter().zip(shown).filter_map(|((step, _), shown)| Some((*step, (*shown)?))).collect();
    let apart =
        |two: &[(u32, f64)]| matches!(two, [a, b] if a.0 == b.0 && (a.1 - b.1).abs() > SAME_THROTTLE_PERCENT);
    pairs.windows(2).any(apart)
}

/// A note that names the given throttles that differ from those the overlay shows; `None` if all agree.
pub(super) fn contradiction(given: &ThrottleSteps, shown: &[Option<f64>]) -> Option<Note> {
    let pairs = given.of_pairs.iter().zip(shown);
    let mut differences: Vec<(f64, f64)> = pairs
        .filter_map(|((_, given), shown)| given.zip(*shown))
        .filter(|(given, shown)| (given - shown).abs() > SAME_THROTTLE_PERCENT)
        .collect();
    differences.dedup();
    (!differences.is_empty()).then_some(Note::ThrottleContradicts { differences })
}

/// Makes steps without a known throttle: every pair is a step of its own.
pub(super) fn numbered(pairs: usize) -> ThrottleSteps {
    let of_pairs = (1..=pairs as u32).map(|step| (step, None)).collect();
    ThrottleSteps { source: ThrottleSource::Numbered, of_pairs, note: None }
}

/// Divides values into `groups` groups of successive values with the smallest sum of squares about the
/// groups' means, by dynamic programming. Returns the group of each value. There must be at least one value
/// for each group.
fn contiguous_groups(values: &[f64], groups: usize) -> Vec<usize> {
    let count = values.len();
    let squares = |first: usize, end: usize| {
        let run = &values[first..end];
        let mean = run.iter().sum::<f64>() / run.len() as f64;
        run.iter().map(|value| (value - mean).powi(2)).sum::<f64>()
    };
    let mut best = vec![vec![(f64::INFINITY, 0); count + 1]; groups + 1];
    best[0][0].0 = 0.0;
    for group in 1..=groups {
        for end in group..=count {
            best[group][end] = (group - 1..end)
                .map(|first| (best[group - 1][first].0 + squares(first, end), first))
                .fold((f64::INFINITY, 0), |kept, new| if new.0 < kept.0 { new } else { kept });
        }
    }
    let mut of_values = vec![0; count];
    let mut end = count;
    for group in (1..=groups).rev() {
        let first = best[group][end].1;
        of_values[first..end].fill(group - 1);
        end = first;
    }
    of_values
}
