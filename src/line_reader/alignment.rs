//! Alignment: the positions of a text's characters along a line.

use ndarray::{Array2, ArrayView1};

use super::network::DIGITS;

/// The class of the CTC blank.
const BLANK: usize = 0;

/// A character with its position.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct AlignedClass {
    pub(super) class: usize,
    /// Centre of the output positions at which the character is read, counted from the start of the line.
    pub(super) center_steps: f32,
    /// Natural logarithm of the character's probability at the output position where the probability is highest.
    pub(super) log_probability: f32,
    /// Probability of a digit, whichever, at that output position, 0 to 1.
    pub(super) digit_probability: f32,
}

/// The characters of the most probable path. `log_probabilities` has a row for each output position and a column for
/// each class; class 0 is the blank.
pub(super) fn best_path(log_probabilities: &Array2<f32>) -> Vec<AlignedClass> {
    let best = |step: ArrayView1<'_, f32>| {
        step.iter()
            .enumerate()
            .max_by(|one, other| one.1.total_cmp(other.1))
            .map_or(BLANK, |(class, _)| class)
    };
    let path: Vec<usize> = log_probabilities.rows().into_iter().map(best).collect();
    runs(log_probabilities, &path, |class| class)
}

/// The characters of `text` with their positions, found along the text's most probable path through the rows of
/// `log_probabilities` (Viterbi algorithm).
pub(super) fn aligned(log_probabilities: &Array2<f32>, text: &[u8]) -> Vec<AlignedClass> {
    // States: a blank, then each character followed by a blank.
    let states = 2 * text.len() + 1;
    let class = |state: usize| {
        if state % 2 == 1 { text.get(state / 2).map_or(BLANK, |class| usize::from(*class)) } else { BLANK }
    };
    // Two different characters may follow each other without a blank.
    let may_skip = |state: usize| state % 2 == 1 && state >= 3 && class(state) != class(state - 2);
    let mut scores = vec![f32::NEG_INFINITY; states];
    let mut before: Vec<Vec<usize>> = Vec::with_capacity(log_probabilities.nrows());
    for (number, step) in log_probabilities.rows().into_iter().enumerate() {
        let mut next = vec![f32::NEG_INFINITY; states];
        let mut from = vec![0; states];
        for state in 0..states {
            let score = |state: usize| scores.get(state).copied().unwrap_or(f32::NEG_INFINITY);
            let best = if number == 0 {
                (if state <= 1 { 0.0 } else { f32::NEG_INFINITY }, state)
            } else {
                let sources =
                    [Some(state), state.checked_sub(1), state.checked_sub(2).filter(|_| may_skip(state))];
                let scored = sources.into_iter().flatten().map(|source| (score(source), source));
                scored.max_by(|one, other| one.0.total_cmp(&other.0)).unwrap_or((f32::NEG_INFINITY, state))
            };
            next[state] = best.0 + step[class(state)];
            from[state] = best.1;
        }
        scores = next;
        before.push(from);
    }
    let ends = states.saturating_sub(2)..states;
    let Some(mut state) = ends.max_by(|one, other| scores[*one].total_cmp(&scores[*other])) else {
        return Vec::new();
    };
    let mut path = vec![0; before.len()];
    for (step, from) in before.iter().enumerate().rev() {
        path[step] = state;
        state = from[state];
    }
    runs(log_probabilities, &path, class)
}

/// The characters of a path, which has one state for each output position. Successive equal states give one
/// character; states whose class is the blank give none. `class` returns the class of a state.
fn runs(
    log_probabilities: &Array2<f32>,
    path: &[usize],
    class: impl Fn(usize) -> usize,
) -> Vec<AlignedClass> {
    let mut found = Vec::new();
    let mut first = 0;
    for run in path.chunk_by(|one, other| one == other) {
        let class = class(run[0]);
        let steps = first..first + run.len();
        if class != BLANK {
            let at = |step: usize, class: usize| {
                log_probabilities.get((step, class)).copied().unwrap_or(f32::NEG_INFINITY)
            };
            let best = steps.clone().max_by(|one, other| at(*one, class).total_cmp(&at(*other, class)));
            let best = best.unwrap_or(first);
            found.push(AlignedClass {
                class,
                center_steps: (steps.start + steps.end) as f32 / 2.0,
                log_probability: at(best, class),
                digit_probability: DIGITS.map(|digit| at(best, digit).exp()).sum(),
            });
        }
        first = steps.end;
    }
    found
}

#[cfg(test)]
mod tests {
    use ndarray::arr2;

    use super::*;

    /// Five steps that show "1" at the second and at the last one, which "2" nearly equals.
    fn steps() -> Array2<f32> {
        arr2(&[[0.9_f32, 0.05, 0.05], [0.1, 0.8, 0.1], [0.9, 0.05, 0.05], [0.9, 0.05, 0.05], [0.1, 0.5, 0.4]])
            .mapv(f32::ln)
    }

    fn classes(found: &[AlignedClass]) -> Vec<(usize, f32)> {
        found.iter().map(|one| (one.class, one.center_steps)).collect()
    }

    #[test]
    fn the_best_path_has_the_most_probable_characters_in_place() {
        assert_eq!(classes(&best_path(&steps())), [(1, 1.5), (1, 4.5)]);
    }

    #[test]
    fn a_text_is_aligned_where_it_is_most_probable() {
        let found = aligned(&steps(), &[1, 2]);
        assert_eq!(classes(&found), [(1, 1.5), (2, 4.5)]);
        assert!((found[1].log_probability - 0.4_f32.ln()).abs() < 1e-6);
        assert!((found[1].digit_probability - 0.9).abs() < 1e-6, "the other 0.1 are a blank");
        assert_eq!(aligned(&steps(), &[]), []);
    }
}
