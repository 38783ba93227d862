"""A whole part by one hand: the order of the work."""

from dataclasses import replace

import pytest

from sim import paths
from sim.hands.bands import bands_for
from sim.hands.stand import datums_first, read_again
from sim.intake.drawing import read_part
from sim.model.part import FaceShape, Frame, PartShape, Tolerance
from sim.model.plate import PlateMake
from sim.model.start import Start
from sim.shop.job import JobStart, in_doubt
from sim.shop.session import Session

GROUND = {"kind": "surface-ground", "edge_break_mm": 0.6}
STAND = read_part(paths.assets() / "parts" / "stand.toml")


def names(shape):
    return [face.name for face in datums_first(shape)]


def test_a_datum_is_worked_before_what_is_measured_from_it_wherever_it_stands_in_the_drawing():
    assert names(STAND) == ["foot", "top", "side"]
    assert names(replace(STAND, faces=STAND.faces[::-1])) == ["foot", "side", "top"]
    chain = replace(STAND, tolerances=(Tolerance("perpendicularity", "foot", "side"),
                                       Tolerance("parallelism", "top", "foot")))
    assert names(chain) == ["side", "foot", "top"]


def test_faces_that_are_each_others_datums_keep_the_order_of_the_drawing():
    both = replace(STAND, tolerances=(Tolerance("parallelism", "top", "foot"), Tolerance("parallelism", "foot", "top")))
    assert names(both) == ["side", "foot", "top"]


def test_only_a_face_with_a_tolerance_is_worked_by_readings():
    assert bands_for(STAND.tolerances, "foot") is None
    assert bands_for(STAND.tolerances, "top").datum == "foot"
    assert bands_for(STAND.tolerances, "side").reverse


@pytest.mark.parametrize("turned_about", [False, True])
def test_a_face_with_two_tolerances_is_worked_by_the_closer_one_and_both_are_read(turned_about):
    asked = Tolerance("parallelism", "top", "foot", 40.0), Tolerance("perpendicularity", "top", "side", 30.0)
    block = PartShape("block", 1.0, (30.0, 20.0, 25.0), (
        FaceShape("foot", Start(60.0, 40.0, **GROUND), Frame((0.0, 40.0, 0.0), (1.0, 0.0, 0.0), (0.0, -1.0, 0.0))),
        FaceShape("top", Start(60.0, 40.0, **GROUND), Frame((0.0, 0.0, 50.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0))),
        FaceShape("side", Start(40.0, 50.0, **GROUND), Frame((60.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))),
    ), asked[::-1] if turned_about else asked)  # fmt: skip
    assert bands_for(block.tolerances, "top").datum == "side"
    session = Session.begin(JobStart(plate=PlateMake(100.0, 80.0), part=block))
    read_again(session, "top")
    assert in_doubt(session.job) == [False, False]
    square, parallel = session.job.readings if turned_about else session.job.readings[::-1]
    assert square.both_ways
    assert not parallel.both_ways
    before = len(session.commands)
    read_again(session, "top")
    assert len(session.commands) == before, "nothing is in doubt"
