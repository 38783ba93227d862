"""The hinge test: push one end of a part sideways on the plate and see about which point it turns."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.errors import BadParam
from sim.params import param, tool

Array = NDArray[np.float64]
NO_TURN_LENGTHS = 10.0  # a pivot farther than this many lengths away is a slide without a turn


@tool
class HingeReading:
    """When the pivot of a face is called crowned or hollow."""

    half_way: float = param(0.5, "", (0.05, 0.95), "how far from the even pivot to the middle or the far end",
                            "common practice, no source")
    block_mm: float = param(1.0, "mm", (0.1, 5.0), "blocks into which the even face is cut",
                            "computed: moves the pivot by less than 0.0005 of the length")


READING = HingeReading()


@dataclass(frozen=True)
class Pivot:
    """About which point a part turns when it is pushed.

    Attributes
    ----------
    x_mm, y_mm : float
        The point that stands still.
    from_push_mm : float
        Its distance from the pushed point, across the push, towards the face. A part that slides without turning
        gets ten lengths.
    share : float
        Distance from the far end over the length: 0 at the far end, 1/2 in the middle.
    push_per_mu_n : float
        The sideways force that moves the part, N, for a friction coefficient of 1.
    """

    x_mm: float
    y_mm: float
    from_push_mm: float
    share: float
    push_per_mu_n: float


@dataclass(frozen=True)
class Hinge:
    """Both ends pushed in turn: first the end of high coordinate along the length, then the low one.

    Attributes
    ----------
    pivots, even : (Pivot, Pivot)
        Of the face, and of an evenly bearing face of the same outline.
    readings : (str, str)
        "even", "crowned" or "hollow".
    """

    pivots: tuple[Pivot, Pivot]
    even: tuple[Pivot, Pivot]
    readings: tuple[str, str]


def pivot(x_mm: Array, y_mm: Array, load_n: Array, *, push_at: tuple[float, float], push_dir: tuple[float, float],
          length_mm: float) -> Pivot:
    """The point about which a part turns when it is pushed sideways.

    Parameters
    ----------
    x_mm, y_mm, load_n : float64 (n,)
        What the part stands on: where, and how hard, N. Any scale of load gives the same pivot.
    push_at : (x, y)
        The pushed point, mm.
    push_dir : (x, y)
        Direction of the push, any length.
    length_mm : float
        Length of the face from the pushed end, across the push.

    Raises
    ------
    BadParam
        If the arrays do not match, a value is not finite, a load is negative or all are zero, or the direction or
        the length is zero.

    Notes
    -----
    Rigid body, Coulomb friction with one coefficient: of all velocities that move the pushed point at unit speed along
    the push, the part takes that of least friction work, the sum of load x speed. This is convex in the two velocities
    that are left free (sideways, and turning); kinks stand where a loaded point stands still. Damped Newton steps on
    sqrt(v^2 + e^2) while e shrinks, then the loaded point nearest to the pivot is tried as the pivot itself. About
    1 ms for 300 points. Points in one line give a weighted median: a uniform bar turns at 1 - 1/sqrt(2) of its length.
    """
    x, y, load = (np.asarray(a, dtype=np.float64).ravel() for a in (x_mm, y_mm, load_n))
    if not len(x) == len(y) == len(load):
        raise BadParam(f"x_mm, y_mm and load_n must be of one length, got {len(x)}, {len(y)}, {len(load)}")
    if not (np.isfinite(x).all() and np.isfinite(y).all() and np.isfinite(load).all()):
        raise BadParam("x_mm, y_mm and load_n must be finite")
    total = float(load.sum())
    if not (load >= 0.0).all() or total <= 0.0:
        raise BadParam("load_n must be at least 0 N everywhere and above 0 N somewhere")
    reach = math.hypot(*push_dir)
    if not (0.0 < reach < math.inf and 0.0 < length_mm < math.inf):
        raise BadParam(f"push_dir and length_mm must not be zero, got {push_dir}, {length_mm}")
    ux, uy = push_dir[0] / reach, push_dir[1] / reach
    held = load > 0.0
    dx, dy = (x[held] - push_at[0]) / length_mm, (y[held] - push_at[1]) / length_mm
    along, across = dx * ux + dy * uy, dy * ux - dx * uy
    share = load[held] / total
    side = 1.0 if float((share * across).sum()) >= 0.0 else -1.0  # the side of the push on which the face lies
    across *= side
    slip, turn = _least_work(along, across, share)
    work = _work(along, across, share, slip, turn)
    slowest = int(np.argmin((1.0 - turn * across) ** 2 + (slip + turn * along) ** 2))
    if across[slowest] != 0.0:
        turn_there = 1.0 / across[slowest]
        slip_there = -turn_there * along[slowest]
        work_there = _work(along, across, share, slip_there, turn_there)
        if work_there <= work:
            slip, turn, work = slip_there, turn_there, work_there
    if turn < 1.0 / NO_TURN_LENGTHS:
        slip, turn = 0.0, 1.0 / NO_TURN_LENGTHS
    a, b = float(-slip / turn * length_mm), float(length_mm / turn)
    at = (float(push_at[0] + a * ux - side * b * uy), float(push_at[1] + a * uy + side * b * ux))
    return Pivot(*at, from_push_mm=b, share=1.0 - b / length_mm, push_per_mu_n=work * total)


def even_pivot(iron: NDArray[np.bool_], pitch_mm: float, push_at: tuple[float, float], push_dir: tuple[float, float],
               length_mm: float) -> Pivot:
    """The pivot of a face of this outline that bears evenly everywhere.

    Parameters
    ----------
    iron : bool (ny, nx)
    pitch_mm : float
    push_at, push_dir, length_mm
        As in `pivot`.

    Raises
    ------
    BadParam
        If there is no iron, or as in `pivot`.

    Notes
    -----
    The iron is gathered into blocks of `HingeReading.block_mm`, each loaded at its own centroid by its cells.
    """
    x, y, load = _blocks(np.asarray(iron, dtype=bool), pitch_mm)
    return pivot(x, y, load, push_at=push_at, push_dir=push_dir, length_mm=length_mm)


def hinge(iron: NDArray[np.bool_], pitch_mm: float, x_mm: Array, y_mm: Array, load_n: Array) -> Hinge:
    """Push each end of a face in turn, square to its longer side, and compare with the even face of its outline.

    Parameters
    ----------
    iron : bool (ny, nx)
        The outline; ends and length are those of the box around it.
    pitch_mm : float
    x_mm, y_mm, load_n : float64 (n,)
        What the compliant seat says the face stands on.

    Raises
    ------
    BadParam
        If there is no iron, or as in `pivot`.

    Notes
    -----
    A wide even face turns nearer to its far end than a bar, so a fixed third would read it as hollow.
    """
    blocks = _blocks(np.asarray(iron, dtype=bool), pitch_mm)
    rows, columns = np.flatnonzero(np.any(iron, axis=1)), np.flatnonzero(np.any(iron, axis=0))
    low_x, high_x = columns[0] * pitch_mm, (columns[-1] + 1) * pitch_mm
    low_y, high_y = rows[0] * pitch_mm, (rows[-1] + 1) * pitch_mm
    if len(columns) >= len(rows):
        length, middle = float(high_x - low_x), 0.5 * (low_y + high_y)
        pushes = (((high_x, middle), (0.0, 1.0)), ((low_x, middle), (0.0, 1.0)))
    else:
        length, middle = float(high_y - low_y), 0.5 * (low_x + high_x)
        pushes = (((middle, high_y), (1.0, 0.0)), ((middle, low_y), (1.0, 0.0)))
    high, low = (pivot(x_mm, y_mm, load_n, push_at=at, push_dir=way, length_mm=length) for at, way in pushes)
    even_high, even_low = (pivot(*blocks, push_at=at, push_dir=way, length_mm=length) for at, way in pushes)
    return Hinge((high, low), (even_high, even_low), (pivot_reading(high, even_high), pivot_reading(low, even_low)))


def pivot_reading(face: Pivot, even: Pivot, reading: HingeReading = READING) -> str:
    """Say "crowned", "hollow" or "even" of a pivot, against that of the even face of the same outline.

    Notes
    -----
    Crowned when the pivot has moved more than `half_way` from the even place to the middle, hollow when more than
    that to the far end. The reading (even near a third, middle = crowned, ends = hollow) is published in
    J. Rose, Modern Machine-Shop Practice; the half-way limits are common practice, no source.
    """
    if face.share > even.share + reading.half_way * (0.5 - even.share):
        return "crowned"
    if face.share < even.share * (1.0 - reading.half_way):
        return "hollow"
    return "even"


def _work(along: Array, across: Array, share: Array, slip: float, turn: float) -> float:
    """Friction work of one velocity: the sum of load share x speed."""
    return float((share * np.sqrt((1.0 - turn * across) ** 2 + (slip + turn * along) ** 2)).sum())


def _least_work(along: Array, across: Array, share: Array) -> tuple[float, float]:
    """Slip and turn of least friction work: Newton with backtracking on a smoothed work, less smooth by steps."""
    slip, turn = 0.0, 1.0
    smooth = 0.5
    while smooth > 1e-9:
        for _ in range(30):
            v1, v2 = 1.0 - turn * across, slip + turn * along
            inv = 1.0 / np.sqrt(v1 * v1 + v2 * v2 + smooth * smooth)
            w = share * inv
            q = along * v2 - across * v1
            g_s, g_t = float((w * v2).sum()), float((w * q).sum())
            w3 = w * inv * inv
            h_ss = float((w - w3 * v2 * v2).sum())
            h_st = float((w * along - w3 * v2 * q).sum())
            h_tt = float((w * (along * along + across * across) - w3 * q * q).sum())
            ridge = 1e-14 * (h_ss + h_tt)
            h_ss, h_tt = h_ss + ridge, h_tt + ridge
            det = h_ss * h_tt - h_st * h_st
            if det <= 0.0:
                break
            d_s, d_t = (h_st * g_t - h_tt * g_s) / det, (h_st * g_s - h_ss * g_t) / det
            drop = -(g_s * d_s + g_t * d_t)
            if drop <= 1e-13:
                break
            here = float((share / inv).sum())
            step = 1.0
            while step > 1e-6:
                u1, u2 = 1.0 - (turn + step * d_t) * across, slip + step * d_s + (turn + step * d_t) * along
                if float((share * np.sqrt(u1 * u1 + u2 * u2 + smooth * smooth)).sum()) <= here - 1e-4 * step * drop:
                    break
                step *= 0.5
            else:
                break
            slip, turn = slip + step * d_s, turn + step * d_t
        smooth *= 0.2
    return slip, turn


def _blocks(iron: NDArray[np.bool_], pitch_mm: float, reading: HingeReading = READING) -> tuple[Array, Array, Array]:
    """Centroid and cells of each block of iron."""
    if iron.ndim != 2 or not iron.any():
        raise BadParam(f"iron must be (ny, nx) with at least one cell of iron, got shape {iron.shape}")
    n = max(1, round(reading.block_mm / pitch_mm))
    starts_y, starts_x = (np.arange(0, size, n) for size in iron.shape)

    def gathered(values: Array) -> Array:
        return np.add.reduceat(np.add.reduceat(values, starts_y, axis=0), starts_x, axis=1)

    cells = iron.astype(np.float64)
    load = gathered(cells)
    held = load > 0.0
    x = gathered(cells * ((np.arange(iron.shape[1]) + 0.5) * pitch_mm)[None, :])[held] / load[held]
    y = gathered(cells * ((np.arange(iron.shape[0]) + 0.5) * pitch_mm)[:, None])[held] / load[held]
    return x, y, load[held]
