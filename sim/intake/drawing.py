"""Part files: a part described in TOML, read whole or refused with every fault at once, each with its line."""

from dataclasses import fields
from pathlib import Path
from typing import Any

from sim.intake.keyed import FLAG, LIST, TABLE, TEXT, VECTOR, Reading, read_toml, refuse
from sim.intake.soundness import RANGES, frame_faults, part_faults
from sim.intake.soundness import Path as KeyPath
from sim.model.part import FaceShape, Frame, PartShape, Tolerance, Vector3
from sim.model.start import Start
from sim.target import Target

LENGTH = {"allowed": (0.0, 600.0), "unit": "mm"}
ABOVE_0 = {"allowed": (0.01, 600.0), "unit": "mm"}
START = {f.name: f.metadata for f in fields(Start) if "unit" in f.metadata}
PART_KEYS: dict[str, Any] = {
    "name": TEXT, "title": TEXT, "note": TEXT, "mass_kg": RANGES["mass_kg"], "centre_mm": VECTOR,
    "pitch_mm": START["pitch_mm"], "face": LIST, "tolerance": LIST,
}  # fmt: skip
FACE_KEYS: dict[str, Any] = {
    "name": TEXT, "note": TEXT, "thickness_mm": RANGES["thickness_mm"], "frame": TABLE, "target": TABLE,
    "cutout": LIST, **{key: meta for key, meta in START.items() if key != "pitch_mm"},
}  # fmt: skip
FRAME_KEYS = dict.fromkeys(("origin_mm", "along", "across", "out"), VECTOR)
TARGET_KEYS = {f.name: f.metadata for f in fields(Target)}
TOLERANCE_KEYS = {"kind": RANGES["kind"], "face": TEXT, "datum": TEXT, "limit_um": RANGES["limit_um"]}
MIDDLE = {"x_mm": LENGTH, "y_mm": LENGTH}
CUTOUT_KEYS: dict[str, dict[str, Any]] = {
    "hole": {**MIDDLE, "diameter_mm": ABOVE_0},
    "slot": {**MIDDLE, "length_mm": ABOVE_0, "width_mm": ABOVE_0, "turned": FLAG},
    "pocket": {**MIDDLE, "length_mm": ABOVE_0, "width_mm": ABOVE_0, "corner_radius_mm": LENGTH},
    "seam": {"along": {"allowed": ("x", "y"), "unit": ""}, "at_mm": LENGTH, "width_mm": ABOVE_0},
}
CUTOUT_KIND = {"allowed": tuple(CUTOUT_KEYS), "unit": ""}
RESTS: dict[KeyPath, tuple[str, ...]] = {
    ("name",): ("name",), ("length_mm",): ("size",), ("width_mm",): ("size",), ("frame",): ("place", "way"),
    ("frame", "origin_mm"): ("place",), **{("frame", key): ("way",) for key in ("along", "across", "out")},
}  # fmt: skip
"""What is not known of a face, in the words of `part_faults`, when a key is lost."""
HANDED = 1e-2  # of a direction: `out` only tells which way


def read_part(path: str | Path) -> PartShape:
    """The part in a file; what the file must hold is told in assets/parts/README.md.

    Raises
    ------
    BadFile
        If the file cannot be read, is too large, or is not TOML.
    BadFiles
        With every fault of the content: `file:line: path.to.key: what, allowed, got`.
    """
    data, text = read_toml(Path(path), "part file")
    reading = _Reading()
    part = reading.part(data)
    whole = [(_in_file(at), told) for at, told in part_faults(part, reading.unread())]
    faults = reading.faults + [(at, told) for at, told in whole if at not in reading.lost]
    refuse(path, text, faults)
    return part


class _Reading(Reading):
    """One reading of a part file: makes what it can."""

    def unread(self) -> set[KeyPath]:
        """What `part_faults` cannot judge."""
        found: set[KeyPath] = {at for at in self.lost if len(at) == 1}
        found |= {("tolerances", at[1]) for at in self.lost if at[0] == "tolerance" and at[2:] != ("limit_um",)}
        return found | {("faces", at[1], what) for at in self.lost if at[0] == "face" for what in RESTS.get(at[2:], ())}

    def part(self, data: dict[str, Any]) -> PartShape:
        """The part; of no worth if there are faults."""
        got = self.table(data, (), PART_KEYS, ("name", "mass_kg", "centre_mm", "face"))
        pitch: dict[str, Any] = {"pitch_mm": got["pitch_mm"]} if "pitch_mm" in got else {}
        faces = tuple(self.face(one, ("face", n), pitch) for n, one in enumerate(got.get("face", ())))
        tolerances = []
        for n, one in enumerate(got.get("tolerance", ())):
            tolerances.append(Tolerance(**self.table(one, ("tolerance", n), TOLERANCE_KEYS, tuple(TOLERANCE_KEYS))))
        plain = {key: got[key] for key in ("name", "title", "mass_kg", "centre_mm") if key in got}
        return PartShape(faces=faces, tolerances=tuple(tolerances), **plain)

    def face(self, data: Any, at: KeyPath, pitch: dict[str, Any]) -> FaceShape:
        """A face with its start, its frame and its target."""
        got = self.table(data, at, FACE_KEYS, ("name", "length_mm", "width_mm", "frame"))
        start = Start(**{key: got[key] for key in FACE_KEYS if key in got and key in START}, **pitch)
        rows = []
        for n, one in enumerate(got.get("cutout", ())):
            row = self.cutout(one, (*at, "cutout", n), start)
            rows.append(row or (0.5 * start.length_mm, 0.5 * start.width_mm, 1.0, 1.0))  # keeps the place of a bad one
        target = Target(**self.table(got.get("target", {}), (*at, "target"), TARGET_KEYS))
        start = Start(**{key: getattr(start, key) for key in START}, cutouts=tuple(rows))
        plain = {key: got[key] for key in ("name", "thickness_mm") if key in got}
        return FaceShape(start=start, frame=self.frame(got.get("frame"), (*at, "frame")), target=target, **plain)

    def frame(self, data: Any, at: KeyPath) -> Frame:
        """A right-handed frame; the directions are made exact."""
        if data is None:
            return Frame()
        got = self.table(data, at, FRAME_KEYS, tuple(FRAME_KEYS))
        out = got.pop("out", None)
        if not {"along", "across"} <= got.keys():
            return Frame(**{key: got[key] for key in ("origin_mm",) if key in got})
        made = _exact(Frame(**got))
        if made and out and not all(abs(a - b) <= HANDED for a, b in zip(made.out, out, strict=True)):
            right = ", ".join(f"{v + 0.0:.3g}" for v in made.out)
            hand = "a left-handed frame: " if sum(a * b for a, b in zip(made.out, out, strict=True)) < 0.0 else ""
            self.lost.add((*at, "out"))
            self.faults.append(((*at, "out"), f"{hand}out must be along x across = [{right}], got {list(out)}"))
        return made or Frame(**got)

    def cutout(self, data: Any, at: KeyPath, start: Start) -> tuple[float, ...] | None:
        """A row of Start.cutouts; None where a value of it is lost."""
        kind = data.get("kind")
        if not isinstance(kind, str) or kind not in CUTOUT_KEYS:
            self.table(data if "kind" in data else {}, at, {**dict.fromkeys(data), "kind": CUTOUT_KIND}, ("kind",))
            return None
        keys = CUTOUT_KEYS[kind]
        must = tuple(key for key in keys if key != "turned")
        got = self.table(data, at, {"kind": CUTOUT_KIND, **keys}, must)
        if any((*at, key) in self.lost for key in keys):
            return None
        if kind == "hole":
            return got["x_mm"], got["y_mm"], got["diameter_mm"], got["diameter_mm"]
        if kind == "seam" and got["along"] == "x":
            return 0.5 * start.length_mm, got["at_mm"], start.length_mm, got["width_mm"], 0.0
        if kind == "seam":
            return got["at_mm"], 0.5 * start.width_mm, got["width_mm"], start.width_mm, 0.0
        sides = (got["length_mm"], got["width_mm"])
        if kind == "slot":
            return got["x_mm"], got["y_mm"], *(sides[::-1] if got.get("turned") else sides)
        return got["x_mm"], got["y_mm"], *sides, got["corner_radius_mm"]

def _exact(frame: Frame) -> Frame | None:
    """The frame with directions of length 1 at right angles, if they nearly are; else None."""
    if any(frame_faults(frame)):
        return None
    along = _unit(frame.along)
    lean = sum(a * b for a, b in zip(along, frame.across, strict=True))
    a, b = along, frame.across
    return Frame(frame.origin_mm, along, _unit((b[0] - lean * a[0], b[1] - lean * a[1], b[2] - lean * a[2])))


def _unit(way: Vector3) -> Vector3:
    length = sum(v * v for v in way) ** 0.5
    return way[0] / length, way[1] / length, way[2] / length


def _in_file(at: KeyPath) -> KeyPath:
    """A path in PartShape as the file has it."""
    words = {"faces": "face", "tolerances": "tolerance", "cutouts": "cutout"}
    return tuple(words.get(step, step) if isinstance(step, str) else step for step in at if step != "start")
