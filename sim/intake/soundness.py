"""Is a part sound as a whole? What no single number can tell: frames, overlaps, tolerances, and whether it tips."""

import itertools
import math
import re
from collections.abc import Container, Iterator
from typing import Any

from sim.errors import BadParam
from sim.intake.keyed import Fault
from sim.intake.keyed import KeyPath as Path
from sim.model.part import KINDS_OF_TOLERANCE, FaceShape, Frame, PartShape, Tolerance, Vector3
from sim.params import check_param

MOST_FACES = 50
MOST_CUTOUTS = 200
MOST_TOLERANCES = 200
NAME = re.compile(r"\w[\w -]{0,39}")
RANGES: dict[str, dict[str, Any]] = {
    "mass_kg": {"allowed": (0.01, 1000.0), "unit": "kg"},
    "thickness_mm": {"allowed": (1.0, 1000.0), "unit": "mm"},
    "limit_um": {"allowed": (0.1, 1000.0), "unit": "um"},
    "kind": {"allowed": KINDS_OF_TOLERANCE, "unit": ""},
}
NEAR = 1e-3  # of a direction: three decimals in a file are enough
ROUND_MM = 1e-6
COPLANAR_MM = 1.0
COS_1_DEG, SIN_1_DEG = math.cos(math.radians(1.0)), math.sin(math.radians(1.0))


def part_faults(part: PartShape, unread: Container[Path] = ()) -> list[Fault]:
    """Every fault of a part whose values are of the right kinds: the path to it, and what, allowed, got.

    What `unread` holds is not known, and no fault that would rest on it is told: ("face",) and ("centre_mm",) of the
    part; ("tolerances", 2), what the third tolerance asks; ("faces", 2, what) of the third face, what being its
    "name", its "size", its "place" (the origin) or its "way" (the directions of its frame).
    """
    found = list(_numbers(part))
    names = [face.name if ("faces", i, "name") not in unread else "" for i, face in enumerate(part.faces)]
    if not 1 <= len(names) <= MOST_FACES:
        found.append((("faces",), f"a part must have 1 to {MOST_FACES} faces, got {len(names)}"))
    cutouts = sum(len(face.start.cutouts) for face in part.faces)
    if cutouts > MOST_CUTOUTS:
        found.append((("faces",), f"a part must have at most {MOST_CUTOUTS} cutouts, got {cutouts}"))

    def known(i: int, *kinds: str) -> bool:
        return not any(("faces", i, kind) in unread for kind in kinds)

    for i, face in enumerate(part.faces):
        at = ("faces", i)
        if face.name == "itself":
            found.append(((*at, "name"), "a face must not be called 'itself': so a recut without a datum is told"))
        if known(i, "name") and face.name in names[:i]:
            found.append(((*at, "name"), f"every face must have its own name, got {face.name!r} again"))
        if face.start.pitch_mm != part.faces[0].start.pitch_mm:
            found.append(((*at, "start", "pitch_mm"), "all faces must have one pitch_mm"))
        found += [((*at, "frame", *path), text) for path, text in frame_faults(face.frame)]
        if known(i, "size"):
            found += [((*at, *path), text) for path, text in _start_faults(face)]
    turned = [known(i, "way") and not any(frame_faults(face.frame)) for i, face in enumerate(part.faces)]
    placed = [turned[i] and known(i, "place", "size") for i in range(len(names))]
    for (i, one), (j, two) in itertools.combinations(enumerate(part.faces), 2):
        if placed[i] and placed[j] and (text := _clash(one, two)):
            found.append((("faces", j, "frame"), text))
    if ("face",) not in unread and all(known(i, "name") for i in range(len(names))):
        found += _tolerance_faults(part, {name for name, sound in zip(names, turned, strict=True) if sound}, unread)
    datums = {tolerance.datum for n, tolerance in enumerate(part.tolerances) if ("tolerances", n) not in unread}
    for i, face in enumerate(part.faces):
        if placed[i] and ("centre_mm",) not in unread and (face.name in datums or face.frame.out[2] < -COS_1_DEG):
            found += [(("centre_mm",), text) for text in _tips(face, part.centre_mm)]
    return found


def frame_faults(frame: Frame) -> Iterator[Fault]:
    """Directions that are not of length 1 or not at right angles."""
    for name in ("along", "across"):
        length = math.sqrt(_dot(getattr(frame, name), getattr(frame, name)))
        if abs(length - 1.0) > NEAR:
            yield (name,), f"{name} must be of length 1, got {length:.4g}"
    cosine = _dot(frame.along, frame.across)
    if abs(cosine) > NEAR:
        yield ("across",), f"along and across must be at right angles, got a cosine of {cosine:.3g}"


def _numbers(part: PartShape) -> Iterator[Fault]:
    """Single values of a part outside their range."""
    named: list[tuple[Path, str, Any]] = [((), "mass_kg", part.mass_kg)]
    named += [(("faces", i), "thickness_mm", face.thickness_mm) for i, face in enumerate(part.faces)]
    for i, tolerance in enumerate(part.tolerances):
        named += [(("tolerances", i), key, getattr(tolerance, key)) for key in ("kind", "limit_um")]
    for at, key, value in named:
        try:
            check_param(key, value, RANGES[key])
        except BadParam as error:
            yield (*at, key), str(error)
    for at, name in [((), part.name), *((("faces", i), face.name) for i, face in enumerate(part.faces))]:
        if not NAME.fullmatch(name):
            yield (*at, "name"), f"name must be 1 to 40 letters, digits, spaces, - and _, got {name[:60]!r}"


def _start_faults(face: FaceShape) -> Iterator[Fault]:
    """Faults of one face in itself: too few or too many cells, and cutouts that are not on it."""
    start = face.start
    nx, ny = round(start.length_mm / start.pitch_mm), round(start.width_mm / start.pitch_mm)
    if min(nx, ny) < 8 or nx * ny > 6_000_000:
        yield ("start", "length_mm"), f"a face must have 8 x 8 to 6,000,000 cells, got {nx} x {ny}"
    for n, row in enumerate(start.cutouts):
        x, y, length, width = row[:4]
        at = ("start", "cutouts", n)
        if min(length, width) <= 0.0:
            yield at, f"a cutout must be longer and wider than 0, got {length:g} x {width:g} mm"
        elif len(row) == 5 and not 0.0 <= row[4] <= 0.5 * min(length, width):
            yield at, f"a corner radius must be from 0 to half of the shorter side, got {row[4]:g} mm"
        elif not (_within(x, length, start.length_mm) and _within(y, width, start.width_mm)):
            spans = f"x {x - length / 2:g} to {x + length / 2:g}, y {y - width / 2:g} to {y + width / 2:g} mm"
            yield at, f"a cutout must lie on its face of {start.length_mm:g} x {start.width_mm:g} mm, got {spans}"


def _within(middle: float, size: float, whole: float) -> bool:
    return middle - 0.5 * size >= -ROUND_MM and middle + 0.5 * size <= whole + ROUND_MM


def _clash(one: FaceShape, two: FaceShape) -> str | None:
    """Why two faces cannot both be there, or None."""
    turn = _dot(one.frame.out, two.frame.out)
    apart_mm = _dot(_less(two.frame.origin_mm, one.frame.origin_mm), one.frame.out)
    if abs(turn) < COS_1_DEG or abs(apart_mm) >= COPLANAR_MM or not _overlap(one, two):
        return None
    if turn > 0.0:
        return f"faces must not overlap, got {one.name!r} and {two.name!r} in one plane"
    return f"there must be iron between faces back to back, got {abs(apart_mm):g} mm from {one.name!r} to {two.name!r}"


def _overlap(one: FaceShape, two: FaceShape) -> bool:
    """Do two rectangles in one plane share area? No, if a line along a side of either keeps them apart."""
    corners = [_corners(face) for face in (one, two)]
    for axis in (one.frame.along, one.frame.across, two.frame.along, two.frame.across):
        (a, b), (c, d) = ((min(s), max(s)) for s in ([_dot(p, axis) for p in four] for four in corners))
        if min(b, d) - max(a, c) <= ROUND_MM:
            return False
    return True


def _corners(face: FaceShape) -> list[Vector3]:
    f, start = face.frame, face.start
    o, a, c = f.origin_mm, f.along, f.across
    ends = [(u, v) for u in (0.0, start.length_mm) for v in (0.0, start.width_mm)]
    return [(o[0] + u * a[0] + v * c[0], o[1] + u * a[1] + v * c[1], o[2] + u * a[2] + v * c[2]) for u, v in ends]


def _tolerance_faults(part: PartShape, turned: set[str], unread: Container[Path]) -> Iterator[Fault]:
    """Tolerances of faces that are not there, or that do not lie as their kind has it."""
    faces = {face.name: face for face in part.faces}
    if len(part.tolerances) > MOST_TOLERANCES:
        yield ("tolerances",), f"there must be at most {MOST_TOLERANCES} tolerances, got {len(part.tolerances)}"
    for n, tolerance in enumerate(part.tolerances):
        at = ("tolerances", n)
        unknown = [key for key in ("face", "datum") if getattr(tolerance, key) not in faces]
        for key in unknown:
            allowed = ", ".join(name for name in faces if NAME.fullmatch(name)) or "a face of this part"
            yield (*at, key), f"{key} must be one of {allowed}, got {getattr(tolerance, key)[:60]!r}"
        if not unknown and at not in unread:
            yield from (((*at, key), text) for key, text in _misfit(tolerance, faces, turned))


def _misfit(tolerance: Tolerance, faces: dict[str, FaceShape], turned: set[str]) -> Iterator[tuple[str, str]]:
    face, datum = faces[tolerance.face], faces[tolerance.datum]
    if face.name == datum.name:
        yield "datum", f"datum must be another face than the one it is asked of, got {face.name!r} for both"
        return
    if not {face.name, datum.name} <= turned:
        return
    turn = _dot(face.frame.out, datum.frame.out)
    deg = math.degrees(math.acos(max(-1.0, min(1.0, turn))))
    if tolerance.kind == "parallelism" and turn > -COS_1_DEG:
        yield "kind", f"parallelism needs faces that look away from each other (180 degrees within 1), got {deg:.1f}"
    if tolerance.kind == "perpendicularity" and abs(turn) > SIN_1_DEG:
        yield "kind", f"perpendicularity needs faces that are square (90 degrees within 1), got {deg:.1f}"


def _tips(datum: FaceShape, centre_mm: Vector3) -> Iterator[str]:
    """Would the part tip when it stands on this face?"""
    x, y = datum.frame.face_mm(centre_mm)
    size = datum.start.length_mm, datum.start.width_mm
    if not (0.0 < x < size[0] and 0.0 < y < size[1]):
        yield (f"the part would tip on {datum.name!r}: the centre of gravity must lie over the face of "
               f"{size[0]:g} x {size[1]:g} mm, got x {x:g}, y {y:g} mm on it")
    if _dot(_less(centre_mm, datum.frame.origin_mm), datum.frame.out) >= 0.0:
        yield f"the centre of gravity must lie behind the face {datum.name!r}, in the part"


def _dot(one: Vector3, two: Vector3) -> float:
    return sum(a * b for a, b in zip(one, two, strict=True))


def _less(one: Vector3, two: Vector3) -> Vector3:
    return one[0] - two[0], one[1] - two[1], one[2] - two[2]
