"""A part: one rigid body of named faces, each with its own heights, in the body's frame; what is written on it."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sim.model.face import Face
from sim.model.heights import Heights
from sim.model.start import Start
from sim.target import Target
from sim.units import UM_PER_MM

Vector3 = tuple[float, float, float]
FADED_UM = 1.0  # a cell scraped by more than this has lost its part of a number: common practice, no source
KINDS_OF_TOLERANCE = ("parallelism", "perpendicularity")


@dataclass(frozen=True)
class Frame:
    """Where a face lies in its part: its corner (0, 0), and the directions of its x and y, in the body's frame (mm).

    The body's z is up when the part stands on its datum. The three directions are of length 1 and right-handed: along
    x, along y, out of the iron.
    """

    origin_mm: Vector3 = (0.0, 0.0, 0.0)
    along: Vector3 = (1.0, 0.0, 0.0)
    across: Vector3 = (0.0, 1.0, 0.0)

    @property
    def out(self) -> Vector3:
        """Direction out of the iron: along x across."""
        (a, b, c), (d, e, f) = self.along, self.across
        return (b * f - c * e, c * d - a * f, a * e - b * d)

    def body_mm(self, x_mm: NDArray[np.float64], y_mm: NDArray[np.float64],
                height_um: NDArray[np.float64]) -> NDArray[np.float64]:
        """Points of the face in the body's frame, mm, float64 (n, 3); the arguments are (n,)."""
        z_mm = height_um / UM_PER_MM
        columns = [o + x_mm * a + y_mm * c + z_mm * n
                   for o, a, c, n in zip(self.origin_mm, self.along, self.across, self.out, strict=True)]
        return np.column_stack(columns)

    def face_mm(self, point_mm: Vector3) -> tuple[float, float]:
        """x and y of a point of the body, seen along the face's normal."""
        away = [p - o for p, o in zip(point_mm, self.origin_mm, strict=True)]
        return tuple(sum(d * e for d, e in zip(away, axis, strict=True)) for axis in (self.along, self.across))  # type: ignore[return-value]


@dataclass(frozen=True)
class FaceShape:
    """A face as the drawing has it: name, how it starts, where it lies, iron behind it, and when it is done."""

    name: str = "face"
    start: Start = field(default_factory=Start)
    frame: Frame = field(default_factory=Frame)
    thickness_mm: float = 25.0
    target: Target = field(default_factory=Target)


@dataclass(frozen=True)
class Tolerance:
    """What the drawing asks of one face against another: kind, face, datum and the limit, um."""

    kind: str = "parallelism"
    face: str = "top"
    datum: str = "foot"
    limit_um: float = 5.0


@dataclass(frozen=True)
class PartShape:
    """A part as the drawing has it; equal shapes and seeds give equal parts.

    Attributes
    ----------
    name, title : str
        A short one, and one for the head of a report.
    mass_kg : float
    centre_mm : (x, y, z)
        Centre of gravity in the body's frame.
    faces : tuple of FaceShape
        All of one pitch; the first is worked first.
    tolerances : tuple of Tolerance
    """

    name: str = "part"
    mass_kg: float = 4.0
    centre_mm: Vector3 = (80.0, 55.0, 40.0)
    faces: tuple[FaceShape, ...] = (FaceShape(),)
    tolerances: tuple[Tolerance, ...] = ()
    title: str = ""

    def face(self, name: str) -> FaceShape:
        """The face of this name; KeyError for a name that no face has."""
        for one in self.faces:
            if one.name == name:
                return one
        raise KeyError(name)


@dataclass(eq=False)
class Written:
    """Readings written on a face, each beside the place where it was taken; a number goes when its iron is scraped.

    Attributes
    ----------
    x_mm, y_mm, reading_um : float64 (n,)
        In the frame of the face; what the indicator said.
    iron_um : float64 (n, k, k)
        Heights of the cells that carry each number as it was written; VOID_UM off the iron.
    round : int
        Prints made before.
    turned : bool
        The part stood end for end under the indicator.
    datum : str
        The face that it stood on.
    cuts : (int, int)
        How often the face and its datum had been cut by then.
    """

    x_mm: NDArray[np.float64]
    y_mm: NDArray[np.float64]
    reading_um: NDArray[np.float64]
    iron_um: NDArray[np.float64]
    round: int
    turned: bool = False
    datum: str = ""
    cuts: tuple[int, int] = (0, 0)


@dataclass(eq=False)
class Part:
    """State of a part: the heights of its faces and what is written on them. Changed by `Session.do` only."""

    shape: PartShape
    faces: dict[str, Face]
    written: dict[str, Written] = field(default_factory=dict)

    def numbers(self, name: str) -> Heights | None:
        """What can still be read on a face: numbers of which half of the iron is as it was; None if none was taken."""
        written, face = self.written.get(name), self.faces[name]
        if written is None:
            return None
        side = written.iron_um.shape[1]
        row, col = number_cells(written.x_mm, written.y_mm, side, face)
        one = np.arange(side)
        now_um = face.height_um[row[:, None, None] + one[:, None], col[:, None, None] + one]
        kept = (now_um >= written.iron_um - FADED_UM).mean(axis=(1, 2)) >= 0.5
        return Heights(written.x_mm[kept], written.y_mm[kept], written.reading_um[kept])

    def copy(self) -> "Part":
        """An independent part in the same state; what is written is never changed, only replaced."""
        return Part(self.shape, {name: face.copy() for name, face in self.faces.items()}, dict(self.written))


def number_cells(x_mm: NDArray[np.float64], y_mm: NDArray[np.float64], side: int,
                 face: Face) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Row and column of the first of side x side cells that carry a number written at a place; all on the face."""
    row, col = (np.clip(np.rint(v / face.pitch_mm - 0.5 * side).astype(np.int64), 0, n - side)
                for v, n in zip((y_mm, x_mm), face.shape, strict=True))
    return row, col
