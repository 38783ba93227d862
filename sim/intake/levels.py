"""Level readings along a union jack: heights of eight lines by Moody's method."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sim.errors import BadFile, BadParam
from sim.intake.tables import Table, read_table
from sim.model.heights import Heights
from sim.units import ARCSEC_UM_PER_M

Ends = tuple[str, str]

# Where the lines meet, as shares of length (x, to the east) and width (y, to the north).
COMPASS = {
    "SW": (0.0, 0.0),
    "SE": (1.0, 0.0),
    "NW": (0.0, 1.0),
    "NE": (1.0, 1.0),
    "S": (0.5, 0.0),
    "N": (0.5, 1.0),
    "W": (0.0, 0.5),
    "E": (1.0, 0.5),
}
DIAGONALS: tuple[Ends, Ends] = (("NW", "SE"), ("NE", "SW"))
LONG_SIDES: tuple[Ends, Ends] = (("NE", "NW"), ("SE", "SW"))
SHORT_SIDES: tuple[Ends, Ends] = (("NE", "SE"), ("NW", "SW"))
CENTRE_LINES: tuple[Ends, Ends] = (("E", "W"), ("N", "S"))
LINES = DIAGONALS + LONG_SIDES + SHORT_SIDES + CENTRE_LINES
UM_PER_M = {"reading_arcsec": ARCSEC_UM_PER_M, "reading_um_per_m": 1.0, "reading_urad": 1.0, "reading_mm_per_m": 1000.0}
FOOT_MM = (1.0, 2000.0)
MOST_STEPS = 2000
MM_PER_M = 1000.0
LARGEST_UM_PER_M = 1e5  # a slope of 1 in 10: no level reads that
DIAGONAL_MISFIT = 0.10  # steps are whole feet, so a diagonal is laid out up to this share longer or shorter


@dataclass(frozen=True)
class Levels:
    """A plate surveyed by level along eight lines.

    Attributes
    ----------
    heights : Heights
        Every station of every line in the order of the file; the lowest is 0. Where lines meet, each
        brings its own point.
    lines : tuple of str
        Name of the line of each station.
    range_um : float
        Highest less lowest, about Moody's datum: parallel to both diagonals.
    closure_east_west_um, closure_north_south_um : float
        Middle of the centre line, its ends laid on the sides, less the crossing of the diagonals.
    """

    heights: Heights
    lines: tuple[str, ...]
    range_um: float
    closure_east_west_um: float
    closure_north_south_um: float


def read_levels(path: str | Path, foot_mm: float) -> Levels:
    """Read a union jack of level or autocollimator readings and close it.

    Parameters
    ----------
    path : str or Path
        Table with the columns `line`, `step` and one of `reading_arcsec`, `reading_um_per_m`,
        `reading_mm_per_m`, `reading_urad`. A line is named by its two ends, NW_SE from north-west to
        south-east; its steps are numbered 1, 2, 3 ... in that direction, and a greater reading rises.
    foot_mm : float
        Length of the foot, thus of a step, 1 to 2000 mm.

    Raises
    ------
    BadFile
        As `read_table`; and if a line is unknown, missing or double, its steps are out of order or odd in
        number, or the lines do not make a rectangle.
    BadParam
        If the foot is out of range.

    Notes
    -----
    Each diagonal is tilted until its ends are level with each other and moved until its middle is the
    crossing; the sides are then laid between the corners and the centre lines between the middles of the
    sides. A constant in the readings of a line falls out. The length of the plate is the number of steps
    of a long side times the foot; stations of a diagonal are spread evenly between the corners.

    References
    ----------
    J. C. Moody, How to calibrate surface plates in the plant, The Tool Engineer, October 1955.
    """
    if not FOOT_MM[0] <= foot_mm <= FOOT_MM[1]:
        raise BadParam(f"the foot must be {FOOT_MM[0]:g} to {FOOT_MM[1]:g} mm long, got {foot_mm:g} mm")
    table = read_table(path)
    written = _rises(table, foot_mm)
    rises = {ends: written[ends] if ends in written else -written[ends[::-1]][::-1] for ends in LINES}
    _refuse_no_rectangle(str(path), {ends: len(rise) for ends, rise in rises.items()})
    closed, east_west, north_south = _closed(rises)

    size_mm = np.array([len(rises[LONG_SIDES[0]]), len(rises[SHORT_SIDES[0]])]) * foot_mm
    points, z = [], []
    for ends in written:
        start, end = (np.array(COMPASS[corner]) * size_mm for corner in ends)
        z.append(closed[ends] if ends in closed else closed[ends[::-1]][::-1])
        points.append(start + (end - start) * np.linspace(0.0, 1.0, len(z[-1]))[:, None])
    x_mm, y_mm = np.concatenate(points).T.copy()
    z_um = np.concatenate(z)
    z_um -= z_um.min()
    names = tuple("_".join(ends) for ends, heights in zip(written, z, strict=True) for _ in heights)
    return Levels(Heights(x_mm, y_mm, z_um), names, float(z_um.max()), east_west, north_south)


def _rises(table: Table, foot_mm: float) -> dict[Ends, NDArray[np.float64]]:
    """The rise over each step of each line, um, by the ends of the line as written."""
    units = [name for name in table.names if name in UM_PER_M]
    missing = [name for name in ("line", "step") if name not in table.names]
    if missing or len(units) != 1:
        raise BadFile(
            f"{table.path}: the header must name line, step and one of {', '.join(UM_PER_M)}, "
            f"got {', '.join(table.names)[:120]!r}"
        )
    table.refuse_ragged()
    line, step = table.names.index("line"), table.names.index("step")
    values = table.numbers([step, table.names.index(units[0])])
    known = {"_".join(ends): ends for pair in LINES for ends in (pair, pair[::-1])}
    rises: dict[Ends, list[float]] = {}
    for row, (number, reading) in enumerate(values):
        name = table.cells(row)[line].upper()
        if name not in known:
            allowed = ", ".join("_".join(ends) for ends in LINES)
            table.refuse(row, line, f"must be one of {allowed} or its reverse, got {name[:40]!r}")
        ends = known[name]
        if ends[::-1] in rises:
            table.refuse(row, line, f"must keep one direction, got {name} after {'_'.join(ends[::-1])}")
        run = rises.setdefault(ends, [])
        if number != len(run) + 1 or len(run) >= MOST_STEPS:
            table.refuse(row, step, f"must be step {len(run) + 1} of {name} (at most {MOST_STEPS}), got {number:g}")
        if abs(reading) * UM_PER_M[units[0]] > LARGEST_UM_PER_M:
            table.refuse(row, table.names.index(units[0]), f"must be a slope of at most 1 in 10, got {reading:g}")
        run.append(reading * UM_PER_M[units[0]] * foot_mm / MM_PER_M)
    for pair in LINES:
        if pair not in rises and pair[::-1] not in rises:
            raise BadFile(f"{table.path}: a union jack has eight lines, {'_'.join(pair)} is missing")
    return {ends: np.array(run) for ends, run in rises.items()}


def _refuse_no_rectangle(path: str, steps: dict[Ends, int]) -> None:
    """Opposite lines must have the same even number of steps, and the diagonals must fit the sides."""
    for one, other in (
        DIAGONALS,
        LONG_SIDES,
        SHORT_SIDES,
        (LONG_SIDES[0], CENTRE_LINES[0]),
        (SHORT_SIDES[0], CENTRE_LINES[1]),
    ):
        if steps[one] != steps[other]:
            raise BadFile(
                f"{path}: {'_'.join(one)} and {'_'.join(other)} must have the same number of steps, "
                f"got {steps[one]} and {steps[other]}"
            )
    for ends in (DIAGONALS[0], LONG_SIDES[0], SHORT_SIDES[0]):
        if steps[ends] % 2:
            raise BadFile(
                f"{path}: {'_'.join(ends)} must have an even number of steps, for a station in its middle, "
                f"got {steps[ends]}"
            )
    fitting = float(np.hypot(steps[LONG_SIDES[0]], steps[SHORT_SIDES[0]]))
    if abs(steps[DIAGONALS[0]] / fitting - 1.0) > DIAGONAL_MISFIT:
        raise BadFile(
            f"{path}: sides of {steps[LONG_SIDES[0]]} and {steps[SHORT_SIDES[0]]} steps need diagonals of "
            f"{fitting:.1f} steps within {DIAGONAL_MISFIT:.0%}, got {steps[DIAGONALS[0]]}"
        )


def _closed(rises: dict[Ends, NDArray[np.float64]]) -> tuple[dict[Ends, NDArray[np.float64]], float, float]:
    """Heights of every line about the plane of the diagonals, 0 at their crossing; then both closures, um."""
    closed = {}
    at = {}
    for ends in DIAGONALS:
        heights = _laid(rises[ends], 0.0, 0.0)
        closed[ends] = heights - heights[len(heights) // 2]
        at[ends[0]] = at[ends[1]] = closed[ends][0]
    middles = []
    for lines in (LONG_SIDES + SHORT_SIDES, CENTRE_LINES):
        for ends in lines:
            closed[ends] = _laid(rises[ends], at[ends[0]], at[ends[1]])
            middles.append(float(closed[ends][len(closed[ends]) // 2]))
        at |= dict(zip(("N", "S", "E", "W"), middles, strict=False))  # the middles of the sides, in their order
    return closed, middles[-2], middles[-1]


def _laid(rise: NDArray[np.float64], start: float, end: float) -> NDArray[np.float64]:
    """A line summed up from its steps and tilted until it runs from `start` to `end`."""
    heights = np.concatenate([[0.0], np.cumsum(rise)])
    along = np.linspace(0.0, 1.0, len(heights))
    return start + heights + (end - start - heights[-1]) * along
