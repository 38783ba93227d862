"""The hinge test against closed forms, a slow convex twin and the physics of a push."""

import math

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from sim.errors import BadParam
from sim.seat.hinge import even_pivot, hinge, pivot, pivot_reading

BAR = 1.0 - 1.0 / math.sqrt(2.0)


def bar_share(*parts, n=4000):
    """Pivot of a narrow bar of length 1 that bears evenly over these stretches, pushed at 1."""
    x = np.concatenate([low + (np.arange(n) + 0.5) * (high - low) / n for low, high in parts])
    return pivot(x, np.zeros_like(x), np.ones_like(x), push_at=(1.0, 0.0), push_dir=(0.0, 1.0), length_mm=1.0).share


def foot(width=160.0, depth=110.0, pitch=0.5):
    return np.ones((round(depth / pitch), round(width / pitch)), bool)


def cells_of(mask, pitch=0.5):
    rows, columns = np.nonzero(mask)
    return (columns + 0.5) * pitch, (rows + 0.5) * pitch, np.ones(len(rows))


def least_work_twin(x, y, load):
    """Nested line searches over turn and slip for a push at (160, 55) along y; work per unit of travel."""
    b, a = (160.0 - x) / 160.0, (y - 55.0) / 160.0

    def at_turn(turn):
        def work(slip):
            return float((load * np.hypot(1.0 - turn * b, slip + turn * a)).sum())
        return minimize_scalar(work, bounds=(-4.0, 4.0), method="bounded", options={"xatol": 1e-10}).fun

    return min(minimize_scalar(at_turn, bounds=(0.0, top), method="bounded", options={"xatol": 1e-9}).fun
               for top in (3.0, 30.0))


def test_an_even_bar_turns_at_its_closed_form():
    # closed form, 1 - sqrt(1 / 2): an even bar pushed at one end turns 0.292893 L from the far end (exact).
    # The pivot of n equal points stands on one of them: within half a step, 1 / (2 n), and the median's own half step.
    share = bar_share((0.0, 1.0), n=50_000)
    assert share == pytest.approx(BAR, abs=1.0 / 50_000)
    assert pytest.approx(0.292893, abs=1e-6) == BAR


# Bearing only in the middle fraction. Closed form: the friction moments of both sides of the
# pivot about the pushed end balance, c^2 = (low^2 + high^2) / 2, so c = sqrt(1 + f^2) / 2 from the push.
@pytest.mark.parametrize("fraction, printed", [(0.8, 0.36), (0.6, 0.42), (0.4, 0.46), (0.2, 0.49)])
def test_a_bar_that_bears_in_the_middle_turns_near_the_middle(fraction, printed):
    share = bar_share((0.5 - fraction / 2.0, 0.5 + fraction / 2.0))
    assert share == pytest.approx(1.0 - 0.5 * math.sqrt(1.0 + fraction**2), abs=1.0 / 4000)
    assert round(share, 2) == printed


# Bearing only over each end fraction. Closed form: c = sqrt(1 - e) from the push.
@pytest.mark.parametrize("fraction, printed", [(0.4, 0.225), (0.3, 0.16), (0.2, 0.11), (0.05, 0.025)])
def test_a_bar_that_bears_at_its_ends_turns_near_its_end(fraction, printed):
    share = bar_share((0.0, fraction), (1.0 - fraction, 1.0))
    assert share == pytest.approx(1.0 - math.sqrt(1.0 - fraction), abs=1.0 / 4000)
    assert round(share, len(str(printed)) - 2) == printed


# A 160 x 60 face turns at 0.267 L, a 160 x 110 face at 0.222 L.
@pytest.mark.parametrize("depth, printed", [(60.0, 0.267), (110.0, 0.222)])
def test_an_even_face_turns_nearer_to_its_end_the_wider_it_is(depth, printed):
    share = even_pivot(foot(160.0, depth), 0.5, (160.0, depth / 2.0), (0.0, 1.0), 160.0).share
    assert round(share, 3) == printed


def test_blocks_of_the_even_face_turn_where_its_cells_do():
    iron = foot(80.0, 50.0)
    iron[20:50, 90:130] = False
    x, y, load = cells_of(iron)
    cells = pivot(x, y, load, push_at=(80.0, 25.0), push_dir=(0.0, 1.0), length_mm=80.0)
    blocks = even_pivot(iron, 0.5, (80.0, 25.0), (0.0, 1.0), 80.0)
    assert blocks.share == pytest.approx(cells.share, abs=5e-4)  # the bound that HingeReading.block_mm names
    assert blocks.x_mm == pytest.approx(cells.x_mm, abs=0.04)


@pytest.mark.parametrize("kind", ["scattered", "lattice", "one line", "two rows", "two ends"])
def test_no_velocity_takes_less_work(kind):
    rng = np.random.default_rng(11)
    for n in (2, 3, 7, 25):
        x, y, load = rng.uniform(0.0, 160.0, n), rng.uniform(0.0, 110.0, n), rng.exponential(size=n) ** 2
        if kind == "lattice":
            x, y = np.round(x / 40.0) * 40.0, np.round(y / 55.0) * 55.0
        elif kind == "one line":
            y[:] = 55.0
        elif kind == "two rows":
            y = rng.choice([5.0, 105.0], n)
        elif kind == "two ends":
            x = rng.choice([5.0, 155.0], n)
        found = pivot(x, y, load, push_at=(160.0, 55.0), push_dir=(0.0, 1.0), length_mm=160.0)
        twin = least_work_twin(x, y, load)
        assert found.push_per_mu_n <= twin + 1e-9 * load.sum()
        # the work of turning about the reported point is what is reported
        turned = (load * np.hypot(x - found.x_mm, y - found.y_mm)).sum() / found.from_push_mm
        assert found.push_per_mu_n == pytest.approx(turned, rel=1e-9)


def test_a_part_turns_about_a_point_that_carries_nearly_all():
    rng = np.random.default_rng(3)
    x, y, load = rng.uniform(0.0, 160.0, 9), rng.uniform(0.0, 110.0, 9), np.full(9, 0.1)
    x[4], y[4], load[4] = 37.0, 81.0, 40.0
    found = pivot(x, y, load, push_at=(160.0, 55.0), push_dir=(0.0, 1.0), length_mm=160.0)
    assert found.x_mm == pytest.approx(37.0, abs=1e-12)
    assert found.y_mm == pytest.approx(81.0, abs=1e-12)


def test_the_pivot_depends_neither_on_friction_nor_on_the_weight():
    x, y, load = np.array([10.0, 60.0, 150.0]), np.array([20.0, 100.0, 50.0]), np.array([10.0, 12.0, 18.0])
    push = {"push_at": (160.0, 55.0), "push_dir": (0.0, 1.0), "length_mm": 160.0}
    light, heavy = pivot(x, y, load, **push), pivot(x, y, 3.0 * load, **push)
    assert heavy.share == pytest.approx(light.share, abs=1e-12)
    assert heavy.push_per_mu_n == pytest.approx(3.0 * light.push_per_mu_n, rel=1e-12)


def test_a_mirrored_and_a_quarter_turned_part_turn_about_the_mirrored_and_turned_point():
    rng = np.random.default_rng(5)
    x, y, load = rng.uniform(0.0, 160.0, 30), rng.uniform(0.0, 110.0, 30), rng.uniform(size=30)
    one = pivot(x, y, load, push_at=(160.0, 55.0), push_dir=(0.0, 1.0), length_mm=160.0)
    mirrored = pivot(160.0 - x, y, load, push_at=(0.0, 55.0), push_dir=(0.0, 1.0), length_mm=160.0)
    turned = pivot(y, x, load, push_at=(55.0, 160.0), push_dir=(2.0, 0.0), length_mm=160.0)
    back = pivot(x, 110.0 - y, load, push_at=(160.0, 55.0), push_dir=(0.0, -1.0), length_mm=160.0)
    assert mirrored.x_mm == pytest.approx(160.0 - one.x_mm, abs=1e-6)
    assert (turned.y_mm, turned.x_mm) == pytest.approx((one.x_mm, one.y_mm), abs=1e-6)
    assert (back.x_mm, back.y_mm) == pytest.approx((one.x_mm, 110.0 - one.y_mm), abs=1e-6)
    assert [p.share for p in (mirrored, turned, back)] == pytest.approx([one.share] * 3, abs=1e-8)


def test_the_same_outline_reads_even_crowned_or_hollow_by_what_bears():
    # The reading (even near a third, middle = crowned, ends = hollow): J. Rose, Modern Machine-Shop Practice.
    iron = foot()
    column = (np.arange(iron.shape[1]) + 0.5) * 0.5
    everywhere = hinge(iron, 0.5, *cells_of(iron))
    middle = hinge(iron, 0.5, *cells_of(iron & (np.abs(column - 80.0) < 30.0)[None, :]))
    ends = hinge(iron, 0.5, *cells_of(iron & (np.abs(column - 80.0) > 76.0)[None, :]))
    crown = hinge(iron, 0.5, np.array([79.0, 81.0, 80.0]), np.array([54.0, 54.0, 56.0]), np.ones(3))
    assert everywhere.readings == ("even", "even")
    assert ends.readings == ("hollow", "hollow")
    assert crown.readings == ("crowned", "crowned")
    assert crown.pivots[0].share == pytest.approx(0.5, abs=0.01)
    assert ends.pivots[0].share < everywhere.pivots[0].share < middle.pivots[0].share < crown.pivots[0].share


def test_a_face_that_bears_at_one_end_only_reads_differently_from_its_two_ends():
    iron = foot()
    column = (np.arange(iron.shape[1]) + 0.5) * 0.5
    found = hinge(iron, 0.5, *cells_of(iron & (column < 30.0)[None, :]))
    assert found.readings == ("hollow", "crowned")
    # both pushes turn the part about its half that bears; pushed there, it bears wider (110) than long (30)
    assert found.pivots[0].x_mm < 30.0
    assert 30.0 < found.pivots[1].x_mm < 80.0


def test_an_upright_face_is_pushed_at_its_short_ends():
    iron = foot()
    x, y, load = cells_of(iron)
    lying, standing = hinge(iron, 0.5, x, y, load), hinge(iron.T, 0.5, y, x, load)
    assert standing.pivots[0].share == pytest.approx(lying.pivots[0].share, abs=1e-9)
    assert standing.pivots[0].y_mm == pytest.approx(lying.pivots[0].x_mm, abs=1e-6)


def test_the_face_of_its_own_outline_reads_even_where_a_fixed_third_would_not():
    wide = even_pivot(foot(), 0.5, (160.0, 55.0), (0.0, 1.0), 160.0)
    x = np.linspace(0.0, 1.0, 401)
    bar = pivot(x, 0.0 * x, np.ones(401), push_at=(1.0, 0.0), push_dir=(0.0, 1.0), length_mm=1.0)
    assert pivot_reading(wide, wide) == "even"
    assert wide.share < 0.8 * bar.share


def test_a_push_in_line_with_what_bears_slides_without_a_turn():
    found = pivot(np.array([160.0]), np.array([20.0]), np.array([40.0]), push_at=(160.0, 55.0), push_dir=(0.0, 1.0),
                  length_mm=160.0)
    assert found.push_per_mu_n == pytest.approx(40.0, rel=1e-9)
    assert math.isfinite(found.share)


@pytest.mark.parametrize("change, word", [
    ({"load_n": np.zeros(3)}, "load_n"),
    ({"load_n": np.array([1.0, -1.0, 1.0])}, "load_n"),
    ({"x_mm": np.array([1.0, np.nan, 2.0])}, "finite"),
    ({"x_mm": np.ones(2)}, "one length"),
    ({"push_dir": (0.0, 0.0)}, "push_dir"),
    ({"length_mm": 0.0}, "length_mm"),
])
def test_a_push_that_makes_no_sense_is_refused_in_one_line(change, word):
    good = {"x_mm": np.arange(3.0), "y_mm": np.arange(3.0), "load_n": np.ones(3), "push_at": (9.0, 0.0),
            "push_dir": (0.0, 1.0), "length_mm": 9.0}
    with pytest.raises(BadParam, match=word) as told:
        pivot(**(good | change))
    assert "\n" not in str(told.value)


def test_an_outline_without_iron_is_refused():
    with pytest.raises(BadParam, match="iron"):
        even_pivot(np.zeros((4, 4), bool), 0.5, (2.0, 1.0), (0.0, 1.0), 2.0)
    with pytest.raises(BadParam, match="iron"):
        hinge(np.zeros((4, 4), bool), 0.5, np.ones(1), np.ones(1), np.ones(1))
