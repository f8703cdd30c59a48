//! Writes simulated flights as input for other programs that find legs: `leg_series FOLDER [FLIGHTS]`.
//!
//! `speeds.csv` has the speed at each overlay update (`flight,time_s,speed`). `legs.csv` has the legs as
//! flown and as found by this program (`flight,who,start_s,end_s`; `who` is `true` or `found`).
#![allow(missing_docs)]

#[path = "../tests/common/flights.rs"]
#[allow(dead_code, unused_imports)]
mod flights;

use std::error::Error;
use std::path::PathBuf;

use flights::{Plan, fly};
use pairspeed::legs::{LegOptions, find};
use pairspeed::model::channel::Channel;
use pairspeed::series::trust;

/// Minimum and maximum wind in m/s, and lengths of the legs in seconds.
const CONDITIONS: [(f64, f64, (f64, f64)); 4] =
    [(0.5, 0.2, (9.0, 12.0)), (2.0, 0.4, (9.0, 12.0)), (4.0, 0.7, (9.0, 12.0)), (4.0, 0.7, (16.0, 22.0))];

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let folder = PathBuf::from(arguments.next().ok_or("usage: leg_series FOLDER [FLIGHTS]")?);
    let count = arguments.next().map_or(Ok(40), |count| count.parse())?;
    let mut speeds = csv::Writer::from_path(folder.join("speeds.csv"))?;
    let mut legs = csv::Writer::from_path(folder.join("legs.csv"))?;
    speeds.write_record(["flight", "time_s", "speed"])?;
    legs.write_record(["flight", "who", "start_s", "end_s"])?;
    for seed in 0..count {
        let (wind, gust, leg_s) = CONDITIONS[seed as usize % CONDITIONS.len()];
        let flight = fly(&Plan { seed, wind, gust, leg_s, ..Plan::default() });
        let series = trust(flight.readings.clone());
        let updates = series.updates(&Channel::Speed);
        for (time_s, speed) in updates.time_s.iter().zip(&updates.values) {
            speeds.write_record([seed.to_string(), format!("{time_s:.3}"), speed.to_string()])?;
        }
        let mut write = |who: &str, start_s: f64, end_s: f64| {
            legs.write_record([
                seed.to_string(),
                who.to_owned(),
                format!("{start_s:.3}"),
                format!("{end_s:.3}"),
            ])
        };
        for leg in &flight.legs {
            write("true", leg.start_s, leg.end_s)?;
        }
        for leg in find(&series, &LegOptions::default())?.legs {
            write("found", leg.start_s, leg.end_s)?;
        }
    }
    speeds.flush()?;
    legs.flush()?;
    Ok(())
}
