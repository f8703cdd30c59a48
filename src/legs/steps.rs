//! The throttle steps: which pairs were flown at one throttle.

use super::ThrottleSource;
use super::evidence::SAME_THROTTLE_PERCENT;
use super::note::Note;

/// The steps of the pairs, in the order of the pairs.
pub(super) struct Steps {
    pub source: ThrottleSource,
    /// Number of each pair's step, from 1, and its throttle where known.
    pub of_pairs: Vec<(u32, Option<f64>)>,
    pub note: Option<Note>,
}

/// Steps from throttles that are known: pairs within 3 % of an earlier pair share its step.
pub(super) fn known(throttles: &[Option<f64>], source: ThrottleSource) -> Steps {
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
    Steps { source, of_pairs, note: None }
}

/// Steps told as a list, in the order flown: each takes equally many pairs, or, where they do not
/// divide evenly, a run of pairs such that the airspeeds of a step differ least.
pub(super) fn told(throttles: &[f64], airspeeds: &[f64]) -> Steps {
    let (pairs, steps) = (airspeeds.len(), throttles.len());
    if pairs < steps || steps == 0 {
        return Steps { note: Some(Note::TooFewPairs { pairs, steps }), ..numbered(pairs) };
    }
    let even = pairs % steps == 0;
    let groups = if even {
        (0..pairs).map(|pair| pair * steps / pairs).collect()
    } else {
        contiguous_groups(airspeeds, steps)
    };
    Steps {
        source: ThrottleSource::Given,
        of_pairs: groups.iter().map(|group| (*group as u32 + 1, throttles.get(*group).copied())).collect(),
        note: (!even).then_some(Note::UnequalSteps { pairs, steps }),
    }
}

/// Whether a step holds pairs that the overlay shows at several throttles.
pub(super) fn is_mixed(told: &Steps, shown: &[Option<f64>]) -> bool {
    let pairs: Vec<(u32, f64)> =
        told.of_pairs.iter().zip(shown).filter_map(|((step, _), shown)| Some((*step, (*shown)?))).collect();
    let apart =
        |two: &[(u32, f64)]| matches!(two, [a, b] if a.0 == b.0 && (a.1 - b.1).abs() > SAME_THROTTLE_PERCENT);
    pairs.windows(2).any(apart)
}

/// Says where the throttles told are not those that the overlay shows, pair by pair.
pub(super) fn contradiction(told: &Steps, shown: &[Option<f64>]) -> Option<Note> {
    let pairs = told.of_pairs.iter().zip(shown);
    let mut apart: Vec<(f64, f64)> = pairs
        .filter_map(|((_, told), shown)| told.zip(*shown))
        .filter(|(told, shown)| (told - shown).abs() > SAME_THROTTLE_PERCENT)
        .collect();
    apart.dedup();
    (!apart.is_empty()).then_some(Note::ThrottleContradicts { apart })
}

/// Steps without a throttle: every pair is its own.
pub(super) fn numbered(pairs: usize) -> Steps {
    let of_pairs = (1..=pairs as u32).map(|step| (step, None)).collect();
    Steps { source: ThrottleSource::Numbered, of_pairs, note: None }
}

/// Divides values into `groups` runs with the least sum of squares about the runs' means (dynamic
/// programming); gives the group of each value. There must be at least one value a group.
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
