"""Ways of reading and deciding: films, calls, forms, what falsifies a print, counts, machine again or not.

Errors of eyes and hands are from memory, and grow as a hand's miss of a mark does. Figures that name no other origin
are common practice, no source.
"""

import math
from typing import Any, Literal

import numpy as np
from scipy.ndimage import distance_transform_edt, find_objects

from sim.hands.skill import Hand
from sim.measure.gauge import reading_plane
from sim.measure.spots import EYE, islands
from sim.school.checks_reading import ALIKE, CUT, OLD_BLUE_PCT, SCRAPE, Case, expected_hours, overlap
from sim.school.evidence import PrintRead, read
from sim.school.seen import RoundSeen
from sim.school.way import Eyes, Take, Working, say, spread, way, width
from sim.shop.commands import RollFilm, SpotFace, StoneFace, WipeFace, WipePlate
from sim.shop.partwork import PushEnds, SweepFace
from sim.shop.sight import Sight

FILM_OFF = 0.08  # scatter of a rolled film's weight, skilled: from memory
MISREAD = 0.06  # share of marks taken for a neighbouring level, skilled: from memory
COUNT_OFF = 0.06
PIVOT_OFF_PCT = 1.5
BEARING_OFF = 0.8
THICK_UM = 8.0
HOURS_OFF = 0.08  # of an estimate of hours, skilled: from memory
SAVED = 0.4  # what is left of the work after a cut, as those think who always cut: common practice, no source
STATIONS = 8, 5
CORE = 0.6  # of its depth: from there on it is the middle of a mark
LEAST_MM2 = 0.3  # smaller is a speck: as the pilot
LAMPS_DEG = 40.0, 130.0


def place(eyes: Eyes, hand: Hand, *, way_mm: float = 10.0, number: int = 0) -> SpotFace:
    """The face put down in the middle of the plate, a little elsewhere each time."""
    at = spread(eyes.sight, 500 + number).random(2)
    room = (0.5 * max(p - s - way_mm, 0.0) for p, s in zip(eyes.sight.plate_mm, eyes.sight.size_mm, strict=True))
    x, y = (0.5 * (p - s) + (float(d) - 0.5) * r
            for p, s, d, r in zip(eyes.sight.plate_mm, eyes.sight.size_mm, at, room, strict=True))
    return SpotFace(round(max(x, 0.0), 2), round(max(y, 0.0), 2), way_mm, read_s=hand.read_s)


@way
def lay_films(eyes: Eyes, hand: Hand, *, film_um: float = 0.0, wipe: bool = True, predict: bool = True,
              applicator: Literal["brayer", "rag"] = "brayer") -> Working:
    """Roll the film that each piece asks for on a clean plate, say where it will be hardest, print."""
    for n in range(eyes.pieces):
        yield Take(n)
        if wipe:
            yield WipePlate()
        asked = film_um or eyes.asked_um
        off = FILM_OFF * width(hand) * spread(eyes.sight, n).standard_normal()
        yield RollFilm(round(asked * math.exp(float(np.clip(off, -1.0, 1.0))), 2), applicator)
        if predict:
            length, wide = eyes.sight.size_mm
            yield say("predict", x_mm=0.5 * length, y_mm=0.5 * wide, marks="same")
        yield place(eyes, hand)


def paleness(one: RoundSeen, marks: PrintRead) -> np.ndarray:
    """How much paler the middle of each mark is than its rim, 0 to 255; float64 (n,)."""
    depth = distance_transform_edt(np.pad(marks.labels > 0, 1))[1:-1, 1:-1]
    found = np.zeros(len(marks.area_mm2))
    for k, box in enumerate(find_objects(marks.labels)):
        mine = marks.labels[box] == k + 1
        deep = mine & (depth[box] >= CORE * depth[box][mine].max())
        found[k] = np.percentile(one.dark[box][mine], 90.0) - one.dark[box][deep].mean()
    return found


def ranks(value: np.ndarray) -> np.ndarray:
    """Place of each value from the least on, from 0; of equal ones the first comes first."""
    return np.asarray(np.argsort(np.argsort(value, kind="stable"), kind="stable"))


def levels(score: np.ndarray) -> np.ndarray:
    """Levels 1 high to 3 low, a third each, the largest scores first."""
    rank = ranks(-score) / max(len(score), 1)
    return np.where(rank < 1 / 3, 1, np.where(rank < 2 / 3, 2, 3))


def called(eyes: Eyes, hand: Hand, how: str, most: int = 24) -> tuple[list[list[float]], PrintRead, np.ndarray]:
    """Calls of some marks, large and small, as this eye gives them: by pale middles and size, or by darkness.

    Returns
    -------
    calls, marks, given
        Calls as they are said; the print as it was read; levels by mark, 0 where none was called.
    """
    one = eyes.print()
    marks = read(one)
    given = np.zeros(len(marks.area_mm2), np.int64)
    large = np.flatnonzero(marks.area_mm2 >= LEAST_MM2)
    if not len(large):
        return [], marks, given
    large = large[np.argsort(-marks.area_mm2[large], kind="stable")]
    chosen = large[np.unique(np.linspace(0, len(large) - 1, min(most, len(large))).astype(np.int64))]
    by_middle = ranks(paleness(one, marks)[chosen]) + ranks(marks.area_mm2[chosen])
    told = levels(marks.dark[chosen] if how == "darkness" else by_middle)
    rng = spread(eyes.sight, 100)
    wrong = rng.random(len(told)) < MISREAD * width(hand)
    step = np.where(rng.random(len(told)) < 0.5, -1, 1)
    given[chosen] = np.where(wrong, np.clip(np.where(told == 2, told + step, 2), 1, 3), told)
    calls = [[*_on(marks, int(k), eyes.sight.pitch_mm), int(given[k]), False] for k in chosen]
    return calls, marks, given


def _on(marks: PrintRead, k: int, pitch_mm: float) -> tuple[float, float]:
    """A place on the mark, nearest to its middle: the middle of a ring may lie beside it."""
    rows, cols = np.nonzero(marks.labels == k + 1)
    x, y = (cols + 0.5) * pitch_mm, (rows + 0.5) * pitch_mm
    n = int(np.argmin((x - marks.x_mm[k]) ** 2 + (y - marks.y_mm[k]) ** 2))
    return round(float(x[n]), 2), round(float(y[n]), 2)


@way
def call_marks(eyes: Eyes, hand: Hand, *, by: Literal["middles", "darkness"] = "middles",
               lamps: bool = True) -> Working:
    """Call the marks of each print high, medium or low, under two lamps; by their middles, or by darkness."""
    for n in range(eyes.pieces):
        yield Take(n)
        for deg in LAMPS_DEG if lamps else ():
            yield say("lamp", lamp_deg=deg)
        calls, _, _ = called(eyes, hand, by)
        yield say("calls", calls=calls)


@way
def name_forms(eyes: Eyes, hand: Hand, *, by: Literal["hinge", "print"] = "hinge", film_um: float = 3.0) -> Working:
    """Push both ends and print, then name the form and the pivot; or believe a full print alone."""
    for n in range(eyes.pieces):
        yield Take(n)
        turned: Any = None
        if by == "hinge":
            yield PushEnds()
            turned = eyes.result
        yield WipePlate()
        yield RollFilm(film_um if by == "hinge" else THICK_UM)
        yield place(eyes, hand)
        found = eyes.sight.marked
        corners = _quarters(found, eyes.sight.iron)
        yield say("answer", question="form", value=_form(turned, corners))
        share = turned.pivots[0].share if turned is not None else 0.5
        off = PIVOT_OFF_PCT * width(hand) * float(spread(eyes.sight, n).standard_normal())
        yield say("answer", question="pivot_pct", value=round(float(np.clip(100.0 * share + off, 0.0, 100.0)), 1))
        yield WipeFace()


def _quarters(marked: np.ndarray, iron: np.ndarray) -> np.ndarray:
    """Share of blue on the iron of each quarter, float64 (2, 2)."""
    ny, nx = marked.shape
    rows, cols = (slice(0, ny // 2), slice(ny // 2, ny)), (slice(0, nx // 2), slice(nx // 2, nx))
    return np.array([[marked[r, c].sum() / max(iron[r, c].sum(), 1) for c in cols] for r in rows])


def _form(turned: Any, quarters: np.ndarray) -> str:
    """The form by the pivots and, where they say even, by blue on two opposite corners."""
    across = quarters[0, 0] + quarters[1, 1] - quarters[0, 1] - quarters[1, 0]
    twisted = abs(float(across)) > 0.5 * float(quarters.sum())
    if turned is None:
        return "twisted" if twisted else "even"
    if twisted:
        return "twisted"
    readings = set(turned.readings)
    if "crowned" in readings and "hollow" not in readings:
        return "crowned"
    return "hollow" if "hollow" in readings and "crowned" not in readings else "even"


def _centred(eyes: Eyes, hand: Hand) -> SpotFace:
    """The face put down in the middle of the plate, where one finds it again."""
    x, y = (0.5 * (p - s) for p, s in zip(eyes.sight.plate_mm, eyes.sight.size_mm, strict=True))
    return SpotFace(round(x, 2), round(y, 2), read_s=hand.read_s)


@way
def doubt_print(eyes: Eyes, hand: Hand, *, clean: bool = True, stones: float = 1.0) -> Working:
    """Print as it lies; then clean, then stone, and print again each time: what changed it falsified the print."""
    for n in range(eyes.pieces):
        yield Take(n)
        old = 100.0 * float(eyes.sight.marked.sum()) > OLD_BLUE_PCT * float(eyes.sight.iron.sum())
        spot = _centred(eyes, hand)
        yield RollFilm(3.0)
        yield spot
        first = eyes.sight.marked.copy()
        told = "nothing"
        if clean:
            yield WipePlate()
            yield WipeFace()
            yield RollFilm(3.0)
            yield spot
            second = eyes.sight.marked.copy()
            for _ in range(int(stones)):
                yield StoneFace()
            yield WipeFace()
            yield RollFilm(3.0)
            yield spot
            third = eyes.sight.marked.copy()
            changed = {"burrs": overlap(second, third), "lint or chips": overlap(first, second)}
            told = min(changed, key=lambda one: changed[one])
            told = "old blue" if old else told if changed[told] < ALIKE else "nothing"
            if spread(eyes.sight, n).random() < MISREAD * width(hand):
                told = "lint or chips" if told == "burrs" else "burrs"
        yield say("answer", question="fooled_by", value=told)


@way
def count_faces(eyes: Eyes, hand: Hand, *, square: Literal["worst", "best"] = "worst", film_um: float = 1.5) -> Working:
    """Print each face thinly, put the square down where it is poorest (or best), count it, name the bearing."""
    for n in range(eyes.pieces):
        yield Take(n)
        yield WipeFace()
        yield WipePlate()
        yield RollFilm(film_um)
        yield place(eyes, hand, way_mm=4.0)
        sight = eyes.sight
        x, y, spots = _square(_spots(eyes), sight.size_mm, square)
        rng = spread(sight, 50 + n)
        spots *= 1.0 + COUNT_OFF * width(hand) * float(rng.standard_normal())
        blue = 100.0 * float(sight.marked.sum()) / float(sight.iron.sum())
        blue += BEARING_OFF * width(hand) * float(rng.standard_normal())
        yield say("count", x_mm=x, y_mm=y, spots=float(max(0, round(spots))), bearing_pct=round(max(blue, 0.0), 1))


def _spots(eyes: Eyes) -> np.ndarray:
    """Middles of the marks that are counted, float64 (n, 2) mm."""
    found = islands(eyes.print().marks, EYE.gap_mm)
    keep = found.area_mm2 >= EYE.spot_area_mm2
    return np.column_stack([found.x_mm[keep], found.y_mm[keep]])


def _square(middles: np.ndarray, size_mm: tuple[float, float], which: str) -> tuple[float, float, float]:
    """Corner of the poorest or best square, and the spots in it."""
    best: tuple[float, float, float] | None = None
    side = EYE.square_mm
    for y in np.arange(0.0, max(size_mm[1] - side, 0.0) + 0.01, 2.0):
        for x in np.arange(0.0, max(size_mm[0] - side, 0.0) + 0.01, 2.0):
            inside = ((middles[:, 0] >= x) & (middles[:, 0] < x + side) & (middles[:, 1] >= y)
                      & (middles[:, 1] < y + side))  # fmt: skip
            count = float(inside.sum())
            if best is None or (count < best[2] if which == "worst" else count > best[2]):
                best = (float(x), float(y), count)
    assert best is not None  # there is one square at least
    return best


@way
def decide(eyes: Eyes, hand: Hand, *, by: Literal["hours", "belief"] = "hours", face: str = "sole", datum: str = "back",
           lever_deg: float = 15.0) -> Working:
    """Sweep each part and say by recorded cases around its figure if it is cut again; or always: a cut saves work."""
    for n in range(eyes.pieces):
        yield Take(n)
        yield SweepFace(face, datum, STATIONS, lever_deg=lever_deg)
        case = Case(_out_of_flat_um(eyes.sight), eyes.tram)
        ways = expected_hours(case, eyes.cases)
        chosen = min(ways, key=lambda one: ways[one]) if by == "hours" else CUT
        off = HOURS_OFF * width(hand) * float(spread(eyes.sight, n).standard_normal())
        told = ways[chosen] * math.exp(off) if by == "hours" else SAVED * ways[SCRAPE]
        yield say("answer", question="way", value=chosen)
        yield say("answer", question="hours", value=round(told, 1))


def _out_of_flat_um(sight: Sight) -> float:
    """What the numbers on the face in hand stand off their own plane, from lowest to highest."""
    found = sight.written
    assert found is not None  # it was swept
    plane = reading_plane(found.x_mm, found.y_mm, found.z_um)
    return float(np.ptp(found.z_um - plane.at(found.x_mm, found.y_mm)))
