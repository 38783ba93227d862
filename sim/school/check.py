"""Checks: figures of an attempt by name, with their unit and which way is better."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, NamedTuple

from sim.school.attempt import pieces_words
from sim.school.facts import Facts

Better = Literal["high", "low"]
Figure = Callable[[Facts], float]
Evidence = int | Callable[[Facts], int]
"""Number of the fault that a figure is when it fails its limit, or what says it of an attempt; 0 for none."""
CHECKS: dict[str, "Check"] = {}
"""Every check by its name; filled by the modules of checks."""


class Need(NamedTuple):
    """What a figure is taken from: words when there is none, what to do about it, and the pieces that have it."""

    none: str
    do: str
    on: Callable[[Facts], set[int]]


AFTER_WORDS = {
    "act": "after work at every piece", "film": "after a film on every plate", "print": "after a print of every piece",
    "stroke": "after strokes on every piece", "calls": "after calls on every piece", "lamp": "after a turn of the lamp",
    "answer": "after an answer for every piece", "count": "after a square on every piece",
    "sweep": "after a sweep of every piece",
}  # fmt: skip
"""What a step can wait for on every piece: of NEEDS, in words."""
NEEDS = {
    "act": Need("nothing was done", "Work at each piece before you finish.", lambda f: {one[0] for one in f.acts}),
    "film": Need("no film was rolled", "Roll a film on the plate.", lambda f: {one.piece for one in f.rolled}),
    "print": Need("no print was made", "Roll a film, then spot: lay, rub, lift.",
                  lambda f: {one.piece for one in f.printed}),
    "stroke": Need("no stroke was made", "Scrape.", lambda f: {one.piece for one in f.strokes}),
    "rounds": Need("too few rounds were scraped", "Four rounds with strokes are wanted.", lambda f: set()),
    "calls": Need("no marks were called", "Call marks of each print high, medium or low, all three where you can.",
                  lambda f: {one.piece for one in f.called}),
    "lamp": Need("the lamp was not turned", "Turn the lamp.", lambda f: {piece for piece, _ in f.lamps}),
    "answer": Need("no question was answered", "Answer the questions.", lambda f: {piece for piece, _ in f.answers}),
    "count": Need("no square was counted", "Lay the square on the print, count its spots, and name the bearing.",
                  lambda f: {one[0] for one in f.counts}),
    "sweep": Need("nothing was swept", "Sweep a face with the indicator.", lambda f: {piece for piece, _ in f.swept}),
}  # fmt: skip
"""What figures are taken from, by name."""


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
    needs : str
        What it is taken from, one of NEEDS.
    figure : function of Facts to float
    fault : int, or function of Facts to int
        Of FAULTS, where a figure that fails is that fault and nothing else; 0 for none.
    """

    name: str
    doc: str
    unit: str
    better: Better
    needs: str
    figure: Figure
    fault: Evidence = 0

    def shows(self, facts: Facts) -> int:
        """The fault that the figure of an attempt is, where it fails its limit; 0 for none."""
        return self.fault if isinstance(self.fault, int) else self.fault(facts)

    def reached(self, value: float, limit: float) -> bool:
        """Whether a value is as good as a limit; False for NaN."""
        return value >= limit if self.better == "high" else value <= limit

    @property
    def title(self) -> str:
        """The words without what explains the figure."""
        return self.doc.partition(": ")[0]

    @property
    def note(self) -> str:
        """What explains the figure; empty for nothing."""
        return self.doc.partition(": ")[2]

    def why_not(self, facts: Facts) -> str:
        """Why there is no figure, on which pieces, and what to do."""
        need = NEEDS["act" if facts.nothing_done else self.needs]
        have, count = need.on(facts), len(facts.pieces)
        missing = [n for n in range(count) if n not in have]
        where = f" on {pieces_words(missing)}" if have and missing else ""
        what = need.none if missing else "what was done says too little"
        return f"{what}{where}. {need.do}"


def check(unit: str, better: Better, needs: str = "act", fault: Evidence = 0) -> Callable[[Figure], Figure]:
    """Register a function of Facts as a check, under its name; its first line of words is what a learner reads."""

    def register(figure: Figure) -> Figure:
        doc = (figure.__doc__ or "").strip().splitlines()[0].rstrip(".")
        name = figure.__name__
        CHECKS[name] = Check(name, doc, unit, better, needs, figure, fault)
        return figure

    return register
