"""Colours can be told apart: letters on their grounds, marks by every eye."""

import itertools
import math

import numpy as np
import pytest

from sim.bench import palette
from sim.bench.palette import CHALK, DARK, HEIGHTS, INK, LIGHT, MARKS, THEMES, WELL, contrast, height_colour

# Severity 1, linear RGB. Source: Machado, Oliveira and Fernandes 2009, table 1.
EYES = {
    "normal": np.eye(3),
    "protan": np.array([(0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216),
                        (-0.003882, -0.048116, 1.051998)]),
    "deutan": np.array([(0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413),
                        (-0.011820, 0.042940, 0.968881)]),
    "tritan": np.array([(1.255528, -0.076749, -0.178779), (-0.078411, 0.930809, 0.147602),
                        (0.004733, 0.691367, 0.303900)]),
}
SRGB_TO_XYZ = np.array([(0.4124564, 0.3575761, 0.1804375), (0.2126729, 0.7151522, 0.0721750),
                        (0.0193339, 0.1191920, 0.9503041)])


def lab_of(rgb, eye="normal"):
    """L*, a*, b* under D65 of an sRGB colour as an eye sees it."""
    v = np.array(rgb) / 255.0
    linear = np.clip(EYES[eye] @ np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4), 0.0, 1.0)
    t = SRGB_TO_XYZ @ linear / SRGB_TO_XYZ.sum(axis=1)
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return 116.0 * f[1] - 16.0, 500.0 * (f[0] - f[1]), 200.0 * (f[1] - f[2])


def apart(one, two):
    """Colour difference CIEDE2000 of two L*, a*, b*. Source: Sharma, Wu and Dalal 2005, equations 2 to 22."""
    (l1, a1, b1), (l2, a2, b2) = one, two
    mean7 = (0.5 * (math.hypot(a1, b1) + math.hypot(a2, b2))) ** 7
    g = 0.5 * (1.0 - math.sqrt(mean7 / (mean7 + 25.0**7)))
    c1, c2 = math.hypot((1 + g) * a1, b1), math.hypot((1 + g) * a2, b2)
    h1, h2 = (math.degrees(math.atan2(b, (1 + g) * a)) % 360.0 for a, b in ((a1, b1), (a2, b2)))
    turn, mean_h = h2 - h1, 0.5 * (h1 + h2)
    if c1 * c2 == 0.0:
        turn, mean_h = 0.0, h1 + h2
    elif abs(turn) > 180.0:
        turn -= math.copysign(360.0, turn)
        mean_h += 180.0 if mean_h < 180.0 else -180.0
    dl, dc, dh = l2 - l1, c2 - c1, 2.0 * math.sqrt(c1 * c2) * math.sin(math.radians(0.5 * turn))
    low, chroma = (0.5 * (l1 + l2) - 50.0) ** 2, 0.5 * (c1 + c2)
    t = (1.0 - 0.17 * math.cos(math.radians(mean_h - 30.0)) + 0.24 * math.cos(math.radians(2.0 * mean_h))
         + 0.32 * math.cos(math.radians(3.0 * mean_h + 6.0)) - 0.20 * math.cos(math.radians(4.0 * mean_h - 63.0)))
    sl, sc = 1.0 + 0.015 * low / math.sqrt(20.0 + low), 1.0 + 0.045 * chroma
    sh = 1.0 + 0.015 * chroma * t
    swing = 30.0 * math.exp(-(((mean_h - 275.0) / 25.0) ** 2))
    rt = -2.0 * math.sqrt(chroma**7 / (chroma**7 + 25.0**7)) * math.sin(math.radians(2.0 * swing))
    return math.sqrt((dl / sl) ** 2 + (dc / sc) ** 2 + (dh / sh) ** 2 + rt * (dc / sc) * (dh / sh))


@pytest.mark.parametrize("one, two, known", [
    ((50.0, 2.6772, -79.7751), (50.0, 0.0, -82.7485), 2.0425),
    ((50.0, 2.5, 0.0), (73.0, 25.0, -18.0), 27.1492),
    ((50.0, 2.5, 0.0), (61.0, -5.0, 29.0), 22.8977),
    ((2.0776, 0.0795, -1.1350), (0.9033, -0.0636, -0.5514), 0.9082),
])  # fmt: skip
def test_the_judge_of_colours_agrees_with_published_pairs(one, two, known):
    # Source: Sharma, Wu and Dalal 2005, table 1, pairs 1, 17, 18 and 34
    assert apart(one, two) == pytest.approx(known, abs=5e-5)
    assert apart(two, one) == pytest.approx(known, abs=5e-5)


@pytest.mark.parametrize("eye", EYES)
@pytest.mark.parametrize("one, two", list(itertools.combinations(MARKS, 2)))
def test_every_eye_tells_the_levels_of_a_mark_apart(eye, one, two):
    assert apart(lab_of(MARKS[one], eye), lab_of(MARKS[two], eye)) >= 9.0


@pytest.mark.parametrize("eye", EYES)
def test_every_eye_tells_red_lead_and_blue_from_iron_and_plate(eye):
    for ground in (MARKS["iron"], palette.PLATE):
        for paint in (palette.RED_LEAD, MARKS["medium"], MARKS["ring"]):
            assert apart(lab_of(ground, eye), lab_of(paint, eye)) >= 9.0


@pytest.mark.parametrize("eye", EYES)
def test_the_ends_of_a_height_map_are_never_taken_for_each_other(eye):
    assert apart(lab_of(HEIGHTS[0], eye), lab_of(HEIGHTS[-1], eye)) >= 9.0
    for low, high in itertools.pairwise(HEIGHTS):
        assert apart(lab_of(low, eye), lab_of(high, eye)) >= 9.0


@pytest.mark.parametrize("eye", EYES)
@pytest.mark.parametrize("theme", THEMES.values(), ids=list(THEMES))
def test_reached_and_not_reached_differ_to_every_eye(theme, eye):
    assert apart(lab_of(theme.reached, eye), lab_of(theme.not_reached, eye)) >= 9.0


def test_contrast_runs_from_1_to_21():
    assert contrast((0, 0, 0), (255, 255, 255)) == pytest.approx(21.0)
    assert contrast((90, 90, 90), (90, 90, 90)) == 1.0
    assert contrast((119, 119, 119), (255, 255, 255)) == pytest.approx(4.48, abs=0.005)  # the known grey just below 4.5
    assert palette.luminance((255, 255, 255)) == pytest.approx(1.0)


@pytest.mark.parametrize("theme", THEMES.values(), ids=list(THEMES))
@pytest.mark.parametrize("ground", ["background", "panel", "raised"])
def test_letters_and_edges_can_be_read_on_every_ground(theme, ground):
    on = getattr(theme, ground)
    for role in ("text", "muted", "accent", "reached", "not_reached"):
        assert contrast(getattr(theme, role), on) >= 4.5, role
    assert contrast(theme.line, on) >= 3.0
    assert contrast(theme.on_accent, theme.accent) >= 4.5


def test_what_lies_on_the_well_and_on_iron_stands_out():
    assert contrast(palette.WELL_TEXT, WELL) >= 4.5
    assert contrast(palette.WELL_FOCUS, WELL) >= 3.0
    assert contrast(MARKS["iron"], WELL) >= 3.0
    assert contrast(INK, MARKS["iron"]) >= 4.5
    assert contrast(palette.CALL_FILL, palette.CALL_EDGE) >= 4.5
    for level in MARKS.values():  # outline and written heights: one of the two stands out on every level
        assert max(contrast(INK, level), contrast(CHALK, level)) >= 4.5


def test_nothing_but_the_marks_is_blue():
    for theme in (DARK, LIGHT):
        for role in ("background", "panel", "raised", "text", "muted", "accent", "reached", "not_reached", "line"):
            _, a, b = lab_of(getattr(theme, role))
            assert b > -6.0 or math.hypot(a, b) < 8.0, role
    for colour in (WELL, palette.CALL_FILL, INK, CHALK, palette.PLATE, palette.RED_LEAD):
        assert lab_of(colour)[2] > -6.0


def test_a_height_map_is_lightest_at_zero_and_darkens_to_both_ends():
    assert height_colour(0.0) == HEIGHTS[3]
    assert height_colour(-5.0) == HEIGHTS[0]
    assert height_colour(1.0) == HEIGHTS[-1]
    tones = [lab_of(height_colour(share))[0] for share in np.linspace(-1.0, 1.0, 41)]
    assert (np.diff(tones[:21]) > 0).all()
    assert (np.diff(tones[20:]) < 0).all()


def test_half_of_two_colours_lies_between_them():
    assert palette.mixed((0, 100, 10), (100, 0, 20), 0.5) == (50, 50, 15)
