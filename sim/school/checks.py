"""What an attempt came to: every figure of its lesson against its limits, passed or not, merit or not."""

import math
from dataclasses import dataclass

from sim.school import checks_iron, checks_reading
from sim.school.check import CHECKS as CHECKS
from sim.school.check import NEEDS, Better
from sim.school.check import Check as Check
from sim.school.facts import Facts
from sim.school.lesson import Bound, Lesson
from sim.units import unit_of

MOST_DIGITS = 6
MODULES = (checks_reading, checks_iron)
"""Modules whose checks are registered."""


@dataclass(frozen=True)
class Row:
    """A figure against its limits; why: why there is none, and what to do."""

    check: str
    doc: str
    unit: str
    better: Better
    value: float
    passes: float
    merit: float
    passed: bool
    merited: bool
    why: str = ""

    def sentence(self) -> str:
        """The figure and what was asked, in one line."""
        title, _, note = self.doc.partition(": ")
        limit = f"at {'least' if self.better == 'high' else 'most'} {self.passes:g}"
        if math.isnan(self.value):
            asked = f"{limit} {unit_of(self.passes, self.unit)}".rstrip()
            return f"{title}: not judged: {self.why or 'nothing to judge.'} Asked {asked}"
        got = f"{self.shown} {unit_of(self.value, self.unit)}".rstrip()
        return f"{title}: {got}, {limit} asked{f'; {note}' if note else ''}"

    @property
    def shown(self) -> str:
        """The figure as finely as its limit is told, and finer where it just misses it; a dash for none."""
        if not math.isfinite(self.value):
            return "–"
        digits = 1 if not self.passes else max(0, 1 - math.floor(math.log10(abs(self.passes))))
        while digits < MOST_DIGITS and not self.passed and self._reached(round(self.value, digits)):
            digits += 1
        told = f"{round(self.value, digits) + 0.0:.{digits}f}"
        return told.rstrip("0").rstrip(".") if "." in told else told

    def _reached(self, value: float) -> bool:
        return value >= self.passes if self.better == "high" else value <= self.passes


@dataclass(frozen=True)
class Judged:
    """What an attempt came to.

    Attributes
    ----------
    figures : dict of str to float
        By name with unit; NaN where there was nothing to be judged.
    rows : tuple of Row
    passed, merit : bool
        Merit is earned in a check on another day alone, without hints and without looking under the blue.
    faults : dict of int to int
        Number of a fault to how often the coach saw it; 1 where a figure that fails is the fault and he said nothing.
    """

    figures: dict[str, float]
    rows: tuple[Row, ...]
    passed: bool
    merit: bool
    faults: dict[int, int]

    @property
    def nothing(self) -> bool:
        """Whether no figure could be taken."""
        return all(math.isnan(row.value) for row in self.rows)


def judge(lesson: Lesson, facts: Facts) -> Judged:
    """Judge an attempt by the limits of its lesson."""
    rows = []
    for limit in lesson.limits:
        one = CHECKS[limit.check]
        value = math.nan if facts.nothing_done else float(one.figure(facts))
        why = one.why_not(facts) if math.isnan(value) else ""
        rows.append(Row(one.name, one.doc, one.unit, one.better, value, limit.passes, limit.merit,
                        one.reached(value, limit.passes), one.reached(value, limit.merit), why))  # fmt: skip
    figures = {row.check: row.value for row in rows} | {"shop_hours": facts.hours, "rounds": float(facts.rounds),
                                                        "strokes": float(len(facts.strokes))}  # fmt: skip
    passed = all(row.passed for row in rows)
    helped = facts.hints > 0 or facts.uncovered > 0
    merit = passed and facts.part == "check" and not helped and all(row.merited for row in rows)
    seen = facts.faults()
    failed = {CHECKS[row.check].shows(facts) for row in rows if not row.passed and math.isfinite(row.value)} - {0}
    faults = {number: seen.get(number, 1) for number in sorted({*seen, *failed})}
    return Judged(figures, tuple(rows), passed, merit, faults)


def step_met(bound: Bound, facts: Facts) -> bool:
    """Whether a step is done: its figure within the bound, and on every piece what it comes after."""
    if bound.after:
        pieces = range(len(facts.pieces))
        if not set(pieces) <= NEEDS[bound.after].on(facts):
            return False
        if bound.after == "stroke" and CHECKS[bound.check].needs == "print":
            first = {n: min(one.round for one in facts.strokes if one.piece == n) for n in pieces}
            if any(max((one.round for one in facts.printed if one.piece == n), default=0) <= first[n] for n in pieces):
                return False
    return bound.met(float(CHECKS[bound.check].figure(facts)))


def steps_done(lesson: Lesson, facts: Facts) -> tuple[bool | None, ...]:
    """For each step whether its figure says that it is done; None for a step that the learner ends himself."""
    bounds = [step.done for step in lesson.steps]
    return tuple(None if one is None else step_met(one, facts) for one in bounds)
