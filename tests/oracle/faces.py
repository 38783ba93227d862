"""Six faces of one job, from milled to finished, for the oracles to judge; kept in the user's cache folder."""

import hashlib
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

import sim
from sim import paths
from sim.hands.autopilot import STAGES, follow_the_blue
from sim.hands.skill import HANDS
from sim.measure.verdict import score
from sim.shop.commands import RollFilm, WipeFace, perform
from sim.shop.job import Job, JobStart, begin_job
from sim.shop.sight import look
from sim.target import Target

FACES = ("milled", "rough", "semi", "fine", "even", "finished")
"""Milled; at the end of each of the pilot's four stages, the last of which ends where the target is first met or at
round STAGES_TO; and worked on to round WORKED_TO."""
STAGES_TO = 30
WORKED_TO = 40
PITCH_MM = 0.25


def six_faces(seed: int = 1) -> dict[str, NDArray[np.float64]]:
    """What meets the plate (height and burr, um, (440, 640)) of each of FACES of a skilled hand.

    Worked once for a physics number and the sources that make faces, then read from the cache.
    """
    path = paths.cache_dir() / "oracle" / f"faces-physics{sim.PHYSICS}-{sources()}-seed{seed}.npz"
    if path.is_file():
        with np.load(path, allow_pickle=False) as kept:
            return {name: kept[name] for name in FACES}
    made = scraped(seed)
    keep(path, made)
    return made


def sources() -> str:
    """Short hash of every source of `sim` that has a part in a face: what was kept under another one is stale."""
    root = Path(sim.__file__).parent
    rooms = ("kernels", "model", "seat", "process", "shop", "hands", "measure")
    files = sorted(path for room in rooms for path in (root / room).rglob("*.py"))
    told = hashlib.sha256()
    for path in (*files, root / "params.py", root / "target.py"):
        told.update(path.relative_to(root).as_posix().encode() + b"\0" + path.read_bytes() + b"\0")
    return told.hexdigest()[:12]


def scraped(seed: int) -> dict[str, NDArray[np.float64]]:
    """The faces, worked.

    Notes
    -----
    A stage begins with its own film, which none before it goes as thin as: the round that is scraped after it, with
    the stage's blade and push, is its first.
    """
    job = begin_job(JobStart(seed=seed))
    made = {"milled": standing(job)}
    pilot = follow_the_blue(HANDS["skilled"])
    command = next(pilot)
    stage, met = 0, False
    while True:
        if isinstance(command, RollFilm) and stage < len(STAGES) - 1:
            stage += command.weight_um <= STAGES[stage + 1].film_um
        perform(command, job)
        if isinstance(command, WipeFace) and job.round > 0:  # a round ends stoned and wiped
            if not met:
                made[FACES[1 + stage]] = standing(job)  # that of the stage's last round stays
            met = met or job.round >= STAGES_TO or score(job.face, Target(), job.body).meets(Target())
            if job.round >= WORKED_TO:
                return {**made, "finished": standing(job)}
        command = pilot.send(look(job))


def standing(job: Job) -> NDArray[np.float64]:
    """Height and burr, um."""
    return np.asarray(job.face.height_um + job.face.burr_um)


def keep(path: Path, made: dict[str, NDArray[np.float64]]) -> None:
    """Write the faces under a temporary name, then rename: another process never reads half a file."""
    path.parent.mkdir(parents=True, exist_ok=True)
    fresh = path.with_suffix(".new.npz")
    np.savez_compressed(fresh, allow_pickle=False, **made)
    fresh.replace(path)


def rough_surface_um(rng: np.random.Generator, rms_um: float) -> NDArray[np.float64]:
    """A self-affine surface of Hurst exponent 0.8, smooth below 1 mm and level above 20 mm, um; of the faces' size."""
    shape = (440, 640)
    waves = np.hypot(np.fft.fftfreq(shape[0], PITCH_MM)[:, None], np.fft.rfftfreq(shape[1], PITCH_MM)[None, :])
    power = np.where(waves < 1.0, np.maximum(waves, 1.0 / 20.0) ** -(2.0 * 0.8 + 2.0), 0.0)
    power[0, 0] = 0.0
    white = np.fft.rfft2(rng.standard_normal(shape))
    rough = np.fft.irfft2(white * np.sqrt(power), s=shape)
    return np.ascontiguousarray(rough * (rms_um / rough.std()))
