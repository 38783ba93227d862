"""What prints and strokes show, on prints and strokes small enough to reckon by hand."""

import numpy as np
import pytest
from scipy.ndimage import distance_transform_edt

from sim.school.evidence import (
    _depth,
    _quantiles,
    _within,
    abrupt_ends,
    direction_deg,
    gone_over,
    off_blue,
    read,
    side_share,
    taken,
    turned_deg,
)
from sim.school.seen import RoundSeen, Scraped

PITCH = 0.25


def seen(strokes=(), blue=(), bare=()):
    """A round on 40 x 40 mm: boxes of blue (x0, y0, x1, y1 mm), boxes in them bare again, and strokes in mm and N."""
    dark = np.zeros((160, 160), np.uint8)
    for boxes, value in ((blue, 220), (bare, 0)):
        for x0, y0, x1, y1 in boxes:
            dark[round(y0 / PITCH) : round(y1 / PITCH), round(x0 / PITCH) : round(x1 / PITCH)] = value
    table = np.array(strokes, float).reshape(-1, 5)
    return RoundSeen(1, "face", 3.0, "brayer", False, method="plate", way_mm=10.0, hands=(), x_mm=0.0, y_mm=0.0,
                     turn_deg=0.0, upright=False, dark=dark, marked=dark > 127, iron=np.ones(dark.shape, bool),
                     fresh=dark > 127, pitch_mm=PITCH, unwiped=0, clock_s=0.0,
                     scraped=(Scraped("fine", table, 1.0, 1.0, 1.0),) if len(table) else ())


def line(x0, y0, x1, y1):
    return (x0, y0, x1, y1, 70.0)


def test_a_mark_with_a_bare_middle_is_hard_and_one_at_the_rim_reaches_the_edge():
    one = seen(blue=[(10, 10, 14, 14), (20, 10, 24, 14), (30, 38, 33, 40)], bare=[(11.5, 11.5, 12.5, 12.5)])
    marks = read(one)
    assert marks.hard.tolist() == [True, False, False]
    assert marks.pale.tolist() == [True, False, False]
    assert marks.edge.tolist() == [False, False, True]
    assert marks.area_mm2 == pytest.approx([16.0, 16.0, 6.0])
    assert marks.places(marks.hard) == ((12.0, 12.0),)


def test_a_middle_paler_than_its_rim_is_pale_though_it_is_not_bare():
    one = seen(blue=[(10, 10, 14, 14), (20, 10, 24, 14)])
    one.dark[44:52, 44:52] = 160
    marks = read(one)
    assert marks.pale.tolist() == [True, False]
    assert not marks.hard.any()


def test_a_mark_is_taken_when_strokes_go_over_a_fifth_of_it():
    blue = [(10, 10, 14, 14), (20, 10, 24, 14)]
    assert taken(seen([line(9, 12, 15, 12)], blue)).tolist() == [True, False]
    assert taken(seen([line(9, 9.4, 15, 9.4)], blue)).tolist() == [False, False]
    assert taken(seen([], blue)).tolist() == [False, False]


def test_a_stroke_that_stops_within_a_mark_ends_abruptly_unless_another_goes_on():
    blue = [(10, 10, 20, 14)]
    assert abrupt_ends(seen([line(8, 12, 22, 12)], blue)).tolist() == [False]
    assert abrupt_ends(seen([line(8, 12, 15, 12)], blue)).tolist() == [True]
    assert abrupt_ends(seen([line(8, 12, 15, 12), line(14, 12, 22, 12)], blue)).tolist() == [False, False]
    assert abrupt_ends(seen([line(8, 12, 20, 12)], blue)).tolist() == [False]


def test_a_stroke_on_the_line_of_an_earlier_one_goes_over_it_again():
    share = gone_over(seen([line(10, 10, 18, 10), line(10, 10.2, 18, 10.2), line(14, 10, 22, 10), line(10, 12, 18, 12),
                            line(14, 6, 14, 14)]))
    assert share == pytest.approx([0.0, 1.0, 0.5, 0.0, 0.0])


def test_a_stroke_whose_middle_passes_no_blue_is_off_the_blue():
    blue = [(10, 10, 14, 14)]
    off = off_blue(seen([line(9, 12, 15, 12), line(9, 20, 15, 20), line(9, 14.3, 15, 14.3), line(13.5, 12, 25, 12)],
                        blue))
    assert off.tolist() == [False, True, False, True]


def test_directions_have_no_sense_and_are_turned_by_at_most_a_right_angle():
    there, back = np.array([line(0, 0, 7, 7)]), np.array([line(7, 7, 0, 0)])
    across = np.array([line(0, 7, 7, 0)])
    assert direction_deg(there) == pytest.approx((45.0, 1.0))
    assert turned_deg(there, back) == pytest.approx(0.0, abs=1e-9)
    assert turned_deg(there, across) == pytest.approx(90.0)
    assert turned_deg(np.array([line(0, 0, 7, 0)]), np.array([line(0, 0, -7, 1)])) == pytest.approx(8.13, abs=0.01)
    assert turned_deg(np.vstack([there, across]), there) == 90.0


def test_a_print_on_one_half_is_one_sided_and_one_all_over_is_not():
    share, middle = side_share(seen(blue=[(2, 2, 10, 38)]))
    assert share == 1.0
    assert middle == pytest.approx((6.0, 20.0), abs=0.06)
    assert side_share(seen(blue=[(2, 2, 38, 38)]))[0] == pytest.approx(0.5, abs=0.02)
    assert side_share(seen())[0] == 0.0


@pytest.mark.parametrize("share", [0.5, 0.75])
def test_the_quick_quantile_is_that_of_numpy_to_the_last_bit(share):
    rng = np.random.default_rng(3)
    marks = [rng.integers(0, 256, count, dtype=np.uint8) for count in (1, 2, 3, 7, 50, 1000)]
    counts = np.array([np.bincount(dark, minlength=256) for dark in marks])
    assert _quantiles(counts, share).tolist() == [np.quantile(dark, share) for dark in marks]


@pytest.mark.parametrize("pitch_mm", [0.25, 0.2, 0.07, 1.0])
@pytest.mark.parametrize("reach_mm", [0.5, 0.8])
def test_what_lies_within_a_distance_and_how_deep_are_what_the_exact_distances_say(pitch_mm, reach_mm):
    mask = np.random.default_rng(4).random((50, 37)) < 0.01
    assert np.array_equal(_within(mask, reach_mm, pitch_mm), distance_transform_edt(~mask) * pitch_mm <= reach_mm)
    assert np.array_equal(_depth(~mask), distance_transform_edt(np.pad(~mask, 1))[1:-1, 1:-1])
