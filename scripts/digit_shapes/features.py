"""Computes the features of a cell as src/recognise does, and the grid that is the network's input."""

import numpy as np
from scipy.ndimage import correlate1d

from faces import resampling

# Constants of src/recognise/features/high_pass.rs.
NARROW_BLUR_PX = 0.7
LIMIT_LEVELS = 90.0
# Constants of src/recognise/score/shape_prior.rs.
GRID = (20, 16)
LEAST_RMS_LEVELS = 2.0


def gaussian(sigma):
    reach = int(np.ceil(3 * sigma))
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) / sigma) ** 2)
    return kernel / kernel.sum()


def blurred(levels, sigma):
    kernel = gaussian(sigma)
    return correlate1d(correlate1d(levels, kernel, axis=0, mode="nearest"), kernel, axis=1, mode="nearest")


def high_pass(levels, cell_width):
    wide = max(cell_width / 5, 1.6)
    return np.clip(blurred(levels, NARROW_BLUR_PX) - blurred(levels, wide), -LIMIT_LEVELS, LIMIT_LEVELS)


_matrices = {}


def grid_of(cell):
    """A cell, resampled to GRID and divided by its root mean square."""
    for key in zip(cell.shape, GRID):
        if key not in _matrices:
            _matrices[key] = resampling(*key).astype(np.float32)
    down, across = (_matrices[key] for key in zip(cell.shape, GRID))
    grid = down @ cell.astype(np.float32) @ across.T
    return grid / max(np.sqrt(np.mean(grid**2)), LEAST_RMS_LEVELS)
