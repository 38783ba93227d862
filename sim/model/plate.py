"""The reference plate, its film of blue, and the account of where all blue went."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sim.params import param, tool


@tool
class PlateMake:
    """A plate as bought: how large and how true."""

    length_mm: float = param(240.0, "mm", (20.0, 1000.0), "length of the plate (x)", "common practice, no source")
    width_mm: float = param(180.0, "mm", (20.0, 1000.0), "width of the plate (y)", "common practice, no source")
    flatness_um: float = param(0.5, "um", (0.0, 50.0),
                               "range of the plate's own error; the limit of grade AA at 240 x 180 mm is 1.16",
                               "common practice, no source: a good plate, half of what GGG-P-463c allows grade AA")
    wear_mm3_per_nm: float = param(1e-7, "mm3/(N m)", (0.0, 1e-3), "volume worn off the plate per load and way rubbed",
                                   "from memory: lubricated hard stone, Archard")


@dataclass(eq=False)
class Plate:
    """State of the plate, in the frame of the part that lies on it: what is seen through the part, not mirrored.

    Attributes
    ----------
    error_um : float64 (py, px)
        Height of the plate above its nominal plane.
    film_um : float64 (py, px)
        Blue lying on it.
    lint : float64 (n, 3)
        x_mm, y_mm, height_um of fibres and chips lying on it.
    drawn_um_mm2, cloth_um_mm2 : float
        Blue taken from the tin, and blue gone with cloths and chips: plate + face + cloth = drawn.
    wear_mm3_per_nm : float
    """

    pitch_mm: float
    error_um: NDArray[np.float64]
    film_um: NDArray[np.float64]
    lint: NDArray[np.float64] = field(default_factory=lambda: np.zeros((0, 3)))
    drawn_um_mm2: float = 0.0
    cloth_um_mm2: float = 0.0
    wear_mm3_per_nm: float = 1e-7

    @property
    def size_mm(self) -> tuple[float, float]:
        """Extent in x and y."""
        py, px = self.error_um.shape
        return px * self.pitch_mm, py * self.pitch_mm

    def turned(self) -> "Plate":
        """The same plate as a part turned end for end (by 180 degrees) finds it: an independent copy."""
        length, width = self.size_mm
        lint = self.lint * np.array([-1.0, -1.0, 1.0]) + np.array([length, width, 0.0])
        return Plate(self.pitch_mm, self.error_um[::-1, ::-1].copy(), self.film_um[::-1, ::-1].copy(), lint,
                     self.drawn_um_mm2, self.cloth_um_mm2, self.wear_mm3_per_nm)

    def copy(self) -> "Plate":
        """An independent plate in the same state."""
        return Plate(self.pitch_mm, self.error_um.copy(), self.film_um.copy(), self.lint.copy(), self.drawn_um_mm2,
                     self.cloth_um_mm2, self.wear_mm3_per_nm)
