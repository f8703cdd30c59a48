//! `plan`: the test card of the next flight.

use std::path::PathBuf;

use clap::Args;
use pairspeed::model::units::Unit;
use pairspeed::output::{test_card_html, test_card_json, test_card_text};
use pairspeed::plan::{Pack, PlanRequest, plan, usual_half_width};
use pairspeed::summary::{load_flight, summary_file};

use super::Failure;
use super::numbers::{number, positive};
use super::page::{CommandOutput, PageArguments};
use super::quantity::{named_speed_unit, optional, quantity, speed_unit};
use crate::wording;

/// Plan the next flight: a test card with the throttle steps, their number, length and order
///
/// Give the uncertainty you want (--within) and what is known about the day, or an earlier result with
/// --from. The card shows how many pairs of legs each step needs, how many seconds to fly straight, and
/// the interval to expect. The order keeps a falling pack voltage from looking like an effect of
/// throttle. Speeds and lengths may have a unit, such as "8 mph" or "900 ft".
///
///   pairspeed plan --top-speed "85 mph" --wind "8 mph" --within "1.5 mph" --out card.html
///   pairspeed plan --from flight-result --course "300 m" --minutes 6
#[derive(Debug, Args)]
#[command(verbatim_doc_comment)]
pub struct PlanArguments {
    /// Result folder of an earlier flight, for the speeds, wind and gusts that are not given
    #[arg(long, value_name = "RESULT")]
    from: Option<PathBuf>,
    /// Throttle steps in per cent
    #[arg(long, value_name = "PERCENT,...", value_delimiter = ',', value_parser = number, allow_negative_numbers = true, default_value = "50,60,70,80,90,100")]
    steps: Vec<f64>,
    /// Half the width of the 95 % interval that each airspeed should have. Default: 1 mph, 2 km/h, 1 kn or
    /// 0.5 m/s
    #[arg(long, value_name = "SPEED", allow_hyphen_values = true)]
    within: Option<String>,
    /// Expected airspeed at full throttle
    #[arg(long, value_name = "SPEED", allow_hyphen_values = true)]
    top_speed: Option<String>,
    /// Expected wind
    #[arg(long, value_name = "SPEED", allow_hyphen_values = true)]
    wind: Option<String>,
    /// Expected gusts, as a standard deviation (about a third of the difference between gusts and mean wind
    /// in a forecast). Default: those of the earlier flight, or the usual ones in this wind
    #[arg(long, value_name = "SPEED", allow_hyphen_values = true)]
    gusts: Option<String>,
    /// Length of the straight course. Default: legs of 12 s
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    course: Option<String>,
    /// Height of the legs above the ground
    #[arg(long, value_name = "LENGTH", default_value = "30 m", allow_hyphen_values = true)]
    height: String,
    /// Duration of a turn, in seconds
    #[arg(long, value_name = "SECONDS", value_parser = number, allow_negative_numbers = true, default_value_t = 5.0)]
    turn_s: f64,
    /// Flying time of a pack in minutes, from launch to landing
    #[arg(long, value_name = "MINUTES", value_parser = positive, allow_negative_numbers = true)]
    minutes: Option<f64>,
    /// Energy of the pack in Wh (nominal voltage times capacity in Ah); the test card uses four fifths of it
    #[arg(long, value_name = "WH", value_parser = number, allow_negative_numbers = true, requires = "full_power_w")]
    pack_wh: Option<f64>,
    /// Electrical power drawn from the pack at full throttle, in W
    #[arg(long, value_name = "WATTS", value_parser = number, allow_negative_numbers = true, requires = "pack_wh")]
    full_power_w: Option<f64>,
    /// Unit of the speeds: mph, km/h, kn or m/s. Default: the unit given with --within or --top-speed, that
    /// of the earlier flight, or km/h
    #[arg(long, value_name = "UNIT")]
    units: Option<String>,
    #[command(flatten)]
    page: PageArguments,
}

pub fn run(arguments: &PlanArguments) -> Result<(), Failure> {
    let earlier = arguments.from.as_deref().map(load_flight).transpose().map_err(Failure::misuse)?;
    let given = speed_unit(arguments.units.as_deref())?;
    let unit = given
        .or_else(|| named_speed_unit([&arguments.within, &arguments.top_speed]))
        .or(earlier.as_ref().map(|flight| flight.speed_unit))
        .or_else(|| named_speed_unit([&arguments.wind, &arguments.gusts]))
        .unwrap_or(Unit::KilometresPerHour);
    let card = plan(&request(arguments, unit)?, earlier.as_ref())
        .map_err(|error| Failure::Misuse(wording::plan_error(&error)))?;
    let inputs: Vec<PathBuf> = arguments.from.iter().map(|from| summary_file(from)).collect();
    arguments.page.give(
        &inputs,
        CommandOutput {
            page: || test_card_html(&card, unit),
            json: || test_card_json(&card, unit),
            text: || test_card_text(&card, unit),
        },
    )
}

fn request(arguments: &PlanArguments, unit: Unit) -> Result<PlanRequest, Failure> {
    let within = arguments.within.clone().unwrap_or_else(|| usual_half_width(unit).to_owned());
    Ok(PlanRequest {
        steps_percent: arguments.steps.clone(),
        half_width_mps: quantity("--within", &within, unit)?,
        full_throttle_mps: optional("--top-speed", arguments.top_speed.as_ref(), unit)?,
        wind_mps: optional("--wind", arguments.wind.as_ref(), unit)?,
        gust_mps: optional("--gusts", arguments.gusts.as_ref(), unit)?,
        course_m: optional("--course", arguments.course.as_ref(), Unit::Metres)?,
        height_m: quantity("--height", &arguments.height, Unit::Metres)?,
        // Overlays show speeds in whole units.
        quantum_mps: unit.si_per_unit(),
        turn_s: arguments.turn_s,
        flight_s: arguments.minutes.map(|minutes| 60.0 * minutes),
        pack: arguments
            .pack_wh
            .zip(arguments.full_power_w)
            .map(|(energy_wh, full_power_w)| Pack { energy_wh, full_power_w }),
    })
}
