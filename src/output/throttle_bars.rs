//! The data of the plot of airspeed against throttle: a bar for each pair or pattern, and the curve with its 95 % band.

use super::axis::Axis;
use crate::airspeed::{Pair, Pattern};
use crate::flight::Flight;
use crate::model::channel::Channel;

/// Number of segments that the curve is drawn with (set by judgement).
const CURVE_POINTS: u32 = 40;

/// Horizontal distance between the bars of one step, in per cent of throttle, or in hundredths of the distance
/// between two steps if the throttle is not known (set by judgement).
const BAR_DISTANCE: f64 = 1.0;

/// One pair or pattern in the plot, or one point of the curve; speeds in the speed channel's unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ErrorBar {
    /// Throttle in per cent, or the number of the step if the throttle of any pair is unknown.
    pub throttle_or_step: f64,
    /// Lower end of the 95 % interval, in the speed channel's unit.
    pub low: f64,
    /// Airspeed, in the speed channel's unit.
    pub airspeed: f64,
    /// Upper end of the 95 % interval, in the speed channel's unit.
    pub high: f64,
}

/// Whether the throttle of every pair is known. Otherwise bars are placed by the number of their step.
pub fn by_throttle(flight: &Flight) -> bool {
    flight.pairs.iter().all(|pair| pair.throttle_percent.is_some())
}

/// The bars of all pairs and patterns with an airspeed; bars of one throttle step are placed side by side.
pub fn bars(flight: &Flight) -> Vec<ErrorBar> {
    let by_throttle = by_throttle(flight);
    let mut bars = pair_bars(&flight.pairs, by_throttle);
    bars.extend(flight.patterns.iter().filter(|_| by_throttle).filter_map(pattern_bar));
    bars
}

/// Left, right, lower and upper end of the axes of a plot of bars and curve; `None` if there is nothing to
/// draw.
pub fn axis_limits(bars: &[ErrorBar], curve: &[ErrorBar], by_throttle: bool) -> Option<[f64; 4]> {
    // A single point gets room beside it.
    let beside = if by_throttle { 4.0 } else { 0.4 };
    let across = Axis::over(bars.iter().map(|bar| bar.throttle_or_step))?;
    let up = Axis::over(bars.iter().chain(curve).flat_map(|bar| [bar.low, bar.airspeed, bar.high]))?;
    Some([across.low - beside, across.high + beside, up.low, up.high])
}

/// Points of the curve of airspeed against throttle with its 95 % band, over the throttles flown; empty if there is no
/// curve or a throttle is unknown.
pub fn curve(flight: &Flight) -> Vec<ErrorBar> {
    if !by_throttle(flight) {
        return Vec::new();
    }
    let (Some(curve), Some(unit)) = (&flight.propulsion.curve, flight.unit(&Channel::Speed)) else {
        return Vec::new();
    };
    let (low, high) = curve.flown_percent;
    let points =
        (0..=CURVE_POINTS).map(|place| low + (high - low) * f64::from(place) / f64::from(CURVE_POINTS));
    points
        .map(|percent| {
            let at = curve.predict(percent, &[]);
            let shown = |speed_mps: f64| speed_mps / unit.si_per_unit();
            ErrorBar {
                throttle_or_step: percent,
                low: shown(at.low_mps),
                airspeed: shown(at.airspeed_mps),
                high: shown(at.high_mps),
            }
        })
        .filter(|bar| [bar.low, bar.airspeed, bar.high].iter().all(|speed| speed.is_finite()))
        .collect()
}

fn pattern_bar(pattern: &Pattern) -> Option<ErrorBar> {
    let throttle_or_step = pattern.throttle_percent?;
    let finite = [throttle_or_step, pattern.airspeed.low, pattern.airspeed.value, pattern.airspeed.high]
        .iter()
        .all(|n| n.is_finite());
    finite.then_some(ErrorBar {
        throttle_or_step,
        low: pattern.airspeed.low,
        airspeed: pattern.airspeed.value,
        high: pattern.airspeed.high,
    })
}

/// The bars of all pairs with an airspeed; bars of one throttle step are placed side by side.
fn pair_bars(pairs: &[Pair], by_throttle: bool) -> Vec<ErrorBar> {
    let mut bars: Vec<ErrorBar> = Vec::new();
    for (index, pair) in pairs.iter().enumerate() {
        let earlier = pairs.iter().take(index).filter(|other| other.step == pair.step).count() as f64;
        let throttle_or_step = if by_throttle {
            pair.throttle_percent.unwrap_or(f64::NAN) + earlier * BAR_DISTANCE
        } else {
            f64::from(pair.step) + earlier * BAR_DISTANCE / 100.0
        };
        let or_airspeed = |end: f64| if end.is_finite() { end } else { pair.airspeed.value };
        let (low, high) = (or_airspeed(pair.airspeed.low), or_airspeed(pair.airspeed.high));
        bars.push(ErrorBar { throttle_or_step, low, airspeed: pair.airspeed.value, high });
    }
    bars.retain(|bar| bar.airspeed.is_finite() && bar.throttle_or_step.is_finite());
    bars
}
