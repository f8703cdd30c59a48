//! Piecewise linear curves.

use serde::{Deserialize, Serialize};

/// A curve through points `[x, y]`: linear between them, constant beyond the outer ones.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Curve(pub Vec<[f64; 2]>);

impl Curve {
    /// The value of the curve at `x`; 0 for a curve without points.
    #[must_use]
    pub fn at(&self, x: f64) -> f64 {
        let upper = self.0.iter().position(|point| point[0] >= x);
        match (upper, self.0.first(), self.0.last()) {
            (Some(0), Some(first), _) => first[1],
            (Some(index), _, _) => {
                let ([x0, y0], [x1, y1]) = (self.0[index - 1], self.0[index]);
                y0 + (y1 - y0) * (x - x0) / (x1 - x0)
            }
            (None, _, Some(last)) => last[1],
            (None, _, None) => 0.0,
        }
    }

    /// Whether the curve has at least one point, all numbers are finite, and x increases from point to point.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        let finite = self.0.iter().flatten().all(|value| value.is_finite());
        let rising = self.0.windows(2).all(|pair| pair[0][0] < pair[1][0]);
        !self.0.is_empty() && finite && rising
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_curve_is_straight_between_its_points_and_level_beyond() {
        let curve = Curve(vec![[50.0, 20.0], [100.0, 40.0]]);
        assert_eq!([10.0, 50.0, 75.0, 120.0].map(|x| curve.at(x)), [20.0, 20.0, 30.0, 40.0]);
    }

    #[test]
    fn unordered_points_are_invalid() {
        assert!(!Curve(vec![[2.0, 0.0], [1.0, 0.0]]).is_sound());
        assert!(!Curve(vec![]).is_sound());
    }
}
