"""How a whole part stands on the plate by its datum, and where its other faces are then."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.kernels.touch import lay_on
from sim.model.face import Face
from sim.model.part import Frame
from sim.model.plate import Plate
from sim.seat.compliant import (
    Body,
    Compliance,
    Load,
    Pose,
    compliant_seat,
    lies_over,
    raise_cells,
    standing_um,
    weight_and_hands,
)
from sim.units import UM_PER_MM

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Standing:
    """A datum face in the middle of the plate, with everything that lies between: burrs, chips, lint, warmth.

    Attributes
    ----------
    surface_um : float64 (ny, nx)
        What stands towards the plate's nominal plane.
    weight : Load
        Of the part alone.
    """

    surface_um: Array
    weight: Load
    pitch_mm: float
    compliance: Compliance

    @classmethod
    def of(cls, face: Face, body: Body, plate: Plate, compliance: Compliance) -> "Standing":
        """Set a part down on its datum."""
        top = standing_um(face, body, compliance)
        surface = np.empty_like(top)
        corner = [0.5 * (room - side) for room, side in zip(plate.size_mm, face.size_mm, strict=True)]
        row, col = lies_over(face, *corner)
        lay_on(top, plate.error_um, row, col, surface)
        raise_cells(surface, plate.lint - np.array([col * face.pitch_mm, row * face.pitch_mm, 0.0]), face.pitch_mm)
        return cls(surface, weight_and_hands(face, body), face.pitch_mm, compliance)

    def pose(self, touch: tuple[tuple[float, float, float], ...] = ()) -> Pose:
        """Where it comes to rest under its weight and forces at x_mm, y_mm of the datum's frame (N): a firm part stays.

        Raises
        ------
        Refused
            As `compliant_seat`: a touch outside what carries the part tips it off.
        """
        force = self.weight.force_n
        mx, my = force * self.weight.x_mm, force * self.weight.y_mm
        for x, y, newton in touch:
            force, mx, my = force + newton, mx + newton * x, my + newton * y
        load = Load(force, mx / force, my / force)
        return compliant_seat(self.surface_um, self.pitch_mm, load, self.compliance.c_um, self.compliance.effective_mpa)


def above_plate_um(datum: Frame, pose: Pose, face: Frame, x_mm: Array, y_mm: Array) -> Array:
    """Height of another face's nominal plane above the plate, over what the drawing has there, um (n,).

    Notes
    -----
    A point at u, v and w out of the datum stands (plane(u, v) - w) / sqrt(1 + slopes^2) above the plate.
    """
    u, v, w = _in_datum(datum, face, x_mm, y_mm)
    stretch = _stretch(pose)
    return np.asarray(pose.at(u, v) / stretch + UM_PER_MM * w * (1.0 - 1.0 / stretch))


def beside_square_um(datum: Frame, pose: Pose, face: Frame, x_mm: Array, y_mm: Array) -> Array:
    """How far a face square to the datum stands out along the plate, over what the drawing has there, um (n,).

    Notes
    -----
    The plate's upright leans by s = slopes . (the face's outward direction in the datum's frame) against the drawing:
    a point h above the plate stands out by -s h. Left out: s^2, less than 1e-6 um.
    """
    _, _, w = _in_datum(datum, face, x_mm, y_mm)
    out_u, out_v = (_dot(face.out, axis) for axis in (datum.along, datum.across))
    lean_um_per_mm = pose.slope_x * out_u + pose.slope_y * out_v
    return np.asarray(lean_um_per_mm * w)


def upright(datum: Frame, face: Frame) -> tuple[float, float]:
    """How much higher over the plate a step of 1 mm along a face's x, and y, leads."""
    return -_dot(face.along, datum.out), -_dot(face.across, datum.out)


def _in_datum(datum: Frame, face: Frame, x_mm: Array, y_mm: Array) -> tuple[Array, Array, Array]:
    """Points of a face's nominal plane along the datum's x and y and out of it, mm."""
    away = face.body_mm(x_mm, y_mm, np.zeros_like(x_mm)) - np.array(datum.origin_mm)
    axes = (datum.along, datum.across, datum.out)
    u, v, w = (away[:, 0] * a + away[:, 1] * b + away[:, 2] * c for a, b, c in axes)
    return u, v, w


def _stretch(pose: Pose) -> float:
    steep = (pose.slope_x * pose.slope_x + pose.slope_y * pose.slope_y) / UM_PER_MM**2
    return float(np.sqrt(1.0 + steep))


def _dot(a: tuple[float, float, float], b: tuple[float, float, float]) -> float:
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
