"""The steps of a lesson while its model solution is watched: which one an act belongs to, why, and when it is done."""

from collections.abc import Sequence
from typing import Any

from sim.school.attempt import Attempt
from sim.school.checks import steps_done
from sim.school.facts import gather
from sim.school.lesson import Lesson, Step
from sim.school.way import Spoken, Take
from sim.shop.commands import SpotFace

MOST_LOOKS = 12  # in one watching
REASON = 2  # of the hints of a step
WORDS = {
    "WipePlate": ("clean", "wipe"), "RollFilm": ("roll", "film"), "BlueFace": ("roll", "blue"),
    "SpotFace": ("spot", "print", "lift"), "SpotUpright": ("spot", "print"),
    "Scrape": ("scrape", "cut", "stroke", "split", "blade"),
    "StoneFace": ("stone",), "WipeFace": ("wipe", "cloth"), "HoneBlade": ("hone", "blade"),
    "PushEnds": ("push", "turn"), "SweepFace": ("indicator", "height", "sweep"),
    "TakeFace": ("turn", "datum"), "calls": ("call", "read"),
    "predict": ("say", "expect"), "answer": ("answer", "name", "say", "decide"), "count": ("count",), "lamp": ("lamp",),
}  # fmt: skip
"""Words by which the step is found that an act belongs to."""


def step_of(steps: Sequence[Step], now: int, act: str) -> int:
    """The step that an act belongs to: the one that names it earliest, else the next from this one; else this one."""
    order = [(now + n) % len(steps) for n in range(len(steps))]
    for word in WORDS.get(act, ()):
        places = [(steps[at].text.lower().find(word), n, at) for n, at in enumerate(order)]
        if named := [one for one in places if one[0] >= 0]:
            return min(named)[2]
    return now


class Reasons:
    """Why the model does what it does: the reason among a step's hints, before the first act that belongs to it."""

    def __init__(self, lesson: Lesson) -> None:
        self.steps = lesson.steps
        self.now = 0
        self.told: set[int] = set()

    def before(self, act: Any) -> list[str]:
        """A line where an act is the first of its step."""
        if isinstance(act, Take):
            return []
        self.now = step_of(self.steps, self.now, act.kind if isinstance(act, Spoken) else type(act).__name__)
        if self.now in self.told:
            return []
        self.told.add(self.now)
        hints = self.steps[self.now].hints
        return [f"      step {self.now + 1}{f', why: {hints[REASON]}' if hints else ''}"]


class Steps:
    """The steps that a solution has done so far, by their figures; looked at after prints, and at the end."""

    def __init__(self, lesson: Lesson) -> None:
        self.lesson = lesson
        self.left = {n for n, step in enumerate(lesson.steps) if step.done is not None}
        self.looks = 0

    def newly_done(self, attempt: Attempt, act: Any = None) -> list[str]:
        """A line for each step that was done since; the jobs are run again for it, so not after every act."""
        after_print = isinstance(act, SpotFace) and self.looks < MOST_LOOKS
        if not self.left or not (act is None or after_print):
            return []
        self.looks += 1
        done = steps_done(self.lesson, gather(attempt))
        now = sorted(n for n in self.left if done[n])
        self.left -= set(now)
        return [f"      step {n + 1} is done" for n in now]
