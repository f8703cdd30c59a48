//! The battery pack under load.

use crate::scenario::Pack;

/// Resting voltage of a lithium polymer cell at the given charge, as points [charge 0 to 1, volts]: common
/// practice, no source.
const CELL_AT_REST_V: [[f64; 2]; 11] = [
    [0.0, 3.30],
    [0.1, 3.62],
    [0.2, 3.70],
    [0.3, 3.74],
    [0.4, 3.77],
    [0.5, 3.80],
    [0.6, 3.85],
    [0.7, 3.91],
    [0.8, 3.98],
    [0.9, 4.07],
    [1.0, 4.20],
];

/// The state of the pack. Its voltage is the resting voltage of a cell times the number of cells, minus
/// current times resistance.
pub(super) struct PackState<'a> {
    pack: &'a Pack,
    pub(super) current_a: f64,
    pub(super) used_ah: f64,
}

impl<'a> PackState<'a> {
    pub(super) const fn new(pack: &'a Pack) -> Self {
        Self { pack, current_a: 0.0, used_ah: 0.0 }
    }

    /// Draws the current of a throttle setting for `seconds`. The current follows the throttle with a time constant of
    /// 0.3 s.
    pub(super) fn draw(&mut self, throttle_percent: f64, seconds: f64) {
        let wanted = self.pack.current_a.at(throttle_percent);
        self.current_a += (wanted - self.current_a) * (1.0 - (-seconds / 0.3).exp());
        self.used_ah += self.current_a * seconds / 3600.0;
    }

    /// Voltage at the pack's leads, in volts.
    pub(super) fn voltage_v(&self) -> f64 {
        let charge = self.pack.charge_at_start - self.used_ah / self.pack.capacity_ah;
        (f64::from(self.pack.cells) * cell_at_rest_v(charge) - self.current_a * self.pack.resistance_ohm)
            .max(0.1)
    }

    /// Voltage of the full pack at rest, in volts.
    pub(super) fn full_rest_v(&self) -> f64 {
        f64::from(self.pack.cells) * cell_at_rest_v(1.0)
    }
}

fn cell_at_rest_v(charge: f64) -> f64 {
    let charge = charge.clamp(0.0, 1.0);
    CELL_AT_REST_V.windows(2).find(|pair| charge <= pair[1][0]).map_or(CELL_AT_REST_V[10][1], |pair| {
        let ([x0, y0], [x1, y1]) = (pair[0], pair[1]);
        y0 + (y1 - y0) * (charge - x0) / (x1 - x0)
    })
}
