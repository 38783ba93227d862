"""Units at the edges. Inside: mm in the plane, um in height, N, MPa, s."""

import math
import re

from sim.errors import BadParam

UM_PER_MM = 1000.0
MM_PER_INCH = 25.4
UM_PER_INCH = 25400.0
UM_PER_TENTH = 2.54  # one tenth of the shop: 0.0001 in
UM_PER_MICROINCH = 0.0254
ARCSEC_UM_PER_M = 4.848136811095360  # 1 arc second as a slope: pi / 648000, in um per m
S_PER_H = 3600.0

_LENGTHS_MM = {"nm": 1e-6, "um": 1e-3, "µm": 1e-3, "μm": 1e-3, "mm": 1.0, "cm": 10.0, "m": 1e3, "in": MM_PER_INCH,
               "inch": MM_PER_INCH, '"': MM_PER_INCH, "thou": 0.0254, "mil": 0.0254, "tenth": 0.00254,
               "tenths": 0.00254}  # fmt: skip
TYPED: dict[str, dict[str, float]] = {
    "um": {name: mm * UM_PER_MM for name, mm in _LENGTHS_MM.items()},
    "mm": _LENGTHS_MM,
    "%": {"%": 1.0, "percent": 1.0, "pct": 1.0},
    "deg": {"deg": 1.0, "°": 1.0, "degrees": 1.0, "rad": math.degrees(1.0)},
    "": {},
}
"""What may be typed behind a number for each unit, and what it is in that unit."""
_NUMBER = re.compile(r"\s*([+-]?(?:\d{1,9}(?:\.\d{0,12})?|\.\d{1,12}))\s*([^\d\s.,+-]*)\s*", re.ASCII)


SIGNS = ((r"\bum\b", "µm"), (r"\bmm2\b", "mm²"), (r"\bmm3\b", "mm³"), (r"\bin2\b", "in²"),
         (r"\bper sq in\b", "per in²"), (r"^deg$", "°"))


def shown_unit(unit: str) -> str:
    """A unit, or words with units, as people read it: µm for um, ° for deg alone; keys and what is typed keep um."""
    for plain, sign in SIGNS:
        unit = re.sub(plain, sign, unit)
    return unit


def unit_of(value: float, unit: str) -> str:
    """A unit as it stands behind a figure: 1 lamp, 2 lamps, 1 µm."""
    shown = shown_unit(unit)
    if value != 1.0 or len(shown) < 4 or not shown.endswith("s"):
        return shown
    return shown.removesuffix("es") if shown.endswith("sses") else shown.removesuffix("s")


NAMED = {"um": "µm", "mm": "mm", "mm2": "mm²", "mm3": "mm³", "m": "m", "pct": "%", "deg": "°", "n": "N", "s": "s",
         "min": "min", "h": "h", "k": "K", "kg": "kg"}  # fmt: skip
"""Units as names end in them, and as people read them."""


def named_unit(name: str) -> tuple[str, str]:
    """The words of a name and the unit that it ends in: "ledge", "µm" of ledge_um; no unit where it ends in none."""
    words, _, unit = name.rpartition("_")
    if not words or unit not in NAMED:
        words, unit = name, ""
    return words.replace("_", " "), NAMED.get(unit, "")


def counted(number: int, thing: str) -> str:
    """A number of things: 1 stroke, 2 strokes."""
    return f"{number:,} {thing}{'' if number == 1 else 's'}"


def typed(text: str, unit: str, name: str = "value") -> float:
    """A number as a person types it, with or without its unit, in `unit`: "8", "8 um" and "0.3 thou" for "um".

    Parameters
    ----------
    unit : "um", "mm", "%", "deg" or "" for a pure number
    name : str
        What it is, for the message.

    Raises
    ------
    BadParam
        No number, another unit, or a comma, of which nobody can say whether it is a decimal one.
    """
    known = TYPED[unit]
    if "," in text:
        raise BadParam(f"{name} must be written with a decimal point and no comma, got {text[:40]!r}")
    found = _NUMBER.fullmatch(text)
    if found and not found[2]:
        return float(found[1])
    if found and found[2].lower() in known:
        return float(found[1]) * known[found[2].lower()]
    allowed = f"a number, with or without a unit ({', '.join(dict.fromkeys(known))})" if known else "a plain number"
    raise BadParam(f"{name} must be {allowed}, got {text[:40]!r}")
