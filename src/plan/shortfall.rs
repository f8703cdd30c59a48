//! What keeps a card from giving what is wanted.

use serde::Serialize;

use super::budget::Budget;
use super::{OVERHEAD_S, PlanWish, PlannedStep, StepLegs, USABLE_SHARE, needed_course_m};

/// Why the card does not give what is wanted.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "kind")]
pub enum Shortfall {
    /// One pass over all steps does not fit into the flying time of a pack.
    Time {
        /// What such a flight takes, launch and landing included, in s.
        needed_s: f64,
        /// What was told, in s.
        told_s: f64,
        /// How many of the steps would fit.
        steps_that_fit: usize,
    },
    /// One pass over all steps takes more energy than the pack may give.
    Energy {
        /// What such a flight takes, in Wh.
        needed_wh: f64,
        /// What may be used of the pack, in Wh.
        usable_wh: f64,
    },
    /// The course is too short for some steps.
    Course {
        /// Their throttles in per cent.
        steps_percent: Vec<f64>,
        /// The shortest course that would do for all, in m.
        needed_m: f64,
    },
    /// No number of pairs gives the interval wanted in this air.
    Interval {
        /// Half the width to expect instead, in m/s, where the card can be flown.
        expected_mps: Option<f64>,
    },
}

pub(super) fn shortfalls(
    wish: &PlanWish,
    legs: &[StepLegs],
    steps: &[PlannedStep],
    budget: &Budget,
) -> Vec<Shortfall> {
    let course = course(wish, legs);
    let interval = steps.iter().any(|step| step.pairs_needed.is_none()).then(|| Shortfall::Interval {
        expected_mps: steps.iter().filter_map(|step| step.half_width_mps).reduce(f64::max),
    });
    time(wish, legs, budget).into_iter().chain(energy(wish, budget)).chain(course).chain(interval).collect()
}

fn time(wish: &PlanWish, legs: &[StepLegs], budget: &Budget) -> Option<Shortfall> {
    let told_s = wish.flight_s?;
    let needed_s = OVERHEAD_S + budget.pass_s;
    let of_a_step = budget.pass_s / legs.len() as f64;
    (needed_s > told_s).then(|| Shortfall::Time {
        needed_s,
        told_s,
        steps_that_fit: ((told_s - OVERHEAD_S) / of_a_step).max(0.0) as usize,
    })
}

fn energy(wish: &PlanWish, budget: &Budget) -> Option<Shortfall> {
    let usable_wh = USABLE_SHARE * wish.pack?.0;
    let needed_wh = budget.overhead_wh + budget.pass_wh?;
    (needed_wh > usable_wh).then_some(Shortfall::Energy { needed_wh, usable_wh })
}

fn course(wish: &PlanWish, legs: &[StepLegs]) -> Option<Shortfall> {
    let short: Vec<f64> = legs.iter().filter(|leg| leg.is_short()).map(|leg| leg.throttle_percent).collect();
    (!short.is_empty())
        .then(|| Shortfall::Course { steps_percent: short, needed_m: needed_course_m(wish, legs) })
}
