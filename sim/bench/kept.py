"""What lies beside a job on the disk: calls, chalk, hung prints and settings of the tools, NAME.job.desk.json."""

import base64
import json
import math
import zlib
from contextlib import suppress
from dataclasses import asdict, fields, replace
from pathlib import Path
from typing import Any

import numpy as np

from sim.bench.desk import Desk
from sim.bench.pieces import PUSHES, TOOLS, Call, Freedom, Hung, Settings, Stroke
from sim.model.blade import RACK
from sim.school.attempt import said_data, said_from
from sim.shop.commands import SpotFace
from sim.shop.partwork import SpotUpright
from sim.shop.rounds import print_picture
from sim.shop.session import Session
from sim.shop.store import write_new

WORDS = {
    "rub": ("along", "across"),
    "applicator": ("brayer", "rag"), "method": ("plate", "part"), "pressure": ("light", "firm"),
    "tip": ("block", "ball"), "take": ("high", "high and medium", "all in chalk"),
    "style": ("outlines", "hatching", "plain"), "other": ("hand over", "finish as"),
}  # fmt: skip
NUMBERS = ("x_mm", "y_mm", "way_mm", "length_mm", "angle_deg", "spacing_mm", "lamp_deg", "square_x_mm", "square_y_mm")


def desk_path(job: Path) -> Path:
    """File of what lies beside a job."""
    return job.with_name(job.name + ".desk.json")


def keep(desk: Desk, checkpoint: bool = True) -> None:
    """Write what lies beside the job, and its checkpoint; a session without a file keeps nothing.

    The job's log is written by every act; the checkpoint only makes the next opening quick.

    Raises
    ------
    CannotWrite
        The disk is full, or the file was changed by another program.
    """
    if desk.session.path is None:
        return
    if checkpoint:
        desk.session.save()
    keep_beside(desk, desk.session.path)
    desk.unkept = False


def keep_beside(desk: Desk, job: Path) -> None:
    """Write what lies on the desk beside a job file; raises CannotWrite."""
    write_new(desk_path(job), json.dumps(_data(desk)).encode(), force=True)


def opened(session: Session, freedom: Freedom | None = None) -> Desk:
    """The desk of a session as it was kept; an empty one when nothing was, or when that is damaged.

    The part begins in the middle of the plate, the counting square in the middle of the face.
    """
    desk = Desk(session, freedom or Freedom())
    desk.centre()
    path = session.path
    if path is None or not desk_path(path).is_file():
        return desk
    try:
        _fill(desk, json.loads(desk_path(path).read_text("utf-8")))
    except (ValueError, LookupError, TypeError, AttributeError, OSError, zlib.error) as error:
        with suppress(OSError):  # it is set aside, not written over
            desk_path(path).replace(desk_path(path).with_suffix(".damaged"))
        session.notes.append(
            f"{desk_path(path)}: what lay beside the job could not be read ({error}); the job itself is whole"
        )
        return opened_bare(session, freedom)
    return desk


def prints_made(session: Session) -> list[Hung]:
    """Every print that was made in a job: its log is run again, for pictures are not in it."""
    again, prints = Session.begin(session.job.start, copies_mb=0.0), list[Hung]()
    for command in session.commands:
        again.do(command)
        if isinstance(command, SpotFace | SpotUpright):
            job = again.job
            picture = print_picture(job.face, job.start.material.blue.opacity_um)
            prints.append(Hung(job.in_hand, job.round, picture))
    return prints


def opened_bare(session: Session, freedom: Freedom | None = None) -> Desk:
    """A desk with nothing on it."""
    desk = Desk(session, freedom or Freedom())
    desk.centre()
    return desk


def _data(desk: Desk) -> dict[str, Any]:
    hung = [
        {
            "face": one.face,
            "round": one.round,
            "shape": one.picture.shape,
            "picture": one.packed,
        }
        for one in desk.hung
    ]
    return {
        "commands": len(desk.session.commands),
        "settings": asdict(desk.settings),
        "tool": desk.tool,
        "calls": desk.calls,
        "chalk": desk.chalk,
        "dragged": desk.dragged,
        "done": sorted(desk.done),
        "hung": hung,
        "uncovered": desk.uncovered,
        "seen_whole": desk.seen_whole,
        "said": said_data(desk.said),
    }


def _fill(desk: Desk, told: dict[str, Any]) -> None:
    """Put what was kept on a desk; changes `desk`. What is not as we write it raises one of many errors."""
    known = {f.name: getattr(desk.settings, f.name) for f in fields(Settings)}
    kinds = {name: (int, float) if isinstance(value, float) else type(value) for name, value in known.items()}
    good: dict[str, Any] = {k: v for k, v in told["settings"].items() if k in kinds and isinstance(v, kinds[k])}
    settings = replace(desk.settings, **good)
    if (
        settings.blade not in RACK
        or settings.push not in range(1, len(PUSHES) + 1)
        or settings.film not in (1, 2, 3)
        or settings.on not in ("plate", "angle plate")
        or not 0.0 <= settings.own_um <= 100.0
    ):
        raise ValueError("settings out of range")
    for name, allowed in WORDS.items():
        if getattr(settings, name) not in allowed:
            raise ValueError(f"{name} must be one of {', '.join(allowed)}")
    numbers = [getattr(settings, name) for name in NUMBERS]
    if not all(math.isfinite(v) for v in numbers) or not (settings.length_mm > 1.0 and settings.spacing_mm > 0.1):
        raise ValueError("settings out of range")
    hung = []
    for one in told["hung"]:
        shape = tuple(int(n) for n in one["shape"])
        flat = np.frombuffer(zlib.decompress(base64.b64decode(one["picture"])), np.uint8)
        hung.append(Hung(str(one["face"]), int(one["round"]), flat.reshape(shape)))
    desk.settings, desk.hung = settings, hung
    desk.uncovered, desk.seen_whole = int(told["uncovered"]), int(told["seen_whole"])
    desk.said = [one for one in said_from(told.get("said", []), "said") if one.after <= len(desk.session.commands)]
    if told["commands"] != len(desk.session.commands):  # calls and chalk are of another print
        desk.told = (
            f"The last session stopped in round {desk.session.job.round} without being closed. No stroke was lost."
        )
        return
    desk.tool = told["tool"] if told["tool"] in TOOLS else None
    calls = [Call(float(x), float(y), int(level), bool(sure)) for x, y, level, sure in told["calls"]]
    if not all(one.level in (1, 2, 3) and math.isfinite(one.x_mm + one.y_mm) for one in calls):
        raise ValueError("calls must be of level 1 to 3")
    desk.calls = calls
    desk.chalk = [tuple((float(x), float(y)) for x, y in outline) for outline in told["chalk"]]
    desk.dragged = [_stroke(row) for row in told["dragged"]]
    desk.done = {name for name in told["done"] if name in TOOLS}


def _stroke(row: list[Any]) -> Stroke:
    x0, y0, x1, y1 = (float(v) for v in row[:4])
    return Stroke(x0, y0, x1, y1, (float(row[4][0]), float(row[4][1])) if row[4] else None)
