"""The checkpoint of a job, NAME.job.npz: its whole state after a line of the log, so that opening needs no re-run."""

import io
import json
import zipfile
from typing import Any

import numpy as np

from sim.model.blade import RACK, Edge
from sim.model.face import Face
from sim.model.plate import Plate
from sim.seat.compliant import Pose
from sim.shop.job import Job, JobStart
from sim.shop.store import MOST_CHECKPOINT_BYTES

COUNTS = ("round", "strokes", "strokes_off_marks", "strokes_this_round", "strokes_since_wipe")
ON_FACE = ("height_um", "burr_um", "blue_um", "iron", "scored", "chips")
ON_PLATE = ("error_um", "film_um", "lint")


def checkpoint(job: Job, crc: int) -> bytes:
    """The state of a job after the line of its log that has this checksum."""
    f, p = job.face, job.plate
    told = {
        "crc": crc, **{name: getattr(job, name) for name in (*COUNTS, "clock_s", "removed_mm3")},
        "edges": {name: [edge.radius_um, edge.metres] for name, edge in job.edges.items()},
        "warm_k": f.warm_k, "blue_um_mm2": [p.drawn_um_mm2, p.cloth_um_mm2],
        "poses": [[q.height_um, q.slope_x, q.slope_y, q.x_mm, q.y_mm, q.iterations, q.lift_um] for q in job.last_poses],
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
            arrays = {name: np.array(found[name], order="C") for name in (*ON_FACE, *ON_PLATE)}
        return _job(told, arrays, start), int(told["crc"])
    except Exception as error:  # damage in a zip in a zip header in a JSON text comes as any of a dozen kinds
        raise ValueError(f"{type(error).__name__}: {error}") from None


def _job(told: dict[str, Any], arrays: dict[str, np.ndarray], start: JobStart) -> Job:
    pitch = start.face.pitch_mm
    face_shape = round(start.face.width_mm / pitch), round(start.face.length_mm / pitch)
    plate_shape = round(start.plate.width_mm / pitch), round(start.plate.length_mm / pitch)
    for name, array in arrays.items():
        kind = np.bool_ if name in ("iron", "scored") else np.float64
        shape = (len(array), 3) if name in ("chips", "lint") else face_shape if name in ON_FACE else plate_shape
        if array.dtype != kind or array.shape != shape or not np.isfinite(array).all():
            raise ValueError(f"{name} must be finite {kind.__name__} {shape}, got {array.dtype} {array.shape}")
    drawn, cloth = map(float, told["blue_um_mm2"])
    face = Face(pitch_mm=pitch, warm_k=float(told["warm_k"]), **{name: arrays[name] for name in ON_FACE})
    plate = Plate(pitch, drawn_um_mm2=drawn, cloth_um_mm2=cloth, wear_mm3_per_nm=start.plate.wear_mm3_per_nm,
                  **{name: arrays[name] for name in ON_PLATE})
    edges = {name: Edge(*map(float, told["edges"][name])) for name in RACK}
    poses = [Pose(float(h), float(a), float(b), float(x), float(y), int(n), float(up))
             for h, a, b, x, y, n, up in told["poses"]]
    counts = {name: int(told[name]) for name in COUNTS}
    return Job(start, face, plate, edges, clock_s=float(told["clock_s"]), removed_mm3=float(told["removed_mm3"]),
               last_poses=poses, **counts)
