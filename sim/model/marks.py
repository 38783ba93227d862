"""What an eye sees on a printed face: which cells are marked, and how large a cell is."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Marks:
    """A printed face reduced to marked and unmarked cells.

    Attributes
    ----------
    marked : bool array (ny, nx)
        Row = y, column = x. False where there is no iron.
    iron : bool array (ny, nx)
        The face on which squares are placed and shares are taken.
    pitch_mm : float
    """

    marked: NDArray[np.bool_]
    iron: NDArray[np.bool_]
    pitch_mm: float
