"""The kernels of the stroke against slow twins and closed forms."""

import math

import numpy as np
import pytest
from scipy.special import beta

from sim.kernels import cut
from sim.model.blade import RACK
from sim.process.stroke import Chatter, Iron, chip_table, cut_width_mm, kienzle_n_mm
from tests import twins

FINE = RACK["fine"]


def law_of(blade=FINE, **options):
    tool, law, table = twins.cut_arguments(blade, **options)
    factor, edge = twins.edge_law(tool, law)
    return tool, law, table, np.array([factor, edge, law[14]])


def rough_bed(rng, count=21, high_um=6.0, crown_mm=120.0):
    v = (np.arange(count) - count // 2) * 0.25
    return rng.uniform(-high_um, high_um, count) - v * v * 1e3 / (2.0 * crown_mm)


def inner_stroke(rng, size_mm, push_n, quarters=(6, 20)):
    """A stroke that stays 4 mm inside the outline, its length a multiple of 0.25 mm."""
    length, turn = 0.25 * rng.integers(*quarters), rng.uniform(0.0, 2.0 * np.pi)
    half = 0.5 * length * np.array([np.cos(turn), np.sin(turn)])
    middle = rng.uniform(4.0 + np.abs(half), np.array(size_mm) - 4.0 - np.abs(half))
    return np.array([*(middle - half), *(middle + half), rng.uniform(*push_n)])


def kernel_stations(face, stroke, tool, law, table, force):
    stations, bed = np.zeros((200, 4)), np.zeros(2 * cut.WIDEST + 1)
    count = cut.settle_blade(face.height_um, stroke, tool, law, force, table, stations, bed)
    return stations[: count + 1], count


# ---------------------------------------------------------------- lay_bed, cutting_force, balance


def test_the_bed_is_bilinear_between_cells_and_deep_where_iron_is_missing():
    rng = np.random.default_rng(1)
    face = twins.embed_face(twins.scraped_coupon(1, 20.0, 16.0), 3, 0, 2, 5)
    face.height_um[30:40, 40:55], face.iron[30:40, 40:55] = -1e30, False
    ny, nx = face.shape
    bed, deep = np.empty(2 * cut.WIDEST + 1), 0
    for _ in range(60):
        fx, fy, turn = rng.uniform(-2.0, nx + 1.0), rng.uniform(-2.0, ny + 1.0), rng.uniform(0.0, 2.0 * np.pi)
        gx, gy, wide, middle = np.cos(turn), np.sin(turn), int(rng.integers(1, 12)), int(rng.integers(0, 4))
        top = cut.lay_bed(face.height_um, fx, fy, gx, gy, wide, middle, 60.0, bed)
        offsets = range(-wide, wide + 1)
        slow = [
            twins.height_at(face.height_um, (fx + k * gx + 0.5) * 0.25, (fy + k * gy + 0.5) * 0.25, 0.25, 60.0)
            for k in offsets
        ]
        slow = np.maximum(slow, cut.DEEP)
        # 1e-9 um: heights of some 500 um, weights from coordinates of some 100 cells, each to the last bits
        np.testing.assert_allclose(bed[: 2 * wide + 1], slow, rtol=0.0, atol=1e-9)
        assert top == bed[max(wide - middle, 0) : wide + middle + 1].max()
        deep += int((slow == cut.DEEP).sum())
    assert deep > 100  # holes and outline were met


def test_the_table_of_chips_is_exact_at_its_entries_and_close_between_them():
    table = chip_table(0.20)
    assert cut.chip_power(table, 40.0, 8.0) == pytest.approx(40.0**0.8, rel=1e-14)
    depths = np.linspace(1.0, 120.0, 4001)
    fast = np.array([cut.chip_power(table, d, 8.0) for d in depths])
    # a chord of x^p over a step h misses by at most p (1 - p) h^2 / (8 x^2) of the value: 3e-4 at 1 um
    assert np.abs(fast / depths**0.8 - 1.0).max() < 0.8 * 0.2 * 0.125**2 / 8.0 * 1.05
    beyond = cut.chip_power(table, 300.0, 8.0)  # on from the last entry in a straight line
    assert beyond == pytest.approx(table[-1] + (300.0 - 128.0) * 8.0 * (table[-1] - table[-2]), rel=1e-12)


def test_force_over_a_bed_is_the_integral_over_its_straight_pieces():
    rng, (_, _, table, force) = np.random.default_rng(2), law_of()
    for _ in range(200):
        bed = rough_bed(rng)
        tip = bed.max() - rng.uniform(-1.0, 15.0)
        fast, slope = cut.cutting_force(bed, len(bed), tip, *force, table)
        slow = twins.blade_force(bed, tip, *force[:2], table, force[2])
        assert fast == pytest.approx(slow, rel=1e-11, abs=1e-9)  # sums of 20 terms of some 10 N
        kinks = np.concatenate([bed, (bed - tip) % 0.125 - 0.0625 + tip])
        if tip < bed.max() and np.abs(kinks - tip).min() > 1e-5:
            ends = [twins.blade_force(bed, tip + d, *force[:2], table, force[2]) for d in (1e-6, -1e-6)]
            # a difference of two forces of some 100 N over 2e-6 um keeps about eight digits; kinks of the table blur it
            assert slope == pytest.approx((ends[0] - ends[1]) / 2e-6, rel=5e-2, abs=1e-3)


@pytest.mark.parametrize("name,depth", [("rough", 18.0), ("semi", 9.0), ("fine", 5.0), ("split", 3.0)])
def test_force_on_flat_iron_is_the_closed_form(name, depth):
    blade, iron = RACK[name], Iron()
    tool, _, table, force = law_of(blade)
    v = (np.arange(61) - 30) * 0.25
    width = cut_width_mm(blade, depth)
    # mean of (1 - u^2)^(1-m) over the width is B(1/2, 2-m)/2: the integral of Kienzle's law over a parabola
    closed = width * (kienzle_n_mm(iron) * 0.5 * beta(0.5, 1.8) * depth**0.8 + iron.edge_sharp_n_mm)
    fast, _ = cut.cutting_force(-v * v * 1e3 / (2.0 * tool[0]), len(v), -depth, *force, table)
    # straight pieces of 0.25 mm under an arc: a miss of second order in 0.25 / width (measured 0.2 to 2.3 %)
    assert fast == pytest.approx(closed, rel=1.4 * (0.25 / width) ** 2)


def test_balance_finds_the_root_that_bracketing_finds():
    rng, (_, _, table, force), worst = np.random.default_rng(1), law_of(), 0.0
    for _ in range(600):
        bed, push = rough_bed(rng, high_um=rng.uniform(0.1, 8.0)), rng.uniform(1.0, 300.0)
        guess = bed.max() - rng.uniform(-1.0, 12.0)
        tip, _ = cut.balance(bed, len(bed), bed.max(), push, guess, force, table)
        met, slope = cut.cutting_force(bed, len(bed), tip, *force, table)
        miss = met - push
        worst = max(worst, abs(miss / slope))
        if abs(miss) > 1e-3:
            assert tip == pytest.approx(twins.balanced_tip(bed, push, *force[:2], table, force[2]), abs=1e-5)
    # Newton's last step starts within 0.01 um of the root; a kink of table or bed between them leaves part of that
    assert worst < 1e-5


def test_balance_finds_the_root_on_ragged_iron_too():
    """Where a sample that stands alone lifts off, the force leaps; that sent Newton to and fro for ever."""
    rng, (_, _, table, force) = np.random.default_rng(3), law_of()
    for _ in range(600):
        bed = rng.uniform(-12.0, 0.0, 11)
        bed[rng.random(11) < 0.5] = cut.DEEP
        bed[rng.integers(11)] = 0.0
        push, guess = rng.uniform(1.0, 80.0), rng.uniform(-12.0, 1.0)
        tip, _ = cut.balance(bed, len(bed), bed.max(), push, guess, force, table)
        there = np.where(bed > cut.VOID, bed, twins.NOTHING)
        # at a leap only the bracket closes, to 5e-3 um
        assert tip == pytest.approx(twins.balanced_tip(there, push, *force[:2], table, force[2]), abs=5e-3)


def test_a_guess_that_is_the_root_stays_there():
    _, _, table, force = law_of()
    bed = np.array([-9.0, 0.0, 1.0, 0.0, -9.0])
    push, steep = cut.cutting_force(bed, 5, -4.0, *force, table)
    assert cut.balance(bed, 5, 1.0, push, -4.0, force, table) == (-4.0, steep)


def test_balance_without_push_rests_on_the_top_and_without_iron_stays_away():
    _, _, table, force = law_of()
    bed = rough_bed(np.random.default_rng(4))
    assert cut.balance(bed, len(bed), bed.max(), 0.0, 1e30, force, table) == (bed.max(), 0.0)
    assert cut.balance(np.full(9, cut.DEEP), 9, cut.DEEP, 50.0, 1e30, force, table)[0] <= cut.VOID


# ---------------------------------------------------------------- settle_blade, cut_swath, cut_strokes


@pytest.mark.parametrize(
    "name,edge_um,care", [("fine", 4.0, 1.0), ("semi", 9.0, 0.5), ("rough", 14.0, 0.8), ("split", 4.0, 1.0)]
)
def test_the_blade_settles_where_the_slow_twin_settles(name, edge_um, care):
    face = twins.scraped_coupon(2, 30.0, 24.0)
    tool, law, table, force = law_of(RACK[name], edge_um=edge_um, care=care, ramp_mm=0.7)
    rng = np.random.default_rng(5)
    for _ in range(4):
        stroke = inner_stroke(rng, face.size_mm, (30.0, 180.0))
        fast, count = kernel_stations(face, stroke, tool, law, table, force)
        slow = twins.settled(face.height_um, stroke, tool, law, table)
        assert count == len(slow)
        # what Newton leaves (see above), and what the swing carries on of it: measured 1e-6
        np.testing.assert_allclose(fast[:count, [0, 3]], slow[:, [1, 4]], rtol=0.0, atol=1e-5)
        np.testing.assert_allclose(fast[:count, 1:3], slow[:, 2:4], rtol=0.0, atol=1e-12)
        np.testing.assert_array_equal(fast[count], fast[count - 1])  # one more, so that every place lies between two


@pytest.mark.parametrize("name,edge_um,care", [("fine", 4.0, 0.5), ("rough", 9.0, 0.5), ("split", 4.0, 1.0)])
def test_the_blade_settles_at_edges_and_corners_where_the_slow_twin_settles(name, edge_um, care):
    face = twins.scraped_coupon(2, 30.0, 24.0)
    face.height_um[40:52, 60:72] = -1e30  # and at a hole without an edge break
    tool, law, table, force = law_of(RACK[name], edge_um=edge_um, care=care, ramp_mm=0.7)
    rng, held = np.random.default_rng(15), 0
    for place in ([0.0, 0.0], [30.0, 24.0], [0.0, 12.0], [15.0, 10.0], [16.5, 12.0]) * 3:
        turn, half = rng.uniform(0.0, 2.0 * np.pi), 0.125 * rng.integers(8, 20)
        way = half * np.array([np.cos(turn), np.sin(turn)])
        middle = place + rng.uniform(-1.0, 1.0, 2)
        stroke = np.array([*(middle - way), *(middle + way), rng.uniform(30.0, 180.0)])
        fast, count = kernel_stations(face, stroke, tool, law, table, force)
        slow = np.minimum(twins.settled(face.height_um, stroke, tool, law, table), 1e30)
        assert count == len(slow)
        # 5e-3 um: what a bracket leaves at a leap, see above; measured 2e-3
        np.testing.assert_allclose(fast[:count, [0, 3]], slow[:, [1, 4]], rtol=0.0, atol=5e-3)
        np.testing.assert_allclose(fast[:count, 1:3], slow[:, 2:4], rtol=0.0, atol=1e-12)
        held += int((slow[1:, 4] == 0.0).sum())
    assert held > 30  # stations that nothing carried were met


def test_looking_no_wider_than_the_contact_costs_little():
    """The window is a shortcut of ours: on scraped iron a spot farther out under the blade could be met first."""
    face, misses = twins.scraped_coupon(2, 30.0, 24.0), []
    rng = np.random.default_rng(9)
    for name in ("fine", "semi", "rough"):
        tool, law, table, force = law_of(RACK[name])
        for _ in range(6):
            stroke = inner_stroke(rng, face.size_mm, (60.0, 150.0), (8, 16))
            fast, count = kernel_stations(face, stroke, tool, law, table, force)
            slow = twins.settled(face.height_um, stroke, tool, law, table, whole=True)
            misses.extend(np.abs(fast[4 : count - 4, 0] - slow[4:-4, 1]))  # away from the ramps, where it cuts
    print(f"window against whole blade: mean {np.mean(misses):.3f}, worst {np.max(misses):.3f} um of tip height")
    assert np.max(misses) < 1e-3  # nothing to see, on this iron


@pytest.mark.parametrize("where", ["inside", "over a corner"])
@pytest.mark.parametrize("name,edge_um", [("fine", 4.0), ("rough", 9.0)])
def test_a_swath_is_cut_cell_by_cell_as_the_slow_twin_cuts_it(name, edge_um, where):
    face = twins.scraped_coupon(3, 30.0, 24.0)
    face.blue_um[:] = np.random.default_rng(6).uniform(0.0, 0.5, face.shape)
    tool, law, table, force = law_of(RACK[name], edge_um=edge_um)
    rng, burrs = np.random.default_rng(7), 0.0
    for _ in range(4):
        stroke = inner_stroke(rng, face.size_mm, (60.0, 220.0))
        if where == "over a corner":
            stroke[:4] += np.tile(rng.uniform(0.0, 1.0, 2) - 0.5 * (stroke[:2] + stroke[2:4]), 2)
        stations, count = kernel_stations(face, stroke, tool, law, table, force)
        way = np.minimum(np.arange(count) * 0.25, math.hypot(*(stroke[2:4] - stroke[:2])))
        height, burr, blue, told = twins.swath(
            face.height_um, face.burr_um, face.blue_um, stroke, tool, law, np.column_stack([way, stations[:count]])
        )
        out = np.zeros(8)
        cut.cut_swath(face.height_um, face.burr_um, face.blue_um, stroke, tool, law, stations, count, out)
        # 1e-10 um: one subtraction and one interpolation on heights of 500 um
        for fast, slow in ((face.height_um, height), (face.burr_um, burr), (face.blue_um, blue)):
            np.testing.assert_allclose(fast, slow, rtol=0.0, atol=1e-10)
        area = 0.0625
        wanted = [
            told["removed"] * area,
            told["deepest"],
            math.hypot(*(stroke[2:4] - stroke[:2])),
            told["cells"],
            told["inked"],
            told["carried"] * area,
            told["burr"] * area,
        ]
        np.testing.assert_allclose(out[:7], wanted, rtol=1e-9, atol=1e-9)
        burrs += abs(out[6])
    assert burrs > 0.1  # burrs were raised and cut off


def test_strokes_of_one_command_follow_each_other_and_wear_the_edge():
    face, rng = twins.scraped_coupon(4, 24.0, 20.0), np.random.default_rng(8)
    blade = RACK["fine"]
    tool, law, table = twins.cut_arguments(blade, edge_um=5.0)
    tool[3] = 0.05  # 50 um a metre: so soft an edge that each stroke meets another blade
    strokes = np.array([inner_stroke(rng, (14.0, 12.0), (70.0, 120.0), (12, 20)) for _ in range(5)])
    strokes[2, 4] = 0.0
    height, burr, blue = face.height_um.copy(), face.burr_um.copy(), face.blue_um.copy()
    slow_tool, told = tool.copy(), []
    for stroke in strokes:
        if stroke[4] > 0.0:
            stations = twins.settled(height, stroke, slow_tool, law, table)
            height, burr, blue, report = twins.swath(height, burr, blue, stroke, slow_tool, law, stations)
            told.append(report["removed"] * 0.0625)
            slow_tool[2] += stations[-1, 0] * slow_tool[3]
        else:
            told.append(0.0)
    out = np.zeros((len(strokes), 8))
    cut.cut_strokes(face.height_um, face.burr_um, face.blue_um, strokes, tool, law, table, out)
    # 1e-5 um as for one settled path; where strokes overlap each adds its own
    np.testing.assert_allclose(face.height_um, height, rtol=0.0, atol=3e-5)
    np.testing.assert_allclose(face.burr_um, burr, rtol=0.0, atol=3e-5)
    np.testing.assert_allclose(out[:, 0], told, rtol=1e-5)
    assert tool[2] == pytest.approx(slow_tool[2], rel=1e-12)
    assert out[-1, 7] == tool[2]


def test_a_blade_over_a_step_rings_at_its_own_wave():
    height = np.zeros((80, 240))
    height[:, 80:] = -3.0
    face = twins.scraped_coupon(1)
    face.height_um, face.iron = height, np.ones(height.shape, bool)
    chatter = Chatter(wave_mm=1.5, damping=0.05, flank_um=10.0)
    tool, law, table, force = law_of(chatter=chatter)
    stations, count = kernel_stations(face, np.array([5.0, 10.0, 55.0, 10.0, 95.0]), tool, law, table, force)
    s, swing = np.arange(count) * 0.25, stations[:count, 0] - stations[count - 10, 0]
    ring = (s > 15.4) & (s < 27.0)  # the step lies at 15 mm of the way
    waves = np.linspace(0.8, 4.0, 641)
    power = [abs(np.sum(swing[ring] * np.exp(-2j * np.pi * s[ring] / w))) for w in waves]
    # a free swing's wave is 1.5 / sqrt(1 - z^2) = 1.502 mm; 12 mm of it tell waves apart to about 1.5^2 / 23 = 0.1 mm
    assert waves[int(np.argmax(power))] == pytest.approx(1.5, abs=0.1)
    assert np.abs(swing[ring]).max() > 1.0


def test_the_flank_limits_how_far_the_blade_dips_below_its_balance():
    face = twins.scraped_coupon(5)
    strokes = [np.array([5.0, 8.0 + n, 50.0, 9.0 + n, 95.0]) for n in range(6)]
    dips = []
    for flank in (0.5, 10.0):
        tool, law, table, force = law_of(chatter=Chatter(flank_um=flank))
        still = law.copy()
        still[8:12] = 0.0  # no memory: the balance itself
        paths = [
            [kernel_stations(face, st, tool, each, table, force)[0][:, 0] for each in (law, still)] for st in strokes
        ]
        dips.append(max(float((balance - ridden).max()) for ridden, balance in paths))
    assert dips[0] == pytest.approx(0.5, abs=1e-9)
    assert dips[1] > 1.0
