"""Where the drills get their iron: coupons worked by a hand, kept round by round, and prints made from them."""

import hashlib
import inspect
import io
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

import sim
from sim import paths
from sim.errors import CannotWrite
from sim.hands import autopilot, lanes, skill
from sim.kernels import sources
from sim.measure.spots import islands
from sim.model.face import Face
from sim.model.film import Blue
from sim.model.marks import Marks
from sim.model.plate import PlateMake
from sim.model.start import COUPON
from sim.seat.compliant import Pose
from sim.shop.commands import RollFilm, SpotFace, StoneFace, WipeFace, perform
from sim.shop.job import Job, JobStart, begin_job
from sim.shop.session import Session
from sim.shop.store import write_new

ROUNDS = (2, 3, 4, 5, 6, 8, 10, 12, 14)
COUPONS = 24
FIRST_SEED = 900
PLATE = PlateMake(length_mm=130.0, width_mm=110.0)
HAND_OF = ("skilled", "trained", "beginner", "trained")
BLUE = Blue()
LEAST_MM2, MOST_MM2 = 0.5, 15.0  # marks that can be asked about: smaller ones are specks, larger ones are fields


@dataclass(frozen=True, eq=False)
class Worked:
    """A coupon as it stood after a round: scraped (`raw`: before stone and rag) and as it was left.

    Attributes
    ----------
    coupon, round : int
    height_um, burr_um, raw_height_um, raw_burr_um : float32 (ny, nx)
    """

    coupon: int
    round: int
    height_um: NDArray[np.float32]
    burr_um: NDArray[np.float32]
    raw_height_um: NDArray[np.float32]
    raw_burr_um: NDArray[np.float32]


@dataclass(frozen=True)
class PrintMade:
    """How a print is made: film (um), rub (mm), luck; raw: not stoned; an older print under it, wiped (um, 0 none).

    fibres: x_mm, y_mm, height_um of crushed fibres between iron and plate.
    """

    film_um: float
    way_mm: float
    luck: int
    raw: bool = False
    older_um: float = 0.0
    fibres: tuple[tuple[float, float, float], ...] = ()


@dataclass(eq=False)
class Print:
    """A face with its print, and the plane it sat on.

    Attributes
    ----------
    face : Face
    pose : Pose
    older_um : float64 (ny, nx)
        What blue lay on it before.
    """

    face: Face
    pose: Pose
    older_um: NDArray[np.float64]

    @cached_property
    def above_um(self) -> NDArray[np.float64]:
        """Height of the iron above the seat plane, burrs off."""
        ny, nx = self.face.shape
        x, y = ((np.arange(n) + 0.5) * self.face.pitch_mm for n in (nx, ny))
        plane = self.pose.height_um + self.pose.slope_x * (x - self.pose.x_mm)[None, :]
        return np.asarray(self.face.height_um - plane - self.pose.slope_y * (y - self.pose.y_mm)[:, None])

    @cached_property
    def dark(self) -> NDArray[np.float64]:
        """Darkness of the blue, 0 bare to 1."""
        return np.asarray(-np.expm1(-self.face.blue_um / BLUE.opacity_um))

    @cached_property
    def seen(self) -> Marks:
        """Marks over the scored iron."""
        marked = (self.face.blue_um >= BLUE.seen_um) & self.face.scored
        return Marks(marked, self.face.scored, self.face.pitch_mm)

    @cached_property
    def marks(self) -> "MarkTable":
        """Marks that can be asked about."""
        return mark_table(self)


@dataclass(frozen=True, eq=False)
class MarkTable:
    """Marks of a print: where one can be pointed at, how high it stands, how large and how dark it is; arrays (n,)."""

    x_mm: NDArray[np.float64]
    y_mm: NDArray[np.float64]
    height_um: NDArray[np.float64]
    area_mm2: NDArray[np.float64]
    dark: NDArray[np.float64]
    cells: tuple[NDArray[np.intp], ...] = field(repr=False, default=())


LOOK_MM = 0.7  # how far around its point the darkness of a mark is taken


def mark_table(made: Print) -> MarkTable:
    """Marks of a print from LEAST_MM2 to MOST_MM2; the height is the 95th percentile of its cells, burrs off."""
    found = islands(made.seen)
    flat = found.labels.ravel()
    order = np.argsort(flat, kind="stable")
    bounds = np.searchsorted(flat[order], np.arange(1, len(found.area_mm2) + 2))
    pitch, nx = made.face.pitch_mm, made.face.shape[1]
    above, rows = made.above_um.ravel(), []
    kept = []
    dark = _disc_means(made.dark, round(LOOK_MM / pitch))
    for n in np.flatnonzero((found.area_mm2 >= LEAST_MM2) & (found.area_mm2 <= MOST_MM2)):
        cells = order[bounds[n] : bounds[n + 1]]
        i, j = cells // nx, cells % nx
        near = int(np.argmin((i + 0.5 - found.y_mm[n] / pitch) ** 2 + (j + 0.5 - found.x_mm[n] / pitch) ** 2))
        at = i[near], j[near]
        rows.append(((at[1] + 0.5) * pitch, (at[0] + 0.5) * pitch, float(np.percentile(above[cells], 95)),
                     float(found.area_mm2[n]), float(dark[at])))
        kept.append(cells)
    table = np.array(rows).reshape(-1, 5)
    x, y, height, area, dark = (table[:, k].copy() for k in range(5))
    return MarkTable(x, y, height, area, dark, tuple(kept))


def _disc_means(values: NDArray[np.float64], reach: int) -> NDArray[np.float64]:
    """Means over a small square about each cell."""
    from scipy.ndimage import uniform_filter

    return np.asarray(uniform_filter(values, 2 * reach + 1, mode="constant"))


class Bank:
    """Worked coupons, made when they are asked for and kept in the cache folder.

    Parameters
    ----------
    coupons : int
        How many there are to draw from; each is one job with its own seed and hand.
    """

    def __init__(self, coupons: int = COUPONS) -> None:
        self.coupons = coupons
        self._worked: dict[int, dict[int, Worked]] = {}
        self._jobs: dict[int, Job] = {}

    def worked(self, coupon: int, round_: int) -> Worked:
        """The coupon after this round (one of ROUNDS)."""
        if coupon not in self._worked:
            self._worked[coupon] = _kept_rounds(coupon)
        return self._worked[coupon][round_]

    def job(self, coupon: int) -> Job:
        """A fresh job of this coupon, to be changed at will."""
        if coupon not in self._jobs:
            self._jobs[coupon] = begin_job(_start(coupon))
        return self._jobs[coupon].copy()

    def job_after(self, coupon: int, round_: int) -> Job:
        """The job of this coupon with the iron as it was left after a round."""
        job = self.job(coupon)
        worked = self.worked(coupon, round_)
        job.face.height_um[:], job.face.burr_um[:] = worked.height_um, worked.burr_um
        job.round = round_
        return job

    def draw(self, rng: np.random.Generator, rounds: tuple[int, ...]) -> Worked:
        """Any coupon after one of these rounds."""
        return self.worked(int(rng.integers(self.coupons)), int(rounds[int(rng.integers(len(rounds)))]))

    def printed(self, worked: Worked, made: PrintMade) -> Print:
        """A print of a worked coupon, through the shop's own commands."""
        job = self.job(worked.coupon)
        face = job.face
        face.height_um[:] = worked.raw_height_um if made.raw else worked.height_um
        face.burr_um[:] = worked.raw_burr_um if made.raw else worked.burr_um
        rng = np.random.default_rng([made.luck, 73])
        job.round = int(rng.integers(1_000_000))
        if made.older_um:
            perform(RollFilm(made.older_um), job)
            perform(_spot(job, 8.0, rng), job)
            perform(WipeFace(), job)
        older = face.blue_um.copy()
        perform(RollFilm(made.film_um), job)
        spot = _spot(job, made.way_mm, rng)
        job.plate.lint = np.array([(x + spot.x_mm, y + spot.y_mm, h) for x, y, h in made.fibres]).reshape(-1, 3)
        perform(spot, job)
        return Print(face, job.last_poses[0], older)


def _spot(job: Job, way_mm: float, rng: np.random.Generator) -> SpotFace:
    """The face put down somewhere on the plate with room to rub."""
    room = (p - s - 1.0 for p, s in zip(job.plate.size_mm, job.face.size_mm, strict=True))
    x, y = (round(0.5 * way_mm + float(rng.random()) * max(r - way_mm, 0.0), 2) for r in room)
    along = (1.0, 0.0) if rng.random() < 0.5 else (0.0, 1.0)
    return SpotFace(x, y, way_mm, along)


def _start(coupon: int) -> JobStart:
    return JobStart(face=COUPON, plate=PLATE, seed=FIRST_SEED + coupon)


def work_coupon(coupon: int) -> dict[int, Worked]:
    """Let a hand follow the blue on a coupon, and keep what lies there after each of ROUNDS."""
    session = Session.begin(_start(coupon), copies_mb=0.0)
    pilot = autopilot.follow_the_blue(skill.HANDS[HAND_OF[coupon % len(HAND_OF)]])
    kept: dict[int, Worked] = {}
    command, raw = next(pilot), (np.zeros(0, np.float32), np.zeros(0, np.float32))
    while len(kept) < len(ROUNDS):
        session.do(command)
        face = session.job.face
        now = face.height_um.astype(np.float32), face.burr_um.astype(np.float32)
        sight = session.look()
        command = pilot.send(sight)
        if isinstance(command, StoneFace):
            raw = now
        elif isinstance(command, RollFilm) and sight.round in ROUNDS:
            kept[sight.round] = Worked(coupon, sight.round, *now, *raw)
    pilot.close()
    return kept


# ---------------------------------------------------------------- what was worked out before


def cache_folder() -> Path:
    """Folder of the drills in the cache, of this physics and these sources."""
    from sim.school import bank

    text = "\n".join([str(sim.PHYSICS), sources(), *(inspect.getsource(m) for m in (autopilot, lanes, skill, bank))])
    return paths.cache_dir() / "drills" / hashlib.sha256(text.encode()).hexdigest()[:16]


def keep_file(path: Path, data: bytes) -> None:
    """Write to the cache; nothing is lost when that is not possible."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_new(path, data, force=True)
    except (CannotWrite, OSError):
        pass


def _kept_rounds(coupon: int) -> dict[int, Worked]:
    path = cache_folder() / f"coupon-{coupon}.npz"
    names = [one.name for one in Worked.__dataclass_fields__.values() if one.name.endswith("_um")]
    if path.exists():
        try:
            with np.load(path, allow_pickle=False) as box:
                return {r: Worked(coupon, r, *(box[f"{name}/{r}"] for name in names)) for r in ROUNDS}
        except (OSError, ValueError, KeyError):
            path.unlink(missing_ok=True)
    made = work_coupon(coupon)
    out = io.BytesIO()
    np.savez_compressed(out, **{f"{name}/{r}": getattr(made[r], name) for name in names for r in ROUNDS})
    keep_file(path, out.getvalue())
    return made
