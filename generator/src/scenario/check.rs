//! All checks of a scenario's values.

use std::ops::RangeInclusive;

use super::{Curve, Scenario};
use crate::error::Error;

/// Maximum length of a flight, in seconds. It limits the memory that the generator needs for a scenario (set by
/// judgement).
const MAX_FLIGHT_S: f64 = 7200.0;

impl Scenario {
    /// Checks every value against its range.
    pub(super) fn check(&self) -> Result<(), Error> {
        self.check_name()?;
        self.check_flight()?;
        self.check_video()?;
        self.check_degradation()?;
        self.check_overlay()
    }

    fn check_name(&self) -> Result<(), Error> {
        let plain = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
        if self.name.is_empty() || !self.name.chars().all(plain) {
            return Err(Error::value(
                "name",
                &self.name,
                "letters, digits, - and _, since it is used in file names",
            ));
        }
        Ok(())
    }

    fn check_flight(&self) -> Result<(), Error> {
        let plan = &self.flight;
        curve("airframe.airspeed_mps", &self.airframe.airspeed_mps)?;
        curve("pack.current_a", &self.pack.current_a)?;
        for &throttle in &plan.throttle_percent {
            within("flight.throttle_percent", throttle, 0.0..=100.0)?;
            let airspeed = self.airframe.airspeed_mps.at(throttle);
            let key = format!("airframe.airspeed_mps at {throttle} % throttle");
            within(&key, airspeed, self.wind.speed_mps.abs() * 1.5 + 3.0..=300.0)?;
        }
        within("airframe.response_s", self.airframe.response_s, 0.1..=20.0)?;
        within("airframe.turn_loss", self.airframe.turn_loss, 0.0..=0.6)?;
        within("airframe.voltage_exponent", self.airframe.voltage_exponent, 0.0..=3.0)?;
        within("wind.speed_mps", self.wind.speed_mps, 0.0..=40.0)?;
        within("wind.gusts", self.wind.gusts, 0.0..=5.0)?;
        within("flight.leg_s", plan.leg_s, 1.0..=600.0)?;
        within("flight.leg_spread_s", plan.leg_spread_s, 0.0..=plan.leg_s / 2.0)?;
        within("flight.turn_s", plan.turn_s, 0.5..=60.0)?;
        within("flight.leg_height_m", plan.leg_height_m, 3.0..=1000.0)?;
        for (key, seconds) in [
            ("flight.before_launch_s", plan.before_launch_s),
            ("flight.climb_s", plan.climb_s),
            ("flight.landing_s", plan.landing_s),
            ("flight.after_landing_s", plan.after_landing_s),
        ] {
            within(key, seconds, 0.0..=600.0)?;
        }
        let legs = plan.throttle_percent.len() * plan.legs_per_step;
        let longest = legs as f64 * (plan.leg_s + plan.leg_spread_s + plan.turn_s);
        within("the total length of all legs in seconds", longest, 0.0..=MAX_FLIGHT_S)?;
        within("pack.capacity_ah", self.pack.capacity_ah, 0.05..=200.0)?;
        within("receiver.update_hz", self.receiver.update_hz, 0.2..=50.0)?;
        within("receiver.lag_s", self.receiver.lag_s, 0.0..=5.0)
    }

    fn check_video(&self) -> Result<(), Error> {
        let video = &self.video;
        for (key, length) in [("video.width", video.width), ("video.height", video.height)] {
            within(key, length as f64, 64.0..=4096.0)?;
            if length % 2 != 0 {
                return Err(Error::value(key, length, "even"));
            }
        }
        if video.frame_rate.fraction().is_none() {
            let actual = format!("{:?}", video.frame_rate);
            return Err(Error::value(
                "video.frame_rate",
                actual,
                "a number or a fraction such as \"30000/1001\", from 1 to 240",
            ));
        }
        within("video.quality", f64::from(video.quality), 0.0..=51.0)?;
        within("video.dropped", video.dropped, 0.0..=0.9)?;
        within("video.stamp_wobble_s", video.stamp_wobble_s, 0.0..=0.01)?;
        within("video.split_gap_s", video.split_gap_s, 0.0..=60.0)?;
        if !video.split_at_s.windows(2).all(|pair| pair[0] < pair[1]) {
            return Err(Error::value(
                "video.split_at_s",
                format!("{:?}", video.split_at_s),
                "in rising order",
            ));
        }
        Ok(())
    }

    fn check_degradation(&self) -> Result<(), Error> {
        let degradation = &self.degradation;
        for (key, value, most) in [
            ("noise", degradation.noise, 128.0),
            ("blur_px", degradation.blur_px, 10.0),
            ("line_shift_px", degradation.line_shift_px, 20.0),
            ("gain_flutter", degradation.gain_flutter, 1.0),
            ("flatten", degradation.flatten, 1.0),
            ("overlay_drift_px", degradation.overlay_drift_px, 20.0),
            ("camera_blur_px", degradation.camera_blur_px, 10.0),
            ("echo.delay_px", degradation.echo.map_or(0.0, |echo| echo.delay_px), 60.0),
        ] {
            within(&format!("degradation.{key}"), f64::from(value), 0.0..=most)?;
        }
        Ok(())
    }

    fn check_overlay(&self) -> Result<(), Error> {
        within("overlay.update_hz", self.overlay.update_hz, 0.5..=60.0)?;
        for field in &self.overlay.fields {
            let key = |name: &str| format!("overlay.field ({}) {name}", field.channel.name());
            within(&key("height_px"), f64::from(field.height_px), 5.0..=200.0)?;
            within(&key("stretch"), f64::from(field.stretch), 0.3..=3.0)?;
            within(&key("letter_spacing_px"), f64::from(field.letter_spacing_px), -50.0..=50.0)?;
            within(&key("shade"), f64::from(field.shade), 0.0..=1.0)?;
            within(&key("edge_px"), f64::from(field.edge_px.unwrap_or(0.0)), 0.0..=20.0)?;
            within(&key("width"), field.width as f64, 1.0..=12.0)?;
            within(&key("decimals"), field.decimals as f64, 0.0..=4.0)?;
            within(&key("position"), f64::from(field.position[0]), 0.0..=self.video.width as f64)?;
            within(&key("position"), f64::from(field.position[1]), 0.0..=self.video.height as f64)?;
            if let Some(unit) = &field.unit {
                let known: Vec<&str> = field.channel.units().iter().map(|(name, _)| *name).collect();
                if !known.contains(&unit.as_str()) {
                    return Err(Error::value(key("unit"), unit, format!("one of {}", known.join(", "))));
                }
            }
        }
        Ok(())
    }
}

fn within(key: &str, value: f64, range: RangeInclusive<f64>) -> Result<(), Error> {
    if range.contains(&value) {
        return Ok(());
    }
    Err(Error::value(key, value, format!("from {} to {}", range.start(), range.end())))
}

fn curve(key: &str, curve: &Curve) -> Result<(), Error> {
    if curve.is_sound() {
        return Ok(());
    }
    Err(Error::value(key, format!("{:?}", curve.0), "points [x, y] with increasing x"))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use crate::scenario::Scenario;

    const PLAIN: &str = "name = \"plain\"\n[airframe]\nairspeed_mps = [[50, 20], [100, 40]]\n\
        [flight]\nthrottle_percent = [50, 100]\n[overlay]\nfield = []\n";

    #[test]
    fn a_scenario_needs_only_an_airframe_a_plan_and_an_overlay() {
        let scenario = Scenario::from_toml(PLAIN).unwrap();
        assert_eq!((scenario.video.width, scenario.flight.legs_per_step), (640, 2));
    }

    #[test]
    fn an_unknown_key_is_refused() {
        let message = Scenario::from_toml(&format!("{PLAIN}sise = 3\n")).unwrap_err().to_string();
        assert!(message.contains("sise"), "{message}");
    }

    #[test]
    fn a_value_out_of_range_is_named_with_its_range() {
        let message = Scenario::from_toml(&format!("{PLAIN}[video]\nwidth = 65\n")).unwrap_err().to_string();
        assert_eq!(message, "scenario: video.width is 65, but must be even");
        let message =
            Scenario::from_toml(&format!("{PLAIN}[wind]\nspeed_mps = 50\n")).unwrap_err().to_string();
        assert!(message.contains("must be from"), "{message}");
    }
}
