"""Commands for a part of several faces: take another in hand, sweep it, print it against an angle plate, recut it."""

from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from sim.errors import Refused
from sim.kernels.ink import total
from sim.measure import gauge
from sim.measure.orient import reversal
from sim.model.face import Face
from sim.model.part import Written, number_cells
from sim.model.plate import Plate
from sim.process import bluing, recut
from sim.seat import stance
from sim.seat.compliant import pressed_cells
from sim.seat.hinge import Hinge, hinge
from sim.shop.commands import Command, is_row, leave_chips, number_fault, shown, word_fault
from sim.shop.job import Job, Reading
from sim.shop.luck import luck

NUMBER_MM = 3.0  # side of the iron that a written number takes up: common practice, no source
MOST_STATIONS = 2000
COVERED = 0.6  # a sweep over less of the length or width is no reading of the face: common practice, no source
TURN_S = 60.0  # a part under the indicator is set down, or turned end for end: common practice, no source
CUTTERS = {"fly cutter": recut.FlyCutter, "cup wheel": recut.CupWheel}


@dataclass(frozen=True)
class TakeFace(Command):
    """Turn the part so that another face is in hand; chips that were not wiped off stay where they are."""

    face: str = "foot"
    seconds: ClassVar[float] = TURN_S

    def problems(self, job: Job) -> list[str]:
        return word_fault("face", self.face, tuple(job.part.faces))

    def act(self, job: Job) -> None:
        if self.face == job.in_hand:
            return
        _set_down(job)
        job.in_hand = self.face
        job.strokes_this_round = 0
        job.last_poses = []


@dataclass(frozen=True)
class SweepFace(Command):
    """Stand the part on its datum and sweep another face with the indicator; the readings are written on that face.

    A face opposite to the datum is read above the plate, a face square to it against a cylinder square, the part first
    set so that it reads alike along the plate. grid: stations along x and y of the face; points: single places or a
    line instead, x_mm, y_mm each. tip: a small gauge block under the indicator, or its ball. turn_deg: 180 when the
    part (or the square) stands the other way round, which turns the sign of the stand's own error.
    """

    face: str = "top"
    datum: str = "foot"
    grid: tuple[int, int] = (6, 4)
    margin_mm: float = 6.0
    points: tuple[tuple[float, float], ...] = ()
    tip: str = "block"
    lever_deg: float = 15.0
    turn_deg: float = 0.0

    def problems(self, job: Job) -> list[str]:
        names = tuple(job.part.faces)
        found = word_fault("face", self.face, names) + word_fault("datum", self.datum, names)
        most = 0.45 * min(job.part.faces[self.face].size_mm) if not found else 100.0
        found += number_fault("margin_mm", self.margin_mm, 0.0, most, unit="mm")
        found += number_fault("lever_deg", self.lever_deg, 0.0, 60.0, unit="deg")
        found += word_fault("tip", self.tip, ("block", "ball"))
        if self.turn_deg not in (0, 180) or isinstance(self.turn_deg, bool):
            found.append(f"turn_deg must be 0 or 180 deg, got {shown(self.turn_deg)}")
        whole = is_row(self.grid, 2) and all(isinstance(v, int) and 1 <= v <= 100 for v in self.grid)
        if not whole:
            found.append(f"grid must be two whole numbers from 1 to 100, got {shown(self.grid)}")
        if not isinstance(self.points, tuple) or len(self.points) > MOST_STATIONS:
            found.append(f"points must be at most {MOST_STATIONS} of x_mm, y_mm, got {shown(self.points)}")
        elif not found:
            length, width = job.part.faces[self.face].size_mm
            outside = [p for p in self.points if not is_row(p, 2) or not (0 <= p[0] <= length and 0 <= p[1] <= width)]
            if outside:
                found.append(f"points must lie on the face ({length:g} x {width:g} mm), got {shown(outside[0])}")
        if not found and lies(job, self.face, self.datum) is None:
            found.append(f"face must be opposite or square to its datum {self.datum}, got {self.face}")
        return found

    def takes_s(self, job: Job) -> float:
        each = gauge.Indicator()
        return TURN_S + each.set_up_s + each.station_s * (len(self.points) or self.grid[0] * self.grid[1])

    def act(self, job: Job) -> NDArray[np.float64]:
        face = job.part.faces[self.face]
        indicator = gauge.Indicator(tip=self.tip, lever_deg=self.lever_deg)
        _set_down(job)
        if self.points:
            x, y = (np.array(v, dtype=np.float64) for v in zip(*self.points, strict=True))
        else:
            x, y = gauge.stations(face, *self.grid, self.margin_mm)
        base, slopes = _under_the_tip(job, self, x, y, indicator)
        if self.turn_deg == 180:
            slopes = -slopes[0], -slopes[1]
        rng = luck(job.start.seed, "gauge", job.round, job.sweeps + 1)
        told = gauge.sweep_um(face, x, y, base, indicator=indicator, slopes=slopes, rng=rng)
        here = np.isfinite(told)
        x, y, told = x[here], y[here], told[here]
        if lies(job, self.face, self.datum) == "square" and len(told) >= 3:
            told = _set_alike(job, self, (x, y, told), indicator.resolution_um)
        job.sweeps += 1
        if not len(told):
            return told
        before = job.part.written.get(self.face)
        written = job.part.written[self.face] = _written(job, self, x, y, told)
        if not self.points and covers(face, x, y):
            _note_reading(job, self, written, before)
        return told


@dataclass(frozen=True)
class PushEnds(Command):
    """Lay the face in hand in the middle of the plate, push one end sideways, then the other, and see where it turns.

    Returns the `sim.seat.hinge.Hinge`: what a crowned, an even and a hollow face do is told apart by the pivot.
    """

    seconds: ClassVar[float] = 45.0

    def act(self, job: Job) -> Hinge:
        _set_down(job)
        compliance = job.start.material.compliance
        standing = stance.Standing.of(job.face, job.body, job.plate, compliance)
        pressed = pressed_cells(standing.surface_um, standing.pose(), job.face.pitch_mm, compliance.c_um)
        return hinge(job.face.iron, job.face.pitch_mm, *pressed)


def _set_down(job: Job) -> None:
    """The part leaves the hand: chips of a face that was not wiped stay on it; changes `job`."""
    if job.strokes_since_wipe:
        leave_chips(job)
        job.strokes_since_wipe = 0


def covers(face: Face, x_mm: NDArray[np.float64], y_mm: NDArray[np.float64]) -> bool:
    """True when stations span enough of a face, both ways, to be a reading of it."""
    return len(x_mm) >= 4 and all(float(np.ptp(at)) >= COVERED * side
                                  for at, side in zip((x_mm, y_mm), face.size_mm, strict=True))


def lies(job: Job, face: str, datum: str) -> str | None:
    """How a face lies to a datum: "opposite" or "square"; None for anything else."""
    outs = [job.start.shape.face(name).frame.out for name in (face, datum)]
    cosine = sum(a * b for a, b in zip(*outs, strict=True))
    return "opposite" if cosine < -0.98 else "square" if abs(cosine) < 0.02 else None


def _under_the_tip(job: Job, sweep: SweepFace, x: NDArray[np.float64], y: NDArray[np.float64],
                   indicator: gauge.Indicator) -> tuple[NDArray[np.float64], tuple[float, float]]:
    """Height of the face's nominal plane at each station as the part stands there, um, and the stand's own slopes."""
    shape = job.start.shape
    on, off = shape.face(sweep.datum).frame, shape.face(sweep.face).frame
    standing = stance.Standing.of(job.part.faces[sweep.datum], job.start.body_behind(sweep.datum), job.plate,
                                  job.start.material.compliance)
    stand = gauge.stand_of(luck(job.start.seed, "gauge"))
    if lies(job, sweep.face, sweep.datum) == "square":
        up_x, up_y = stance.upright(on, off)
        lean = stand.lean_um_per_mm * up_x, stand.lean_um_per_mm * up_y
        return stance.beside_square_um(on, standing.pose(), off, x, y), lean
    base = np.empty(len(x))
    places = off.body_mm(x, y, np.zeros(len(x)))
    for n, (px, py, pz) in enumerate(places.tolist()):
        try:
            pose = standing.pose(((*on.face_mm((px, py, pz)), indicator.touch_n),))
        except Refused:  # the indicator would tip the part there
            base[n] = np.nan
            continue
        base[n] = stance.above_plate_um(on, pose, off, x[n : n + 1], y[n : n + 1])[0]
    return base, stand.slopes_um_per_mm


def _set_alike(job: Job, sweep: SweepFace, readings: tuple[NDArray[np.float64], ...],
               resolution_um: float) -> NDArray[np.float64]:
    """Readings (x, y, um) of a part that was first turned on the plate until its side reads alike along it."""
    x, y, told = readings
    shape = job.start.shape
    up_x, up_y = stance.upright(shape.face(sweep.datum).frame, shape.face(sweep.face).frame)
    plane = gauge.reading_plane(x, y, told)
    yaw = plane.slope_x * up_y - plane.slope_y * up_x  # along what lies level: (up_y, -up_x)
    off = yaw * (up_y * (x - x[0]) - up_x * (y - y[0]))
    return np.asarray(told - np.rint(off / resolution_um) * resolution_um)


def _written(job: Job, sweep: SweepFace, x: NDArray[np.float64], y: NDArray[np.float64],
             told: NDArray[np.float64]) -> Written:
    """Readings with the iron that carries each number."""
    face = job.part.faces[sweep.face]
    side = min(max(1, round(NUMBER_MM / face.pitch_mm)), *face.shape)
    row, col = number_cells(x, y, side, face)
    iron = np.empty((len(told), side, side))
    for n, (i, j) in enumerate(zip(row.tolist(), col.tolist(), strict=True)):
        iron[n] = face.height_um[i : i + side, j : j + side]
    cuts = job.cuts[sweep.face], job.cuts[sweep.datum]
    return Written(x.copy(), y.copy(), told.copy(), iron, job.round, sweep.turn_deg == 180, sweep.datum, cuts)


def _note_reading(job: Job, sweep: SweepFace, now: Written, before: Written | None) -> None:
    """Remember what was read of every tolerance between these two faces; changes `job`.

    The same stations read just before the other way round, and no iron taken since: stand and part are told apart.
    """
    own_um = now.reading_um
    both_ways = (before is not None and before.turned != now.turned and before.datum == now.datum
                 and before.cuts == now.cuts and np.array_equal(before.x_mm, now.x_mm)
                 and np.array_equal(before.y_mm, now.y_mm))  # fmt: skip
    if both_ways:
        assert before is not None
        _, own_um = reversal(now.reading_um, before.reading_um)  # in the part's frame the stand changes its sign
    value_um = float(own_um.max() - own_um.min())
    for n, one in enumerate(job.start.shape.tolerances):
        if (one.face, one.datum) == (sweep.face, sweep.datum):
            job.readings[n] = Reading(value_um, *now.cuts, job.clock_s, both_ways)


@dataclass(frozen=True)
class SpotUpright(Command):
    """Print the face in hand against the angle plate, the part standing on its datum: a new round begins.

    What prints is where the face stands out of square, top or bottom. x_mm, y_mm: its corner on the angle plate.
    """

    datum: str = "foot"
    x_mm: float = 20.0
    y_mm: float = 30.0
    way_mm: float = 10.0
    push_n: float = 30.0
    read_s: float = 30.0
    seconds: ClassVar[float] = 90.0

    def problems(self, job: Job) -> list[str]:
        found = word_fault("datum", self.datum, tuple(job.part.faces))
        if job.square is None:
            return [*found, "an angle plate is needed for x_mm, y_mm: no face of this part is square to another"]
        for name, at, side, room in zip(("x_mm", "y_mm"), (self.x_mm, self.y_mm), job.face.size_mm, job.square.size_mm,
                                        strict=True):
            found += number_fault(name, at, job.face.pitch_mm - side, room - job.face.pitch_mm, unit="mm")
        found += number_fault("way_mm", self.way_mm, 0.0, 100.0, unit="mm")
        found += number_fault("push_n", self.push_n, 1.0, 200.0, unit="N")
        found += number_fault("read_s", self.read_s, 0.0, 3600.0, unit="s")
        if not found and (lies(job, job.in_hand, self.datum) != "square" or upright_axis(job, self.datum) is None):
            found.append(f"datum must be square to {job.in_hand}, an edge of it upright, got {self.datum}")
        return found

    def takes_s(self, job: Job) -> float:
        return self.seconds + self.read_s

    def act(self, job: Job) -> None:
        assert job.square is not None  # or `problems` would have said so
        held = upright_axis(job, self.datum)
        assert held is not None
        shape, m = job.start.shape, job.start.material
        on, off = shape.face(self.datum).frame, shape.face(job.in_hand).frame
        standing = stance.Standing.of(job.part.faces[self.datum], job.start.body_behind(self.datum), job.plate,
                                      m.compliance)
        ends = np.array([0.0, 1.0]), np.zeros(2)
        out = stance.beside_square_um(on, standing.pose(), off, *(ends if held == "x" else ends[::-1]))
        if job.strokes_since_wipe:
            leave_chips(job)
        along = (0.0, 1.0) if held == "x" else (1.0, 0.0)  # it is rubbed level
        rub = bluing.Rub(self.x_mm, self.y_mm, self.way_mm, along)
        job.last_poses = bluing.spot_face(
            job.face, job.square, rub, body=job.body, compliance=m.compliance, blue=m.blue,
            upright=bluing.Upright(held, float(out[1] - out[0]), self.push_n))
        job.begin_round()


def upright_axis(job: Job, datum: str) -> str | None:
    """Axis of the face in hand that stands upright, "x" or "y", when the part stands on a datum; None if neither."""
    shape = job.start.shape
    up_x, up_y = stance.upright(shape.face(datum).frame, shape.face(job.in_hand).frame)
    return "x" if abs(up_x) > 0.98 else "y" if abs(up_y) > 0.98 else None


def _true_table(plate: Plate) -> Plate:
    """The table of the machine: as large as the plate, true and clean."""
    return Plate(plate.pitch_mm, np.zeros_like(plate.error_um), np.zeros_like(plate.film_um))


@dataclass(frozen=True)
class RecutFace(Command):
    """Clamp the part in a machine and cut the face in hand again; chips and burrs are its own affair.

    datum: the face it is clamped on, to which the machine's plane is then parallel; "itself": it is levelled. Trams
    in um per 100 mm: 0.02 over 200 mm is 10.
    """

    cutter: str = "fly cutter"
    depth_um: float = 60.0
    tram_along_um_per_100mm: float = 10.0
    tram_across_um_per_100mm: float = 0.0
    datum: str = "itself"

    def cut(self) -> recut.FlyCutter:
        """The cutter as it is set up."""
        return CUTTERS[self.cutter](tram_along_um_per_100mm=self.tram_along_um_per_100mm,
                                    tram_across_um_per_100mm=self.tram_across_um_per_100mm)

    def problems(self, job: Job) -> list[str]:
        found = word_fault("cutter", self.cutter, CUTTERS)
        found += number_fault("tram_along_um_per_100mm", self.tram_along_um_per_100mm, -500.0, 500.0, unit="um/100mm")
        found += number_fault("tram_across_um_per_100mm", self.tram_across_um_per_100mm, -500.0, 500.0, unit="um/100mm")
        least = CUTTERS[self.cutter]().least_depth_um if not found else 0.0
        found += number_fault("depth_um", self.depth_um, least, recut.DEEPEST_UM, unit="um")
        found += word_fault("datum", self.datum, ("itself", *job.part.faces))
        if not found and self.datum not in ("itself", job.in_hand) and lies(job, job.in_hand, self.datum) != "opposite":
            found.append(f"datum must be opposite to {job.in_hand}, or itself, got {self.datum}")
        return found

    def warnings(self, job: Job) -> list[str]:
        read_um = [r.value_um for one, r in zip(job.start.shape.tolerances, job.readings, strict=True)
                   if r is not None and one.face == job.in_hand]
        return recut.proportion(max(read_um), self.cut(), job.face.size_mm[1]) if read_um else []

    def takes_s(self, job: Job) -> float:
        return 3600.0 * recut.recut_hours(job.face.size_mm, self.cut(), self.depth_um)

    @property
    def bites(self) -> int:
        return 1

    def act(self, job: Job) -> None:
        blue = total(job.face.blue_um)
        slopes = None
        if self.datum not in ("itself", job.in_hand):
            shape = job.start.shape
            on, off = shape.face(self.datum).frame, shape.face(job.in_hand).frame
            standing = stance.Standing.of(job.part.faces[self.datum], job.start.body_behind(self.datum),
                                          _true_table(job.plate), job.start.material.compliance)
            x, y = np.array([0.0, 1.0, 0.0]), np.array([0.0, 0.0, 1.0])
            base = stance.above_plate_um(on, standing.pose(), off, x, y)
            slopes = float(base[0] - base[1]), float(base[0] - base[2])
        rng = luck(job.start.seed, "machine", job.round, job.recuts)
        job.recuts += 1
        job.removed_mm3 += recut.recut_face(job.face, self.cut(), self.depth_um, rng, slopes)
        job.plate.cloth_um_mm2 += (blue - total(job.face.blue_um)) * job.face.cell_mm2
        job.strokes_since_wipe = 0
