"""A job: face, plate, blades and clock, from a start that is data."""

import dataclasses
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from sim.errors import BadParam
from sim.model.blade import RACK, Edge
from sim.model.face import Face
from sim.model.film import Blue
from sim.model.plate import Plate, PlateMake
from sim.process.heat import Soak
from sim.process.machining import Start, machine_face, make_plate
from sim.process.stone import Stone
from sim.process.stroke import Chatter, Iron
from sim.seat.compliant import Body, Compliance
from sim.shop.luck import luck

@dataclass(frozen=True)
class Material:
    """Everything about blue, iron and tools that a job may set; the defaults are the model's."""

    blue: Blue = Blue()
    compliance: Compliance = Compliance()
    iron: Iron = Iron()
    chatter: Chatter = Chatter()
    stone: Stone = Stone()
    soak: Soak = Soak()


@dataclass(frozen=True)
class JobStart:
    """What a job begins from; equal starts give equal jobs."""

    face: Start = Start()
    plate: PlateMake = PlateMake()
    body: Body = Body()
    material: Material = Material()
    seed: int = 1

    def __post_init__(self) -> None:
        if not (isinstance(self.seed, int) and 0 <= self.seed < 2**63):
            raise BadParam(f"seed must be a whole number from 0 to 2^63 - 1, got {self.seed!r}")


@dataclass(eq=False)
class Job:
    """State of a job. Changed by `Session.do` only.

    Attributes
    ----------
    round : int
        Prints made so far.
    clock_s : float
        Shop time.
    strokes, strokes_off_marks : int
        Strokes made; of these, those that cut mostly where no blue was to be seen.
    strokes_this_round, strokes_since_wipe : int
    removed_mm3 : float
        Iron removed by blade, stone and file.
    """

    start: JobStart
    face: Face
    plate: Plate
    edges: dict[str, Edge]
    round: int = 0
    clock_s: float = 0.0
    strokes: int = 0
    strokes_off_marks: int = 0
    strokes_this_round: int = 0
    strokes_since_wipe: int = 0
    removed_mm3: float = 0.0
    last_poses: list[Any] = field(default_factory=list)

    def copy(self) -> "Job":
        """An independent job in the same state."""
        edges = {name: dataclasses.replace(edge) for name, edge in self.edges.items()}
        return dataclasses.replace(self, face=self.face.copy(), plate=self.plate.copy(), edges=edges, last_poses=list(self.last_poses))

    def arrays(self) -> dict[str, np.ndarray]:
        """Every state array by name."""
        f, p = self.face, self.plate
        return {"height_um": f.height_um, "burr_um": f.burr_um, "blue_um": f.blue_um, "iron": f.iron, "scored": f.scored,
                "chips": f.chips, "error_um": p.error_um, "film_um": p.film_um, "lint": p.lint}


def begin_job(start: JobStart) -> Job:
    """The job as it stands before the first command."""
    face = machine_face(start.face, luck(start.seed, "start"))
    plate = make_plate(start.plate, start.face.pitch_mm, luck(start.seed, "plate"))
    edges = {name: Edge(start.material.iron.honed_um) for name in RACK}
    return Job(start, face, plate, edges)
