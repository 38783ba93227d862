"""Parameters that know their unit, their range and where they come from.

A tool is a frozen dataclass whose fields are made by `param`; `@tool` checks every value at the door and
lists the class for `flatwright model`.
"""

import math
from dataclasses import dataclass, field, fields
from typing import Any, TypeVar, dataclass_transform

from sim.errors import BadParam
from sim.units import shown_unit

T = TypeVar("T")
SOURCES = ("source", "computed", "common practice", "from memory")
TOOLS: dict[str, type] = {}


def param(default: Any, unit: str, allowed: Any, doc: str, ref: str) -> Any:
    """A dataclass field with its unit, allowed range, meaning and origin.

    Parameters
    ----------
    default : float, int or str
    unit : str
        "" for a pure number.
    allowed : (low, high) or tuple of str
        Closed range of a number, or the words allowed.
    doc : str
        One line: what it is in the shop.
    ref : str
        Begins with one of SOURCES; for a source its name follows a colon.
    """
    if not ref.startswith(SOURCES):
        raise BadParam(f"ref must begin with one of {', '.join(SOURCES)}, got {ref!r}")
    return field(default=default, metadata={"unit": unit, "allowed": allowed, "doc": doc, "ref": ref})


@dataclass_transform(frozen_default=True)
def tool(cls: type[T]) -> type[T]:
    """Make a class of `param` fields a frozen dataclass that refuses values outside their range.

    Raises
    ------
    BadParam
        On construction, naming field, range, value and unit.
    """

    def check(self: Any) -> None:
        for f in fields(self):
            if "unit" in f.metadata:
                check_param(f"{cls.__name__}.{f.name}", getattr(self, f.name), f.metadata)

    cls.__post_init__ = check  # type: ignore[attr-defined]
    made = dataclass(frozen=True)(cls)
    TOOLS[cls.__name__] = made
    return made


def check_param(name: str, value: Any, meta: Any) -> None:
    """Refuse a value that is not allowed: the one place where ranges are enforced."""
    allowed, unit = meta["allowed"], meta["unit"]
    if isinstance(allowed[0], str):
        if value not in allowed:
            raise BadParam(f"{name} must be one of {', '.join(allowed)}, got {value!r}")
        return
    low, high = allowed
    is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
    if not is_number or not math.isfinite(value) or not low <= value <= high:
        raise BadParam(f"{name} must be in [{low:g}, {high:g}] {shown_unit(unit)}".rstrip() + f", got {value!r}")
