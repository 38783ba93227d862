"""An attempt at a lesson: what is allowed, what is noted, and that its jobs, run again, say the same."""

from dataclasses import replace

import numpy as np
import pytest

from sim.errors import BadParam, Refused
from sim.model.plate import PlateMake
from sim.model.start import COUPON
from sim.school.attempt import begin_attempt, piece_start, said_data, said_from
from sim.school.facts import gather
from sim.school.lesson import Allowed, Lesson, Piece, Seeds, Solution, Worked
from sim.shop.commands import RollFilm, Scrape, SpotFace, StoneFace, WipeFace
from sim.shop.job import JobStart
from sim.shop.logbook import fingerprint

START = JobStart(COUPON, PlateMake(length_mm=120.0, width_mm=100.0))
PIECE = Piece(START, worked=Worked("skilled", 3), before=(RollFilm(3.0),))
LESSON = Lesson(
    name="only-the-hardest", number=4, title="Only the hardest", goal="Take the marks that stand highest", minutes=10.0,
    belief="scrape everything blue", faults=(2,), permission="Spoil this coupon on purpose if you want to.",
    cautions=("edge",), pieces=(PIECE,), allowed=Allowed(tools=("roll", "spot", "scrape", "wipe"), rounds=2, strokes=3),
    steps=(), limits=(), questions=(), seeds=Seeds(), model=Solution("none"), wrong=Solution("none"),
)  # fmt: skip
PRINT = SpotFace(30.0, 30.0)
STROKES = ((1000, 1000, 1900, 1000, 950), (2000, 1500, 2900, 1500, 950))


@pytest.fixture(scope="module")
def made():
    """A print, calls of it, two strokes, another print; and the face as it was taken over."""
    attempt = begin_attempt(LESSON, "alone", 7)
    before = attempt.session.job.copy()
    attempt.say("predict", x_mm=30.0, y_mm=20.0, marks="more")
    attempt.do(PRINT)
    rows, cols = np.nonzero(attempt.sight.marked)
    places = [(0.25 * cols[k] + 0.125, 0.25 * rows[k] + 0.125) for k in (0, len(rows) // 2, len(rows) - 1)]
    attempt.say("calls", calls=[[x, y, level, False] for level, (x, y) in enumerate(places, start=1)])
    attempt.do(Scrape("fine", STROKES))
    attempt.do(WipeFace())
    attempt.do(RollFilm(1.5))
    attempt.do(PRINT)
    attempt.say("count", x_mm=10.0, y_mm=5.0, spots=9, bearing_pct=12.0)
    attempt.say("answer", question="form", value="hollow")
    return attempt, before, gather(attempt)


def test_the_learner_takes_over_after_the_worked_rounds_and_what_came_before(made):
    attempt, before, facts = made
    assert before.round == 3
    assert fingerprint(facts.begun[0]) == fingerprint(before)
    assert fingerprint(facts.ended[0]) == fingerprint(attempt.session.job)
    mine = attempt.session.commands[attempt.begun[0] :]
    assert [name for _, _, name in facts.acts] == [type(one).__name__ for one in mine]


def test_facts_hold_prints_films_strokes_counts_answers_and_the_clock(made):
    attempt, before, facts = made
    assert [one.predicted is not None for one in facts.printed] == [True, False]
    assert [one.asked_um for one in facts.rolled] == [1.5]
    assert facts.rolled[0].mean_um == pytest.approx(1.5, rel=0.02)
    rounds = [one.round for one in facts.strokes]
    assert [rounds.count(one.round) for one in facts.printed] == [2, 0]
    removed = attempt.session.job.removed_mm3 - before.removed_mm3
    assert sum(one.removed_mm3 for one in facts.strokes) == pytest.approx(removed)
    assert max(one.deepest_um for one in facts.strokes) > 1.0
    assert facts.counts[0][2]["spots"] == 9
    assert facts.answers == {(0, "form"): "hollow"}
    assert facts.hours == pytest.approx((attempt.session.job.clock_s - before.clock_s) / 3600.0)


def test_calls_are_scored_on_the_iron_as_it_was_when_they_were_made(made):
    _, _, facts = made
    (called,) = facts.called
    assert called.round == 4
    assert len(called.calls) == 3
    assert called.score is not None
    assert called.score.called >= 2


def test_what_was_said_comes_back_from_plain_data_and_a_row_that_is_none_is_named(made):
    attempt, _, _ = made
    assert said_data(said_from(said_data(attempt.said), "said")) == said_data(attempt.said)
    with pytest.raises(BadParam, match=r"said\[1\]"):
        said_from([said_data(attempt.said)[0], {"say": "nothing"}], "said")
    with pytest.raises(BadParam, match="must be one of"):
        attempt.say("shout")


def test_an_act_that_the_lesson_does_not_allow_changes_nothing_and_says_why():
    attempt = begin_attempt(LESSON, "alone", 7)
    count = len(attempt.session.commands)
    with pytest.raises(Refused, match=r"does not allow the stone yet\. It comes in lesson 6"):
        attempt.do(StoneFace())
    with pytest.raises(Refused, match="has 3 strokes, 3 are left"):
        attempt.do(Scrape("fine", STROKES + STROKES))
    assert len(attempt.session.commands) == count
    for _ in range(3):  # two rounds, and a last look
        attempt.do(PRINT)
    with pytest.raises(Refused, match="2 rounds"):
        attempt.do(PRINT)


def test_heights_stay_covered_and_the_coach_silent_where_it_was_asked_for():
    attempt = begin_attempt(replace(LESSON, allowed=replace(LESSON.allowed, uncover=False, coach=False)), "alone", 7)
    with pytest.raises(Refused, match="stay covered"):
        attempt.say("uncover")
    with pytest.raises(Refused, match="coach is silent"):
        attempt.say("coach", rule="heavy film", rung=1)
    assert attempt.said == []
    shown = begin_attempt(LESSON, "alone", 7)
    shown.say("uncover")
    shown.say("coach", rule="heavy film", rung=1)
    assert len(shown.said) == 2


def test_another_seed_is_another_face_and_a_check_is_printed_with_another_blue():
    alone, check = piece_start(PIECE, "alone", 7), piece_start(PIECE, "check", 8)
    assert alone == replace(START, seed=7)
    assert check.material.blue.opacity_um != alone.material.blue.opacity_um
    half = 1.0 - np.exp(-check.material.blue.seen_um / check.material.blue.opacity_um)
    assert half == pytest.approx(0.5, abs=0.001), "marked is half dark, whatever the blue"


def test_an_attempt_in_a_folder_is_kept_on_the_disk_act_by_act_and_nothing_is_written_over(tmp_path):
    attempt = begin_attempt(LESSON, "alone", 7, tmp_path)
    attempt.do(PRINT)
    attempt.close()
    log = (tmp_path / "only-the-hardest-1.job").read_text()
    assert log.count("SpotFace") == 4
    with pytest.raises(OSError, match="is there already"):
        begin_attempt(LESSON, "alone", 7, tmp_path)
    with pytest.raises(BadParam, match="part must be one of"):
        begin_attempt(LESSON, "again", 7)
