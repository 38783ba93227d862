"""Commands: everything that can be done to a job, as data.

A command says what would stand in its way (`problems`), how long it takes on the shop clock (`takes_s`), and acts.
"""

import dataclasses
from dataclasses import dataclass
from functools import cached_property
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from sim.errors import BadParam
from sim.model.blade import RACK, Edge
from sim.model.plate import Plate
from sim.process import bluing, heat, machining, stone, stroke
from sim.shop.job import Job
from sim.shop.luck import luck

COMMANDS: dict[str, type["Command"]] = {}
MOST_STROKES = 2000
MOST_HANDS = 20
PER_MM_N = np.array([100.0, 100.0, 100.0, 100.0, 10.0])  # strokes as data: 0.01 mm, 0.1 N
FARTHEST = 1_000_000  # 10 m, in 0.01 mm
OFF_MARK_SHARE = 0.1  # a stroke is off the marks when less than this share of what it cut was blue


def shown(value: Any) -> str:
    """A value as it is quoted in a message: never long, whatever it is."""
    try:
        text = repr(value)
    except (ValueError, RecursionError):  # a whole number of thousands of digits, lists without end
        text = f"a {type(value).__name__}"
    return text if len(text) <= 60 else text[:60] + "..."


def number_fault(name: str, value: Any, low: float, high: float, *, unit: str = "", above: bool = False) -> list[str]:
    """A line when the value is not a number from low to high; with `above`, low itself is not allowed."""
    is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
    if is_number and low <= value <= high and not (above and value == low):
        return []
    return [f"{name} must be in {'(' if above else '['}{low:g}, {high:g}] {unit}".rstrip() + f", got {shown(value)}"]


def is_row(value: Any, count: int) -> bool:
    """True for a tuple of so many numbers; nan and infinity are numbers here, and fail the range that follows."""
    return isinstance(value, tuple) and len(value) == count and all(isinstance(v, (int, float)) for v in value)


def word_fault(name: str, value: Any, allowed: Any) -> list[str]:
    """A line when the value is none of the words allowed."""
    if isinstance(value, str) and value in allowed:
        return []
    return [f"{name} must be one of {', '.join(allowed)}, got {shown(value)}"]


@dataclass(frozen=True)
class Command:
    """Root of all commands; a subclass is registered under its name."""

    seconds: ClassVar[float] = 0.0  # common practice, no source

    def __init_subclass__(cls) -> None:
        COMMANDS[cls.__name__] = cls

    def problems(self, job: Job) -> list[str]:
        """What makes this command impossible now; empty when it is possible."""
        return []

    def warnings(self, job: Job) -> list[str]:
        """What speaks against it though it is possible; empty when nothing does."""
        return []

    def takes_s(self, job: Job) -> float:
        """Shop time it takes."""
        return self.seconds

    @property
    def bites(self) -> int:
        """How often it takes iron off the face in hand: what was read of that face before is in doubt."""
        return 0

    def act(self, job: Job) -> Any:
        """Do it; changes `job`. Called by `Session.do` only, after `problems` came back empty."""
        raise AttributeError(f"{type(self).__name__} does not act")


def plate_of(job: Job, on: Any) -> tuple[Plate | None, list[str]]:
    """The plate of this name; None, and a line that says why, when there is none."""
    if on == "plate":
        return job.plate, []
    if on == "angle plate" and job.square is not None:
        return job.square, []
    words = ("plate",) if job.square is None else ("plate", "angle plate")
    return None, word_fault("on", on, words)


@dataclass(frozen=True)
class RollFilm(Command):
    """Roll or rub a film on the plate or the angle plate: its mean weight, or None to spread what is there."""

    weight_um: float | None = 3.0
    applicator: str = "brayer"
    on: str = "plate"
    seconds: ClassVar[float] = 45.0

    def problems(self, job: Job) -> list[str]:
        plate, found = plate_of(job, self.on)
        if self.weight_um is not None:
            found += number_fault("weight_um", self.weight_um, 0.0, 50.0, unit="um", above=True)
        elif plate is not None and not plate.film_um.any():
            found.append(f"there is no blue on the {self.on} to spread: give a weight")
        return found + word_fault("applicator", self.applicator, ("brayer", "rag"))

    def act(self, job: Job) -> None:
        plate, _ = plate_of(job, self.on)
        assert plate is not None  # or `problems` would have said so
        number = 0 if self.on == "plate" else 1
        rng = luck(job.start.seed, "film", job.round, number)
        bluing.roll_film(plate, rng, self.weight_um, self.applicator, job.start.material.blue)


@dataclass(frozen=True)
class SpotFace(Command):
    """Put the face on the plate with its corner at x, y, rub it, lift it: a new round begins with its print.

    method "plate": the blue is on the plate; "part": the blue is on the face and the plate is clean.
    read_s: time spent on reading the print. turn_deg: 0, or 180 when the face lies end for end; x and y are then
    counted from the other corner of the plate.
    """

    x_mm: float = 40.0
    y_mm: float = 35.0
    way_mm: float = 10.0
    along: tuple[float, float] = (1.0, 0.0)
    hands: tuple[tuple[float, float, float], ...] = ()
    method: str = "plate"
    read_s: float = 30.0
    turn_deg: float = 0.0
    seconds: ClassVar[float] = 60.0

    def problems(self, job: Job) -> list[str]:
        length, width = job.face.size_mm
        across, deep = job.plate.size_mm
        cell = job.face.pitch_mm  # one row of cells at least lies on the plate
        found = number_fault("x_mm", self.x_mm, cell - length, across - cell, unit="mm")
        found += number_fault("y_mm", self.y_mm, cell - width, deep - cell, unit="mm")
        found += number_fault("read_s", self.read_s, 0.0, 3600.0, unit="s")
        found += number_fault("way_mm", self.way_mm, 0.0, 300.0, unit="mm")
        found += word_fault("method", self.method, ("plate", "part"))
        if self.turn_deg not in (0, 180) or isinstance(self.turn_deg, bool):
            found.append(f"turn_deg must be 0 or 180 deg, got {shown(self.turn_deg)}")
        inside = is_row(self.along, 2) and all(-1.01 <= v <= 1.01 for v in self.along)
        if not inside or not 0.98 < self.along[0] ** 2 + self.along[1] ** 2 < 1.02:
            found.append(f"along must be a direction of length 1, got {shown(self.along)}")
        if not isinstance(self.hands, tuple) or len(self.hands) > MOST_HANDS:
            return [*found, f"hands must be at most {MOST_HANDS} of x_mm, y_mm, N, got {shown(self.hands)}"]
        for hand in self.hands:
            most = (length, width, 1000.0)
            if not is_row(hand, 3) or not all(0.0 <= v <= high for v, high in zip(hand, most, strict=True)):
                place = f"on the face ({length:g} x {width:g} mm)"
                found.append(f"a hand must press {place} with 0 to 1000 N, got {shown(hand)}")
        return found

    def takes_s(self, job: Job) -> float:
        return self.seconds + self.read_s

    def act(self, job: Job) -> None:
        m = job.start.material
        if job.strokes_since_wipe:
            leave_chips(job)
        rub = bluing.Rub(self.x_mm, self.y_mm, self.way_mm, self.along, self.hands, self.turn_deg == 180)
        print_face = bluing.spot_face if self.method == "plate" else bluing.rub_blued_face
        job.last_poses = print_face(
            job.face, job.plate, rub, body=job.body, compliance=m.compliance, blue=m.blue)
        job.begin_round()


def leave_chips(job: Job) -> None:
    """Chips on a face that was scraped and not wiped; changes `job`."""
    rng = luck(job.start.seed, "chips", job.round, list(job.cuts).index(job.in_hand))
    count = int(rng.poisson(job.start.material.blue.chips_per_stroke * job.strokes_since_wipe))
    length, width = job.face.size_mm
    new = [rng.uniform(0.0, length, count), rng.uniform(0.0, width, count), rng.uniform(10.0, 20.0, count)]
    job.face.chips = np.vstack([job.face.chips, np.column_stack(new)])


@dataclass(frozen=True)
class BlueFace(Command):
    """Blue the face itself, for the second method."""

    weight_um: float = 1.5
    seconds: ClassVar[float] = 60.0

    def problems(self, job: Job) -> list[str]:
        return number_fault("weight_um", self.weight_um, 0.0, 50.0, unit="um", above=True)

    def act(self, job: Job) -> None:
        bluing.blue_face(job.face, job.plate, self.weight_um)


@dataclass(frozen=True)
class WipeFace(Command):
    """Wipe chips and blue off the face."""

    seconds: ClassVar[float] = 40.0

    def act(self, job: Job) -> None:
        bluing.wipe_face(job.face, job.plate, job.start.material.blue)
        job.strokes_since_wipe = 0


@dataclass(frozen=True)
class WipePlate(Command):
    """Clean the plate or the angle plate of blue and lint."""

    on: str = "plate"
    seconds: ClassVar[float] = 60.0

    def problems(self, job: Job) -> list[str]:
        return plate_of(job, self.on)[1]

    def act(self, job: Job) -> None:
        plate, _ = plate_of(job, self.on)
        assert plate is not None  # or `problems` would have said so
        bluing.wipe_plate(plate)


@dataclass(frozen=True)
class Scrape(Command):
    """Strokes, in order: x0, y0, x1, y1 in 0.01 mm and push in 0.1 N, all whole numbers.

    care: how the hand eases off over an edge (1 skilled, 0.5 careless); ramp_mm: way over which push rises and falls;
    pace_per_min: strokes a minute.
    """

    blade: str = "fine"
    strokes: tuple[tuple[int, int, int, int, int], ...] = ()
    care: float = 1.0
    ramp_mm: float = 1.0
    pace_per_min: float = 60.0

    @cached_property
    def table(self) -> NDArray[np.int64] | None:
        """The strokes as int64 (n, 5); None when they are anything but rows of five whole numbers."""
        try:
            table = np.array(self.strokes)
        except (ValueError, TypeError, OverflowError):
            return None
        whole = table.dtype.kind == "i" and table.ndim == 2 and table.shape[1] == 5
        return table.astype(np.int64, copy=False) if whole else None

    @property
    def made(self) -> NDArray[np.float64]:
        """The strokes in mm and N, float64 (n, 5)."""
        return np.array(self.table, dtype=np.float64) / PER_MM_N

    def problems(self, job: Job) -> list[str]:
        found = word_fault("blade", self.blade, RACK) + number_fault("care", self.care, 0.5, 1.0)
        found += number_fault("ramp_mm", self.ramp_mm, 0.05, 20.0, unit="mm")
        found += number_fault("pace_per_min", self.pace_per_min, 1.0, 300.0)
        if not isinstance(self.strokes, tuple) or not 1 <= len(self.strokes) <= MOST_STROKES:
            count = len(self.strokes) if isinstance(self.strokes, tuple) else shown(self.strokes)
            return [*found, f"strokes must be 1 to {MOST_STROKES}, got {count}"]
        if self.table is None:
            whole = [is_row(s, 5) and all(isinstance(v, int) and abs(v) < 2**62 for v in s) for s in self.strokes]
            n = whole.index(False) if False in whole else 0
            return [*found, f"stroke {n} must be five whole numbers (0.01 mm, 0.1 N), got {shown(self.strokes[n])}"]
        place, push = self.table[:, :4], self.table[:, 4]
        far = np.any((place <= -FARTHEST) | (place >= FARTHEST), axis=1)
        way = np.where(far[:, None], 0, place[:, 2:] - place[:, :2])
        square = way[:, 0] ** 2 + way[:, 1] ** 2
        wrong = far | (square <= 10**2) | (square >= 20000**2) | (push < 0) | (push > 9000)
        if wrong.any():
            n = int(np.argmax(wrong))
            allowed = "between 0.1 and 200 mm long, within 10 m, with a push of 0 to 900 N"
            found.append(f"stroke {n} must be {allowed}, got {shown(self.strokes[n])} (0.01 mm, 0.1 N)")
        return found

    def takes_s(self, job: Job) -> float:
        return len(self.strokes) * 60.0 / self.pace_per_min

    @property
    def bites(self) -> int:
        return len(self.strokes)

    def act(self, job: Job) -> stroke.Cut:
        m = job.start.material
        strokes = self.made
        blade, edge = RACK[self.blade], job.edges[self.blade]
        cut = stroke.scrape(job.face, job.plate, blade, edge, strokes, care=self.care, ramp_mm=self.ramp_mm,
                            iron=m.iron, chatter=m.chatter, seen_um=m.blue.seen_um)
        count = len(self.strokes)
        job.strokes += count
        job.strokes_this_round += count
        job.strokes_since_wipe += count
        job.strokes_off_marks += int((cut.inked_cells < OFF_MARK_SHARE * np.maximum(cut.cells, 1.0)).sum())
        for removed in cut.removed_mm3:
            job.removed_mm3 += float(removed)
        return cut


@dataclass(frozen=True)
class StoneFace(Command):
    """One pass of a flat stone, light or firm."""

    pressure: str = "light"
    seconds: ClassVar[float] = 60.0

    def problems(self, job: Job) -> list[str]:
        return word_fault("pressure", self.pressure, ("light", "firm"))

    @property
    def bites(self) -> int:
        return 1

    def act(self, job: Job) -> None:
        job.removed_mm3 += stone.stone_face(job.face, self.pressure, job.start.material.stone)


@dataclass(frozen=True)
class HoneBlade(Command):
    """Restore a blade's edge."""

    blade: str = "fine"
    seconds: ClassVar[float] = 120.0

    def problems(self, job: Job) -> list[str]:
        return word_fault("blade", self.blade, RACK)

    def act(self, job: Job) -> None:
        job.edges[self.blade] = Edge(job.start.material.iron.honed_um)


@dataclass(frozen=True)
class LetSoak(Command):
    """Leave the part alone for some minutes, so that warmth evens out."""

    minutes: float = 30.0

    def problems(self, job: Job) -> list[str]:
        return number_fault("minutes", self.minutes, 0.0, 10_000.0, above=True)

    def takes_s(self, job: Job) -> float:
        return self.minutes * 60.0

    def act(self, job: Job) -> None:
        """Time passes by the clock alone."""


@dataclass(frozen=True)
class BreakEdges(Command):
    """File a chamfer on every edge that has none."""

    width_mm: float = 0.6
    seconds: ClassVar[float] = 600.0

    def problems(self, job: Job) -> list[str]:
        return number_fault("width_mm", self.width_mm, 0.0, 10.0, unit="mm", above=True)

    @property
    def bites(self) -> int:
        return 1

    def act(self, job: Job) -> None:
        before = job.face.height_um[job.face.iron]
        machining.break_edges(job.face, self.width_mm)
        job.removed_mm3 += float((before - job.face.height_um[job.face.iron]).sum()) * job.face.cell_mm2 * 1e-3


def perform(command: Command, job: Job) -> Any:
    """Act and let the shop time pass; changes `job`."""
    seconds = command.takes_s(job)
    result = command.act(job)
    job.cuts[job.in_hand] += command.bites
    job.clock_s += seconds
    for face in job.part.faces.values():
        heat.soak(face, seconds, job.start.material.soak)
    return result


def as_data(command: Command) -> dict[str, Any]:
    """A command as plain data: {"do": name, ...}."""
    return {"do": type(command).__name__, **{f.name: getattr(command, f.name) for f in dataclasses.fields(command)}}


def from_data(data: dict[str, Any]) -> Command:
    """The command that `as_data` wrote.

    Raises
    ------
    BadParam
        Unknown name, unknown or wrong fields.
    """
    name = data.get("do")
    if not isinstance(name, str) or name not in COMMANDS:
        raise BadParam(f"do must be one of {', '.join(COMMANDS)}, got {shown(name)}")
    kind = COMMANDS[name]
    fields = {f.name: f for f in dataclasses.fields(kind)}
    given = {k: _tuples(v) for k, v in data.items() if k != "do"}
    unknown = set(given) - set(fields)
    if unknown:
        raise BadParam(f"{name} takes {', '.join(fields) or 'nothing'}, got {shown(sorted(unknown))}")
    for key, value in given.items():
        default = fields[key].default
        wanted = (int, float) if isinstance(default, float) else type(default)
        may_be_none = value is None and (name, key) == ("RollFilm", "weight_um")
        if (not isinstance(value, wanted) or isinstance(value, bool)) and not may_be_none:
            raise BadParam(f"{name}.{key} must be of the kind of {shown(default)}, got {shown(value)}")
    return kind(**given)


def _tuples(value: Any) -> Any:
    """Lists as tuples, two deep: no command holds more."""
    return tuple(tuple(v) if isinstance(v, list) else v for v in value) if isinstance(value, list) else value


def strokes_as_data(strokes: NDArray[np.float64]) -> tuple[tuple[int, int, int, int, int], ...]:
    """Strokes in mm and N rounded to the 0.01 mm and 0.1 N of a command."""
    return tuple(map(tuple, np.rint(strokes * PER_MM_N).astype(np.int64).tolist()))
