"""Checks: figures of an attempt by name, with their unit and which way is better."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from sim.school.facts import Facts

Better = Literal["high", "low"]
Figure = Callable[[Facts], float]
CHECKS: dict[str, "Check"] = {}
"""Every check by its name; filled by the modules of checks."""


@dataclass(frozen=True)
class Check:
    """A figure of an attempt; NaN where there is nothing to be judged, which never passes.

    Attributes
    ----------
    name : str
        With its unit, as it stands in lesson files and in JSON.
    doc : str
        In the words of the shop, as a learner reads it.
    unit : str
    better : "high" or "low"
    figure : function of Facts to float
    """

    name: str
    doc: str
    unit: str
    better: Better
    figure: Figure

    def reached(self, value: float, limit: float) -> bool:
        """Whether a value is as good as a limit; False for NaN."""
        return value >= limit if self.better == "high" else value <= limit


def check(unit: str, better: Better) -> Callable[[Figure], Figure]:
    """Register a function of Facts as a check, under its name; its first line of words is what a learner reads."""

    def register(figure: Figure) -> Figure:
        doc = (figure.__doc__ or "").strip().splitlines()[0].rstrip(".")
        name = figure.__name__
        CHECKS[name] = Check(name, doc, unit, better, figure)
        return figure

    return register
