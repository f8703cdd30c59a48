//! Tests the air model against tables of the standard atmosphere and published density altitudes.
#![allow(clippy::unwrap_used, missing_docs)]

mod common;

use common::{Plan, fly};
use pairspeed::air::{Air, Datum, GivenAir, Pressure, SEA_LEVEL_KG_M3, ZERO_CELSIUS_K, at_sea_level, datum};
use pairspeed::model::channel::Channel;
use pairspeed::series::trust;

/// Metres in a foot (exact) and pascals in an inch of mercury (rounded); both NIST SP 811.
const FT_M: f64 = 0.3048;
const INHG_PA: f64 = 3386.389;

fn near(value: f64, expected: f64, tolerance: f64) {
    assert!((value - expected).abs() <= tolerance, "{value} instead of {expected}");
}

fn air_at(elevation_ft: f64, celsius: f64, setting_inhg: f64) -> Air {
    GivenAir {
        field_elevation_m: Some(elevation_ft * FT_M),
        temperature_k: Some(celsius + ZERO_CELSIUS_K),
        pressure: Some(Pressure::SeaLevel(setting_inhg * INHG_PA)),
        ..GivenAir::default()
    }
    .at_field(None)
    .unwrap()
}

#[test]
fn the_standard_atmosphere_is_that_of_the_tables() {
    // US Standard Atmosphere 1976 and ISO 2533, same up to 11 km; rows at geopotential height.
    let mut rows = 0;
    for line in include_str!("../fixtures/reference/isa.csv").lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        let number = |column: usize| cells[column].parse::<f64>().unwrap();
        let air = Air::standard(number(2)).unwrap();
        near(air.temperature_k, number(4), 1e-4);
        near(air.pressure_pa, number(6), 0.01);
        near(air.density_kg_m3(), number(7), 1e-6);
        near(air.density_ratio(), number(10), 1e-6);
        near(air.density_altitude_m(), number(2), 1e-6);
        near(air.pressure_altitude_m(), number(2), 1e-6);
        rows += 1;
    }
    assert!(rows >= 14);
    near(SEA_LEVEL_KG_M3, 1.225, 2e-6);
    assert_eq!(Air::standard(20_000.0), None);
    assert_eq!(Air::standard(f64::NAN), None);
}

#[test]
fn density_altitudes_are_those_of_the_handbooks_computed_exactly() {
    // FAA Pilot's Handbook of Aeronautical Knowledge, performance charts, sample problem 1: 5883 ft, 70 F,
    // 30.10 inHg: pressure altitude 5718 ft, density altitude about 7700 ft (exact for dry air 7709).
    let air = air_at(5883.0, (70.0 - 32.0) / 1.8, 30.10);
    near(air.pressure_altitude_m() / FT_M, 5718.0, 1.0);
    near(air.density_altitude_m() / FT_M, 7709.0, 2.0);
    near(air.density_ratio(), 0.79311, 1e-4);
    // The same book, figure 10-3: an altimeter setting of 29.7 inHg adds 205 ft at sea level.
    near(air_at(0.0, 15.0, 29.7).pressure_altitude_m() / FT_M, 205.0, 0.5);
    // Meteorology training page: pressure altitude 520 ft and 35 C; 2932 ft by the rule of 120 ft a degree,
    // 2907 ft exactly.
    near(air_at(520.0, 35.0, 101_325.0 / INHG_PA).density_altitude_m() / FT_M, 2907.0, 2.0);
    // Density-altitude tutorial: pressure altitude 5470 ft, 35 C; 9070 ft by the rule, 8895 ft exactly.
    near(air_at(5470.0, 35.0, 101_325.0 / INHG_PA).density_altitude_m() / FT_M, 8895.0, 2.0);
}

#[test]
fn missing_values_are_those_of_the_standard_atmosphere() {
    let standard = Air::standard(1200.0).unwrap();
    let elevation = GivenAir { field_elevation_m: Some(1200.0), ..GivenAir::default() };
    assert_eq!(elevation.at_field(None), Some(standard));
    assert_eq!(GivenAir::default().at_field(Some(1200.0)), Some(standard));
    assert_eq!(GivenAir::default().at_field(None), None);
    // With temperature and pressure at the field, no elevation is needed.
    let measured = GivenAir {
        temperature_k: Some(300.0),
        pressure: Some(Pressure::AtField(95_000.0)),
        ..GivenAir::default()
    };
    near(measured.at_field(None).unwrap().density_kg_m3(), 95_000.0 / (287.05307 * 300.0), 1e-6);
    let absurd = GivenAir { temperature_k: Some(-1.0), ..measured };
    assert_eq!(absurd.at_field(None), None);
}

#[test]
fn air_above_the_field_is_that_of_the_next_row_of_the_table() {
    let above = Air::standard(500.0).unwrap().above(500.0);
    near(above.pressure_pa, 89_874.6, 0.1);
    near(above.temperature_k, 281.65, 1e-9);
}

#[test]
fn equal_power_is_slower_in_the_thicker_air_of_sea_level() {
    // Common practice, no source: power is proportional to density times the cube of the speed.
    let ratio = Air::standard(1500.0).unwrap().density_ratio();
    let at_sea = at_sea_level(100.0, ratio);
    near(ratio * 100f64.powi(3), at_sea.powi(3), 1e-6);
    // Table: sigma 0.86373 at 1500 m.
    near(at_sea, 100.0 * 0.86373f64.cbrt(), 1e-3);
}

#[test]
fn the_reference_of_the_altitude_is_recognised_while_the_aircraft_stands() {
    let flight = fly(&Plan::default());
    let series = trust(flight.readings.clone());
    assert!(datum(&series, None).is_some_and(|found| found.datum == Datum::Field));
    let mut high = flight.readings.clone();
    for channel in high.channels.iter_mut().filter(|channel| channel.channel == Channel::Altitude) {
        channel.values.iter_mut().for_each(|altitude| *altitude += 1280.0);
    }
    let high = trust(high);
    let found = datum(&high, None).unwrap();
    assert_eq!(found.datum, Datum::SeaLevel);
    near(found.standing_m, 1280.0, 15.0);
    assert!(datum(&high, Some(1300.0)).is_some_and(|found| found.datum == Datum::SeaLevel));
    assert_eq!(datum(&high, Some(200.0)), None);
    let airborne = trust(fly(&Plan { whole_flight: false, ..Plan::default() }).readings);
    assert_eq!(datum(&airborne, None), None);
}
