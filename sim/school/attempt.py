"""An attempt at a lesson: its jobs, and what was said beside the iron, as data that can be gone through again."""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.errors import BadParam, Refused
from sim.hands.worked import work_on, worked_job
from sim.model.film import Blue, darkness
from sim.school.lesson import COMES_IN, PARTS, Lesson, Piece, Question, before_of, pieces_of
from sim.shop.commands import Command, Scrape, SpotFace
from sim.shop.job import JobStart
from sim.shop.luck import luck
from sim.shop.partwork import SpotUpright
from sim.shop.session import COPIES_MB, Session
from sim.shop.sight import Sight
from sim.units import counted

TOOL_OF = {
    "RollFilm": "roll", "WipePlate": "roll", "BlueFace": "roll", "SpotFace": "spot", "SpotUpright": "spot",
    "Scrape": "scrape", "StoneFace": "stone", "WipeFace": "wipe", "HoneBlade": "hone", "SweepFace": "indicator",
    "PushEnds": "hinge", "TakeFace": "turn", "BreakEdges": "edges", "RecutFace": "machine",
}  # fmt: skip
"""The tool that an act belongs to; what is not here is always allowed."""
SAID = {
    "predict": ("x_mm", "y_mm", "marks"), "calls": ("calls",), "count": ("x_mm", "y_mm", "spots", "bearing_pct"),
    "answer": ("question", "value"), "step": ("step",), "hint": ("step", "rung"), "coach": ("rule", "rung"),
    "uncover": (), "lamp": ("lamp_deg",),
}  # fmt: skip
"""What can be said beside the iron, and the keys of it."""
BESIDE = ("hint", "coach", "step", "uncover", "lamp")
"""What can be said without having worked at a piece."""
OTHER_OPACITY_UM = 0.28, 0.45  # of the blue on another day: from memory, within the range of Blue


@dataclass(frozen=True)
class Said:
    """Something said on a piece after so many of its commands."""

    piece: int
    after: int
    kind: str
    data: dict[str, Any]


@dataclass(eq=False)
class Attempt:
    """An attempt in hand.

    Attributes
    ----------
    lesson, part, seed : Lesson, str, int
    sessions : list of Session
        One a piece.
    begun : tuple of int
        Commands that were there when the learner took each piece over.
    said : list of Said
    piece : int
        The piece in hand.
    """

    lesson: Lesson
    part: str
    seed: int
    sessions: list[Session]
    begun: tuple[int, ...]
    said: list[Said] = field(default_factory=list)
    piece: int = 0

    @property
    def session(self) -> Session:
        """The piece in hand."""
        return self.sessions[self.piece]

    @property
    def sight(self) -> Sight:
        """What the learner sees of the piece in hand."""
        return self.session.look()

    def darkness(self) -> NDArray[np.float64]:
        """How dark the blue on the face in hand looks: 0 bare to 1."""
        job = self.session.job
        return darkness(job.face.blue_um, job.start.material.blue.opacity_um)

    def not_allowed(self, command: Command) -> str | None:
        """Why the lesson does not allow an act now; None when it does."""
        return why_not(self.lesson, self.session.commands[self.begun[self.piece] :], command)

    def do(self, command: Command) -> Any:
        """Do an act on the piece in hand.

        Raises
        ------
        Refused
            The lesson does not allow it, or it is not possible now; nothing is changed.
        """
        why = self.not_allowed(command)
        if why is not None:
            raise Refused(why)
        return self.session.do(command)

    def say(self, kind: str, **data: Any) -> None:
        """Note what was said, beside the act after which it was.

        Raises
        ------
        BadParam
            An unknown kind, or keys that it does not take.
        Refused
            Heights uncovered where they are to stay covered, or the coach asked where it is silent.
        """
        if kind == "uncover" and not self.lesson.allowed.uncover:
            raise Refused("Heights stay covered until the finish: so it was asked for.")
        if kind == "coach" and not self.lesson.allowed.coach:
            raise Refused("The coach is silent here.")
        if kind not in SAID or not set(data) <= set(SAID[kind]):
            takes = "; ".join(f"{name}: {', '.join(keys) or 'nothing'}" for name, keys in SAID.items())
            raise BadParam(f"what is said must be one of {takes}; got {kind} with {', '.join(data) or 'nothing'}")
        self.said.append(Said(self.piece, len(self.session.commands), kind, data))

    def take_piece(self, number: int) -> None:
        """Take another piece in hand, counted from 0; raises BadParam where there is none."""
        if not 0 <= number < len(self.sessions):
            raise BadParam(f"piece must be 0 to {len(self.sessions) - 1}, got {number}")
        self.piece = number

    def close(self) -> None:
        """Close every job file."""
        for session in self.sessions:
            session.close()


def why_not(lesson: Lesson, mine: Sequence[Command], command: Command) -> str | None:
    """Why a lesson does not allow an act after those that the learner has made of a piece; None when it does."""
    allowed = lesson.allowed
    tool = TOOL_OF.get(type(command).__name__)
    closed = None if tool is None else closed_tool(lesson, tool)
    if closed is not None:
        return closed
    if allowed.rounds is not None and isinstance(command, SpotFace | SpotUpright):
        made = sum(isinstance(one, SpotFace | SpotUpright) for one in mine)
        if made > allowed.rounds:  # one print more, to look at the last round's work
            are = "it is" if allowed.rounds == 1 else "they are"
            return f"This lesson has {counted(allowed.rounds, 'round')}; {are} done. Finish it."
    if allowed.strokes is not None and isinstance(command, Scrape):
        made = sum(len(one.strokes) for one in mine if isinstance(one, Scrape))
        if made + len(command.strokes) > allowed.strokes:
            left = allowed.strokes - made
            return f"This lesson has {counted(allowed.strokes, 'stroke')}, {left} {'is' if left == 1 else 'are'} left."
    return None


def begin_attempt(lesson: Lesson, part: str, seed: int, folder: Path | None = None) -> Attempt:
    """An attempt at the start; its jobs are kept in `folder` as `NAME-1.job` and so on, where one is given.

    Raises
    ------
    BadParam
        An unknown part.
    CannotWrite
        A job file is there already, or cannot be written.
    """
    if part not in PARTS:
        raise BadParam(f"part must be one of {', '.join(PARTS)}, got {part!r}")
    sessions = []
    for n, piece in enumerate(pieces_of(lesson, seed)):
        session = begun_piece(piece, part, seed)
        if folder is not None:
            folder.mkdir(parents=True, exist_ok=True)
            session.save(folder / f"{lesson.name}-{n + 1}.job")
        sessions.append(session)
    return Attempt(lesson, part, seed, sessions, tuple(len(one.commands) for one in sessions))


def piece_start(piece: Piece, part: str, seed: int) -> JobStart:
    """What a piece starts from: in a check the blue is another day's."""
    start = replace(piece.start, seed=seed + piece.seed_step)
    if part != "check":
        return start
    low, high = OTHER_OPACITY_UM
    opacity_um = low + (high - low) * float(luck(start.seed, "plan", 0, 1).random())
    seen_um = Blue().seen_um * opacity_um / Blue().opacity_um
    blue = replace(start.material.blue, opacity_um=round(opacity_um, 3), seen_um=round(seen_um, 4))
    return replace(start, material=replace(start.material, blue=blue))


def begun_piece(piece: Piece, part: str, seed: int, copies_mb: float = COPIES_MB) -> Session:
    """A piece as the learner takes it over, without a file."""
    start = piece_start(piece, part, seed)
    if piece.worked is None:
        session = Session.begin(start, copies_mb=copies_mb)
    else:
        w = piece.worked
        session = worked_job(start, w.hand, w.rounds, stone=w.stone, crossing=w.crossing,
                             copies_mb=copies_mb)  # fmt: skip
    for command in before_of(piece, seed):
        session.do(command)
    if part == "help" and piece.ahead is not None:
        work_on(session, piece.ahead.hand, piece.ahead.rounds, piece.ahead.options)
    return session


def untouched(attempt: Attempt) -> list[int]:
    """Pieces, counted from 0, on which nothing was done and of which nothing was said."""
    told = {one.piece for one in attempt.said if one.kind not in BESIDE}
    return [n for n, (session, begun) in enumerate(zip(attempt.sessions, attempt.begun, strict=True))
            if len(session.commands) == begun and n not in told]  # fmt: skip


def left_open(attempt: Attempt) -> str:
    """What of an attempt was not touched or not answered yet, in words; empty when all of it was."""
    bare, questions = untouched(attempt), unanswered(attempt)
    told = [untouched_words(bare)] if bare else []
    told += [f"{questions} questions have no answer yet"] if questions > 1 else []
    told += ["one question has no answer yet"] if questions == 1 else []
    return ", and ".join(told)


def untouched_words(pieces: Sequence[int]) -> str:
    """That pieces, counted from 0, are untouched."""
    return f"{pieces_words(pieces)} {'are' if len(pieces) > 1 else 'is'} untouched"


def pieces_words(pieces: Sequence[int]) -> str:
    """Pieces, counted from 0, as one says them: "piece 2", "pieces 2 and 3"."""
    names = [str(n + 1) for n in pieces]
    if len(names) < 2:
        return f"piece {''.join(names)}"
    return f"pieces {', '.join(names[:-1])} and {names[-1]}"


def questions_of(attempt: Attempt) -> list[tuple[int, Question]]:
    """Every question with the piece that it is of; one that is asked once is of the first."""
    each = [(n, one) for n in range(len(attempt.sessions)) for one in attempt.lesson.questions if one.each_piece]
    return each + [(0, one) for one in attempt.lesson.questions if not one.each_piece]


def answered(attempt: Attempt) -> dict[tuple[int, str], object]:
    """(piece, question) to the last answer; one that is asked once counts whichever piece was in hand."""
    once = {one.id for one in attempt.lesson.questions if not one.each_piece}
    found: dict[tuple[int, str], object] = {}
    for one in attempt.said:
        if one.kind == "answer":
            name = str(one.data["question"])
            found[0 if name in once else one.piece, name] = one.data["value"]
    return found


def unanswered(attempt: Attempt) -> int:
    """How many questions have no answer yet."""
    known = answered(attempt)
    return sum((piece, one.id) not in known for piece, one in questions_of(attempt))


def closed_tool(lesson: Lesson, tool: str) -> str | None:
    """Why a lesson does not allow a tool, one of `sim.school.lesson.TOOLS`; None when it does."""
    if tool in lesson.allowed.tools:
        return None
    later = COMES_IN[tool] > lesson.number
    when = f" yet. It comes in lesson {COMES_IN[tool]}" if later else ""
    return f"This lesson does not allow {_the(tool)}{when}."


def said_data(said: Iterable[Said]) -> list[dict[str, Any]]:
    """What was said, as plain data."""
    return json.loads(json.dumps([{"piece": s.piece, "after": s.after, "say": s.kind, **s.data} for s in said]))


def said_from(rows: Any, where: str) -> list[Said]:
    """What `said_data` wrote.

    Raises
    ------
    BadParam
        Naming the row that is not one.
    """
    found = []
    for n, row in enumerate(rows if isinstance(rows, list) else [None]):
        good = isinstance(row, dict) and row.get("say") in SAID
        if not good or not all(type(row.get(key)) is int and row[key] >= 0 for key in ("piece", "after")):
            must = f"must hold piece, after and one of {', '.join(SAID)} as say"
            raise BadParam(f"{where}[{n}] {must}, got {str(row)[:60]}")
        data = {key: value for key, value in row.items() if key not in ("piece", "after", "say")}
        if not set(data) <= set(SAID[row["say"]]):
            raise BadParam(f"{where}[{n}]: {row['say']} takes {', '.join(SAID[row['say']])}, got {', '.join(data)}")
        found.append(Said(row["piece"], row["after"], row["say"], data))
    return found


def _the(tool: str) -> str:
    """A tool in a sentence."""
    words = {"indicator": "the indicator", "hinge": "the hinge test", "turn": "turning the part",
             "roll": "rolling a film", "spot": "spotting", "scrape": "the scraper", "stone": "the stone",
             "wipe": "the cloth", "hone": "honing", "edges": "the file", "machine": "a machine"}  # fmt: skip
    return words[tool]
