"""Gestures as strokes: what a drag, a row, an order means in mm on the face, whatever the screen and its events did."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sim.errors import BadParam

Line = tuple[float, float, float, float]
"""x0, y0, x1, y1 of a stroke, mm, from where it begins to where it ends."""
Outline = Sequence[tuple[float, float]]
"""Corners of a closed piece of chalk, mm."""

PIECE = 50  # strokes in one command at most
MOST_GHOSTS = 60
CLICK_MM = 0.5  # a press that moved less is a click
SECONDS = {"drag": 0.9, "click": 1.2}  # of a person, for the scripted run's clock: from memory


class Place(NamedTuple):
    """Where a mark was called, mm, and how large it was said to be; None: not said."""

    x_mm: float
    y_mm: float
    radius_mm: float | None = None


@dataclass(frozen=True)
class Manner:
    """How strokes are set: length, direction (counted from x towards y), spacing, least run-out in chalk, how many a
    mark.

    Raises
    ------
    BadParam
        A length or spacing that is not above 0, a run-out below 0, fewer than one stroke a mark.
    """

    length_mm: float = 9.0
    angle_deg: float = 45.0
    spacing_mm: float = 2.0
    beyond_mm: float = 1.0
    each: int = 1

    def __post_init__(self) -> None:
        for name, low, above in (("length_mm", CLICK_MM, False), ("spacing_mm", 0.0, True), ("beyond_mm", 0.0, False),
                                 ("each", 1, False)):  # fmt: skip
            value = getattr(self, name)
            if not (value > low if above else value >= low) or not math.isfinite(value):
                raise BadParam(f"{name} must be {'above' if above else 'at least'} {low:g}, got {value:g}")

    @property
    def along(self) -> tuple[float, float]:
        """Direction, of length 1."""
        return math.cos(math.radians(self.angle_deg)), math.sin(math.radians(self.angle_deg))

    def centred(self, x_mm: float, y_mm: float) -> Line:
        """The stroke of set length and direction with its middle here: what a click means."""
        hx, hy = (0.5 * self.length_mm * c for c in self.along)
        return as_line((x_mm - hx, y_mm - hy, x_mm + hx, y_mm + hy))


def rounded_mm(places_mm: ArrayLike) -> NDArray[np.float64]:
    """Places on the 0.01 mm grid, halves upwards.

    Notes
    -----
    They are first brought to whole millionths: the same place reached through another zoom differs by less, and so
    cannot fall on the other side of a half.
    """
    millionths = np.rint(np.asarray(places_mm, dtype=np.float64) * 1e6).astype(np.int64)
    return ((millionths + 5000) // 10000) / 100.0


def as_line(ends_mm: ArrayLike) -> Line:
    """The ends of one stroke, rounded."""
    x0, y0, x1, y1 = rounded_mm(ends_mm).tolist()
    return x0, y0, x1, y1


def seconds_of(gesture: str) -> float:
    """Seconds that a person takes for a "drag" or a "click".

    Raises
    ------
    BadParam
        Another gesture.
    """
    if gesture not in SECONDS:
        raise BadParam(f"gesture must be one of {', '.join(SECONDS)}, got {gesture!r}")
    return SECONDS[gesture]


@dataclass
class Drag:
    """A stroke that is being drawn: it counts from the press to the release, what lies between is only shown.

    Attributes
    ----------
    begun_mm, at_mm : (float, float)
        Where it was pressed; where the pointer is now.
    live : bool
        Neither released nor thrown away.
    """

    begun_mm: tuple[float, float]
    at_mm: tuple[float, float] = (math.nan, math.nan)
    live: bool = True

    def __post_init__(self) -> None:
        self.at_mm = self.begun_mm

    @property
    def is_click(self) -> bool:
        """Too short for a drag; a click is never one of the strokes that show the hand."""
        return math.dist(rounded_mm(self.begun_mm), rounded_mm(self.at_mm)) < CLICK_MM - 1e-9

    def move(self, x_mm: float, y_mm: float) -> None:
        """The pointer goes on."""
        if self.live:
            self.at_mm = (x_mm, y_mm)

    def line(self, manner: Manner) -> Line | None:
        """What a release here would cut; None when it was thrown away or released."""
        if not self.live:
            return None
        return manner.centred(*self.begun_mm) if self.is_click else as_line((*self.begun_mm, *self.at_mm))

    def release(self, x_mm: float, y_mm: float, manner: Manner) -> Line | None:
        """The stroke, ended here; None when it had been thrown away."""
        self.move(x_mm, y_mm)
        line = self.line(manner)
        self.live = False
        return line

    def cancel(self) -> None:
        """Throw it away."""
        self.live = False


@dataclass
class Row:
    """Strokes side by side: the first as it was drawn, the others parallel to it on the side where the pointer is.

    Nothing is cut by a row: its ghosts are laid by a click, or let go.
    """

    first: Line
    spacing_mm: float
    _steps: int = 0
    _dropped: set[int] = field(default_factory=set)

    @property
    def _across(self) -> tuple[float, float]:
        x0, y0, x1, y1 = self.first
        length = math.hypot(x1 - x0, y1 - y0)
        return -(y1 - y0) / length, (x1 - x0) / length

    def aside(self, x_mm: float, y_mm: float) -> None:
        """The pointer is here: ghosts from the first stroke as far as to it."""
        ax, ay = self._across
        steps = ((x_mm - self.first[0]) * ax + (y_mm - self.first[1]) * ay) / self.spacing_mm
        self._steps = int(max(min(steps + math.copysign(1e-6, steps), MOST_GHOSTS - 1), 1 - MOST_GHOSTS))

    def _shown(self) -> dict[int, Line]:
        side = 1 if self._steps >= 0 else -1
        ax, ay = (self.spacing_mm * c for c in self._across)
        x0, y0, x1, y1 = self.first
        return {k: as_line((x0 + k * ax, y0 + k * ay, x1 + k * ax, y1 + k * ay))
                for k in range(0, self._steps + side, side) if k not in self._dropped}  # fmt: skip

    def ghosts(self) -> list[Line]:
        """What a click would lay, the first stroke among them: at most 60, less those that were dropped."""
        return list(self._shown().values())

    def ghost_at(self, x_mm: float, y_mm: float, within_mm: float) -> int | None:
        """Number in `ghosts()` of the ghost that lies here; None where there is none so near."""
        away = [_from_line_mm((x_mm, y_mm), line) for line in self.ghosts()]
        nearest = min(range(len(away)), key=away.__getitem__, default=None)
        return nearest if nearest is not None and away[nearest] <= within_mm else None

    def drop(self, number: int) -> None:
        """Leave a ghost out, by its number in `ghosts()`; it stays out when the pointer moves on."""
        self._dropped.add(list(self._shown())[number])


def _from_line_mm(place: tuple[float, float], line: Line) -> float:
    """Distance of a place from a stroke."""
    x0, y0, x1, y1 = line
    dx, dy = x1 - x0, y1 - y0
    share = ((place[0] - x0) * dx + (place[1] - y0) * dy) / max(dx * dx + dy * dy, 1e-12)
    share = min(max(share, 0.0), 1.0)
    return math.dist(place, (x0 + share * dx, y0 + share * dy))


def ring(x_mm: float, y_mm: float, radius_mm: float) -> Outline:
    """Chalk round a place."""
    turns = np.arange(32) * (2.0 * math.pi / 32)
    return tuple((x_mm + radius_mm * math.cos(t), y_mm + radius_mm * math.sin(t)) for t in turns)


def order_strokes(places: Sequence[Place], chalk: Sequence[Outline], manner: Manner) -> list[Line]:
    """Strokes over what was called and chalked, and over nothing else, in the order in which the hand walks along.

    Parameters
    ----------
    places : sequence of Place
        Each is taken at the place of its click. Several strokes a mark lie side by side as far as its radius goes; all
        on the click where no radius is said.
    chalk : sequence of Outline
        Each is filled with lanes at the set spacing; where pieces overlap, the first one's lanes hold.
    """
    ux, uy = manner.along
    middles = []
    for x, y, radius_mm in places:
        apart = min(manner.spacing_mm, 2.0 * (radius_mm or 0.0) / max(manner.each - 1, 1))
        offsets = ((k - 0.5 * (manner.each - 1)) * apart for k in range(manner.each))
        middles += [(x - offset * uy, y + offset * ux) for offset in offsets]
    for n, outline in enumerate(chalk):
        middles += [m for m in _lane_middles(outline, manner) if not any(is_inside(m, c) for c in chalk[:n])]
    return [manner.centred(x, y) for x, y in _walked(middles, manner)]


def is_inside(place: tuple[float, float], outline: Outline) -> bool:
    """True inside a closed outline; what it encloses twice is outside."""
    corners = np.array(outline, dtype=np.float64) - place
    return bool((_crossings(corners[:, 0], corners[:, 1], 0.0) > 0.0).sum() % 2)


def is_over(stroke: tuple[int, int, int, int, int], outlines: Sequence[Outline]) -> bool:
    """True when the middle of a stroke, 0.01 mm, lies inside one of these."""
    middle = 0.005 * (stroke[0] + stroke[2]), 0.005 * (stroke[1] + stroke[3])
    return any(is_inside(middle, outline) for outline in outlines)


def _crossings(s: NDArray[np.float64], v: NDArray[np.float64], w: float) -> NDArray[np.float64]:
    """Where a closed outline (s along, v across) crosses the line v = w: places along it, sorted, of even number."""
    s1, v1 = np.roll(s, -1), np.roll(v, -1)
    over = (v > w) != (v1 > w)
    s, v, s1, v1 = s[over], v[over], s1[over], v1[over]
    return np.sort(s + (w - v) / (v1 - v) * (s1 - s))


def _lane_middles(outline: Outline, manner: Manner) -> list[tuple[float, float]]:
    """Middles of the strokes that fill an outline: the way of each lane inside it is shared evenly, so that strokes of
    the set length run out at both ends."""
    corners = np.array(outline, dtype=np.float64).reshape(-1, 2)
    if len(corners) < 3:
        return []
    ux, uy = manner.along
    s, v = corners @ (ux, uy), corners @ (-uy, ux)
    count = max(1, math.ceil((v.max() - v.min()) / manner.spacing_mm - 1e-9))
    lanes = 0.5 * (v.max() + v.min()) + (np.arange(count) - 0.5 * (count - 1)) * manner.spacing_mm
    reach = max(manner.length_mm - 2.0 * manner.beyond_mm, 0.5 * manner.length_mm)
    middles = []
    for w in lanes.tolist():
        ends = _crossings(s, v, w).tolist()
        for begin, end in zip(ends[::2], ends[1::2], strict=True):
            pieces = max(1, math.ceil((end - begin) / reach - 1e-9))
            each = (end - begin) / pieces
            middles += [((begin + (k + 0.5) * each), w) for k in range(pieces)]
    return [(a * ux - w * uy, a * uy + w * ux) for a, w in middles]


def _walked(middles: list[tuple[float, float]], manner: Manner) -> list[tuple[float, float]]:
    """The same middles in bands one stroke deep, walked sideways, to and fro."""
    if not middles:
        return []
    ux, uy = manner.along
    places = np.array(middles)
    s, v = places @ (ux, uy), places @ (-uy, ux)
    band = np.floor((s - s.min()) / manner.length_mm)
    order = np.lexsort((s, np.where(band % 2 == 0, v, -v), band))
    return [middles[k] for k in order]
