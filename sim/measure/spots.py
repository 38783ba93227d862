"""What an eye reads of a print: spots in the counting square, bearing share, and how deep the hollows lie."""

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sim.errors import BadParam
from sim.kernels.islands import close_gaps, label_islands, square_counts
from sim.model.face import Face
from sim.model.marks import Marks
from sim.params import param, tool
from sim.units import MM_PER_INCH

Array = NDArray[np.float64]
SHEET_MM = (50.0, 25.0)  # ISO 8512-1: 200 squares of 2.5 mm on a clear sheet
SHEET_SQUARE_MM = 2.5
PASSES = 3  # of the bearing plane: a tilt of 0.1 um/mm is gone to 0.01 um


@tool
class Eye:
    """How an eye groups and counts marks."""

    gap_mm: float = param(0.3, "mm", (0.0, 2.0), "gaps narrower than this do not part a mark", "from memory")
    spot_area_mm2: float = param(1.0, "mm2", (0.0, 25.0), "the smallest mark that counts", "from memory")
    large_mm2: float = param(15.0, "mm2", (1.0, 1000.0), "a mark over this asks to be split", "from memory")
    square_mm: float = param(MM_PER_INCH, "mm", (5.0, 100.0), "side of the counting square, an inch",
                             "common practice, no source; a plate maker's page counts in 25 mm")
    full_share: float = param(0.9, "", (0.1, 1.0), "squares with less of the iron of the fullest square are left out",
                              "common practice, no source")
    tile_mm: float = param(10.0, "mm", (2.0, 50.0), "the highest cell of each tile of this size bears", "from memory")


EYE = Eye()


@dataclass(frozen=True)
class Islands:
    """Connected marks after closing narrow gaps, in raster order of their first cell.

    Attributes
    ----------
    labels : int64 (ny, nx)
        0 where unmarked, k + 1 on island k.
    area_mm2, x_mm, y_mm : float64 (n,)
        Area and centroid, closed gaps included.
    """

    labels: NDArray[np.int64]
    area_mm2: Array
    x_mm: Array
    y_mm: Array


@dataclass(frozen=True)
class Spots:
    """A counted print.

    Attributes
    ----------
    count : int
        Spots on the whole face.
    mean, lowest : float
        Spots per square of the eye (a square inch by default) over all placements, and in the poorest.
    cv : float
        Coefficient of variation over the placements; NaN where there are no spots at all: none are not even.
    bearing_pct : float
        Marked share of the iron, gaps not closed, marks of any size.
    large : int
        Marks that ask to be split.
    areas_mm2 : float64 (count,)
        Areas of the counted spots.
    lowest_at_mm : (x, y)
        Centre of the poorest placement (the first one met, row by row).
    """

    count: int
    mean: float
    lowest: float
    cv: float
    bearing_pct: float
    large: int
    areas_mm2: Array = field(repr=False)
    lowest_at_mm: tuple[float, float]


def islands(marks: Marks, gap_mm: float = EYE.gap_mm) -> Islands:
    """Group the marks as an eye does: gaps under `gap_mm` closed, then by sides and corners.

    Parameters
    ----------
    marks : Marks
    gap_mm : float
        A run of n unmarked cells between two marks closes when n pitch < gap along rows and columns, or
        n pitch sqrt(2) < gap along diagonals: at 0.25 mm pitch and 0.3 mm one cell, never two.

    Raises
    ------
    BadParam
        If the arrays of `marks` do not match.
    """
    marked, _ = _checked(marks)
    ny, nx = marked.shape
    closed = np.empty((ny, nx), bool)
    p = marks.pitch_mm
    close_gaps(marked, _longest_run(gap_mm, p), _longest_run(gap_mm, p * math.sqrt(2.0)), closed)
    most = ((ny + 1) // 2) * ((nx + 1) // 2)
    labels = np.empty((ny, nx), np.int64)
    area, sum_x, sum_y = (np.empty(most, np.int64) for _ in range(3))
    n = label_islands(closed, labels, area, sum_x, sum_y)
    cells = area[:n].astype(np.float64)
    return Islands(labels, cells * (p * p), (sum_x[:n] / cells + 0.5) * p, (sum_y[:n] / cells + 0.5) * p)


def spots(marks: Marks, spot_area_mm2: float | None = None, eye: Eye = EYE) -> Spots:
    """Count the spots in every placement of the counting square on the face.

    Parameters
    ----------
    marks : Marks
    spot_area_mm2 : float, optional
        The smallest mark that counts, instead of the eye's.
    eye : Eye

    Returns
    -------
    Spots

    Raises
    ------
    BadParam
        If the arrays of `marks` do not match or there is no iron.

    Notes
    -----
    A spot counts where its centroid lies. The square moves cell by cell within the box around the iron, its exact
    side kept. Where a hole, slot or outline takes iron away, the count is divided by the share of iron; placements
    with less than `full_share` of the iron of the fullest placement are left out. A face narrower than the square
    is counted with the largest rectangle that fits and scaled to the area of the square. 3 to 5 ms on 282,000 cells.
    """
    marked, iron = _checked(marks)
    found = islands(marks, eye.gap_mm)
    counted = found.area_mm2 >= (eye.spot_area_mm2 if spot_area_mm2 is None else spot_area_mm2) * (1.0 - 1e-9)
    rows, columns = np.flatnonzero(iron.any(axis=1)), np.flatnonzero(iron.any(axis=0))
    y0, x0 = int(rows[0]), int(columns[0])
    box = np.ascontiguousarray(iron[y0 : rows[-1] + 1, x0 : columns[-1] + 1])
    per_square, lowest_at = _densities(
        found.x_mm[counted] / marks.pitch_mm - x0, found.y_mm[counted] / marks.pitch_mm - y0, box, marks.pitch_mm, eye)
    mean = float(per_square.mean())
    return Spots(
        count=int(counted.sum()),
        mean=mean,
        lowest=float(per_square.min()),
        cv=float(per_square.std()) / mean if mean > 0.0 else math.nan,
        bearing_pct=100.0 * int(np.count_nonzero(marked)) / int(np.count_nonzero(iron)),
        large=int((found.area_mm2 > eye.large_mm2).sum()),
        areas_mm2=found.area_mm2[counted],
        lowest_at_mm=((lowest_at[0] + x0) * marks.pitch_mm, (lowest_at[1] + y0) * marks.pitch_mm),
    )


def spots_in_square(marks: Marks, corner_mm: tuple[float, float], eye: Eye = EYE) -> int:
    """Spots whose middle lies in one counting square.

    Parameters
    ----------
    marks : Marks
    corner_mm : (x, y)
        Corner of the square nearest the origin; it need not lie on the face. None are in a square at NaN.
    eye : Eye

    Raises
    ------
    BadParam
        If the arrays of `marks` do not match.
    """
    found = islands(marks, eye.gap_mm)
    inside = found.area_mm2 >= eye.spot_area_mm2
    for at_mm, low_mm in zip((found.x_mm, found.y_mm), corner_mm, strict=True):
        inside &= (at_mm >= low_mm) & (at_mm < low_mm + eye.square_mm)
    return int(inside.sum())


def _densities(x: Array, y: Array, iron: NDArray[np.bool_], pitch_mm: float,
               eye: Eye) -> tuple[Array, tuple[float, float]]:
    """Spots per square in each placement that is kept, and the centre of the poorest; x, y and centre in cells."""
    ny, nx = iron.shape
    side = round(eye.square_mm / pitch_mm, 9)
    size = (float(min(side, nx)), float(min(side, ny)))
    counts = np.empty((math.floor(ny - size[1]) + 1, math.floor(nx - size[0]) + 1), np.int64)
    cells = np.empty_like(counts)
    square_counts(x, y, iron, size, counts, cells)
    my, mx = counts.shape
    whole = (nx - mx + 1) * (ny - my + 1)
    kept = cells >= eye.full_share * int(cells.max())
    density = counts * (whole * (side / size[0]) * (side / size[1]))  # then divided: exact where all is iron
    density /= np.maximum(cells, 1)
    density[~kept] = np.inf
    i, j = divmod(int(density.argmin()), mx)
    centre = (j + 0.5 * (nx - mx + 1), i + 0.5 * (ny - my + 1))
    return density[kept], centre


def bearing_by_tenths(marks: Marks, at_mm: tuple[float, float], upright: bool = False) -> float:
    """Bearing share in % as a person scores it with a clear sheet of 200 squares laid on the print.

    Parameters
    ----------
    marks : Marks
    at_mm : (x, y)
        Corner of the sheet nearest the origin; moved to the nearest cell.
    upright : bool
        The long side along y instead of x.

    Returns
    -------
    float
        Each square of 2.5 mm is judged to the nearest tenth (halves up); the sum of the tenths' shares over two.

    Raises
    ------
    BadParam
        If no square of the sheet lies on iron by half or more, or a cell is larger than a square.

    Notes
    -----
    Squares with less than half of their area on iron are left out and the sum is scaled to 200: so a face smaller
    than the sheet, or a sheet hanging over an edge or hole, is scored on the squares that it fills.

    References
    ----------
    ISO 8512-1, text as issued in AS 1004.1-1998: sheet of 50 x 25 mm, 200 squares, judged to a tenth.
    """
    marked, iron = _checked(marks)
    if marks.pitch_mm > SHEET_SQUARE_MM:
        raise BadParam(f"pitch_mm must be at most {SHEET_SQUARE_MM} for the squares of a sheet, got {marks.pitch_mm}")
    wide, high = SHEET_MM[::-1] if upright else SHEET_MM
    in_x = _sheet_lines(at_mm[0], wide, marks.pitch_mm)
    in_y = _sheet_lines(at_mm[1], high, marks.pitch_mm)
    inked = _block_sums(marked, in_y, in_x)
    held = _block_sums(iron, in_y, in_x)
    area = np.diff(in_y)[:, None] * np.diff(in_x)[None, :]
    scored = 2 * held >= area
    if not scored.any():
        raise BadParam(f"at_mm must lay at least one square of the sheet on iron, got ({at_mm[0]:g}, {at_mm[1]:g})")
    tenths = np.floor(10.0 * inked[scored] / held[scored] + 0.5)
    return float(10.0 * tenths.mean())


def bearing_sheets(marks: Marks) -> Array:
    """Bearing share in % of each of the sheets that cover the face side by side, long side along the longer side.

    As many sheets as fit, spread evenly from end to end; one where none fits. Row by row from the origin.

    Raises
    ------
    BadParam
        As `bearing_by_tenths`.
    """
    _, iron = _checked(marks)
    rows, columns = np.flatnonzero(iron.any(axis=1)), np.flatnonzero(iron.any(axis=0))
    p = marks.pitch_mm
    spans = ((columns[0] * p, (columns[-1] + 1) * p), (rows[0] * p, (rows[-1] + 1) * p))
    upright = bool(len(rows) > len(columns))
    corners = [_spread(low, high, sheet)
               for (low, high), sheet in zip(spans, SHEET_MM[::-1] if upright else SHEET_MM, strict=True)]
    return np.array([bearing_by_tenths(marks, (x, y), upright) for y in corners[1] for x in corners[0]])


def pocket_depth_um(face: Face, eye: Eye = EYE) -> float:
    """How deep the hollows lie below what bears: the median depth of the scored cells under the local bearing plane.

    Parameters
    ----------
    face : Face
    eye : Eye
        Its `tile_mm` is the size of a tile.

    Returns
    -------
    float
        um. Half of the face lies deeper than this below the high spots around it; 2 to 6 is wanted (common
        practice, no source).

    Raises
    ------
    BadParam
        If no cell is scored.

    Notes
    -----
    The bearing plane passes through the highest scored cell of each tile and is interpolated linearly between the
    middles of the tiles and beyond them; what is left is
    laid through the same way twice more, so that tilt and slow form do not count. Tiles that are
    scored by less than half follow their neighbours. Burrs are not iron and do not count. About 6 ms on 282,000 cells.
    """
    if not face.scored.any():
        raise BadParam("pocket depth needs at least one scored cell, got none")
    ny, nx = face.shape
    edges_y, edges_x = (_tile_edges(n, eye.tile_mm / face.pitch_mm) for n in (ny, nx))
    held = _block_sums(face.scored, edges_y, edges_x)
    full = 2 * held >= min((ny * nx) // held.size, 2 * int(held.max()))
    along_y, along_x = _weights(edges_y), _weights(edges_x)
    height = np.where(face.scored, face.height_um, -np.inf)
    for _ in range(PASSES):
        tops = _filled(_block_tops(height, edges_y, edges_x), full)
        height -= along_y @ tops @ along_x.T
    return float(-np.median(height[face.scored]))


def _checked(marks: Marks) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Both masks as the kernels want them, or one clear line."""
    marked, iron = (np.ascontiguousarray(a, dtype=bool) for a in (marks.marked, marks.iron))
    if marked.ndim != 2 or marked.shape != iron.shape:
        raise BadParam(f"marked and iron must be (ny, nx) of one shape, got {marked.shape} and {iron.shape}")
    if not marks.pitch_mm > 0.0:
        raise BadParam(f"pitch_mm must be positive, got {marks.pitch_mm!r}")
    if not iron.any():
        raise BadParam("marks must have at least one cell of iron, got none")
    return marked, iron


def _longest_run(gap_mm: float, step_mm: float) -> int:
    """The most cells of this step whose length is under the gap."""
    return max(0, math.ceil(gap_mm / step_mm * (1.0 - 1e-9)) - 1)


def _sheet_lines(start_mm: float, length_mm: float, pitch_mm: float) -> NDArray[np.int64]:
    """First cell of each square along one side of the sheet, and the cell after the last; may lie off the face."""
    squares = np.arange(round(length_mm / SHEET_SQUARE_MM) + 1)
    lines = round(start_mm / pitch_mm) + squares * (SHEET_SQUARE_MM / pitch_mm)
    return np.ceil(lines - 0.5 - 1e-9).astype(np.int64)  # a cell belongs where its centre lies


def _spread(low_mm: float, high_mm: float, length_mm: float) -> Array:
    """Starts of as many lengths as fit between the ends, evenly spread; one, centred, where none fits."""
    n = math.floor((high_mm - low_mm) / length_mm + 1e-9)
    if n < 2:
        return np.array([0.5 * (low_mm + high_mm - length_mm)])
    return np.linspace(low_mm, high_mm - length_mm, n)


def _block_sums(mask: NDArray[np.bool_], edges_y: NDArray[np.int64], edges_x: NDArray[np.int64]) -> NDArray[np.int64]:
    """Cells that are True in each block between the edges; outside the array nothing is."""
    ny, nx = mask.shape
    ey, ex = np.clip(edges_y, 0, ny), np.clip(edges_x, 0, nx)
    part = mask[ey[0] : ey[-1], ex[0] : ex[-1]]
    along = np.zeros((len(part), len(ex)), np.int64)
    for k in range(1, len(ex)):
        along[:, k] = part[:, ex[k - 1] - ex[0] : ex[k] - ex[0]].sum(axis=1)
    running = np.vstack([np.zeros((1, len(ex)), np.int64), np.cumsum(along, axis=0)])
    return np.diff(running[ey - ey[0]], axis=0)[:, 1:]


def _block_tops(height: Array, edges_y: NDArray[np.int64], edges_x: NDArray[np.int64]) -> Array:
    """Highest cell of each block."""
    rows: Array = np.maximum.reduceat(height, edges_y[:-1], axis=0)
    return np.maximum.reduceat(rows, edges_x[:-1], axis=1)


def _tile_edges(n: int, tile: float) -> NDArray[np.int64]:
    """Cut n cells into equal tiles of about this many: first cell of each, and n."""
    return np.floor(np.linspace(0.0, n, max(1, round(n / tile)) + 1) + 0.5).astype(np.int64)


def _filled(tops: Array, full: NDArray[np.bool_]) -> Array:
    """Tops where tiles are full; elsewhere the mean of the neighbours that are known, spreading outward."""
    known, value = full.copy(), np.where(full, tops, 0.0)
    while not known.all():
        k, v = np.pad(known.astype(np.float64), 1), np.pad(value, 1)
        weight = k[:-2, 1:-1] + k[2:, 1:-1] + k[1:-1, :-2] + k[1:-1, 2:]
        total = v[:-2, 1:-1] + v[2:, 1:-1] + v[1:-1, :-2] + v[1:-1, 2:]
        fresh = ~known & (weight > 0)
        value[fresh] = total[fresh] / weight[fresh]
        known |= fresh
    return value


def _weights(edges: NDArray[np.int64]) -> Array:
    """Shares (cells, tiles) of values at the middles of the tiles in each cell: linear between and beyond them."""
    middle = (edges[:-1] + edges[1:] - 1).astype(np.float64) / 2.0
    if len(middle) == 1:
        return np.ones((int(edges[-1]), 1))
    place = np.arange(edges[-1], dtype=np.float64)
    k = np.clip(np.searchsorted(middle, place, side="right") - 1, 0, len(middle) - 2)
    part = (place - middle[k]) / (middle[k + 1] - middle[k])
    weights = np.zeros((len(place), len(middle)))
    weights[np.arange(len(place)), k] = 1.0 - part
    weights[np.arange(len(place)), k + 1] = part
    return weights
