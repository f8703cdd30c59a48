//! The texts that the overlay shows after each of its updates.

use rand_chacha::ChaCha8Rng;

use crate::flight::{Fix, Sample, Truth};
use crate::random::{Purpose, Wander, normal, stream};
use crate::scenario::{AltitudeOver, Channel, Field, Scenario};

/// The texts of all fields after each update.
#[derive(Debug)]
pub(crate) struct OverlayTexts {
    update_hz: f64,
    /// One row for each update, with one text for each field.
    texts: Vec<Vec<String>>,
}

impl OverlayTexts {
    /// Computes the texts from the flight's values, as the overlay does.
    pub(crate) fn new(scenario: &Scenario, truth: &Truth) -> Self {
        let update_hz = scenario.overlay.update_hz;
        let updates = (truth.length_s() * update_hz).ceil() as usize;
        let mut random = stream(scenario.seed, Purpose::Readout);
        let mut tremble = Wander::new(scenario.flight.throttle_tremble_percent, 1.5);
        let launch_s = truth
            .samples
            .iter()
            .find(|sample| sample.ground_speed_mps > 0.0)
            .map_or(0.0, |sample| sample.time_s);
        let texts = (0..updates)
            .filter_map(|update| {
                let time_s = update as f64 / update_hz;
                let moment = Moment {
                    scenario,
                    sample: truth.sample_at(time_s)?,
                    fix: truth.fix_at(time_s)?,
                    launch_s,
                    voltage_noise_v: scenario.pack.noise_v * normal(&mut random),
                    throttle_tremble_percent: trembling(&mut tremble, 1.0 / update_hz, &mut random),
                };
                Some(scenario.overlay.fields.iter().map(|field| moment.text(field)).collect())
            })
            .collect();
        Self { update_hz, texts }
    }

    /// The texts shown at a time in seconds; empty for an empty flight.
    pub(crate) fn at(&self, time_s: f64) -> &[String] {
        let update = (time_s * self.update_hz + 1e-6).floor().max(0.0) as usize;
        self.texts.get(update).or(self.texts.last()).map_or(&[], Vec::as_slice)
    }
}

fn trembling(tremble: &mut Wander, step_s: f64, random: &mut ChaCha8Rng) -> f64 {
    tremble.step(step_s, random)
}

/// The state of the flight at one update.
struct Moment<'a> {
    scenario: &'a Scenario,
    sample: &'a Sample,
    fix: &'a Fix,
    launch_s: f64,
    voltage_noise_v: f64,
    throttle_tremble_percent: f64,
}

impl Moment<'_> {
    fn text(&self, field: &Field) -> String {
        if field.channel == Channel::Timer {
            return self.timer_text();
        }
        let (_, factor) = field.unit_and_factor();
        written(self.value(field) * factor, field)
    }

    /// The value of a field in SI units, percent, degrees or milliampere hours.
    fn value(&self, field: &Field) -> f64 {
        let voltage_v = self.sample.voltage_v + self.voltage_noise_v;
        match field.channel {
            Channel::Speed => self.fix.speed_mps,
            Channel::Voltage => voltage_v,
            Channel::CellVoltage => voltage_v / f64::from(self.scenario.pack.cells.max(1)),
            Channel::Altitude => match field.over {
                AltitudeOver::Sea => self.fix.height_m + self.scenario.flight.field_elevation_m,
                AltitudeOver::Field => self.fix.height_m,
            },
            Channel::Satellites => f64::from(self.fix.satellites),
            Channel::Throttle => self.throttle_percent(),
            Channel::Current => self.sample.current_a,
            Channel::Power => self.sample.current_a * voltage_v,
            Channel::Charge => self.sample.used_ah * 1000.0,
            Channel::Heading => self.fix.track_deg.round().rem_euclid(360.0),
            Channel::Timer => (self.sample.time_s - self.launch_s).max(0.0),
        }
    }

    fn throttle_percent(&self) -> f64 {
        if let Some(stuck) = self.scenario.flight.dead_throttle_percent {
            return stuck;
        }
        let throttle = self.sample.throttle_percent;
        let held = throttle > 0.0 && throttle < 100.0;
        (throttle + if held { self.throttle_tremble_percent } else { 0.0 }).clamp(0.0, 100.0)
    }

    fn timer_text(&self) -> String {
        let seconds = (self.sample.time_s - self.launch_s).max(0.0) as u64;
        format!("{:02}:{:02}", seconds / 60, seconds % 60)
    }
}

/// A value as the overlay writes it. A value that is too long for its box is replaced by minus signs.
fn written(value: f64, field: &Field) -> String {
    let decimals = field.decimals;
    let mut text = format!("{value:.decimals$}");
    if text.starts_with('-') && !text.contains(|c: char| ('1'..='9').contains(&c)) {
        text.remove(0);
    }
    if field.leading_zeros {
        text = format!("{:0>width$}", text, width = field.width);
    }
    if text.chars().count() > field.width { "-".repeat(field.width) } else { text }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn field(toml: &str) -> Field {
        let rest = "channel = \"speed\"\nposition = [0, 0]\nfont = \"block\"\nheight_px = 18\n";
        toml::from_str(&format!("{rest}{toml}")).unwrap()
    }

    #[test]
    fn values_are_written_with_their_decimals_and_zeros() {
        assert_eq!(written(23.456, &field("width = 5\ndecimals = 1")), "23.5");
        assert_eq!(written(7.0, &field("width = 3\nleading_zeros = true")), "007");
        assert_eq!(written(-0.2, &field("width = 3")), "0");
        assert_eq!(written(1234.0, &field("width = 3")), "---");
    }
}
