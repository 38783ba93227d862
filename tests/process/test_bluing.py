"""Blue: conserved through every act, squeezed as the formula says, the same on mirrored and shifted faces."""

from dataclasses import replace

import numpy as np
import pytest

from sim.errors import BadParam, Refused
from sim.model.blade import RACK, Edge
from sim.model.face import face_from_heights
from sim.model.film import Blue
from sim.model.plate import Plate
from sim.process import bluing
from sim.process.bluing import (
    Rub,
    blue_face,
    roll_film,
    rub_blued_face,
    spot_face,
    standard_print,
    wipe_face,
    wipe_plate,
)
from sim.process.stroke import scrape
from sim.seat.compliant import Body, Compliance, compliant_seat, standing_um, weight_and_hands
from tests import twins

BODY, GIVE, BLUE = Body(mass_kg=1.0), Compliance(), Blue()
SHOP = {"body": BODY, "compliance": GIVE, "blue": BLUE}
PLATE_MM = (90.0, 60.0)


def film_on(plate, seed=1, weight_um=3.0, applicator="brayer"):
    roll_film(plate, np.random.default_rng(seed), weight_um, applicator, BLUE)
    return plate


def uneven_plate(seed=1):
    """A plate with an error of 1 um and a film that is nowhere the same."""
    plate = twins.bare_plate(*PLATE_MM)
    y, x = np.mgrid[: plate.error_um.shape[0], : plate.error_um.shape[1]]
    plate.error_um[:] = 0.5 * np.sin(x / 57.0 + 0.3) * np.cos(y / 41.0 - 0.2) - 0.5
    return film_on(plate, seed)


def missing_share(face, plate):
    """Plate + face + cloth - drawn, as a share of what was drawn."""
    on_plate = plate.film_um.sum() * plate.pitch_mm**2
    return (
        abs(on_plate + face.blue_um.sum() * face.cell_mm2 + plate.cloth_um_mm2 - plate.drawn_um_mm2)
        / plate.drawn_um_mm2
    )


def spot(face, plate, **options):
    return spot_face(face, plate, Rub(**{"x_mm": 15.0, "y_mm": 10.0, **options}), **SHOP)


# ---------------------------------------------------------------- rolling


def test_a_film_has_the_weight_asked_for_and_is_booked():
    plate = film_on(twins.bare_plate(240.0, 180.0), weight_um=2.5)
    assert plate.film_um.mean() == pytest.approx(2.5, rel=0.02)  # some 1,200 waves of 6 mm, each 11 %: 0.3 %
    assert plate.drawn_um_mm2 == pytest.approx(plate.film_um.sum() * 0.0625, rel=1e-12)
    assert len(plate.lint) == 0


@pytest.mark.parametrize("applicator,wanted", [("brayer", 0.12), ("rag", 0.4)])
def test_a_film_is_as_uneven_as_its_applicator(applicator, wanted):
    spread = []
    for seed in range(4):
        film = film_on(twins.bare_plate(240.0, 180.0), seed, applicator=applicator).film_um
        spread.append(film.std() / film.mean())
    # from memory: coefficient of variation 0.12 brayer, 0.4 rag; 4 x 1,200 waves: 1 to 2 %
    assert np.mean(spread) == pytest.approx(wanted, rel=0.05)


def test_a_rag_streaks_along_and_leaves_lint():
    plates = [film_on(twins.bare_plate(240.0, 180.0), seed, applicator="rag") for seed in range(4)]
    assert 0 < sum(len(p.lint) for p in plates) < 20
    assert all(10.0 <= h <= 20.0 for p in plates for h in p.lint[:, 2])
    for p in plates:
        along, across = np.diff(p.film_um[:, ::8], axis=1).std(), np.diff(p.film_um[::8], axis=0).std()
        assert across > 1.2 * along


def test_spreading_again_conserves_what_is_there():
    plate, face = uneven_plate(), twins.scraped_coupon(1)
    spot(face, plate)
    before = plate.film_um.copy()
    film_on(plate, seed=9, weight_um=None)
    assert plate.film_um.sum() == pytest.approx(before.sum(), rel=1e-12)
    assert np.abs(plate.film_um - before).max() > 0.1
    assert missing_share(face, plate) < 1e-9


@pytest.mark.parametrize(
    "weight,applicator,words",
    [
        (0.0, "brayer", "weight_um"),
        (51.0, "rag", "weight_um"),
        (float("nan"), "rag", "weight_um"),
        (2.0, "spoon", "applicator"),
    ],
)
def test_a_film_that_cannot_be_is_refused_and_the_plate_stays(weight, applicator, words):
    plate = uneven_plate()
    before = plate.copy()
    with pytest.raises(BadParam, match=words):
        roll_film(plate, np.random.default_rng(1), weight, applicator, BLUE)
    np.testing.assert_array_equal(plate.film_um, before.film_um)
    assert plate.drawn_um_mm2 == before.drawn_um_mm2


# ---------------------------------------------------------------- conservation


@pytest.mark.parametrize(
    "place",
    [
        {},
        {"x_mm": 46.0, "y_mm": 31.0, "way_mm": 8.0},
        {"x_mm": -17.0, "y_mm": -9.0, "along": (0.0, 1.0)},
        {"x_mm": 28.0, "way_mm": 40.0},
        {"way_mm": 0.0},
        {"along": (0.6, 0.8), "hands": ((10.0, 8.0, 60.0),)},
    ],
    ids=["middle", "off one corner", "off the other", "across the edge", "no rub", "pressed"],
)
@pytest.mark.parametrize("applicator", ["brayer", "rag"])
def test_blue_is_conserved_through_a_round(place, applicator):
    face, plate = twins.scraped_coupon(2), film_on(twins.bare_plate(*PLATE_MM), 3, 4.0, applicator)
    for _ in range(2):
        before = face.blue_um.sum()
        spot(face, plate, **place)
        assert face.blue_um.sum() > before
        assert missing_share(face, plate) < 1e-9
        assert plate.film_um.min() >= 0.0
        strokes = twins.random_strokes(np.random.default_rng(4), 40, face.size_mm, (60.0, 95.0))
        scrape(face, plate, RACK["fine"], Edge(4.0), strokes)
        assert missing_share(face, plate) < 1e-9
        wipe_face(face, plate, BLUE)
        assert missing_share(face, plate) < 1e-9
    wipe_plate(plate)
    assert not plate.film_um.any()
    assert missing_share(face, plate) < 1e-9


def test_blue_is_conserved_in_the_second_method_and_tops_come_back_bare():
    face, plate = twins.scraped_coupon(3), twins.bare_plate(*PLATE_MM)
    face.burr_um[:] = 0.0
    blue_face(face, plate, 1.5)
    poses = rub_blued_face(face, plate, Rub(15.0, 10.0, 30.0), **SHOP)
    assert missing_share(face, plate) < 1e-9
    assert plate.film_um.sum() > 1.0
    x, y = (np.arange(face.shape[1]) + 0.5) * 0.25, (np.arange(face.shape[0])[:, None] + 0.5) * 0.25
    pressed = np.min([poses[k].at(x, y) for k in range(8)], axis=0) < face.height_um
    # phi 0.95 leaves at most t (1 - phi) of a film that found room, and half of that goes to the plate
    assert np.median(face.blue_um[pressed]) < 0.1
    assert np.median(face.blue_um[face.scored & ~pressed]) > 1.4
    wipe_plate(plate)
    wipe_face(face, plate, BLUE)
    assert missing_share(face, plate) < 1e-9


@pytest.mark.parametrize("x_mm", [-7.0, 37.0])
def test_the_second_method_puts_blue_only_where_the_plate_lies_under_the_face(x_mm):
    face, plate = face_from_heights(np.zeros((80, 120))), twins.bare_plate(60.0, 40.0)
    blue_face(face, plate, 1.5)
    rub_blued_face(face, plate, Rub(x_mm, 10.0, 14.0), **SHOP)
    assert missing_share(face, plate) < 1e-9
    columns = np.nonzero(plate.film_um.any(axis=0))[0]
    reach = (0, (x_mm + 30.0 + 7.0) / 0.25) if x_mm < 0.0 else ((x_mm - 7.0) / 0.25, 240)
    assert len(columns)
    assert reach[0] <= columns.min()
    assert columns.max() <= reach[1]


# ---------------------------------------------------------------- what prints


def dome(radius_mm=20_000.0, shape=(121, 161)):
    """A crowned face, apex on a cell's centre."""
    i, j = np.mgrid[: shape[0], : shape[1]]
    away = ((i - shape[0] // 2) ** 2 + (j - shape[1] // 2) ** 2) * 0.0625
    return face_from_heights(-away * 1e3 / (2.0 * radius_mm)), np.sqrt(away)


def test_squeezing_leaves_a_pale_centre_and_a_dark_rim():
    face, away = dome()
    plate = twins.bare_plate(*PLATE_MM)
    plate.film_um[:] = 3.0
    plate.drawn_um_mm2 = plate.film_um.sum() * 0.0625
    spot(face, plate, way_mm=30.0)  # phi = 1 - e^-3 = 0.95
    blue = face.blue_um
    centre = blue[away < 0.3]
    # b = [t - phi (t - g)] / 2 with g = 0: 3 um x 0.05 / 2 = 0.075 um; and half of 3 um at g = t.
    # the rub moves the apex over the face, so the least gap is a little under the one of the middle pose
    np.testing.assert_allclose(centre, 0.5 * 3.0 * np.exp(-3.0), rtol=1e-9)
    assert blue.max() > 1.35
    assert 0.3 * away[blue > 0].max() < away[blue == blue.max()].min()
    dark = 1.0 - np.exp(-blue / BLUE.opacity_um)
    assert dark[away < 0.3].max() < 0.25
    assert dark.max() > 0.95


def test_a_short_rub_hardly_pales_the_centre():
    contrast = []
    for way in (2.0, 12.0, 30.0):
        face, away = dome()
        plate = twins.bare_plate(*PLATE_MM)
        plate.film_um[:] = 3.0
        spot(face, plate, way_mm=way)
        contrast.append(face.blue_um.max() / face.blue_um[away < 0.2].max())
    assert contrast[0] < 1.5 < 2.5 < contrast[1] < 5.0 < contrast[2]


def test_blue_prints_within_the_film_and_the_push_and_nowhere_else():
    face, away = dome()
    plate = twins.bare_plate(*PLATE_MM)
    plate.film_um[:] = 2.0
    poses = spot(face, plate, way_mm=0.0)
    x, y = (np.arange(161) + 0.5) * 0.25, (np.arange(121)[:, None] + 0.5) * 0.25
    gap = np.maximum(poses[0].at(x, y) - face.height_um, 0.0)
    near = away <= away[gap < 2.0].max() + 0.75 + 1e-9
    assert (face.blue_um[gap < 2.0] > 0.0).all()
    assert not face.blue_um[~near].any()


@pytest.mark.parametrize("where", ["lint on the plate", "a chip on the face"])
def test_a_bit_of_15_um_lifts_the_part_and_spoils_the_print(where):
    prints, heights = [], []
    for dirty in (False, True):
        face, plate = twins.scraped_coupon(4), twins.bare_plate(*PLATE_MM)
        plate.film_um[:] = 3.0
        if dirty and where == "lint on the plate":
            plate.lint = np.array([[15.0 + 50.0, 10.0 + 30.0, 15.0]])
        elif dirty:
            face.chips = np.array([[50.0, 30.0, 15.0]])
        poses = spot(face, plate, way_mm=1.0)
        prints.append((face.blue_um > BLUE.seen_um) & face.scored)
        heights.append(poses[3].at(50.0, 30.0))
    assert heights[1] - heights[0] > 5.0
    assert prints[1].sum() < 0.6 * prints[0].sum()
    assert prints[1][:, 180:].sum() < 0.2 * prints[0][:, 180:].sum()  # one-sided: nothing around the bit


def test_old_blue_stays_in_pockets_after_wiping():
    height = np.zeros((80, 120))
    height[20:40, 30:60] = -12.0
    height[50:70, 30:60] = -4.0
    face, plate = face_from_heights(height), twins.bare_plate(*PLATE_MM)
    blue_face(face, plate, 2.0)
    face.chips = np.array([[3.0, 3.0, 12.0]])
    wipe_face(face, plate, BLUE)
    # 0.02 on the tops, 0.5 from 8 um below the highest of the 2 mm around, in between linear: as `Blue` states
    np.testing.assert_allclose(face.blue_um[5, 5], 0.02 * 2.0)
    np.testing.assert_allclose(face.blue_um[20:40, 30:32], 0.5 * 2.0)
    np.testing.assert_allclose(face.blue_um[50:70, 30:32], 2.0 * (0.02 + 0.5 * 0.48))
    assert len(face.chips) == 0
    assert missing_share(face, plate) < 1e-12


def test_a_face_wholly_off_the_plate_is_refused_and_nothing_changes():
    face, plate = twins.scraped_coupon(5), uneven_plate()
    before, film = face.copy(), plate.copy()
    with pytest.raises(Refused, match="at least partly on the plate"):
        spot(face, plate, x_mm=-80.0)
    assert twins.largest_difference(face, before) == 0.0
    np.testing.assert_array_equal(plate.film_um, film.film_um)
    np.testing.assert_array_equal(plate.error_um, film.error_um)


# ---------------------------------------------------------------- invariance of single acts


def moved_plate(plate, move):
    arrays = (twins.move_array(a, move) for a in (plate.error_um, plate.film_um))
    lint = np.column_stack([twins.move_points(plate.lint, move, plate.size_mm), plate.lint[:, 2]])
    return Plate(plate.pitch_mm, *arrays, lint, plate.drawn_um_mm2)


def moved_rub(rub, move, face_mm, plate_mm):
    x = plate_mm[0] - face_mm[0] - rub.x_mm if move == "mirrored in x" else rub.x_mm
    y = plate_mm[1] - face_mm[1] - rub.y_mm if move == "mirrored in y" else rub.y_mm
    a, b = rub.along
    along = {"mirrored in x": (-a, b), "mirrored in y": (a, -b), "transposed": (b, a)}[move]
    hands = tuple((*twins.move_points(np.array([[hx, hy]]), move, face_mm)[0], n) for hx, hy, n in rub.hands)
    return Rub(*((y, x) if move == "transposed" else (x, y)), rub.way_mm, along, hands)


RUBS = {
    "on the plate": Rub(12.3, 9.1, 12.0, (0.6, 0.8)),
    "over its edge": Rub(-14.2, 29.3, 20.0, (1.0, 0.0)),
    "under a hand": Rub(14.9, 10.2, 5.0, (0.0, 1.0), ((12.5, 33.25, 80.0),)),
}


@pytest.mark.parametrize("move", twins.MOVES)
@pytest.mark.parametrize("rub", RUBS)
def test_a_print_of_a_moved_face_is_the_moved_print(rub, move):
    face, plate, rub = twins.scraped_coupon(6), uneven_plate(), RUBS[rub]
    plate.lint = np.array([[50.1, 20.1, 4.0]])
    face.chips = np.array([[9.1, 12.6, 3.0]])
    other, other_plate = twins.move_face(face, move), moved_plate(plate, move)
    spot_face(face, plate, rub, **SHOP)
    spot_face(other, other_plate, moved_rub(rub, move, (60.0, 40.0), PLATE_MM), **SHOP)
    assert face.blue_um.max() > 1.0
    # 1e-12 um: heights of some um and a plane known to its last bits
    assert twins.largest_difference(twins.move_face(face, move), other) < 1e-12
    np.testing.assert_allclose(other_plate.film_um, twins.move_array(plate.film_um, move), rtol=0.0, atol=1e-12)


def half_turned(thing, *, move, **sizes):
    """Something mirrored in x and in y: turned by 180 degrees."""
    for each in ("mirrored in x", "mirrored in y"):
        thing = move(thing, each, **sizes)
    return thing


@pytest.mark.parametrize("method", [spot_face, rub_blued_face], ids=["blue on the plate", "blue on the part"])
@pytest.mark.parametrize("rub", RUBS)
def test_a_print_end_for_end_is_the_print_of_the_turned_face_at_the_place_across(rub, method):
    face, plate, rub = twins.scraped_coupon(6), uneven_plate(), RUBS[rub]
    plate.lint = np.array([[50.1, 20.1, 4.0]])
    face.chips = np.array([[9.1, 12.6, 3.0]])
    if method is rub_blued_face:
        wipe_plate(plate)
        plate.lint = np.array([[50.1, 20.1, 4.0]])
        blue_face(face, plate, 1.5)
    clean = plate.copy()
    other, other_plate = half_turned(face, move=twins.move_face), plate.copy()
    across = half_turned(rub, move=moved_rub, face_mm=(60.0, 40.0), plate_mm=PLATE_MM)
    blue_um = face.blue_um.copy()
    method(face, plate, replace(rub, turned=True), **SHOP)
    method(other, other_plate, across, **SHOP)
    # 1e-12 um: heights of some um and a plane known to its last bits
    assert twins.largest_difference(half_turned(face, move=twins.move_face), other) < 1e-12
    for name in ("film_um", "error_um", "lint"):
        np.testing.assert_allclose(getattr(plate, name), getattr(other_plate, name), rtol=0.0, atol=1e-12)
    assert missing_share(face, plate) < 1e-9
    assert np.abs(face.blue_um - blue_um).max() > 0.5
    assert np.abs(plate.film_um - clean.film_um).max() > 0.05
    assert (plate.error_um < clean.error_um).any()  # the plate wore, and where the face lay


@pytest.mark.parametrize("method", [spot_face, rub_blued_face])
def test_a_turned_print_that_is_refused_changes_nothing(method):
    face, plate = twins.scraped_coupon(5), uneven_plate()
    plate.lint = np.array([[50.1, 20.1, 4.0]])
    before, clean = face.copy(), plate.copy()
    with pytest.raises(Refused, match="at least partly on the plate"):
        method(face, plate, Rub(-80.0, 10.0, turned=True), **SHOP)
    assert twins.largest_difference(face, before) == 0.0
    for name in ("film_um", "error_um", "lint", "drawn_um_mm2", "cloth_um_mm2"):
        np.testing.assert_array_equal(getattr(plate, name), getattr(clean, name))


def test_a_print_does_not_know_how_large_the_grid_around_the_iron_is():
    face, plate = twins.scraped_coupon(6), uneven_plate()
    other, other_plate = (
        twins.embed_face(face, 3, 3, 3, 3),
        plate.copy(),
    )  # margins all round: the weight's centre stays
    spot_face(face, plate, Rub(12.0, 9.0, 12.0, (0.6, 0.8)), **SHOP)
    spot_face(other, other_plate, Rub(11.25, 8.25, 12.0, (0.6, 0.8)), **SHOP)
    assert twins.largest_difference(twins.embed_face(face, 3, 3, 3, 3), other) < 1e-12
    np.testing.assert_allclose(other_plate.film_um, plate.film_um, rtol=0.0, atol=1e-12)


@pytest.mark.parametrize("move", twins.MOVES)
def test_the_seat_of_a_moved_face_is_the_moved_seat(move):
    face = twins.scraped_coupon(7)
    hands = ((12.5, 33.25, 80.0),)
    moved_hands = tuple((*twins.move_points(np.array([[x, y]]), move, (60.0, 40.0))[0], n) for x, y, n in hands)
    poses = []
    for each, pressed in ((face, hands), (twins.move_face(face, move), moved_hands)):
        poses.append(
            compliant_seat(standing_um(each, BODY, GIVE, pressed), 0.25, weight_and_hands(each, BODY, pressed))
        )
    assert poses[1].height_um == pytest.approx(poses[0].height_um, abs=1e-12)
    sx, sy = poses[0].slope_x, poses[0].slope_y
    wanted = {"mirrored in x": (-sx, sy), "mirrored in y": (sx, -sy), "transposed": (sy, sx)}[move]
    assert (poses[1].slope_x, poses[1].slope_y) == pytest.approx(wanted, abs=1e-13)
    assert max(abs(sx), abs(sy)) > 1e-3


@pytest.mark.parametrize("move", twins.MOVES)
def test_the_standard_print_of_a_moved_face_is_the_moved_print(move):
    face = twins.scraped_coupon(8)
    before = face.copy()
    printed = standard_print(face, 1.5, **SHOP)
    other = standard_print(twins.move_face(face, move), 1.5, **SHOP)
    np.testing.assert_allclose(other, twins.move_array(printed, move), rtol=0.0, atol=1e-12)
    assert printed.max() > 0.4
    assert twins.largest_difference(face, before) == 0.0  # it is computed and never made


def test_the_share_moved_by_rubbing_is_its_exponential():
    for way in (0.0, 2.0, 10.0, 30.0):
        assert bluing.moved_share(way, 10.0) == pytest.approx(1.0 - np.exp(-way / 10.0), abs=1e-15)
