//! Converts the findings on battery, motor and propeller to the schema of the summary.

use super::number;
use crate::propulsion::{
    Battery, DiminishingReturn, Findings, PowerRun, PropellerPoint, SpeedCurve, VoltageLoss, VoltageModel,
};
use crate::stats::Trend;
use crate::summary::{
    BatterySummary, CurveSummary, DiminishingReturnSummary, PowerRunSummary, PropellerSummary,
    PropulsionSummary, TrendSummary, VoltageLossSummary, VoltageModelSummary,
};

/// Converts the findings to the schema of the summary.
pub(super) fn propulsion_summary(findings: &Findings) -> PropulsionSummary {
    PropulsionSummary {
        battery: findings.battery.as_ref().map(battery),
        cautions: findings.cautions.clone(),
        curve: findings.curve.as_ref().map(curve),
        diminishing_return: findings.diminishing_return.as_ref().map(diminishing_return),
        fresh_curve: findings.fresh_curve.as_ref().map(curve),
        power: findings.power.iter().map(power_run).collect(),
        power_exponent: findings.power_exponent.and_then(number),
        propeller: findings.propeller.iter().map(propeller).collect(),
        voltage_model: Some(voltage_model(&findings.voltage_model)),
        voltage_losses: findings.voltage_losses.iter().map(voltage_loss).collect(),
    }
}

fn battery(battery: &Battery) -> BatterySummary {
    BatterySummary {
        between_rests_s: battery.between_rests_s.map(|(start_s, end_s)| (number(start_s), number(end_s))),
        cells: battery.cells,
        cells_estimated: battery.cells_estimated,
        landing_v_per_cell: number(battery.landing_v_per_cell),
        legs_below_limit: battery.legs_below_limit.clone(),
        lowest_leg: battery.lowest_leg,
        lowest_v: number(battery.lowest_v),
        resting_after_v: battery.resting_after_v.and_then(number),
        resting_before_v: battery.resting_before_v.and_then(number),
        trend_v_per_min: battery.trend_v_per_min.as_ref().map(trend),
    }
}

fn trend(trend: &Trend) -> TrendSummary {
    TrendSummary {
        high: number(trend.high),
        intercept: number(trend.intercept),
        low: number(trend.low),
        slope: number(trend.slope),
    }
}

fn curve(curve: &SpeedCurve) -> CurveSummary {
    CurveSummary {
        covariance: curve.covariance.map(number),
        degrees_of_freedom: number(curve.degrees_of_freedom),
        excess_scatter: curve.excess_scatter.and_then(number),
        exponent: number(curve.exponent),
        flown_percent: (number(curve.flown_percent.0), number(curve.flown_percent.1)),
        full_throttle_mps: number(curve.full_throttle_mps),
    }
}

fn diminishing_return(found: &DiminishingReturn) -> DiminishingReturnSummary {
    DiminishingReturnSummary {
        significant: found.significant,
        threshold_mps: number(found.threshold_mps),
        throttle_percent: number(found.throttle_percent),
    }
}

fn power_run(run: &PowerRun) -> PowerRunSummary {
    PowerRunSummary {
        airspeed_mps: number(run.airspeed_mps),
        current_a: number(run.current_a),
        leg: run.leg,
        power_w: number(run.power_w),
        start_s: number(run.start_s),
        step: run.step,
        wh_per_km: run.wh_per_km.and_then(number),
    }
}

fn propeller(point: &PropellerPoint) -> PropellerSummary {
    PropellerSummary {
        advance_ratio: point.advance_ratio.and_then(number),
        measured: point.measured,
        pitch_speed_mps: point.pitch_speed_mps.and_then(number),
        rpm: number(point.rpm),
        slip: point.slip.and_then(number),
        throttle_percent: point.throttle_percent.and_then(number),
    }
}

fn voltage_model(model: &VoltageModel) -> VoltageModelSummary {
    VoltageModelSummary {
        exponent: number(model.exponent),
        runs: model.runs,
        source: model.source,
        uncertainty: number(model.uncertainty),
    }
}

fn voltage_loss(loss: &VoltageLoss) -> VoltageLossSummary {
    VoltageLossSummary {
        lost_mps: number(loss.lost_mps),
        run_down_v: number(loss.run_down_v),
        step: loss.step,
        throttle_percent: loss.throttle_percent.and_then(number),
        uncertainty_mps: number(loss.uncertainty_mps),
    }
}
