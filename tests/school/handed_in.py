"""A small lesson, its judge, and attempts at it: what tests of result files and sheets work with."""

from dataclasses import dataclass, field, replace

import numpy as np

from sim.errors import BadParam
from sim.hands.autopilot import follow_the_blue
from sim.hands.skill import HANDS
from sim.kernels.warm import warm
from sim.model.plate import PlateMake
from sim.model.start import COUPON
from sim.school.attempt import begin_attempt
from sim.school.lesson import Allowed, Lesson, Limit, Piece, Seeds, Solution, Worked
from sim.school.result import check_result
from sim.shop.commands import RollFilm, Scrape, SpotFace, WipeFace
from sim.shop.job import JobStart

START = JobStart(COUPON, PlateMake(length_mm=120.0, width_mm=100.0))
PIECE = Piece(START, worked=Worked("skilled", 3), before=(RollFilm(3.0),))
TEN = Piece(START, worked=Worked("skilled", 8))
LESSON = Lesson(
    name="only-the-hardest", number=10, title="Only the hardest", goal="Drop the top with few strokes.", minutes=10.0,
    belief="scrape everything blue", faults=(2,), permission="Spoil this coupon on purpose if you want to.",
    cautions=("edge",), pieces=(PIECE,), allowed=Allowed(), steps=(),
    limits=(Limit("rounds", 1.0, 1.0), Limit("removed_mm3", 1.0, 2.0)), questions=(), seeds=Seeds(),
    model=Solution("none"), wrong=Solution("none"),
)  # fmt: skip
STROKES = ((1000, 1000, 1900, 1000, 950), (2000, 1500, 2900, 1500, 950))


@dataclass(frozen=True)
class Judged:
    figures: dict = field(default_factory=dict)
    passed: bool = True
    merit: bool = False
    faults: dict = field(default_factory=dict)
    rows: tuple = ()


def find(name):
    """The one lesson there is here."""
    if name != LESSON.name:
        raise BadParam(f"lesson must be one of {LESSON.name}, got {name!r}")
    return LESSON


def judge(lesson, facts):
    """Some figures of an attempt; `nothing` is never a number."""
    top_um = float(np.percentile(facts.ended[0].face.height_um, 95.0))
    removed_mm3 = sum(one.removed_mm3 for one in facts.strokes)
    figures = {"rounds": float(facts.rounds), "removed_mm3": removed_mm3, "top_um": top_um, "nothing": float("nan")}
    return Judged(figures, facts.rounds >= 1, False, {20: sum(one.deepest_um > 1.0 for one in facts.strokes)})


def check_ten_rounds(path):
    """The check of a file of `ten_rounds`, as other processes want it."""
    warm()
    return check_result(path, lambda _: replace(LESSON, pieces=(TEN,)), judge)


def few_acts(seed=7, part="alone", lesson=LESSON):
    """A print with calls, two strokes, another print, an answer and a hint."""
    attempt = begin_attempt(lesson, part, seed)
    attempt.say("predict", x_mm=30.0, y_mm=20.0, marks="more")
    attempt.do(SpotFace(30.0, 30.0))
    rows, cols = np.nonzero(attempt.sight.marked)
    places = [(0.25 * cols[k] + 0.125, 0.25 * rows[k] + 0.125) for k in (0, len(rows) // 2, len(rows) - 1)]
    attempt.say("calls", calls=[[x, y, level, False] for level, (x, y) in enumerate(places, start=1)])
    attempt.do(Scrape("fine", STROKES))
    attempt.do(WipeFace())
    attempt.do(RollFilm(1.5))
    attempt.say("hint", step=1, rung=2)
    attempt.do(SpotFace(30.0, 30.0))
    attempt.say("answer", question="form", value="hollow")
    return attempt


def ten_rounds(seed):
    """Ten rounds of a trained hand on a coupon, as a learner would hand them in."""
    attempt = begin_attempt(replace(LESSON, pieces=(TEN,)), "alone", seed)
    pilot = follow_the_blue(HANDS["trained"])
    command, before = next(pilot), attempt.session.job.round
    while attempt.session.job.round < before + 10 or not isinstance(command, SpotFace):
        attempt.do(command)
        command = pilot.send(attempt.sight)
    return attempt
