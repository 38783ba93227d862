"""The rigid seat: three points, their shares of the load, and whether the part rocks."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull

from sim.errors import BadParam

Vector = NDArray[np.floating]
SAME = 1e-9  # shares, and heights relative to the range, below this are none: rounding of decimal input stays far below
RIM = 1e-6  # a load nearer to the rim than this share of the size counts as on it
NUDGE = 1e-7  # how far, as a share of the size, the load is moved to press on a corner: less than RIM
MOST_PIVOTS = 100_000


@dataclass(frozen=True)
class RigidSeat:
    """One way in which a rigid part sits under a load.

    Attributes
    ----------
    stands_on_rows : tuple of 3 int
        Points that it stands on, from 0, ascending. Where more touch at once (a true flat), three that
        balance the load.
    shares : tuple of 3 float
        Share of the load on each; they add up to 1.
    height_um : float
        Height of the plate under the load, in the part's frame.
    slopes_um_per_mm : (dz/dx, dz/dy)
        Of the plate, in the part's frame.
    rocks : bool
        The load is over an edge or a corner of the hull, so a touch tips it into another seat.
    other_seat : RigidSeat or None
        If it rocks: the seat at the other end of the rocking.
    corner_drop_um : tuple of 4 float, >= 0
        How far each corner of the box round the points moves between the seats it can rock to, in the
        order (low x, low y), (high x, low y), (low x, high y), (high x, high y). Zeros if it does not rock.
    """

    stands_on_rows: tuple[int, int, int]
    shares: tuple[float, float, float]
    height_um: float
    slopes_um_per_mm: tuple[float, float]
    rocks: bool = False
    other_seat: "RigidSeat | None" = None
    corner_drop_um: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)


def rigid_seat(x_mm: Vector, y_mm: Vector, z_um: Vector, load_at: tuple[float, float]) -> RigidSeat:
    """Set a rigid part on a flat plate and say what carries it.

    Parameters
    ----------
    x_mm, y_mm, z_um : float arrays (n,), n >= 3
        Points of the part; z towards the plate.
    load_at : (x_mm, y_mm)
        Where the resultant of weight and hands acts.

    Raises
    ------
    BadParam
        If the points lie on one line, or the load is not inside their outline, so that the part tips.

    Notes
    -----
    The plate is the plane z = a + b x + c y on or above every point that is lowest at the load: a linear
    programme in a, b, c. Its multipliers are the load shares: moments about the load balance. It is the
    facet of the upper hull under the load. A share of zero means that the load is over an edge of that
    hull; the load is then pushed a hair (1e-7 of the size) toward and away from each corner, and each
    facet found is a seat. Of several, the two farthest apart are reported.

    References
    ----------
    Shakarji and Srinivasan, JCISE 15 (2015) 041008: the datum that a part rests on as a linear programme.
    """
    refuse_collinear(x_mm, y_mm)
    middle = np.array([x_mm.min() + x_mm.max(), y_mm.min() + y_mm.max()]) / 2
    size_mm = float(np.hypot(np.ptp(x_mm), np.ptp(y_mm)))
    flat = np.column_stack([x_mm - middle[0], y_mm - middle[1]]) / size_mm
    load = (np.array(load_at, dtype=np.float64) - middle) / size_mm
    outline = ConvexHull(flat)
    inside = -float((outline.equations[:, :2] @ load + outline.equations[:, 2]).max())
    if inside < RIM:
        where = "on its rim" if inside > -RIM else f"{-inside * size_mm:.3g} mm outside"
        raise BadParam(
            f"the load must be inside the outline of the points, got {load_at[0]:g},{load_at[1]:g} mm, {where}: "
            "the part would tip"
        )
    range_um = float(np.ptp(z_um)) or 1.0
    rows = np.column_stack([np.ones(len(flat)), flat])
    bounds = (z_um - z_um.max()) / range_um
    rim = np.asarray(outline.vertices)
    corners = np.column_stack([np.ones(4), np.array([(x, y) for y in _ends(flat[:, 1]) for x in _ends(flat[:, 0])])])

    def seat(at: Vector) -> tuple[RigidSeat, Vector]:
        goal = np.array([1.0, *at])
        plane, stands_on = pivot(rows, bounds, goal, _triangle_under(rows, rim, goal))
        order = np.sort(stands_on)
        shares = np.linalg.solve(rows[order].T, np.array([1.0, *load]))
        shares = np.where(np.abs(shares) < SAME, 0.0, shares)
        height = float(plane @ [1.0, *load]) * range_um + float(z_um.max())
        slope_x, slope_y = (float(s) * range_um / size_mm for s in plane[1:])
        one = RigidSeat(tuple(order.tolist()), tuple(shares.tolist()), height, (slope_x, slope_y))
        return one, corners @ plane * range_um

    first, at_corners = seat(load)
    if min(first.shares) > 0.0:
        return first
    ways = [corner[1:] - load for corner in corners]
    seats = [seat(load + sign * NUDGE * way) for way in ways for sign in (1.0, -1.0)]
    seats.append((first, at_corners))
    heights = np.array([heights for _, heights in seats])
    drop = np.ptp(heights, axis=0)
    if drop.max() <= SAME * max(range_um, float(np.abs(heights).max())):
        return first
    apart = np.abs(heights[:, None] - heights[None]).max(axis=2)
    pair = np.unravel_index(int(apart.argmax()), apart.shape)
    drops = tuple(np.where(drop > SAME * range_um, drop, 0.0).tolist())
    found = (replace(seats[int(k)][0], rocks=True, corner_drop_um=drops) for k in pair)
    one, other = sorted(found, key=lambda way: way.stands_on_rows)
    return replace(one, other_seat=other)


def refuse_collinear(x_mm: Vector, y_mm: Vector) -> None:
    """Refuse points that no plane can be laid through.

    Raises
    ------
    BadParam
        If there are fewer than three, or seen from above they lie within 1e-9 of their length of one line.
    """
    if len(x_mm) < 3:
        raise BadParam(f"a plane needs at least 3 points, got {len(x_mm)}")
    about_middle = np.column_stack([x_mm - x_mm.mean(), y_mm - y_mm.mean()])
    spread = np.linalg.svd(np.linalg.qr(about_middle, mode="r"), compute_uv=False)
    if spread[1] <= SAME * max(spread[0], 1.0):
        raise BadParam(f"a plane needs points that do not lie on one line in x and y, got {len(x_mm)} that do")


def pivot(rows: Vector, bounds: Vector, goal: Vector, basis: NDArray[np.int64]) -> tuple[Vector, NDArray[np.int64]]:
    """Minimise goal · v subject to rows · v >= bounds, by exchanging one of the rows that hold v at a time.

    Parameters
    ----------
    rows : (n, k)
        Of the order of 1, as are the bounds.
    bounds : (n,)
    goal : (k,)
    basis : (k,) int
        Independent rows of which the goal is a combination with no negative weight.

    Returns
    -------
    v : (k,)
    basis : (k,) int
        The rows that hold it; the weights that make up the goal are its multipliers.

    Notes
    -----
    The dual simplex method, for few unknowns and very many rows: one pass over the rows an exchange. The
    row violated most comes in; after an exchange that gained nothing, the first that is violated does
    (Bland's rule, which cannot circle).
    """
    basis = np.array(basis, dtype=np.int64)
    stalled = False
    for _ in range(MOST_PIVOTS):
        held = rows[basis]
        v = np.linalg.solve(held, bounds[basis])
        short = bounds - rows @ v
        short[basis] = -np.inf
        tolerance = 1e-13 * (1.0 + float(np.abs(v).sum()))
        entering = int((short > tolerance).argmax() if stalled else short.argmax())
        if short[entering] <= tolerance:
            return v, basis
        weights = np.linalg.solve(held.T, goal)
        toward = np.linalg.solve(held.T, rows[entering])
        ratio = np.full(len(basis), np.inf)
        np.divide(np.maximum(weights, 0.0), toward, out=ratio, where=toward > 1e-12)
        ties = np.flatnonzero(ratio <= ratio.min() + 1e-15)
        leaving = int(ties[basis[ties].argmin()])
        stalled = bool(ratio[leaving] <= 1e-15)
        basis[leaving] = entering
    raise ArithmeticError(f"no optimum after {MOST_PIVOTS} exchanges")


def _triangle_under(rows: Vector, rim: NDArray[np.int64], goal: Vector) -> NDArray[np.int64]:
    """Three points of the outline round the load: the start of the exchange."""
    fan = np.array([(rim[0], rim[k], rim[k + 1]) for k in range(1, len(rim) - 1)])
    weights = np.linalg.solve(rows[fan].transpose(0, 2, 1), np.broadcast_to(goal, (len(fan), 3))[..., None])[..., 0]
    return np.asarray(fan[int(weights.min(axis=1).argmax())])


def _ends(values: Vector) -> tuple[float, float]:
    return float(values.min()), float(values.max())
