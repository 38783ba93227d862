"""Calls: what a learner took for high, medium and low on a print, scored in iron."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from sim.errors import BadParam
from sim.hands.autopilot import Pilot, read_print
from sim.measure.spots import Islands, islands
from sim.model.face import Face
from sim.model.marks import Marks
from sim.seat.compliant import Body, Pose, compliant_seat, middles_mm, weight_and_hands

Array = NDArray[np.float64]
HEIGHT_PCT = 95.0  # of the true heights of a mark: common practice, no source
NEAR_MM = 1.5  # a call beside a mark belongs to it up to here: common practice, no source
TOP_UM = 0.4  # within this of the highest, a mark is one of the top: common practice, no source
ALIKE_UM = 0.2  # marks this near in height may be taken for each other: common practice, no source
LEAST_MARK_MM2 = 0.3  # smaller specks are nobody's to call: as the pilot
SURE_AFTER = 30  # calls, before it is told how sure is right
SURE_MEANS, UNSURE_MEANS = 0.9, 0.6  # chances that the quadratic rule takes the words for: common practice, no source
LEVELS = {1: "highs", 2: "mediums", 3: "lows"}


class Call(NamedTuple):
    """A mark called by the learner, at the place of the click: 1 high, 2 medium, 3 low."""

    x_mm: float
    y_mm: float
    level: int
    sure: bool = False


class Odd(NamedTuple):
    """A call at odds with the iron: where, its level, the level that it should have had, and how far its mark lay under
    the highest that was called."""

    x_mm: float
    y_mm: float
    called: int
    stood: int
    under_um: float


def calls_at_odds(calls: Sequence[Call], marks: Marks, height_um: Array, plane: Pose | None = None,
                  most: int = 3) -> tuple[Odd, ...]:
    """The calls that perfect calling of the same numbers would have given another level, the farthest off first.

    Marks as near in height to one of the level that was called as may be taken for each other are not at odds.
    """
    known = mark_heights(marks, height_um, plane)
    on = {place: call for call in calls
          if (place := known.at(call.x_mm, call.y_mm, marks.pitch_mm)) is not None}  # fmt: skip
    height = known.height_um[np.array(list(on), dtype=np.int64)]
    level = np.array([call.level for call in on.values()], dtype=np.int64)
    stood = np.empty_like(level)
    stood[np.argsort(-height, kind="stable")] = np.sort(level)
    found = []
    for k, call in enumerate(on.values()):
        off_um = float(np.abs(height[stood == call.level] - height[k]).min())
        if stood[k] != call.level and off_um > ALIKE_UM:
            odd = Odd(call.x_mm, call.y_mm, call.level, int(stood[k]), float(height.max() - height[k]))
            found.append((abs(odd.stood - odd.called), off_um, odd))
    return tuple(odd for _, _, odd in sorted(found, key=lambda one: one[:2], reverse=True)[:most])


def calls_from(rows: Iterable[Sequence[Any]]) -> tuple[Call, ...]:
    """Calls as they were said, in plain data: x, y, level and sure each."""
    return tuple(Call(float(x), float(y), int(level), bool(sure)) for x, y, level, sure in rows)


@dataclass(frozen=True, eq=False)
class MarkHeights:
    """The marks of a print with what they truly are; a bare middle belongs to its ring.

    Attributes
    ----------
    found : Islands
    height_um : float64 (n,)
        95th percentile of the heights of each mark over the plane, burr off.
    """

    found: Islands
    height_um: Array

    def at(self, x_mm: float, y_mm: float, pitch_mm: float) -> int | None:
        """Number of the mark under a place, or of the nearest within 1.5 mm; None where there is none."""
        labels = self.found.labels
        reach = math.ceil(NEAR_MM / pitch_mm)
        i, j = math.floor(y_mm / pitch_mm), math.floor(x_mm / pitch_mm)
        top, left = max(0, i - reach), max(0, j - reach)
        near = labels[top : max(0, i + reach + 1), left : max(0, j + reach + 1)]
        rows, cols = np.nonzero(near)
        if len(rows) == 0:
            return None
        far = np.hypot((cols + left + 0.5) * pitch_mm - x_mm, (rows + top + 0.5) * pitch_mm - y_mm)
        k = int(far.argmin())
        under = 0 <= i < labels.shape[0] and 0 <= j < labels.shape[1] and labels[i, j] > 0
        if under:
            return int(labels[i, j]) - 1
        return int(near[rows[k], cols[k]]) - 1 if far[k] <= NEAR_MM else None


@dataclass(frozen=True)
class CallScore:
    """Calls of one print against the iron.

    Attributes
    ----------
    skill : float
        100 for a perfect order, 0 on average for levels dealt at random, below 0 for the order turned over; NaN when
        all calls are of one level, or all marks of one height.
    loss_um, chance_um : float
        Mean of what pairs of different levels are out of order by, and its mean over all ways to deal these levels.
    mean_high_minus_low_um, perfect_um : float
        The highest level called over the lowest, and what perfect calling of the same numbers would have given; NaN
        for one level alone.
    share_high, share_top : float
        Share of the called marks that was called high, and that stood within 0.4 um of the highest of them.
    left_standing_um : float
        The highest mark that was not called high over the median of those that were; NaN when nothing, or every
        mark, was called high.
    left_at_mm : (x, y) or None
        Its place.
    inversions, pairs : int
        Pairs of different levels that were the wrong way round, and all of them.
    levels : tuple of int
        Highest and lowest level called.
    called, off_marks : int
        Marks called, and calls that lay on no mark.
    sure_right, sure_count, unsure_right, unsure_count : int
        Right: the mark would have been given this level by perfect calling, 0.2 um over or under.
    """

    skill: float
    loss_um: float
    chance_um: float
    mean_high_minus_low_um: float
    perfect_um: float
    share_high: float
    share_top: float
    left_standing_um: float
    left_at_mm: tuple[float, float] | None
    inversions: int
    pairs: int
    levels: tuple[int, int]
    called: int
    off_marks: int
    sure_right: int
    sure_count: int
    unsure_right: int
    unsure_count: int

    def sentence(self) -> str:
        """The order of the calls, said in iron."""
        if self.called == 1:
            return "One mark was called: there is no order to hold against the iron."
        if not math.isfinite(self.mean_high_minus_low_um):
            return f"All {self.called} calls were {LEVELS[self.levels[0]]}: there is no order to hold against the iron."
        high, low = (LEVELS[level] for level in self.levels)
        um = self.mean_high_minus_low_um
        return (f"Your {high} stood {abs(um):.1f} µm {'above' if um >= 0.0 else 'below'} your {low}; "
                f"perfect calling would have given {self.perfect_um:.1f}.")

    def left_sentence(self) -> str:
        """What was left standing; empty where nothing stood above the calls."""
        if self.left_at_mm is None or not self.left_standing_um > 0.0:
            return ""
        x, y = self.left_at_mm
        return f"At {x:.0f}, {y:.0f} mm a mark was left that stands {self.left_standing_um:.1f} µm above your highs."


@dataclass(frozen=True)
class Sureness:
    """How right a learner is when sure and when not, over many calls; kept out of the skill.

    quadratic: mean of (chance said - outcome)^2, sure taken as 0.9 and not sure as 0.6; 0 is best, 0.25 says nothing.
    """

    sure_right: int
    sure_count: int
    unsure_right: int
    unsure_count: int
    quadratic: float

    def sentence(self) -> str:
        """Told as shares of a hundred."""
        parts = [f"when you say {word} you are right {round(100 * right / count)} of 100"
                 for word, right, count in (("sure", self.sure_right, self.sure_count),
                                            ("not sure", self.unsure_right, self.unsure_count)) if count]
        told = "; ".join(parts)
        return f"{told[:1].upper()}{told[1:]}."


def seat_plane(face: Face, body: Body | None = None) -> Pose:
    """The plane that the iron of a face stands on under its weight, burrs off.

    Raises
    ------
    Refused
        As `compliant_seat`.
    """
    return compliant_seat(face.height_um, face.pitch_mm, weight_and_hands(face, body or Body()))


def mark_heights(marks: Marks, height_um: Array, plane: Pose | None = None) -> MarkHeights:
    """The marks of a print and their true heights over a plane; without one, over the zero of the heights.

    Raises
    ------
    BadParam
        If the arrays do not match.
    """
    if height_um.shape != marks.marked.shape:
        raise BadParam(f"height_um must have the shape of the marks {marks.marked.shape}, got {height_um.shape}")
    whole, _ = read_print(marks, Pilot())
    found = islands(whole)
    count = len(found.area_mm2)
    on = (found.labels > 0) & marks.iron
    rows, cols = np.nonzero(on)
    label, height = found.labels[on], height_um[on]
    if plane is not None:
        x, y = middles_mm((marks.marked.shape[0], marks.marked.shape[1]), marks.pitch_mm)
        height = height - plane.at(x[cols], y[rows])
    order = np.lexsort((height, label))
    height = height[order]
    cells = np.bincount(label, minlength=count + 1)[1:]
    first = np.concatenate([[0], np.cumsum(cells)[:-1]]).astype(np.int64)
    place = 0.01 * HEIGHT_PCT * np.maximum(cells - 1, 0)
    low = np.floor(place).astype(np.int64)
    high = np.minimum(low + 1, np.maximum(cells - 1, 0))
    part = place - low
    value = (1.0 - part) * height[first + low] + part * height[first + high] if count else np.zeros(0)
    return MarkHeights(found, value)


def call_score(calls: Sequence[Call], marks: Marks, height_um: Array, plane: Pose | None = None, *,
               square_mm: tuple[float, float, float] | None = None) -> CallScore | None:
    """Calls against the true heights of the marks that they lie on.

    Parameters
    ----------
    calls : sequence of Call
        Of two calls on one mark the later one counts.
    marks : Marks
        The print that was read.
    height_um : float64 (ny, nx)
        True heights when it was printed, burr off.
    plane : Pose, optional
        What heights are taken over: `seat_plane`, or a pose of the rub.
    square_mm : (x, y, side), optional
        Corner and side of the counting square that was asked for: marks outside it do not count as left standing.

    Returns
    -------
    CallScore or None
        None when no call lies on a mark.

    Raises
    ------
    BadParam
        If the arrays do not match, or a level is not 1, 2 or 3.

    Notes
    -----
    Over pairs of different levels, i the higher-called: L = mean max(0, h_j - h_i). Over all pairs:
    L_chance = mean |h_i - h_j| / 2, which is the mean of L over all ways to deal the same levels.
    skill = 100 (1 - L / L_chance).
    """
    if any(call.level not in LEVELS for call in calls):
        raise BadParam(f"level must be 1, 2 or 3, got {[call.level for call in calls]}")
    known = mark_heights(marks, height_um, plane)
    places = [known.at(call.x_mm, call.y_mm, marks.pitch_mm) for call in calls]
    on = {place: call for place, call in zip(places, calls, strict=True) if place is not None}
    if not on:
        return None
    numbers = np.array(list(on), dtype=np.int64)
    level = np.array([call.level for call in on.values()])
    height = known.height_um[numbers]
    loss, chance, inversions, pairs = _order(level, height)
    apart, perfect = _apart(level, height)
    standing_um, standing_at = _left_standing(known, numbers[level == 1], square_mm)
    right = _right(level, height)
    sure = np.array([call.sure for call in on.values()], dtype=bool)
    return CallScore(
        skill=100.0 * (1.0 - loss / chance) if pairs and chance > 0.0 else math.nan,
        loss_um=loss, chance_um=chance, mean_high_minus_low_um=apart, perfect_um=perfect,
        share_high=float((level == 1).mean()), share_top=float((height >= height.max() - TOP_UM).mean()),
        left_standing_um=standing_um, left_at_mm=standing_at, inversions=inversions, pairs=pairs,
        levels=(int(level.min()), int(level.max())), called=len(on),
        off_marks=sum(place is None for place in places),
        sure_right=int(right[sure].sum()), sure_count=int(sure.sum()),
        unsure_right=int(right[~sure].sum()), unsure_count=int((~sure).sum()),
    )


def sureness(scores: Iterable[CallScore]) -> Sureness | None:
    """How right sure is, over all these prints; None before 30 calls."""
    kept = list(scores)
    sure_right, sure, other_right, other = (sum(getattr(one, name) for one in kept) for name in (
        "sure_right", "sure_count", "unsure_right", "unsure_count"))
    if sure + other < SURE_AFTER:
        return None
    lost = sum(right * (1.0 - said) ** 2 + (count - right) * said**2
               for said, right, count in ((SURE_MEANS, sure_right, sure), (UNSURE_MEANS, other_right, other)))
    return Sureness(sure_right, sure, other_right, other, lost / (sure + other))


def _order(level: NDArray[np.int64], height: Array) -> tuple[float, float, int, int]:
    """Loss, loss of chance, pairs out of order, pairs of different levels."""
    i, j = np.triu_indices(len(level), 1)
    chance = 0.5 * float(np.abs(height[i] - height[j]).mean()) if len(i) else 0.0
    i, j = np.where(level[i] <= level[j], i, j), np.where(level[i] <= level[j], j, i)
    differ = level[i] != level[j]
    over = np.maximum(0.0, height[j] - height[i])[differ]
    return float(over.mean()) if len(over) else 0.0, chance, int((over > 0.0).sum()), len(over)


def _apart(level: NDArray[np.int64], height: Array) -> tuple[float, float]:
    """Mean of the highest level over that of the lowest, and the same for perfect calling; NaN for one level."""
    high, low = level == level.min(), level == level.max()
    if level.min() == level.max():
        return math.nan, math.nan
    ordered = np.sort(height)[::-1]
    perfect = ordered[: high.sum()].mean() - ordered[len(ordered) - low.sum() :].mean()
    return float(height[high].mean() - height[low].mean()), float(perfect)


def _right(level: NDArray[np.int64], height: Array) -> NDArray[np.bool_]:
    """Whether perfect calling would have given each mark its level, 0.2 um over or under."""
    ordered, dealt = np.sort(height)[::-1], np.sort(level)
    right = np.zeros(len(level), bool)
    for one in np.unique(level):
        held = ordered[dealt == one]
        mine = level == one
        right[mine] = (height[mine] <= held.max() + ALIKE_UM) & (height[mine] >= held.min() - ALIKE_UM)
    return right


def _left_standing(known: MarkHeights, high: NDArray[np.int64],
                   square_mm: tuple[float, float, float] | None) -> tuple[float, tuple[float, float] | None]:
    """The highest mark not called high over the median of those that were, and its place."""
    found = known.found
    rest = found.area_mm2 >= LEAST_MARK_MM2
    if square_mm is not None:
        x, y, side = square_mm
        rest &= (found.x_mm >= x) & (found.x_mm <= x + side) & (found.y_mm >= y) & (found.y_mm <= y + side)
    rest[high] = False
    if not len(high) or not rest.any():
        return math.nan, None
    k = int(np.where(rest, known.height_um, -np.inf).argmax())
    return float(known.height_um[k] - np.median(known.height_um[high])), (float(found.x_mm[k]), float(found.y_mm[k]))
