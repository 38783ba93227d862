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
from sim.model.start import Start
from sim.process.heat import Soak
from sim.process.machining import machine_face, make_plate
from sim.process.stone import Stone
from sim.process.stroke import Chatter, Iron
from sim.seat.compliant import Body, Compliance
from sim.shop.luck import luck

MOST_PLATE_CELLS = 20_000_000


@dataclass(frozen=True)
class Material:
    """Everything about blue, iron and tools that a job may set; the defaults are the model's."""

    blue: Blue = field(default_factory=Blue)
    compliance: Compliance = field(default_factory=Compliance)
    iron: Iron = field(default_factory=Iron)
    chatter: Chatter = field(default_factory=Chatter)
    stone: Stone = field(default_factory=Stone)
    soak: Soak = field(default_factory=Soak)


@dataclass(frozen=True)
class JobStart:
    """What a job begins from; equal starts give equal jobs."""

    face: Start = field(default_factory=Start)
    plate: PlateMake = field(default_factory=PlateMake)
    body: Body = field(default_factory=Body)
    material: Material = field(default_factory=Material)
    seed: int = 1

    def __post_init__(self) -> None:
        if not (isinstance(self.seed, int) and not isinstance(self.seed, bool) and 0 <= self.seed < 2**63):
            raise BadParam(f"seed must be a whole number from 0 to 2^63 - 1, got {self.seed!r}")
        cells = self.plate.length_mm * self.plate.width_mm / self.face.pitch_mm**2
        if cells > MOST_PLATE_CELLS:
            raise BadParam(f"a plate must have at most {MOST_PLATE_CELLS:,} cells of the face's size, got {cells:,.0f}")


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
        face, plate, poses = self.face.copy(), self.plate.copy(), list(self.last_poses)
        return dataclasses.replace(self, face=face, plate=plate, edges=edges, last_poses=poses)

    def arrays(self) -> dict[str, np.ndarray]:
        """Every state array by name."""
        f, p = self.face, self.plate
        return {"height_um": f.height_um, "burr_um": f.burr_um, "blue_um": f.blue_um, "iron": f.iron,
                "scored": f.scored, "chips": f.chips, "error_um": p.error_um, "film_um": p.film_um, "lint": p.lint}


def begin_job(start: JobStart) -> Job:
    """The job as it stands before the first command."""
    face = machine_face(start.face, luck(start.seed, "start"))
    plate = make_plate(start.plate, start.face.pitch_mm, luck(start.seed, "plate"))
    edges = {name: Edge(start.material.iron.honed_um) for name in RACK}
    return Job(start, face, plate, edges)
