"""The page of one lesson: what it is after, its steps and figures, and its parts."""

from collections.abc import Callable, Sequence

import pygame

from sim.bench.lettering import BODY, CONTROL, GOAL, LABEL, NAME, SMALL, Ui
from sim.bench.panels import Stack
from sim.bench.widgets import Button, Widget
from sim.school.attempt import Attempt
from sim.school.cautions import TITLES, caution
from sim.school.checks import CHECKS
from sim.school.lesson import PART_WORDS, Lesson, Limit, pieces_of
from sim.school.parts import Part
from sim.units import counted, shown_unit

WIDE = 1600
TALL = 900
"""From this width on, at scale 1, the steps have a column of their own; from this height on all is set larger."""
MOST_COLUMN = 620
FOOT = 64
TOLD = {"help": "The coach speaks, calls are told against the truth",
        "alone": "Scored, a new face: this passes the lesson",
        "check": "Another face and another blue; no coach"}  # fmt: skip
WATCH = "The model solution with its reasons, about a minute"
Fill = Callable[[Stack, int], None]


def lesson_page(size: tuple[int, int], ui: Ui, lesson: Lesson, parts: Sequence[Part], *, who: str = "",
                note: str = "") -> list[Widget]:
    """A lesson in two columns, or in three where the window is wide; `who`: the name of who practises."""
    pad, wide, tall = ui.px(32), size[0] >= ui.px(WIDE), size[1] >= ui.px(TALL)
    columns = 3 if wide else 2
    each = min((size[0] - (columns + 1) * pad) // columns, ui.px(MOST_COLUMN))
    left = (size[0] - columns * each - (columns - 1) * pad) // 2
    top, foot = ui.px(96 if wide and tall else 24), size[1] - ui.px(FOOT)
    words, middle, doors = (Stack(pygame.Rect(left + n * (each + pad), top, each, 10), ui, area=n + 1, gap=6)
                            for n in ((0, 1, 2) if wide else (0, 0, 1)))  # fmt: skip
    _head(words, lesson, who, NAME + 2 if wide and tall else BODY)
    if wide:
        for stack in (words, middle) if tall else ():
            stack.gap = ui.px(12)
        middle.y += ui.px(24)
        _fitted(middle, foot - ui.px(160), lambda stack, letters: _steps(stack, lesson, letters), NAME + 1)
        middle.space(20)
        _fitted(middle, foot, lambda stack, letters: _figures(stack, lesson, letters), GOAL)
        _fitted(words, foot, lambda stack, letters: _cautions(stack, lesson, letters), GOAL)
    else:
        _cautions(words, lesson, SMALL)
        words.space(6)
        _fitted(words, foot, lambda stack, letters: _steps(stack, lesson, letters), CONTROL)
        words.made += middle.made
    doors.gap = ui.px(8)
    _doors(doors, lesson, parts, 104 if wide and tall else 66 if size[1] >= ui.px(600) else 50)
    if note:
        doors.label(note, LABEL, "not_reached")
    if not wide:
        doors.space(8)
        _fitted(doors, foot, lambda stack, letters: _figures(stack, lesson, letters), LABEL)
    ways = Stack(pygame.Rect(left, size[1] - ui.px(52), columns * (each + pad) - pad, 10), ui, area=4)
    ways.beside([Button("door lessons", "All lessons", key="Esc"), Button("to start", "Start page")])
    return words.made + (middle.made if wide else []) + doors.made + ways.made


def _head(stack: Stack, lesson: Lesson, who: str, letters: int) -> None:
    """Title, goal, what many have in mind, and leave to spoil it; changes `stack`."""
    named = f" · practising: {who}" if who else ""
    stack.label(f"Lesson {lesson.number} · about {lesson.minutes:g} min{named}", SMALL)
    stack.label(lesson.title, 26, "text", bold=True)
    stack.label(lesson.goal, letters, "text")
    stack.space(6)
    stack.label(f"Many begin with this in mind: “{lesson.belief}” See what the iron says to it.", letters - 2)
    stack.space(6)
    stack.label(lesson.permission, letters, "text")
    stack.space(6)
    stack.label(start_words(lesson), letters - 2)


def start_words(lesson: Lesson) -> str:
    """What is begun with, and what is counted."""
    pieces, allowed = lesson.pieces, lesson.allowed
    title = shown_unit(pieces[0].title)
    told = f"It begins with {title}" if len(pieces) == 1 and title else f"It has {counted(len(pieces), 'piece')}"
    limits = [counted(n, thing) for n, thing in ((allowed.rounds, "round"), (allowed.strokes, "stroke")) if n]
    return told + (f"; you have {' and '.join(limits)}." if limits else ".")


def ahead_words(attempt: Attempt) -> str:
    """What was done on the piece in hand before the part with help, and where it can be seen."""
    ahead = pieces_of(attempt.lesson, attempt.seed)[attempt.piece].ahead
    last = attempt.session.job.round
    if ahead is None:
        return ""
    done = f"Rounds {last - ahead.rounds + 1} to {last}" if ahead.rounds > 1 else f"Round {last}"
    return f"{done} of this face were done by the model; the prints hang on the left. The last rounds are yours."


def _cautions(stack: Stack, lesson: Lesson, letters: int) -> None:
    for key in lesson.cautions:
        stack.space(4)
        stack.label(f"{TITLES[key]}. {caution(key)}", letters, "text")


def _steps(stack: Stack, lesson: Lesson, letters: int) -> None:
    stack.label("Steps", letters, "text", bold=True)
    for n, step in enumerate(lesson.steps, start=1):
        stack.label(f"{n}   {step.text}", letters, "text")


def _figures(stack: Stack, lesson: Lesson, letters: int) -> None:
    stack.label("What is asked", letters, "text", bold=True)
    for limit in lesson.limits:
        stack.label(asked_words(limit), letters)


def asked_words(limit: Limit) -> str:
    """A figure of a lesson with what passes and what earns merit."""
    one = CHECKS[limit.check]
    unit = shown_unit(one.unit)
    space = "" if unit in ("", "°") else " "
    if not limit.passes and one.better != "high":
        return f"{one.title}: none"
    sign = "at least" if one.better == "high" else "at most"
    merit = f", with merit {limit.merit:g}" if limit.merit != limit.passes else ""
    note = f"; {one.note}" if one.note else ""
    return f"{one.title}: {sign} {limit.passes:g}{space}{unit}{merit}{note}"


def _doors(stack: Stack, lesson: Lesson, parts: Sequence[Part], high: int) -> None:
    """The parts, each with how it stands; changes `stack`."""
    ui, told = stack.ui, dict(TOLD)
    if ahead := lesson.pieces[0].ahead:
        are = "is" if ahead.rounds == 1 else "are"
        told["help"] = f"{counted(ahead.rounds, 'round')} of the model {are} done, the last are yours"
    stack.add(Button("part watch", "Watch", key="1", sub=WATCH), high)
    for n, one in enumerate(parts, start=2):
        stack.add(Button(f"part {one.name}", PART_WORDS[one.name].capitalize(), key=str(n), sub=told[one.name],
                         enabled=not one.closed, reason=one.closed), high)  # fmt: skip
        stack.y -= ui.px(6)
        stack.label(one.closed or one.told[:1].upper() + one.told[1:], SMALL)
        stack.space(2)
    stack.add(Button("part free", "Free practice", key="5", sub="The same start, with nothing asked"), high)


def _fitted(stack: Stack, foot: int, fill: Fill, largest: int) -> None:
    """Fill in the largest letters with which all of it ends above the foot; else what of the smallest does."""
    for letters in range(largest, SMALL - 1, -1):
        trial = Stack(pygame.Rect(stack.rect.left, stack.y, *stack.rect.size), stack.ui, stack.area)
        trial.gap = stack.gap
        trial.made = list(stack.made)
        fill(trial, letters)
        if trial.y <= foot + trial.gap:
            break
    if trial.y > foot + trial.gap:
        room = foot - stack.ui.px(24)
        kept = [one for one in trial.made if one.rect.bottom <= room or one in stack.made]
        left = len(trial.made) - len(kept)
        if len(kept) <= len(stack.made) + 1:  # a heading alone is none
            return
        trial.made, trial.y = kept, max(one.rect.bottom for one in kept) + trial.gap
        trial.label(f"… and {left} more", SMALL)
    stack.made, stack.y = trial.made, trial.y
