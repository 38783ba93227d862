"""A print against the angle plate: what prints is where the face stands out, and no blue is lost."""

import numpy as np
import pytest

from sim.model.face import Face
from sim.model.film import Blue
from sim.model.plate import PlateMake
from sim.process.bluing import Rub, Upright, roll_film, spot_face
from sim.process.machining import make_plate
from sim.seat.compliant import Body, Compliance

PITCH = 0.25
FILM_UM = 2.0


def face(length_mm=60.0, width_mm=30.0) -> Face:
    """A true face with the grain of grinding, 0.3 um."""
    shape = round(width_mm / PITCH), round(length_mm / PITCH)
    grain = np.random.default_rng(1).normal(0.0, 0.3, shape)
    return Face(pitch_mm=PITCH, height_um=grain, burr_um=np.zeros(shape), blue_um=np.zeros(shape),
                iron=np.ones(shape, bool), scored=np.ones(shape, bool))


def blued():
    plate = make_plate(PlateMake(100.0, 80.0, 0.0), PITCH, np.random.default_rng(2))
    plate.error_um[:] = 0.0
    roll_film(plate, np.random.default_rng(3), FILM_UM, "brayer", Blue())
    return plate


def printed(upright, body=None, held="x"):
    one, plate = face(*((60.0, 30.0) if held == "x" else (30.0, 60.0))), blued()
    before = plate.film_um.sum()
    along = (0.0, 1.0) if held == "x" else (1.0, 0.0)
    poses = spot_face(one, plate, Rub(15.0, 10.0, 10.0, along), body=body or Body(), compliance=Compliance(),
                      blue=Blue(), upright=upright)
    assert one.blue_um.sum() + plate.film_um.sum() == pytest.approx(before, rel=1e-12)
    return one.blue_um, poses


def test_a_square_side_prints_upright_as_it_does_lying_under_the_same_load():
    load = Body(mass_kg=30.0 / 9.81)
    standing, poses = printed(Upright("x", 0.0, 30.0))
    lying, under = printed(None, load)
    seen = Blue().seen_um
    a, b = standing >= seen, lying >= seen
    assert a.sum() > 1000
    assert (a & b).sum() / (a | b).sum() > 0.97
    assert poses[0].height_um == pytest.approx(under[0].height_um, abs=0.05)


@pytest.mark.parametrize("held", ["x", "y"])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_leaning_side_prints_a_strip_at_the_edge_that_stands_out(held, sign):
    blue, poses = printed(Upright(held, sign * 10.0 / 60.0), held=held)
    marked = (blue >= Blue().seen_um).any(axis=0 if held == "x" else 1)
    at_mm = (np.nonzero(marked)[0] + 0.5) * PITCH
    if sign < 0.0:
        at_mm = 60.0 - at_mm
    assert at_mm.max() > 59.0
    assert at_mm.min() > 60.0 - 6.0 * (FILM_UM * 2.0 + 3.0 * 0.3 + 1.0), "out of reach of the film"
    assert at_mm.min() > 20.0
    for pose in poses:
        assert abs(pose.slope_x if held == "x" else pose.slope_y) < 1e-6
