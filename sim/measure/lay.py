"""The lay of a face: waves that strokes leave, how high they stand, and whether they run one way.

Figures that name no other origin are common practice, no source.
"""

import math

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from sim.model.face import Face

RIM_MM = 5.0  # nearer to an edge a wave cannot be told from the edge


def ripple_um(face: Face) -> float:
    """Waves of 0.8 to 4 mm: standard deviation of the heights between two bells, um; NaN where no iron is scored."""
    waves, inside = _waves_um(face, 0.2, 1.0)
    return float(waves[inside].std()) if inside.any() else math.nan


def lay_ratio(face: Face) -> float:
    """Waves of 1 to 5 mm across the worst direction over those across the best; 1 where they stand alike all ways.

    Notes
    -----
    Root of the ratio of the two main values of the slopes' tensor over the scored iron: of two crossed sine waves of
    one length it is the ratio of their heights. NaN where no iron is scored.
    """
    waves, inside = _waves_um(face, 0.25, 1.25)
    if not inside.any():
        return math.nan
    slope_y, slope_x = (np.asarray(np.gradient(waves, face.pitch_mm, axis=axis)) for axis in (0, 1))
    a, b, c = (float((u[inside] * v[inside]).mean()) for u, v in
               ((slope_x, slope_x), (slope_x, slope_y), (slope_y, slope_y)))  # fmt: skip
    half, root = 0.5 * (a + c), math.hypot(0.5 * (a - c), b)
    return math.sqrt((half + root) / max(half - root, 1e-12))


def _waves_um(face: Face, fine_mm: float, coarse_mm: float) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Heights between two widths of a bell, um, and the scored iron where they can be told; both (ny, nx)."""
    pitch, rim = face.pitch_mm, round(RIM_MM / face.pitch_mm)
    iron = face.iron.astype(np.float64)
    height = np.where(face.iron, face.height_um, 0.0)

    def smooth(mm: float) -> NDArray[np.float64]:
        return np.asarray(gaussian_filter(height, mm / pitch) / np.maximum(gaussian_filter(iron, mm / pitch), 1e-3))

    inside = np.zeros(face.shape, bool)
    inside[rim:-rim, rim:-rim] = face.scored[rim:-rim, rim:-rim]
    return np.subtract(smooth(fine_mm), smooth(coarse_mm)), inside
