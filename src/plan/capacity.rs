//! Time and energy of the passes, and how many passes one battery allows.

use super::expected_speed::ASSUMED_EXPONENT;
use super::leg_times::StepLegs;
use super::request::PlanRequest;

/// Share of a battery's energy that may be used, so that it is not discharged too deeply (common practice, no source).
pub(super) const USABLE_SHARE: f64 = 0.8;

/// Duration of launch, climb, approach and landing together, in seconds (common practice, no source).
pub(super) const OVERHEAD_S: f64 = 60.0;

/// Mean power during launch, climb, approach and landing, as a share of the power at full throttle (set by judgement).
const OVERHEAD_POWER_SHARE: f64 = 0.5;

/// Upper limit of the number of passes in one flight; it only keeps the conversion to an integer in range.
const MAX_PASSES_PER_FLIGHT: f64 = 1e6;

/// Time and energy of one pass over all throttle steps, and the number of passes that a flight allows.
pub(super) struct Capacity {
    pub(super) pass_s: f64,
    pub(super) pass_wh: Option<f64>,
    /// Energy for launch, climb, approach and landing, in Wh.
    pub(super) overhead_wh: f64,
    /// Number of passes that one flight allows; `None` if neither flying time nor energy limits it.
    pub(super) passes_per_flight: Option<u32>,
}

impl Capacity {
    pub(super) fn of(request: &PlanRequest, legs: &[StepLegs]) -> Self {
        let run_s = |leg: &StepLegs| leg.upwind_s + leg.downwind_s + 2.0 * request.turn_s;
        let pass_s: f64 = legs.iter().map(run_s).sum();
        let at_full_throttle =
            legs.iter().map(|leg| leg.airspeed_mps / (leg.throttle_percent / 100.0).powf(ASSUMED_EXPONENT));
        let full_mps = at_full_throttle.fold(0.0, f64::max);
        // Drag is proportional to the square of the airspeed, so power is proportional to its cube.
        let energy = |full_w: f64| {
            legs.iter().map(|leg| full_w * (leg.airspeed_mps / full_mps).powi(3) * run_s(leg)).sum::<f64>()
                / 3600.0
        };
        let pass_wh = request.pack.map(|pack| energy(pack.full_power_w));
        let overhead_wh =
            request.pack.map_or(0.0, |pack| pack.full_power_w * OVERHEAD_POWER_SHARE * OVERHEAD_S / 3600.0);
        let by_time = request.flight_s.map(|flight_s| (flight_s - OVERHEAD_S) / pass_s);
        let by_energy = request
            .pack
            .zip(pass_wh)
            .map(|(pack, pass_wh)| (USABLE_SHARE * pack.energy_wh - overhead_wh) / pass_wh);
        let limit = [by_time, by_energy].into_iter().flatten().reduce(f64::min);
        Self {
            pass_s,
            pass_wh,
            overhead_wh,
            passes_per_flight: limit.map(|passes| passes.clamp(0.0, MAX_PASSES_PER_FLIGHT) as u32),
        }
    }

    /// The number of passes in each flight. A flight that allows two passes or more gets an even number, unless only
    /// one pass is flown in all.
    pub(super) fn flights(&self, passes: u32) -> Vec<u32> {
        let limit = self.passes_per_flight.unwrap_or(passes).max(1);
        let each = if limit > 1 && passes > 1 { limit - limit % 2 } else { 1 };
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
