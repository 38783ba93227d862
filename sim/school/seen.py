"""What a coach may know while the work goes on: prints as they look, strokes as they were laid, calls, the clock."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from sim.errors import Refused
from sim.model import film
from sim.model.marks import Marks
from sim.school.calls import Call, calls_from
from sim.shop.commands import (
    BreakEdges,
    Command,
    HoneBlade,
    RollFilm,
    Scrape,
    SpotFace,
    StoneFace,
    WipeFace,
    WipePlate,
)
from sim.shop.job import Job
from sim.shop.partwork import PushEnds, SpotUpright, TakeFace
from sim.shop.sight import Sight


class Bench(Protocol):
    """What is looked at: a session, of which only the sight and the blue on the face in hand are read."""

    @property
    def job(self) -> Job:
        """The job; of it the blue, its outline and the round are read."""

    def look(self) -> Sight:
        """What a person sees now."""


class Scraped(NamedTuple):
    """Strokes of one command: x0, y0, x1, y1 in mm and push in N; metres: cut since the blade was honed, after them."""

    blade: str
    strokes: NDArray[np.float64]
    care: float
    ramp_mm: float
    metres: float


class Counted(NamedTuple):
    """What the learner counted in the square with its corner at x, y; NaN where he gave no number."""

    x_mm: float
    y_mm: float
    spots: float
    bearing_pct: float


class Expected(NamedTuple):
    """What the learner said before lifting: the hardest place, and more, same or fewer marks; None: not said."""

    x_mm: float | None = None
    y_mm: float | None = None
    marks: str | None = None


@dataclass(frozen=True, eq=False)
class RoundSeen:
    """One round: its print, and what was done after it.

    Attributes
    ----------
    number, face : int, str
        Round of the job, face in hand.
    film_um, applicator, lint : float, str, bool
        Weight last rolled (NaN: none), with what; lint: a rag was used since the plate was last cleaned.
    method, way_mm, hands, x_mm, y_mm, turn_deg, upright
        How it was spotted, as the command says.
    dark : uint8 (ny, nx)
        255 (1 - e^(-blue / opacity)), row 0 at y = 0.
    marked, iron, fresh : bool (ny, nx)
        Where it is seen as blue; outline; where blue came that was not there before the print.
    unwiped : int
        Strokes on the face when it was put down that no cloth had followed.
    clock_s : float
        When it was lifted.
    scraped : tuple of Scraped
    light, firm : int
        Passes of the stone after the print.
    wiped, broken : bool
        A cloth after the last stroke; edges were filed by the learner at any time so far.
    honed : tuple of str
    calls, expected, counts
        What the learner said of this print; expected: before it.
    """

    number: int
    face: str
    film_um: float
    applicator: str
    lint: bool
    method: str
    way_mm: float
    hands: tuple[tuple[float, float, float], ...]
    x_mm: float
    y_mm: float
    turn_deg: float
    upright: bool
    dark: NDArray[np.uint8]
    marked: NDArray[np.bool_]
    iron: NDArray[np.bool_]
    fresh: NDArray[np.bool_]
    pitch_mm: float
    unwiped: int
    clock_s: float
    broken: bool = False
    scraped: tuple[Scraped, ...] = ()
    light: int = 0
    firm: int = 0
    wiped: bool = False
    honed: tuple[str, ...] = ()
    calls: tuple[Call, ...] = ()
    expected: Expected | None = None
    counts: tuple[Counted, ...] = ()

    @cached_property
    def strokes(self) -> NDArray[np.float64]:
        """All strokes of the round in order, float64 (n, 5): mm and N."""
        return np.vstack([one.strokes for one in self.scraped]) if self.scraped else np.zeros((0, 5))

    @property
    def blade(self) -> str:
        """The last blade of the round; '' for none."""
        return self.scraped[-1].blade if self.scraped else ""

    @property
    def marks(self) -> Marks:
        """The print as marks."""
        return Marks(self.marked, self.iron, self.pitch_mm)


@dataclass(frozen=True, eq=False)
class _State:
    """What is known after one command; the states of a whole job share their parts, so that any can be gone back to."""

    rounds: tuple[RoundSeen, ...] = ()
    film_um: float = float("nan")
    applicator: str = ""
    lint: bool = False
    unwiped: int = 0
    broken: bool = False
    expected: Expected | None = None
    marked: NDArray[np.bool_] | None = field(default=None)
    clock_s: float = 0.0


class Seen:
    """What the coach may know; `note` after every command, `taken_back` after an undo.

    Nothing of the heights, burrs, chips or the plate's form is read: the sight, the darkness of the blue, and the
    commands themselves.
    """

    def __init__(self) -> None:
        self._states: list[_State] = [_State()]

    @property
    def rounds(self) -> list[RoundSeen]:
        """Every round so far."""
        return list(self._states[-1].rounds)

    @property
    def clock_s(self) -> float:
        """Shop time after the last command."""
        return self._states[-1].clock_s

    @property
    def commands(self) -> int:
        """Commands noted that stand."""
        return len(self._states) - 1

    def note(self, command: Command, session: Bench) -> None:
        """Take in a command that was done, and what is to be seen after it."""
        now = self._states[-1]
        sight = session.look()
        if isinstance(command, SpotFace | SpotUpright):
            now = _lifted(now, command, sight, darkness(session))
        elif isinstance(command, RollFilm):
            now = _rolled(now, command)
        elif isinstance(command, WipePlate):
            now = replace(now, lint=False)
        elif isinstance(command, TakeFace):
            now = replace(now, unwiped=0)
        elif isinstance(command, BreakEdges):
            now = _in_round(replace(now, broken=True), broken=True)
        elif isinstance(command, Scrape):
            now = _scraped(now, command, sight)
        elif isinstance(command, StoneFace | WipeFace | HoneBlade | PushEnds):
            now = _cleaned(now, command)
        self._states.append(replace(now, marked=sight.marked, clock_s=sight.clock_s))

    def taken_back(self, count: int = 1) -> None:
        """Forget the last commands, as `Session.undo` did.

        Raises
        ------
        Refused
            When there are not so many.
        """
        if not 1 <= count <= self.commands:
            raise Refused(f"count must be from 1 to the {self.commands} commands noted, got {count}")
        del self._states[len(self._states) - count :]

    def calls(self, round_: int, calls: Sequence[Call]) -> None:
        """The calls of a round's print, all of them; replaces what was called before."""
        self._states[-1] = self._changed(round_, calls=tuple(calls))

    def predicted(self, expected: Expected) -> None:
        """What is expected of the next print."""
        self._states[-1] = replace(self._states[-1], expected=expected)

    def counted(self, round_: int, counted: Counted) -> None:
        """A square that was counted on a round's print."""
        before = next((one.counts for one in self.rounds if one.number == round_), ())
        self._states[-1] = self._changed(round_, counts=(*before, counted))

    def heard(self, kind: str, data: Mapping[str, Any]) -> None:
        """What was said beside the iron, as plain data; calls and counts are of the last print, if there is one."""
        if kind == "predict":
            self.predicted(Expected(**data))
        elif self.rounds and kind == "calls":
            self.calls(self.rounds[-1].number, calls_from(data["calls"]))
        elif self.rounds and kind == "count":
            told = (float(data.get(key, math.nan)) for key in Counted._fields)
            self.counted(self.rounds[-1].number, Counted(*told))

    def _changed(self, round_: int, **what: object) -> _State:
        """The last state with one round changed.

        Raises Refused when there is no such round.
        """
        now = self._states[-1]
        if all(one.number != round_ for one in now.rounds):
            raise Refused(f"round must be one of those seen, got {round_}")
        rounds = tuple(replace(one, **what) if one.number == round_ else one  # type: ignore[arg-type]
                       for one in now.rounds)
        return replace(now, rounds=rounds)


def darkness(session: Bench) -> NDArray[np.uint8]:
    """Darkness of the blue on the face in hand, 255 (1 - e^(-blue / opacity)), uint8 (ny, nx)."""
    face, opacity_um = session.job.face, session.job.start.material.blue.opacity_um
    dark = film.darkness(face.blue_um.astype(np.float32), opacity_um)
    return np.rint(255.0 * np.where(face.iron, dark, np.float32(0.0))).astype(np.uint8)


def _lifted(now: _State, command: SpotFace | SpotUpright, sight: Sight, dark: NDArray[np.uint8]) -> _State:
    """A new round with its print."""
    before = now.marked
    same = before is not None and before.shape == sight.marked.shape
    fresh = sight.marked & ~before if same and before is not None else sight.marked
    upright = isinstance(command, SpotUpright)
    one = RoundSeen(
        sight.round, sight.in_hand, now.film_um, now.applicator, now.lint,
        method="plate" if isinstance(command, SpotUpright) else command.method, way_mm=command.way_mm,
        hands=() if isinstance(command, SpotUpright) else command.hands, x_mm=command.x_mm, y_mm=command.y_mm,
        turn_deg=0.0 if isinstance(command, SpotUpright) else command.turn_deg, upright=upright, dark=dark,
        marked=sight.marked, iron=sight.iron, fresh=fresh, pitch_mm=sight.pitch_mm, unwiped=now.unwiped,
        clock_s=sight.clock_s, broken=now.broken, expected=now.expected)
    return replace(now, rounds=(*now.rounds, one), expected=None)


def _rolled(now: _State, command: RollFilm) -> _State:
    """Another film on the plate."""
    weight = now.film_um if command.weight_um is None else command.weight_um
    return replace(now, film_um=weight, applicator=command.applicator, lint=now.lint or command.applicator == "rag")


def _scraped(now: _State, command: Scrape, sight: Sight) -> _State:
    """Strokes of the round."""
    strokes = command.made
    more = Scraped(command.blade, strokes, command.care, command.ramp_mm, sight.metres[command.blade])
    now = replace(now, unwiped=now.unwiped + len(strokes))
    return _in_round(now, scraped=(*(now.rounds[-1].scraped if now.rounds else ()), more), wiped=False)


def _cleaned(now: _State, command: Command) -> _State:
    """Stone, cloth, hone."""
    last = now.rounds[-1] if now.rounds else None
    if isinstance(command, WipeFace):
        return _in_round(replace(now, unwiped=0), wiped=True)
    if last is None:
        return now
    if isinstance(command, StoneFace):
        light = command.pressure == "light"
        return _in_round(now, light=last.light + light, firm=last.firm + (not light))
    if isinstance(command, HoneBlade):
        return _in_round(now, honed=(*last.honed, command.blade))
    return replace(now, unwiped=0)  # chips of an unwiped face stay where it was set down


def _in_round(now: _State, **what: object) -> _State:
    """The state with its last round changed; before the first print nothing is kept."""
    if not now.rounds:
        return now
    return replace(now, rounds=(*now.rounds[:-1], replace(now.rounds[-1], **what)))  # type: ignore[arg-type]
