"""The seat that prints: cells press as springs, height and two tilts balance weight and hands."""

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sim.errors import BadParam, Refused
from sim.kernels.tiles import tile_maxima
from sim.kernels.touch import seat
from sim.model.face import VOID_UM, Face
from sim.params import param, tool

TILE_CELLS = 8
LOVE = 1.1221997046783603
"""The middle of a square pressed evenly on a half-space sinks LOVE x pressure x side / E*; (4 / pi) ln(1 + sqrt 2)."""
NEAR_MM = 2.0
"""Pressed cells this near sink together; what lies further off sinks a cell by less than 3 nm for each N."""


@tool
class Compliance:
    """How iron gives: a cell presses with p = (overlap / c)^2; what prints is told from a half-space's stand."""

    c_um: float = param(
        0.05, "um/MPa^0.5", (0.005, 1.0), "overlap that presses with 1 MPa at cells of 0.25 mm",
        "computed: the springs give tilt and balance, fitted in trials against an elastic half-space; "
        "what prints comes from lift_um; form from Back, Burdekin and Cowley 1973",
    )  # fmt: skip
    effective_mpa: float = param(
        53000.0, "MPa", (1e3, 1e6), "effective modulus E* of face and plate, for how high the plane stands that prints",
        "computed: 1 / E* = (1 - nu^2) / E of iron (110 GPa, 0.26) + of granite (90 GPa, 0.25)",
    )  # fmt: skip
    youngs_mpa: float = param(
        110000.0, "MPa", (1e4, 5e5), "Young's modulus of grey iron, for bending",
        "source: material tables, GJL-250 103 to 118 GPa",
    )  # fmt: skip
    expansion_um_per_m_k: float = param(
        10.75, "um/(m K)", (1.0, 30.0), "expansion of grey iron", "source: material tables, 10.5 to 11"
    )


IRON = Compliance()


@tool
class Body:
    """The part behind the face, for its weight and its stiffness."""

    mass_kg: float = param(
        4.0, "kg", (0.01, 500.0), "mass of the part", "common practice, no source: the optics-bench stand"
    )
    thickness_mm: float = param(
        25.0, "mm", (1.0, 500.0), "thickness behind the face", "common practice, no source: the optics-bench stand"
    )
    load_at_mm: tuple[float, float] | None = field(default=None)
    """Where the centre of gravity lies over the face; None: over its middle."""


@dataclass(frozen=True)
class Load:
    """Force on the face and where its centre lies (mm in the face's frame)."""

    force_n: float
    x_mm: float
    y_mm: float


@dataclass(frozen=True)
class Pose:
    """Plane on which the face sits: height_um at (x_mm, y_mm), slopes in um/mm, and the Newton iterations it took.

    lift_um: how far above it the plane stands when the iron gives as an elastic half-space under the same forces, which
    is where gaps are taken for the print; less than 0 when it sinks deeper.
    """

    height_um: float
    slope_x: float
    slope_y: float
    x_mm: float
    y_mm: float
    iterations: int = 0
    lift_um: float = 0.0

    def at(self, x_mm: NDArray[np.float64] | float, y_mm: NDArray[np.float64] | float) -> NDArray[np.float64]:
        """Height of the plane, um."""
        return np.asarray(self.height_um + self.slope_x * (x_mm - self.x_mm) + self.slope_y * (y_mm - self.y_mm))


def weight_and_hands(face: Face, body: Body, hands: tuple[tuple[float, float, float], ...] = ()) -> Load:
    """Weight and hands (x_mm, y_mm, N) as one load at its centre.

    Raises
    ------
    BadParam
        When a hand lies outside the face or presses with less than nothing.
    """
    length, width = face.size_mm
    weight = 9.81 * body.mass_kg
    at_x, at_y = body.load_at_mm or (0.5 * length, 0.5 * width)
    force, mx, my = weight, weight * at_x, weight * at_y
    for x, y, n in hands:
        if not (0.0 <= x <= length and 0.0 <= y <= width and 0.0 <= n <= 1000.0):
            where = f"on the face (0 to {length:g}, 0 to {width:g} mm)"
            raise BadParam(f"a hand must press {where} with 0 to 1000 N, got {n:g} N at {x:g}, {y:g}")
        force, mx, my = force + n, mx + n * x, my + n * y
    return Load(force, mx / force, my / force)


def standing_um(
    face: Face,
    body: Body,
    compliance: Compliance,
    hands: tuple[tuple[float, float, float], ...] = (),
    chips: bool = True,
) -> NDArray[np.float64]:
    """What meets a plane: height, burr, chips, the bow of a warm face and the bend under hands, um; (ny, nx).

    Notes
    -----
    Warm by dT: bow = alpha dT L^2 / (8 t), the middle standing out. Hands: a beam on its two ends along the longer
    side, E I = E W t^3 / 12. Left out: bending across, and the bend under the part's own weight.
    """
    top = face.height_um + face.burr_um
    length, width = face.size_mm
    x, y = middles_mm(face.shape, face.pitch_mm)
    if face.warm_k != 0.0:
        curve = -compliance.expansion_um_per_m_k * 1e-3 * face.warm_k / (2.0 * body.thickness_mm)
        bow_x, bow_y = curve * (x - 0.5 * length) ** 2, curve * (y - 0.5 * width) ** 2
        top += np.where(face.iron, bow_x[None, :] + bow_y[:, None], 0.0)
    for hx, hy, force in hands:
        along, span, across, at = (x, length, width, hx) if length >= width else (y, width, length, hy)
        bend = beam_um(along, span, at, force, compliance.youngs_mpa * across * body.thickness_mm**3 / 12.0)
        top += np.where(face.iron, bend[None, :] if length >= width else bend[:, None], 0.0)
    if chips:
        raise_cells(top, face.chips, face.pitch_mm)
    return top


def middles_mm(shape: tuple[int, int], pitch_mm: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Where the cells of a grid (ny, nx) have their middles: x (nx,) and y (ny,), mm."""
    x, y = ((np.arange(n, dtype=np.float64) + 0.5) * pitch_mm for n in (shape[1], shape[0]))
    return x, y


def beam_um(
    s_mm: NDArray[np.float64], span_mm: float, at_mm: float, force_n: float, stiffness_nmm2: float
) -> NDArray[np.float64]:
    """Deflection of a beam on its two ends under one force, um: the cubic of any handbook of structures."""
    b = span_mm - at_mm
    scale = 1e3 * force_n / (6.0 * stiffness_nmm2 * span_mm)
    left = scale * b * s_mm * (span_mm**2 - b**2 - s_mm**2)
    t = span_mm - s_mm
    right = scale * at_mm * t * (span_mm**2 - at_mm**2 - t**2)
    return np.where(s_mm <= at_mm, left, right)


def raise_cells(top: NDArray[np.float64], bits: NDArray[np.float64], pitch_mm: float) -> None:
    """Lay bits (x_mm, y_mm, height_um) on the cells of `top` where there is iron; changes `top`."""
    ny, nx = top.shape
    for x, y, height in bits:
        i, j = math.floor(y / pitch_mm), math.floor(x / pitch_mm)  # int() would take in bits just outside
        if 0 <= i < ny and 0 <= j < nx and top[i, j] > 0.1 * VOID_UM:
            top[i, j] += height


def compliant_seat(
    surface_um: NDArray[np.float64],
    pitch_mm: float,
    load: Load,
    c_um: float = IRON.c_um,
    effective_mpa: float = IRON.effective_mpa,
    *,
    held: str = "",
) -> Pose:
    """Where a surface comes to rest on a plane under a load.

    Parameters
    ----------
    surface_um : float64 (ny, nx), towards the plate; VOID_UM where nothing can touch
    pitch_mm : float
    load : Load
    c_um : float
        Compliance, um/MPa^0.5.
    effective_mpa : float
        Effective modulus E* of face and plate, MPa.
    held : "", "x" or "y"
        The slope along this axis stays 0, as against a plate that stands; the load's place along it counts for nothing.

    Raises
    ------
    Refused
        When nothing can touch: the face is wholly off the plate; or when nothing holds the load: it would tip off.

    Notes
    -----
    Minimises sum A overlap^3 / (3 c^2) + F h: forces and both moments balance. A function of surface and load
    only. On a smooth crown of radius R the approach d obeys F = 2 pi R d^3 / (3000 c^2) (R mm; d, c as here).

    The height by springs is up to 0.3 um off that of an elastic half-space of the same tilt. So one step is made from
    the springs' forces towards the half-space's balance, on the pressed cells and for the height alone: `lift_um`. A
    cell sinks under its own force as Love's square, under one r away by force / (pi E* r).

    References
    ----------
    Back, Burdekin and Cowley 1973 (machined joints) for the square; A. E. H. Love, Phil. Trans. R. Soc. A 228 (1929)
    377, and Boussinesq in K. L. Johnson, Contact Mechanics, 1985, for the half-space.
    """
    ny, nx = surface_um.shape
    maxima = np.empty((-(-ny // TILE_CELLS), -(-nx // TILE_CELLS)))
    tile_maxima(surface_um, TILE_CELLS, maxima)
    plane = np.empty(4)
    law = np.array([pitch_mm, c_um, 1e3 * LOVE / (effective_mpa * pitch_mm), NEAR_MM / pitch_mm])
    force = np.array([load.force_n, load.x_mm, load.y_mm, float(("", "x", "y").index(held))])
    done = seat(surface_um, maxima, TILE_CELLS, law, force, plane)
    if done == -1:
        raise Refused("the face must lie at least partly on the plate, got none of it there")
    if done < 0:
        at = f"{load.x_mm:.1f}, {load.y_mm:.1f} mm"
        raise Refused(f"the load must lie over what carries it, got {at}: the face would tip off the plate")
    height, slope_x, slope_y, lift = plane.tolist()
    return Pose(height, slope_x, slope_y, load.x_mm, load.y_mm, int(done), lift)


def pressed_cells(
    surface_um: NDArray[np.float64], pose: Pose, pitch_mm: float, c_um: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """x_mm, y_mm and force_n of every pressed cell: the pressure map of a seat."""
    x, y = middles_mm((surface_um.shape[0], surface_um.shape[1]), pitch_mm)
    over = surface_um - pose.at(x[None, :], y[:, None])
    i, j = np.nonzero(over > 0.0)
    return x[j], y[i], (over[i, j] / c_um) ** 2 * pitch_mm**2


def lies_over(face: Face, x_mm: float, y_mm: float) -> tuple[int, int]:
    """Row and column of the plate cell under face cell (0, 0) when the face's corner is put at (x_mm, y_mm)."""
    return int(round(y_mm / face.pitch_mm)), int(round(x_mm / face.pitch_mm))
