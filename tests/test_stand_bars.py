"""The whole stand by a skilled hand: foot flat, top parallel, side square, on five seeds."""

import pytest

from sim import paths
from sim.hands.skill import HANDS
from sim.hands.stand import scrape_part
from sim.intake.drawing import read_part
from sim.measure.orient import part_orientation
from sim.measure.verdict import score
from sim.shop.job import JobStart, in_doubt
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
