"""A lesson as data: what it starts from, what is allowed, its steps, its limits, how it is done well and badly."""

import math
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from sim.shop.commands import Command, Scrape
from sim.shop.job import JobStart
from sim.shop.luck import luck

PARTS = ("help", "alone", "check")
"""Parts that are attempts; before them one watches the model solution."""
PART_WORDS = {"help": "with help", "alone": "alone", "check": "check on another day"}
TOOLS = ("roll", "spot", "scrape", "stone", "wipe", "hone", "indicator", "hinge", "turn", "edges", "machine")
"""What a lesson may allow, in the words of the tray; reading and the lamp are always allowed."""
COMES_IN = {"roll": 1, "spot": 1, "wipe": 1, "hinge": 3, "scrape": 4, "hone": 4, "stone": 6, "indicator": 14,
            "turn": 15, "machine": 16, "edges": 8}  # fmt: skip
"""The lesson in which each tool comes."""
PLACED = 20
"""Number of the luck that places what is cut beforehand."""


@dataclass(frozen=True)
class Worked:
    """Rounds that a hand has made before the learner takes over; one with wrong habits where they are set."""

    hand: str = "skilled"
    rounds: int = 8
    stone: bool = True
    crossing: bool = True


@dataclass(frozen=True)
class Ahead:
    """First rounds of the model, a hand that follows the blue, done in the part with help: the last are the learner's.

    options: of the model's way.
    """

    rounds: int
    hand: str = "skilled"
    options: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Piece:
    """One job of a lesson. Seeds: that of the attempt and `seed_step` on top.

    before: acts that are done before the learner takes over. asked_um: the film or the depth that is asked for; 0
    where the lesson asks for none. scatter_mm: the strokes among `before` lie elsewhere for every seed, as `before_of`
    has it. case: the recorded case that it is, which the learner does not read; empty for none.
    ahead: rounds done after `before`, in the part with help alone.
    """

    start: JobStart = field(default_factory=JobStart)
    title: str = ""
    worked: Worked | None = None
    before: tuple[Command, ...] = ()
    seed_step: int = 0
    asked_um: float = 0.0
    scatter_mm: float = 0.0
    case: str = ""
    ahead: Ahead | None = None


@dataclass(frozen=True)
class Allowed:
    """What a lesson allows; rounds and strokes of None are not counted."""

    tools: tuple[str, ...] = TOOLS
    rows: bool = True
    orders: bool = True
    carry_on: bool = False
    hand_over: bool = False
    coach: bool = True
    uncover: bool = True
    rounds: int | None = None
    strokes: int | None = None
    hand: str = "trained"


@dataclass(frozen=True)
class Bound:
    """A check's figure at least, or at most.

    after: what must have been done on every piece by then, a key of NEEDS; a stroke, before the last print where the
    figure is of a print. Empty for nothing.
    """

    check: str
    at_least: float | None = None
    at_most: float | None = None
    after: str = ""

    def met(self, value: float) -> bool:
        """Whether a figure is within the bound; NaN never is."""
        low = -math.inf if self.at_least is None else self.at_least
        high = math.inf if self.at_most is None else self.at_most
        return low <= value <= high


@dataclass(frozen=True)
class Step:
    """One step: what to do, hints from place to what to try, and when it is done (None: when the learner says so)."""

    text: str
    hints: tuple[str, ...] = ()
    done: Bound | None = None


@dataclass(frozen=True)
class Limit:
    """The figure of a check that passes, and the one that earns merit on another day."""

    check: str
    passes: float
    merit: float


@dataclass(frozen=True)
class Question:
    """Something to be answered for each piece, or once: one of `options`, or a number with its unit and range."""

    id: str
    text: str
    options: tuple[str, ...] = ()
    unit: str = ""
    low: float = 0.0
    high: float = 0.0
    each_piece: bool = True


@dataclass(frozen=True)
class Solution:
    """A registered way of working with its options; a wrong one says which check it fails, and why."""

    way: str
    options: dict[str, Any] = field(default_factory=dict)
    fails: str = ""
    reason: str = ""


@dataclass(frozen=True)
class Seeds:
    """Seeds: of the part with help, the first of those alone, the first of the checks, and of the trials for limits."""

    help: int = 1
    alone: int = 1000
    check: int = 5000
    trials: tuple[int, int] = (21, 40)


@dataclass(frozen=True)
class Lesson:
    """A lesson; `name` is that of its file. shuffled: its pieces come in another order for each seed."""

    name: str
    number: int
    title: str
    goal: str
    minutes: float
    belief: str
    faults: tuple[int, ...]
    permission: str
    cautions: tuple[str, ...]
    pieces: tuple[Piece, ...]
    allowed: Allowed
    steps: tuple[Step, ...]
    limits: tuple[Limit, ...]
    questions: tuple[Question, ...]
    seeds: Seeds
    model: Solution
    wrong: Solution
    shuffled: bool = False
    path: Path = field(default_factory=Path)


def pieces_of(lesson: Lesson, seed: int) -> tuple[Piece, ...]:
    """The pieces in the order in which an attempt of this seed has them."""
    if not lesson.shuffled:
        return lesson.pieces
    order = luck(seed, "plan", 0, 2).permutation(len(lesson.pieces))
    return tuple(lesson.pieces[n] for n in order)


def before_of(piece: Piece, seed: int) -> tuple[Command, ...]:
    """What is done to a piece before the learner takes it over.

    With `scatter_mm` its strokes, all together, are mirrored along the face or not, across it or not, and moved by up
    to so much either way, as the luck of the face has it; the other acts are as they are written.
    """
    if not piece.scatter_mm:
        return piece.before
    rng = luck(seed + piece.seed_step, "plan", 0, PLACED)
    flipped = rng.random(2) < 0.5
    moved = [round(100.0 * piece.scatter_mm * float(v)) for v in rng.uniform(-1.0, 1.0, 2)]
    size = [round(100.0 * v) for v in (piece.start.face.length_mm, piece.start.face.width_mm)]

    def placed(stroke: tuple[int, int, int, int, int]) -> tuple[int, int, int, int, int]:
        x0, y0, x1, y1 = ((size[k % 2] - v if flipped[k % 2] else v) + moved[k % 2] for k, v in enumerate(stroke[:4]))
        return x0, y0, x1, y1, stroke[4]

    return tuple(replace(one, strokes=tuple(placed(s) for s in one.strokes)) if isinstance(one, Scrape) else one
                 for one in piece.before)  # fmt: skip
