//! The series in other units than the overlay's.

use std::sync::Arc;

use super::{ChannelReadings, Series};
use crate::model::channel::Channel;
use crate::model::units::{ResultUnits, Unit};

/// Decimals that a converted value keeps beyond those shown, so that neighbouring steps of the display stay distinct.
const EXTRA_DECIMALS: u8 = 2;

impl Series {
    /// The series with speeds and lengths in the wanted units. A channel whose own unit is not known stays as it
    /// is. A series that is in the wanted units already is shared instead of copied.
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

/// The wanted unit of a channel and the factor to it; `None` where nothing is to be converted.
fn conversion(channel: &ChannelReadings, wanted: &ResultUnits) -> Option<(Unit, f64)> {
    let shown = channel.unit?;
    let unit = wanted.of(shown).filter(|unit| *unit != shown)?;
    Some((unit, shown.convert(1.0, unit)?))
}

/// Converts a channel's readings and what belongs to them by a factor.
fn convert(channel: &mut ChannelReadings, unit: Unit, factor: f64) {
    channel.step = Some(channel.quantum() * factor);
    channel.decimals = channel.decimals.saturating_add(EXTRA_DECIMALS);
    channel.values.iter_mut().for_each(|value| *value *= factor);
    channel.range = channel.range.map(|(low, high)| (low * factor, high * factor));
    channel.max_rate = channel.max_rate.map(|rate| rate * factor);
    channel.unit = Some(unit);
}

impl ResultUnits {
    /// The wanted unit for values shown in `shown`; `None` where none is wanted for that quantity.
    #[must_use]
    pub fn of(&self, shown: Unit) -> Option<Unit> {
        [self.speed, self.length].into_iter().flatten().find(|unit| unit.quantity() == shown.quantity())
    }
}
