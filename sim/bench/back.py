"""Back and forth: what lay on the desk before and after each act, so that both iron and desk can be taken back."""

from dataclasses import dataclass, field
from typing import Any

from sim.shop.commands import Command

LYING = ("calls", "chalk", "dragged", "hung", "done", "turned", "prediction")
"""What lies on the desk beside the iron and changes with an act."""
PLACED = ("on", "x_mm", "y_mm")
NAMES = {
    "RollFilm": "the film", "SpotFace": "the print", "SpotUpright": "the print", "Scrape": "strokes",
    "StoneFace": "the stoning", "WipeFace": "the wiping", "WipePlate": "the cleaning", "HoneBlade": "the honing",
    "TakeFace": "the turning of the part", "SweepFace": "the sweep", "PushEnds": "the push",
}  # fmt: skip


@dataclass
class Step:
    """One thing that was done: a command, or (None) a change of calls or chalk; the desk before it and, once taken
    back, after it."""

    command: Command | None
    before: dict[str, Any]
    after: dict[str, Any] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """What it was, in words."""
        return NAMES.get(type(self.command).__name__, "that") if self.command is not None else "calls or chalk"


def lying_on(desk: Any) -> dict[str, Any]:
    """What lies on a desk now, to be put back later."""
    kept = {name: getattr(desk, name) for name in LYING}
    kept |= {name: getattr(desk.settings, name) for name in PLACED}
    return {name: value.copy() if isinstance(value, (list, set)) else value for name, value in kept.items()}


def put_back(desk: Any, kept: dict[str, Any], only: tuple[str, ...] = (*LYING, *PLACED)) -> None:
    """Put on the desk what lay there; changes `desk`."""
    for name in only:
        value = kept[name]
        setattr(desk.settings if name in PLACED else desk, name,
                value.copy() if isinstance(value, (list, set)) else value)  # fmt: skip
