"""Start faces: published geometry of milling, and faces that are what their start says."""

import math

import numpy as np
import pytest

from sim.errors import BadParam
from sim.model.face import VOID_UM
from sim.model.plate import PlateMake
from sim.model.start import KINDS, Start
from sim.process.machining import break_edges, cusp_um, fly_cut_dish_um, form_um, iron_mask, machine_face, make_plate


def face(seed=1, **options):
    return machine_face(Start(**{"length_mm": 60.0, "width_mm": 40.0, **options}), np.random.default_rng(seed))


def test_a_round_nose_leaves_the_cusps_of_the_handbook():
    # standard turning and milling geometry, f^2 / (8 r): f 0.2, r 0.8 -> 6.25 um
    assert cusp_um(0.2, 0.8) == pytest.approx(6.25, rel=1e-12)
    # and Ra of a row of parabolas is 2 / (9 sqrt 3) x 2 of their height: the handbook's f^2 / (31 r) to its two digits
    t = (np.arange(10000) + 0.5) / 10000.0 * 2.0 - 1.0
    ra = np.abs(t * t - (t * t).mean()).mean() * cusp_um(0.2, 0.8)
    assert ra == pytest.approx(0.2**2 / (31.0 * 0.8) * 1e3, rel=0.01)


@pytest.mark.parametrize(
    "tram,over,sweep,width,dish",
    [
        # computed: (R - sqrt(R^2 - W^2/4)) t / D; tolerance is the last digit listed
        (0.02, 200.0, 60.0, 100.0, 2.7),
        (0.05, 150.0, 50.0, 90.0, 9.4),
        (0.10, 150.0, 60.0, 100.0, 17.9),
        (0.02, 200.0, 60.0, 110.0, 3.6),
        (0.05, 150.0, 60.0, 110.0, 12.0),
        (0.10, 150.0, 60.0, 110.0, 24.0),
    ],
)
def test_a_fly_cutter_out_of_tram_dishes_the_face(tram, over, sweep, width, dish):
    digit = 0.5 if dish in (12.0, 24.0) else 0.05
    assert fly_cut_dish_um(sweep, width, tram, over) == pytest.approx(dish, abs=digit)


def test_the_dish_is_the_sagitta_of_the_tilted_circle_of_the_cutter():
    """Independently: the lowest point of a tilted circle over each place across the face."""
    turn = np.linspace(0.0, np.pi, 20001)
    across, along = 60.0 * np.cos(turn), 60.0 * np.sin(turn)
    height = -along * 0.05 / 150.0 * 1e3  # the leading half cuts, tilted down
    dish = np.interp(50.0, across[::-1], height[::-1]) - height.min()
    assert fly_cut_dish_um(60.0, 100.0, 0.05, 150.0) == pytest.approx(dish, rel=1e-6)


def test_a_fly_cutter_too_small_for_the_face_is_refused():
    with pytest.raises(BadParam, match="spans at most 100 mm, got a width of 120 mm"):
        fly_cut_dish_um(50.0, 120.0, 0.02, 200.0)


def test_equal_starts_and_seeds_give_equal_faces_and_other_seeds_others():
    np.testing.assert_array_equal(face(3).height_um, face(3).height_um)
    assert np.abs(face(3).height_um - face(4).height_um)[20:-20, 20:-20].max() > 1.0


@pytest.mark.parametrize("kind", KINDS)
def test_a_way_of_machining_leaves_its_form_and_its_roughness(kind):
    lay, ranges, rough = KINDS[kind], [], []
    for seed in range(4):
        made = face(seed, kind=kind)
        height = made.height_um[4:-4, 4:-4]
        ranges.append(np.ptp(height))
        rough.append(np.abs(np.diff(height, axis=1)).max())
    # form, cusps (half as high again at most) and three waves of noise of up to about 0.7 x share x skin each side
    most = lay.form_um + 1.6 * lay.cusp_um + 2.0 * 0.7 * 3.0 * lay.skin_um
    assert 0.8 * lay.form_um <= np.mean(ranges) <= most + 1e-12
    assert (max(rough) > 0.02) == (kind != "true")


def test_feed_cusps_repeat_at_the_feed():
    height = face(2, kind="planed", edge_break_mm=0.0).height_um
    rows = height - np.apply_along_axis(lambda r: np.convolve(r, np.ones(4) / 4.0, mode="same"), 1, height)
    power = np.abs(np.fft.rfft(rows[:, 8:-8], axis=1)).mean(axis=0)
    wave = rows[:, 8:-8].shape[1] * 0.25 / np.argmax(power)
    assert wave == pytest.approx(KINDS["planed"].feed_mm, rel=0.02)  # 56 waves: one line of the spectrum is 1.8 %


@pytest.mark.parametrize("amount", ["bow_x_um", "bow_y_um", "wedge_x_um", "wedge_y_um", "twist_um", "rail_um"])
def test_form_is_added_by_amount(amount):
    height = face(kind="true", edge_break_mm=0.0, pitch_mm=0.25, **{amount: 10.0}).height_um
    # cells end half a pitch inside the outline: of a wedge over 40 mm 0.25/40 is missing, of a bow twice that at most
    assert np.ptp(height) == pytest.approx(10.0, rel=0.02)


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_a_face_scaled_to_an_error_differs_from_another_by_its_form_alone(kind):
    """Cusps and skin are the same, so 40 um less 10 um is the form with a range of 30 um, and twice 20 is 40."""
    ten, twenty, forty = (face(kind=kind, bow_x_um=7.0, edge_break_mm=0.0, error_um=um) for um in (10.0, 20.0, 40.0))
    form = (forty.height_um - ten.height_um)[forty.iron]
    assert np.ptp(form) == pytest.approx(30.0, abs=1e-9)
    assert (twenty.height_um - ten.height_um)[forty.iron] == pytest.approx(form / 3.0, abs=1e-9)


def test_forms_have_the_shape_that_their_name_says():
    x, y = np.array([-1.0, 0.0, 1.0])[None, :], np.array([-1.0, 0.0, 1.0])[:, None]
    np.testing.assert_allclose(form_um(x, y, Start(twist_um=8.0)), [[4, 0, -4], [0, 0, 0], [-4, 0, 4]])
    np.testing.assert_allclose(form_um(x, y, Start(bow_x_um=6.0)), [[0, 6, 0]] * 3)
    np.testing.assert_allclose(form_um(x, y, Start(wedge_y_um=6.0)), [[-3] * 3, [0] * 3, [3] * 3])
    np.testing.assert_allclose(form_um(x, y, Start(rail_um=5.0)), [[0] * 3, [-5] * 3, [0] * 3])


def test_the_edge_break_is_a_chamfer_of_45_degrees_on_outline_and_holes():
    plain = face(kind="true", edge_break_mm=0.0, cutouts=((20.0, 20.0, 10.0, 10.0), (42.0, 20.0, 20.0, 6.0)))
    broken = face(kind="true", edge_break_mm=0.6, cutouts=((20.0, 20.0, 10.0, 10.0), (42.0, 20.0, 20.0, 6.0)))
    np.testing.assert_allclose(
        broken.height_um[80, :5], [-475.0, -225.0, 0.0, 0.0, 0.0]
    )  # centres 0.125, 0.375, 0.625 mm inside
    np.testing.assert_array_equal(broken.scored, broken.iron & (broken.height_um == 0.0))
    x, y = (np.arange(240) + 0.5) * 0.25, (np.arange(160) + 0.5)[:, None] * 0.25
    hole = np.hypot(x - 20.0, y - 20.0)
    slot = np.hypot(np.maximum(np.abs(x - 42.0) - 7.0, 0.0), y - 20.0)
    np.testing.assert_array_equal(~plain.iron, (hole <= 5.0) | (slot <= 3.0))
    assert (plain.height_um[~plain.iron] == VOID_UM).all()
    # the way to a stepped outline of cells is known to a cell
    assert (broken.height_um[(hole > 5.0) & (hole < 5.2)] < -200.0).all()
    inner = (hole > 6.0) & (slot > 4.0) & (np.minimum(x, 60.0 - x) > 1.0) & (np.minimum(y, 40.0 - y) > 1.0)
    assert (broken.height_um[inner] == 0.0).all()


def test_breaking_edges_later_is_the_same_file_and_takes_burrs_along():
    late = face(5, edge_break_mm=0.0)
    late.burr_um[:] = 1.0
    break_edges(late, 0.6)
    early = face(5)
    np.testing.assert_allclose(late.height_um, early.height_um, rtol=0.0, atol=1e-12)
    np.testing.assert_array_equal(late.scored, early.scored)
    np.testing.assert_array_equal(late.burr_um > 0.0, late.scored)


@pytest.mark.parametrize("width", [0.0, -1.0, 11.0, math.nan])
def test_an_edge_break_out_of_range_is_refused_and_changes_nothing(width):
    untouched, asked = face(6), face(6)
    with pytest.raises(BadParam, match="edge break must be in"):
        break_edges(asked, width)
    np.testing.assert_array_equal(asked.height_um, untouched.height_um)


@pytest.mark.parametrize(
    "options,words",
    [
        ({"length_mm": 600.0, "width_mm": 600.0, "pitch_mm": 0.05}, "6,000,000 cells, got 12000 x 12000"),
        ({"pitch_mm": 2.0, "length_mm": 10.0}, "got 5 x 20"),
        ({"cutouts": ((1.0, 2.0, 3.0),)}, "a cutout must be"),
        ({"cutouts": ((1.0, 2.0, 3.0, -1.0),)}, "a cutout must be"),
        ({"cutouts": ((1.0, math.nan, 3.0, 1.0),)}, "a cutout must be"),
        ({"kind": "lapped"}, "must be one of"),
        ({"twist_um": math.inf}, "twist_um"),
    ],
)
def test_a_start_that_cannot_be_is_refused(options, words):
    with pytest.raises(BadParam, match=words):
        face(**options)


def test_a_plate_is_as_true_as_bought_and_nothing_of_it_stands_out():
    plate = make_plate(PlateMake(flatness_um=1.5), 0.5, np.random.default_rng(1))
    assert np.ptp(plate.error_um) == pytest.approx(1.5, rel=1e-12)
    assert plate.error_um.max() == 0.0
    # smooth: waves of 60 mm and more, so a cell's step is far under a hundredth of the range
    assert np.abs(np.diff(plate.error_um, axis=1)).max() < 0.05
    assert not make_plate(PlateMake(flatness_um=0.0), 1.0, np.random.default_rng(1)).error_um.any()


def test_a_corner_radius_makes_a_pocket_and_half_the_width_a_slot():
    square = iron_mask(Start(length_mm=40.0, width_mm=30.0, cutouts=((20.0, 15.0, 10.0, 6.0, 0.0),)))
    assert (~square).sum() == 40 * 24  # cells of 0.25 mm
    assert not square[48:72, 60:100].any()
    slots = [iron_mask(Start(length_mm=40.0, width_mm=30.0, cutouts=((20.0, 15.0, 10.0, 6.0, *radius),)))
             for radius in ((), (3.0,))]
    assert np.array_equal(*slots)
    with pytest.raises(BadParam, match="a cutout must be"):
        iron_mask(Start(cutouts=((20.0, 15.0, 10.0, 6.0, 3.1),)))
