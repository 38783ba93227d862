"""A lesson in lines of text: what it asks, what was done, what came of it; for a terminal."""

import math
import re
from collections.abc import Iterable
from dataclasses import MISSING, fields
from typing import Any

import numpy as np

from sim.school.cautions import TITLES, caution
from sim.school.check import AFTER_WORDS
from sim.school.checks import CHECKS, Judged, Row
from sim.school.checks_reading import counted as squared
from sim.school.facts import Facts
from sim.school.faults import FAULTS
from sim.school.lesson import PART_WORDS, Allowed, Bound, Lesson, Question, Step, pieces_of
from sim.school.way import Act, Spoken, Take
from sim.school.ways import WAYS
from sim.shop.commands import Command, Scrape
from sim.units import S_PER_H, counted, named_unit, shown_unit, unit_of

LEVELS = {1: "high", 2: "medium", 3: "low"}


def page_lines(lesson: Lesson, part: str, seed: int) -> list[str]:
    """Everything that a learner reads before he begins."""
    lines = [f"Lesson {lesson.number}: {lesson.title} ({lesson.minutes:g} min), {PART_WORDS[part]}, seed {seed}",
             lesson.goal, f"Many begin with this in mind: “{lesson.belief}” See what the iron says to it.",
             lesson.permission]  # fmt: skip
    lines += [f"{TITLES[key]}: {caution(key)}" for key in lesson.cautions]
    lines += ["", "pieces:"]
    for n, piece in enumerate(pieces_of(lesson, seed), start=1):
        ahead = piece.ahead if part == "help" else None
        is_are = "is" if ahead and ahead.rounds == 1 else "are"
        done = f"; {counted(ahead.rounds, 'round')} of the model {is_are} done, the last are yours" if ahead else ""
        lines.append(f"  {n}. {piece.title or 'the piece'}{done}")
    lines += ["", f"allowed: {allowed_words(lesson.allowed)}", "", "steps:"]
    for n, step in enumerate(lesson.steps, start=1):
        lines += [f"  {n}. {step.text}"] + [f"     done when: {bound_words(step.done)}"] * (step.done is not None)
    if lesson.questions:
        lines += ["", "questions:"]
        lines += [f"  {one.id}: {one.text} ({question_words(one)})" for one in lesson.questions]
    lines += ["", "limits:"]
    for one in lesson.limits:
        check = CHECKS[one.check]
        word = "least" if check.better == "high" else "most"
        merit = f", with merit {one.merit:g}" if one.merit != one.passes else ""
        note = f"; {check.note}" if check.note else ""
        limit = f"at {word} {one.passes:g} {unit_of(one.passes, check.unit)}".rstrip()
        lines.append(f"  {check.title}: {limit}{merit}{note}")
    return lines


def allowed_words(allowed: Allowed) -> str:
    """What a lesson allows, in a line."""
    with_scraper = ("rows", "orders", "carry_on", "hand_over") if "scrape" in allowed.tools else ()
    more = [name.replace("_", " ") for name in with_scraper if getattr(allowed, name)]
    most = [counted(count, name) for name, count in (("round", allowed.rounds), ("stroke", allowed.strokes))
               if count is not None]  # fmt: skip
    return ", ".join([*(allowed.tools or ("reading", "the lamp")), *more, *(f"at most {one}" for one in most)])


def bound_words(bound: Bound | None) -> str:
    """When a step is done; empty when the learner says so."""
    if bound is None:
        return ""
    check = CHECKS[bound.check]
    word, limit = ("least", bound.at_least) if bound.at_least is not None else ("most", bound.at_most)
    title, asked = check.title, f"at {word} {limit:g} {unit_of(limit or 0.0, check.unit)}".rstrip()
    return f"{title[0].lower()}{title[1:]}: {asked}" + (f", {AFTER_WORDS[bound.after]}" if bound.after else "")


def question_words(one: Question) -> str:
    """How a question is answered."""
    often = "of each piece" if one.each_piece else "once"
    if one.options:
        return f"{often}, one of {', '.join(one.options)}"
    return f"{often}, {one.low:g} to {one.high:g} {shown_unit(one.unit)}".rstrip()


def act_words(act: Act) -> str:
    """An act in a line: its name, and what of it is not as usual."""
    if isinstance(act, Take):
        return f"take piece {act.piece + 1}"
    if isinstance(act, Spoken):
        return f"say {act.kind}{_after(_told(key, value) for key, value in act.data.items())}"
    name = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", type(act).__name__).lower()
    if isinstance(act, Scrape):
        made = act.made
        count = len(act.strokes)
        push = f"{np.median(made[:, 4]):.0f} N" if count else "none"
        return f"{name}: {counted(count, 'stroke')}, {act.blade} blade, push {push} (median)"
    return f"{name}{_after(_not_usual(act))}"


def _not_usual(act: Command) -> Iterable[str]:
    for one in fields(act):
        value = getattr(act, one.name)
        if one.default is MISSING or value != one.default:
            yield _told(one.name, value)


def _told(key: str, value: Any) -> str:
    if key == "calls":
        counts = [f"{sum(row[2] == level for row in value)} {word}" for level, word in LEVELS.items()]
        return f"{counted(len(value), 'mark')}, {', '.join(counts)}"
    name, unit = named_unit(key)
    return f"{name} {value} {unit}".rstrip()


def _after(words: Iterable[str]) -> str:
    told = ", ".join(words)
    return f": {told}" if told else ""


def judged_lines(judged: Judged, part: str) -> list[str]:
    """Figures against limits, passed or not, and what was seen of faults."""
    lines = [f"  {'met' if row.passed else 'not met'}: {row_words(row, part)}" for row in judged.rows]
    lines.append(f"  {clock_words(judged.figures['shop_hours'])} on the shop clock, "
                 f"{counted(round(judged.figures['rounds']), 'print')}, "
                 f"{counted(round(judged.figures['strokes']), 'stroke')}")  # fmt: skip
    lines.append("passed, with merit" if judged.merit else "passed" if judged.passed else
                 "nothing to judge" if judged.nothing else "not passed")
    if judged.faults:
        seen = (f"{FAULTS[number]} ({counted(count, 'time')})" for number, count in judged.faults.items())
        lines.append(f"what the coach saw: {', '.join(seen)}")
    else:
        lines.append(f"what the coach saw: {'no fault' if judged.passed else 'nothing else stood out'}")
    return lines


def count_lines(facts: Facts) -> list[str]:
    """What was counted on every piece, beside what is there; nothing where no square was counted."""
    lines = []
    for n, piece in enumerate(facts.pieces if facts.counts else ()):
        one = squared(facts, n)
        told = [f"counted {_got(one.said_spots, 0)}, there are {_got(one.spots, 0)}",
                f"bearing {_got(one.said_bearing_pct)} %, it is {_got(one.bearing_pct)} %",
                "one of the poorest squares" if one.worst else "other squares have fewer"]  # fmt: skip
        words = "; ".join(told) if one.worst is not None else "no square was counted"
        lines.append(f"{(piece.title or f'piece {n + 1}').partition(',')[0]}: {words}")
    return lines


def odds_lines(facts: Facts) -> list[str]:
    """The calls of each print that were most at odds with the iron, up to three."""
    lines = []
    for one in facts.called:
        told = (f"{odd.x_mm:.0f}, {odd.y_mm:.0f} mm called {LEVELS[odd.called]}, stood {LEVELS[odd.stood]} "
                f"({odd.under_um:.1f} µm under the highest)" for odd in one.odd)  # fmt: skip
        words = "; ".join(told)
        if words:
            lines.append(f"piece {one.piece + 1}, print {one.round}: {words}")
    return lines


def _got(value: float, digits: int = 1) -> str:
    """A figure in a sentence; a dash where there is none."""
    return f"{value:.{digits}f}" if math.isfinite(value) else "–"


def clock_words(hours: float) -> str:
    """Hours on the shop clock, as one says them: 3 s, 12 min, 1.5 h."""
    seconds = round(hours * S_PER_H)
    return f"{seconds} s" if seconds < 60 else f"{seconds / 60.0:.0f} min" if seconds < S_PER_H else f"{hours:.1f} h"


def row_words(row: Row, part: str) -> str:
    """A figure against its limits; merit is told in a check alone."""
    merit = "" if part != "check" else f", merit {row.merit:g}{'' if row.merited else ' (not reached)'}"
    return row.sentence() + merit


def step_words(n: int, step: Step) -> str:
    """A step with its number, counted from 1."""
    return f"step {n}: {step.text}"


def limit_words(value: float) -> str:
    """A figure in a table; a dash where there is none."""
    return f"{value:.3g}" if math.isfinite(value) else "-"


def schema_lines() -> list[str]:
    """Checks and ways as two sections in Markdown, as they stand in lessons/README.md."""
    lines = ["## Checks", "", "A figure of nothing (no stroke made, no answer given) passes no limit.", ""]
    lines += ["| check | unit | better | figure |", "|---|---|---|---|"]
    lines += [f"| `{one.name}` | {shown_unit(one.unit) or '-'} | {one.better} | {one.doc} |" for one in CHECKS.values()]
    lines += ["", "## Ways of working", "", "A way sees what a learner sees. Its hand strays as that hand does.", ""]
    lines += ["| way | options (as they are without being set) | what it does |", "|---|---|---|"]
    for way in WAYS.values():
        options = ", ".join(f"`{key} = {_toml(value)}`" for key, value in way.options.items()) or "-"
        lines.append(f"| `{way.name}` | {options} | {way.doc} |")
    return lines


def _toml(value: Any) -> str:
    """A value as a lesson file has it."""
    if isinstance(value, bool):
        return str(value).lower()
    return f'"{value}"' if isinstance(value, str) else f"{value:g}"
