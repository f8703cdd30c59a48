//! Propeller and motor: pitch speed, advance ratio, slip, and revolutions without load.

/// Metres in an inch, exact (NIST SP 811, Appendix B).
pub const METRES_PER_INCH: f64 = 0.0254;

/// Revolutions a minute of a motor without load: `K_v U`, with `kv_rpm_per_v` in revolutions a minute per volt. Under
/// load a motor turns slower.
#[must_use]
pub fn no_load_rpm(kv_rpm_per_v: f64, voltage_v: f64) -> f64 {
    kv_rpm_per_v * voltage_v
}

/// Pitch speed in m/s: revolutions a second times pitch. It is the speed of a propeller that advances like a
/// screw in a nut. `pitch_in` is in inches.
#[must_use]
pub fn pitch_speed_mps(rpm: f64, pitch_in: f64) -> f64 {
    rpm / 60.0 * pitch_in * METRES_PER_INCH
}

/// Advance ratio `J = V / (n D)` with the revolutions a second `n` and the diameter `D`; `diameter_in` is in
/// inches.
#[must_use]
pub fn advance_ratio(airspeed_mps: f64, rpm: f64, diameter_in: f64) -> f64 {
    airspeed_mps / (rpm / 60.0 * diameter_in * METRES_PER_INCH)
}

/// Efficiency of a propeller: `J C_T / C_P`.
#[must_use]
pub fn efficiency(advance_ratio: f64, thrust_coefficient: f64, power_coefficient: f64) -> f64 {
    advance_ratio * thrust_coefficient / power_coefficient
}

/// Slip: how far the airspeed is below the pitch speed, as a share of the pitch speed: `1 - V / V_pitch`,
/// which equals `1 - J / (P / D)`. It can be negative, since thrust does not end exactly at the nominal pitch
/// of a propeller.
#[must_use]
pub fn slip(airspeed_mps: f64, pitch_speed_mps: f64) -> f64 {
    1.0 - airspeed_mps / pitch_speed_mps
}
