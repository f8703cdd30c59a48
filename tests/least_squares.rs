//! Tests least squares against certified values.
#![allow(clippy::unwrap_used, missing_docs)]

use nalgebra::{DMatrix, DVector};
use pairspeed::stats::{Fit, Linearisation, linear, nonlinear};
use pairspeed::stats::{mean, standard_deviation};

/// The two columns of a table with the given names.
fn columns(table: &str, names: [&str; 2]) -> (Vec<f64>, Vec<f64>) {
    let mut reader = csv::Reader::from_reader(table.as_bytes());
    let header = reader.headers().unwrap().clone();
    let columns = names.map(|name| header.iter().position(|cell| cell == name).unwrap());
    reader
        .records()
        .map(|row| columns.map(|column| row.as_ref().unwrap()[column].parse::<f64>().unwrap()))
        .map(|[a, b]| (a, b))
        .unzip()
}

fn polynomial(x: &[f64], y: &[f64], powers: &[i32]) -> Fit {
    let design = DMatrix::from_fn(x.len(), powers.len(), |row, column| x[row].powi(powers[column]));
    linear(&design, &DVector::from_column_slice(y)).unwrap()
}

fn near(value: f64, expected: f64, relative: f64) {
    assert!((value / expected - 1.0).abs() <= relative, "{value} instead of {expected}");
}

fn deviation(fit: &Fit, parameter: usize) -> f64 {
    fit.covariance().unwrap()[(parameter, parameter)].sqrt()
}

#[test]
fn nist_norris_is_reproduced() {
    // NIST Statistical Reference Datasets, linear regression, lower difficulty: y = B0 + B1 x.
    let (x, y) = columns(include_str!("../fixtures/reference/nist_norris.csv"), ["x", "y"]);
    let fit = polynomial(&x, &y, &[0, 1]);
    near(fit.parameters[0], -0.262_323_073_774_029, 1e-10);
    near(fit.parameters[1], 1.002_116_818_020_45, 1e-12);
    near(deviation(&fit, 0), 0.232_818_234_301_152, 1e-9);
    near(deviation(&fit, 1), 0.429_796_848_199_937e-3, 1e-9);
    near(fit.residual_deviation().unwrap(), 0.884_796_396_144_373, 1e-9);
    assert_eq!(fit.degrees_of_freedom(), 34);
}

#[test]
fn nist_pontius_is_reproduced() {
    // The same collection: y = B0 + B1 x + B2 x^2, ill-conditioned as it stands.
    let (x, y) = columns(include_str!("../fixtures/reference/nist_pontius.csv"), ["x", "y"]);
    let fit = polynomial(&x, &y, &[0, 1, 2]);
    near(fit.parameters[0], 0.673_565_789_473_684e-3, 1e-6);
    near(fit.parameters[1], 0.732_059_160_401_003e-6, 1e-9);
    near(fit.parameters[2], -0.316_081_871_345_029e-14, 1e-6);
    near(deviation(&fit, 2), 0.486_652_849_992_036e-16, 1e-6);
    near(fit.residual_deviation().unwrap(), 0.205_177_424_076_185e-3, 1e-7);
}

#[test]
fn nist_no_intercept_is_reproduced() {
    // The same collection, NoInt1: y = B1 x.
    let (x, y) = columns(include_str!("../fixtures/reference/nist_noint1.csv"), ["x", "y"]);
    let fit = polynomial(&x, &y, &[1]);
    near(fit.parameters[0], 2.074_380_165_289_26, 1e-12);
    near(deviation(&fit, 0), 0.165_289_256_198_347e-1, 1e-12);
    near(fit.residual_deviation().unwrap(), 3.567_530_340_063_38, 1e-12);
}

#[test]
fn the_thermometer_of_the_gum_is_calibrated() {
    // JCGM 100:2008, H.3: b = y1 + y2 (t - 20); y1 -0.1712(29), y2 0.00218(67), r -0.930, s 0.0035,
    // and at 30 degrees b -0.1494(41) with 9 degrees of freedom.
    let (t, b) = columns(include_str!("../fixtures/reference/gum_h3_thermometer.csv"), ["t_C", "b_C"]);
    let from_20: Vec<f64> = t.iter().map(|t| t - 20.0).collect();
    let fit = polynomial(&from_20, &b, &[0, 1]);
    let covariance = fit.covariance().unwrap();
    near(fit.parameters[0], -0.171_204, 1e-5);
    near(fit.parameters[1], 0.002_182_7, 1e-4);
    near(deviation(&fit, 0), 0.002_878, 1e-3);
    near(deviation(&fit, 1), 0.000_667_9, 1e-3);
    near(covariance[(0, 1)] / deviation(&fit, 0) / deviation(&fit, 1), -0.930_4, 1e-3);
    near(fit.residual_deviation().unwrap(), 0.003_50, 2e-3);
    near(fit.parameters[0] + 10.0 * fit.parameters[1], -0.149_377, 1e-5);
    let variance = covariance[(0, 0)] + 100.0 * covariance[(1, 1)] + 20.0 * covariance[(0, 1)];
    near(variance.sqrt(), 0.004_139, 1e-3);
    assert_eq!(fit.degrees_of_freedom(), 9);
}

#[test]
fn the_temperatures_of_the_gum_have_their_mean() {
    // JCGM 100:2008, 4.4.3: mean 100.145, s 1.489, s of the mean 0.333.
    let table = include_str!("../fixtures/reference/gum_4_4_3.csv");
    let values: Vec<f64> = table.lines().skip(1).map(|line| line.parse().unwrap()).collect();
    near(mean(&values).unwrap(), 100.145, 1e-5);
    near(standard_deviation(&values).unwrap(), 1.489, 4e-4);
    near(standard_deviation(&values).unwrap() / 20f64.sqrt(), 0.333, 1e-3);
}

#[test]
fn nist_misra1a_is_reproduced_from_its_second_start() {
    // NIST Statistical Reference Datasets, nonlinear regression: y = b1 (1 - exp(-b2 x)).
    let (x, y) = columns(include_str!("../fixtures/reference/nist_misra1a.csv"), ["x", "y"]);
    let fit = nonlinear(&DVector::from_vec(vec![250.0, 5e-4]), |b| {
        let residuals = DVector::from_fn(x.len(), |row, _| y[row] - b[0] * (1.0 - (-b[1] * x[row]).exp()));
        let derivatives = DMatrix::from_fn(x.len(), 2, |row, column| {
            let fallen = (-b[1] * x[row]).exp();
            [1.0 - fallen, b[0] * x[row] * fallen][column]
        });
        Linearisation { residuals, derivatives }
    })
    .unwrap();
    near(fit.parameters[0], 238.942_129_18, 1e-8);
    near(fit.parameters[1], 5.501_564_318_1e-4, 1e-8);
    near(deviation(&fit, 0), 2.707_007_524_1, 1e-6);
    near(fit.residual_deviation().unwrap(), 0.101_878_763_30, 1e-8);
}

#[test]
fn an_underdetermined_system_gives_no_fit() {
    let fit = |rows: &[[f64; 2]], values: &[f64]| {
        let design = DMatrix::from_fn(rows.len(), 2, |row, column| rows[row][column]);
        linear(&design, &DVector::from_column_slice(values))
    };
    assert_eq!(fit(&[[1.0, 2.0]], &[1.0]), None);
    assert_eq!(fit(&[[1.0, 2.0], [2.0, 4.0], [3.0, 6.0]], &[1.0, 2.0, 3.0]), None);
    assert_eq!(fit(&[[1.0, 0.0], [2.0, 0.0], [3.0, 0.0]], &[1.0, 2.0, 3.0]), None);
    assert_eq!(fit(&[[1.0, 1.0], [2.0, f64::NAN], [3.0, 2.0]], &[1.0, 2.0, 3.0]), None);
    assert_eq!(fit(&[], &[]), None);
}
