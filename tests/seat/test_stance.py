"""A part on its datum: chips, burrs and warmth under it, and where its other faces are, against turning the body."""

import numpy as np
import pytest

from sim.measure.gauge import reading_plane
from sim.model.face import Face
from sim.model.part import Frame
from sim.model.plate import PlateMake
from sim.process.machining import make_plate
from sim.seat.compliant import Body, Compliance, Pose
from sim.seat.stance import Standing, above_plate_um, beside_square_um, upright

PITCH = 0.25
LENGTH, WIDTH, TALL = 60.0, 40.0, 50.0
FOOT = Frame((0.0, WIDTH, 0.0), (1.0, 0.0, 0.0), (0.0, -1.0, 0.0))
TOP = Frame((0.0, 0.0, TALL), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0))
SIDE = Frame((LENGTH, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
BODY = Body(mass_kg=2.0, thickness_mm=25.0, load_at_mm=(30.0, 20.0))
X, Y = np.array([5.0, 55.0, 5.0, 55.0, 30.0]), np.array([5.0, 5.0, 35.0, 35.0, 20.0])


def foot() -> Face:
    shape = round(WIDTH / PITCH), round(LENGTH / PITCH)
    return Face(pitch_mm=PITCH, height_um=np.zeros(shape), burr_um=np.zeros(shape), blue_um=np.zeros(shape),
                iron=np.ones(shape, bool), scored=np.ones(shape, bool))


def standing(face: Face) -> Standing:
    plate = make_plate(PlateMake(120.0, 100.0, 0.0), PITCH, np.random.default_rng(1))
    plate.error_um[:] = 0.0
    return Standing.of(face, BODY, plate, Compliance())


@pytest.mark.parametrize("what", ["chip", "burr"])
def test_what_lies_under_one_edge_tilts_the_readings_of_the_top(what):
    face = foot()
    i, j = 80, 230  # at 57.625, 20.125 mm
    if what == "chip":
        face.chips = np.array([[57.625, 20.125, 15.0]])
    else:
        face.burr_um[i, j] = 15.0
    pose = standing(face).pose()
    plane = reading_plane(X, Y, above_plate_um(FOOT, pose, TOP, X, Y))
    carried = 9.81 * 2.0 * 30.0 / 57.6
    sunk = Compliance().c_um * np.sqrt(carried / PITCH**2)  # the one cell; the far edge gives less than 0.3 um
    assert plane.slope_x == pytest.approx((15.0 - sunk) / 57.6, rel=0.04)
    assert abs(plane.slope_y) < 0.02


def test_a_warm_datum_stands_on_its_bow():
    face = foot()
    face.warm_k = 2.0
    compliance = Compliance()
    bow = compliance.expansion_um_per_m_k * 1e-3 * 2.0 * (LENGTH**2 + WIDTH**2) / (8.0 * BODY.thickness_mm)
    surface = standing(face).surface_um
    assert surface.max() - surface.min() == pytest.approx(bow, rel=0.03)


def test_a_rocking_datum_tips_under_the_touch_and_a_firm_one_does_not():
    rocking, firm = foot(), foot()
    x = (np.arange(rocking.shape[1]) + 0.5) * PITCH
    rocking.height_um[:] = -((x - 30.0) ** 2)[None, :] / 200.0  # 4.5 um at the ends
    spread = []
    for face in (rocking, firm):
        stands = standing(face)
        base = [above_plate_um(FOOT, stands.pose(((a, WIDTH - b, 1.0),)), TOP, X[n:n + 1], Y[n:n + 1])[0]
                for n, (a, b) in enumerate(zip(X.tolist(), Y.tolist(), strict=True))]
        spread.append(np.ptp(base))
    assert spread[0] > 5.0 * spread[1]
    assert spread[1] < 0.1


def frame(rng: np.random.Generator) -> Frame:
    q, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    return Frame(tuple(rng.uniform(-50, 50, 3)), tuple(q[:, 0]), tuple(q[:, 1]))


def turned_onto_plate(datum: Frame, pose: Pose, points: np.ndarray) -> np.ndarray:
    """Slow twin: points of the body in mm, turned by an exact rotation so that the plate's plane is z = 0."""
    u, v, w = (np.array(a) for a in (datum.along, datum.across, datum.out))
    p = np.array([pose.slope_x, pose.slope_y]) / 1e3
    normal = p[0] * u + p[1] * v - w  # of the plate's plane, towards the body
    normal /= np.linalg.norm(normal)
    axis = np.cross(normal, -w)
    sine_, cosine = np.linalg.norm(axis), float(normal @ -w)
    k = axis / sine_
    cross = np.array([[0, -k[2], k[1]], [k[2], 0, -k[0]], [-k[1], k[0], 0]])
    turn = np.eye(3) + sine_ * cross + (1.0 - cosine) * cross @ cross
    plane_at = np.array(datum.origin_mm) + pose.x_mm * u + pose.y_mm * v + pose.height_um / 1e3 * w
    seen = (points - plane_at) @ turn.T
    return np.column_stack([seen @ u, seen @ v, seen @ -w])


@pytest.mark.parametrize("seed", range(6))
def test_heights_over_the_plate_are_those_of_the_turned_body(seed):
    rng = np.random.default_rng(seed)
    datum, face = frame(rng), frame(rng)
    pose = Pose(3.0, *rng.uniform(-2.0, 2.0, 2), 20.0, 15.0)
    points = face.body_mm(X, Y, np.zeros(5))
    drawn = -(points - np.array(datum.origin_mm)) @ np.array(datum.out)
    found = (turned_onto_plate(datum, pose, points)[:, 2] - drawn) * 1e3
    np.testing.assert_allclose(above_plate_um(datum, pose, face, X, Y), found, atol=1e-7)


@pytest.mark.parametrize("seed", range(6))
def test_a_side_stands_out_as_the_turned_body_does(seed):
    rng = np.random.default_rng(seed)
    datum = frame(rng)
    turn = rng.uniform(0.0, 2.0 * np.pi)
    u, v, w = (np.array(a) for a in (datum.along, datum.across, datum.out))
    out = np.cos(turn) * u + np.sin(turn) * v
    face = Frame(tuple(rng.uniform(-50, 50, 3)), tuple(np.cross(-w, out)), tuple(-w))  # y up
    assert np.allclose(face.out, out)
    assert upright(datum, face) == pytest.approx((0.0, 1.0), abs=1e-12)
    pose = Pose(3.0, *rng.uniform(-0.3, 0.3, 2), 20.0, 15.0)
    ends = np.zeros(2), np.array([0.0, 40.0])
    seen = turned_onto_plate(datum, pose, face.body_mm(*ends, np.zeros(2)))
    outward = seen[:, 0] * np.cos(turn) + seen[:, 1] * np.sin(turn)
    told = beside_square_um(datum, pose, face, *ends)
    assert told[1] - told[0] == pytest.approx((outward[1] - outward[0]) * 1e3, abs=0.01)


def test_the_upright_of_a_side_may_be_its_x_or_its_y():
    assert upright(FOOT, SIDE) == (0.0, 1.0)
    assert upright(FOOT, Frame((LENGTH, 0.0, TALL), (0.0, 0.0, -1.0), (0.0, 1.0, 0.0))) == (-1.0, 0.0)
    assert upright(FOOT, TOP) == (0.0, 0.0)
