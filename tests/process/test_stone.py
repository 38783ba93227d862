"""The stone: iron conserved, what it may and may not take, the same on moved faces."""

import numpy as np
import pytest

from sim.errors import BadParam
from sim.model.face import face_from_heights
from sim.process.stone import Stone, stone_face
from tests import twins


@pytest.mark.parametrize("pressure,most", [("light", 0.3), ("firm", 0.6)])
def test_what_is_reported_is_what_is_gone(pressure, most):
    face = twins.scraped_coupon(1)
    before = face.copy()
    removed = stone_face(face, pressure)
    drop = twins.iron_height(before) - twins.iron_height(face)
    assert removed == pytest.approx(drop.sum() * 0.0625e-3, rel=1e-9)
    assert removed > 0.0
    assert drop.min() >= 0.0
    assert drop.max() == pytest.approx(most, abs=1e-12)
    assert not face.burr_um.any()


def test_it_takes_tops_only_down_to_the_local_top_and_no_farther():
    """z <- min(z, max(T, z - s)), T = the 98.5th percentile within 20 mm."""
    face = twins.scraped_coupon(2)
    before = face.copy()
    stone_face(face, "firm")
    touched = face.height_um < before.height_um
    assert 0.001 < touched[face.scored].mean() < 0.05  # about the 1.5 % above the percentile, uneven by place
    assert not touched[before.height_um < np.percentile(before.height_um[before.scored], 60.0)].any()


@pytest.mark.parametrize("height,left", [(5.0, 4.7), (0.2, 0.0), (0.0, 0.0), (-3.0, -3.0)])
def test_a_lone_spot_on_a_true_face_loses_the_breath_or_what_stands_out(height, left):
    heights = np.zeros((160, 160))
    heights[80, 80] = height
    face = face_from_heights(heights)
    stone_face(face)
    # the level is known to a bin of 0.05 um, in which all the rest of the face lies
    assert face.height_um[80, 80] == pytest.approx(left, abs=0.05 + 1e-12)
    rest = np.ones(heights.shape, bool)
    rest[80, 80] = False
    assert np.abs(face.height_um[rest]).max() <= 0.05 + 1e-12


def test_stoning_again_and_again_flattens_tops_so_that_bearing_rises_falsely():
    face = twins.scraped_coupon(3)
    shares = []
    for _ in range(6):
        top = np.percentile(face.height_um[face.scored], 99.8)
        shares.append(float((face.height_um[face.scored] > top - 0.3).mean()))
        stone_face(face, "firm")
    assert shares[-1] > 1.5 * shares[0]


def test_a_stone_that_takes_nothing_takes_burrs_only():
    face = twins.scraped_coupon(4)
    before = face.copy()
    assert stone_face(face, "light", Stone(light_um=0.0)) == 0.0
    np.testing.assert_array_equal(face.height_um, before.height_um)
    assert before.burr_um.max() > 0.1
    assert not face.burr_um.any()


def test_an_unknown_pressure_is_refused_and_nothing_changes():
    face = twins.scraped_coupon(5)
    before = face.copy()
    with pytest.raises(BadParam, match="light or firm, got 'hard'"):
        stone_face(face, "hard")
    assert twins.largest_difference(face, before) == 0.0


@pytest.mark.parametrize(
    "size_mm,move",
    [(size, move) for size in ((60.0, 40.0), (57.0, 43.5), (60.25, 40.25)) for move in twins.MOVES],
)
def test_a_moved_face_is_stoned_as_the_moved_face(size_mm, move):
    face = twins.scraped_coupon(6, *size_mm)
    other = twins.move_face(face, move)
    before = face.copy()
    stone_face(face, "firm")
    stone_face(other, "firm")
    assert twins.largest_difference(face, before) > 0.5
    # 1e-12 um: one interpolation between levels of some um
    assert twins.largest_difference(twins.move_face(face, move), other) < 1e-12


def test_the_grid_around_the_iron_does_not_matter():
    face = twins.scraped_coupon(7)
    other = twins.embed_face(face, 3, 10, 0, 7)
    stone_face(face)
    stone_face(other)
    assert twins.largest_difference(twins.embed_face(face, 3, 10, 0, 7), other) < 1e-12
