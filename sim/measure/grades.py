"""Grades of plates: what flatness each standard allows for a size, and which grade a face meets."""

import math
from collections.abc import Callable
from dataclasses import dataclass

from sim.units import MM_PER_INCH, UM_PER_MICROINCH

SizeMm = tuple[float, float]
MET = 1.0 + 1e-9  # a flatness equal to the limit meets it, rounding or not
JIS_LISTED_UM = {
    (250.0, 250.0): (2.0, 4.0, 8.0),
    (630.0, 400.0): (4.0, 8.0, 16.0),
    (1000.0, 1000.0): (8.0, 15.0, 30.0),
    (2500.0, 1600.0): (15.0, 30.0, 60.0),
}
JIS_NEAR_MM = 1.0  # a plate is of a listed size when both sides are within this
ISO_UM = {"0": (0.003, 2.5), "1": (0.006, 5.0), "2": (0.012, 10.0), "3": (0.024, 20.0)}
ISO_BEARING_PCT = {"0": 20.0, "1": 15.0, "2": 10.0, "3": 10.0}


@dataclass(frozen=True)
class Standard:
    """A standard for surface plates.

    Attributes
    ----------
    key, title : str
    allowed_um : function of (long side, short side) in mm -> {grade: um}
        Best grade first; empty where the standard's table does not reach.
    reach : str
        For which sizes, in words.
    ref : str
        Where the numbers come from.
    """

    key: str
    title: str
    allowed_um: Callable[[SizeMm], dict[str, float]]
    reach: str
    ref: str


def _iso_8512_1(size_mm: SizeMm) -> dict[str, float]:
    """c1 d + c2, the diagonal d rounded up to whole 100 mm."""
    diagonal_mm = 100.0 * math.ceil(math.hypot(*size_mm) / 100.0 - 1e-9)
    return {grade: slope * diagonal_mm + least for grade, (slope, least) in ISO_UM.items()}


def _din_876(size_mm: SizeMm) -> dict[str, float]:
    """4 + L/250 for grade 0 and so on, L the long side."""
    long_mm = max(size_mm)
    return {
        grade: least + long_mm / over
        for grade, least, over in (("0", 4.0, 250.0), ("I", 10.0, 100.0), ("II", 20.0, 50.0), ("III", 40.0, 25.0))
    }


def _ggg_p_463c(size_mm: SizeMm) -> dict[str, float]:
    """AA = 40 + D²/25 microinch, D the diagonal in inches; A twice, B four times as much."""
    finest_um = (40.0 + (math.hypot(*size_mm) / MM_PER_INCH) ** 2 / 25.0) * UM_PER_MICROINCH
    return {"AA": finest_um, "A": 2.0 * finest_um, "B": 4.0 * finest_um}


def _jis_b_7513(size_mm: SizeMm) -> dict[str, float]:
    """The listed sizes only: no formula is at hand, and a neighbour's limit would be a guess."""
    sides = sorted(size_mm, reverse=True)
    for listed, limits in JIS_LISTED_UM.items():
        if all(abs(side - length) <= JIS_NEAR_MM for side, length in zip(sides, listed, strict=True)):
            return dict(zip(("0", "1", "2"), limits, strict=True))
    return {}


STANDARDS = (
    Standard("iso_8512_1", "ISO 8512-1", _iso_8512_1, "any size by its diagonal", "from memory"),
    Standard(
        "din_876",
        "DIN 876",
        _din_876,
        "any size by its long side; the table itself lists 200 to 6500 mm",
        "source: DIN 876 table as reprinted by a plate maker",
    ),
    Standard(
        "ggg_p_463c", "GGG-P-463c", _ggg_p_463c, "any size by its diagonal", "source: GGG-P-463c, now ASME B89.3.7"
    ),
    Standard(
        "jis_b_7513",
        "JIS B 7513",
        _jis_b_7513,
        "only " + ", ".join(f"{long:g} x {short:g}" for long, short in JIS_LISTED_UM) + " mm",
        "source: JIS B 7513 values as quoted by a plate maker, edition not named",
    ),
)


def allowed_um(size_mm: SizeMm) -> dict[str, dict[str, float]]:
    """Flatness that each grade of each standard allows for this size, um; empty where a table does not reach."""
    return {standard.key: standard.allowed_um(size_mm) for standard in STANDARDS}


def grades(flatness_um: float, size_mm: SizeMm) -> dict[str, str | None]:
    """The best grade that a flatness meets in each standard.

    Parameters
    ----------
    flatness_um : float, >= 0
        Minimum zone.
    size_mm : (x, y)
        In either order.

    Returns
    -------
    dict
        Standard to grade; None where the flatness meets no grade or the table does not reach the size.

    References
    ----------
    See `STANDARDS`.
    """
    return {
        key: next((grade for grade, limit_um in table.items() if flatness_um <= limit_um * MET), None)
        for key, table in allowed_um(size_mm).items()
    }


def bearing_grade(bearing_pct: float) -> str | None:
    """The best grade of ISO 8512-1 that a bearing area meets: 20 % for 0, 15 % for 1, 10 % for 2 and 3.

    References
    ----------
    ISO 8512-1 as issued in AS 1004.1-1998, clause 9.
    """
    return next((grade for grade, least_pct in ISO_BEARING_PCT.items() if bearing_pct >= least_pct), None)
