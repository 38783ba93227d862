"""A job: part, plates, blades and clock, from a start that is data."""

import dataclasses
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from sim.errors import BadParam
from sim.model.blade import RACK, Edge
from sim.model.face import Face
from sim.model.film import Blue
from sim.model.part import FaceShape, Part, PartShape
from sim.model.plate import Plate, PlateMake
from sim.model.start import Start
from sim.process.heat import Soak
from sim.process.machining import machine_face, make_plate
from sim.process.stone import Stone
from sim.process.stroke import Chatter, Iron
from sim.seat.compliant import Body, Compliance
from sim.shop.luck import luck

MOST_PLATE_CELLS = 20_000_000
ON_FACE = ("height_um", "burr_um", "blue_um", "iron", "scored", "chips")
ON_PLATE = ("error_um", "film_um", "lint")
WRITTEN = ("x_mm", "y_mm", "reading_um", "iron_um")
SQUARE = PlateMake(150.0, 120.0, 0.5)
"""The upright face of an angle plate, as true as the plate: common practice, no source."""
ROUND_SQUARE_MM = 40.0, 60.0
"""What a larger angle plate has beyond the longest and widest face that is set against it: room to rub."""


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
    """What a job begins from; equal starts give equal jobs.

    face and body are those of a part of one face; `part`, where it is given, takes their place.
    """

    face: Start = field(default_factory=Start)
    plate: PlateMake = field(default_factory=PlateMake)
    body: Body = field(default_factory=Body)
    material: Material = field(default_factory=Material)
    seed: int = 1
    part: PartShape | None = None

    def __post_init__(self) -> None:
        if not (isinstance(self.seed, int) and not isinstance(self.seed, bool) and 0 <= self.seed < 2**63):
            raise BadParam(f"seed must be a whole number from 0 to 2^63 - 1, got {self.seed!r}")
        for plate in (self.plate, self.square):
            cells = plate.length_mm * plate.width_mm / self.pitch_mm**2 if plate is not None else 0.0
            if cells > MOST_PLATE_CELLS:
                raise BadParam(f"a plate must have at most {MOST_PLATE_CELLS:,} cells of the face's size, got "
                               f"{cells:,.0f}")  # fmt: skip

    @property
    def shape(self) -> PartShape:
        """The part; one of a single face where none was named."""
        if self.part is not None:
            return self.part
        only = FaceShape(start=self.face, thickness_mm=self.body.thickness_mm)
        middle = (0.5 * self.face.length_mm, 0.5 * self.face.width_mm, -0.5 * self.body.thickness_mm)
        return PartShape("part", self.body.mass_kg, middle, (only,))

    @property
    def pitch_mm(self) -> float:
        """Side of a cell, of every face and plate."""
        return self.shape.faces[0].start.pitch_mm

    @property
    def square(self) -> PlateMake | None:
        """The upright face of an angle plate, for a part with a face square to another; large enough for it."""
        upright = {one.face for one in self.shape.tolerances if one.kind == "perpendicularity"}
        sizes = [(one.start.length_mm, one.start.width_mm) for one in self.shape.faces if one.name in upright]
        if not sizes:
            return None
        length, width = (max(side) + room for side, room in zip(zip(*sizes, strict=True), ROUND_SQUARE_MM, strict=True))
        return dataclasses.replace(SQUARE, length_mm=max(SQUARE.length_mm, length),
                                   width_mm=max(SQUARE.width_mm, width))

    def body_behind(self, face: str) -> Body:
        """What weighs on a face that lies on the plate, and the iron behind it.

        A part whose centre of gravity is not well over the face is held by hand, its weight over the middle.
        """
        if self.part is None:
            return self.body
        shape = self.part.face(face)
        x, y = shape.frame.face_mm(self.part.centre_mm)
        inside = all(0.1 * side <= at <= 0.9 * side for at, side in
                     ((x, shape.start.length_mm), (y, shape.start.width_mm)))  # fmt: skip
        return Body(self.part.mass_kg, shape.thickness_mm, (x, y) if inside else None)


@dataclass(frozen=True)
class Reading:
    """What an indicator said of a tolerance, and how often each of the two faces had been cut by then.

    both_ways: it was read a second time with the part turned, and is free of the error of stand or square.
    """

    value_um: float
    face_cuts: int
    datum_cuts: int
    clock_s: float
    both_ways: bool = False


@dataclass(eq=False)
class Job:
    """State of a job. Changed by `Session.do` only.

    Attributes
    ----------
    part : Part
    in_hand : str
        The face that is worked.
    plate : Plate
    square : Plate or None
        The upright face of an angle plate, for a part that has a face square to another.
    round : int
        Prints made so far.
    clock_s : float
        Shop time.
    strokes, strokes_off_marks : int
        Strokes made; of these, those that cut mostly where no blue was to be seen.
    strokes_this_round, strokes_since_wipe : int
    removed_mm3 : float
        Iron removed by blade, stone, file and machine.
    cuts : dict
        How many strokes, stonings and other acts took iron off each face.
    sweeps, recuts : int
        Times that the indicator, and a machine, was used in this round.
    readings : list of Reading or None
        The last reading for each tolerance of the part, in their order.
    """

    start: JobStart
    part: Part
    in_hand: str
    plate: Plate
    square: Plate | None
    edges: dict[str, Edge]
    round: int = 0
    clock_s: float = 0.0
    strokes: int = 0
    strokes_off_marks: int = 0
    strokes_this_round: int = 0
    strokes_since_wipe: int = 0
    removed_mm3: float = 0.0
    cuts: dict[str, int] = field(default_factory=dict)
    sweeps: int = 0
    recuts: int = 0
    readings: list[Reading | None] = field(default_factory=list)
    last_poses: list[Any] = field(default_factory=list)

    @property
    def face(self) -> Face:
        """The face in hand."""
        return self.part.faces[self.in_hand]

    @property
    def body(self) -> Body:
        """What weighs on the face in hand when it lies on the plate."""
        return self.start.body_behind(self.in_hand)

    def begin_round(self) -> None:
        """A print was made: what is counted within a round begins anew."""
        self.round += 1
        self.strokes_this_round = self.sweeps = self.recuts = 0

    def copy(self) -> "Job":
        """An independent job in the same state."""
        edges = {name: dataclasses.replace(edge) for name, edge in self.edges.items()}
        square = None if self.square is None else self.square.copy()
        return dataclasses.replace(self, part=self.part.copy(), plate=self.plate.copy(), square=square, edges=edges,
                                   cuts=dict(self.cuts), readings=list(self.readings),
                                   last_poses=list(self.last_poses))

    def arrays(self) -> dict[str, np.ndarray]:
        """Every state array by name: `height_um` and so on of the first face and the plate, `top/height_um` of others,
        `square/film_um` of the angle plate."""
        found: dict[str, np.ndarray] = {}
        for n, (name, f) in enumerate(self.part.faces.items()):
            before = f"{name}/" if n else ""
            found |= {f"{before}{one}": getattr(f, one) for one in ON_FACE}
        for before, plate in (("", self.plate), ("square/", self.square)):
            if plate is not None:
                found |= {f"{before}{one}": getattr(plate, one) for one in ON_PLATE}
        for name, written in self.part.written.items():
            found |= {f"{name}/written/{one}": getattr(written, one) for one in WRITTEN}
        return found


def begin_job(start: JobStart) -> Job:
    """The job as it stands before the first command."""
    shape = start.shape
    faces = {one.name: machine_face(one.start, luck(start.seed, "start", 0, n)) for n, one in enumerate(shape.faces)}
    plate = make_plate(start.plate, start.pitch_mm, luck(start.seed, "plate"))
    square = make_plate(start.square, start.pitch_mm, luck(start.seed, "plate", 0, 1)) if start.square else None
    edges = {name: Edge(start.material.iron.honed_um) for name in RACK}
    return Job(start, Part(shape, faces), shape.faces[0].name, plate, square, edges,
               cuts=dict.fromkeys(faces, 0), readings=[None] * len(shape.tolerances))


def in_doubt(job: Job) -> list[bool]:
    """For each tolerance, whether it has never been read, or one of its faces was cut since it was."""
    found = []
    for tolerance, reading in zip(job.start.shape.tolerances, job.readings, strict=True):
        now = job.cuts[tolerance.face], job.cuts[tolerance.datum]
        found.append(reading is None or now != (reading.face_cuts, reading.datum_cuts))
    return found
