"""Flatness and straightness: minimum zone and least squares, with residuals normal to the plane."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.model.face import Face
from sim.model.heights import Heights
from sim.seat.rigid import pivot, refuse_collinear
from sim.units import UM_PER_MM

Vector = NDArray[np.floating]
TILE_MM = 10.0  # a gauge block under an indicator bridges about this much


@dataclass(frozen=True)
class Flatness:
    """Flatness of a set of points (ISO 12781-1), um.

    Attributes
    ----------
    minimum_zone_um : float
        Distance of the two nearest parallel planes that hold every point.
    least_squares_um, peak_um, valley_um, rms_um : float
        FLTt, FLTp, FLTv (positive) and FLTq about the least-squares plane.
    height_um : float
        Height of the least-squares plane over the mean of the points.
    middle_mm : (x, y)
        The mean of the points.
    slopes_um_per_mm : (dz/dx, dz/dy)
        Of the least-squares plane.
    """

    minimum_zone_um: float
    least_squares_um: float
    peak_um: float
    valley_um: float
    rms_um: float
    height_um: float
    middle_mm: tuple[float, float]
    slopes_um_per_mm: tuple[float, float]


@dataclass(frozen=True)
class Straightness:
    """Straightness of a line of points, um: between nearest parallel lines, about least squares, about the ends."""

    minimum_zone_um: float
    least_squares_um: float
    end_points_um: float


def flatness(heights: Heights) -> Flatness:
    """All flatness figures of measured points.

    Raises
    ------
    BadParam
        If there are fewer than three points or, seen from above, they lie on one line.

    Notes
    -----
    The least-squares plane goes through the centroid along the two greatest singular directions, so tilting
    the cloud changes nothing. The minimum zone starts from that frame.

    References
    ----------
    ISO 12781-1 for the quantities; Shakarji, J. Res. NIST 103 (1998) 633 for centroid and singular vectors.
    """
    local, middle, axes = _levelled(heights.x_mm, heights.y_mm, heights.z_um)
    residual = local[:, 2] * UM_PER_MM
    peak, valley = float(residual.max()), float(-residual.min())
    normal = axes[:, 2]
    slope_x, slope_y = (float(-n / normal[2]) * UM_PER_MM if normal[2] > 0.0 else float("inf") for n in normal[:2])
    return Flatness(
        _zone_um(local),
        peak + valley,
        peak,
        valley,
        float(np.sqrt(np.mean(residual * residual))),
        float(middle[2]) * UM_PER_MM,
        (float(middle[0]), float(middle[1])),
        (slope_x, slope_y),
    )


def minimum_zone_um(x_mm: Vector, y_mm: Vector, z_um: Vector) -> float:
    """Distance of the two nearest parallel planes that hold every point, um; arrays (n,), n >= 3.

    Raises
    ------
    BadParam
        As `flatness`.
    """
    return _zone_um(_levelled(x_mm, y_mm, z_um)[0])


def residuals_um(heights: Heights) -> Vector:
    """Distance of each point from the least-squares plane along its normal, um; positive away from the iron."""
    return np.asarray(_levelled(heights.x_mm, heights.y_mm, heights.z_um)[0][:, 2] * UM_PER_MM)


def straightness(x_mm: Vector, z_um: Vector) -> Straightness:
    """Straightness of stations along a line, deviations taken in z.

    Parameters
    ----------
    x_mm, z_um : float arrays (n,), n >= 2
        x ascending; the first and the last station are the ends.
    """
    rows = np.column_stack([np.ones(len(x_mm)), x_mm - x_mm.mean()])
    fit = np.linalg.lstsq(rows, z_um, rcond=None)[0]
    about_ends = z_um - np.interp(x_mm, x_mm[[0, -1]], z_um[[0, -1]])
    return Straightness(_narrowest(rows, z_um)[1], float(np.ptp(z_um - rows @ fit)), float(np.ptp(about_ends)))


def plane_axes(x_mm: Vector, y_mm: Vector, z_um: Vector) -> tuple[Vector, Vector, Vector]:
    """Points about their centroid, mm (n, 3); the centroid; axes of the least-squares plane as columns, normal last.

    Notes
    -----
    For points in any attitude; the normal points up, or sideways where the plane is upright. Nothing is checked.
    """
    points = np.column_stack([x_mm, y_mm, z_um / UM_PER_MM])
    middle = points.mean(axis=0)
    points -= middle
    axes = np.linalg.svd(np.linalg.qr(points, mode="r"))[2].T
    if axes[2, 2] < 0.0:
        axes[:, 2] *= -1.0
    return points, middle, axes


def surface_flatness_um(face: Face) -> float:
    """Minimum zone of every scored cell of a face, um. The burrs are not part of the iron."""
    row, column = np.nonzero(face.scored)
    return _cells_zone_um(face, row, column)


def bearing_flatness_um(face: Face) -> float:
    """Minimum zone of the bearing envelope, um."""
    return _cells_zone_um(face, *bearing_cells(face))


def bearing_cells(face: Face) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Row and column of the bearing envelope: the highest scored cell of each tile of about 10 mm.

    Notes
    -----
    It is what a gauge block under an indicator feels. The face is parted into equal tiles of at most 10 mm,
    counted from its middle as well as from its edges, so a mirrored face has mirrored tiles: where a border
    would fall within a cell, the cell belongs to both sides. Cells that tie for the highest all count.
    """
    lifted = np.where(face.scored, face.height_um, -np.inf)
    found = []
    for top, bottom in _tiles(lifted.shape[0], face.pitch_mm):
        tops = lifted[top:bottom].max(axis=0)
        for left, right in _tiles(lifted.shape[1], face.pitch_mm):
            highest = tops[left:right].max()
            if highest > -np.inf:
                columns = left + np.flatnonzero(tops[left:right] == highest)
                row, which = np.nonzero(lifted[top:bottom, columns] == highest)
                found.append((row + top, columns[which]))
    row, column = (np.concatenate(index) for index in zip(*found, strict=True)) if found else np.zeros((2, 0), int)
    return row, column


def _tiles(cells: int, pitch_mm: float) -> list[tuple[int, int]]:
    """First cell and one past the last of each tile along one side."""
    count = max(1, int(np.ceil(cells * pitch_mm / TILE_MM - 1e-9)))
    return [(k * cells // count, -(-(k + 1) * cells // count)) for k in range(count)]


def _cells_zone_um(face: Face, row: NDArray[np.int64], column: NDArray[np.int64]) -> float:
    return minimum_zone_um((column + 0.5) * face.pitch_mm, (row + 0.5) * face.pitch_mm, face.height_um[row, column])


def _levelled(x_mm: Vector, y_mm: Vector, z_um: Vector) -> tuple[Vector, Vector, Vector]:
    """Points in mm in the frame of their least-squares plane; the centroid; the axes as columns, the normal last."""
    refuse_collinear(x_mm, y_mm)
    points, middle, axes = plane_axes(x_mm, y_mm, z_um)
    return points @ axes, middle, axes


def _zone_um(local: Vector) -> float:
    """Minimum zone of points in mm near the plane z = 0; turned into the plane found until that changes nothing."""
    for _ in range(8):
        rows = np.column_stack([np.ones(len(local)), local[:, :2]])
        fit, width = _narrowest(rows, local[:, 2])
        stretch = float(1.0 + fit[1] ** 2 + fit[2] ** 2)
        if stretch - 1.0 < 1e-10:
            break
        normal = np.array([-fit[1], -fit[2], 1.0])
        local = local @ np.linalg.svd(normal[None])[2].T[:, [1, 2, 0]]
    return width * UM_PER_MM / stretch**0.5


def _narrowest(rows: Vector, z: Vector) -> tuple[Vector, float]:
    """Fit z by rows · v with the least greatest error; v and the width of the band that holds every point.

    Notes
    -----
    A linear programme in v and the half width t: |z - rows · v| <= t. The exchange starts from k + 1 points
    spread as far as they go: they have one dependence, whose signs say on which side of the band each lies.
    """
    n, k = rows.shape
    scale, z_scale = np.abs(rows).max(axis=0), float(np.ptp(z))
    if z_scale == 0.0:
        return np.array([z[0]] + [0.0] * (k - 1)), 0.0
    rows, aim = rows / scale, (z - z.mean()) / z_scale
    start, rest = [], rows.copy()
    for _ in range(k):
        start.append(int(np.einsum("ij,ij->i", rest, rest).argmax()))
        along = rest[start[-1]] / np.linalg.norm(rest[start[-1]])
        rest -= (rest @ along)[:, None] * along
    fit = np.linalg.solve(rows[start], aim[start])
    if n > k:
        error = np.abs(aim - rows @ fit)
        error[start] = -1.0
        start.append(int(error.argmax()))
        sides = np.linalg.svd(rows[start].T)[2][-1]
        both = np.vstack([np.column_stack([rows, np.ones(n)]), np.column_stack([-rows, np.ones(n)])])
        goal = np.array([0.0] * k + [1.0])
        held = np.where(sides >= 0.0, start, np.array(start) + n)
        fit = pivot(both, np.concatenate([aim, -aim]), goal, held)[0]
    error = aim - rows @ fit[:k]
    v = fit[:k] * z_scale / scale
    v[0] += z.mean() / scale[0]
    return v, float(np.ptp(error)) * z_scale
