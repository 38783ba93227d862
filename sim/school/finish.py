"""What the iron says at the finish: the only part of the coach that knows the heights."""

import math

import numpy as np

from sim.measure.spots import EYE, spots, spots_in_square
from sim.measure.verdict import standard_marks
from sim.school.calls import seat_plane
from sim.school.evidence import line_points
from sim.school.print_rules import rings_taken
from sim.school.remark import Remark, where
from sim.school.seen import RoundSeen, Seen
from sim.shop.job import Job

FIELD_MM = 10.0
LOW_UM = 1.0  # a field this much below the middle one is low: common practice, no source
WORKED = 1.2  # strokes in it / in the middle field, from which it was worked at
STANDING_UM = 1.0
COUNT_OFF = 0.2  # of the true count in the same square, from which a count is told
BEST = 0.6  # lowest square / mean
FEW_STROKES = 10  # below which nothing is said of habits: as the rules of strokes
FINE = ("fine", "split")
FINE_UM = 10.0  # two fine strokes deep and more: common practice, no source
FEW_SPOTS = 5.0  # in the mean square, below which no square is told as poor


def at_finish(seen: Seen, job: Job) -> list[Remark]:
    """Low iron taken, what was left standing, counts against the face, the poorest square; worst first.

    Raises
    ------
    Refused
        When the face cannot stand on a plate.
    """
    rounds = [one for one in seen.rounds if one.face == job.in_hand]
    if not rounds:
        return []
    tops, x_mm, y_mm, sides = _fields(job)
    found = [_low_taken(rounds, tops, x_mm, y_mm, sides), _standing(rounds, tops, x_mm, y_mm), *_counts(rounds, job),
             _never_stoned(rounds), _fine_on_high(rounds, tops, x_mm, y_mm)]  # fmt: skip
    return sorted((one for one in found if one is not None), key=lambda one: -one.at_stake_um)


def _fields(job: Job) -> tuple[np.ndarray, np.ndarray, np.ndarray, tuple[int, int]]:
    """What bears in each field of 10 mm: its highest iron but for 2 %, over the plane it stands on, um (rows, cols).

    NaN where a field has no scored iron; and the middles of the fields.
    """
    face = job.face
    plane = seat_plane(face, job.body)
    ny, nx = face.shape
    rows, cols = (max(1, round(n * face.pitch_mm / FIELD_MM)) for n in (ny, nx))
    tops = np.full((rows, cols), np.nan)
    edges_y, edges_x = (np.linspace(0, n, k + 1).round().astype(int) for n, k in ((ny, rows), (nx, cols)))
    x_mm, y_mm = (0.5 * (e[:-1] + e[1:]) * face.pitch_mm for e in (edges_x, edges_y))
    for i in range(rows):
        for j in range(cols):
            box = slice(edges_y[i], edges_y[i + 1]), slice(edges_x[j], edges_x[j + 1])
            height = face.height_um[box][face.scored[box]]
            if len(height):
                tops[i, j] = np.percentile(height, 98.0) - float(plane.at(x_mm[j], y_mm[i]))
    return tops, x_mm, y_mm, (ny, nx)


def _low_taken(rounds: list[RoundSeen], tops: np.ndarray, x_mm: np.ndarray, y_mm: np.ndarray,
               sides: tuple[int, int]) -> Remark | None:
    """The lowest field, when more was taken there than elsewhere."""
    rows, cols = tops.shape
    count = np.zeros(tops.shape)
    for one in rounds:
        points, _ = line_points(one.strokes, 1.0) if len(one.strokes) else (np.zeros((0, 2)), None)
        i = np.floor(points[:, 1] / (sides[0] * one.pitch_mm) * rows).astype(int)
        j = np.floor(points[:, 0] / (sides[1] * one.pitch_mm) * cols).astype(int)
        inside = (i >= 0) & (i < rows) & (j >= 0) & (j < cols)
        np.add.at(count, (i[inside], j[inside]), 1.0)
    low = float(np.nanmedian(tops)) - tops
    i, j = np.unravel_index(int(np.nanargmax(low)), tops.shape)
    middle = max(float(np.median(count)), 1.0)
    if low[i, j] < LOW_UM or count[i, j] < WORKED * middle:
        return None
    at = (float(x_mm[j]), float(y_mm[i]))
    deep, share = float(low[i, j]), count[i, j] / middle
    return Remark(
        "low iron taken", 20,
        (f"Look at {where(at, rounds[-1])}, around {at[0]:.0f}, {at[1]:.0f} mm.",
         f"Its tops lie {deep:.1f} µm under the rest. How did they come to?",
         f"{share:.1f} times as many strokes went there as into the middle field.",
         "Leave a low place until the rest has come down to it and it takes blue by itself."),
        (at,), tuple(one.number for one in rounds), at_stake_um=deep)


def _standing(rounds: list[RoundSeen], tops: np.ndarray, x_mm: np.ndarray, y_mm: np.ndarray) -> Remark | None:
    """The highest field over the middle one."""
    high = tops - float(np.nanmedian(tops))
    i, j = np.unravel_index(int(np.nanargmax(high)), tops.shape)
    up = float(high[i, j])
    if up < STANDING_UM:
        return None
    at = (float(x_mm[j]), float(y_mm[i]))
    return Remark(
        "left standing", 2 if _left_pale(rounds, at) else 0,
        (f"Look at {where(at, rounds[-1])}, around {at[0]:.0f}, {at[1]:.0f} mm.",
         f"It stands {up:.1f} µm above the middle field. What did its prints look like?",
         "What carries the face has pale or bare middles, print after print.",
         "Take that place alone, a few strokes, and print again."),
        (at,), (rounds[-1].number,), at_stake_um=up)


def _left_pale(rounds: list[RoundSeen], at: tuple[float, float]) -> bool:
    """Whether a mark with a pale middle was left there in a round that took the plain ones and left the pale."""
    for one in rounds:
        found = rings_taken([one])
        if found is not None and found.out and any(math.dist(place, at) <= FIELD_MM for place in found.places_mm):
            return True
    return False


def _better_counted(rounds: list[RoundSeen], lowest: float) -> bool:
    """Whether the square that was counted last is a good one."""
    counted = [count.spots for one in rounds for count in one.counts if count.spots > 0.0]
    return bool(counted) and lowest < BEST * counted[-1]


def _never_stoned(rounds: list[RoundSeen]) -> Remark | None:
    """Prints on strokes that no stone has followed, from first to last."""
    bare, count = (sum(len(one.strokes) for one in some) for some in (rounds[:-1], rounds))
    if not bare or count < FEW_STROKES or any(one.light + one.firm for one in rounds):
        return None
    last = rounds[-1]
    return Remark(
        "no stone", 4,
        (f"Look at print {last.number}: burrs mark as iron does.",
         f"{bare} strokes lay under it, and no stone went over them. What stands up beside a stroke?",
         "A burr lifts the face by a µm or two, and takes blue that the iron does not.",
         "One light pass of the stone after the strokes, then wipe."),
        (), (last.number,), at_stake_um=1.0)


def _fine_on_high(rounds: list[RoundSeen], tops: np.ndarray, x_mm: np.ndarray, y_mm: np.ndarray) -> Remark | None:
    """Fine strokes alone on a face of which a fifth still lies deeper than such a stroke."""
    worked = [one for one in rounds if len(one.strokes)]
    count = sum(len(one.strokes) for one in worked)
    deep = float(np.nanmax(tops) - np.nanpercentile(tops, 20.0))
    if count < FEW_STROKES or deep < FINE_UM or any(each.blade not in FINE for one in worked for each in one.scraped):
        return None
    i, j = np.unravel_index(int(np.nanargmin(tops)), tops.shape)
    at = (float(x_mm[j]), float(y_mm[i]))
    return Remark(
        "fine too early", 8,
        (f"Look at {where(at, rounds[-1])}: it lies deepest.",
         f"A fifth of the face lies {deep:.0f} µm or more under its top. How many fine strokes is that?",
         "A fine stroke takes 3 to 5 µm, on its mark alone; a rough one takes 10.",
         "Take the rough blade and a heavy film until blue stands in every field."),
        (at,), tuple(one.number for one in worked), at_stake_um=deep)


def _counts(rounds: list[RoundSeen], job: Job) -> list[Remark | None]:
    """The last count against the face, and the poorest square against the mean."""
    found: list[Remark | None] = []
    marks = standard_marks(job.face, job.body)
    true = spots(marks)
    at = (round(true.lowest_at_mm[0], 1), round(true.lowest_at_mm[1], 1))
    last = rounds[-1]
    if true.mean >= FEW_SPOTS and true.lowest < BEST * true.mean:
        found.append(Remark(
            "poorest square", 25 if _better_counted(rounds, true.lowest) else 0,
            (f"Look at {where(at, last)}, around {at[0]:.0f}, {at[1]:.0f} mm.",
             f"The square there has {true.lowest:.0f} spots, the mean of the face is {true.mean:.0f}. Was it counted?",
             "The poorest square decides; the best one tells only how good it could be.",
             "Count there before you call it done."),
            (at,), (last.number,), at_stake_um=1.0))
    counted = [(one.number, count) for one in rounds for count in one.counts if count.spots > 0.0]
    if counted:
        number, count = counted[-1]
        there = spots_in_square(marks, (count.x_mm, count.y_mm))
        if abs(count.spots - there) > max(COUNT_OFF * there, 1.0):
            middle = (count.x_mm + 0.5 * EYE.square_mm, count.y_mm + 0.5 * EYE.square_mm)
            found.append(Remark(
                "count", 25,
                (f"Look at your square of round {number}: you counted {count.spots:.0f} spots.",
                 f"On the finished face it holds {there}. What did you take for one spot?",
                 "The face is judged by a thin even film and a gentle rub; a heavy one runs marks together.",
                 "Count each mark of 1 mm² or more once; marks less than 0.3 mm apart are one."),
                (middle,), (number,), at_stake_um=0.5))
    return found
