"""What a coach may know: prints as they look, strokes, acts and what was said; never the heights."""

import numpy as np
import pytest

from sim.errors import Refused
from sim.model.plate import PlateMake
from sim.model.start import COUPON
from sim.school.calls import Call
from sim.school.seen import Counted, Expected, Seen
from sim.shop.commands import HoneBlade, RollFilm, Scrape, SpotFace, StoneFace, WipeFace, WipePlate
from sim.shop.job import JobStart
from sim.shop.session import Session
from sim.shop.sight import look
from tests.hands.test_autopilot_sight import SEEN, veiled

OPACITY = {"seen_um": None, "opacity_um": None}
VISIBLE = SEEN | {"start": SEEN["start"] | {"material": {"blue": OPACITY}}}
STROKES = ((1000, 1000, 1900, 1500, 950), (2000, 1500, 2900, 1500, 700))
ACTS = (WipeFace(), RollFilm(6.0, "rag"), SpotFace(30.0, 30.0, 20.0), Scrape("fine", STROKES), HoneBlade("fine"),
        StoneFace(), StoneFace("firm"), WipeFace(), WipePlate(), RollFilm(3.0), SpotFace(10.0, 20.0))  # fmt: skip


class Behind:
    """A session of which only what a person sees can be read."""

    def __init__(self, session):
        self.job = veiled(session.job, VISIBLE)

    def look(self):
        """What a person sees now."""
        return look(self.job)


@pytest.fixture(scope="module")
def watched():
    session, seen = Session.begin(JobStart(COUPON, PlateMake(length_mm=120.0, width_mm=100.0), seed=2)), Seen()
    for command in ACTS:
        session.do(command)
        seen.note(command, Behind(session))
    return seen, session


def test_prints_strokes_and_acts_are_kept_round_by_round_without_a_look_at_the_heights(watched):
    seen, session = watched
    first, second = seen.rounds
    assert (first.film_um, first.applicator, first.lint, first.way_mm) == (6.0, "rag", True, 20.0)
    assert np.allclose(first.strokes, np.array(STROKES) / [100.0, 100.0, 100.0, 100.0, 10.0])
    assert (first.light, first.firm, first.honed, first.wiped) == (1, 1, ("fine",), True)
    assert (second.film_um, second.lint, second.x_mm, len(second.strokes)) == (3.0, False, 10.0, 0)
    assert np.array_equal(second.marked, session.look().marked)
    assert second.dark[second.marked].min() >= 127 > second.dark[~second.marked].max() - 2
    assert seen.commands == len(ACTS)
    assert seen.clock_s == session.job.clock_s


def test_the_veil_would_tell_of_a_look_at_the_heights(watched):
    _, session = watched
    with pytest.raises(AssertionError, match="height_um"):
        _ = Behind(session).job.face.height_um


def test_what_was_taken_back_is_forgotten_and_no_more_than_was_noted_can_be():
    session, seen = Session.begin(JobStart(COUPON, seed=2)), Seen()
    for command in ACTS[:5]:
        session.do(command)
        seen.note(command, session)
    seen.taken_back(2)
    assert len(seen.rounds[0].strokes) == 0
    seen.taken_back()
    assert seen.rounds == []
    with pytest.raises(Refused, match="from 1 to the 2"):
        seen.taken_back(3)


def test_calls_counts_and_what_was_expected_belong_to_their_round():
    session, seen = Session.begin(JobStart(COUPON, seed=2)), Seen()
    seen.predicted(Expected(30.0, 20.0, "more"))
    for command in ACTS[1:3]:
        session.do(command)
        seen.note(command, session)
    seen.calls(1, [Call(10.0, 10.0, 1, True)])
    seen.counted(1, Counted(5.0, 5.0, 9.0, 12.0))
    (one,) = seen.rounds
    assert one.expected == Expected(30.0, 20.0, "more")
    assert one.calls == (Call(10.0, 10.0, 1, True),)
    assert one.counts == (Counted(5.0, 5.0, 9.0, 12.0),)
    with pytest.raises(Refused, match="round must be one of those seen"):
        seen.calls(2, [])
