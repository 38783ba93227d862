"""Millimetres to pixels and back."""

import pytest

from sim.bench.viewport import MOST_PX_PER_MM, whole_face

PANE = (112, 44, 868, 600)
FACE = (160.0, 110.0)
HOME = whole_face(PANE, FACE)
CORNERS = [(0.0, 0.0), (160.0, 0.0), (0.0, 110.0), (160.0, 110.0), (33.37, 71.93)]


@pytest.mark.parametrize("zoom", [0.5, 1.0, 4.0])
def test_a_place_on_the_face_comes_back_from_the_screen(zoom):
    view = HOME.zoomed(zoom, (300.0, 200.0)).moved(13.0, -7.0)
    for place in CORNERS:
        assert view.to_mm(*view.to_px(*place)) == pytest.approx(place, abs=1e-10)  # a few roundings of numbers < 1e4
    for pixel in ((112, 44), (546, 344), (979, 643)):
        assert tuple(round(v) for v in view.to_px(*view.to_mm(*pixel))) == pixel


def test_the_whole_face_keeps_a_margin_all_round_and_touches_it_on_one_side():
    left, top, width, height = HOME.face_rect_px()
    margins = [left - 112, top - 44, 112 + 868 - left - width, 44 + 600 - top - height]
    assert min(margins) == pytest.approx(24.0)
    assert HOME.px_per_mm == pytest.approx(min(820.0 / 160.0, 552.0 / 110.0))
    assert margins[0] == pytest.approx(margins[2])
    assert margins[1] == pytest.approx(margins[3])


def test_a_tall_face_is_fitted_by_its_width_across_the_pane_too():
    _, _, width, height = whole_face(PANE, (40.0, 300.0)).face_rect_px()
    assert height == pytest.approx(600 - 48)
    assert width == pytest.approx(height * 40.0 / 300.0)


def test_up_on_the_face_is_up_on_the_screen():
    low, high = HOME.to_px(20.0, 10.0), HOME.to_px(20.0, 90.0)
    assert high[1] < low[1]
    assert high[0] == low[0]
    assert HOME.to_px(90.0, 10.0)[0] > low[0]


@pytest.mark.parametrize("factor", [0.5, 1.25, 4.0])
def test_zooming_leaves_what_is_under_the_pointer_where_it_is(factor):
    at = (700.0, 130.0)
    near = HOME.zoomed(factor, at)
    assert near.px_per_mm == pytest.approx(HOME.px_per_mm * factor)
    assert near.to_mm(*at) == pytest.approx(HOME.to_mm(*at), abs=1e-10)


def test_zooming_stops_at_its_limit_and_still_holds_the_pointer():
    at = (700.0, 130.0)
    nearest = HOME.zoomed(1e6, at)
    assert nearest.px_per_mm == MOST_PX_PER_MM
    assert nearest.to_mm(*at) == pytest.approx(HOME.to_mm(*at), abs=1e-10)


def test_a_moved_face_follows_the_hand_but_never_leaves_the_pane():
    assert HOME.moved(30.0, -12.0).to_px(50.0, 50.0) == pytest.approx(
        (HOME.to_px(50.0, 50.0)[0] + 30.0, HOME.to_px(50.0, 50.0)[1] - 12.0))
    assert HOME.moved(1e5, 1e5).middle_mm == (0.0, 110.0)


def test_a_pane_knows_what_lies_in_it():
    assert HOME.covers(112, 44)
    assert not HOME.covers(112 + 868, 44)
    assert not HOME.covers(200, 43)


def test_another_pane_shows_the_same_place_in_its_middle():
    other = HOME.within(0, 40, 560, 600)
    assert other.to_mm(*other.middle_px) == pytest.approx(HOME.middle_mm)
    assert other.px_per_mm == HOME.px_per_mm
