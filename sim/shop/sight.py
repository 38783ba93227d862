"""All that a person may see of a job: prints, readings, the clock. Nothing here knows the truth."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.model.heights import Heights
from sim.model.marks import Marks
from sim.model.part import Tolerance
from sim.shop.job import Job, Reading, in_doubt


@dataclass(frozen=True)
class Sight:
    """What lies before a person now.

    Attributes
    ----------
    marked : bool (ny, nx)
        Where the face in hand is seen as blue.
    iron : bool (ny, nx)
        Outline, slots and holes.
    pitch_mm, round, clock_s, strokes : as in the job
    metres : dict
        What each blade has cut since it was honed.
    seed : int
        For the hand's own luck.
    plate_mm, square_mm : (float, float)
        Size of the plate; of the angle plate's upright face, or None where there is none.
    in_hand : str
        Name of the face in hand.
    faces : tuple of str
    written : Heights or None
        Numbers that can still be read on the face in hand, at their places, um; None where nothing was ever written.
    tolerances : tuple of Tolerance
    readings : tuple of Reading or None
        The last one of each tolerance.
    doubts : tuple of bool
        For each tolerance, whether it must be read (again).
    edges_broken : bool
        Whether the face in hand came with a chamfer along its edges.
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
    square_mm: tuple[float, float] | None = None
    in_hand: str = "face"
    faces: tuple[str, ...] = ("face",)
    written: Heights | None = None
    tolerances: tuple[Tolerance, ...] = ()
    readings: tuple[Reading | None, ...] = ()
    doubts: tuple[bool, ...] = ()
    edges_broken: bool = True

    @property
    def size_mm(self) -> tuple[float, float]:
        """Length and width of the face."""
        ny, nx = self.iron.shape
        return nx * self.pitch_mm, ny * self.pitch_mm


def marks_seen(job: Job) -> Marks:
    """The marks that are to be seen on the face in hand, and its iron; copies."""
    face = job.face
    return Marks((face.blue_um >= job.start.material.blue.seen_um) & face.iron, face.iron.copy(), face.pitch_mm)


def look(job: Job) -> Sight:
    """What a person sees of the job now; reads blue, outline, counters, what is written, and nothing else."""
    face = job.face
    marked = face.blue_um >= job.start.material.blue.seen_um
    metres = {name: edge.metres for name, edge in job.edges.items()}
    return Sight(marked, face.iron, face.pitch_mm, job.round, job.clock_s, job.strokes, metres, job.start.seed,
                 job.plate.size_mm, job.square.size_mm if job.square is not None else None, job.in_hand,
                 tuple(job.cuts), job.part.numbers(job.in_hand), job.start.shape.tolerances, tuple(job.readings),
                 tuple(in_doubt(job)), job.start.shape.face(job.in_hand).start.edge_break_mm > 0.0)

