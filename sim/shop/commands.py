"""Commands: everything that can be done to a job, as data.

A command says what would stand in its way (`problems`), how long it takes on the shop clock (`takes_s`), and acts.
"""

import dataclasses
import math
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from sim.errors import BadParam
from sim.model.blade import RACK, Edge
from sim.process import bluing, heat, machining, stone, stroke
from sim.shop.job import Job
from sim.shop.luck import luck

COMMANDS: dict[str, type["Command"]] = {}
MOST_STROKES = 2000
OFF_MARK_SHARE = 0.1  # a stroke is off the marks when less than this share of what it cut was blue


@dataclass(frozen=True)
class Command:
    """Root of all commands; a subclass is registered under its name."""

    seconds: ClassVar[float] = 0.0  # common practice, no source

    def __init_subclass__(cls) -> None:
        COMMANDS[cls.__name__] = cls

    def problems(self, job: Job) -> list[str]:
        """What makes this command impossible now; empty when it is possible."""
        return []

    def takes_s(self, job: Job) -> float:
        """Shop time it takes."""
        return self.seconds

    def act(self, job: Job) -> Any:
        """Do it; changes `job`. Called by `Session.do` only, after `problems` came back empty."""
        raise AttributeError(f"{type(self).__name__} does not act")


@dataclass(frozen=True)
class RollFilm(Command):
    """Roll or rub a film on the plate: its mean weight, or None to spread what is there."""

    weight_um: float | None = 3.0
    applicator: str = "brayer"
    seconds: ClassVar[float] = 45.0

    def problems(self, job: Job) -> list[str]:
        found = []
        if self.weight_um is None and not job.plate.film_um.any():
            found.append("there is no blue on the plate to spread: give a weight")
        if self.weight_um is not None and not (math.isfinite(self.weight_um) and 0.0 < self.weight_um <= 50.0):
            found.append(f"weight_um must be in (0, 50] um, got {self.weight_um!r}")
        if self.applicator not in ("brayer", "rag"):
            found.append(f"applicator must be brayer or rag, got {self.applicator!r}")
        return found

    def act(self, job: Job) -> None:
        bluing.roll_film(job.plate, luck(job.start.seed, "film", job.round), self.weight_um, self.applicator, job.start.material.blue)


@dataclass(frozen=True)
class SpotFace(Command):
    """Put the face on the plate with its corner at x, y, rub it, lift it: a new round begins with its print.

    method "plate": the blue is on the plate; "part": the blue is on the face and the plate is clean.
    """

    x_mm: float = 40.0
    y_mm: float = 35.0
    way_mm: float = 10.0
    along: tuple[float, float] = (1.0, 0.0)
    hands: tuple[tuple[float, float, float], ...] = ()
    method: str = "plate"
    seconds: ClassVar[float] = 90.0

    def problems(self, job: Job) -> list[str]:
        length, width = job.face.size_mm
        across, deep = job.plate.size_mm
        found = []
        if not all(math.isfinite(v) for v in (self.x_mm, self.y_mm, self.way_mm, *self.along)):
            return ["place and rub must be finite numbers"]
        if not (-length < self.x_mm < across and -width < self.y_mm < deep):
            found.append(f"the face must lie at least partly on the plate, got its corner at {self.x_mm:g}, {self.y_mm:g} mm")
        if not 0.0 <= self.way_mm <= 300.0:
            found.append(f"way_mm must be in [0, 300] mm, got {self.way_mm!r}")
        if not 0.99 < math.hypot(*self.along) < 1.01:
            found.append(f"along must be a direction of length 1, got {self.along}")
        if self.method not in ("plate", "part"):
            found.append(f"method must be plate or part, got {self.method!r}")
        for x, y, n in self.hands:
            if not (0.0 <= x <= length and 0.0 <= y <= width and 0.0 <= n <= 1000.0):
                found.append(f"a hand must press on the face with 0 to 1000 N, got {n:g} N at {x:g}, {y:g} mm")
        return found

    def act(self, job: Job) -> None:
        m = job.start.material
        if job.strokes_since_wipe:
            _leave_chips(job)
        rub = bluing.Rub(self.x_mm, self.y_mm, self.way_mm, self.along, self.hands)
        print_face = bluing.spot_face if self.method == "plate" else bluing.rub_blued_face
        job.last_poses = print_face(job.face, job.plate, rub, job.start.body, m.compliance, m.blue)
        job.round += 1
        job.strokes_this_round = 0


def _leave_chips(job: Job) -> None:
    """Chips on a face that was scraped and not wiped; changes `job`."""
    rng = luck(job.start.seed, "chips", job.round)
    count = int(rng.poisson(job.start.material.blue.chips_per_stroke * job.strokes_since_wipe))
    length, width = job.face.size_mm
    new = np.column_stack([rng.uniform(0.0, length, count), rng.uniform(0.0, width, count), rng.uniform(10.0, 20.0, count)])
    job.face.chips = np.vstack([job.face.chips, new])


@dataclass(frozen=True)
class BlueFace(Command):
    """Blue the face itself, for the second method."""

    weight_um: float = 1.5
    seconds: ClassVar[float] = 60.0

    def problems(self, job: Job) -> list[str]:
        return [] if 0.0 < self.weight_um <= 50.0 else [f"weight_um must be in (0, 50] um, got {self.weight_um!r}"]

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
    """Clean the plate of blue and lint."""

    seconds: ClassVar[float] = 60.0

    def act(self, job: Job) -> None:
        bluing.wipe_plate(job.plate)


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

    def problems(self, job: Job) -> list[str]:
        found = []
        if self.blade not in RACK:
            found.append(f"blade must be one of {', '.join(RACK)}, got {self.blade!r}")
        if not 1 <= len(self.strokes) <= MOST_STROKES:
            found.append(f"strokes must be 1 to {MOST_STROKES}, got {len(self.strokes)}")
        if not 0.5 <= self.care <= 1.0:
            found.append(f"care must be in [0.5, 1], got {self.care!r}")
        if not 0.05 <= self.ramp_mm <= 20.0:
            found.append(f"ramp_mm must be in [0.05, 20] mm, got {self.ramp_mm!r}")
        if not 1.0 <= self.pace_per_min <= 300.0:
            found.append(f"pace_per_min must be in [1, 300], got {self.pace_per_min!r}")
        for n, s in enumerate(self.strokes):
            if len(s) != 5 or not all(isinstance(v, (int, np.integer)) and not isinstance(v, bool) for v in s):
                return [*found, f"stroke {n} must be five whole numbers (0.01 mm, 0.1 N), got {s!r}"]
            length = math.hypot(s[2] - s[0], s[3] - s[1])
            if not (10 <= length <= 20000 and 0 <= s[4] <= 9000 and max(map(abs, s[:4])) < 1_000_000):
                return [*found, f"stroke {n} must be 0.1 to 200 mm long with a push of 0 to 900 N, got {length / 100:g} mm, {s[4] / 10:g} N"]
        return found

    def takes_s(self, job: Job) -> float:
        return len(self.strokes) * 60.0 / self.pace_per_min

    def act(self, job: Job) -> stroke.Cut:
        m = job.start.material
        strokes = np.array(self.strokes, dtype=np.float64)
        strokes[:, :4] /= 100.0
        strokes[:, 4] /= 10.0
        cut = stroke.scrape(job.face, job.plate, RACK[self.blade], job.edges[self.blade], strokes, self.care, self.ramp_mm,
                            m.iron, m.chatter, m.blue.seen_um)
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
        return [] if self.pressure in ("light", "firm") else [f"pressure must be light or firm, got {self.pressure!r}"]

    def act(self, job: Job) -> None:
        job.removed_mm3 += stone.stone_face(job.face, self.pressure, job.start.material.stone)


@dataclass(frozen=True)
class HoneBlade(Command):
    """Restore a blade's edge."""

    blade: str = "fine"
    seconds: ClassVar[float] = 120.0

    def problems(self, job: Job) -> list[str]:
        return [] if self.blade in RACK else [f"blade must be one of {', '.join(RACK)}, got {self.blade!r}"]

    def act(self, job: Job) -> None:
        job.edges[self.blade] = Edge(job.start.material.iron.honed_um)


@dataclass(frozen=True)
class LetSoak(Command):
    """Leave the part alone for some minutes, so that warmth evens out."""

    minutes: float = 30.0

    def problems(self, job: Job) -> list[str]:
        return [] if 0.0 < self.minutes <= 10_000.0 else [f"minutes must be in (0, 10000], got {self.minutes!r}"]

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
        return [] if 0.0 < self.width_mm <= 10.0 else [f"width_mm must be in (0, 10] mm, got {self.width_mm!r}"]

    def act(self, job: Job) -> None:
        before = job.face.height_um[job.face.iron]
        machining.break_edges(job.face, self.width_mm)
        job.removed_mm3 += float((before - job.face.height_um[job.face.iron]).sum()) * job.face.cell_mm2 * 1e-3


def perform(command: Command, job: Job) -> Any:
    """Act and let the shop time pass; changes `job`."""
    seconds = command.takes_s(job)
    result = command.act(job)
    job.clock_s += seconds
    heat.soak(job.face, seconds, job.start.material.soak)
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
    if name not in COMMANDS:
        raise BadParam(f"do must be one of {', '.join(COMMANDS)}, got {name!r}")
    kind = COMMANDS[name]
    fields = {f.name: f for f in dataclasses.fields(kind)}
    given = {k: _tuples(v) for k, v in data.items() if k != "do"}
    unknown = set(given) - set(fields)
    if unknown:
        raise BadParam(f"{name} takes {', '.join(fields) or 'nothing'}, got {', '.join(sorted(unknown))}")
    for key, value in given.items():
        default = fields[key].default
        wanted = (int, float) if isinstance(default, float) else (str if isinstance(default, str) else tuple)
        if not (isinstance(value, wanted) and not isinstance(value, bool)) and not (value is None and key == "weight_um" and name == "RollFilm"):
            raise BadParam(f"{name}.{key} must be of the kind of {default!r}, got {value!r}")
    return kind(**given)


def _tuples(value: Any) -> Any:
    """Lists as tuples, all the way down."""
    return tuple(_tuples(v) for v in value) if isinstance(value, (list, tuple)) else value


def strokes_as_data(strokes: NDArray[np.float64]) -> tuple[tuple[int, int, int, int, int], ...]:
    """Strokes in mm and N rounded to the 0.01 mm and 0.1 N of a command."""
    scale = np.array([100.0, 100.0, 100.0, 100.0, 10.0])
    return tuple(map(tuple, np.rint(strokes * scale).astype(np.int64).tolist()))
