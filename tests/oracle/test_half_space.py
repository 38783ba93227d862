"""What prints by the compliant seat against what prints by an elastic half-space under the same load."""

import numpy as np
import pytest

from sim.seat.compliant import Load, compliant_seat
from tests.oracle.faces import FACES, PITCH_MM, rough_surface_um, six_faces
from tests.oracle.half_space import MODULUS_MPA, half_space

pytestmark = pytest.mark.oracle("ContactMechanics", "SurfaceTopography")

FILMS_UM = (2.0, 3.0, 5.0)
LOAD = Load(39.24, 80.0, 55.0)  # 4 kg over the middle of 160 x 110 mm


def above_its_seat_um(surface_um):
    """Heights of a surface above the plane that it sits on by the compliant seat, um, and the lift of what prints."""
    ny, nx = surface_um.shape
    pose = compliant_seat(surface_um, PITCH_MM, LOAD)
    x, y = (np.arange(nx) + 0.5)[None, :] * PITCH_MM, (np.arange(ny) + 0.5)[:, None] * PITCH_MM
    return surface_um - pose.at(x, y), pose.lift_um


def agreement(surface_um):
    """Intersection over union of the printed cells for each film, and the oracle's answer for its own checks.

    The oracle is given the tilt and nothing else: it finds its own height, whatever height the heights are told from.
    """
    above, lift = above_its_seat_um(surface_um)
    gap, solid = np.maximum(lift - above, 0.0), half_space(above, LOAD.force_n)
    printed = [(gap < film, solid.gap_um < film) for film in FILMS_UM]
    return [float((a & b).sum() / (a | b).sum()) for a, b in printed], solid


def unsound(solid):
    """What is out of balance in the oracle's answer; 1 nm of overlap or gap is its tolerance."""
    checks = {
        "converged": solid.converged,
        "all of the load": solid.force_n.sum() == pytest.approx(LOAD.force_n, rel=1e-6),
        "no pull": solid.force_n.min() >= 0.0,
        "no overlap": solid.gap_um.min() >= -1e-3,
        "no force across a gap": np.abs(solid.gap_um[solid.force_n > 0.0]).max() < 1e-3,
    }
    return [name for name, held in checks.items() if not held]


def table(title, rows):
    """Print what was measured; `pytest -s` or a failure shows it."""
    print(f"\n{title}: intersection over union at films of 2, 3, 5 um; half-space cells in contact, steps")
    for name, shares, solid in rows:
        told = " ".join(f"{share:.3f}" for share in shares)
        print(f"  {name:12s} {told}   {(solid.force_n > 0.0).sum():5d} {solid.steps:3d}")
    mean = np.mean([shares for _, shares, _ in rows], axis=0)
    print("  mean         " + " ".join(f"{share:.3f}" for share in mean))
    return mean


def test_the_half_space_itself_presses_as_hertz_says():
    # K. L. Johnson, Contact Mechanics, 1985: a^3 = 3 F R / (4 E*), approach a^2 / R: 12 N on R 375 mm -> 0.425 um
    radius_mm, force_n, pitch_mm = 375.0, 12.0, 0.01
    at = (np.arange(128) - 63.5) * pitch_mm
    solid = half_space(-(at[None, :] ** 2 + at[:, None] ** 2) / (2.0 * radius_mm) * 1e3, force_n, pitch_mm)
    a = (3.0 * force_n * radius_mm / (4.0 * MODULUS_MPA)) ** (1.0 / 3.0)
    area = (solid.force_n > 0.0).sum() * pitch_mm**2
    assert area == pytest.approx(np.pi * a**2, rel=0.03)  # a is 40 cells: the rim is half a cell uncertain
    peak = solid.force_n.max() / pitch_mm**2
    assert peak == pytest.approx(1.5 * force_n / (np.pi * a**2), rel=0.01)


@pytest.fixture(scope="module", params=[1, 2, 3], ids=lambda seed: f"seed {seed}")
def judged(request):
    """Name, agreement and the oracle's answer of the six faces of a seed."""
    rows = [(name, *agreement(surface)) for name, surface in six_faces(request.param).items()]
    table(f"seed {request.param}", rows)
    return rows


@pytest.mark.parametrize("at", range(len(FACES)), ids=FACES)
def test_the_oracle_is_in_balance_on_every_face(judged, at):
    assert unsound(judged[at][2]) == []


@pytest.mark.parametrize("at", range(len(FILMS_UM)), ids=["2 um", "3 um", "5 um"])
def test_faces_from_milled_to_finished_print_on_the_mean_as_on_a_half_space(judged, at):
    """At least 0.92. Measured, lowest mean of the three seeds: 0.987, 0.993, 0.997."""
    assert np.mean([shares[at] for _, shares, _ in judged]) >= 0.92


def test_no_face_from_milled_to_finished_prints_much_unlike_a_half_space(judged):
    """At least 0.88 at 2 um. Measured, lowest face of each seed: 0.974, 0.989, 0.977."""
    assert min(shares[0] for _, shares, _ in judged) >= 0.88


@pytest.mark.parametrize("rms_um", [1.5, 4.0])
def test_random_rough_faces_print_as_on_a_half_space(rms_um):
    rows = []
    for seed in (1, 2, 3):
        shares, solid = agreement(rough_surface_um(np.random.default_rng(seed), rms_um))
        assert unsound(solid) == []
        rows.append((f"rough {seed}", shares, solid))
    table(f"self-affine, {rms_um} um RMS", rows)
    assert min(min(shares) for _, shares, _ in rows) >= 0.80
