use std::sync::Arc;

use super::sample::{blank_flight, flight_without_units, pair, small_flight, triangle_flight};
use crate::flight::Flight;
use crate::legs::Flag;
use crate::output::{RenderError, legs_csv, pairs_csv, patterns_csv, series_csv};

fn series_bytes(flight: &Flight) -> Result<Vec<u8>, RenderError> {
    let mut bytes = Vec::new();
    series_csv(flight, &mut bytes)?;
    Ok(bytes)
}

fn text(serializer: fn(&Flight) -> Result<Vec<u8>, RenderError>, flight: &Flight) -> String {
    String::from_utf8(serializer(flight).unwrap()).unwrap().replace("\r\n", "\n")
}

/// The fields of each record as a strict parser reads them, the header first.
fn records(bytes: &[u8]) -> Vec<Vec<String>> {
    let mut reader = csv::ReaderBuilder::new().has_headers(false).flexible(false).from_reader(bytes);
    reader.records().map(|record| record.unwrap().iter().map(str::to_owned).collect()).collect()
}

#[test]
fn series_has_a_row_for_each_frame_and_an_empty_cell_for_each_blank() {
    assert_eq!(
        text(series_bytes, &small_flight()),
        "\
frame,time_s,speed_kmh,speed_confidence,voltage_v,voltage_confidence,speed_smooth_kmh
0,0.000000,60,0.9877,23.1,0.5000,60.12
1,0.033367,,,23.0,1.0000,
2,0.066733,74,0.9999,,,73.99
"
    );
}

#[test]
fn the_legs_file_has_kind_and_times_and_can_be_read_again() {
    assert_eq!(
        text(legs_csv, &small_flight()),
        "\
leg,start_s,end_s,kind,throttle_percent,median_kmh,spread_kmh,samples,uncertainty_kmh,voltage_v,altitude,satellites,flags
1,0.000000,0.020000,upwind,60,60.00,1.48,50,0.457,23.10,,14.0,\"short; gusty, see the plot\"
2,0.040000,0.066733,downwind,60,74.00,1.48,50,0.457,23.10,,14.0,
"
    );
}

#[test]
fn a_leg_read_again_covers_the_steady_middle_only() {
    let mut flight = small_flight();
    flight.legs[0].start_s = -4.0;
    flight.legs[0].end_s = 9.0;
    let legs = records(&legs_csv(&flight).unwrap());
    assert_eq!(legs[1][1..3], ["0.000000", "0.020000"]);
}

#[test]
fn pairs_give_the_airspeed_with_its_interval() {
    // Ground speeds of 60 and 74 give an airspeed of 67 in any unit: common practice, no source.
    assert_eq!(
        text(pairs_csv, &small_flight()),
        "\
pair,throttle_percent,upwind_kmh,downwind_kmh,airspeed_kmh,airspeed_low_kmh,airspeed_high_kmh,wind_kmh,voltage_v,altitude,flags
1,60,60.00,74.00,67.00,65.97,68.03,7.00,23.10,,
"
    );
}

#[test]
fn patterns_give_the_airspeed_and_the_wind_with_its_direction() {
    assert_eq!(
        text(patterns_csv, &triangle_flight()),
        "\
pattern,throttle_percent,legs,heading_reference,airspeed_kmh,airspeed_low_kmh,airspeed_high_kmh,wind_kmh,wind_from_deg,voltage_v,altitude,flags
1,100,1 2 3,track,100.00,98.50,101.50,30.00,45,22.40,,the legs disagree
"
    );
    assert_eq!(records(&patterns_csv(&blank_flight()).unwrap()).len(), 1);
}

#[test]
fn without_units_the_columns_have_no_suffix_and_without_throttle_the_steps_are_numbered() {
    let flight = flight_without_units();
    assert_eq!(
        text(pairs_csv, &flight),
        "\
pair,throttle_percent,upwind,downwind,airspeed,airspeed_low,airspeed_high,wind,voltage_v,altitude,flags,step
1,,60.00,74.00,67.00,65.97,68.03,7.00,23.10,,,1
"
    );
    let legs = text(legs_csv, &flight);
    assert!(legs.starts_with("leg,start_s,end_s,kind,throttle_percent,median,spread,samples,"), "{legs}");
    let series = text(series_bytes, &flight);
    assert!(series.starts_with("frame,time_s,speed,speed_confidence,voltage,"), "{series}");
}

#[test]
fn lines_end_as_rfc_4180_rule_1_asks() {
    let bytes = series_bytes(&small_flight()).unwrap();
    let line_ends = bytes.iter().filter(|byte| **byte == b'\n').count();
    assert_eq!(bytes.windows(2).filter(|two| two == b"\r\n").count(), line_ends);
    assert!(bytes.ends_with(b"\r\n"));
}

#[test]
fn a_flag_with_quotes_commas_and_line_ends_comes_back_as_it_was() {
    let mut flight = small_flight();
    let flag = "said \"too fast\", then\r\nturned, <&";
    flight.pairs[0].flags = vec![Flag(flag.into())];
    let records = records(&pairs_csv(&flight).unwrap());
    assert_eq!(records[1][10], flag);
}

#[test]
fn a_blank_flight_gives_tables_without_numbers_but_with_every_frame() {
    let flight = blank_flight();
    let series = records(&series_bytes(&flight).unwrap());
    assert_eq!(series.len(), 1 + 3);
    assert!(series[1..].iter().all(|row| row[2..].iter().all(String::is_empty)), "{series:?}");
    assert_eq!(records(&legs_csv(&flight).unwrap()).len(), 1);
    assert_eq!(records(&pairs_csv(&flight).unwrap()).len(), 1);
}

#[test]
fn numbers_that_are_nan_leave_empty_cells() {
    let mut flight = small_flight();
    flight.pairs[0].airspeed.low = f64::NAN;
    flight.pairs[0].airspeed.high = f64::INFINITY;
    flight.pairs[0].wind = -0.001;
    Arc::make_mut(&mut flight.series).readings.channels[0].values[0] = f64::NEG_INFINITY;
    let pairs = records(&pairs_csv(&flight).unwrap());
    assert_eq!(pairs[1][4..8], ["67.00", "", "", "0.00"]);
    let series = records(&series_bytes(&flight).unwrap());
    assert_eq!(series[1][2..4], ["", ""]);
}

#[test]
fn a_huge_number_reads_back_as_itself() {
    let mut flight = small_flight();
    flight.pairs = vec![pair(1, 1, Some(62.5), 1e300, 1e300)];
    let pairs = records(&pairs_csv(&flight).unwrap());
    assert_eq!(pairs[1][1], "62.5");
    assert_eq!(pairs[1][2].parse::<f64>().unwrap(), 1e300);
}

#[test]
fn vectors_cut_short_leave_cells_empty() {
    let mut flight = small_flight();
    Arc::make_mut(&mut flight.series).readings.channels[0].values.truncate(1);
    Arc::make_mut(&mut flight.series).readings.channels[1].confidence.clear();
    Arc::make_mut(&mut flight.series).readings.channels[1].blank.clear();
    Arc::make_mut(&mut flight.series).speed_smooth.clear();
    let series = records(&series_bytes(&flight).unwrap());
    assert_eq!(series[3], ["2", "0.066733", "", "", "", "", ""]);
    assert_eq!(series[2], ["1", "0.033367", "", "", "23.0", "0.0000", ""]);
}
