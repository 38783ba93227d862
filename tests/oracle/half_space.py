"""The elastic half-space of ContactMechanics under the same load: what would print if the iron gave as a solid does."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.oracle.faces import PITCH_MM

MODULUS_MPA = 53_000.0  # E* of iron on granite, for both


@dataclass(frozen=True)
class Deformed:
    """Gap (um) and force (N) of every cell, (ny, nx), and the steps it took."""

    gap_um: NDArray[np.float64]
    force_n: NDArray[np.float64]
    steps: int
    converged: bool


def half_space(above_um: NDArray[np.float64], load_n: float, pitch_mm: float = PITCH_MM) -> Deformed:
    """Press a surface, told as heights above a plane, on that plane; the body is finite, so its boundaries are free.

    Notes
    -----
    The tilt is given, the approach is found: Polonsky and Keer, Wear 231 (1999) 206, to 1e-6 mm = 1 nm between steps
    and under pressure. Its solver works in mm and N throughout, x first.
    """
    from ContactMechanics import FreeFFTElasticHalfSpace
    from ContactMechanics.Optimization import constrained_conjugate_gradients
    from SurfaceTopography import Topography

    height_mm = np.ascontiguousarray(above_um.T) * 1e-3
    size_mm = tuple(n * pitch_mm for n in height_mm.shape)
    solid = FreeFFTElasticHalfSpace(height_mm.shape, MODULUS_MPA, size_mm)
    body = Topography(height_mm, size_mm)
    found = constrained_conjugate_gradients(solid, body, external_force=load_n, pentol=1e-6, maxiter=1000)
    nx, ny = height_mm.shape
    gap_mm = found.x[:nx, :ny] - height_mm - found.offset
    return Deformed(gap_mm.T * 1e3, found.jac.T, int(found.nit), bool(found.success))
