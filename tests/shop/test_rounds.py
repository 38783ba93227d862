"""Driving a pilot: rounds end at the wipe, are scored then, and stop when they should."""

import numpy as np
import pytest

from sim.errors import BadParam, Refused
from sim.hands.autopilot import follow_the_blue
from sim.hands.skill import HANDS
from sim.measure.verdict import score
from sim.model.face import face_from_heights
from sim.shop.commands import RollFilm, Scrape, SpotFace, WipeFace
from sim.shop.rounds import drive, print_picture
from sim.shop.session import Session
from sim.target import Target

SPOT = SpotFace(30.0, 30.0)
STROKE = (500, 500, 1500, 700, 900)
EASY = Target(bearing_flatness_um=1000.0, spots_mean=0.0, spots_lowest=0.0, bearing_pct=0.0)


@pytest.fixture
def session(coupon):
    return Session.begin(coupon, copies_mb=0.0)


def test_each_round_is_scored_as_it_was_left(session):
    seen = []

    def on_round(log):
        found = score(session.job.face, Target(), session.job.body)
        assert log.bearing_flatness_um == found.bearing_flatness_um
        assert (log.spots_mean, log.bearing_pct) == (found.spots_mean, found.bearing_pct)
        assert log.spots_cv == pytest.approx(found.spots_cv, rel=0.0, abs=0.0, nan_ok=True)
        assert not session.job.face.chips.size
        seen.append(log)

    driven = drive(session, follow_the_blue(HANDS["skilled"]), Target(), rounds=3, on_round=on_round)
    assert driven.rounds == seen
    assert [log.round for log in seen] == [1, 2, 3]
    assert driven.met_round is None
    assert np.cumsum([log.strokes_this_round for log in seen]).tolist() == [log.strokes for log in seen]
    assert seen[-1].strokes == session.job.strokes > 0
    assert seen[-1].shop_hours == session.job.clock_s / 3600.0


@pytest.mark.parametrize(("carry_on", "rounds"), [(False, 1), (True, 4)])
def test_it_stops_when_the_target_is_met_unless_it_carries_on(session, carry_on, rounds):
    driven = drive(session, follow_the_blue(HANDS["skilled"]), EASY, rounds=4, carry_on=carry_on)
    assert driven.met_round == 1
    assert len(driven.rounds) == session.job.round == rounds
    assert all(log.met for log in driven.rounds)


def test_strokes_of_several_commands_count_together_and_a_wipe_before_any_print_is_no_round(session):
    def pilot():
        yield WipeFace()
        for command in (RollFilm(), SPOT, Scrape("fine", (STROKE,) * 3), Scrape("fine", (STROKE,) * 4), WipeFace()):
            sight = yield command
        assert sight.strokes == 7
        yield WipeFace()

    driven = drive(session, pilot(), Target())
    assert [(log.round, log.strokes_this_round) for log in driven.rounds] == [(1, 7)]


def test_a_round_knows_its_film_its_last_blade_and_its_middle_push(session):
    light, heavy = (*STROKE[:4], 700), (*STROKE[:4], 1100)
    spread = (RollFilm(None), SPOT, WipeFace())
    finer = (RollFilm(1.25), SPOT, Scrape("semi", (light,)), Scrape("fine", (light, heavy, heavy)), WipeFace())
    first = (RollFilm(4.0), SPOT, Scrape("rough", (STROKE,)), WipeFace())
    driven = drive(session, iter_of(*first, *spread, *finer), Target())
    assert [log.film_um for log in driven.rounds] == [4.0, 4.0, 1.25]
    assert [log.blade for log in driven.rounds] == ["rough", "", "fine"]
    assert [driven.rounds[k].push_n for k in (0, 2)] == [90.0, 90.0]
    assert np.isnan(driven.rounds[1].push_n)


def test_a_command_that_is_not_possible_ends_the_drive_with_its_words(session):
    with pytest.raises(Refused, match="there is no blue on the plate"):
        drive(session, iter_of(RollFilm(None)), Target())
    with pytest.raises(BadParam, match="rounds must be at least 1, got 0"):
        drive(session, iter_of(WipeFace()), Target(), rounds=0)


def iter_of(*commands):
    return (command for command in commands)  # a generator can be sent to, the iterator of a tuple cannot


def test_the_picture_is_the_print_as_it_was_lifted(session):
    driven = drive(session, iter_of(RollFilm(), SPOT, WipeFace()), Target())
    other = Session.begin(session.job.start)
    other.do(RollFilm())
    other.do(SPOT)
    picture = driven.rounds[0].picture
    assert (picture == print_picture(other.job.face, 0.35)).all()
    assert picture.dtype == np.uint8
    assert picture.max() > 100


def test_a_picture_is_the_mean_darkness_of_blocks():
    face = face_from_heights(np.zeros((5, 7)))
    face.blue_um[:, :3] = 0.35 * np.log(2.0)  # half dark
    face.blue_um[4, 6] = 100.0
    picture = print_picture(face, 0.35, most_cells=3)
    assert picture.tolist() == [[128, 0, 0], [128, 0, 128]]  # the last block is 2 x 1 cells
    assert print_picture(face, 0.35).shape == (5, 7)
    face.iron[:, :3] = False
    assert print_picture(face, 0.35, most_cells=3)[:, 0].tolist() == [0, 0]
