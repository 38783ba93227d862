"""A true block under the indicator and against the angle plate: what stand, square, touch and tilt make of it."""

import numpy as np
import pytest

from sim.measure.gauge import Indicator, Stand, StandErrors, reading_plane, stand_of
from sim.measure.orient import part_orientation
from sim.model.part import FaceShape, Frame, PartShape, Tolerance
from sim.model.plate import PlateMake
from sim.model.start import Start
from sim.shop import partwork
from sim.shop.commands import RollFilm
from sim.shop.job import JobStart
from sim.shop.luck import luck
from sim.shop.partwork import SpotUpright, SweepFace, TakeFace
from sim.shop.session import Session

LENGTH_MM, WIDTH_MM, TALL_MM, MASS_KG = 60.0, 40.0, 50.0, 0.5
PITCH_MM = 0.5
TRUE = {"kind": "true", "edge_break_mm": 0.0, "pitch_mm": PITCH_MM}
LEVER = 1.0 / np.cos(np.radians(Indicator().lever_deg))
SIDES = {  # the same face: y upright, x upright, x downright
    "y": ((40.0, 50.0), Frame((60.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))),
    "x": ((50.0, 40.0), Frame((60.0, 40.0, 0.0), (0.0, 0.0, 1.0), (0.0, -1.0, 0.0))),
    "-x": ((50.0, 40.0), Frame((60.0, 0.0, 50.0), (0.0, 0.0, -1.0), (0.0, 1.0, 0.0))),
}


def reading_um(sweeps: int) -> float:
    """How far the sum of so many readings is off at most: play and a step, and scatter of it and of the zero."""
    each = Indicator()
    return sweeps * (0.5 * each.hysteresis_um + each.resolution_um + 3.0 * np.sqrt(2.0) * each.repeat_um)


def block(upright: str = "y", **foot) -> Session:
    """A block of true faces on a true plate, but for what is added to the foot."""
    size, frame = SIDES[upright]
    faces = (
        FaceShape("foot", Start(LENGTH_MM, WIDTH_MM, **TRUE, **foot),
                  Frame((0.0, WIDTH_MM, 0.0), (1.0, 0.0, 0.0), (0.0, -1.0, 0.0))),
        FaceShape("top", Start(LENGTH_MM, WIDTH_MM, **TRUE),
                  Frame((0.0, 0.0, TALL_MM), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0))),
        FaceShape("side", Start(*size, **TRUE), frame),
    )  # fmt: skip
    part = PartShape("block", MASS_KG, (30.0, 20.0, 25.0), faces, (Tolerance("perpendicularity", "side", "foot", 5.0),))
    return Session.begin(JobStart(plate=PlateMake(100.0, 80.0, flatness_um=0.0), part=part, seed=5), copies_mb=0.0)


@pytest.fixture
def crooked(monkeypatch):
    """A stand and a square that are far out: um/mm."""
    stand = Stand((0.5, -0.3), 0.4)
    monkeypatch.setattr(partwork.gauge, "stand_of", lambda rng: stand)
    return stand


def read(session: Session, face: str, **more):
    """Readings of a sweep with their places."""
    told = session.do(SweepFace(face, **more))
    written = session.job.part.numbers(face)
    return written.x_mm, written.y_mm, told


def test_straight_less_turned_is_twice_the_slope_of_the_stand(crooked):
    session = block()
    x, y, straight = read(session, "top")
    turned = read(session, "top", turn_deg=180.0)[2]
    stand = LEVER * (crooked.slopes_um_per_mm[0] * (x - x[0]) + crooked.slopes_um_per_mm[1] * (y - y[0]))
    assert np.ptp(stand) > 5.0 * reading_um(1)
    assert straight == pytest.approx(stand, abs=reading_um(1))
    assert straight - turned == pytest.approx(2.0 * stand, abs=reading_um(2))


@pytest.mark.parametrize("upright", SIDES)
def test_straight_less_turned_of_a_side_is_twice_the_lean_of_the_square(crooked, upright):
    session = block(upright)
    x, y, straight = read(session, "side")
    turned = read(session, "side", turn_deg=180.0)[2]
    up_mm = {"y": y - y[0], "x": x - x[0], "-x": x[0] - x}[upright]
    square = LEVER * crooked.lean_um_per_mm * up_mm
    assert np.ptp(square) > 4.0 * reading_um(1)
    # the yaw that is taken out is fitted to readings: a step and half the play of it again
    assert straight == pytest.approx(square, abs=1.5 * reading_um(1))
    assert straight - turned == pytest.approx(2.0 * square, abs=1.5 * reading_um(2))


def test_stands_and_squares_of_many_jobs_are_out_by_what_is_told_of_them():
    made = StandErrors()
    found = [stand_of(luck(seed, "gauge")) for seed in range(400)]
    out = np.array([(*one.slopes_um_per_mm, one.lean_um_per_mm) for one in found]) * 100.0
    wanted = (made.slope_um_per_100mm, made.slope_um_per_100mm, made.lean_um_per_100mm)
    assert out.std(axis=0) == pytest.approx(wanted, rel=0.15)  # four times 1 / sqrt(2 n)
    assert np.abs(np.corrcoef(out.T)[np.triu_indices(3, 1)]).max() < 0.2, "each its own draw"
    true = stand_of(luck(1, "gauge"), StandErrors(slope_um_per_100mm=0.0, lean_um_per_100mm=0.0))
    assert (true.slopes_um_per_mm, true.lean_um_per_mm) == ((0.0, 0.0), 0.0)


def test_a_part_that_rocks_goes_down_where_it_is_touched(monkeypatch):
    """A foot bowed like a cylinder, H (1 - (s / a)^2), rolls to s = k times where it is touched: k = touch / all.

    The top goes down there by H (s / a)^2 (2 k - k^2), s from the middle.
    """
    monkeypatch.setattr(partwork.gauge, "stand_of", lambda rng: Stand((0.0, 0.0), 0.0))
    bow_um, at_mm = 60.0, np.array([30.0, 54.0, 42.0, 30.0, 18.0, 6.0])
    told = block(bow_x_um=bow_um).do(SweepFace("top", points=tuple((x, 20.0) for x in at_mm.tolist())))
    touch_n = Indicator().touch_n
    k = touch_n / (touch_n + 9.81 * MASS_KG)
    down = LEVER * bow_um * ((at_mm - 30.0) / 30.0) ** 2 * (2.0 * k - k * k)
    assert down.max() > 3.0 * reading_um(1)
    assert -told == pytest.approx(down, abs=reading_um(1))
    firm = block().do(SweepFace("top", points=tuple((x, 20.0) for x in at_mm.tolist())))
    assert np.abs(firm).max() <= reading_um(1), "a flat foot stands"


@pytest.mark.parametrize(("upright", "wedge_um"), [("y", 20.0), ("x", -20.0)])
def test_the_end_of_a_side_that_stands_out_prints_and_reads_high(monkeypatch, upright, wedge_um):
    """A foot that is thick at +x tips the block back from the angle plate: its side stands out at the bottom."""
    monkeypatch.setattr(partwork.gauge, "stand_of", lambda rng: Stand((0.0, 0.0), 0.0))
    session, bottom_out = block(upright, wedge_x_um=wedge_um), wedge_um > 0.0
    session.do(TakeFace("side"))
    session.do(RollFilm(1.0, on="angle plate"))
    session.do(SpotUpright())
    row, col = np.nonzero(session.look().marked)
    up_mm = (np.array({"y": row, "x": col, "-x": TALL_MM / PITCH_MM - 1 - col}[upright]) + 0.5) * PITCH_MM
    assert len(up_mm) > 50
    out_mm = up_mm if bottom_out else TALL_MM - up_mm
    assert out_mm.min() < 3.0  # at the very rim the film is squeezed out
    assert out_mm.max() < 0.5 * TALL_MM, "the other end stands off the blue"
    x, y, told = read(session, "side")
    plane = reading_plane(x, y, told)
    rise = {"y": plane.slope_y, "x": plane.slope_x, "-x": -plane.slope_x}[upright]
    lean = part_orientation(session.job.part, session.job.start.shape.tolerances[0]).lean_um_per_100mm
    assert np.sign(rise) == np.sign(lean) == (-1.0 if bottom_out else 1.0)
