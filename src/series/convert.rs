//! Converts the series to units other than those of the overlay.

use std::sync::Arc;

use super::{ChannelReadings, Series};
use crate::model::channel::Channel;
use crate::model::units::{ResultUnits, Unit};

/// Number of decimals that a converted value gets in addition to those of the readout, so that neighbouring values of
/// the readout stay distinct.
const EXTRA_DECIMALS: u8 = 2;

impl Series {
    /// Converts speeds and lengths to the wanted units. A channel without a known unit stays as it is. A
    /// series that already has the wanted units is shared instead of copied.
    #[must_use]
    pub fn in_units(mut self: Arc<Self>, wanted: &ResultUnits) -> Arc<Self> {
        for index in 0..self.readings.channels.len() {
            let Some((unit, factor)) = conversion(&self.readings.channels[index], wanted) else { continue };
            let series = Arc::make_mut(&mut self);
            let channel = &mut series.readings.channels[index];
            convert(channel, unit, factor);
            if channel.channel == Channel::Speed {
                series.speed_smooth.iter_mut().for_each(|speed| *speed *= factor);
            }
        }
        self
    }
}

/// The wanted unit of a channel and the factor to multiply its values by; `None` if the channel needs no
/// conversion.
fn conversion(channel: &ChannelReadings, wanted: &ResultUnits) -> Option<(Unit, f64)> {
    let shown = channel.unit?;
    let unit = wanted.of(shown).filter(|unit| *unit != shown)?;
    Some((unit, shown.convert(1.0, unit)?))
}

/// Converts a channel's values, display step, range and largest rate to another unit by multiplying them by a
/// factor.
fn convert(channel: &mut ChannelReadings, unit: Unit, factor: f64) {
    channel.step = Some(channel.quantum() * factor);
    channel.decimals = channel.decimals.saturating_add(EXTRA_DECIMALS);
    channel.values.iter_mut().for_each(|value| *value *= factor);
    channel.range = channel.range.map(|(low, high)| (low * factor, high * factor));
    channel.max_rate = channel.max_rate.map(|rate| rate * factor);
    channel.unit = Some(unit);
}

impl ResultUnits {
    /// The wanted unit for values that the overlay shows in the unit `shown`; `None` if no unit is wanted for
    /// that quantity.
    #[must_use]
    pub fn of(&self, shown: Unit) -> Option<Unit> {
        [self.speed, self.length].into_iter().flatten().find(|unit| unit.quantity() == shown.quantity())
    }
}
