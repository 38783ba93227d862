"""An item of a drill: what is asked, how it is answered, and what an answer costs, in the unit named.

Figures that name no other origin are common practice, no source.
"""

from abc import ABC, abstractmethod
from dataclasses import dataclass
from functools import cached_property
from typing import Any, ClassVar

import numpy as np

from sim.errors import BadParam
from sim.school.bank import Bank
from sim.school.view import Condition, Picture, condition_named, measured
from sim.shop.commands import shown
from sim.units import shown_unit

LEVELS = range(1, 11)
Points = tuple[tuple[float, float], ...]
Edges = tuple[tuple[float, float, float, float], ...]
"""Short straight lines x0, y0, x1, y1, mm: what outlines are made of."""
QUITE = 1e-9  # what costs no more costs nothing
CLOSE = 0.25  # of what a blind answer costs: not right, but close


@dataclass(frozen=True)
class Place:
    """Click one of these places; the answer is its number, from 0."""

    points_mm: Points


@dataclass(frozen=True)
class Order:
    """Put these places in order, highest first; the answer is a list of their numbers, from 0."""

    points_mm: Points


@dataclass(frozen=True)
class Several:
    """Click those of these places that are meant; the answer is a list of their numbers, from 0."""

    points_mm: Points


@dataclass(frozen=True)
class Choice:
    """One of these; the answer is the text or its number, from 0."""

    options: tuple[str, ...]


@dataclass(frozen=True)
class Number:
    """A number with its unit from low to high; `log`: on a slider with equal steps for equal ratios."""

    name: str
    unit: str
    low: float
    high: float
    log: bool = False


@dataclass(frozen=True)
class Line:
    """A direction across the picture, degrees anticlockwise from the right; 180 apart is the same."""

    name: str
    steps: int = 0


Form = Place | Order | Several | Choice | Number | Line


@dataclass(frozen=True)
class Part:
    """One part of what an answer cost: `rate` says how much of it counts in the item's loss.

    allowed: up to how much of `loss` counts as right; about: what of the answer this part is, where there are several.
    fault, near: what is said instead of the loss where the part is wrong, and where it is right but cost something.
    """

    name: str
    unit: str
    loss: float
    chance: float
    rate: float = 1.0
    allowed: float = 0.0
    about: str = ""
    fault: str = ""
    near: str = ""

    @property
    def right(self) -> bool:
        """Whether this part counts as right."""
        return self.loss <= self.allowed + QUITE

    @property
    def words(self) -> str:
        """What was wrong, or how near it was; nothing where the only part of an answer costs nothing."""
        lost = f"{amount(self.loss)} {shown_unit(self.unit)}".replace(" °", "°")
        if self.right:
            near = "" if amount(self.loss) == "0" else self.near or f"{lost} from perfect"
            said = ", ".join(one for one in ("Right" if self.about else "", near) if one)
        else:
            allowed = f", up to {amount(self.allowed)} allowed" if self.allowed > 0.0 else ""
            said = self.fault or f"{self.name}: {lost}{allowed}"
        return f"{self.about}: {said}" if self.about and said else said


@dataclass(frozen=True)
class Told:
    """What is said after an answer: right or not, why with the figures, where to look, and the truth as an answer.

    verdict: the same as `right`, and how near, in a word or two. edges_mm: outlines of what was asked about.
    """

    right: bool
    sentence: str
    places_mm: Points
    truth: Any
    verdict: str = ""
    edges_mm: Edges = ()


@dataclass(frozen=True, eq=False)
class Item(ABC):
    """One question about real simulated iron.

    Attributes
    ----------
    level : int
        1 to 10.
    condition : str
        Name of the condition of its family (`view.CONDITIONS`).
    seed : int
    facts : dict
        Everything that is asked and true, as plain data: it can be kept as JSON, pictures are made from it.
    bank : Bank
        Where its iron comes from.
    """

    level: int
    condition: str
    seed: int
    facts: dict[str, Any]
    bank: Bank
    kind: ClassVar[str] = ""
    unit: ClassVar[str] = "um"
    target_s: ClassVar[float] = 12.0
    best: ClassVar[float] = 0.0
    bar_mm: ClassVar[float] = 0.0
    """Length of the scale bar in its pictures; 0 for none."""

    @property
    @abstractmethod
    def question(self) -> str:
        """What is asked."""

    @property
    @abstractmethod
    def forms(self) -> tuple[Form, ...]:
        """How it is answered; with several, the answer is a list of that many."""

    @property
    @abstractmethod
    def truth(self) -> Any:
        """An answer that costs nothing."""

    @abstractmethod
    def parts(self, answer: Any) -> tuple[Part, ...]:
        """What an answer cost, and what a blind one costs on average.

        Raises
        ------
        BadParam
            An answer that is not of the item's form.
        """

    @abstractmethod
    def blind(self, rng: np.random.Generator) -> Any:
        """An answer that knows nothing of the item; over many draws it costs `chance`."""

    @abstractmethod
    def why(self, answer: Any) -> str:
        """A sentence or two with the figures; true of this very item, and no verdict."""

    @abstractmethod
    def draw(self, condition: Condition) -> tuple[Picture, ...]:
        """Its pictures under a condition."""

    @property
    def form(self) -> Form:
        """The first of `forms`."""
        return self.forms[0]

    @cached_property
    def seen_under(self) -> Condition:
        """Everything that does not matter, as it is on this item."""
        return condition_named(self.condition, self.seed)

    @cached_property
    def pictures(self) -> tuple[Picture, ...]:
        """What is looked at."""
        drawn = self.draw(self.seen_under)
        return tuple(measured(one, self.bar_mm) for one in drawn) if self.bar_mm else drawn

    @property
    def family(self) -> str:
        """Kind, level and condition: what comes back with new faces."""
        return family_of(self.kind, self.level, self.condition)

    def loss(self, answer: Any) -> float:
        """What an answer costs, in `unit`; 0 is best."""
        return sum(one.rate * one.loss for one in self.parts(answer))

    def chance_of(self, answer: Any) -> float:
        """Exact mean cost of a blind answer; in kind 7 of one that takes as many as this answer."""
        return sum(one.rate * one.chance for one in self.parts(answer))

    @property
    def chance(self) -> float:
        """Exact mean cost of a blind answer."""
        return self.chance_of(self.truth)

    def right(self, answer: Any) -> bool:
        """Whether an answer counts as right, for the staircase as for the learner: no part costs more than allowed."""
        return all(one.right for one in self.parts(answer))

    def verdict(self, answer: Any) -> str:
        """Right or not, and how near."""
        loss = self.loss(answer)
        if self.right(answer):
            return "Right" if loss <= QUITE else "Near enough"
        return "Close" if loss <= CLOSE * self.chance_of(answer) else "Not right"

    def places(self) -> Points:
        """Where to look when the truth is told."""
        return ()

    def edges(self) -> Edges:
        """Outlines to look at when the truth is told."""
        return ()

    def told(self, answer: Any) -> Told:
        """What is said at once."""
        return Told(self.right(answer), self.why(answer), self.places(), self.truth, self.verdict(answer), self.edges())


def amount(value: float) -> str:
    """A number as it is told: finer when it is small."""
    return "0" if abs(value) < 0.005 else f"{value:.2f}" if abs(value) < 1.0 else f"{value:.3g}"


def family_of(kind: str, level: int, condition: str) -> str:
    """Name of a family."""
    return f"{kind} / {level} / {condition}"


def between(level: int, easy: float, hard: float) -> float:
    """A value that goes from `easy` on level 1 to `hard` on level 10 by equal ratios."""
    return easy * (hard / easy) ** ((level - 1) / 9.0)


def share_hard(level: int) -> float:
    """0 on level 1 to 1 on level 10."""
    return (level - 1) / 9.0


def number_of(answer: Any, count: int, name: str = "answer") -> int:
    """A whole number from 0 to count - 1.

    Raises
    ------
    BadParam
        Anything else.
    """
    if isinstance(answer, bool) or not isinstance(answer, (int, np.integer)) or not 0 <= answer < count:
        raise BadParam(f"{name} must be a whole number from 0 to {count - 1}, got {shown(answer)}")
    return int(answer)


def numbers_of(answer: Any, count: int, whole: bool) -> list[int]:
    """Different numbers from 0 to count - 1; with `whole`, each of them once.

    Raises
    ------
    BadParam
        Anything else.
    """
    if not isinstance(answer, (list, tuple)):
        raise BadParam(f"answer must be a list of numbers from 0 to {count - 1}, got {shown(answer)}")
    found = [number_of(one, count) for one in answer]
    if len(set(found)) != len(found) or (whole and len(found) != count):
        each = f"each of 0 to {count - 1} once" if whole else "no number twice"
        raise BadParam(f"answer must hold {each}, got {shown(answer)}")
    return found


def option_of(answer: Any, options: tuple[str, ...]) -> int:
    """Number of an option, from its text or its number.

    Raises
    ------
    BadParam
        None of them.
    """
    if isinstance(answer, str):
        if answer not in options:
            raise BadParam(f"answer must be one of {', '.join(options)}, got {shown(answer)}")
        return options.index(answer)
    return number_of(answer, len(options))


def amount_of(answer: Any, form: Number) -> float:
    """A number within a form's limits.

    Raises
    ------
    BadParam
        Anything else.
    """
    ok = isinstance(answer, (int, float, np.floating, np.integer)) and not isinstance(answer, bool)
    if not ok or not form.low <= answer <= form.high:
        sign = shown_unit(form.unit)
        raise BadParam(f"{form.name} must be {form.low:g} to {form.high:g} {sign}, got {shown(answer)}")
    return float(answer)


def pair_of(answer: Any) -> tuple[Any, Any]:
    """The two halves of an answer.

    Raises
    ------
    BadParam
        Not a list of two.
    """
    if not isinstance(answer, (list, tuple)) or len(answer) != 2:
        raise BadParam(f"answer must be a list of two, got {shown(answer)}")
    return answer[0], answer[1]
