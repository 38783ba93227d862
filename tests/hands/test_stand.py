"""A whole part by one hand: the order of the work."""

from dataclasses import replace

from sim import paths
from sim.hands.stand import datums_first, wedge_work
from sim.intake.drawing import read_part
from sim.model.part import Tolerance

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
    assert wedge_work(STAND, "foot") is None
    assert wedge_work(STAND, "top").datum == "foot"
    assert wedge_work(STAND, "side").reverse
