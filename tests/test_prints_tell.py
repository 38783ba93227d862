"""What prints tell, and how they mislead: film, pale centres, the form of a face, the edge of the hull."""

import numpy as np
import pytest
from scipy.ndimage import distance_transform_edt, find_objects
from scipy.stats import spearmanr

from sim.hands.autopilot import Pilot, read_print
from sim.measure.spots import islands
from sim.model.start import Start
from sim.process.bluing import standard_print
from sim.seat.compliant import compliant_seat, middles_mm, weight_and_hands
from sim.seat.rigid import rigid_seat
from sim.shop.commands import RollFilm, SpotFace, perform
from sim.shop.job import JobStart, begin_job
from sim.shop.sight import look
from tests.jobs import half_finished

both_seeds = pytest.mark.parametrize("seed", [1, pytest.param(2, marks=pytest.mark.slow)])


def blue_after(job, film_um):
    """Scored iron that comes back blue from a fresh film; changes `job`."""
    perform(RollFilm(film_um), job)
    perform(SpotFace(40.0, 35.0, 10.0), job)
    return look(job).marked & job.face.scored


# ---------------------------------------------------------------- film and rubbing


@both_seeds
def test_a_heavy_film_prints_most_of_a_half_finished_face_and_a_thin_one_hardly_any(seed):
    pct = {}
    for film_um in (8.0, 3.0, 1.5):
        job = half_finished(seed)
        pct[film_um] = 100.0 * blue_after(job, film_um).sum() / job.face.scored.sum()
    print(f"seed {seed}: " + ", ".join(f"a film of {film} um prints {part:.1f} %" for film, part in pct.items()))
    assert pct[8.0] > 60.0
    assert pct[1.5] < 15.0
    assert pct[1.5] < pct[3.0] < pct[8.0]


def marks_of_1_mm2(job, way_mm):
    """Marks of a true print with 3 um after a rub: darkness of centre and rim, highest cell and centre's ink in um.

    A mark is read as the pilot reads it, a bare middle belonging to it. Its centre lies at least 0.8 times as deep in
    it as its deepest cell: the median there. Its rim is the rest: the upper quartile, which is the dark ring and not
    the fade outside it.
    """
    face, m = job.face, job.start.material
    ink = standard_print(face, 3.0, blue=m.blue, compliance=m.compliance, body=job.body, way_mm=way_mm)
    face.blue_um[:] = ink
    marks, _ = read_print(look(job), Pilot())
    found, depth = islands(marks), distance_transform_edt(np.pad(marks.marked, 1))[1:-1, 1:-1]
    dark = -np.expm1(-ink / m.blue.opacity_um)
    x, y = middles_mm(face.shape, face.pitch_mm)
    seat = compliant_seat(face.height_um + face.burr_um, face.pitch_mm, weight_and_hands(face, job.body))
    height = face.height_um - seat.at(x[None, :], y[:, None])
    told = []
    for k, box in enumerate(find_objects(found.labels)):
        mine = (found.labels[box] == k + 1) & marks.marked[box]
        deep = depth[box] >= 0.8 * depth[box][mine].max()
        centre, rim = mine & deep, mine & ~deep
        if found.area_mm2[k] >= 1.0 and rim.any():
            told.append((np.median(dark[box][centre]), np.percentile(dark[box][rim], 75.0), height[box][mine].max(),
                         np.median(ink[box][centre])))
    return np.array(told).T


@both_seeds
def test_rubbing_leaves_most_marks_paler_in_the_centre_and_the_highest_palest(seed):
    share = {}
    for way_mm in (30.0, 2.0):
        centre, rim, height_um, ink_um = marks_of_1_mm2(half_finished(seed), way_mm)
        # paler by a step of grey that an eye sees (from memory): paler at all are 99 % after either rub
        share[way_mm] = float((rim - centre >= 0.05).mean())
        rank = float(spearmanr(height_um, ink_um).statistic)
        print(f"seed {seed}, rubbed {way_mm} mm: {len(rim)} marks, {100.0 * share[way_mm]:.0f} % paler in the centre, "
              f"rank correlation of height and centre ink {rank:.2f}")
        if way_mm == 30.0:
            assert rank <= -0.3
    assert share[30.0] > 0.5
    assert share[2.0] < 0.2  # a gentle rub leaves the film where it is


# ---------------------------------------------------------------- form


def blue_of_form(seed, **form):
    """x and y of the blue cells from the middle of a ground foot with this form, as shares of half its sides."""
    job = begin_job(JobStart(Start(kind="surface-ground", **form), seed=seed))
    i, j = np.nonzero(blue_after(job, 3.0))
    x, y = (2.0 * (k + 0.5) / n - 1.0 for k, n in zip((j, i), job.face.shape[::-1], strict=True))
    print(f"seed {seed}, {form}: {len(x)} blue cells, x {x.min():.2f} to {x.max():.2f}, "
          f"y {y.min():.2f} to {y.max():.2f}")
    return x, y


@both_seeds
@pytest.mark.parametrize("twist_um", [30.0, -30.0])
def test_a_twist_prints_two_opposite_corners(seed, twist_um):
    x, y = blue_of_form(seed, twist_um=twist_um)
    one, other = ((sign * x > 0.5) & (sign * y * twist_um > 0.5 * abs(twist_um)) for sign in (1.0, -1.0))
    print(f"    in the two corners {100.0 * one.mean():.0f} and {100.0 * other.mean():.0f} % of the blue")
    assert min(one.mean(), other.mean()) > 0.3
    assert one.mean() + other.mean() > 0.9


@both_seeds
def test_a_hollow_along_the_length_prints_its_two_ends(seed):
    x, _ = blue_of_form(seed, bow_x_um=-30.0)
    one, other = float((x < -0.8).mean()), float((x > 0.8).mean())
    print(f"    at the two ends {100.0 * one:.0f} and {100.0 * other:.0f} % of the blue")
    assert min(one, other) > 0.3
    assert one + other > 0.9


@both_seeds
def test_a_crown_prints_the_middle(seed):
    x, y = blue_of_form(seed, bow_x_um=30.0, bow_y_um=30.0)
    assert np.abs(x).max() < 0.5
    assert np.abs(y).max() < 0.5


@both_seeds
def test_a_load_over_an_edge_of_the_hull_of_a_milled_face_gives_two_seats(seed):
    face = begin_job(JobStart(seed=seed)).face
    i, j = np.nonzero(face.scored)
    x, y, z = (j + 0.5) * face.pitch_mm, (i + 0.5) * face.pitch_mm, face.height_um[i, j]
    first = rigid_seat(x, y, z, (80.0, 55.0))
    feet = [first.stands_on_rows[k] for k in np.argsort(first.shares)[1:]]  # the two that carry most
    at = float(x[feet].mean()), float(y[feet].mean())
    one = rigid_seat(x, y, z, at)
    other = one.other_seat
    print(f"seed {seed}: a load at {at[0]:.1f}, {at[1]:.1f} mm rocks on {feet}; the corners move by "
          f"{', '.join(f'{drop:.2f}' for drop in one.corner_drop_um)} um")
    assert one.rocks
    assert set(feet) == set(one.stands_on_rows) & set(other.stands_on_rows)
    along = np.array([x[feet[1]] - x[feet[0]], y[feet[1]] - y[feet[0]]])
    sides = []
    for way in (one, other):
        (third,) = set(way.stands_on_rows) - set(feet)
        sides.append(along[0] * (y[third] - at[1]) - along[1] * (x[third] - at[0]))
    assert sides[0] * sides[1] < 0.0
    assert max(one.corner_drop_um) > 0.0
