"""An attempt at a lesson as it lies on the bench: a desk for each piece, the step, hints and answers."""

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from sim.bench.aside import Aside
from sim.bench.desk import Desk
from sim.bench.files import free_path
from sim.bench.kept import keep, opened
from sim.bench.panels import INSTRUMENTS, STATIONS
from sim.bench.pieces import Freedom
from sim.bench.practice import Practice
from sim.bench.read_back import calls_now
from sim.books.record import Record
from sim.errors import ShopError
from sim.school.attempt import Attempt, closed_tool, left_open, unanswered
from sim.school.calls import Call, calls_from
from sim.school.check import AFTER_WORDS, NEEDS
from sim.school.checks import CHECKS, Judged, step_met
from sim.school.facts import Facts, gather_from
from sim.school.keeping import KeptAttempt
from sim.school.lesson import TOOLS, Bound, Lesson
from sim.school.result import write_result
from sim.school.turns import note_help
from sim.shop.commands import SpotFace
from sim.shop.luck import luck
from sim.shop.partwork import SpotUpright
from sim.units import S_PER_H, shown_unit

SPEAKS = {"help": "round", "alone": "round", "check": "never"}


@dataclass(eq=False)
class LessonDesk:
    """An attempt in hand.

    Attributes
    ----------
    attempt : KeptAttempt
    desks, practices : list
        One a piece.
    step : int
        The step of the lesson that the learner is at.
    rungs : dict
        Step to how many of its hints were asked for.
    answering : bool
        The questions lie in place of the tool in hand.
    warned : str
        What was told last of what is untouched or not answered.
    checking : Aside or None
        Looks at the figure of a step that is said to be done.
    """

    attempt: KeptAttempt
    desks: list[Desk] = field(default_factory=list)
    practices: list[Practice] = field(default_factory=list)
    step: int = 0
    rungs: dict[int, int] = field(default_factory=dict)
    answering: bool = False
    warned: str = ""
    checking: Aside | None = None
    _told: int = -1

    @property
    def desk(self) -> Desk:
        """Of the piece in hand."""
        return self.desks[self.attempt.piece]

    @property
    def practice(self) -> Practice:
        """Of the piece in hand."""
        return self.practices[self.attempt.piece]

    @property
    def lesson(self) -> Lesson:
        """The lesson."""
        return self.attempt.lesson

    def hint(self) -> None:
        """The next hint of this step, in the coach's line; it is noted."""
        if self.step >= len(self.lesson.steps):
            return
        hints, rung = self.lesson.steps[self.step].hints, self.rungs.get(self.step, 0)
        if rung < len(hints):
            self.attempt.say("hint", step=self.step + 1, rung=rung + 1)  # counted from 1, as in files of acts
            self.rungs[self.step] = rung + 1
            self.practice.tell("Hint", hints[rung], 4)

    def step_done(self) -> None:
        """The learner says that a step is done; with help, its figure is looked at first, and told once."""
        if self.checking is not None or self.step >= len(self.lesson.steps):
            return
        if self.attempt.part == "help" and self.lesson.steps[self.step].done is not None and self._told != self.step:
            lesson, seed, said = self.lesson, self.attempt.seed, list(self.attempt.said)
            commands = [one.commands for one in self.attempt.sessions]
            self.practice.listen(self.desk)
            self.checking = Aside("", lambda told: gather_from(lesson, "help", seed, commands, said, progress=told))
        else:
            self._next_step()

    def _next_step(self) -> None:
        self.attempt.say("step", step=self.step + 1)
        self.step += 1

    def tick(self) -> bool:
        """Hear what the figure of a step came to; True when there is something to draw."""
        work = self.checking
        if work is None or not work.done:
            return False
        self.checking, bound = None, self.lesson.steps[self.step].done
        assert bound is not None  # or it was not looked at
        try:
            facts = work.result()
            met, value = step_met(bound, facts), CHECKS[bound.check].figure(facts)
        except ShopError as error:
            self.desk.told = str(error)
            return True
        if met:
            self._next_step()
        else:
            self._told = self.step
            self.practice.tell("Step", f"{not_met(bound, value)} Press Done again to go on all the same.", 6)
        return True

    def answer(self, id: str, value: Any) -> None:
        """An answer to a question of the lesson, as a widget gives it."""
        found = value_of(self.lesson, id, value)
        if isinstance(found, str):
            self.desk.told = found or "The lesson has no such question."
        else:
            self.attempt.say("answer", question=found[0], value=found[1])

    def may_end(self) -> bool:
        """Whether it is to be judged now; what is untouched or not answered yet is told once before."""
        self.practice.listen(self.desk)
        left = left_open(self.attempt)
        if left and self.warned != left:
            self.warned, self.answering = left, unanswered(self.attempt) > 0
            self.desk.told = f"{left[0].upper()}{left[1:]}: finish all the same? Then press Finish again."
            return False
        self.put_down()
        return True

    def put_down(self) -> None:
        """Stop what goes on, and write down what lies on every desk."""
        for desk in self.desks:
            desk.stop_pass()
            desk.handed = None
            if not self.attempt.ended:
                try:
                    keep(desk)
                except ShopError as error:
                    desk.told = str(error)

    def close(self) -> None:
        """Put everything down and let the files go."""
        self.practice.listen(self.desk)
        self.put_down()
        self.attempt.close()


def laid_out(attempt: KeptAttempt) -> LessonDesk:
    """An attempt laid on the bench, as it was left."""
    lesson, part = attempt.lesson, attempt.part
    at = LessonDesk(attempt)
    for n, session in enumerate(attempt.sessions):
        desk = opened(session, freedom(lesson, part))
        speaks = SPEAKS[part] if lesson.allowed.coach else "never"
        practice = Practice(attempt, n, speaks, told_at_once=calls_now if part == "help" else None)
        if not desk.calls:
            desk.calls = calls_of(attempt, n)
        lay(desk, practice)
        if part == "check" and len(session.commands) == attempt.begun[n]:
            desk.set(lamp_deg=15.0 * int(24.0 * luck(attempt.seed, "plan", 0, 3 + n).random()))  # another light
        at.desks.append(desk)
        at.practices.append(practice)
    at.step = max((int(one.data["step"]) for one in attempt.said if one.kind == "step"), default=0)
    for one in attempt.said:
        if one.kind == "hint":
            step = int(one.data["step"]) - 1
            at.rungs[step] = max(at.rungs.get(step, 0), int(one.data["rung"]))
    return at


def not_met(bound: Bound, value: float) -> str:
    """What a step wants, and what there is."""
    one = CHECKS[bound.check]
    unit = f" {shown_unit(one.unit)}" if one.unit in ("um", "%", "mm", "deg") else ""
    wanted = f"at least {bound.at_least:g}" if bound.at_least is not None else f"at most {bound.at_most:g}"
    got = f"{value:.3g}{unit}" if math.isfinite(value) else "nothing yet"
    after = f", {AFTER_WORDS[bound.after]}" if bound.after else ""
    return f"Not yet. {one.title}: {got}, {wanted}{unit} is wanted{after}."


def calls_of(attempt: Attempt, piece: int) -> list[Call]:
    """Calls of the print that is on a piece now, as they were said: the desk is written down later than they are."""
    commands = attempt.sessions[piece].commands
    printed = max((n for n, one in enumerate(commands, 1) if isinstance(one, SpotFace | SpotUpright)), default=0)
    rows = [one.data["calls"] for one in attempt.said
            if one.piece == piece and one.kind == "calls" and one.after >= printed]  # fmt: skip
    return list(calls_from(rows[-1] if rows else ()))


def recorded(attempt: KeptAttempt, judged: Judged, facts: Facts, folder: Path, now: Callable[[], datetime]) -> str:
    """Enter what an attempt came to in the record of a folder; what is to be said of it."""
    if not attempt.record:
        return "Not in the record."
    try:
        with Record.open(folder, now) as record:
            record.end_attempt(attempt.record, judged.figures, judged.passed, judged.merit, S_PER_H * facts.hours)
            note_help(record, attempt.record, attempt)
            return f"In the record of {attempt.learner}."
    except (ShopError, OSError) as error:
        return f"Not in the record: {error}"


def forgotten(attempt: KeptAttempt, folder: Path, now: Callable[[], datetime]) -> str:
    """Leave nothing of an attempt in which nothing was done, in the record or on the disk; what is to be said of it."""
    attempt.forget()
    told = f"Nothing was done: it counts as no attempt. {NEEDS['act'].do}"
    if attempt.record:
        try:
            with Record.open(folder, now) as record:
                record.drop_attempt(attempt.record)
        except (ShopError, OSError) as error:
            return f"{told} It is in the record still: {error}"
    return told


def handed_in(attempt: KeptAttempt, facts: Facts, judged: Judged, learner: str, when: str) -> str:
    """Write the result sheet and the file to hand in beside the attempt; what is to be said of it."""
    from sim.report.sheet import Sheet, write_sheet

    sheet, result = (free_path(attempt.folder, attempt.lesson.name, kind) for kind in (".html", ".result"))
    try:
        write_sheet(sheet, Sheet(learner, when, judged, facts))
        write_result(result, attempt, learner, judged, ended=when)
    except (ShopError, OSError) as error:
        return str(error)
    return f"In {attempt.folder}: {sheet.name}, and {result.name} to hand in."


def lay(desk: Desk, practice: Practice) -> None:
    """Lay a piece of a lesson before the learner: goal, and tools that it does not allow; changes both."""
    lesson = practice.attempt.lesson
    desk.goal = lesson.goal, f"Lesson {lesson.number}: {lesson.title}"
    desk.closed = closed_tools(lesson)
    if desk.tool in desk.closed:
        desk.tool = next((name for name, _ in STATIONS if name not in desk.closed), None)
    practice.sit(desk)


def freedom(lesson: Lesson, part: str) -> Freedom:
    """What a part of a lesson allows on the bench; iron comes back in free practice only."""
    one = lesson.allowed
    return Freedom(rows=one.rows, orders=one.orders, carry_on=one.carry_on, iron_back=False,
                   uncover=part == "help" and one.uncover, hand_over=one.hand_over, finish_as=False,
                   hand=one.hand)  # fmt: skip


def closed_tools(lesson: Lesson) -> dict[str, str]:
    """Tools of the tray, and the hone, that a lesson does not allow, and why."""
    names = {name for name, _ in STATIONS + INSTRUMENTS} | {"hone"}
    found = {name: closed_tool(lesson, name) for name in TOOLS if name in names}
    return {name: why for name, why in found.items() if why is not None}


def value_of(lesson: Lesson, id: str, value: object) -> tuple[str, object] | str:
    """Question and answer that a widget of the panel gives; words when it is none that is allowed."""
    for one in lesson.questions:
        if id == f"answer {one.id}":
            try:
                number = float(str(value).replace(",", "."))
            except ValueError:
                number = float("nan")
            if not one.low <= number <= one.high:
                return f"The answer must be a number from {one.low:g} to {one.high:g} {one.unit}".rstrip() + "."
            return one.id, number
        for n, option in enumerate(one.options):
            if id == f"answer {one.id} {n}":
                return one.id, option
    return ""
