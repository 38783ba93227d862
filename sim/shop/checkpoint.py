"""The checkpoint of a job, NAME.job.npz: its whole state after a line of the log, so that opening needs no re-run."""

import io
import json
import zipfile
from dataclasses import astuple
from typing import Any

import numpy as np

from sim.model.blade import RACK, Edge
from sim.model.face import Face
from sim.model.part import Part, Written
from sim.model.plate import Plate
from sim.model.start import Start
from sim.seat.compliant import Pose
from sim.shop.job import ON_FACE, ON_PLATE, WRITTEN, Job, JobStart, Reading
from sim.shop.store import MOST_CHECKPOINT_BYTES

COUNTS = ("round", "strokes", "strokes_off_marks", "strokes_this_round", "strokes_since_wipe", "sweeps",
          "recuts")
BOOLS = ("iron", "scored")
LISTS = {"chips": 3, "lint": 3}  # arrays of any length


def checkpoint(job: Job, crc: int) -> bytes:
    """The state of a job after the line of its log that has this checksum."""
    plates = [plate for plate in (job.plate, job.square) if plate is not None]
    told = {
        "crc": crc, **{name: getattr(job, name) for name in (*COUNTS, "clock_s", "removed_mm3", "in_hand", "cuts")},
        "edges": {name: [edge.radius_um, edge.metres] for name, edge in job.edges.items()},
        "warm_k": {name: face.warm_k for name, face in job.part.faces.items()},
        "blue_um_mm2": [[plate.drawn_um_mm2, plate.cloth_um_mm2] for plate in plates],
        "poses": [[q.height_um, q.slope_x, q.slope_y, q.x_mm, q.y_mm, q.iterations, q.lift_um] for q in job.last_poses],
        "written": {name: [one.round, one.turned, one.datum, one.cuts] for name, one in job.part.written.items()},
        "readings": [one and astuple(one) for one in job.readings],
    }
    box = io.BytesIO()
    np.savez(box, told=np.frombuffer(json.dumps(told, allow_nan=False).encode(), dtype=np.uint8), **job.arrays())  # type: ignore[arg-type]
    return box.getvalue()


def job_at(data: bytes, start: JobStart) -> tuple[Job, int]:
    """The job in a checkpoint and the checksum of the line it belongs to.

    Raises
    ------
    ValueError
        Whatever is wrong with it: a checkpoint is disposable, the caller runs the log instead.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as box:
            if sum(member.file_size for member in box.infolist()) > MOST_CHECKPOINT_BYTES:
                raise ValueError(f"more than {MOST_CHECKPOINT_BYTES // 1_000_000} MB")
        with np.load(io.BytesIO(data), allow_pickle=False) as found:
            told = json.loads(found["told"].tobytes())
            arrays = {name: np.array(found[name], order="C") for name in found.files if name != "told"}
        return _job(told, arrays, start), int(told["crc"])
    except Exception as error:  # damage in a zip in a zip header in a JSON text comes as any of a dozen kinds
        raise ValueError(f"{type(error).__name__}: {error}") from None


def _job(told: dict[str, Any], arrays: dict[str, np.ndarray], start: JobStart) -> Job:
    shape = start.shape
    part = Part(shape, {})
    for n, one in enumerate(shape.faces):
        found = _checked(arrays, f"{one.name}/" if n else "", ON_FACE, _cells(one.start))
        part.faces[one.name] = Face(pitch_mm=start.pitch_mm, warm_k=float(told["warm_k"][one.name]), **found)
    for name, (round_, turned, datum, (face_cuts, datum_cuts)) in told["written"].items():
        shape.face(name)
        found = {key: np.asarray(arrays[f"{name}/written/{key}"], np.float64) for key in WRITTEN}
        count = len(found["x_mm"])
        side = found["iron_um"].shape[-1]
        shapes = {"x_mm": (count,), "y_mm": (count,), "reading_um": (count,), "iron_um": (count, side, side)}
        if any(found[key].shape != shape for key, shape in shapes.items()) or side > min(part.faces[name].shape):
            raise ValueError(f"what is written on {name} must be of one length")
        part.written[name] = Written(round=int(round_), turned=bool(turned), datum=shape.face(datum).name,
                                     cuts=(int(face_cuts), int(datum_cuts)), **found)
    plates: list[Plate] = []
    makes = [make for make in (start.plate, start.square) if make is not None]
    for before, make, (drawn, cloth) in zip(("", "square/"), makes, told["blue_um_mm2"], strict=False):
        cells = round(make.width_mm / start.pitch_mm), round(make.length_mm / start.pitch_mm)
        plates.append(Plate(start.pitch_mm, drawn_um_mm2=float(drawn), cloth_um_mm2=float(cloth),
                            wear_mm3_per_nm=make.wear_mm3_per_nm, **_checked(arrays, before, ON_PLATE, cells)))
    edges = {name: Edge(*map(float, told["edges"][name])) for name in RACK}
    poses = [Pose(float(h), float(a), float(b), float(x), float(y), int(n), float(up))
             for h, a, b, x, y, n, up in told["poses"]]
    if len(told["readings"]) != len(shape.tolerances) or len(plates) != len(told["blue_um_mm2"]):
        raise ValueError("readings and plates must be those of the part")
    readings = [one and _reading(*one) for one in told["readings"]]
    counts = {name: int(told[name]) for name in COUNTS}
    in_hand = shape.face(told["in_hand"]).name
    square = plates[1] if len(plates) > 1 else None
    return Job(start, part, in_hand, plates[0], square, edges, clock_s=float(told["clock_s"]),
               removed_mm3=float(told["removed_mm3"]), cuts={name: int(told["cuts"][name]) for name in part.faces},
               readings=readings, last_poses=poses, **counts)


def _reading(value_um: float, face_cuts: int, datum_cuts: int, clock_s: float, both_ways: bool) -> Reading:
    return Reading(float(value_um), int(face_cuts), int(datum_cuts), float(clock_s), bool(both_ways))


def _cells(start: Start) -> tuple[int, int]:
    return round(start.width_mm / start.pitch_mm), round(start.length_mm / start.pitch_mm)


def _checked(arrays: dict[str, np.ndarray], before: str, names: tuple[str, ...],
             cells: tuple[int, int]) -> dict[str, np.ndarray]:
    """The arrays of one face or plate by their own names; ValueError when one is not what it must be."""
    found = {}
    for name in names:
        array = arrays[before + name]
        kind = np.bool_ if name in BOOLS else np.float64
        shape = (len(array), LISTS[name]) if name in LISTS else cells
        if array.dtype != kind or array.shape != shape or not np.isfinite(array).all():
            raise ValueError(f"{before + name} must be finite {kind.__name__} {shape}, got {array.dtype} {array.shape}")
        found[name] = array
    return found
