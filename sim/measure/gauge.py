"""The indicator on its stand: what its tip feels, what its hand says of it, and the plane through its readings."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.errors import Refused
from sim.model.face import VOID_UM, Face
from sim.params import param, tool
from sim.process.stroke import sine
from sim.seat.compliant import Load, compliant_seat, raise_cells

Array = NDArray[np.float64]


@tool
class Indicator:
    """A lever indicator."""

    resolution_um: float = param(1.0, "um", (0.01, 100.0), "step of its reading", "common practice, no source: 1 to 2")
    hysteresis_um: float = param(2.0, "um", (0.0, 50.0), "play between going up and coming down",
                                 "common practice, no source: 1 to 3")
    repeat_um: float = param(0.3, "um", (0.0, 50.0), "scatter of a reading taken twice, standard deviation",
                             "from memory")
    lever_deg: float = param(15.0, "deg", (0.0, 60.0), "angle between lever and face: it reads 1 / cos of it too much",
                             "source: makers' tables, to be multiplied by 0.98 at 10 deg, 0.87 at 30, 0.50 at 60")
    touch_n: float = param(1.0, "N", (0.0, 50.0), "force of tip and hand on the part", "from memory")
    tip: str = param("block", "", ("block", "ball"), "a small gauge block under the tip, or the bare ball",
                     "common practice, no source")
    block_mm: float = param(9.0, "mm", (2.0, 50.0), "side of the gauge block", "common practice, no source")
    block_n: float = param(1.0, "N", (0.05, 50.0), "weight of the block and force of the tip on it", "from memory")
    ball_mm: float = param(2.0, "mm", (0.5, 10.0), "diameter of the ball", "common practice, no source")
    set_up_s: float = param(120.0, "s", (0.0, 7200.0), "setting up and zeroing", "common practice, no source")
    station_s: float = param(6.0, "s", (0.0, 600.0), "reading and writing one number", "common practice, no source")


@tool
class StandErrors:
    """How far stands and squares are from true, one draw a job; standard deviations."""

    slope_um_per_100mm: float = param(0.5, "um/100mm", (0.0, 100.0), "a stand swept over the plate, each way",
                                      "from memory")
    lean_um_per_100mm: float = param(2.0, "um/100mm", (0.0, 100.0), "a cylinder square", "from memory")


@dataclass(frozen=True)
class Stand:
    """Errors of the stand that is used: slopes along x and y of a face, lean of the square over its height."""

    slopes_um_per_mm: tuple[float, float]
    lean_um_per_mm: float


@dataclass(frozen=True)
class Plane:
    """A plane through readings: height_um at (x_mm, y_mm), slopes in um/mm."""

    height_um: float
    slope_x: float
    slope_y: float
    x_mm: float
    y_mm: float

    def at(self, x_mm: Array, y_mm: Array) -> Array:
        """Height at places, um."""
        return np.asarray(self.height_um + self.slope_x * (x_mm - self.x_mm) + self.slope_y * (y_mm - self.y_mm))


def stand_of(rng: np.random.Generator, made: StandErrors | None = None) -> Stand:
    """The stand and the square of a job."""
    made = made or StandErrors()
    x, y, lean = (float(v) for v in rng.standard_normal(3))
    slope = made.slope_um_per_100mm / 100.0
    return Stand((slope * x, slope * y), made.lean_um_per_100mm / 100.0 * lean)


def stations(face: Face, along: int, across: int, margin_mm: float) -> tuple[Array, Array]:
    """Places of a grid on a face, along x there and back, line by line; float64 (n,) both. One station: the middle."""
    length, width = face.size_mm
    xs, ys = (np.linspace(margin_mm, side - margin_mm, n) if n > 1 else np.array([0.5 * side])
              for side, n in ((length, along), (width, across)))
    x = np.concatenate([xs[:: 1 if n % 2 == 0 else -1] for n in range(len(ys))])
    return x, np.repeat(ys, len(xs))


def felt_um(face: Face, x_mm: float, y_mm: float, indicator: Indicator) -> float:
    """Height at which the tip comes to rest at a place of the face, um; NaN where there is too little iron under it.

    Notes
    -----
    The block settles on the cells under it as any true face on springy iron does; the ball stands on the cell that
    meets it first, R - sqrt(R^2 - r^2) counted off at a distance r. Both feel burrs and chips.
    """
    if indicator.tip == "ball":
        return _ball_um(face, x_mm, y_mm, 0.5 * indicator.ball_mm)
    side = max(8, round(indicator.block_mm / face.pitch_mm))
    top, row, col = _under(face, x_mm, y_mm, side)
    iron = top > 0.1 * VOID_UM
    if iron.sum() < 0.5 * side * side:
        return float("nan")
    load = Load(indicator.block_n, x_mm - col * face.pitch_mm, y_mm - row * face.pitch_mm)
    try:
        pose = compliant_seat(top, face.pitch_mm, load)
    except Refused:
        return float("nan")
    return pose.height_um


def _ball_um(face: Face, x_mm: float, y_mm: float, radius_mm: float) -> float:
    side = 2 * int(0.99 * radius_mm / face.pitch_mm) + 1
    top, row, col = _under(face, x_mm, y_mm, side)
    ny, nx = top.shape
    x = (np.arange(nx) + col + 0.5) * face.pitch_mm - x_mm
    y = (np.arange(ny) + row + 0.5) * face.pitch_mm - y_mm
    away = x[None, :] ** 2 + y[:, None] ** 2
    over = (radius_mm - np.sqrt(np.maximum(radius_mm * radius_mm - away, 0.0))) * 1e3
    here = (away < radius_mm * radius_mm) & (top > 0.1 * VOID_UM)
    beneath = (np.abs(x[None, :]) <= 0.5 * face.pitch_mm) & (np.abs(y[:, None]) <= 0.5 * face.pitch_mm)
    if not (here & beneath).any():
        return float("nan")
    return float((top - over)[here].max())


def _under(face: Face, x_mm: float, y_mm: float, side: int) -> tuple[Array, int, int]:
    """What lies under a square of so many cells about a place, um, and row and column of its first cell."""
    ny, nx = face.shape
    row = int(np.floor(y_mm / face.pitch_mm - 0.5 * side + 0.5))
    col = int(np.floor(x_mm / face.pitch_mm - 0.5 * side + 0.5))
    first_row, first_col = max(row, 0), max(col, 0)
    there = slice(first_row, min(row + side, ny)), slice(first_col, min(col + side, nx))
    top = face.height_um[there] + face.burr_um[there]
    if len(face.chips):
        here = np.array([first_col * face.pitch_mm, first_row * face.pitch_mm, 0.0])
        raise_cells(top, face.chips - here, face.pitch_mm)
    return top, first_row, first_col


def sweep_um(face: Face, x_mm: Array, y_mm: Array, base_um: Array, *, indicator: Indicator, slopes: tuple[float, float],
             rng: np.random.Generator) -> Array:
    """What the indicator says at each station in turn, zeroed at the first, um (n,); NaN where there is no iron.

    Parameters
    ----------
    base_um : float64 (n,)
        Height of the face's own plane at each station: the part as it stands.
    slopes : (x, y)
        Of the stand as it is moved, um/mm.

    Notes
    -----
    What is felt, the part's stance and the stand's slope add up; the lever makes 1 / cos of it; the play of the works
    follows late; the reading scatters, and goes in steps.
    """
    felt = np.array([felt_um(face, x, y, indicator) for x, y in zip(x_mm.tolist(), y_mm.tolist(), strict=True)])
    true = felt + base_um + slopes[0] * x_mm + slopes[1] * y_mm
    here = np.isfinite(true)
    told = np.full(len(true), np.nan)
    if not here.any():
        return told
    raised = (true[here] - true[here][0]) / sine(90.0 - indicator.lever_deg)
    late = hysteresis_um(raised, indicator.hysteresis_um)
    late += indicator.repeat_um * rng.standard_normal(len(true))[here]
    steps = np.rint(late / indicator.resolution_um)
    told[here] = (steps - steps[0]) * indicator.resolution_um
    return told


def hysteresis_um(true_um: Array, play_um: float) -> Array:
    """What works with play make of a path of heights: it follows half of the play late, up and down, um (n,)."""
    told = np.empty(len(true_um))
    hand = float(true_um[0]) if len(true_um) else 0.0
    for n, height in enumerate(true_um.tolist()):
        hand = min(max(hand, height - 0.5 * play_um), height + 0.5 * play_um)
        told[n] = hand
    return told


def reading_plane(x_mm: Array, y_mm: Array, z_um: Array) -> Plane:
    """Least-squares plane of readings, by sums in order: a hand acts on it, and the bits are the same everywhere.

    Readings on one line have no slope across it: there 0 is told.
    """
    count = len(z_um)
    mx, my, mz = (_sum(v) / count for v in (x_mm, y_mm, z_um))
    x, y, z = x_mm - mx, y_mm - my, z_um - mz
    xx, yy, xy, xz, yz = (_sum(v) for v in (x * x, y * y, x * y, x * z, y * z))
    det = xx * yy - xy * xy
    if det > 1e-9 * xx * yy:
        return Plane(mz, (xz * yy - yz * xy) / det, (yz * xx - xz * xy) / det, mx, my)
    along = xx + yy
    return Plane(mz, xz / along if along > 0.0 else 0.0, yz / along if along > 0.0 else 0.0, mx, my)


def _sum(values: Array) -> float:
    total = 0.0
    for value in values.tolist():
        total += value
    return total
