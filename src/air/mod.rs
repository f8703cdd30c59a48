//! The standard atmosphere, density altitude, and the airspeed at sea-level density.
//!
//! Constants and formulas are those of the standard atmosphere up to 11 km (ISO 2533:1975, identical to the US
//! Standard Atmosphere 1976 there). The air is assumed to be dry. At 30 degrees Celsius and full humidity real air is
//! about 1.6 % thinner, which is 0.5 % of an airspeed converted to sea level.

mod datum;
mod flight;

pub use datum::{Datum, RecognisedDatum, datum};
pub use flight::{FlightAir, of_flight};

use serde::Serialize;

/// Standard temperature at sea level, in kelvin.
pub const SEA_LEVEL_K: f64 = 288.15;

/// Standard pressure at sea level, in pascal.
pub const SEA_LEVEL_PA: f64 = 101_325.0;

/// Density at sea level of the standard atmosphere, in kg/m^3: `p0 / (R T0)`.
pub const SEA_LEVEL_KG_M3: f64 = SEA_LEVEL_PA / (GAS_CONSTANT * SEA_LEVEL_K);

/// Decrease of temperature with geopotential height, in K/m.
const LAPSE_K_M: f64 = 0.0065;

/// Specific gas constant of dry air, in J/(kg K): 8314.32 / 28.9644.
const GAS_CONSTANT: f64 = 8314.32 / 28.9644;

/// Exponent of the temperature ratio that gives the pressure ratio: `g / (R lapse)`.
const EXPONENT: f64 = 9.806_65 / (GAS_CONSTANT * LAPSE_K_M);

/// Heights for which the formulas hold, in metres above sea level: from below the lowest land up to the
/// tropopause.
const HEIGHTS_M: std::ops::RangeInclusive<f64> = -610.0..=11_000.0;

/// The zero of the Celsius scale, in kelvin.
pub const ZERO_CELSIUS_K: f64 = 273.15;

/// The state of the air.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Air {
    /// Temperature in kelvin.
    pub temperature_k: f64,
    /// Pressure in pascal.
    pub pressure_pa: f64,
}

impl Air {
    /// The standard atmosphere at a geopotential height above sea level, in metres; `None` outside -610
    /// to 11 000 m. Geometric height differs by 2 m at 3500 m.
    #[must_use]
    pub fn standard(height_m: f64) -> Option<Self> {
        let temperature_k = SEA_LEVEL_K - LAPSE_K_M * height_m;
        let pressure_pa = SEA_LEVEL_PA * (temperature_k / SEA_LEVEL_K).powf(EXPONENT);
        HEIGHTS_M.contains(&height_m).then_some(Self { temperature_k, pressure_pa })
    }

    /// Density of dry air, in kg/m^3: `p / (R T)`.
    #[must_use]
    pub fn density_kg_m3(&self) -> f64 {
        self.pressure_pa / (GAS_CONSTANT * self.temperature_k)
    }

    /// Density relative to that of the standard atmosphere at sea level.
    #[must_use]
    pub fn density_ratio(&self) -> f64 {
        self.density_kg_m3() / SEA_LEVEL_KG_M3
    }

    /// The height above sea level at which the standard atmosphere has this pressure, in metres.
    #[must_use]
    pub fn pressure_altitude_m(&self) -> f64 {
        let ratio = self.pressure_pa / SEA_LEVEL_PA;
        SEA_LEVEL_K / LAPSE_K_M * (1.0 - ratio.powf(1.0 / EXPONENT))
    }

    /// The height above sea level at which the standard atmosphere has this density, in metres. The density
    /// ratio is the temperature ratio to the power of `g / (R lapse) - 1`.
    #[must_use]
    pub fn density_altitude_m(&self) -> f64 {
        SEA_LEVEL_K / LAPSE_K_M * (1.0 - self.density_ratio().powf(1.0 / (EXPONENT - 1.0)))
    }
}

/// The air at the field as the pilot gives it; missing values are taken from the standard atmosphere.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct GivenAir {
    /// Elevation of the field above sea level, in metres; `None` if not given.
    pub field_elevation_m: Option<f64>,
    /// Temperature at the field, in kelvin; `None` if not given.
    pub temperature_k: Option<f64>,
    /// Pressure at the field or reduced to sea level, in pascal; `None` if not given.
    pub pressure: Option<Pressure>,
    /// What the shown altitude is measured from; recognised from the recording if it is not given.
    pub datum: Option<Datum>,
}

/// A pressure that the pilot gives, in pascal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Pressure {
    /// The pressure that a barometer at the field shows.
    AtField(f64),
    /// The pressure reduced to sea level in the standard atmosphere (altimeter setting, QNH), as in weather
    /// forecasts.
    SeaLevel(f64),
}

/// Plausible pressures reduced to sea level, in pascal (set by judgement).
const SEA_LEVEL_RANGE_PA: std::ops::RangeInclusive<f64> = 87_000.0..=108_500.0;

impl GivenAir {
    /// The air at the field. A missing pressure or temperature is taken from the standard atmosphere at the
    /// field's elevation. `None` if that elevation is needed but not known.
    #[must_use]
    pub fn at_field(&self, field_elevation_m: Option<f64>) -> Option<Air> {
        let elevation_m = self.field_elevation_m.or(field_elevation_m);
        let standard = || elevation_m.and_then(Air::standard);
        let temperature_k = self.temperature_k.or_else(|| standard().map(|air| air.temperature_k))?;
        let pressure_pa = match self.pressure {
            Some(Pressure::AtField(pressure_pa)) => pressure_pa,
            Some(Pressure::SeaLevel(setting_pa)) => at_height(setting_pa, elevation_m?)?,
            None => standard()?.pressure_pa,
        };
        let sound = temperature_k > 0.0 && pressure_pa > 0.0 && (temperature_k * pressure_pa).is_finite();
        sound.then_some(Air { temperature_k, pressure_pa })
    }
}

impl Air {
    /// The air at a height in metres above this air: colder by the standard lapse rate, at the hydrostatic pressure
    /// `p (T / T_field)^(g / (R lapse))`.
    #[must_use]
    pub fn above(&self, height_m: f64) -> Self {
        let temperature_k = (self.temperature_k - LAPSE_K_M * height_m).max(1.0);
        let pressure_pa = self.pressure_pa * (temperature_k / self.temperature_k).powf(EXPONENT);
        Self { temperature_k, pressure_pa }
    }
}

/// Pressure at an elevation in metres for an altimeter setting, in pascal. An altimeter is a barometer with
/// the scale of the standard atmosphere, so the setting shifts the elevation. `None` if the setting is
/// implausible, or the elevation lies outside the standard atmosphere.
fn at_height(setting_pa: f64, elevation_m: f64) -> Option<f64> {
    let shift_m = Air { temperature_k: SEA_LEVEL_K, pressure_pa: setting_pa }.pressure_altitude_m();
    let believable = SEA_LEVEL_RANGE_PA.contains(&setting_pa);
    Air::standard(elevation_m + shift_m).filter(|_| believable).map(|air| air.pressure_pa)
}

/// The airspeed that the same power gives at sea-level density: `V (rho / rho0)^(1/3)`.
///
/// In fast level flight, where induced drag is small, the power is proportional to `rho V^3`. Equal power at the
/// propeller then means equal `rho V^3` (common practice, no source). The formula ignores that motor and propeller
/// absorb less power in thinner air.
#[must_use]
pub fn at_sea_level(airspeed: f64, density_ratio: f64) -> f64 {
    airspeed * density_ratio.cbrt()
}
