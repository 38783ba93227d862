"""The picture of a face: what it shows, what it must not tell, and what it costs."""

import timeit

import numpy as np
import pytest
from scipy.ndimage import binary_erosion, gaussian_filter

from sim.bench.iron import KNOTS_UM, SEEN_UM, SLOPE_UM_PER_MM, STYLES, IronPicture, film_picture, iron_picture
from sim.bench.palette import CHALK, INK, MARKS, WELL
from sim.errors import BadParam
from sim.model.face import face_from_heights
from sim.model.plate import PlateMake
from sim.model.start import Start
from sim.process.machining import machine_face, make_plate

SLOT = ((80.0, 55.0, 60.0, 12.0), (30.0, 30.0, 9.0, 9.0))
STARTS = [
    (1, Start()),
    (2, Start(kind="planed", bow_x_um=60.0, bow_y_um=-30.0)),
    (3, Start(kind="fly-cut", twist_um=120.0, wedge_x_um=200.0)),
    (4, Start(kind="casting", cutouts=SLOT)),
    (5, Start(kind="surface-ground", wedge_y_um=-150.0, rail_um=40.0)),
    (6, Start(kind="cup-ground", length_mm=60.0, width_mm=40.0, pitch_mm=0.125, bow_x_um=-25.0)),
]


def machined(seed, start):
    return machine_face(start, np.random.default_rng(seed))


def luma(picture):
    """Lightness of a picture in the order of the face: row 0 at the bottom."""
    return (picture[::-1].astype(float) @ [0.2126, 0.7152, 0.0722]) / 255.0


def even(blue_um, cells=(80, 120)):
    """A flat face under an even film."""
    face = face_from_heights(np.zeros(cells))
    face.blue_um[:] = blue_um
    return face


def dabbed(size=(200, 300), seed=7):
    """A rough face with old blue, thick marks, burrs and a hole."""
    rng = np.random.default_rng(seed)
    iron = np.ones(size, bool)
    iron[60:80, 100:140] = False
    scored = binary_erosion(iron, iterations=2)
    face = face_from_heights(3.0 * gaussian_filter(rng.standard_normal(size), 3.0) * 6.0, iron, scored)
    face.blue_um[:] = np.maximum(gaussian_filter(rng.standard_normal(size), 3.0) * 20.0 - 0.8, 0.0)
    face.burr_um[rng.random(size) > 0.97] = 1.0
    return face


# ---------------------------------------------------------------- nothing leaks


@pytest.mark.parametrize("seed, start", STARTS, ids=[start.kind for _, start in STARTS])
@pytest.mark.parametrize("lamp_deg", [135.0, 20.0, 270.0])
def test_the_picture_of_an_uninked_face_does_not_tell_its_form(seed, start, lamp_deg):
    face = machined(seed, start)
    inside = binary_erosion(face.scored, iterations=round(3.0 / face.pitch_mm), border_value=0)
    sigma = 20.0 * 0.1874 / face.pitch_mm  # a Gauss that halves a wave of 20 mm (ISO 16610-21)
    weight = gaussian_filter(face.scored.astype(float), sigma)
    form = gaussian_filter(np.where(face.scored, face.height_um, 0.0), sigma) / np.maximum(weight, 1e-9)
    drawn = luma(iron_picture(face, lamp_deg=lamp_deg))
    assert drawn[inside].std() > 0.004  # it is a picture of iron, not a grey sheet
    assert abs(np.corrcoef(drawn[inside], form[inside])[0, 1]) <= 0.05


@pytest.mark.parametrize("wave, least, most", [(2.0, 0.8, 1.1), (10.0, 0.0, 0.2), (20.0, 0.0, 0.03)])
def test_only_waves_shorter_than_10_mm_shade_the_iron(wave, least, most):
    x = (np.arange(640) + 0.5) * 0.25
    face = face_from_heights(np.tile(0.5 * wave / (2.0 * np.pi) * np.sin(2.0 * np.pi * x / wave), (200, 1)))
    picture = IronPicture(face, lamp_deg=180.0)
    short = face.height_um.astype(np.float32) - picture._means(slice(0, 200), slice(0, 640))
    light = picture._light(short, face.burr_um)[100, 80:-80]
    swing = 2.0 * abs(np.mean(light * np.exp(2j * np.pi * x[80:-80] / wave)))  # over whole waves
    assert least <= swing / (0.5 / SLOPE_UM_PER_MM) <= most


def test_a_wedge_and_a_lift_leave_the_picture_as_it_is_away_from_the_edge():
    face = machined(1, Start(length_mm=60.0, width_mm=40.0))
    leaning = face.copy()
    leaning.height_um += np.where(face.iron, 0.5 * np.arange(face.shape[1]) * face.pitch_mm - 200.0, 0.0)
    apart = np.abs(iron_picture(face).astype(int) - iron_picture(leaning))[40:-40, 40:-40]
    assert apart.max() <= 3  # one step of light where rounding fell the other way


# ---------------------------------------------------------------- what is seen


def test_an_even_film_has_the_colour_of_its_thickness():
    for name in ("iron", "halo", "medium", "ring"):
        drawn = iron_picture(even(KNOTS_UM[name]), style="plain").reshape(-1, 3).mean(axis=0)
        assert drawn == pytest.approx(MARKS[name], abs=5.0)  # grain and glint round the colour


def test_more_blue_is_never_lighter():
    drawn = [luma(iron_picture(even(um), style="plain")).mean() for um in np.linspace(0.0, 2.0, 21)]
    assert (np.diff(drawn) <= 1e-6).all()
    assert drawn[0] - drawn[-1] > 0.4


def test_iron_rubbed_bare_inside_a_ring_is_paler_than_bare_iron():
    face = even(0.0)
    y, x = np.ogrid[:80, :120]
    away = np.hypot(y - 40, x - 60)
    face.blue_um[(away <= 6.0) & (away > 3.0)] = 2.0
    drawn = iron_picture(face, style="plain")[::-1]
    middle, plain = drawn[39:42, 59:62].mean(axis=(0, 1)), drawn[:20, :20].mean(axis=(0, 1))
    assert (middle - plain > 15.0).all()
    face.height_um[away <= 3.0] = -4.0  # a dip in a smear was not rubbed
    assert luma(iron_picture(face, style="plain"))[40, 60] < luma(np.full((1, 1, 3), MARKS["iron"], np.uint8))[0, 0]


def test_a_facet_is_light_towards_the_lamp_and_dark_away_from_it_wherever_the_lamp_stands():
    x = np.arange(120) * 0.25 - 15.0
    face = face_from_heights(np.tile(np.maximum(4.0 * (1.0 - (x / 1.5) ** 2), 0.0), (80, 1)))
    left, right = slice(55, 59), slice(62, 66)
    for lamp_deg, light, dark in ((180.0, left, right), (0.0, right, left)):
        drawn = luma(iron_picture(face, lamp_deg=lamp_deg))
        assert drawn[:, light].mean() > drawn[:, dark].mean() + 0.05


def test_a_burr_is_a_bright_line():
    face = even(0.0)
    face.burr_um[30, 20:100] = 1.0
    drawn = luma(iron_picture(face))
    assert drawn[30, 20:100].mean() > drawn[20:28].mean() + 0.05


def test_row_0_of_the_face_is_at_the_bottom_of_the_picture():
    face = even(0.0)
    face.blue_um[:10] = 3.0
    drawn = iron_picture(face, style="plain")
    assert drawn[-5].mean() < drawn[5].mean() - 40


def test_holes_have_the_colour_of_the_well():
    face = machined(4, Start(cutouts=SLOT, length_mm=160.0))
    drawn = iron_picture(face)[::-1]
    assert (drawn[~face.iron] == WELL).all()
    assert not (drawn[face.iron] == WELL).all(axis=-1).any()


def test_outlines_run_dark_inside_and_light_outside_a_mark():
    face = even(0.0)
    face.blue_um[30:50, 40:70] = 2.0
    drawn = iron_picture(face, style="outlines")[::-1]
    assert (drawn[30, 41:69] == INK).all()
    assert (drawn[29, 41:69] == CHALK).all()
    assert (drawn[30:50, 70] == CHALK).all()
    assert not (drawn == INK).all(axis=-1)[32:48, 42:68].any()
    unmarked = iron_picture(even(SEEN_UM * 0.9), style="outlines")
    assert (unmarked == iron_picture(even(SEEN_UM * 0.9), style="plain")).all()


def test_hatching_tells_thick_from_medium_and_leaves_a_halo_alone():
    plain = {name: iron_picture(even(KNOTS_UM[name]), style="plain") for name in ("halo", "medium", "ring")}
    hatched = {name: iron_picture(even(KNOTS_UM[name]), style="hatching") for name in plain}
    share = {name: (hatched[name] != plain[name]).any(axis=-1).mean() for name in plain}
    assert share["halo"] == 0.0
    assert share["medium"] == pytest.approx(1.0 / 16.0, abs=0.01)
    assert share["ring"] == pytest.approx(1.0 / 3.0, abs=0.01)


def test_an_unknown_style_is_refused():
    with pytest.raises(BadParam, match="outlines, hatching, plain, got 'fancy'"):
        iron_picture(even(0.0), style="fancy")
    picture = IronPicture(even(0.0))
    with pytest.raises(BadParam):
        picture.dress("fancy", even(0.0))
    assert picture.style == "outlines"


# ---------------------------------------------------------------- a part of it


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("cells", [(101, 57, 17, 63), (0, 0, 9, 9), (190, 281, 10, 19), (70, 90, 1, 1)])
def test_drawing_where_a_stroke_fell_gives_the_picture_of_the_whole_bit_for_bit(style, cells):
    face = dabbed()
    picture = IronPicture(face, style=style)
    before = picture.rgbx.copy()
    row, col, rows, cols = cells
    under = slice(row, row + rows), slice(col, col + cols)
    face.height_um[under] -= np.where(face.iron[under], 6.0, 0.0)
    face.burr_um[under] += 1.5
    face.blue_um[under] = 0.0
    left, top, width, height = picture.redraw(face, cells)
    whole = IronPicture(face, style=style)
    assert (picture.rgbx == whole.rgbx).all()
    changed = (whole.rgbx != before).any(axis=-1)
    assert changed.any()
    changed[top:top + height, left:left + width] = False
    assert not changed.any()


def test_a_moved_lamp_and_another_style_are_those_of_a_new_picture():
    face = dabbed()
    picture = IronPicture(face, lamp_deg=10.0, style="plain")
    picture.light(200.0, face)
    picture.dress("hatching", face)
    assert (picture.pixels == iron_picture(face, lamp_deg=200.0, style="hatching")).all()


def test_drawing_changes_nothing_on_the_face():
    face = dabbed()
    kept = face.copy()
    for array in (face.height_um, face.burr_um, face.blue_um, face.iron, face.scored):
        array.flags.writeable = False
    iron_picture(face)
    assert (face.height_um == kept.height_um).all()
    assert (face.blue_um == kept.blue_um).all()


# ---------------------------------------------------------------- the plate


def test_bare_patches_show_in_the_film_on_the_plate():
    plate = make_plate(PlateMake(), 0.25, np.random.default_rng(1))
    plate.film_um[:] = 4.0
    plate.film_um[100:140, 200:260] = 0.0
    drawn = film_picture(plate)[::-1].astype(int)
    assert drawn.shape == (*plate.film_um.shape, 3)
    bare, film = drawn[100:140, 200:260].mean(axis=(0, 1)), drawn[300:400, 300:400].mean(axis=(0, 1))
    assert bare[0] - film[0] > 60
    assert np.ptp(bare) < 12
    assert film[2] > film[0] + 30


def test_a_mirrored_plate_has_far_and_near_exchanged():
    plate = make_plate(PlateMake(), 0.25, np.random.default_rng(1))
    plate.film_um[:] = 4.0
    plate.film_um[:50, :] = 0.0
    straight, mirrored = film_picture(plate), film_picture(plate, mirrored=True)
    assert straight[-20, :, 0].mean() > straight[20, :, 0].mean() + 40
    assert mirrored[20, :, 0].mean() > mirrored[-20, :, 0].mean() + 40
    assert (mirrored == straight[::-1]).all()


# ---------------------------------------------------------------- speed


def dear_twin(face):
    """The same picture the plain way: float64, whole arrays, no look-up."""
    height = gaussian_filter(np.where(face.scored, face.height_um, 0.0), 6.0)
    dy, dx = np.gradient(face.height_um - height)
    tone = np.tanh((dx - dy) * 0.5)
    share = -np.expm1(-face.blue_um / 0.35)[:, :, None]
    colour = np.array(MARKS["iron"]) * (1.0 - share) + np.array(MARKS["ring"]) * share
    return np.clip(colour * (1.0 + 0.4 * tone[:, :, None]), 0.0, 255.0).astype(np.uint8)


def spent_ms(act, number=30):
    return np.array(timeit.repeat(act, number=1, repeat=number)) * 1e3


def test_a_whole_picture_is_drawn_faster_than_the_plain_way_and_a_stroke_much_faster():
    face = dabbed((440, 640))
    picture = IronPicture(face)
    whole = np.median(spent_ms(lambda: picture.redraw(face)))
    part = np.median(spent_ms(lambda: picture.redraw(face, (190, 220, 60, 200))))
    plain = np.median(spent_ms(lambda: dear_twin(face), 5))
    print(f"whole {whole:.2f} ms, 200 x 60 {part:.2f} ms, plain way {plain:.1f} ms")
    assert whole < plain / 2.0  # measured 5 to 8 times faster
    assert part < whole / 2.0


@pytest.mark.parametrize("cells, limit_ms", [(None, 8.0), ((190, 220, 60, 200), 1.0)], ids=["whole", "stroke"])
def test_drawing_keeps_its_time(benchmark, cells, limit_ms):
    face = dabbed((440, 640))
    picture = IronPicture(face)
    benchmark.pedantic(lambda: picture.redraw(face, cells), rounds=60, warmup_rounds=5)
    if benchmark.enabled:
        values = np.random.default_rng(0).random(282_000)
        slow = max(1.0, min(timeit.repeat(values.max, number=20, repeat=15)) / 20.0 * 1e3 / 0.03)
        assert np.median(benchmark.stats.stats.data) * 1e3 <= limit_ms * slow
