"""The exercises of the shop cards, done on the model: one stated face, the same numbers and pictures each time."""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from sim import PHYSICS
from sim.errors import BadParam
from sim.hands.autopilot import STAGES, Pilot, follow_the_blue, read_print
from sim.hands.lanes import Lanes, strokes_over
from sim.hands.skill import HANDS, lay
from sim.measure.spots import EYE, islands
from sim.model.face import Face
from sim.model.marks import Marks
from sim.model.plate import PlateMake
from sim.model.start import Start
from sim.school.calls import LEAST_MARK_MM2, MarkHeights, mark_heights, seat_plane
from sim.seat.compliant import Compliance, compliant_seat, middles_mm, pressed_cells, weight_and_hands
from sim.seat.hinge import Hinge, hinge
from sim.shop import commands as shop
from sim.shop.job import Job, JobStart, begin_job
from sim.shop.rounds import drive
from sim.shop.session import Session
from sim.shop.sight import look
from sim.target import Target

SEED, ROUNDS = 3, 12
FACE = Start(length_mm=100.0, width_mm=70.0)
BAR = Start(length_mm=150.0, width_mm=50.0, kind="surface-ground")
BAR_BOW_UM = 10.0
FILMS_UM = (8.0, 3.0, 1.5)
NORMAL_UM, STONED_UM, TURNED_UM = 3.0, 2.0, 1.5
WAY_MM = 20.0
STROKE_MM = 10.0
WORN_UM = 15.0  # of a plate that was used for years: common practice, no source
TEN, FIVE = 10, 5
BACK_SHARE = 0.5  # of a mark that must be blue again for it to have come back: common practice, no source
FAINT = 0.33  # darkness that reader B takes for blue
MOVED_MM, AROUND_MM = 2.0, 3.0
ROW_PUSH_N, ROW_MM, ROW_LONG_MM, ROW_BEYOND_MM = 80.0, 1.9, 7.0, 1.0  # a finishing round in full rows
LAY_DEG = 30.0
BROAD_MM = 1.5  # waves longer than some of these are form, and no lamp shows them
SHADE_PER_SLOPE = 0.10  # of full light, per um/mm
Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Shot:
    """A picture of the model's face.

    Attributes
    ----------
    caption : str
    seen : uint8 (ny, nx)
        Row = y. Darkness of the print, 0 bare to 255; of a relief, how light it is.
    pitch_mm : float
    relief : bool
    square_mm : (x, y, side) or None
        Corner and side of the counting square.
    places_mm : tuple of (x, y)
        Numbered on the picture, from 1.
    dots_mm : tuple of (x, y)
        Marked with a point.
    """

    caption: str
    seen: NDArray[np.uint8]
    pitch_mm: float
    relief: bool = False
    square_mm: tuple[float, float, float] | None = None
    places_mm: tuple[tuple[float, float], ...] = ()
    dots_mm: tuple[tuple[float, float], ...] = ()

    @property
    def size_mm(self) -> tuple[float, float]:
        """Along x and y."""
        ny, nx = self.seen.shape
        return nx * self.pitch_mm, ny * self.pitch_mm


@dataclass(frozen=True, eq=False)
class Simulated:
    """What came of an exercise on the model.

    Attributes
    ----------
    setup : str
        The face, its seed, the number of the physics.
    numbers : dict
        By key; those that have the key of a field on the card stand beside it.
    shots : tuple of Shot
    """

    setup: str
    numbers: dict[str, float] = field(default_factory=dict)
    shots: tuple[Shot, ...] = ()


def simulate(name: str) -> Simulated:
    """The exercise of a card on the model; a second or two for the first, then kept.

    Raises
    ------
    BadParam
        No such card.
    """
    if name not in RUNS:
        raise BadParam(f"a card must be one of {', '.join(RUNS)}, got {str(name)[:40]!r}")
    return _simulated(name)


@lru_cache(maxsize=16)
def _simulated(name: str) -> Simulated:
    numbers, shots = RUNS[name]()
    size = f"{FACE.length_mm:g} × {FACE.width_mm:g} mm"
    setup = (f"{FACE.kind} face of {size} after {ROUNDS} rounds of a skilled hand; "
             f"seed {SEED}, physics {PHYSICS}")  # fmt: skip
    return Simulated(setup, {key: float(value) for key, value in numbers.items()}, tuple(shots))


Run = tuple[dict[str, float], list[Shot]]


@lru_cache(maxsize=1)
def _worked() -> Job:
    """The face after its last round, scraped and wiped, not stoned; to be copied."""
    hand = HANDS["skilled"]
    with Session.begin(JobStart(FACE, seed=SEED), copies_mb=0.0) as session:
        drive(session, follow_the_blue(hand), Target(), rounds=ROUNDS - 1, carry_on=True)
        last = follow_the_blue(hand, stages=(STAGES[2],), split=None, stone=False)
        drive(session, last, Target(), rounds=1, carry_on=True)
        return session.job.copy()


def _done(job: Job, acts: Iterable[shop.Command]) -> Job:
    for act in acts:
        shop.perform(act, job)
    return job


def _unstoned() -> Job:
    return _worked().copy()


def _stoned() -> Job:
    """The face of every other card: stoned, wiped, edges of the blades as they are."""
    return _done(_unstoned(), (shop.StoneFace(), shop.WipeFace()))


def _print(job: Job, film_um: float = NORMAL_UM, way_mm: float = WAY_MM, turn_deg: float = 0.0) -> Job:
    """Face and plate wiped, a film rolled, the face put down in the middle of the plate and rubbed; changes `job`."""
    x, y = (0.5 * (plate - side) for plate, side in zip(job.plate.size_mm, job.face.size_mm, strict=True))
    return _done(job, (shop.WipeFace(), shop.WipePlate(), shop.RollFilm(film_um),
                       shop.SpotFace(x, y, way_mm, turn_deg=turn_deg)))  # fmt: skip


def _darkness(job: Job) -> Array:
    """Of each cell, 0 bare to 1."""
    face = job.face
    return np.where(face.iron, -np.expm1(-face.blue_um / job.start.material.blue.opacity_um), 0.0)


def _marks(job: Job) -> Marks:
    seen = look(job)
    return Marks(seen.marked, seen.iron, seen.pitch_mm)


def _square(face: Face, dx: float = 0.0, dy: float = 0.0) -> tuple[float, float, float]:
    """Corner and side of the counting square in the middle of a face, or moved from there."""
    side = EYE.square_mm
    return 0.5 * (face.size_mm[0] - side) + dx, 0.5 * (face.size_mm[1] - side) + dy, side


def _inside(x_mm: Array, y_mm: Array, square: tuple[float, float, float]) -> NDArray[np.bool_]:
    x, y, side = square
    return (x_mm >= x) & (x_mm < x + side) & (y_mm >= y) & (y_mm < y + side)


def _count(marks: Marks, square: tuple[float, float, float], least_mm2: float = EYE.spot_area_mm2) -> int:
    found = islands(marks)
    return int((_inside(found.x_mm, found.y_mm, square) & (found.area_mm2 >= least_mm2)).sum())


def _bearing_pct(marks: Marks, square: tuple[float, float, float] | None = None) -> float:
    """Marked share of the iron, of the whole face or in a square."""
    where = marks.iron
    if square:
        ny, nx = where.shape
        x, y = middles_mm((ny, nx), marks.pitch_mm)
        where = where & _inside(x[None, :], y[:, None], square)
    return 100.0 * float(marks.marked[where].mean())


def _shot(job: Job, caption: str, *, square: bool = True, places: tuple[tuple[float, float], ...] = (),
          dots: tuple[tuple[float, float], ...] = ()) -> Shot:
    seen = np.rint(255.0 * _darkness(job)).astype(np.uint8)
    return Shot(caption, seen, job.face.pitch_mm, square_mm=_square(job.face) if square else None, places_mm=places,
                dots_mm=dots)  # fmt: skip


def _close(shot: Shot) -> Shot:
    """The picture cut to its square and a little around it."""
    assert shot.square_mm is not None  # only such are given
    x, y, side = shot.square_mm
    cells = slice(*(round(v / shot.pitch_mm) for v in (y - AROUND_MM, y + side + AROUND_MM)))
    columns = slice(*(round(v / shot.pitch_mm) for v in (x - AROUND_MM, x + side + AROUND_MM)))
    dx, dy = columns.start * shot.pitch_mm, cells.start * shot.pitch_mm
    dots = tuple((at_x - dx, at_y - dy) for at_x, at_y in shot.dots_mm)
    return replace(shot, seen=shot.seen[cells, columns].copy(), square_mm=(x - dx, y - dy, side), dots_mm=dots)


def _films() -> Run:
    numbers: dict[str, float] = {}
    shots = []
    for word, film_um in zip(("heavy", "normal", "thin"), FILMS_UM, strict=True):
        job = _print(_stoned(), film_um)
        marks = _marks(job)
        numbers |= {f"film_{word}": film_um, f"bearing_{word}": _bearing_pct(marks),
                    f"marks_{word}": _count(marks, _square(job.face))}  # fmt: skip
        shots.append(_shot(job, f"{word}: {film_um:g} µm"))
    return numbers, shots


def _pale(job: Job) -> tuple[tuple[tuple[float, float], ...], float]:
    """Places of the marks in the square with a bare middle, by the pilot's rule of a hard mark; bare mm² of them."""
    whole, bare = read_print(_marks(job), Pilot())
    found = islands(whole)
    bare_mm2 = np.bincount(found.labels[bare], minlength=len(found.area_mm2) + 1)[1:] * whole.pitch_mm**2
    hard = (bare_mm2 >= Pilot().hard_mm2) & _inside(found.x_mm, found.y_mm, _square(job.face))
    places = tuple(zip(found.x_mm[hard].tolist(), found.y_mm[hard].tolist(), strict=True))
    return places, float(bare_mm2[hard].sum())


def _rub() -> Run:
    numbers: dict[str, float] = {}
    shots = []
    for strokes in (1, 3, 10):
        job = _print(_stoned(), way_mm=strokes * STROKE_MM)
        pale, bare_mm2 = _pale(job)
        numbers |= {f"bearing_{strokes}": _bearing_pct(_marks(job)), f"pale_{strokes}": len(pale),
                    f"bare_{strokes}": bare_mm2}  # fmt: skip
        shots.append(_close(_shot(job, f"{strokes} stroke{'s' if strokes > 1 else ''}", dots=pale)))
    return numbers, shots


def _ten(marks: Marks) -> tuple[NDArray[np.int64], list[int], tuple[tuple[float, float], ...]]:
    """Labels of a print, numbers of its ten smallest marks that count, and their places."""
    found = islands(marks)
    worth = np.where(found.area_mm2 >= EYE.spot_area_mm2, found.area_mm2, np.inf)
    chosen = np.argsort(worth, kind="stable")[:TEN].tolist()
    return found.labels, [k + 1 for k in chosen], tuple((float(found.x_mm[k]), float(found.y_mm[k])) for k in chosen)


def _came_back(labels: NDArray[np.int64], chosen: list[int], again: Marks) -> int:
    """How many of the chosen marks are blue again over half of their cells."""
    return sum(float(again.marked[labels == one].mean()) >= BACK_SHARE for one in chosen)


def _three_prints(job: Job, suffix: str) -> tuple[dict[str, float], list[Shot]]:
    first = _print(job, TURNED_UM)
    labels, chosen, places = _ten(_marks(first))
    shots = [_shot(first, f"first print{', worn plate' if suffix else ''}", square=False, places=places)]
    numbers: dict[str, float] = {}
    for key, turn_deg in (("same", 0.0), ("turned", 180.0)):
        again = _print(job, TURNED_UM, turn_deg=turn_deg)
        numbers[f"{key}{suffix}"] = _came_back(labels, chosen, _marks(again))
        caption = "again, same way round" if key == "same" else "again, turned by 180°"
        shots.append(_shot(again, caption, square=False, places=places))
    return numbers, shots


def _turn() -> Run:
    job = _stoned()
    numbers, shots = _three_prints(job.copy(), "")
    worn = begin_job(replace(job.start, plate=PlateMake(flatness_um=WORN_UM)))
    worn.part = job.part.copy()
    found, worse = _three_prints(worn, "_worn")
    good = replace(shots[2], caption="turned, good plate")
    return numbers | found, [good, worse[0], replace(worse[2], caption="turned, worn plate")]


def _stone() -> Run:
    before, after = _print(_unstoned(), STONED_UM), _print(_stoned(), STONED_UM)
    labels, chosen, places = _ten(_marks(before))
    square = _square(before.face)
    burr_um = _unstoned().face.burr_um
    numbers: dict[str, float] = {
        "gone": TEN - _came_back(labels, chosen, _marks(after)), "burr": float(np.median(burr_um[burr_um > 0.0])),
        "burred": 100.0 * float((burr_um[before.face.iron] > 0.0).mean()),
    }  # fmt: skip
    for word, job in (("before", before), ("after", after)):
        numbers |= {f"marks_{word}": _count(_marks(job), square), f"bearing_{word}": _bearing_pct(_marks(job))}
    return numbers, [_shot(before, "scraped, not stoned", places=places), _shot(after, "stoned", places=places)]


def _hinge_of(face: Face) -> Hinge:
    """The hinge test on what a face stands on by its own weight."""
    top = face.height_um + face.burr_um
    pose = compliant_seat(top, face.pitch_mm, weight_and_hands(face, JobStart().body))
    return hinge(face.iron, face.pitch_mm, *pressed_cells(top, pose, face.pitch_mm, Compliance().c_um))


def _pivot() -> Run:
    both = _hinge_of(_stoned().face)
    numbers = {"first": 100.0 * both.pivots[0].share, "second": 100.0 * both.pivots[1].share}
    shots = []
    for word, bow_um in (("even", 0.0), ("crowned", BAR_BOW_UM), ("hollow", -BAR_BOW_UM)):
        job = begin_job(JobStart(replace(BAR, bow_x_um=bow_um), seed=SEED))
        found = _hinge_of(job.face)
        one = found.even[0] if word == "even" else found.pivots[0]
        numbers[word] = 100.0 * one.share
        if word != "even":
            place = (float(one.x_mm), float(one.y_mm))
            shots.append(_shot(_print(job), f"{word} by 10 µm: pivot", square=False, dots=(place,)))
    return numbers, shots


def _counting() -> Run:
    job = _print(_stoned())
    marks, square = _marks(job), _square(job.face)
    count = _count(marks, square)
    around = [_count(marks, _square(job.face, MOVED_MM * math.cos(turn), MOVED_MM * math.sin(turn)))
              for turn in np.linspace(0.0, 2.0 * math.pi, 8, endpoint=False).tolist()]  # fmt: skip
    numbers: dict[str, float] = {f"count_{n}": count for n in (1, 2, 3)}
    numbers |= {"count_moved": around[0], "least_moved": min(around), "most_moved": max(around),
                "from_half": _count(marks, square, 0.5), "from_two": _count(marks, square, 2.0)}  # fmt: skip
    found = islands(marks)
    counted = _inside(found.x_mm, found.y_mm, square) & (found.area_mm2 >= EYE.spot_area_mm2)
    dots = tuple(zip(found.x_mm[counted].tolist(), found.y_mm[counted].tolist(), strict=True))
    return numbers, [_close(_shot(job, "a point on each that the rule counts", dots=dots))]


def _five(known: MarkHeights, worth: Array, square: tuple[float, float, float]) -> list[int]:
    """Numbers of the five marks of the square that are worth most by a rule."""
    found = known.found
    here = np.flatnonzero(_inside(found.x_mm, found.y_mm, square) & (found.area_mm2 >= LEAST_MARK_MM2))
    best: list[int] = here[np.argsort(-worth[here], kind="stable")][:FIVE].tolist()
    return best


def _readers() -> Run:
    job = _print(_stoned())
    square, marks, dark = _square(job.face), _marks(job), _darkness(job)
    faint = Marks((dark >= FAINT) & marks.iron, marks.iron, marks.pitch_mm)
    known = mark_heights(marks, job.face.height_um, seat_plane(job.face))
    labels, n = known.found.labels, len(known.found.area_mm2) + 1
    _, bare = read_print(marks, Pilot())
    pale = np.bincount(labels[bare], minlength=n)[1:].astype(np.float64)
    on = (labels > 0) & marks.marked
    mean_dark = np.bincount(labels[on], dark[on], n)[1:] / np.maximum(np.bincount(labels[on], minlength=n)[1:], 1)
    by_pale = _five(known, pale + 1e-3 * known.found.area_mm2, square)
    by_dark = _five(known, mean_dark, square)
    best = _five(known, known.height_um, square)
    top_um = float(known.height_um[best[0]])
    numbers: dict[str, float] = {"agree": len(set(by_pale) & set(by_dark))}
    for word, read, five in (("a", marks, by_pale), ("b", faint, by_dark)):
        numbers |= {f"count_{word}": _count(read, square), f"bearing_{word}": _bearing_pct(read, square),
                    f"height_{word}": top_um - float(known.height_um[five].mean())}  # fmt: skip
    numbers["height_best"] = top_um - float(known.height_um[best].mean())
    places = [tuple((float(known.found.x_mm[k]), float(known.found.y_mm[k])) for k in five)
              for five in (by_pale, by_dark)]  # fmt: skip
    return numbers, [_close(_shot(job, "A's five: bare in the middle", dots=places[0])),
                     _close(_shot(job, "B's five: darkest", dots=places[1]))]  # fmt: skip


def _in_rows(job: Job, way_deg: float) -> Job:
    """A light round of full rows in one direction, stoned and wiped; changes `job`."""
    hand = HANDS["skilled"]
    along = (math.cos(math.radians(way_deg)), math.sin(math.radians(way_deg)))
    lanes = Lanes(along, ROW_MM, ROW_LONG_MM, ROW_BEYOND_MM, ROW_PUSH_N)
    made = lay(strokes_over(job.face.iron.astype(np.int64), job.face.pitch_mm, lanes), hand, SEED, job.round + 1)
    cuts = [shop.Scrape("fine", shop.strokes_as_data(made[k : k + shop.MOST_STROKES]), hand.care, hand.ramp_mm)
            for k in range(0, len(made), shop.MOST_STROKES)]  # fmt: skip
    return _done(job, (shop.HoneBlade("fine"), *cuts, shop.StoneFace(), shop.WipeFace()))


def _slopes(face: Face) -> tuple[Array, Array]:
    """Slope along x and y of what is shorter than form, um/mm, float64 (ny, nx); 0 off the scored iron."""
    height = np.where(face.scored, face.height_um, np.median(face.height_um[face.scored]))
    fine = height - gaussian_filter(height, BROAD_MM / face.pitch_mm)
    along_y, along_x = np.gradient(fine, face.pitch_mm)
    return np.where(face.scored, along_x, 0.0), np.where(face.scored, along_y, 0.0)


def _relief(face: Face, lamp_deg: float, caption: str) -> Shot:
    """The face under a low lamp: light where it slopes towards it."""
    along_x, along_y = _slopes(face)
    towards = -(along_x * math.cos(math.radians(lamp_deg)) + along_y * math.sin(math.radians(lamp_deg)))
    light = np.clip(0.55 + SHADE_PER_SLOPE * towards, 0.0, 1.0)
    return Shot(caption, np.rint(255.0 * light).astype(np.uint8), face.pitch_mm, relief=True)


def _lit(face: Face) -> tuple[float, float]:
    """Azimuth of the lamp that shows most, degrees from 0 to 180, and how much more than the one that shows least.

    What a lamp shows: root mean square of the slope towards it.
    """
    along_x, along_y = (slope[face.scored] for slope in _slopes(face))
    xx, xy, yy = float((along_x**2).mean()), float((along_x * along_y).mean()), float((along_y**2).mean())
    half, turn = 0.5 * (xx + yy), math.hypot(0.5 * (xx - yy), xy)
    return 0.5 * math.degrees(math.atan2(2.0 * xy, xx - yy)) % 180.0, math.sqrt((half + turn) / (half - turn))


def _raking() -> Run:
    ground = begin_job(JobStart(replace(FACE, kind="surface-ground"), seed=SEED))
    face = _in_rows(ground, LAY_DEG).face
    plainest, ratio = _lit(face)
    faintest = (plainest + 90.0) % 180.0
    _, crossed = _lit(_in_rows(_stoned(), LAY_DEG).face)
    numbers = {"plainest": plainest, "faintest": faintest, "lay": LAY_DEG, "ratio": ratio, "ratio_crossed": crossed,
               "rounds": ROUNDS}  # fmt: skip
    return numbers, [_relief(face, plainest, f"lamp at {plainest:.0f}°: plainest"),
                     _relief(face, faintest, f"lamp at {faintest:.0f}°: faintest")]  # fmt: skip


RUNS: dict[str, Callable[[], Run]] = {
    "films": _films, "rub": _rub, "turn": _turn, "stone": _stone, "pivot": _pivot, "count": _counting,
    "readers": _readers, "raking": _raking,
}  # fmt: skip
"""How each card is done on the model."""
