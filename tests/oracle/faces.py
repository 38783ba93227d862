"""Six faces of one job, from milled to finished, for the oracles to judge; kept in the user's cache folder."""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

import sim
from sim import paths
from sim.hands.autopilot import follow_the_blue
from sim.hands.skill import HANDS
from sim.shop.commands import WipeFace, perform
from sim.shop.job import JobStart, begin_job
from sim.shop.sight import look

ROUNDS = (0, 3, 8, 12, 16, 24)  # milled, four stages of scraping, finished
PITCH_MM = 0.25


def six_faces(seed: int = 1) -> dict[int, NDArray[np.float64]]:
    """What meets the plate (height and burr, um, (440, 640)) after each of ROUNDS of a skilled hand.

    Worked once for a physics number, then read from the cache.
    """
    path = paths.cache_dir() / "oracle" / f"faces-physics{sim.PHYSICS}-seed{seed}.npz"
    if path.is_file():
        with np.load(path, allow_pickle=False) as kept:
            return {n: kept[f"round{n}"] for n in ROUNDS}
    made = scraped(seed)
    keep(path, made)
    return made


def scraped(seed: int) -> dict[int, NDArray[np.float64]]:
    """The faces, worked."""
    job = begin_job(JobStart(seed=seed))
    made = {0: job.face.height_um + job.face.burr_um}
    pilot = follow_the_blue(HANDS["skilled"])
    command = next(pilot)
    while max(made) < ROUNDS[-1]:
        perform(command, job)
        if isinstance(command, WipeFace) and job.round in ROUNDS:  # a round ends stoned and wiped
            made[job.round] = job.face.height_um + job.face.burr_um
        command = pilot.send(look(job))
    return made


def keep(path: Path, made: dict[int, NDArray[np.float64]]) -> None:
    """Write the faces under a temporary name, then rename: another process never reads half a file."""
    path.parent.mkdir(parents=True, exist_ok=True)
    fresh = path.with_suffix(".new.npz")
    np.savez_compressed(fresh, **{f"round{n}": top for n, top in made.items()})
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
