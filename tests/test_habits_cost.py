"""What habits cost: one direction only, no stone, no edge break, everything blue scraped off a face that passes."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import label

from sim.hands.autopilot import DIRECTIONS, SPLIT, STAGES, Pilot, follow_the_blue
from sim.measure.spots import spots
from sim.measure.verdict import standard_marks
from sim.model.start import Start
from sim.process.bluing import standard_print
from sim.seat.compliant import compliant_seat, pressed_cells, weight_and_hands
from sim.shop.job import JobStart, begin_job
from tests.jobs import SKILLED, go_on, ground_coupon, passing, scrape_rows

both_seeds = pytest.mark.parametrize("seed", [1, pytest.param(2, marks=pytest.mark.slow)])
ALONG = (1.0, 0.0)


# ---------------------------------------------------------------- one direction


def ripple(face):
    """RMS of the waves of 1 to 5 mm along x / that along y, on lines over the face but for 4 mm at its edges."""
    rim = round(4.0 / face.pitch_mm)
    inner = face.height_um[rim:-rim, rim:-rim]
    power = []
    for lines in (inner, inner.T):
        count = lines.shape[1]
        level = lines - lines.mean(axis=1, keepdims=True)
        spectrum = np.abs(np.fft.rfft(level * np.hanning(count), axis=1)) ** 2
        waves = np.fft.rfftfreq(count, face.pitch_mm)
        # a line twice as long has twice the power at twice the waves of the band: so the mean over them, by the length
        power.append(spectrum[:, (waves >= 1.0 / 5.0) & (waves <= 1.0)].mean() / count)
    return float(np.sqrt(power[0] / power[1]))


@both_seeds
def test_one_direction_leaves_ripple_and_crossing_does_not_and_four_crossed_rounds_take_it_off(seed):
    one_way, crossed = ground_coupon(seed), ground_coupon(seed)
    for n in range(10):
        scrape_rows(one_way, ALONG, n)
        scrape_rows(crossed, DIRECTIONS[n % 2], n)
    told = [ripple(one_way.face), ripple(crossed.face)]
    for n in range(10, 14):
        scrape_rows(one_way, DIRECTIONS[n % 2], n)
    told.append(ripple(one_way.face))
    print(f"seed {seed}: ripple along / across {told[0]:.2f} after ten one-way rounds, {told[2]:.2f} after four crossed"
          f" ones on top, {told[1]:.2f} after ten crossed")
    assert told[0] > 3.0
    assert told[1] < 1.6
    assert told[2] < 1.6


# ---------------------------------------------------------------- no stone


@both_seeds
def test_without_the_stone_fewer_than_half_of_the_marks_print_and_less_than_half_bears(seed):
    found = []
    for stone in (True, False):
        job = passing(seed)
        go_on(job, take_all_blue(stone=stone), 1)
        counted = spots(standard_marks(job.face, job.body), 0.5)
        found.append((counted.count, counted.bearing_pct))
    (with_it, bears), (without, bears_without) = found
    print(f"seed {seed}: marks of 0.5 mm2 or more {with_it} stoned, {without} not; bearing {bears:.1f} and "
          f"{bears_without:.1f} %")
    assert without < 0.5 * with_it
    assert bears_without < 0.5 * bears


def take_all_blue(**options):
    """A pilot that scrapes whatever is blue with an even finishing push, round after round."""
    last = replace(STAGES[-1], push_n=95.0)
    return follow_the_blue(SKILLED, Pilot(ease_share=1.0), stages=(last,), split=None, **options)


# ---------------------------------------------------------------- breaking up


@both_seeds
def test_scraping_everything_blue_spoils_a_face_that_passes_and_splitting_large_marks_keeps_it(seed):
    large = Pilot(even_share=0.0, crowded_share=10.0, hard_mm2=10.0)  # nothing but what is over split_mm2
    split_only = follow_the_blue(SKILLED, large, stages=STAGES[-1:], split=SPLIT)
    change = []
    for pilot in (take_all_blue(), split_only):
        job = passing(seed)
        before = spots(standard_marks(job.face, job.body)).mean
        go_on(job, pilot, 8)
        after = spots(standard_marks(job.face, job.body)).mean
        change.append(100.0 * (after / before - 1.0))
    print(f"seed {seed}: {before:.1f} spots per square inch; after eight rounds of taking everything blue "
          f"{change[0]:+.0f} %, of splitting marks over {Pilot().split_mm2} mm2 {change[1]:+.0f} %")
    assert change[0] <= -25.0
    assert change[1] >= -10.0


# ---------------------------------------------------------------- no edge break


def share_on_slivers(job):
    """Share of the load that marks of at most nine cells within 2.5 mm of the outline carry."""
    face = job.face
    top = face.height_um + face.burr_um
    pose = compliant_seat(top, face.pitch_mm, weight_and_hands(face, job.body))
    x, y, force = pressed_cells(top, pose, face.pitch_mm, job.start.material.compliance.c_um)
    i, j = ((v / face.pitch_mm).astype(int) for v in (y, x))
    pressed = np.zeros(face.shape, bool)
    pressed[i, j] = True
    mark = label(pressed, np.ones((3, 3)))[0][i, j]
    length, width = face.size_mm
    near = np.minimum(np.minimum(x, length - x), np.minimum(y, width - y)) < 2.5
    sliver = np.bincount(mark)[mark] <= 9
    return float(force[near & sliver].sum() / force.sum())


def printed_pct(job):
    """Share of the iron that lies within the 8 um of a roughing film of the plate, %."""
    face, m = job.face, job.start.material
    film = standard_print(face, 8.0, blue=m.blue, compliance=m.compliance, body=job.body)
    return 100.0 * float((film >= m.blue.seen_um).sum() / face.iron.sum())


@pytest.mark.parametrize("seed", [1, 2, *(pytest.param(n, marks=pytest.mark.slow) for n in range(3, 21))])
def test_without_an_edge_break_a_start_face_hangs_on_slivers_at_its_edge(seed):
    """The burr that the machine left there holds the foot off the plate: on every seed tried, 1 to 20."""
    raw, broken = (begin_job(JobStart(Start(edge_break_mm=width), seed=seed)) for width in (0.0, 0.6))
    hangs, prints = share_on_slivers(raw), [printed_pct(job) for job in (raw, broken)]
    print(f"seed {seed}: slivers at the edge carry {100.0 * hangs:.0f} % of the load of a start face "
          f"({100.0 * share_on_slivers(broken):.0f} % with an edge break); "
          f"8 um of blue print {prints[0]:.1f} % of it ({prints[1]:.1f} %)")
    assert hangs > 0.9
    assert prints[0] < 2.0 / 3.0 * prints[1]  # least on seed 4: 27 of 51 %; seeds 1 and 2: 24 of 62 and 1 of 50 %
