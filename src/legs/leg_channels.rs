//! The steady middle of a leg, and the values measured there.

use super::limits::LegLimits;
use super::note::Note;
use super::{Flag, Leg, LegKind, LegUse};
use crate::model::channel::Channel;
use crate::series::{Blank, Series, Updates};
use crate::stats::{grouped_median, mean, median, scaled_mad};

/// Time left out at either end of the flat part of a leg, in seconds (set by judgement).
const MARGIN_S: f64 = 0.4;

/// Maximum time by which the whole leg extends beyond its flat part towards the previous and the next leg, in
/// seconds: after a turn the aircraft regains speed and the receiver lags. Legs close to each other are extended only
/// to the middle between them (set by judgement).
const BEYOND_FLAT_S: f64 = 1.0;

/// Length of the pieces that are cut off at the ends of a leg while they deviate from the rest, in seconds
/// (set by judgement).
const PIECE_S: f64 = 1.0;

/// Minimum length of the steady middle that cutting off deviating ends may leave, in seconds (set by
/// judgement).
const MIN_STEADY_S: f64 = 3.0;

/// An end piece is cut off when it differs from the median of the leg by more than this many spreads (1.4826
/// times the median absolute deviation) and by more than a display step (set by judgement).
const END_DEVIATION_SPREADS: f64 = 2.0;

/// Minimum drift of the speed for a leg to be flagged as not steady, as a multiple of the spread of the speed about
/// the drift line. The drift must also exceed two display steps and [`NOT_STEADY_SHARE`] (set by judgement).
const NOT_STEADY_SPREADS: f64 = 4.0;

/// Minimum drift of the speed for a leg to be flagged as not steady, as a share of the median speed (set by
/// judgement).
const NOT_STEADY_SHARE: f64 = 0.07;

/// Length of the steady middle below which a leg is flagged as short, in seconds (set by judgement).
const SHORT_LEG_S: f64 = 4.0;

/// Maximum share of a leg's frames in which the speed may have a digit without a glyph, for the leg to be used, 0 to 1: the remaining
/// speeds are not a fair sample of the leg (set by judgement).
const MAX_UNKNOWN_DIGITS_SHARE: f64 = 0.1;

/// An interval of flight time, in seconds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct TimeInterval {
    pub start_s: f64,
    pub end_s: f64,
}

impl TimeInterval {
    pub fn length_s(self) -> f64 {
        self.end_s - self.start_s
    }
}

/// The overlay updates of the channels that describe a leg: speed, throttle, voltage and others.
pub(super) struct LegChannels {
    pub speed: Updates,
    pub quantum: f64,
    update_interval_s: f64,
    voltage: Updates,
    altitude: Updates,
    satellites: Updates,
    throttle: Updates,
    pub heading: Updates,
    gaps: Vec<TimeInterval>,
    /// One entry for each frame: 1 where the speed is blank because a digit has no glyph, otherwise 0.
    unknown_digits: Updates,
    limits: LegLimits,
}

impl LegChannels {
    pub fn of(series: &Series, min_voltage_v: Option<f64>) -> Option<Self> {
        let readout = series.readings.channel(&Channel::Speed)?;
        Some(Self {
            speed: series.updates(&Channel::Speed),
            quantum: readout.quantum(),
            update_interval_s: series.update_interval_s(),
            voltage: series.updates(&Channel::Voltage),
            altitude: series.updates(&Channel::Altitude),
            satellites: series.updates(&Channel::Satellites),
            throttle: series.updates(&Channel::Throttle),
            heading: series.updates(&Channel::Heading),
            gaps: series
                .readings
                .gaps
                .iter()
                .map(|gap| TimeInterval { start_s: gap.start_s, end_s: gap.end_s })
                .collect(),
            unknown_digits: Updates {
                time_s: series.readings.time_s.clone(),
                values: readout
                    .blank
                    .iter()
                    .map(|blank| f64::from(u8::from(*blank == Blank::DigitUnknown)))
                    .collect(),
            },
            limits: LegLimits::of(series, min_voltage_v),
        })
    }

    /// Whether too many speeds between two times, in seconds of flight time, have digits without a glyph.
    pub fn has_unknown_digits(&self, start_s: f64, end_s: f64) -> bool {
        mean(self.unknown_digits.within(start_s, end_s)).is_some_and(|share| share > MAX_UNKNOWN_DIGITS_SHARE)
    }

    /// Whether the overlay shows a throttle that changes.
    pub fn shows_throttle(&self) -> bool {
        !self.throttle.values.is_empty()
    }

    /// The steady middle of a leg that was found in the speeds: a margin at either end is left out, then ends
    /// that deviate are cut off.
    pub fn steady_of_found(&self, leg: TimeInterval) -> TimeInterval {
        let spare_s = ((leg.length_s() - MIN_STEADY_S) / 2.0).clamp(0.0, MARGIN_S);
        let inner = TimeInterval { start_s: leg.start_s + spare_s, end_s: leg.end_s - spare_s };
        self.without_unsteady_ends(to_milliseconds(inner))
    }

    /// Cuts off pieces of one second at either end while their speed differs clearly from that of the rest. Applying
    /// the function to its own result changes nothing.
    pub fn without_unsteady_ends(&self, mut interval: TimeInterval) -> TimeInterval {
        while let Some(shorter) = self.shorter(interval) {
            interval = to_milliseconds(shorter);
        }
        interval
    }

    /// The interval without the end piece that deviates more; `None` if both end pieces fit the rest.
    fn shorter(&self, interval: TimeInterval) -> Option<TimeInterval> {
        if interval.length_s() - PIECE_S < MIN_STEADY_S {
            return None;
        }
        let values = self.speed.within(interval.start_s, interval.end_s);
        let middle = median(values)?;
        let limit = (END_DEVIATION_SPREADS * scaled_mad(values)?).max(self.quantum);
        let off = |start_s, end_s| {
            mean(self.speed.within(start_s, end_s)).map_or(0.0, |end| (end - middle).abs() / limit)
        };
        let at_start = off(interval.start_s, interval.start_s + PIECE_S);
        let at_end = off(interval.end_s - PIECE_S, interval.end_s);
        if at_start.max(at_end) <= 1.0 {
            None
        } else if at_start >= at_end {
            Some(TimeInterval { start_s: interval.start_s + PIECE_S, ..interval })
        } else {
            Some(TimeInterval { end_s: interval.end_s - PIECE_S, ..interval })
        }
    }

    /// Median throttle over an interval, rounded to whole per cent; `None` if the overlay shows none in the
    /// interval.
    pub fn throttle_percent(&self, interval: TimeInterval) -> Option<f64> {
        median(self.throttle.within(interval.start_s, interval.end_s)).map(f64::round)
    }

    /// Describes a leg by its medians and flags; `None` where no speed in its steady middle is trusted. Step
    /// and uncertainty are filled in later.
    pub fn leg(
        &self,
        whole: TimeInterval,
        steady: TimeInterval,
        kind: LegKind,
        throttle_percent: Option<f64>,
    ) -> Option<Leg> {
        let speeds = self.speed.within(steady.start_s, steady.end_s);
        let over = |updates: &Updates| median(updates.within(steady.start_s, steady.end_s));
        Some(Leg {
            start_s: whole.start_s,
            end_s: whole.end_s,
            steady_start_s: steady.start_s,
            steady_end_s: steady.end_s,
            kind,
            throttle_percent,
            step: None,
            speed_median: grouped_median(speeds, self.quantum)?,
            speed_spread: scaled_mad(speeds)?,
            samples: speeds.len(),
            speed_uncertainty: f64::NAN,
            voltage_v: over(&self.voltage),
            altitude: over(&self.altitude),
            satellites: over(&self.satellites),
            usage: LegUse::Used,
            flags: self.notes(steady, speeds).into_iter().map(Flag::from).collect(),
        })
    }

    /// A note if the speed drifts over the leg by more than gusts explain; otherwise `None`. The limit depends on the
    /// spread of the speed. The spread is measured about the drift line, since about the median it would grow with
    /// the drift.
    fn not_steady(&self, speeds: &[f64]) -> Option<Note> {
        let change = change_over(speeds)?;
        let max_change = (NOT_STEADY_SPREADS * spread_about_line(speeds)?).max(2.0 * self.quantum);
        (change.abs() > max_change.max(NOT_STEADY_SHARE * median(speeds)?))
            .then_some(Note::NotSteady { change })
    }

    fn notes(&self, steady: TimeInterval, speeds: &[f64]) -> Vec<Note> {
        let mut notes = Vec::new();
        if steady.length_s() < SHORT_LEG_S {
            notes.push(Note::ShortLeg { steady_s: steady.length_s() });
        }
        let blank = 1.0 - speeds.len() as f64 * self.update_interval_s / steady.length_s();
        if blank > 0.3 {
            notes.push(Note::ManyBlanks { share: blank });
        }
        notes.extend(self.not_steady(speeds));
        let altitudes = self.altitude.within(steady.start_s, steady.end_s);
        notes.extend(change_over(altitudes).and_then(|change| self.limits.height(change, median(speeds)?)));
        let over = |updates: &Updates| median(updates.within(steady.start_s, steady.end_s));
        notes.extend(over(&self.satellites).and_then(|satellites| self.limits.satellites(satellites)));
        notes.extend(over(&self.voltage).and_then(|voltage_v| self.limits.voltage(voltage_v)));
        if self.gaps.iter().any(|gap| gap.start_s < steady.end_s && gap.end_s > steady.start_s) {
            notes.push(Note::RecorderGap);
        }
        notes
    }
}

/// Spread of values about the straight line whose slope [`change_over`] gives, in the unit of the values; `None` if
/// there are too few values.
fn spread_about_line(values: &[f64]) -> Option<f64> {
    let step = change_over(values)? / values.len() as f64;
    let level: Vec<f64> =
        values.iter().zip(0..).map(|(value, place)| value - step * f64::from(place)).collect();
    scaled_mad(&level)
}

/// Drift of values over their interval, in the unit of the values: twice the difference between the means of the
/// second and the first half of the values, positive if the values rise. `None` for fewer than two values.
fn change_over(values: &[f64]) -> Option<f64> {
    let (first, second) = values.split_at(values.len() / 2);
    Some(2.0 * (mean(second)? - mean(first)?))
}

/// Extends the flat part of a leg, in which the speed is steady, to the whole leg. `before_s` is the end of the
/// previous leg's flat part, `after_s` the start of the next leg's, in seconds of flight time; `None` if there is no
/// such leg, and that end is then not extended.
pub(super) fn whole_leg(flat: TimeInterval, before_s: Option<f64>, after_s: Option<f64>) -> TimeInterval {
    let reach = |gap_s: f64| BEYOND_FLAT_S.min(gap_s / 2.0).max(0.0);
    TimeInterval {
        start_s: flat.start_s - before_s.map_or(0.0, |before_s| reach(flat.start_s - before_s)),
        end_s: flat.end_s + after_s.map_or(0.0, |after_s| reach(after_s - flat.end_s)),
    }
}

/// Rounds both times to the millisecond, as the result files do, so that a leg given from such a file has
/// exactly the same times.
fn to_milliseconds(interval: TimeInterval) -> TimeInterval {
    let round = |time_s: f64| (time_s * 1000.0).round() / 1000.0;
    TimeInterval { start_s: round(interval.start_s), end_s: round(interval.end_s) }
}

/// Circular mean of headings, in degrees; `None` without headings.
pub(super) fn mean_heading(headings: &[f64]) -> Option<f64> {
    let part = |of: fn(f64) -> f64| -> f64 { headings.iter().map(|heading| of(heading.to_radians())).sum() };
    (!headings.is_empty()).then(|| part(f64::sin).atan2(part(f64::cos)).to_degrees().rem_euclid(360.0))
}
