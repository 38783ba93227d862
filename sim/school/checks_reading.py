"""Checks of reading and deciding: films, calls, forms, counts, what a print can be believed to say.

Figures that name no other origin are common practice, no source.
"""

import csv
import math
import re
from collections.abc import Collection
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np

from sim.errors import BadFile, BadParam
from sim.measure.spots import EYE, spots, spots_in_square
from sim.measure.verdict import standard_marks
from sim.model.marks import Marks
from sim.paths import lessons
from sim.school.check import check
from sim.school.facts import Facts, Printed
from sim.shop.commands import Command, RollFilm, SpotFace, StoneFace, WipeFace, WipePlate, perform
from sim.shop.job import Job
from sim.shop.partwork import PushEnds
from sim.shop.sight import marks_seen

FORMS = ("even", "crowned", "hollow", "twisted")
FOOLED = ("burrs", "lint or chips", "old blue", "nothing")
ALIKE = 0.6  # overlap of two prints from which they say the same: common practice, no source
TURNED_OVER = -50.0  # points: half way from dealt at random to wholly turned over: common practice, no source
OLD_BLUE_PCT = 4.0  # of the iron: a face that was only wiped keeps less


def worst(values: list[float]) -> float:
    """The largest of some values; NaN where there are none, or where one is missing."""
    return max(values) if values and all(math.isfinite(v) for v in values) else math.nan


def least(values: list[float]) -> float:
    """The smallest of some values; NaN where there are none, or where one is missing."""
    return -worst([-v for v in values])


def middle(values: list[float]) -> float:
    """The median of what there is; NaN where there is nothing."""
    known = [v for v in values if math.isfinite(v)]
    return float(np.median(known)) if known else math.nan


def _number(value: Any) -> float:
    """An answer as a number; NaN for anything else."""
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else math.nan


# Films


def _films_off(facts: Facts) -> list[float]:
    """Film of the last print of each piece that asks for one, over what it asks for; 0 as it was asked."""
    found = []
    for n, piece in enumerate(facts.pieces):
        if piece.asked_um > 0.0:
            last = [one.film_um for one in facts.printed if one.piece == n]
            found.append(last[-1] / piece.asked_um - 1.0 if last else math.nan)
    return found


def _too_heavy(facts: Facts) -> int:
    """Fault 1, where the film that is farthest off is too heavy."""
    return int(max(_films_off(facts), key=abs, default=0.0) > 0.0)


@check("%", "low", "print", fault=_too_heavy)
def film_off_pct(facts: Facts) -> float:
    """Film off what was asked, the worst piece."""
    return worst([100.0 * abs(off) for off in _films_off(facts)])


@check("", "low", "film")
def film_cv(facts: Facts) -> float:
    """Unevenness of the worst film: standard deviation over mean."""
    return worst([one.cv for one in facts.rolled])


@check("prints", "high", "print")
def predictions(facts: Facts) -> float:
    """Prints before which it was said where they would be hardest."""
    return float(sum(one.predicted is not None for one in facts.printed)) if facts.printed else math.nan


def _film_over_height(facts: Facts) -> list[float]:
    return [one.film_um / one.flat_um for one in facts.printed if one.flat_um > 0.0 and one.film_um > 0.0]


def _over_the_height(facts: Facts) -> int:
    """Fault 1, where the films of most prints were as much over the height left as the figure says."""
    return int(middle(_film_over_height(facts)) >= film_ratio(facts))


@check("", "low", "print", fault=_over_the_height)
def film_ratio(facts: Facts) -> float:
    """Film over the height left, the median print: or the other way round, 1 where they are alike."""
    return middle([max(r, 1.0 / r) for r in _film_over_height(facts)])


@check("mm", "high", "print", fault=18)
def plate_way_mm(facts: Facts) -> float:
    """Way between the places on the plate where it was printed."""
    places = np.array([(one.command.x_mm, one.command.y_mm) for one in facts.printed
                       if isinstance(one.command, SpotFace)])  # fmt: skip
    return float(np.hypot(*(places.max(axis=0) - places.min(axis=0)))) if len(places) else math.nan


# Calls


def _turned_over(facts: Facts) -> int:
    """Fault 2, where a print was called more the wrong way round than any which way."""
    return 2 if call_skill(facts) <= TURNED_OVER else 0


@check("points", "high", "calls", fault=_turned_over)
def call_skill(facts: Facts) -> float:
    """Calls in order, the poorest print: 0 is dealt at random, 100 perfect."""
    skills = []
    for n in range(len(facts.pieces)):
        mine = [one.score for one in facts.called if one.piece == n and one.score is not None]
        skills.append(min((one.skill for one in mine), default=math.nan))
    return least(skills)


@check("marks", "high", "calls")
def marks_called(facts: Facts) -> float:
    """Marks called, on the piece with the fewest."""
    counts = [sum(one.score.called for one in facts.called if one.piece == n and one.score is not None)
              for n in range(len(facts.pieces))]  # fmt: skip
    return float(min(counts)) if any(counts) else math.nan


@check("%", "low", "calls", fault=_turned_over)
def inversions_pct(facts: Facts) -> float:
    """Pairs of calls that were the wrong way round."""
    scores = [one.score for one in facts.called if one.score is not None]
    pairs = sum(one.pairs for one in scores)
    return 100.0 * sum(one.inversions for one in scores) / pairs if pairs else math.nan


@check("lamps", "high", "lamp")
def lamps_used(facts: Facts) -> float:
    """Directions of the lamp, 30 degrees apart or more, under which it was read."""
    kept: list[float] = []
    for _, deg in facts.lamps:
        if all(min(abs(deg - one) % 360.0, 360.0 - abs(deg - one) % 360.0) >= 30.0 for one in kept):
            kept.append(deg)
    return float(len(kept)) if kept else math.nan


# Forms


def form_of(job: Job) -> str:
    """The form of the face in hand: what its fitted bow and twist stand out by; "even" where both are small."""
    face = job.face
    ny, nx = face.shape
    y, x = np.meshgrid(np.linspace(-1.0, 1.0, ny), np.linspace(-1.0, 1.0, nx), indexing="ij")
    on = face.scored
    columns = np.column_stack([np.ones(on.sum()), x[on], y[on], x[on] ** 2, y[on] ** 2, x[on] * y[on]])
    fit, *_ = np.linalg.lstsq(columns, face.height_um[on], rcond=None)
    bow_um, twist_um = -float(fit[3]), 2.0 * abs(float(fit[5]))
    if max(abs(bow_um), twist_um) < LEAST_FORM_UM:
        return "even"
    if twist_um > abs(bow_um):
        return "twisted"
    return "crowned" if bow_um > 0.0 else "hollow"


LEAST_FORM_UM = 2.5  # common practice, no source: what a film of 3 um still shows


def _form_missed(facts: Facts) -> int:
    """Fault 11, where a crowned or hollow face was taken for something else."""
    forms = ((form_of(job), facts.answers.get((n, "form"))) for n, job in enumerate(facts.begun))
    return 11 if any(form in ("crowned", "hollow") and said not in (None, form) for form, said in forms) else 0


@check("forms", "high", "answer", fault=_form_missed)
def forms_right(facts: Facts) -> float:
    """Forms that were named rightly."""
    if not facts.told("form"):
        return math.nan
    return float(sum(facts.answers.get((n, "form")) == form_of(job) for n, job in enumerate(facts.begun)))


@check("%", "low", "answer", fault=11)
def pivot_off_pct(facts: Facts) -> float:
    """Pivot named off where it turned, the median piece: in per cent of the length."""
    found = []
    for n, job in enumerate(facts.begun):
        said = _number(facts.answers.get((n, "pivot_pct")))
        shown = facts.hinged.get(n) or perform(PushEnds(), job.copy())
        found.append(abs(said - 100.0 * shown.pivots[0].share))
    return _of_most(found)


# Is the print to be believed


def fooled_by(job: Job) -> str:
    """What falsifies the next print of a face as it lies there: one of FOOLED.

    Notes
    -----
    Printed on copies in the middle of the plate, with and without burrs, with and without hairs and chips: what changes
    the print so that less than 60 % of the blue is the same falsifies it.
    """
    if 100.0 * float(marks_seen(job).marked.sum()) > OLD_BLUE_PCT * float(job.face.iron.sum()):
        return "old blue"
    true = _printed(job, burrs=False, lint=False)
    alike = {"burrs": overlap(_printed(job, burrs=True, lint=False), true),
             "lint or chips": overlap(_printed(job, burrs=False, lint=True), true)}  # fmt: skip
    worst_one = min(alike, key=lambda one: alike[one])
    return worst_one if alike[worst_one] < ALIKE else "nothing"


def _printed(job: Job, *, burrs: bool, lint: bool) -> np.ndarray:
    """Where a clean face and plate, but for what is left on them, would mark with 3 um of blue; bool (ny, nx)."""
    made = job.copy()
    x, y = (0.5 * (p - s) for p, s in zip(made.plate.size_mm, made.face.size_mm, strict=True))
    chips, hairs = made.face.chips, made.plate.lint
    cleaning: tuple[Command, ...] = (WipeFace(), WipePlate())
    printing: tuple[Command, ...] = (RollFilm(3.0), SpotFace(round(x, 2), round(y, 2)))
    for command in cleaning:
        perform(command, made)
    if lint:
        made.face.chips, made.plate.lint = chips, hairs
    if not burrs:
        made.face.burr_um[:] = 0.0
    for command in printing:
        perform(command, made)
    return marks_seen(made).marked


def overlap(one: np.ndarray, other: np.ndarray) -> float:
    """Cells in both over cells in either; 1 where there are none."""
    either = int((one | other).sum())
    return int((one & other).sum()) / either if either else 1.0


def _fooled(facts: Facts) -> int:
    """Fault 4 or 5, where burrs, or lint and chips, were not seen for what they are."""
    missed = {fooled_by(job) for n, job in enumerate(facts.begun)
              if facts.answers.get((n, "fooled_by")) not in (None, fooled_by(job))}  # fmt: skip
    return 4 if "burrs" in missed else 5 if "lint or chips" in missed else 0


@check("pieces", "high", "answer", fault=_fooled)
def fooled_right(facts: Facts) -> float:
    """Pieces of which it was said rightly what falsifies their print."""
    if not facts.told("fooled_by"):
        return math.nan
    return float(sum(facts.answers.get((n, "fooled_by")) == fooled_by(job) for n, job in enumerate(facts.begun)))


@check("%", "high", "print")
def true_print_pct(facts: Facts) -> float:
    """Last print like that of the clean face: blue in both over blue in either."""
    found = []
    for n, job in enumerate(facts.ended):
        last = [one for one in facts.printed if one.piece == n and one.face == job.in_hand]
        found.append(-_overlap_pct(last[-1], job) if last else math.nan)
    return -worst(found)


def _overlap_pct(made: Printed, job: Job) -> float:
    """A print against the one that the cleaned face gives with the same film at the same place."""
    clean, film_um = job.copy(), made.film_um
    clean.face.burr_um[:] = 0.0
    for command in (WipeFace(), WipePlate(), RollFilm(max(0.1, min(film_um, 50.0))), made.command):
        perform(command, clean)
    return 100.0 * overlap(made.marks.marked, marks_seen(clean).marked)


@check("pieces", "high")
def plates_cleaned(facts: Facts) -> float:
    """Pieces whose plate was wiped before the first film."""
    found = 0
    for n in range(len(facts.pieces)):
        mine = [act for piece, _, act in facts.acts if piece == n]
        found += WipePlate.__name__ in mine[: mine.index(RollFilm.__name__) if RollFilm.__name__ in mine else None]
    return float(found)


@check("passes", "low", fault=24)
def stonings(facts: Facts) -> float:
    """Passes of the stone, on the piece with most of them."""
    name = StoneFace.__name__
    return float(max(sum(act == name and piece == n for piece, _, act in facts.acts) for n in range(len(facts.pieces))))


# Counting


class Counted(NamedTuple):
    """What was said last of a square of a piece, and its spots and the bearing of the print that was counted then.

    NaN where there is none. worst: whether hardly any other square has fewer spots in the standard print.
    """

    said_spots: float
    spots: float
    said_bearing_pct: float
    bearing_pct: float
    worst: bool | None


def counted(facts: Facts, n: int) -> Counted:
    """What was counted on a piece, beside the truth."""
    mine = [(round_, data) for piece, round_, data in facts.counts if piece == n]
    round_, said = mine[-1] if mine else (0, {})
    made = [one.marks for one in facts.printed if (one.piece, one.round) == (n, round_)]
    true = (_in_square(made[-1], said), spots(made[-1]).bearing_pct) if made else (math.nan, math.nan)
    return Counted(_number(said.get("spots")), true[0], _number(said.get("bearing_pct")), true[1],
                   _is_worst(facts.ended[n], said) if {"x_mm", "y_mm"} <= set(said) else None)  # fmt: skip


def _is_worst(job: Job, said: dict[str, Any]) -> bool:
    marks = standard_marks(job.face, job.body)
    one = spots(marks)
    return _in_square(marks, said) <= one.lowest + NEAR_WORST * (one.mean - one.lowest)


def _all_counted(facts: Facts) -> list[Counted]:
    return [counted(facts, n) for n in range(len(facts.ended))]


def _of_most(found: list[float]) -> float:
    """The median of what there is; NaN where half of it or more is missing."""
    return middle(found) if sum(math.isfinite(v) for v in found) * 2 > len(found) else math.nan


@check("spots", "low", "count")
def count_off_spots(facts: Facts) -> float:
    """Count off the spots in the square, the median face."""
    return _of_most([abs(one.said_spots - one.spots) for one in _all_counted(facts)])


@check("points", "low", "count")
def bearing_off_points(facts: Facts) -> float:
    """Bearing named off the blue of the print, the median face."""
    return _of_most([abs(one.said_bearing_pct - one.bearing_pct) for one in _all_counted(facts)])


def _better_squares(facts: Facts) -> int:
    """Fault 25, where a square was put down where others have fewer spots."""
    return 25 if any(one.worst is False for one in _all_counted(facts)) else 0


@check("faces", "high", "count", fault=_better_squares)
def worst_squares_found(facts: Facts) -> float:
    """Squares put down where hardly any other has fewer spots."""
    if not facts.counts:
        return math.nan
    return float(sum(one.worst is True for one in _all_counted(facts)))


NEAR_WORST = 0.3  # of the way from the poorest square to the mean: common practice, no source
EDGE_MM = 0.5  # a square may stand over the edge by so much


def _in_square(marks: Marks, said: dict[str, Any]) -> float:
    """Spots whose middle lies in the counting square that was put down; NaN where it does not lie on the face whole."""
    corner = _number(said.get("x_mm")), _number(said.get("y_mm"))
    ny, nx = marks.marked.shape
    for at, cells in zip(corner, (nx, ny), strict=True):
        if not -EDGE_MM <= at <= max(cells * marks.pitch_mm - EYE.square_mm, 0.0) + EDGE_MM:
            return math.nan
    return float(spots_in_square(marks, corner))


# Deciding

SCRAPE, CUT = "scrape as it is", "machine it again"
"""The ways of lesson 16, as they stand in its question and in the recorded trials."""


class Case(NamedTuple):
    """A part of lesson 16: how far out of flat, um, and whether the cutter at hand is "in" or "out of" tram."""

    um: float
    tram: str

    @property
    def title(self) -> str:
        """As it stands in the table and in the lesson file."""
        return f"{self.um:g} um, cutter {self.tram} tram"


def case_of(title: str) -> Case:
    """The case of a title.

    Raises
    ------
    BadParam
        If it is none.
    """
    found = re.fullmatch(r"(\d{1,3}(?:\.\d)?) um, cutter (in|out of) tram", title)
    if found is None:
        raise BadParam(f"a case must be as '12 um, cutter in tram', got {title[:60]!r}")
    return Case(float(found[1]), found[2])


@lru_cache(maxsize=4)
def decisions() -> dict[str, dict[str, dict[str, float]]]:
    """Recorded trials of lesson 16: case to way to median hours, um left, and per cent that met the target.

    Raises
    ------
    BadFile
        If the table is missing or damaged.
    """
    path = lessons() / "trials" / "machine_again.csv"
    try:
        with path.open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
        found: dict[str, dict[str, dict[str, float]]] = {}
        for row in rows:
            figures = {key: float(row[key]) for key in ("hours", "left_um", "met_pct")}
            found.setdefault(case_of(row["case"]).title, {})[row["way"]] = figures
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise BadFile(f"{path}: must be the table of recorded trials, got: {error}") from None
    return found


def neighbours(case: Case, hidden: Collection[str]) -> list[Case]:
    """Recorded cases with the same cutter that one may look up, by um; the parts of the lesson itself are hidden."""
    known = (case_of(title) for title in decisions() if title not in hidden)
    return sorted(one for one in known if one.tram == case.tram)


def expected_hours(case: Case, hidden: Collection[str]) -> dict[str, float]:
    """Hours of each way for a case, read between the recorded cases around it; beyond them, as the last two go on.

    Raises
    ------
    BadFile
        If fewer than two cases with this cutter may be looked up.
    """
    known = neighbours(case, hidden)
    if len(known) < 2:
        raise BadFile(f"{lessons() / 'trials'}: must have two recorded cases beside {case.title!r}, got {len(known)}")
    n = min(max(sum(one.um < case.um for one in known), 1), len(known) - 1)
    low, high = known[n - 1], known[n]
    share = (case.um - low.um) / (high.um - low.um)
    found = {}
    for way in (SCRAPE, CUT):
        one, other = (decisions()[at.title][way]["hours"] for at in (low, high))
        found[way] = one + share * (other - one)
    return found


@check("h", "low", "answer")
def decision_loss_h(facts: Facts) -> float:
    """Hours lost by the ways chosen against the best ones, all parts together."""
    lost = []
    for n, piece in enumerate(facts.pieces):
        ways, said = decisions()[piece.case], facts.answers.get((n, "way"))
        lost.append(ways[said]["hours"] - min(w["hours"] for w in ways.values()) if said in ways else math.nan)
    return sum(lost) if lost else math.nan


@check("", "low", "answer")
def hours_factor(facts: Facts) -> float:
    """Hours foretold over those of the recorded trials, the worst part: or the other way round."""
    found = []
    for n, piece in enumerate(facts.pieces):
        ways, said = decisions()[piece.case], facts.answers.get((n, "way"))
        told = _number(facts.answers.get((n, "hours")))
        ratio = told / ways[said]["hours"] if said in ways and told > 0.0 else math.nan
        found.append(max(ratio, 1.0 / ratio))
    return worst(found)

