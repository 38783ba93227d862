"""What the eye gets: what does not matter changes the picture, a place on the iron is found in it again."""

from dataclasses import replace

import numpy as np
import pytest

from sim.errors import BadParam
from sim.model.face import face_from_heights
from sim.school.view import (
    CONDITIONS,
    PIGMENTS,
    Condition,
    Patch,
    Stain,
    condition_named,
    numbered,
    picture,
)

PLAIN = Condition("blue", "neutral", "high", grain=0.0, lay=0.0, sheen=0.0)
PATCH = Patch(6.0, 4.0, 12.0, 10.0)
VARIED = {
    "lamp_deg": 300.0, "lamp_height_deg": 10.0, "light": "warm", "exposure_stops": 0.7, "pigment": "red lead",
    "sheen": 1.0, "grain": 1.0, "lay": 0.8, "lint": 3, "fingerprint": 0.9, "tilt_deg": 20.0, "blur_mm": 0.2,
    "px_per_mm": 6.0,
}  # fmt: skip


@pytest.fixture(scope="module")
def face():
    """Waves of iron with two round marks, one of them pale in the middle."""
    x, y = np.meshgrid((np.arange(96) + 0.5) * 0.25, (np.arange(72) + 0.5) * 0.25)
    made = face_from_heights(1.5 * np.sin(2.1 * x + 0.4 * y) + np.cos(1.3 * y))
    away = np.hypot(x - 10.0, y - 8.0), np.hypot(x - 15.0, y - 11.0)
    made.blue_um[:] = np.where(away[0] < 1.2, 1.5, 0.0) + np.where((away[1] < 1.5) & (away[1] > 0.7), 1.5, 0.0)
    return made


@pytest.mark.parametrize("name", VARIED)
def test_everything_that_does_not_matter_changes_the_picture(face, name):
    plain, other = (picture(face, PATCH, one).rgb for one in (PLAIN, replace(PLAIN, **{name: VARIED[name]})))
    assert plain.shape != other.shape or np.abs(plain.astype(int) - other).max() > 8


def test_the_same_condition_gives_the_same_picture(face):
    assert np.array_equal(picture(face, PATCH, PLAIN).rgb, picture(face, PATCH, PLAIN).rgb)


@pytest.mark.parametrize("tilt_deg", [0.0, 24.0])
def test_a_place_on_the_iron_is_found_in_the_picture_and_back(face, tilt_deg):
    shown = picture(face, PATCH, replace(PLAIN, tilt_deg=tilt_deg, tilt_to_deg=70.0))
    at = shown.px_of(10.0, 8.0)
    assert shown.mm_of(*at) == pytest.approx((10.0, 8.0))
    red = shown.rgb[..., 0].astype(float)
    assert red[round(at[1]), round(at[0])] < 0.5 * np.median(red), "the mark is where the plane says"
    off = shown.px_of(10.0, 5.5)
    assert red[round(off[1]), round(off[0])] > 0.7 * np.median(red)


def test_a_top_that_was_rubbed_bare_is_paler_than_its_rim(face):
    shown = picture(face, PATCH, PLAIN)
    red = shown.rgb[..., 0].astype(float)
    middle, rim = (shown.px_of(x, 11.0) for x in (15.0, 16.1))
    assert red[round(middle[1]), round(middle[0])] > 2.0 * red[round(rim[1]), round(rim[0])]


@pytest.mark.parametrize("pigment", PIGMENTS)
def test_every_pigment_stands_out_from_the_iron(face, pigment):
    shown = picture(face, PATCH, replace(PLAIN, pigment=pigment))
    left, top = (round(v) for v in shown.px_of(10.0, 8.0))
    mark, iron = shown.rgb[top, left].astype(float), np.median(shown.rgb.reshape(-1, 3), axis=0)
    assert np.abs(mark - iron).max() > 60.0


def test_a_stain_has_no_height_but_is_seen(face):
    one = Stain(14.0, 6.0, 0.8, alike=0.0)
    plain, stained = (picture(face, PATCH, PLAIN, stains=s).rgb.astype(int) for s in ((), (one,)))
    assert np.abs(plain - stained).max() > 30
    assert (np.abs(plain - stained).max(axis=2) > 30).mean() < 0.05


def test_numbers_are_drawn_beside_the_places_and_nowhere_else(face):
    shown = picture(face, PATCH, PLAIN)
    changed = (numbered(shown, ((10.0, 8.0),)).rgb != shown.rgb).any(axis=2)
    top, left = (v.mean() for v in np.nonzero(changed))
    at = shown.px_of(10.0, 8.0)
    assert np.hypot(left - at[0], top - at[1]) < 30.0
    assert 50 < changed.sum() < 500


def test_a_name_gives_pigment_light_and_lamp_and_the_seed_the_rest():
    one, two = (condition_named("red lead, cold, raking", seed) for seed in (1, 2))
    assert (one.pigment, one.light, one.lamp) == ("red lead", "cold", "raking")
    assert one.name == two.name == "red lead, cold, raking"
    assert one.lamp_deg != two.lamp_deg
    assert all(8.0 <= c.lamp_height_deg <= 20.0 for c in (one, two))


def test_over_many_seeds_everything_that_does_not_matter_varies():
    seen = [condition_named(CONDITIONS[0], seed) for seed in range(60)]
    assert np.ptp([c.lamp_deg for c in seen]) > 300.0
    assert np.ptp([c.exposure_stops for c in seen]) > 1.6
    assert max(c.tilt_deg for c in seen) > 15.0
    assert {c.view for c in seen} == {"bench view", "phone picture", "true size"}
    assert {c.fingerprint > 0.0 for c in seen} == {True, False}


def test_an_unknown_name_is_refused():
    with pytest.raises(BadParam, match="pigment, light, lamp"):
        condition_named("green, cold, raking", 1)
