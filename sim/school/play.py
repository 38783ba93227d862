"""Acts of a lesson as data: a file of answers read whole, played on an attempt without a window, written out again."""

import json
import math
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from sim.errors import BadFile, BadFiles, BadParam, CannotWrite, ShopError
from sim.intake.keyed import syntax_line, syntax_reason
from sim.school.attempt import SAID, Attempt
from sim.school.lesson import Lesson
from sim.school.way import Act, Spoken, Take
from sim.shop.commands import as_data, from_data, number_fault, shown, word_fault
from sim.shop.store import read_limited
from sim.units import counted

MOST_BYTES = 50_000_000
MOST_ACTS = 50_000
MOST_CALLS = 2000
MARKS = ("more", "same", "fewer")
CALLED = (1, 2, 3)
FARTHEST_MM = 10_000.0
RUNGS = 4
FIRST_KEYS = "piece, do, say"
NEEDED = {"calls": ("calls",), "answer": ("question", "value"), "step": ("step",), "hint": ("step", "rung"),
          "coach": ("rule", "rung"), "lamp": ("lamp_deg",)}  # fmt: skip
"""Keys that must be there; of the others one at least, where there are any."""
RANGES = {
    "x_mm": (-FARTHEST_MM, FARTHEST_MM, "mm"), "y_mm": (-FARTHEST_MM, FARTHEST_MM, "mm"),
    "spots": (0.0, 1e6, ""), "bearing_pct": (0.0, 100.0, "%"), "lamp_deg": (-360.0, 360.0, "deg"),
}  # fmt: skip
NOTHING_DONE = "nothing was done on any piece: there is nothing to judge, and nothing is kept"
OnAct = Callable[[int, Act, Any], None]


def read_acts(path: str | Path, lesson: Lesson | None = None) -> list[Act]:
    """The acts of a file: a JSON list of {"piece": 1}, {"do": "RollFilm", ...} and {"say": "answer", ...}.

    Parameters
    ----------
    lesson : Lesson, optional
        Holds pieces, questions and steps against it as well.

    Raises
    ------
    BadFile
        If it cannot be read, or is no JSON list of 1 to 50,000 acts.
    BadFiles
        With every act that is none, a line each: `file: [n]: what, allowed, got`, counted from 1.
    """
    path = Path(path)
    data = read_limited(path, MOST_BYTES)
    try:
        rows = json.loads(data, parse_constant=_no_constant)
    except (ValueError, RecursionError) as error:
        text = data.decode("utf-8", "replace")
        raise BadFile(f"{path}:{syntax_line(text, error)}: must be JSON, got {syntax_reason(error)}") from None
    if rows == []:
        raise BadFile(f"{path}: {NOTHING_DONE}")
    if not isinstance(rows, list) or not 1 <= len(rows) <= MOST_ACTS:
        got = counted(len(rows), "act") if isinstance(rows, list) else type(rows).__name__
        raise BadFile(f"{path}: must be a list of 1 to {MOST_ACTS:,} acts, got {got}")
    acts, faults = [], []
    for n, row in enumerate(rows, start=1):
        try:
            act = act_from(row)
            if lesson is not None:
                check_act(act, lesson)
            acts.append(act)
        except BadParam as error:
            faults.append(f"{path}: [{n}]: {error}")
    if faults:
        raise BadFiles(faults)
    return acts


def act_from(row: Any) -> Act:
    """One act from plain data.

    Raises
    ------
    BadParam
        What is wrong with it.
    """
    first = [key for key in ("piece", "do", "say") if key in row] if isinstance(row, dict) else []
    if len(first) != 1:
        raise BadParam(f"an act must be an object with one of {FIRST_KEYS}, got {shown(row)}")
    if first == ["do"]:
        return from_data(row)
    if first == ["piece"]:
        if type(row["piece"]) is not int or row["piece"] < 1 or len(row) > 1:
            raise BadParam(f"piece must be a whole number from 1, alone, got {shown(row)}")
        return Take(row["piece"] - 1)
    data = {key: value for key, value in row.items() if key != "say"}
    told = said_fault(row["say"], data)
    if told:
        raise BadParam(told)
    return Spoken(row["say"], data)


def said_fault(kind: Any, data: dict[str, Any]) -> str | None:
    """What is wrong with something said, whatever the lesson; None when nothing is."""
    if found := word_fault("say", kind, SAID):
        return found[0]
    takes = SAID[kind]
    needed = NEEDED.get(kind, ())
    if not set(needed) <= set(data) <= set(takes) or (takes and not data):
        must = f" (needed: {', '.join(needed)})" if needed and set(needed) != set(takes) else ""
        return f"{kind} takes {', '.join(takes) or 'nothing more'}{must}, got {shown(', '.join(map(str, data)))}"
    for key, value in data.items():
        if told := _value_fault(key, value):
            return told
    return None


def _value_fault(key: str, value: Any) -> str | None:
    """What is wrong with one value that was said."""
    if key == "calls":
        return _calls_fault(value)
    if key in RANGES:
        low, high, unit = RANGES[key]
        return next(iter(number_fault(key, value, low, high, unit=unit)), None)
    if key == "marks":
        return next(iter(word_fault("marks", value, MARKS)), None)
    if key in ("step", "rung"):
        low, high = (1, 1000) if key == "step" else (0, RUNGS)
        good = type(value) is int and low <= value <= high
        return None if good else f"{key} must be a whole number from {low} to {high}, got {shown(value)}"
    is_number = isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)
    if isinstance(value, str) and 1 <= len(value) <= 200:
        return None
    if key == "value" and is_number:
        return None
    return f"{key} must be a word{' or a number' if key == 'value' else ''}, got {shown(value)}"


def _calls_fault(calls: Any) -> str | None:
    if not isinstance(calls, list) or len(calls) > MOST_CALLS:
        return f"calls must be a list of at most {MOST_CALLS} of [x_mm, y_mm, level, sure], got {shown(calls)}"
    for n, one in enumerate(calls, start=1):
        good = isinstance(one, list) and len(one) == 4 and type(one[3]) is bool and type(one[2]) is int
        good = good and one[2] in CALLED and not any(
            number_fault("x_mm", v, -FARTHEST_MM, FARTHEST_MM) for v in one[:2])  # fmt: skip
        if not good:
            allowed = "level 1 high, 2 medium or 3 low and sure true or false"
            return f"call {n} must be [x_mm, y_mm, level, sure] with {allowed}, got {shown(one)}"
    return None


def check_act(act: Act, lesson: Lesson) -> None:
    """Hold an act against its lesson: is there such a piece, question, step, hint, and may it be answered so.

    Raises
    ------
    BadParam
        What there is.
    """
    if isinstance(act, Take) and act.piece >= len(lesson.pieces):
        raise BadParam(f"piece must be 1 to {len(lesson.pieces)}, got {act.piece + 1}")
    if not isinstance(act, Spoken):
        return
    data = act.data
    if act.kind == "answer":
        asked = {one.id: one for one in lesson.questions}
        if data["question"] not in asked:
            raise BadParam(f"question must be one of {', '.join(asked) or 'none: this lesson asks nothing'}, "
                           f"got {shown(data['question'])}")  # fmt: skip
        one = asked[data["question"]]
        found = number_fault(one.id, data["value"], one.low, one.high, unit=one.unit)
        if one.options:
            found = word_fault(one.id, data["value"], one.options)
        if found:
            raise BadParam(found[0])
    elif act.kind in ("step", "hint"):
        if data["step"] > len(lesson.steps):
            raise BadParam(f"step must be 1 to {len(lesson.steps)}, got {data['step']}")
        rungs = len(lesson.steps[data["step"] - 1].hints)
        if act.kind == "hint" and not 1 <= data["rung"] <= rungs:
            raise BadParam(f"rung must be 1 to {rungs}, the hints of step {data['step']}, got {data['rung']}")


def play(attempt: Attempt, acts: Sequence[Act], where: str | Path = "acts", on_act: OnAct | None = None) -> Attempt:
    """Play acts on an attempt.

    Parameters
    ----------
    where : str or Path
        What is named in front of an act that cannot be: the file they came from.
    on_act : function of number (from 1), act, result, optional
        Told after each.

    Raises
    ------
    BadFile
        `where: [n]: why` for the first act that is not possible or not allowed; those before it stand, and the
        attempt can go on.
    CannotWrite
        As `Session.do`.
    """
    for n, act in enumerate(acts, start=1):
        result = None
        try:
            check_act(act, attempt.lesson)
            if isinstance(act, Take):
                attempt.take_piece(act.piece)
            elif isinstance(act, Spoken):
                attempt.say(act.kind, **act.data)
            else:
                result = attempt.do(act)
        except CannotWrite:
            raise
        except ShopError as error:
            raise BadFile(f"{where}: [{n}]: {error}") from None
        if on_act:
            on_act(n, act, result)
    return attempt


def act_data(act: Act) -> dict[str, Any]:
    """An act as plain data, as `act_from` reads it."""
    if isinstance(act, Take):
        return {"piece": act.piece + 1}
    told = {"say": act.kind, **act.data} if isinstance(act, Spoken) else as_data(act)
    plain: dict[str, Any] = json.loads(json.dumps(told, allow_nan=False))
    return plain


def acts_of(attempt: Attempt) -> list[dict[str, Any]]:
    """The acts of an attempt as plain data, piece after piece: played again they come to the same faces.

    What was taken back is not among them; what was said stands before the act that followed it.
    """
    acts: list[Act] = []
    for n, session in enumerate(attempt.sessions):
        said = [one for one in attempt.said if one.piece == n]
        commands = session.commands
        if len(commands) == attempt.begun[n] and not said:
            continue
        acts.append(Take(n))
        heard = 0
        for k in range(attempt.begun[n], len(commands) + 1):
            while heard < len(said) and (said[heard].after <= k or k == len(commands)):
                acts.append(Spoken(said[heard].kind, said[heard].data))
                heard += 1
            if k < len(commands):
                acts.append(commands[k])
    last = next((act.piece for act in reversed(acts) if isinstance(act, Take)), None)
    if last != attempt.piece:
        acts.append(Take(attempt.piece))
    return [act_data(act) for act in acts]


def acts_text(rows: Sequence[dict[str, Any]]) -> str:
    """Acts as a file of answers, one a line."""
    return "[\n" + ",\n".join(json.dumps(row, allow_nan=False) for row in rows) + "\n]\n"


def _no_constant(name: str) -> Any:
    raise ValueError(f"numbers must be finite, got {name}")
