//! Plausible values of each channel, used if the setup file states no `range` or `max_rate`.
//!
//! The limits are common practice, without a source, and wide on purpose. If a limit is too wide, a
//! misreading reaches the later checks; if it is too narrow, correct values are blanked.

use super::Region;
use crate::model::channel::Channel;
use crate::model::units::{Quantity, Unit};

/// Limits of a channel, in the SI unit of its quantity (see [`Quantity`]).
struct Limits {
    /// Lowest and highest plausible value.
    range: (f64, f64),
    /// Fastest plausible change per second; `None` if the value may jump.
    max_rate: Option<f64>,
}

/// Limits of the speed, in m/s. 125 m/s (450 km/h) is the fastest propeller-driven electric model aircraft
/// with a tail wind; 20 m/s per second is about 2 g along the flight path, as in a catapult launch or a dive.
const SPEED: Limits = Limits { range: (0.0, 125.0), max_rate: Some(20.0) };
/// Limits of the pack voltage, in volts. A full pack of 14 cells has 58.8 V; under full throttle the voltage
/// drops by a few volts within a tenth of a second.
const VOLTAGE: Limits = Limits { range: (0.0, 60.0), max_rate: Some(40.0) };
/// Limits of the altitude, in metres. The range includes the lowest and the highest land; the rate is that of
/// a steep dive.
const ALTITUDE: Limits = Limits { range: (-500.0, 9000.0), max_rate: Some(60.0) };
/// Limits of the throttle, in per cent. The throttle stick can move from one end to the other between two
/// frames.
const THROTTLE: Limits = Limits { range: (0.0, 100.0), max_rate: None };
/// Limits of the current, in amperes. The lower one is negative, since sensors may show slightly less than zero at
/// rest. The rate is not limited, since the current follows the throttle at once.
const CURRENT: Limits = Limits { range: (-20.0, 500.0), max_rate: None };
/// Limits of the heading, in degrees. It jumps by 360 degrees at north.
const HEADING: Limits = Limits { range: (0.0, 360.0), max_rate: None };
/// Limits of the motor speed, in revolutions per minute. The fastest are small motors with small propellers.
const RPM: Limits = Limits { range: (0.0, 100_000.0), max_rate: None };
/// Limits of the number of satellites, of all systems together. The number drops to zero at once if reception
/// is lost.
const SATELLITES: Limits = Limits { range: (0.0, 60.0), max_rate: None };

fn limits(channel: &Channel) -> Option<Limits> {
    match channel {
        Channel::Speed => Some(SPEED),
        Channel::Voltage => Some(VOLTAGE),
        Channel::Altitude => Some(ALTITUDE),
        Channel::Throttle => Some(THROTTLE),
        Channel::Current => Some(CURRENT),
        Channel::Heading => Some(HEADING),
        Channel::Rpm => Some(RPM),
        Channel::Satellites => Some(SATELLITES),
        Channel::Other(_) => None,
    }
}

/// Factor from the region's unit to SI units; 1 for a channel without unit, `None` if the unit is needed but
/// not known.
fn si_per_unit(region: &Region) -> Option<f64> {
    match (region.unit_shown(), region.channel.quantity()) {
        (Some(unit), Some(quantity)) if unit.quantity() == quantity => Some(unit.si_per_unit()),
        (_, None) => Some(1.0),
        _ => None,
    }
}

impl Region {
    /// The unit of the values shown: the given one, otherwise the usual one of the channel. `None` if there
    /// is neither.
    #[must_use]
    pub fn unit_shown(&self) -> Option<Unit> {
        self.unit.or_else(|| self.channel.usual_unit())
    }

    /// Lowest and highest plausible value in the region's unit: the given `range`, otherwise a wide default
    /// for the channel (0 to 450 km/h, 0 to 60 V, -500 to 9000 m and so on; common practice, no source).
    /// `None` for a channel or a unit that is not known, for which any value is plausible.
    #[must_use]
    pub fn plausible_range(&self) -> Option<(f64, f64)> {
        self.range.or_else(|| {
            let (low, high) = limits(&self.channel)?.range;
            let scale = si_per_unit(self)?;
            Some((low / scale, high / scale))
        })
    }

    /// Fastest plausible change in the region's unit per second: the given `max_rate`, otherwise a wide
    /// default for the channel (20 m/s per second for speed, 40 V/s for voltage, 60 m/s for altitude; common
    /// practice, no source). `None` if there is no limit.
    #[must_use]
    pub fn plausible_max_rate(&self) -> Option<f64> {
        self.max_rate.or_else(|| Some(limits(&self.channel)?.max_rate? / si_per_unit(self)?))
    }
}

/// The symbols of all units of a quantity, as a list for messages.
pub(super) fn symbols_of(quantity: Quantity) -> String {
    Unit::all().filter(|unit| unit.quantity() == quantity).map(Unit::symbol).collect::<Vec<_>>().join(", ")
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::geometry::PixelRect;

    fn region(channel: Channel, unit: Option<Unit>) -> Region {
        Region::new(channel, PixelRect { left: 0, top: 0, width: 60, height: 20 }, unit)
    }

    #[test]
    fn a_given_limit_overrides_the_usual_one() {
        let mut speed = region(Channel::Speed, Some(Unit::KilometresPerHour));
        speed.range = Some((0.0, 99.0));
        speed.max_rate = Some(5.0);
        assert_eq!(speed.plausible_range(), Some((0.0, 99.0)));
        assert_eq!(speed.plausible_max_rate(), Some(5.0));
    }

    #[test]
    fn the_usual_limits_follow_the_unit() {
        let kmh = region(Channel::Speed, Some(Unit::KilometresPerHour));
        let mph = region(Channel::Speed, Some(Unit::MilesPerHour));
        assert!((kmh.plausible_range().unwrap().1 - 450.0).abs() < 1e-9);
        // 1 mph = 0.44704 m/s: NIST SP 811, Appendix B.
        assert!((mph.plausible_range().unwrap().1 - 125.0 / 0.44704).abs() < 1e-9);
        assert!((kmh.plausible_max_rate().unwrap() - 72.0).abs() < 1e-9);
        let feet = region(Channel::Altitude, Some(Unit::Feet));
        assert!((feet.plausible_range().unwrap().1 - 9000.0 / 0.3048).abs() < 1e-6);
    }

    #[test]
    fn voltage_needs_no_unit_and_a_speed_without_unit_has_no_usual_limit() {
        assert_eq!(region(Channel::Voltage, None).plausible_range(), Some((0.0, 60.0)));
        assert_eq!(region(Channel::Speed, None).plausible_range(), None);
        assert_eq!(region(Channel::Satellites, None).plausible_range(), Some((0.0, 60.0)));
        assert_eq!(region(Channel::Other("rssi".to_owned()), None).plausible_range(), None);
    }
}
