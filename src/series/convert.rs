//! The series in other units than the overlay's.

use super::{ChannelReadings, Series};
use crate::model::channel::Channel;
use crate::model::units::{ResultUnits, Unit};

/// Decimals that a converted value keeps beyond those shown, so that no step of the display is lost.
const FURTHER_DECIMALS: u8 = 2;

impl Series {
    /// The series with speeds and lengths in the wanted units. A channel whose own unit is not known stays
    /// as it is.
    #[must_use]
    pub fn in_units(mut self, wanted: &ResultUnits) -> Self {
        for channel in &mut self.readings.channels {
            let Some(factor) = converted(channel, wanted) else { continue };
            if channel.channel == Channel::Speed {
                self.speed_smooth.iter_mut().for_each(|speed| *speed *= factor);
            }
        }
        self
    }
}

/// Converts a channel's readings and gives the factor; `None` where nothing is to be converted.
fn converted(channel: &mut ChannelReadings, wanted: &ResultUnits) -> Option<f64> {
    let shown = channel.unit?;
    let unit = wanted.of(shown).filter(|unit| *unit != shown)?;
    let factor = shown.convert(1.0, unit)?;
    channel.step = Some(channel.quantum() * factor);
    channel.decimals = channel.decimals.saturating_add(FURTHER_DECIMALS);
    channel.values.iter_mut().for_each(|value| *value *= factor);
    channel.range = channel.range.map(|(low, high)| (low * factor, high * factor));
    channel.max_rate = channel.max_rate.map(|rate| rate * factor);
    channel.unit = Some(unit);
    Some(factor)
}

impl ResultUnits {
    /// The wanted unit for values shown in `shown`, if one is wanted for that quantity.
    #[must_use]
    pub fn of(&self, shown: Unit) -> Option<Unit> {
        [self.speed, self.length].into_iter().flatten().find(|unit| unit.quantity() == shown.quantity())
    }
}
