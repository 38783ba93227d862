"""Gestures: the same stroke whatever screen and events did, rows at the set spacing, orders only where was called."""

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from sim.bench.gestures import (
    MOST_GHOSTS,
    Drag,
    Manner,
    Place,
    Row,
    is_inside,
    order_strokes,
    ring,
    rounded_mm,
    seconds_of,
)
from sim.errors import BadParam
from sim.shop.commands import strokes_as_data

GRID_MM = 0.01
OFF_GRID_MM = 0.0072  # both ends are rounded by half a step each way
thousandths = st.integers(-5_000, 300_000)  # of a mm: halves of the grid are among them
spots = st.tuples(thousandths, thousandths).map(lambda p: (p[0] / 1000.0, p[1] / 1000.0))
manners = st.builds(Manner, st.floats(4.0, 20.0), st.floats(-180.0, 180.0), st.floats(1.0, 4.0), st.floats(0.0, 2.0))
place = st.floats(0.0, 60.0)
places = st.builds(Place, place, place, st.none() | st.floats(0.5, 4.0))


def drawn(begin, end, between=(), manner=None):
    drag = Drag(begin)
    for at in between:
        drag.move(*at)
    return drag.release(*end, manner or Manner())


def middle(line):
    return 0.5 * (line[0] + line[2]), 0.5 * (line[1] + line[3])


def length(line):
    return math.hypot(line[2] - line[0], line[3] - line[1])


def seen_through(spot, zoom, left_px):
    """A place as it comes back from a screen at this zoom."""
    return tuple((left_px + c * zoom - left_px) / zoom for c in spot)


@given(spots, spots, st.lists(spots, max_size=30))
def test_a_stroke_is_the_same_whatever_events_lay_between(begin, end, between):
    thousand = [tuple(b + (e - b) * k / 1000 for b, e in zip(begin, end, strict=True)) for k in range(1000)]
    assert drawn(begin, end) == drawn(begin, end, between) == drawn(begin, end, thousand)


@given(spots, spots, st.floats(-500.0, 500.0))
def test_a_stroke_is_the_same_at_every_zoom(begin, end, left_px):
    lines = [drawn(seen_through(begin, z, left_px), seen_through(end, z, left_px)) for z in (0.5, 1.0, 3.7, 4.0)]
    assert len(set(lines)) == 1
    assert len({strokes_as_data(np.array([[*line, 95.0]])) for line in lines}) == 1


@given(spots, st.lists(spots, max_size=5), spots)
def test_a_cancelled_drag_is_nothing(begin, between, end):
    drag = Drag(begin)
    for at in between:
        drag.move(*at)
    drag.cancel()
    assert drag.line(Manner()) is None
    assert drag.release(*end, Manner()) is None


def test_a_drag_cuts_once():
    drag = Drag((1.0, 1.0))
    assert drag.release(9.0, 1.0, Manner()) == (1.0, 1.0, 9.0, 1.0)
    assert drag.release(9.0, 5.0, Manner()) is None


@given(spots, spots)
def test_the_preview_is_what_a_release_here_would_cut(begin, end):
    drag = Drag(begin)
    drag.move(*end)
    shown = drag.line(Manner())
    assert shown == drag.release(*end, Manner())


@given(spots, manners)
def test_a_click_is_one_stroke_of_set_length_and_direction_centred_on_it(spot, manner):
    drag = Drag(spot)
    line = drag.release(spot[0] + 0.3, spot[1] - 0.3, manner)
    assert drag.is_click
    assert math.dist(middle(line), spot) <= 2 * OFF_GRID_MM
    assert length(line) == pytest.approx(manner.length_mm, abs=2 * OFF_GRID_MM)
    turn = math.degrees(math.atan2(line[3] - line[1], line[2] - line[0])) - manner.angle_deg
    assert abs(math.remainder(turn, 360.0)) <= math.degrees(2 * OFF_GRID_MM / manner.length_mm) * 1.1


@pytest.mark.parametrize("moved_mm, is_click", [(0.0, True), (0.49, True), (0.5, False), (3.0, False)])
def test_half_a_millimetre_makes_a_drag(moved_mm, is_click):
    drag = Drag((20.0, 20.0))
    line = drag.release(20.0 + moved_mm, 20.0, Manner(length_mm=9.0))
    assert drag.is_click == is_click
    assert length(line) == pytest.approx(9.0 if is_click else moved_mm, abs=2 * OFF_GRID_MM)


def test_halves_of_the_grid_go_upwards_on_both_sides_of_zero():
    assert rounded_mm([0.005, 0.015, 1.005, -0.005, -0.015]).tolist() == [0.01, 0.02, 1.01, 0.0, -0.01]


@given(spots, st.floats(2.0, 15.0), st.floats(0.0, 360.0), st.floats(0.5, 4.0), st.floats(-300.0, 300.0))
def test_ghosts_lie_parallel_at_the_set_spacing_on_the_side_of_the_pointer(spot, long_mm, turn, spacing_mm, aside_mm):
    first = Manner(long_mm, turn).centred(*spot)
    across = np.array([-(first[3] - first[1]), first[2] - first[0]]) / length(first)
    row = Row(first, spacing_mm)
    row.aside(*(np.array(middle(first)) + aside_mm * across))
    ghosts = row.ghosts()
    assert ghosts[0] == first
    assert len(ghosts) == min(1 + int(abs(aside_mm) / spacing_mm + 1e-6), MOST_GHOSTS)
    for k, ghost in enumerate(ghosts):
        shift = np.array(ghost[:2]) - first[:2]
        assert shift @ across == pytest.approx(math.copysign(k * spacing_mm, aside_mm), abs=GRID_MM)
        assert np.allclose(np.array(ghost[2:]) - first[2:], shift, atol=GRID_MM + 1e-9)


def test_a_dropped_ghost_stays_out_when_the_pointer_moves_on():
    row = Row((0.0, 0.0, 9.0, 0.0), 2.0)
    row.aside(0.0, 6.0)
    row.drop(row.ghost_at(4.0, 2.1, 0.5))
    assert [g[1] for g in row.ghosts()] == [0.0, 4.0, 6.0]
    row.aside(0.0, 9.0)
    row.drop(1)
    assert [g[1] for g in row.ghosts()] == [0.0, 6.0, 8.0]
    row.aside(0.0, -4.0)
    assert [g[1] for g in row.ghosts()] == [0.0, -2.0, -4.0]
    assert row.ghost_at(4.0, -3.0, 0.5) is None


@given(manners)
def test_nothing_is_ordered_where_nothing_was_called_or_chalked(manner):
    assert order_strokes([], [], manner) == []
    assert order_strokes([], [((1.0, 1.0), (5.0, 5.0)), ((2.0, 2.0),), ()], manner) == []


@given(st.lists(places, min_size=1, max_size=40), manners, st.integers(1, 4))
def test_every_call_gets_its_strokes_within_its_radius_of_the_click(calls, manner, each):
    manner = Manner(manner.length_mm, manner.angle_deg, manner.spacing_mm, each=each)
    lines = order_strokes(calls, [], manner)
    assert len(lines) == each * len(calls)
    for call in calls:
        near = [ln for ln in lines if math.dist(middle(ln), call[:2]) <= (call.radius_mm or 0.0) + OFF_GRID_MM]
        assert len(near) >= each
    assert all(length(ln) == pytest.approx(manner.length_mm, abs=2 * OFF_GRID_MM) for ln in lines)


outlines = st.lists(st.tuples(place, place), min_size=3, max_size=9)


@settings(deadline=None, max_examples=50)  # up to thousands of strokes
@given(st.lists(outlines, min_size=1, max_size=3), manners)
def test_the_middle_of_every_stroke_ordered_by_chalk_lies_in_chalk(chalk, manner):
    for line in order_strokes([], chalk, manner):
        near = [(middle(line)[0] + dx, middle(line)[1] + dy) for dx in (0, -GRID_MM, GRID_MM)
                for dy in (0, -GRID_MM, GRID_MM)]  # fmt: skip
        assert any(is_inside(at, outline) for outline in chalk for at in near) or _by_an_edge(middle(line), chalk)
        assert length(line) == pytest.approx(manner.length_mm, abs=2 * OFF_GRID_MM)


def _by_an_edge(at, chalk):
    """Within the rounding of an edge: a sliver thinner than the grid has no inside that the grid could hit."""
    for outline in chalk:
        for (x0, y0), (x1, y1) in zip(outline, [*outline[1:], outline[0]], strict=True):
            square = max((x1 - x0) ** 2 + (y1 - y0) ** 2, 1e-12)
            t = min(max(((at[0] - x0) * (x1 - x0) + (at[1] - y0) * (y1 - y0)) / square, 0.0), 1.0)
            if math.dist(at, (x0 + t * (x1 - x0), y0 + t * (y1 - y0))) <= 2 * OFF_GRID_MM:
                return True
    return False


@given(manners.filter(lambda m: m.length_mm >= 4 * m.beyond_mm), st.floats(0.0, 20.0))
def test_lanes_fill_the_chalk_and_run_out_of_it(manner, at_mm):
    """Every place in a disc lies within half a spacing of a stroke; lanes are at the set spacing, run-out as set."""
    disc = ring(at_mm, at_mm, 15.0)
    ux, uy = manner.along
    lines = np.array(order_strokes([], [disc], manner))
    begin, end = lines[:, :2] @ (ux, uy), lines[:, 2:] @ (ux, uy)
    lane = 0.5 * (lines[:, :2] + lines[:, 2:]) @ (-uy, ux)
    levels = np.sort(lane)
    levels = levels[np.concatenate([[True], np.diff(levels) > 0.1])]
    assert np.allclose(np.diff(levels), manner.spacing_mm, atol=2 * GRID_MM)
    turns, r = np.linspace(0, 6.28, 60)[:, None], np.linspace(0.0, 14.7, 12)
    x, y = (at_mm + r * np.cos(turns)).ravel(), (at_mm + r * np.sin(turns)).ravel()
    v = y * ux - x * uy
    near = np.abs(v[:, None] - levels) <= 0.5 * manner.spacing_mm + 2 * GRID_MM
    assert near.any(axis=1).all()
    for w in levels:
        same = np.abs(lane - w) < 0.05
        half = math.sqrt(max(14.9**2 - (w - (at_mm * ux - at_mm * uy)) ** 2, 0.0))
        centre = at_mm * ux + at_mm * uy
        if half > 0.0:
            assert begin[same].min() <= centre - half - manner.beyond_mm + 2 * GRID_MM
            assert end[same].max() >= centre + half + manner.beyond_mm - 2 * GRID_MM
        gaps = np.sort(begin[same])[1:] - np.sort(end[same])[:-1]
        assert (gaps <= 2 * GRID_MM).all()


def test_chalk_over_chalk_is_filled_once():
    box = ((10.0, 10.0), (40.0, 10.0), (40.0, 30.0), (10.0, 30.0))
    manner = Manner(angle_deg=0.0)
    assert order_strokes([], [box, box], manner) == order_strokes([], [box], manner)
    assert len(order_strokes([], [box], manner)) == 10 * 5


@given(st.lists(places, min_size=2, max_size=30, unique=True), st.randoms(use_true_random=False), manners)
def test_the_order_does_not_depend_on_which_mark_was_called_first(calls, random, manner):
    lines = order_strokes(calls, [], manner)
    assume(len({middle(ln) for ln in lines}) == len(lines))
    random.shuffle(calls)
    assert order_strokes(calls, [], manner) == lines


def test_the_hand_walks_along_instead_of_jumping_about():
    """On 200 marks strewn over 100 x 60 mm: within 1.6 of the way that a perfect walk would take at least."""
    rng = np.random.default_rng(4)
    calls = [Place(x, y) for x, y in rng.random((200, 2)) * (100.0, 60.0)]
    middles = np.array([middle(ln) for ln in order_strokes(calls, [], Manner())])
    way = np.hypot(*np.diff(middles, axis=0).T).sum()
    shortest = 0.7124 * math.sqrt(200 * 100.0 * 60.0)  # Beardwood, Halton, Hammersley; constant of Johnson and McGeoch
    assert way <= 1.6 * shortest


def test_a_round_of_a_coupon_by_hand_is_added_up():
    assert 12 * seconds_of("drag") + 20 * seconds_of("click") == pytest.approx(34.8)
    with pytest.raises(BadParam):
        seconds_of("glance")


@pytest.mark.parametrize("wrong", [{"length_mm": 0.4}, {"spacing_mm": 0.0}, {"beyond_mm": -1.0}, {"each": 0},
                                   {"spacing_mm": math.nan}])  # fmt: skip
def test_a_manner_that_cannot_be_is_refused(wrong):
    with pytest.raises(BadParam):
        Manner(**wrong)
