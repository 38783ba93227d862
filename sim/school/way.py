"""Ways of working at a lesson: generators of acts that see what a learner sees, driven through an attempt."""

from collections.abc import Callable, Generator, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple, get_args, get_type_hints

import numpy as np

from sim.errors import BadParam
from sim.hands.skill import HANDS, Hand
from sim.model.part import PartShape
from sim.school.attempt import Attempt
from sim.school.lesson import Solution, pieces_of
from sim.school.seen import RoundSeen, darkness
from sim.shop.commands import Command
from sim.shop.luck import luck
from sim.shop.sight import Sight

MOST_ACTS = 100_000
MOST_OPTION = 1000.0
COUNTS = ("rounds", "strokes")
"""Options of which there is one at least."""


class Spoken(NamedTuple):
    """Something said beside the iron."""

    kind: str
    data: dict[str, Any]


class Take(NamedTuple):
    """Another piece taken in hand, counted from 0."""

    piece: int


Act = Command | Spoken | Take


class Eyes:
    """What a way may look at: sight and darkness of the piece in hand, what the last act showed, what is asked.

    Attributes
    ----------
    sight : Sight
    result : Any
        Of the last act: the pivot of a hinge test, readings of a sweep.
    pieces : int
    asked_um : float
        The film or the depth that the piece in hand asks for; 0 where it asks for none.
    tram : str
        How the cutter at hand stands, "in" or "out of" tram, as the title of the piece in hand tells.
    cases : tuple of str
        Recorded cases of the pieces themselves, which nobody may look up.
    """

    def __init__(self, attempt: Attempt) -> None:
        self._attempt = attempt
        self._pieces = pieces_of(attempt.lesson, attempt.seed)
        self.pieces = len(self._pieces)
        self.result: Any = None
        self.sight: Sight = attempt.sight

    def look(self) -> None:
        """Look again; called after every act."""
        self.sight = self._attempt.sight

    @property
    def asked_um(self) -> float:
        """What the piece in hand asks for."""
        return self._pieces[self._attempt.piece].asked_um

    @property
    def tram(self) -> str:
        """How the cutter at hand stands."""
        return "out of" if "out of tram" in self._pieces[self._attempt.piece].title else "in"

    @property
    def cases(self) -> tuple[str, ...]:
        """Recorded cases of all pieces."""
        return tuple(piece.case for piece in self._pieces)

    @property
    def shape(self) -> PartShape:
        """The drawing of the part in hand."""
        return self._attempt.session.job.start.shape

    def print(self) -> RoundSeen:
        """The face in hand as a print that can be read."""
        sight = self.sight
        return RoundSeen(
            number=sight.round, face=sight.in_hand, film_um=float("nan"), applicator="", lint=False, method="plate",
            way_mm=0.0, hands=(), x_mm=0.0, y_mm=0.0, turn_deg=0.0, upright=False,
            dark=darkness(self._attempt.session), marked=sight.marked, iron=sight.iron, fresh=sight.marked,
            pitch_mm=sight.pitch_mm, unwiped=0, clock_s=sight.clock_s)  # fmt: skip


Working = Generator[Act, None, None]
WAYS: dict[str, "Way"] = {}
"""Every way by its name; filled by the modules of ways."""


@dataclass(frozen=True)
class Way:
    """A registered way of working; options: name to what it is when it is not set.

    The words that an option takes are those of its Literal.
    """

    name: str
    doc: str
    run: Callable[..., Working]
    options: Mapping[str, Any] = field(default_factory=dict)

    def fault(self, key: str, value: Any) -> str | None:
        """What is wrong with an option; None when nothing is."""
        if key == "hand":
            good = isinstance(value, str) and value in HANDS
            return None if good else f"hand must be one of {', '.join(HANDS)}, got {str(value)[:60]!r}"
        if key not in self.options:
            takes = ", ".join(("hand", *self.options))
            return f"{key} is no option of {self.name}: must be one of {takes}, got {key[:60]!r}"
        default = self.options[key]
        wanted: Any = (int, float) if isinstance(default, float) else type(default)
        if not isinstance(value, wanted) or isinstance(value, bool) != isinstance(default, bool):
            return f"{key} must be of the kind of {default!r}, got {str(value)[:60]!r}"
        words = get_args(get_type_hints(self.run)[key])
        if words and value not in words:
            return f"{key} must be one of {', '.join(words)}, got {value[:60]!r}"
        least = 1.0 if key in COUNTS else -MOST_OPTION
        if isinstance(default, float) and not least <= value <= MOST_OPTION:
            return f"{key} must be in [{least:g}, {MOST_OPTION:g}], got {value:g}"
        return None


def way(run: Callable[..., Working]) -> Callable[..., Working]:
    """Register a way under its name; keyword arguments after eyes and hand are its options."""
    options = dict(run.__kwdefaults__ or {})
    doc = (run.__doc__ or "").strip().splitlines()[0].rstrip(".")
    WAYS[run.__name__] = Way(run.__name__, doc, run, options)
    return run


def acts(attempt: Attempt, solution: Solution, hand: str | None = None) -> Generator[tuple[Act, Any], None, None]:
    """Work at an attempt by a solution, act by act: each is done, then yielded with its result.

    Parameters
    ----------
    hand : str, optional
        Whose hand; the solution's own, else a skilled one.

    Raises
    ------
    BadParam
        An unknown way or option.
    Refused
        An act that the lesson does not allow, or that is not possible.
    """
    if solution.way not in WAYS:
        raise BadParam(f"way must be one of {', '.join(WAYS)}, got {solution.way!r}")
    chosen, options = WAYS[solution.way], dict(solution.options)
    for key, value in options.items():
        fault = chosen.fault(key, value)
        if fault:
            raise BadParam(fault)
    whose = hand or options.get("hand", "skilled")
    options.pop("hand", None)
    eyes = Eyes(attempt)
    for count, act in enumerate(chosen.run(eyes, HANDS[whose], **options)):
        if count > MOST_ACTS:
            raise BadParam(f"a way must end within {MOST_ACTS:,} acts, got {solution.way}, which goes on")
        eyes.result = None
        if isinstance(act, Take):
            attempt.take_piece(act.piece)
        elif isinstance(act, Spoken):
            attempt.say(act.kind, **act.data)
        else:
            eyes.result = attempt.do(act)
        eyes.look()
        yield act, eyes.result


def work(attempt: Attempt, solution: Solution, hand: str | None = None,
         on_act: Callable[[Act], None] | None = None) -> Attempt:
    """Work at an attempt by a solution until it ends; raises as `acts`."""
    for act, _ in acts(attempt, solution, hand):
        if on_act:
            on_act(act)
    return attempt


def say(kind: str, **data: Any) -> Spoken:
    """Something said, as an act."""
    return Spoken(kind, data)


def spread(sight: Sight, number: int) -> np.random.Generator:
    """Luck of an eye or a hand beside its strokes, the same for every hand; how wide it goes is `width`."""
    return luck(sight.seed, "hand", sight.round, 1_000_000 + number)


def width(hand: Hand) -> float:
    """How much farther a hand's errors go than a skilled one's: 1, 2.3, 5; as its miss of a mark does."""
    return hand.drift_mm / HANDS["skilled"].drift_mm
