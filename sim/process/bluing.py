"""Blue: rolling a film, spotting the face on the plate, wiping."""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sim.errors import BadParam
from sim.kernels.grain import add_noise
from sim.kernels.ink import film_met, lift, squeeze, take_film, total, wiped
from sim.kernels.touch import lay_on, press
from sim.model.face import VOID_UM, Face
from sim.model.film import Blue
from sim.model.plate import Plate
from sim.seat.compliant import (
    Body,
    Compliance,
    Load,
    Pose,
    compliant_seat,
    lies_over,
    middles_mm,
    raise_cells,
    standing_um,
    weight_and_hands,
)

POSES = 8
NOISE_SD = 0.241  # standard deviation of gradient noise with SLOPES: closed form in tests/kernels/test_grain.py
# sixteen lattice slopes of gradient noise, the twelve edges of a cube seen from above, four of them twice
SLOPES = np.array([(1, 1), (-1, 1), (1, -1), (-1, -1), (1, 0), (-1, 0), (1, 0), (-1, 0),
                   (0, 1), (0, -1), (0, 1), (0, -1), (1, 0), (-1, 0), (0, -1), (0, 1)], dtype=np.float64)


@dataclass(frozen=True)
class Rub:
    """How the face is put down and rubbed: corner on the plate, way (mm) and direction of the rub, hands (x, y, N).

    All in the frame of the face; turned: it lies end for end on the plate, by 180 degrees.
    """

    x_mm: float
    y_mm: float
    way_mm: float = 10.0
    along: tuple[float, float] = (1.0, 0.0)
    hands: tuple[tuple[float, float, float], ...] = ()
    turned: bool = False


@dataclass(frozen=True)
class Upright:
    """A face against an upright plate, its part standing on another: it may turn about the upright but not lean.

    held: axis of the face that is upright, "x" or "y"; lean_um_per_mm: how the face stands out along it; push_n: by
    hand, at the middle, for the weight is carried elsewhere.
    """

    held: str
    lean_um_per_mm: float
    push_n: float = 30.0


def noise_order(rng: np.random.Generator) -> NDArray[np.int64]:
    """A shuffled lattice for gradient noise, twice over: int64 (512,)."""
    order = rng.permutation(256).astype(np.int64)
    return np.concatenate([order, order])


@lru_cache(maxsize=64)
def moved_share(way_mm: float, rub_mm: float) -> float:
    """Share of the excess blue that rubbing over a way moves: 1 - e^(-way / rub), the same on every machine."""
    return float(1 - (-Decimal(way_mm) / Decimal(rub_mm)).exp())


@lru_cache(maxsize=8)
def push_widths(push_mm: float, pitch_mm: float) -> NDArray[np.int64]:
    """The disc of cells within reach of the push: half width of its rows 0 to n - 1 from the middle, int64 (n,)."""
    reach = (push_mm / pitch_mm) ** 2 + 1e-9
    return np.array([math.isqrt(int(reach - a * a)) for a in range(math.isqrt(int(reach)) + 1)], dtype=np.int64)


def roll_film(plate: Plate, rng: np.random.Generator, weight_um: float | None, applicator: str, blue: Blue) -> None:
    """Lay a film on the plate; changes `plate`.

    Parameters
    ----------
    weight_um : float or None
        Mean film; None spreads again what is there, without new blue.
    applicator : "brayer" or "rag"
        A rag streaks and leaves lint.

    Raises
    ------
    BadParam
        Unknown applicator or a weight outside 0 to 50 um; the plate is unchanged.
    """
    if applicator not in ("brayer", "rag"):
        raise BadParam(f"applicator must be brayer or rag, got {applicator!r}")
    if weight_um is not None and not 0.0 < weight_um <= 50.0:
        raise BadParam(f"weight_um must be in (0, 50] µm, got {weight_um!r}")
    before = total(plate.film_um)
    ways = ((6.0, 6.0, 1.0),) if applicator == "brayer" else ((40.0, 4.0, 0.8), (3.0, 3.0, 0.6))
    cv = blue.brayer_cv if applicator == "brayer" else blue.rag_cv
    film = plate.film_um
    film[:] = 1.0
    for wave_x, wave_y, share in ways:
        add_noise(film, plate.pitch_mm, wave_x, wave_y, share * cv / NOISE_SD, float(rng.random() * 200.0),
                  noise_order(rng), SLOPES)
    np.maximum(film, 0.1, out=film)
    film *= before / total(film) if weight_um is None else weight_um
    plate.drawn_um_mm2 += (total(plate.film_um) - before) * plate.pitch_mm**2
    if applicator == "rag":
        count = int(rng.poisson(blue.lint_per_rag))
        length, width = plate.size_mm
        plate.lint = np.vstack([plate.lint, np.column_stack([
            rng.uniform(0.0, length, count), rng.uniform(0.0, width, count), rng.uniform(10.0, 20.0, count)])])


def wipe_plate(plate: Plate) -> None:
    """Clean the plate: film and lint go to the cloth; changes `plate`."""
    plate.cloth_um_mm2 += total(plate.film_um) * plate.pitch_mm**2
    plate.film_um[:] = 0.0
    plate.lint = np.zeros((0, 3))


def settle_poses(face: Face, plate: Plate, rub: Rub, body: Body, compliance: Compliance, *,
                 upright: Upright | None = None) -> tuple[list[Pose], NDArray, NDArray]:
    """Seat the face at each pose of the rub; the plate wears where it is pressed, so `plate` changes.

    With `upright`, the face is pushed against a plate that stands, and cannot lean.

    Returns the poses, the plate cells under face cell (0, 0) as int64 (poses, 2), and the least gap met, um (ny, nx).

    Raises
    ------
    Refused
        When no iron lies over the plate at a pose, or the face would tip off it; nothing is changed.
    """
    top = standing_um(face, body, compliance, rub.hands)
    load = weight_and_hands(face, body, rub.hands)
    held = ""
    if upright:
        held = upright.held
        load = Load(upright.push_n, 0.5 * face.size_mm[0], 0.5 * face.size_mm[1])
        x, y = middles_mm(face.shape, face.pitch_mm)
        out = upright.lean_um_per_mm * (x[None, :] if upright.held == "x" else y[:, None])
        top += np.where(face.iron, out, 0.0)
    surface, gap = np.empty_like(top), np.full_like(top, 1e30)
    corners = np.array([lies_over(face, rub.x_mm + s * rub.along[0], rub.y_mm + s * rub.along[1])
                        for s in (rub.way_mm * (k / (POSES - 1) - 0.5) for k in range(POSES))], dtype=np.int64)
    # volume worn = wear p A way: depth in um for the way of one pose, per um^2 of overlap
    wear = plate.wear_mm3_per_nm * rub.way_mm * 1e-3 / POSES * 1e3 / compliance.c_um**2
    first, last = (np.clip(v, 0, plate.error_um.shape) for v in (corners.min(axis=0), corners.max(axis=0) + face.shape))
    under = slice(first[0], last[0]), slice(first[1], last[1])
    error = plate.error_um[under].copy()  # worn pose by pose, given back when all poses have found a seat
    poses = []
    for row, col in (corners - first).tolist():
        lay_on(top, error, row, col, surface)
        here = np.array([(col + first[1]) * plate.pitch_mm, (row + first[0]) * plate.pitch_mm, 0.0])
        raise_cells(surface, plate.lint - here, plate.pitch_mm)
        pose = compliant_seat(surface, face.pitch_mm, load, compliance.c_um, compliance.effective_mpa,
                              held=held)
        plane = np.array([pose.height_um, pose.slope_x, pose.slope_y, pose.lift_um])
        press(surface, plane, np.array([pose.x_mm, pose.y_mm, face.pitch_mm, wear]), row, col, gap, error)
        poses.append(pose)
    plate.error_um[under] = error
    return poses, corners, gap


def spot_face(face: Face, plate: Plate, rub: Rub, *, body: Body, compliance: Compliance, blue: Blue,
              upright: Upright | None = None) -> list[Pose]:
    """Put the face on the blued plate, rub it, lift it: blue goes from `plate` to `face`; both change.

    With `upright`, it is pushed against a blued plate that stands.

    Returns
    -------
    list of Pose
        Where it sat at each pose along the rub.

    Raises
    ------
    Refused
        As `settle_poses`; nothing is changed.

    Notes
    -----
    What prints is the largest film met over the poses, in the least gap met. Blue is conserved.
    """
    if rub.turned:
        return _turned(spot_face, face, plate, rub, body=body, compliance=compliance, blue=blue, upright=upright)
    poses, corners, gap = settle_poses(face, plate, rub, body, compliance, upright=upright)
    ny, nx = face.shape
    met, sums, spare = np.empty((ny, nx)), np.empty((ny, nx)), np.empty_like(plate.film_um)
    film_met(plate.film_um, corners, blue.stay_share, met, sums, spare)
    printed, loss = print_of(met, gap, moved_share(rub.way_mm, blue.rub_mm), face.pitch_mm, blue)
    take_film(plate.film_um, corners, loss, sums, spare)
    face.blue_um += printed
    return poses


def print_of(film_um: NDArray[np.float64], gap_um: NDArray[np.float64], moved: float, pitch_mm: float,
             blue: Blue) -> tuple[NDArray, NDArray]:
    """Print left on a face by a film in a gap, and what the plate loses at each cell, um (ny, nx); pure."""
    work, sent, got = np.empty_like(gap_um), np.empty_like(gap_um), np.empty_like(gap_um)
    printed, loss = np.empty_like(gap_um), np.empty_like(gap_um)
    squeeze(film_um, gap_um, moved, push_widths(blue.push_mm, pitch_mm), work, sent, got)
    lift(film_um, gap_um, sent, got, moved, blue.stay_share, printed, loss)
    return printed, loss


def rub_blued_face(face: Face, plate: Plate, rub: Rub, *, body: Body, compliance: Compliance, blue: Blue) -> list[Pose]:
    """Second method: the blue is on the face, the plate is clean; high places come back rubbed bare; both change.

    Raises
    ------
    Refused
        As `settle_poses`; nothing is changed.
    """
    if rub.turned:
        return _turned(rub_blued_face, face, plate, rub, body=body, compliance=compliance, blue=blue)
    poses, corners, gap = settle_poses(face, plate, rub, body, compliance)
    moved = moved_share(rub.way_mm, blue.rub_mm)
    work, sent, got = np.empty_like(gap), np.empty_like(gap), np.empty_like(gap)
    film = face.blue_um
    squeeze(film, gap, moved, push_widths(blue.push_mm, face.pitch_mm), work, sent, got)
    over = film - gap
    kept = np.where(over > 0.0, (1.0 - blue.stay_share) * (film - moved * over), film + got)
    given = np.where(over > 0.0, film - sent - kept, 0.0)
    _lay_on_plate(plate, corners, given)
    face.blue_um[:] = kept
    return poses


def _turned(print_face: Callable[..., list[Pose]], face: Face, plate: Plate, rub: Rub, **shop: object) -> list[Pose]:
    """Print a face that lies end for end: on the plate turned under it, which is then turned back; both change."""
    under = plate.turned()
    poses = print_face(face, under, replace(rub, turned=False), **shop)
    plate.film_um[:] = under.film_um[::-1, ::-1]
    plate.error_um[:] = under.error_um[::-1, ::-1]
    return poses


def _lay_on_plate(plate: Plate, corners: NDArray[np.int64], given_um: NDArray[np.float64]) -> None:
    """Spread what the face gave evenly over the poses at which each cell lay over the plate; changes `plate`."""
    (ny, nx), (py, px) = given_um.shape, plate.film_um.shape
    over = np.zeros_like(given_um)
    windows = []
    for row, col in corners.tolist():
        mine = slice(max(0, -row), min(ny, py - row)), slice(max(0, -col), min(nx, px - col))
        windows.append((mine, tuple(slice(w.start + at, w.stop + at) for w, at in zip(mine, (row, col), strict=True))))
        over[mine] += 1.0
    each = given_um / np.maximum(over, 1.0)
    for mine, its in windows:
        plate.film_um[its] += each[mine]


def blue_face(face: Face, plate: Plate, weight_um: float) -> None:
    """Lay an even film on the face itself, for the second method; changes `face`, and the account in `plate`."""
    if not 0.0 < weight_um <= 50.0:
        raise BadParam(f"weight_um must be in (0, 50] µm, got {weight_um!r}")
    before = total(face.blue_um)
    face.blue_um[:] = np.where(face.iron, weight_um, 0.0)
    plate.drawn_um_mm2 += (total(face.blue_um) - before) * face.cell_mm2


def wipe_face(face: Face, plate: Plate, blue: Blue) -> None:
    """Wipe chips and blue off the face; old blue stays in the pockets; changes `face`, the cloth is booked on `plate`.

    Notes
    -----
    The share left grows linearly from tops to pockets `pocket_um` below the highest cell within 1 mm along x and y.
    """
    left = np.empty_like(face.blue_um)
    cloth = (blue.wipe_top_share, blue.wipe_pocket_share, blue.pocket_um)
    wiped(face.height_um, face.blue_um, round(1.0 / face.pitch_mm), cloth, left)
    plate.cloth_um_mm2 += (total(face.blue_um) - total(left)) * face.cell_mm2
    face.blue_um[:] = left
    face.chips = np.zeros((0, 3))


def standard_print(face: Face, film_um: float, *, blue: Blue, compliance: Compliance, body: Body,
                   way_mm: float = 2.0) -> NDArray[np.float64]:
    """The print that scores a face, computed and never made: even film, true plate, gentle rub; um (ny, nx); pure.

    Notes
    -----
    Burrs are felt; chips, old blue, warmth and hands are not.
    """
    top = face.height_um + face.burr_um
    load: Load = weight_and_hands(face, body)
    pose = compliant_seat(top, face.pitch_mm, load, compliance.c_um, compliance.effective_mpa)
    gap = np.full_like(top, 1e30)
    nothing = np.zeros((2, 2))
    press(top, np.array([pose.height_um, pose.slope_x, pose.slope_y, pose.lift_um]),
          np.array([pose.x_mm, pose.y_mm, face.pitch_mm, 0.0]), 0, 0, gap, nothing)
    film = np.where(face.height_um > 0.1 * VOID_UM, film_um, 0.0)
    return print_of(film, gap, moved_share(way_mm, blue.rub_mm), face.pitch_mm, blue)[0]
