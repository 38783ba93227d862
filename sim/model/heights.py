"""Measured heights: scattered points or a grid, as they come from a gauge."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Heights:
    """Points of a face.

    Attributes
    ----------
    x_mm, y_mm, z_um : float64 arrays (n,)
    u_um : float64 array (n,) or None
        Standard uncertainty of each height, where known.
    """

    x_mm: NDArray[np.float64]
    y_mm: NDArray[np.float64]
    z_um: NDArray[np.float64]
    u_um: NDArray[np.float64] | None = None

    def __len__(self) -> int:
        return len(self.z_um)
