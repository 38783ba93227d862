"""The hand of today: how far this round's first strokes strayed, and all that is laid with the same scatter."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import label

from sim.bench.gestures import CLICK_MM, Line, rounded_mm
from sim.hands.skill import HANDS, PUSH_PER_DEPTH, Hand

DOZEN = 12
KNOWN = 6  # strokes of the dozen that were meant for a called mark, at least, or their miss is not known
CROSSED_DEG = 30.0  # strokes that lie farther from all others than this were crossed on purpose: no source
FARTHEST = 3.0  # no stroke strays farther than this many times the scatter
MOST_N = 900.0
LEAST_PATCH_MM2 = 0.3  # smaller specks are passed over: common practice, no source
BAND_MM = 10.0  # patches are gone through in bands of this depth

Dragged = tuple[float, float, float, float, tuple[float, float] | None]
"""x0, y0, x1, y1 of a dragged stroke and the place of the called mark that it was meant for, mm."""


@dataclass(frozen=True)
class HandToday:
    """Scatter with which a round's rows, orders, clicks and keyboard strokes are laid, each a standard deviation.

    Attributes
    ----------
    sideways_mm : float
        Miss of the place that was meant, across the stroke; along it the hand misses as much.
    direction_deg : float
    length_share : float
        Spread of length / length.
    depth_share : float
        Spread of depth / depth; always that of the stated hand, for a drag does not show it.
    measured : bool
        From twelve strokes; otherwise it is the stated hand.
    """

    sideways_mm: float
    direction_deg: float
    length_share: float = 0.0
    depth_share: float = 0.0
    measured: bool = False

    def laid(self, lines: ArrayLike, push_n: ArrayLike, rng: np.random.Generator) -> NDArray[np.float64]:
        """Strokes as this hand makes them: x0, y0, x1, y1 in mm and push in N, float64 (n, 5).

        Parameters
        ----------
        lines : float64 (n, 4)
            As meant, mm.
        push_n : float or float64 (n,)
        rng : Generator
            Five draws a stroke, in order: the first strokes do not change when more follow.
        """
        meant = np.asarray(lines, dtype=np.float64).reshape(-1, 4)
        draws = rng.standard_normal((len(meant), 5))
        far = np.maximum(np.hypot(draws[:, 0], draws[:, 1]) / FARTHEST, 1.0)
        turn, longer, deeper = np.clip(draws[:, 2:], -FARTHEST, FARTHEST).T
        middle = 0.5 * (meant[:, :2] + meant[:, 2:]) + self.sideways_mm * draws[:, :2] / far[:, None]
        hx, hy = (0.5 * (meant[:, 2:] - meant[:, :2])).T * np.maximum(1.0 + self.length_share * longer, 0.3)
        turn = np.radians(self.direction_deg) * turn
        half = np.column_stack([np.cos(turn) * hx - np.sin(turn) * hy, np.sin(turn) * hx + np.cos(turn) * hy])
        push = np.asarray(push_n) * np.clip(1.0 + PUSH_PER_DEPTH * self.depth_share * deeper, 0.3, 2.0)
        ends = rounded_mm(np.column_stack([middle - half, middle + half]))
        return np.column_stack([ends, np.round(np.minimum(push, MOST_N), 1)])


def hand_today(dragged: Sequence[Dragged], stated: Hand) -> HandToday:
    """The hand that a round's first twelve dragged strokes show; the stated one while there are fewer.

    Never steadier than a skilled hand. A miss that is always to the same side counts as a miss. Where fewer than six of
    the twelve were meant for a called mark, the stated hand's miss holds.
    """
    skilled = HANDS["skilled"]
    dozen = dragged[:DOZEN]
    if len(dozen) < DOZEN:
        return HandToday(max(stated.drift_mm, skilled.drift_mm), max(stated.direction_deg, skilled.direction_deg),
                         depth_share=stated.depth_scatter)
    lines = np.array([stroke[:4] for stroke in dozen], dtype=np.float64)
    way = lines[:, 2:] - lines[:, :2]
    lengths = np.hypot(way[:, 0], way[:, 1])
    misses = [_sideways_mm(stroke) for stroke in dozen if stroke[4] is not None]
    sideways = math.sqrt(sum(m * m for m in misses) / len(misses)) if len(misses) >= KNOWN else stated.drift_mm
    direction = spread_deg(np.degrees(np.arctan2(way[:, 1], way[:, 0])))
    return HandToday(max(sideways, skilled.drift_mm), max(direction, skilled.direction_deg),
                     float(lengths.std(ddof=1) / lengths.mean()), stated.depth_scatter, measured=True)


def _sideways_mm(stroke: Dragged) -> float:
    """How far the line of a stroke passes its target."""
    x0, y0, x1, y1, target = stroke
    assert target is not None  # the caller has looked
    across = (target[0] - x0) * (y1 - y0) - (target[1] - y0) * (x1 - x0)
    return across / math.hypot(x1 - x0, y1 - y0)


def spread_deg(directions_deg: ArrayLike) -> float:
    """Spread of directions, whichever way along them; strokes that were crossed on purpose are a group of their own."""
    turned = np.sort(np.mod(np.asarray(directions_deg, dtype=np.float64), 180.0))
    gaps = np.diff(turned, append=turned[0] + 180.0)
    first = (int(np.argmax(gaps)) + 1) % len(turned)
    turned = np.concatenate([turned[first:], turned[:first] + 180.0])
    groups = np.split(turned, np.flatnonzero(np.diff(turned) > CROSSED_DEG) + 1)
    freedom = len(turned) - len(groups)
    return math.sqrt(sum(float(((g - g.mean()) ** 2).sum()) for g in groups) / freedom) if freedom else 0.0


@dataclass
class KeyStroke:
    """A stroke made with the keys: begun where the cursor is, ended where it went."""

    begun_mm: tuple[float, float]
    at_mm: tuple[float, float]

    @classmethod
    def begin(cls, x_mm: float, y_mm: float) -> "KeyStroke":
        """The blade is set down at the cursor."""
        return cls((x_mm, y_mm), (x_mm, y_mm))

    def move(self, dx_mm: float, dy_mm: float) -> None:
        """The cursor goes on."""
        self.at_mm = (self.at_mm[0] + dx_mm, self.at_mm[1] + dy_mm)

    def line(self) -> Line | None:
        """The stroke as it is meant; None while it is too short for one."""
        if math.dist(self.begun_mm, self.at_mm) < CLICK_MM - 1e-9:
            return None
        return (*self.begun_mm, *self.at_mm)

    def end(self, hand: HandToday, push_n: float, rng: np.random.Generator) -> NDArray[np.float64]:
        """The stroke as the hand makes it, float64 (1, 5); none, (0, 5), when it is too short."""
        line = self.line()
        return hand.laid([] if line is None else [line], push_n, rng)


def next_patch(marked: NDArray[np.bool_], pitch_mm: float, at_mm: tuple[float, float], rng: np.random.Generator,
               step: int = 1) -> tuple[float, float] | None:
    """A random point in the patch of blue that follows the one at the cursor; step -1: that goes before it.

    Patches are gone through in bands, from the far edge to the near one and from left to right, and then again from the
    first. None where no patch is larger than a speck.
    """
    places, count = label(marked, np.ones((3, 3)))
    cells = np.bincount(places.ravel(), minlength=count + 1)
    rows, cols = np.nonzero(places)
    of = places[rows, cols]
    size = np.maximum(cells, 1)
    x = np.bincount(of, cols + 0.5, count + 1) / size * pitch_mm
    y = np.bincount(of, rows + 0.5, count + 1) / size * pitch_mm
    seen = np.flatnonzero(cells * pitch_mm**2 >= LEAST_PATCH_MM2)
    keys = sorted((-math.floor(y[k] / BAND_MM), float(x[k]), int(k)) for k in seen[seen > 0])
    if not keys:
        return None
    ny, nx = marked.shape
    i, j = math.floor(at_mm[1] / pitch_mm), math.floor(at_mm[0] / pitch_mm)
    here = int(places[i, j]) if 0 <= i < ny and 0 <= j < nx else 0
    key = (-math.floor(y[here] / BAND_MM), float(x[here]), here) if here else (-math.floor(at_mm[1] / BAND_MM),
                                                                              at_mm[0], 0)  # fmt: skip
    others = [k for k in keys if (k > key if step > 0 else k < key)]
    chosen = (others or keys)[0 if step > 0 else -1][2]
    n = int(rng.choice(np.flatnonzero(of == chosen)))
    dx, dy = rng.random(2)
    return float((cols[n] + dx) * pitch_mm), float((rows[n] + dy) * pitch_mm)
