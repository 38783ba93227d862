"""What prints and strokes show: marks with pale middles, what was taken, where strokes end, which way they go."""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt

from sim.hands.autopilot import Pilot, blocks, fields_reached_pct, near_edge, read_print
from sim.kernels import overlap
from sim.measure.spots import islands
from sim.model.marks import Marks
from sim.school.seen import RoundSeen

Array = NDArray[np.float64]
PILOT = Pilot()
MARK_MM2 = 0.3  # smaller is a speck: as the pilot
HARD_MM2 = 0.12  # bare middle from which a mark is hard: as the pilot
PALE_MM2 = 1.0  # marks in which a middle can be told from a rim: common practice, no source
PALE_DARK = 0.05 * 255.0  # a middle paler than its rim by this is seen as pale: tests of what prints tell
SWATH_MM = 0.8  # half of what a finishing stroke takes: common practice, no source
TAKEN_SHARE = 0.2  # of a mark under strokes, from which it counts as taken
EDGE_MM = 2.0  # a mark that reaches this near an edge is an edge mark: as the pilot
BEYOND_MM = 1.0  # a stroke should have left its mark by here
SAME_LINE_MM = 0.45  # middles of two strokes nearer than this go over the same iron
ALONG_DEG = 30.0  # strokes nearer in direction than this go the same way
STEP_MM = 0.25
NEAR_BLUE_MM = 0.5


@dataclass(frozen=True, eq=False)
class PrintRead:
    """A print as an attentive eye reads it; one entry a mark of `labels` from 1 on.

    Attributes
    ----------
    labels : int64 (ny, nx)
        Bare middles belong to their ring.
    area_mm2, x_mm, y_mm, dark : float64 (n,)
        dark: mean darkness, 0 to 255.
    hard, pale : bool (n,)
        With a bare middle, or with a middle paler than its rim; pale includes hard.
    edge : bool (n,)
        Reaches the edge zone.
    blue_pct, fields_pct : float
        Blue on the iron; fields of 10 mm that carry any.
    """

    labels: NDArray[np.int64]
    area_mm2: Array
    x_mm: Array
    y_mm: Array
    dark: Array
    hard: NDArray[np.bool_]
    pale: NDArray[np.bool_]
    edge: NDArray[np.bool_]
    blue_pct: float
    fields_pct: float

    def places(self, which: NDArray[np.bool_], most: int = 12) -> tuple[tuple[float, float], ...]:
        """Middles of the largest of these marks, mm."""
        numbers = np.flatnonzero(which)
        numbers = numbers[np.argsort(-self.area_mm2[numbers], kind="stable")][:most]
        return tuple((round(float(self.x_mm[k]), 1), round(float(self.y_mm[k]), 1)) for k in numbers)


@lru_cache(maxsize=32)
def whole_marks(one: RoundSeen) -> tuple[Marks, NDArray[np.bool_]]:
    """Marks of a round's print with the bare middles that belong to them, and these middles alone."""
    return read_print(one.marks, PILOT)


@lru_cache(maxsize=32)
def read(one: RoundSeen) -> PrintRead:
    """Read the print of a round."""
    whole, bare = whole_marks(one)
    found = islands(whole)
    count = len(found.area_mm2)
    labels, cell = found.labels, one.pitch_mm**2
    inside = labels > 0
    cells = np.maximum(np.bincount(labels[inside], minlength=count + 1)[1:], 1)
    dark = np.bincount(labels[inside], one.dark[inside].astype(np.float64), count + 1)[1:] / cells
    hard = np.bincount(labels[bare & inside], minlength=count + 1)[1:] * cell >= HARD_MM2
    rim = near_edge(one.iron, EDGE_MM, one.pitch_mm)
    edge = np.zeros(count + 1, bool)
    edge[np.unique(labels[rim])] = True
    iron = max(int(one.iron.sum()), 1)
    pale = hard | _pale(one, labels, np.where(hard, 0.0, cells * cell))
    blue_pct, fields_pct = 100.0 * float(one.marked.sum()) / iron, fields_reached_pct(one.marks, PILOT)
    return PrintRead(labels, found.area_mm2, found.x_mm, found.y_mm, dark, hard, pale, edge[1:], blue_pct, fields_pct)


def _pale(one: RoundSeen, labels: NDArray[np.int64], area_mm2: Array) -> NDArray[np.bool_]:
    """Whether each mark has a middle paler than its rim: deepest fifth of the mark against the dark quarter of the
    rest."""
    found = area_mm2 >= PALE_MM2
    place = np.full(len(area_mm2) + 1, -1)  # of each mark among the large ones
    place[1:][found] = np.arange(found.sum())
    places = place[labels]
    cells = np.flatnonzero(places >= 0)
    if not len(cells):
        return found
    of, dark = places.ravel()[cells], one.dark.ravel()[cells]
    depth = _depth(labels > 0).ravel()[cells]
    deepest = np.zeros(int(found.sum()))
    np.maximum.at(deepest, of, depth)
    deep = depth >= 0.8 * deepest[of]
    middle, rest = (np.bincount(256 * of[which] + dark[which], minlength=256 * len(deepest)).reshape(-1, 256)
                    for which in (deep, ~deep))  # fmt: skip
    found[found] = rest.any(axis=1) & (_quantiles(middle, 0.5) + PALE_DARK < _quantiles(rest, 0.75))
    return found


def _quantiles(counts: NDArray[np.int64], share: float) -> Array:
    """Quantile of each row of numbers from 0 to 255, of which each came so often, as np.quantile has it."""
    count, upto = counts.sum(axis=1), counts.cumsum(axis=1)
    place = share * (count - 1)
    low = place.astype(np.int64)
    below, above = ((upto <= at[:, None]).sum(axis=1) for at in (low, np.minimum(low + 1, count - 1)))
    return below + (place - low) * (above - below)


def _depth(marked: NDArray[np.bool_]) -> Array:
    """Distance of each cell to the nearest that is not marked, cells; beyond the edges nothing is."""
    bare = np.pad(~marked, 1, constant_values=True)
    return np.asarray(distance_transform_edt(~bare)[1:-1, 1:-1])


def _within(mask: NDArray[np.bool_], reach_mm: float, pitch_mm: float) -> NDArray[np.bool_]:
    """Cells whose middle lies within a distance of one of the mask; for some cells' way quicker than by distances."""
    (ny, nx), most = mask.shape, int(reach_mm / pitch_mm)
    wide = np.pad(mask, most)
    found = np.zeros_like(mask)
    for i in range(-most, most + 1):
        for j in range(-most, most + 1):
            if math.sqrt(i * i + j * j) * pitch_mm <= reach_mm:
                found |= wide[most + i : most + i + ny, most + j : most + j + nx]
    return found


def line_points(strokes: Array, step_mm: float = STEP_MM) -> tuple[Array, NDArray[np.int64]]:
    """Points along the middles of strokes, float64 (m, 2) mm, and the stroke that each belongs to."""
    lengths = np.hypot(strokes[:, 2] - strokes[:, 0], strokes[:, 3] - strokes[:, 1])
    counts = np.maximum(2, np.ceil(lengths / step_mm).astype(np.int64) + 1)
    which = np.repeat(np.arange(len(strokes)), counts)
    at = np.arange(len(which)) - np.repeat(np.cumsum(counts) - counts, counts)
    part = (at / (counts[which] - 1))[:, None]
    return strokes[which, :2] * (1.0 - part) + strokes[which, 2:4] * part, which


def cells_of(points: Array, one: RoundSeen) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.bool_]]:
    """Rows, columns, and which of the points lie on the grid."""
    i, j = (np.floor(points[:, axis] / one.pitch_mm).astype(np.int64) for axis in (1, 0))
    inside = (i >= 0) & (j >= 0) & (i < one.iron.shape[0]) & (j < one.iron.shape[1])
    return i, j, inside


@lru_cache(maxsize=32)
def swept(one: RoundSeen) -> NDArray[np.bool_]:
    """Iron that the strokes of a round went over, bool (ny, nx)."""
    line = np.zeros(one.iron.shape, bool)
    if not len(one.strokes):
        return line
    points, _ = line_points(one.strokes)
    i, j, inside = cells_of(points, one)
    line[i[inside], j[inside]] = True
    if not line.any():
        return line
    return _within(line, SWATH_MM, one.pitch_mm) & one.iron


@lru_cache(maxsize=32)
def taken(one: RoundSeen) -> NDArray[np.bool_]:
    """For each mark of a round's print, whether its strokes went over it."""
    marks = read(one)
    over = np.bincount(marks.labels[swept(one)], minlength=len(marks.area_mm2) + 1)[1:] * one.pitch_mm**2
    return np.asarray(over >= TAKEN_SHARE * marks.area_mm2)


def direction_deg(strokes: Array) -> tuple[float, float]:
    """Main direction of strokes, 0 to 180 deg, and how much they share it (1: all, 0: none); weighed by length."""
    way = strokes[:, 2:4] - strokes[:, :2]
    length = np.hypot(way[:, 0], way[:, 1])
    twice = 2.0 * np.arctan2(way[:, 1], way[:, 0])
    c, s = float((length * np.cos(twice)).sum()), float((length * np.sin(twice)).sum())
    return math.degrees(0.5 * math.atan2(s, c)) % 180.0, math.hypot(c, s) / max(float(length.sum()), 1e-9)


def turned_deg(one: Array, other: Array) -> float:
    """Angle between the main directions of two lots of strokes, 0 to 90 deg; 90 when either has none."""
    (a, shared_a), (b, shared_b) = direction_deg(one), direction_deg(other)
    if min(shared_a, shared_b) < 0.3:
        return 90.0
    off = abs(a - b) % 180.0
    return min(off, 180.0 - off)


@lru_cache(maxsize=32)
def abrupt_ends(one: RoundSeen) -> NDArray[np.bool_]:
    """For each stroke, whether it begins or ends on blue that goes on beyond it and that no other stroke takes."""
    strokes = one.strokes
    way = strokes[:, 2:4] - strokes[:, :2]
    unit = way / np.maximum(np.hypot(way[:, 0], way[:, 1]), 1e-9)[:, None]
    over = swept(one)
    whole, _ = whole_marks(one)
    found = np.zeros(len(strokes), bool)
    for at, sign in ((strokes[:, :2], -1.0), (strokes[:, 2:4], 1.0)):
        hit = np.ones(len(strokes), bool)
        for far, free in ((0.0, False), (BEYOND_MM, True)):
            i, j, inside = cells_of(at + sign * far * unit, one)
            i, j = np.where(inside, i, 0), np.where(inside, j, 0)
            hit &= inside & whole.marked[i, j] & (~over[i, j] | (not free))
        found |= hit
    return found


@lru_cache(maxsize=32)
def off_blue(one: RoundSeen) -> NDArray[np.bool_]:
    """For each stroke, whether its middle half passes no blue of the print, nor within half a millimetre of it."""
    points, which = line_points(one.strokes)
    whole, _ = whole_marks(one)
    if not whole.marked.any():
        return np.ones(len(one.strokes), bool)
    near = _within(whole.marked, NEAR_BLUE_MM, one.pitch_mm)
    first = np.searchsorted(which, np.arange(len(one.strokes)))
    count = np.bincount(which, minlength=len(one.strokes))
    part = (np.arange(len(which)) - first[which]) / np.maximum(count[which] - 1, 1)
    i, j, inside = cells_of(points, one)
    kept = inside & (part >= 0.25) & (part <= 0.75)
    hit = np.zeros(len(points), bool)
    hit[kept] = near[i[kept], j[kept]]
    return np.asarray(np.bincount(which, hit, len(one.strokes)) == 0)


@lru_cache(maxsize=32)
def gone_over(one: RoundSeen) -> NDArray[np.float64]:
    """For each stroke of a round, the share of its length that an earlier one of the round has cut already."""
    return over_again(one.strokes)


def over_again(strokes: Array) -> Array:
    """For each stroke, the share of its length that lies on the line of an earlier one, in nearly its own direction."""
    way = strokes[:, 2:4] - strokes[:, :2]
    length = np.maximum(np.hypot(way[:, 0], way[:, 1]), 1e-9)
    middle = 0.5 * (strokes[:, :2] + strokes[:, 2:4])
    share = np.empty(len(strokes))
    overlap.gone_over(middle, way / length[:, None], length, math.cos(math.radians(ALONG_DEG)), SAME_LINE_MM, share)
    return share


@lru_cache(maxsize=32)
def side_share(one: RoundSeen) -> tuple[float, tuple[float, float]]:
    """Share of the fresh blue on the fuller half of the face, over four ways to halve it; and the middle of the blue.

    0 and the middle of the face when there is none.
    """
    ny, nx = one.fresh.shape
    rows, cols = np.nonzero(one.fresh)
    if not len(rows):
        return 0.0, (0.5 * nx * one.pitch_mm, 0.5 * ny * one.pitch_mm)
    x, y = (cols + 0.5) / nx - 0.5, (rows + 0.5) / ny - 0.5
    shares = [float((v > 0.0).mean()) for v in (x, y, x + y, x - y)]
    fullest = max(max(share, 1.0 - share) for share in shares)
    at_x, at_y = (round(float(v.mean() + 0.5) * one.pitch_mm, 1) for v in (cols, rows))
    return fullest, (at_x, at_y)


def poorest_field_mm(one: RoundSeen) -> tuple[float, float]:
    """Middle of the 10 mm field with the least blue on its iron."""
    blue, iron = blocks(one.marks, PILOT.field_mm)
    share = np.where(iron > 0.5 * iron.max(), blue / np.maximum(iron, 1), np.inf)
    i, j = divmod(int(share.argmin()), share.shape[1])
    length, width = (n * one.pitch_mm for n in one.iron.shape[::-1])
    return min((j + 0.5) * PILOT.field_mm, length), min((i + 0.5) * PILOT.field_mm, width)
