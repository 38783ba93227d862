"""What goes along with a job on the bench: what is said of it, what the coach has seen, and what a lesson allows.

No pygame here, and nothing of the heights: `Desk` tells every act, and what was said is read off the desk.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from sim.bench.desk import Desk
from sim.errors import ShopError
from sim.measure.spots import islands
from sim.school.attempt import Attempt, Said
from sim.school.calls import Call
from sim.school.coach import Coach, Remark
from sim.school.lesson import COMES_IN, Allowed, Lesson, Piece, Seeds, Solution
from sim.school.seen import Counted, Expected, RoundSeen, Seen
from sim.shop.commands import BlueFace, Command, HoneBlade, RollFilm, Scrape, SpotFace, WipeFace
from sim.shop.job import Job, JobStart
from sim.shop.partwork import SpotUpright
from sim.shop.session import Session

QUIET = "The coach has nothing to say: what you do stays in its bands, or there is too little to go by."
TOO_EARLY = "The coach goes by prints and strokes: make a round first."
NEAR_MM = 4.0  # round the place that was expected hardest
SPEAKS = ("asked", "round", "never")
"""When the coach speaks: when asked; at the end of a round too; never."""


def free_practice(start: JobStart) -> Lesson:
    """Free practice as a lesson that allows everything, asks nothing and has no limits."""
    none = Solution("none")
    return Lesson(
        name="free-practice", number=max(COMES_IN.values()), title="Free practice", goal="", minutes=0.0, belief="",
        faults=(), permission="", cautions=(), pieces=(Piece(start),), allowed=Allowed(carry_on=True, hand_over=True),
        steps=(), limits=(), questions=(), seeds=Seeds(), model=none, wrong=none)  # fmt: skip


def free_attempt(session: Session, said: list[Said]) -> Attempt:
    """A job of free practice as an attempt; `said`: the list of what was and will be said of it."""
    start = session.job.start
    return Attempt(free_practice(start), "alone", start.seed, [session], (0,), said)


class Before(Seen):
    """What the coach had seen when the last round that has ended did: a print with no strokes on it is none yet."""

    def __init__(self, seen: Seen) -> None:
        super().__init__()
        self._before = seen.rounds[:-1]

    @property
    def rounds(self) -> list[RoundSeen]:
        """Every round but the last."""
        return list(self._before)


@dataclass(eq=False)
class Practice:
    """One job that is practised on, and what is said beside it.

    Attributes
    ----------
    attempt : Attempt
    piece : int
        Which of its jobs.
    speaks : str
        One of `SPEAKS`.
    ready : Remark or None
        What the coach has to say of the last round that ended.
    shown : Remark or None
        What stands in the coach's line now.
    rung : int
        How far it was asked.
    answer : (str, str) or None
        Who says what in the line, for so many acts: a hint, or a coach who has nothing to say.
    told_at_once : function of job and calls to str, or None
        Tells calls against the truth as soon as they are acted on: in a part with help alone.
    """

    attempt: Attempt
    piece: int = 0
    speaks: str = "asked"
    ready: Remark | None = None
    shown: Remark | None = None
    rung: int = 0
    answer: tuple[str, str] | None = None
    told_at_once: Callable[[Job, list[Call]], str] | None = None
    pinned: bool = False
    seen: Seen = field(default_factory=Seen)
    coach: Coach = field(default_factory=Coach)
    _place: tuple[int, str] = (-1, "")
    _calls: list[Call] = field(default_factory=list)
    _count: tuple[str, str] = ("", "")
    _lamp_deg: float = -1.0
    _bared: int = 0
    _ended: int = 0
    _shown_in: int = 0
    _scored: bool = False
    _expected: bool = False
    _acts_left: int = 0

    @property
    def session(self) -> Session:
        """The job."""
        return self.attempt.sessions[self.piece]

    @property
    def begun(self) -> int:
        """Commands that were there when the learner took the job over."""
        return self.attempt.begun[self.piece]

    def sit(self, desk: Desk) -> None:
        """Take a desk as it lies: what is on it was said before."""
        job, s = desk.session.job, desk.settings
        self._place, self._calls = (job.round, job.in_hand), list(desk.calls)
        self._count, self._bared, self._scored = (s.counted, s.bearing), desk.uncovered, bool(desk.calls)
        desk.beside = self

    # ------------------------------------------------------------------ told by the desk

    def before(self, desk: Desk, command: Command) -> str | None:
        """An act is about to be done; why the lesson does not allow it, None when it does."""
        self.listen(desk)
        why = self.attempt.not_allowed(command)
        if why is not None:
            return why
        if self.told_at_once is not None and self._calls and not self._scored and not isinstance(command, HoneBlade):
            self._scored = True
            self.tell("Calls", self.told_at_once(desk.session.job, self._calls), 12)
        if isinstance(command, SpotFace | SpotUpright):
            self.end_round()
            expected = desk.prediction
            if expected is not None and desk.tool == "spot":
                told = {key: value for key, value in expected._asdict().items() if value is not None}
                self._say(desk, "predict", **told)
                self._in_step(lambda seen: seen.predicted(Expected(*expected)))
            self._expected = desk.tool == "spot"
        return None

    def after(self, desk: Desk, command: Command) -> None:
        """An act was done."""
        if self.seen.commands + 1 == len(self.session.commands) - self.begun:
            self.seen.note(command, self.session)
        self._acts_left -= 1
        if self._acts_left < 0:
            self.answer = None
        if self._expected and self.speaks != "never" and (told := against_print(self.seen.rounds)):
            self.tell("Print", told)
        self._expected = False
        if isinstance(command, Scrape) and self.session.job.round > self._shown_in:
            self.shown, self.pinned = None, False
        elif isinstance(command, WipeFace | RollFilm | BlueFace) and self.has_strokes():
            self.end_round()

    def undone(self, desk: Desk) -> None:
        """The last act was taken back: what was said after it is not said any more."""
        left = len(self.session.commands)
        self.attempt.said[:] = [one for one in self.attempt.said if one.piece != self.piece or one.after <= left]
        if self.seen.commands == left - self.begun + 1:
            self.seen.taken_back()
        self.ready = self.shown = None

    # ------------------------------------------------------------------ what is said

    def listen(self, desk: Desk) -> None:
        """Say what was said on the desk since: calls, counts, what was uncovered."""
        job, s = desk.session.job, desk.settings
        if (job.round, job.in_hand) != self._place:
            self._place, self._calls = (job.round, job.in_hand), []
        if desk.calls != self._calls:
            self._calls, self._scored = list(desk.calls), False
            self._say(desk, "calls", calls=[list(one) for one in desk.calls])
            self._of_print(lambda seen: seen.calls(job.round, tuple(desk.calls)))
        if (s.counted, s.bearing) != self._count:
            self._count = s.counted, s.bearing
            found = {key: float(text) for key, text in (("spots", s.counted), ("bearing_pct", s.bearing))
                     if text.strip()}  # fmt: skip
            if found:
                self._say(desk, "count", x_mm=round(s.square_x_mm, 2), y_mm=round(s.square_y_mm, 2), **found)
                told = Counted(s.square_x_mm, s.square_y_mm, *(found.get(k, float("nan")) for k in
                                                               ("spots", "bearing_pct")))  # fmt: skip
                self._of_print(lambda seen: seen.counted(job.round, told))
        if desk.uncovered > self._bared:
            self._bared = desk.uncovered
            self._say(desk, "uncover")

    def _say(self, desk: Desk, kind: str, **data: Any) -> None:
        """Say something; under which lamp, when that has changed."""
        lamp_deg = desk.settings.lamp_deg
        if kind == "calls" and lamp_deg != self._lamp_deg:
            self._lamp_deg = lamp_deg
            self.attempt.say("lamp", lamp_deg=lamp_deg)
        self.attempt.say(kind, **data)
        desk.unkept = True

    def _in_step(self, tell: Any) -> None:
        """Tell the coach's eyes too, when they have seen every act; else they hear of it when they catch up."""
        numbers = {one.number for one in self.seen.rounds}
        if self.seen.commands == len(self.session.commands) - self.begun and self.session.job.round in numbers | {0}:
            tell(self.seen)

    def _of_print(self, tell: Any) -> None:
        """The same of what belongs to a print: before the first one there is none that it could be of."""
        if self.session.job.round:
            self._in_step(tell)

    # ------------------------------------------------------------------ the coach

    def has_strokes(self) -> bool:
        """Strokes were made in this round."""
        rounds = self.seen.rounds
        return bool(rounds) and rounds[-1].number == self.session.job.round and len(rounds[-1].strokes) > 0

    def end_round(self) -> None:
        """The round has ended: the coach speaks unasked where the part of a lesson is so."""
        if self.speaks != "round" or not self.seen.rounds:
            return
        self.ready = self.coach.at_round(self.seen)
        number = self.seen.rounds[-1].number
        if self.ready is not None and self._ended != number:
            self._ended = number
            self._show(self.ready)

    def said(self, desk: Desk, id: str) -> bool:
        """Something of the coach's line was pressed; False when it is none of it."""
        if id == "show me":
            self.pinned = not self.pinned
        elif id == "ask":
            self.ask(desk)
        return id in ("ask", "show me")

    def ask(self, desk: Desk) -> None:
        """Ask the coach, or ask more: place, question, reason, what to try."""
        if self.speaks == "never":
            return
        if self.shown is not None:
            if self.rung < len(self.shown.rungs) - 1:
                self.rung += 1
                self.attempt.say("coach", rule=self.shown.rule, rung=self.rung)
            return
        self.catch_up()
        if self.speaks == "asked":
            self.ready = self.coach.at_round(self.seen if self.has_strokes() else Before(self.seen))
        if self.ready is None:
            self.tell("Coach", QUIET if self.seen.rounds else TOO_EARLY)
            return
        self._show(self.ready)

    def _show(self, remark: Remark) -> None:
        self.shown, self.rung, self.answer, self._shown_in = remark, 0, None, self.session.job.round
        self.attempt.say("coach", rule=remark.rule, rung=0)

    def tell(self, who: str, words: str, acts: int = 0) -> None:
        """Something in the line in the coach's place, until so many acts and one more are done."""
        self.answer, self._acts_left, self.shown, self.pinned = (who, words), acts, None, False

    def drop(self) -> None:
        """Clear the coach's line."""
        self.shown, self.answer, self.pinned = None, None, False

    @property
    def takes_long(self) -> bool:
        """Whether the log must be run again to tell of it: for its calls, or for what the coach has not seen."""
        behind = self.seen.commands != len(self.session.commands) - self.begun
        return behind or any(one.kind == "calls" for one in self.attempt.said)

    def catch_up(self) -> None:
        """Let the coach see what was done before the bench was opened: the log is run again."""
        commands = self.session.commands
        if self.seen.commands == len(commands) - self.begun:
            return
        seen = Seen()
        said = [one for one in self.attempt.said if one.piece == self.piece]
        try:
            session = Session.begin(self.session.job.start, copies_mb=0.0)
            for n, command in enumerate(commands):
                session.do(command)
                if n >= self.begun:
                    seen.note(command, session)
                    for one in (one for one in said if one.after == n + 1):
                        seen.heard(one.kind, one.data)
        except ShopError:
            return  # of other physics: he goes by what he has seen
        self.seen = seen


def against_print(rounds: Sequence[RoundSeen]) -> str:
    """What was expected of the last print against what it shows; empty where nothing was said of it."""
    last = rounds[-1] if rounds else None
    if last is None or last.expected is None:
        return ""
    told, (x_mm, y_mm, marks) = list[str](), last.expected
    if x_mm is not None and y_mm is not None:
        ny, nx = last.iron.shape
        x, y = ((np.arange(n) + 0.5) * last.pitch_mm for n in (nx, ny))
        near = (np.hypot(x[None, :] - x_mm, y[:, None] - y_mm) <= NEAR_MM) & last.iron
        if near.any():
            here, all_ = (100.0 * last.marked[where].mean() for where in (near, last.iron))
            told.append(f"Round your diamond {here:.0f} % is blue, over the face {all_:.0f} %.")
    before = next((one for one in reversed(rounds[:-1]) if one.face == last.face), None)
    if marks is not None and before is not None:
        now, then = (len(islands(one.marks).area_mm2) for one in (last, before))
        told.append(f"You expected {marks} marks: {now} now, {then} before." if marks != "same" else
                    f"You expected as many marks: {now} now, {then} before.")  # fmt: skip
    return " ".join(told)
