//! Image planes of floating-point numbers, and their means over small windows.

/// An image plane with one number per pixel, row by row.
#[derive(Debug, Clone)]
pub(super) struct Plane {
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) values: Vec<f32>,
}

impl Plane {
    pub(super) fn new(width: usize, height: usize) -> Self {
        Self { width, height, values: vec![0.0; width * height] }
    }

    /// The value of a pixel; 0 outside the plane.
    pub(super) fn at(&self, x: usize, y: usize) -> f32 {
        if x < self.width { self.values.get(y * self.width + x).copied().unwrap_or(0.0) } else { 0.0 }
    }

    /// The mean over the square with sides of `2 radius + 1` pixels around each pixel. Pixels outside the plane are
    /// left out.
    pub(super) fn local_mean(&self, radius: usize) -> Self {
        let mut across = Self::new(self.width, self.height);
        for (row, out) in
            self.values.chunks(self.width.max(1)).zip(across.values.chunks_mut(self.width.max(1)))
        {
            running_mean(row, radius, out);
        }
        let mut result = Self::new(self.width, self.height);
        let mut means = vec![0.0; self.height];
        for x in 0..self.width {
            let column: Vec<f32> = across.values.iter().skip(x).step_by(self.width).copied().collect();
            running_mean(&column, radius, &mut means);
            for (out, mean) in result.values.iter_mut().skip(x).step_by(self.width).zip(&means) {
                *out = *mean;
            }
        }
        result
    }
}

/// The mean over the window of `2 radius + 1` values around each value. Values outside the slice are left out.
fn running_mean(values: &[f32], radius: usize, means: &mut [f32]) {
    let mut sums = Vec::with_capacity(values.len() + 1);
    let mut sum = 0.0f64;
    sums.push(sum);
    sums.extend(values.iter().map(|value| {
        sum += f64::from(*value);
        sum
    }));
    for (at, mean) in means.iter_mut().enumerate() {
        let (first, last) = (at.saturating_sub(radius), (at + radius + 1).min(values.len()));
        let total = sums.get(last).copied().unwrap_or(sum) - sums.get(first).copied().unwrap_or(0.0);
        *mean = (total / (last - first).max(1) as f64) as f32;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_mean_of_a_window_counts_only_pixels_inside() {
        let mut plane = Plane::new(3, 2);
        plane.values = vec![1.0, 2.0, 3.0, 4.0, 5.0, 6.0];
        let mean = plane.local_mean(1);
        // Upper left corner: 1, 2, 4, 5; middle of the upper row: all six.
        assert_eq!((mean.at(0, 0), mean.at(1, 0), mean.at(2, 1)), (3.0, 3.5, 4.0));
        assert_eq!(mean.at(3, 0), 0.0);
    }
}
