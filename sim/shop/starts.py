"""Starts read back from data: each value of its own kind and in its range."""

import dataclasses
from typing import Any

from sim.errors import BadParam
from sim.intake.keyed import path_text
from sim.intake.soundness import MOST_TOLERANCES, part_faults
from sim.model.part import FaceShape, PartShape, Tolerance
from sim.shop.commands import shown
from sim.shop.job import JobStart

MOST_CUTOUTS = 1000


def start_from_data(data: Any, like: Any = None, where: str = "start") -> Any:
    """The start that `dataclasses.asdict` wrote: each value of its own kind and in its range.

    Raises
    ------
    BadParam
        Naming the key: unknown, of a wrong kind, or out of range.
    """
    like = JobStart() if like is None else like
    if not isinstance(data, dict):
        raise BadParam(f"{where} must be an object, got {shown(data)}")
    known = {f.name: getattr(like, f.name) for f in dataclasses.fields(like)}
    made: dict[str, Any] = {}
    for key, value in data.items():
        name = f"{where}.{key}"
        if key not in known:
            raise BadParam(f"{where} takes {', '.join(known)}, got {shown(key)}")
        if dataclasses.is_dataclass(known[key]):
            made[key] = start_from_data(value, known[key], name)
        elif key == "cutouts":
            made[key] = _cutouts(value, name)
        elif key == "part":
            made[key] = None if value is None else part_from_data(value, name)
        elif isinstance(known[key], tuple):
            made[key] = _vector(value, name)
        else:
            kinds = (int, float) if isinstance(known[key], float) else (type(known[key]),)
            if not isinstance(value, kinds) or isinstance(value, bool):
                raise BadParam(f"{name} must be of the kind of {known[key]!r}, got {shown(value)}")
            made[key] = value
    try:
        return type(like)(**made)
    except (BadParam, OverflowError) as error:
        raise BadParam(f"{where}: {error}") from None


def part_from_data(data: Any, where: str = "start.part") -> PartShape:
    """The part that `dataclasses.asdict` wrote: each value of its own kind and in its range, and sound as a whole.

    Raises
    ------
    BadParam
        Naming the key of the first fault; faces and tolerances are counted from 1.
    """
    if not isinstance(data, dict):
        raise BadParam(f"{where} must be an object, got {shown(data)}")
    lists = {"faces": FaceShape(), "tolerances": Tolerance()}
    made: dict[str, Any] = {}
    for key, like in lists.items():
        if key not in data:
            continue
        value, name = data[key], f"{where}.{key}"
        if not isinstance(value, list) or len(value) > MOST_TOLERANCES:
            raise BadParam(f"{name} must be a list of at most {MOST_TOLERANCES}, got {shown(value)}")
        made[key] = tuple(start_from_data(one, like, f"{name}[{n}]") for n, one in enumerate(value, start=1))
    rest = {key: value for key, value in data.items() if key not in lists}
    part = dataclasses.replace(start_from_data(rest, PartShape(), where), **made)
    for path, fault in part_faults(part):
        raise BadParam(f"{where}{path_text(path, '.')}: {fault}")
    return part


def _vector(value: Any, name: str) -> tuple[float, ...]:
    numbers = isinstance(value, list) and all(type(v) in (int, float) and -1e4 <= v <= 1e4 for v in value)
    if not numbers or len(value) != 3:
        raise BadParam(f"{name} must be three numbers from -10000 to 10000, got {shown(value)}")
    return tuple(float(v) for v in value)


def _cutouts(value: Any, name: str) -> tuple[tuple[float, ...], ...]:
    if not isinstance(value, list) or len(value) > MOST_CUTOUTS:
        raise BadParam(f"{name} must be a list of at most {MOST_CUTOUTS}, got {shown(value)}")
    for row in value:
        numbers = isinstance(row, list) and all(type(v) in (int, float) and -1e4 <= v <= 1e4 for v in row)
        if not numbers or len(row) not in (4, 5):
            raise BadParam(f"{name} must hold x, y, length, width in mm, got {shown(row)}")
    return tuple(tuple(float(v) for v in row) for row in value)
