"""What the coach may know: every command noted, nothing of the truth read, undo followed."""

from dataclasses import dataclass, replace

import numpy as np
import pytest

from sim.errors import Refused
from sim.model.start import COUPON
from sim.school.calls import Call
from sim.school.coach import Coach
from sim.school.seen import Counted, Expected, Seen, darkness
from sim.shop.commands import (
    BreakEdges,
    HoneBlade,
    RollFilm,
    Scrape,
    SpotFace,
    StoneFace,
    WipeFace,
    WipePlate,
)
from sim.shop.job import JobStart
from sim.shop.session import Session
from sim.shop.sight import look
from tests.hands.test_autopilot_sight import SEEN, TruthSeen, veiled
from tests.school.habits import HABITS, PLATE, bad, good

MAY_BE_SEEN = {**SEEN, "start": {"seed": None, "shape": {"tolerances": None, "face": None},
                                 "material": {"blue": {"seen_um": None, "opacity_um": None}}}}


@dataclass
class Behind:
    """A session of whose job nothing can be read but what a person sees."""

    session: Session

    @property
    def job(self):
        return veiled(self.session.job, MAY_BE_SEEN)

    def look(self):
        return look(self.job)


def after(*commands, seed=1):
    session = Session.begin(JobStart(COUPON, PLATE, seed=seed), copies_mb=0.0)
    seen = Seen()
    for command in commands:
        session.do(command)
        seen.note(command, session)
    return session, seen


@pytest.mark.parametrize("habit", ["rings taken", "one-sided print", "twice over"])
def test_the_coach_says_the_same_when_every_field_of_truth_raises(habit):
    told = bad(habit, 1, 7)
    session = Session.begin(JobStart(COUPON, PLATE, seed=1), copies_mb=0.0)
    behind, seen, coach, said = Behind(session), Seen(), Coach(), []
    for command in told.session.commands:
        session.do(command)
        seen.note(command, behind)
        rounds = len(seen.rounds)
        ended = isinstance(command, WipeFace) or (habit == "one-sided print" and isinstance(command, StoneFace))
        if ended and rounds:
            said.append((rounds, coach.at_round(seen)))
    spoken = {remark for _, remark in said if remark}
    assert habit in {remark.rule for remark in spoken}
    assert spoken == {remark for _, remark in told.said if remark}


@pytest.mark.parametrize("thing", ["height_um", "burr_um", "chips", "scored", "warm_k"])
def test_the_veil_of_these_tests_hides_the_face(thing):
    session, _ = after()
    with pytest.raises(TruthSeen, match=thing):
        getattr(Behind(session).job.face, thing)
    with pytest.raises(TruthSeen, match="error_um"):
        assert Behind(session).job.plate.error_um is None


def test_the_finish_does_read_the_truth_and_nothing_before_it_does():
    told = good(1)
    with pytest.raises(TruthSeen):
        told.coach.at_finish(told.seen, Behind(told.session).job)


def test_a_round_keeps_its_film_its_print_its_strokes_and_what_was_done_after_it():
    strokes = ((1000, 1000, 1700, 1000, 700), (1000, 1200, 1700, 1200, 655))
    session, seen = after(
        WipePlate(), RollFilm(2.5, "rag"), SpotFace(20.0, 15.0, 12.0, hands=((30.0, 20.0, 5.0),)),
        Scrape("semi", strokes, care=0.8, ramp_mm=0.7), StoneFace(), StoneFace("firm"), HoneBlade("semi"))
    (one,) = seen.rounds
    assert (one.number, one.face, one.film_um, one.applicator, one.lint) == (1, "face", 2.5, "rag", True)
    assert (one.way_mm, one.x_mm, one.y_mm, one.turn_deg, one.hands) == (12.0, 20.0, 15.0, 0.0, ((30.0, 20.0, 5.0),))
    assert one.strokes.tolist() == [[10.0, 10.0, 17.0, 10.0, 70.0], [10.0, 12.0, 17.0, 12.0, 65.5]]
    assert (one.scraped[0].blade, one.scraped[0].care, one.scraped[0].ramp_mm) == ("semi", 0.8, 0.7)
    assert one.scraped[0].metres > 0.0
    assert (one.light, one.firm, one.honed, one.wiped) == (1, 1, ("semi",), False)
    assert seen.clock_s == session.job.clock_s


def test_the_print_is_the_one_that_was_lifted_not_the_one_that_strokes_left():
    session, seen = after(RollFilm(3.0), SpotFace())
    lifted, dark = session.look().marked.copy(), darkness(session)
    rows = tuple((0, 100 * y, 6000, 100 * y, 900) for y in range(1, 40))
    for command in (Scrape("rough", rows), WipeFace()):
        session.do(command)
        seen.note(command, session)
    one = seen.rounds[-1]
    assert np.array_equal(one.marked, lifted)
    assert np.array_equal(one.dark, dark)
    assert dark.dtype == np.uint8
    assert dark.max() > 200
    assert one.wiped
    assert (session.look().marked != one.marked).sum() > 500


def test_fresh_blue_is_what_was_not_there_before_the_print():
    _, seen = after(RollFilm(3.0), SpotFace(20.0, 15.0), RollFilm(3.0), SpotFace(25.0, 20.0, turn_deg=180.0))
    first, second = seen.rounds
    assert np.array_equal(first.fresh, first.marked)
    assert not (second.fresh & first.marked).any()
    assert np.array_equal(second.fresh, second.marked & ~first.marked)


def test_strokes_that_no_cloth_followed_and_lint_are_carried_to_the_next_print():
    stroke = ((1000, 1000, 1700, 1000, 700),)
    _, seen = after(RollFilm(3.0, "rag"), SpotFace(), Scrape("fine", stroke * 3), SpotFace(), WipeFace(), WipePlate(),
                    BreakEdges(), RollFilm(3.0), RollFilm(None), SpotFace())
    assert [one.unwiped for one in seen.rounds] == [0, 3, 0]
    assert [one.lint for one in seen.rounds] == [True, True, False]
    assert [one.broken for one in seen.rounds] == [False, True, True]
    assert seen.rounds[-1].film_um == 3.0


def test_calls_counts_and_what_was_expected_belong_to_their_round():
    session, seen = after(RollFilm(3.0))
    seen.predicted(Expected(10.0, 20.0, "more"))
    spot = SpotFace()
    session.do(spot)
    seen.note(spot, session)
    seen.calls(1, [Call(1.0, 2.0, 1)])
    seen.calls(1, [Call(3.0, 4.0, 3, True)])
    seen.counted(1, Counted(5.0, 5.0, 12.0, 20.0))
    seen.counted(1, Counted(6.0, 5.0, 9.0, 15.0))
    one = seen.rounds[0]
    assert one.expected == Expected(10.0, 20.0, "more")
    assert one.calls == (Call(3.0, 4.0, 3, True),)
    assert [count.spots for count in one.counts] == [12.0, 9.0]
    with pytest.raises(Refused, match="round must be one of those seen, got 7"):
        seen.calls(7, [])


def test_what_is_taken_back_is_forgotten():
    stroke = ((1000, 1000, 1700, 1000, 700),)
    session, seen = after(RollFilm(3.0), SpotFace(), Scrape("fine", stroke), RollFilm(1.5), SpotFace())
    count = seen.commands
    seen.taken_back(len(session.undo(2)))
    assert seen.commands == count - 2
    assert [one.film_um for one in seen.rounds] == [3.0]
    assert len(seen.rounds[0].strokes) == 1
    seen.taken_back(len(session.undo()))
    assert len(seen.rounds[0].strokes) == 0
    assert seen.clock_s == session.job.clock_s
    with pytest.raises(Refused, match="from 1 to the 2 commands"):
        seen.taken_back(3)


def test_every_habit_of_these_tests_is_a_change_of_something_a_pilot_does():
    assert len(HABITS) >= 18
    assert all(habit for habit in HABITS.values())
    assert replace(good(1).seen.rounds[0]).number == 1
