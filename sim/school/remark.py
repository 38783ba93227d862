"""What the coach says, and how a rule is made."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from sim.school.seen import RoundSeen

Rungs = tuple[str, str, str, str]
Places = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Remark:
    """One remark: four rungs that are asked for one after the other, and what they rest on.

    Attributes
    ----------
    rule : str
    fault : int
        Number of the fault in the list of what beginners do; 0 for none.
    rungs : four str
        Place, question, reason, what to try; at most 96 letters each.
    places_mm : tuple of (x, y)
        Where on the face it can be shown; may be empty.
    rounds : tuple of int
        The rounds that it rests on.
    praise : bool
    at_stake_um : float
    """

    rule: str
    fault: int
    rungs: Rungs
    places_mm: Places = ()
    rounds: tuple[int, ...] = ()
    praise: bool = False
    at_stake_um: float = 0.0


@dataclass(frozen=True)
class Found:
    """What a rule found in a round: its figure, whether it is out of its band, and what it would say."""

    figure: float
    out: bool
    at_stake_um: float
    rungs: Rungs
    places_mm: Places = ()
    rounds: tuple[int, ...] = ()


Look = Callable[[Sequence[RoundSeen]], Found | None]


@dataclass(frozen=True)
class Rule:
    """A rule: it looks at the rounds of one face up to the last, and finds a figure, or None where there is none.

    at_once: it may speak when its figure has left the band once; the others want it twice running.
    """

    name: str
    fault: int
    look: Look
    praise: bool = False
    at_once: bool = False

    def remark(self, found: Found) -> Remark:
        """What it says of what was found."""
        return Remark(self.name, self.fault, found.rungs, found.places_mm, found.rounds, self.praise, found.at_stake_um)


def numbers(rounds: Sequence[RoundSeen], last: int = 2) -> tuple[int, ...]:
    """Numbers of the last rounds."""
    return tuple(one.number for one in rounds[-last:])


def where(at_mm: tuple[float, float], one: RoundSeen) -> str:
    """A place on a face in words, y upwards: "the upper left corner", "the right side", "the middle"."""
    ny, nx = one.iron.shape
    across = at_mm[0] / (nx * one.pitch_mm)
    up = at_mm[1] / (ny * one.pitch_mm)
    side = "left" if across < 1 / 3 else "right" if across > 2 / 3 else ""
    height = "lower" if up < 1 / 3 else "upper" if up > 2 / 3 else ""
    if side and height:
        return f"the {height} {side} corner"
    return f"the {side or height} side" if side or height else "the middle"
