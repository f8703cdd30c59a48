//! What values a channel can plausibly take where the setup does not say.
//!
//! Common practice, no source: the limits are wide on purpose. A limit that is too wide lets a
//! misreading through to the later checks, one that is too narrow blanks honest values.

use super::Region;
use crate::model::channel::Channel;
use crate::model::units::{Quantity, Unit};

/// Limits in the SI unit of the channel's quantity (see [`Quantity`]).
struct Limits {
    range: (f64, f64),
    max_rate: Option<f64>,
}

/// Fastest model aircraft on battery power and propeller, with wind from behind: 450 km/h. The rate is
/// about two g along the flight path: a catapult launch or a dive.
const SPEED: Limits = Limits { range: (0.0, 125.0), max_rate: Some(20.0) };
/// A pack of 14 cells, full, is 58.8 V. A sag under full throttle takes a few volts within a tenth
/// of a second.
const VOLTAGE: Limits = Limits { range: (0.0, 60.0), max_rate: Some(40.0) };
/// Below the lowest and above the highest land; the rate is that of a steep dive.
const ALTITUDE: Limits = Limits { range: (-500.0, 9000.0), max_rate: Some(60.0) };
/// The throttle stick may go from one end to the other between two frames.
const THROTTLE: Limits = Limits { range: (0.0, 100.0), max_rate: None };
/// Sensors rest slightly below nought; current follows the throttle at once.
const CURRENT: Limits = Limits { range: (-20.0, 500.0), max_rate: None };
/// A course wraps around at north.
const HEADING: Limits = Limits { range: (0.0, 360.0), max_rate: None };
/// Small motors on small propellers.
const RPM: Limits = Limits { range: (0.0, 100_000.0), max_rate: None };
/// All systems together; when reception is lost the count falls to nought at once.
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

/// How many SI units one of the region's units is; `None` where the unit is needed and not known.
fn si_per_unit(region: &Region) -> Option<f64> {
    match (region.unit_shown(), region.channel.quantity()) {
        (Some(unit), Some(quantity)) if unit.quantity() == quantity => Some(unit.si_per_unit()),
        (_, None) => Some(1.0),
        _ => None,
    }
}

impl Region {
    /// The unit of the values shown: the one told, else the one usual for the channel.
    #[must_use]
    pub fn unit_shown(&self) -> Option<Unit> {
        self.unit.or_else(|| self.channel.usual_unit())
    }

    /// Lowest and highest plausible value, in the region's unit: `range` where it is told, else a
    /// wide limit for the channel (0 to 450 km/h, 0 to 60 V, -500 to 9000 m and so on; common
    /// practice, no source). `None`: any value, for a channel or unit that is not known.
    #[must_use]
    pub fn plausible_range(&self) -> Option<(f64, f64)> {
        self.range.or_else(|| {
            let (low, high) = limits(&self.channel)?.range;
            let scale = si_per_unit(self)?;
            Some((low / scale, high / scale))
        })
    }

    /// Fastest plausible change, in the region's unit per second: `max_rate` where it is told,
    /// else a wide limit for the channel (speed 20 m/s, voltage 40 V, altitude 60 m, each per
    /// second; common practice, no source). `None`: no limit.
    #[must_use]
    pub fn plausible_max_rate(&self) -> Option<f64> {
        self.max_rate.or_else(|| Some(limits(&self.channel)?.max_rate? / si_per_unit(self)?))
    }
}

/// Symbols of the units that measure `quantity`, for messages.
pub(super) fn units_of(quantity: Quantity) -> String {
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
    fn a_limit_that_is_told_is_taken() {
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
