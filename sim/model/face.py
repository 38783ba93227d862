"""A cast-iron face: height field, burrs lying on it, blue on it, chips left on it."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sim.errors import BadParam

VOID_UM = -1e30  # height of a cell that is not iron: deeper than anything can reach
PITCH_MM = 0.25


@dataclass(eq=False)
class Face:
    """State of one face. Arrays are (ny, nx), row = y, column = x; cell (i, j) is centred at ((j + .5) p, (i + .5) p).

    Attributes
    ----------
    height_um : float64
        Positive out of the iron; VOID_UM where there is none.
    iron : bool
        Slots, holes and the outline are False.
    scored : bool
        Iron without the edge break: what flatness and shares are taken over.
    burr_um : float64, >= 0
        Lies on the height; contact feels height + burr, the truth is the height alone.
    blue_um : float64, >= 0
        Film of blue on the face.
    chips : float64 (n, 3)
        x_mm, y_mm, height_um of chips and lint lying on the face.
    warm_k : float
        How much warmer the face is than the back of the part, K.
    """

    pitch_mm: float
    height_um: NDArray[np.float64]
    iron: NDArray[np.bool_]
    scored: NDArray[np.bool_]
    burr_um: NDArray[np.float64]
    blue_um: NDArray[np.float64]
    chips: NDArray[np.float64] = field(default_factory=lambda: np.zeros((0, 3)))
    warm_k: float = 0.0

    @property
    def shape(self) -> tuple[int, int]:
        """(ny, nx)."""
        return self.height_um.shape

    @property
    def size_mm(self) -> tuple[float, float]:
        """Extent of the grid in x and y."""
        ny, nx = self.height_um.shape
        return nx * self.pitch_mm, ny * self.pitch_mm

    @property
    def cell_mm2(self) -> float:
        """Area of a cell."""
        return self.pitch_mm * self.pitch_mm

    def copy(self) -> "Face":
        """An independent face in the same state."""
        return Face(self.pitch_mm, self.height_um.copy(), self.iron.copy(), self.scored.copy(), self.burr_um.copy(),
                    self.blue_um.copy(), self.chips.copy(), self.warm_k)


def face_from_heights(height_um: NDArray[np.float64], iron: NDArray[np.bool_] | None = None,
                      scored: NDArray[np.bool_] | None = None, pitch_mm: float = PITCH_MM) -> Face:
    """A clean face with these heights.

    Raises
    ------
    BadParam
        If the arrays are not of one shape, are smaller than 2 x 2, or a height on iron is not finite.
    """
    height = np.ascontiguousarray(height_um, dtype=np.float64).copy()
    if height.ndim != 2 or min(height.shape) < 2:
        raise BadParam(f"height_um must be (ny, nx) with at least 2 x 2 cells, got shape {height.shape}")
    iron = np.ones(height.shape, bool) if iron is None else np.ascontiguousarray(iron, dtype=bool).copy()
    scored = iron.copy() if scored is None else np.ascontiguousarray(scored, dtype=bool) & iron
    if iron.shape != height.shape or scored.shape != height.shape:
        got = f"{iron.shape}, {scored.shape}"
        raise BadParam(f"iron and scored must have the shape of height_um {height.shape}, got {got}")
    if not np.isfinite(height[iron]).all():
        raise BadParam("height_um must be finite on iron")
    height[~iron] = VOID_UM
    return Face(pitch_mm, height, iron, scored, np.zeros(height.shape), np.zeros(height.shape))
