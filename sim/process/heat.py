"""Warmth in the part: it bows until it has soaked."""

from decimal import Decimal

from sim.model.face import Face
from sim.params import param, tool


@tool
class Soak:
    """How a part comes to one temperature."""

    half_time_min: float = param(10.0, "min", (0.5, 600.0), "time in which half of the difference goes", "from memory")


def soak(face: Face, seconds: float, tool_: Soak | None = None) -> None:
    """Let time pass over a warm part; changes `face`."""
    if face.warm_k != 0.0:
        half_lives = Decimal(seconds) / Decimal(60) / Decimal((tool_ or Soak()).half_time_min)
        face.warm_k = float(Decimal(face.warm_k) * Decimal("0.5") ** half_lives)
