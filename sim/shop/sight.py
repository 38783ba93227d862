"""All that a person may see of a job: prints, readings, the clock. Nothing here knows the truth."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.shop.job import Job


@dataclass(frozen=True)
class Sight:
    """What lies before a person now.

    Attributes
    ----------
    marked : bool (ny, nx)
        Where the face is seen as blue.
    iron : bool (ny, nx)
        Outline, slots and holes.
    pitch_mm, round, clock_s, strokes : as in the job
    metres : dict
        What each blade has cut since it was honed.
    seed : int
        For the hand's own luck.
    plate_mm : (float, float)
        Size of the plate.
    """

    marked: NDArray[np.bool_]
    iron: NDArray[np.bool_]
    pitch_mm: float
    round: int
    clock_s: float
    strokes: int
    metres: dict[str, float]
    seed: int
    plate_mm: tuple[float, float]

    @property
    def size_mm(self) -> tuple[float, float]:
        """Length and width of the face."""
        ny, nx = self.iron.shape
        return nx * self.pitch_mm, ny * self.pitch_mm


def look(job: Job) -> Sight:
    """What a person sees of the job now; reads blue, outline, counters and nothing else."""
    face = job.face
    marked = face.blue_um >= job.start.material.blue.seen_um
    metres = {name: edge.metres for name, edge in job.edges.items()}
    return Sight(marked, face.iron, face.pitch_mm, job.round, job.clock_s, job.strokes, metres, job.start.seed,
                 job.plate.size_mm)
