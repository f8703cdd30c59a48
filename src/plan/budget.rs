//! Time and energy of the next flight.

use super::{ASSUMED_EXPONENT, OVERHEAD_S, PlanWish, StepLegs, USABLE_SHARE};

/// Time and energy of a pass over all steps, and what a flight has of both.
pub(super) struct Budget {
    pub(super) pass_s: f64,
    pub(super) pass_wh: Option<f64>,
    pub(super) overhead_wh: f64,
    /// Passes a flight can hold; `None` without a limit.
    pub(super) passes_a_flight: Option<u32>,
}

impl Budget {
    pub(super) fn of(wish: &PlanWish, legs: &[StepLegs]) -> Self {
        let run_s = |leg: &StepLegs| leg.upwind_s + leg.downwind_s + 2.0 * wish.turn_s;
        let pass_s: f64 = legs.iter().map(run_s).sum();
        let fastest =
            legs.iter().map(|leg| leg.airspeed_mps / (leg.throttle_percent / 100.0).powf(ASSUMED_EXPONENT));
        let full = fastest.fold(0.0, f64::max);
        // Power goes with the cube of the speed while drag goes with its square.
        let energy = |full_w: f64| {
            legs.iter().map(|leg| full_w * (leg.airspeed_mps / full).powi(3) * run_s(leg)).sum::<f64>()
                / 3600.0
        };
        let pass_wh = wish.pack.map(|(_, full_w)| energy(full_w));
        let overhead_wh = wish.pack.map_or(0.0, |(_, full_w)| full_w * 0.5 * OVERHEAD_S / 3600.0);
        let by_time = wish.flight_s.map(|flight_s| (flight_s - OVERHEAD_S) / pass_s);
        let by_energy = wish
            .pack
            .zip(pass_wh)
            .map(|((pack_wh, _), pass_wh)| (USABLE_SHARE * pack_wh - overhead_wh) / pass_wh);
        let least = [by_time, by_energy].into_iter().flatten().reduce(f64::min);
        Self {
            pass_s,
            pass_wh,
            overhead_wh,
            passes_a_flight: least.map(|passes| passes.clamp(0.0, 1e6) as u32),
        }
    }

    /// Passes in each flight; a flight has an even number of them where it can.
    pub(super) fn flights(&self, passes: u32) -> Vec<u32> {
        let most = self.passes_a_flight.unwrap_or(passes).max(1);
        let each = if most > 1 && passes > 1 { most - most % 2 } else { 1 };
        let mut left = passes;
        let mut flights = Vec::new();
        while left > 0 {
            let now = left.min(each);
            flights.push(now);
            left -= now;
        }
        flights
    }
}
