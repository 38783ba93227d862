"""After Finish: what the calls were worth in iron, and what the coach says of the whole; it knows the heights."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import pygame

from sim.bench.lettering import BODY, LABEL, LINE_HEIGHT, NAME, Ui
from sim.bench.panels import Stack
from sim.bench.practice import Practice
from sim.bench.widgets import Button, Label, Widget
from sim.errors import ShopError
from sim.school.calls import Call, CallScore, call_score, seat_plane, sureness
from sim.school.facts import Called, Progress, gather
from sim.school.remark import Places, Remark
from sim.shop.job import Job
from sim.shop.sight import marks_seen
from sim.units import counted

STRIP = 46
"""Height of the coach's strip, pixels at scale 1."""
FEW = 3  # marks called, below which no share is told
NOTHING = "One thing to change: nothing stands out on the iron that your prints did not tell you."


@dataclass
class ReadBack:
    """What is told of the reading and by the coach.

    Attributes
    ----------
    lines : tuple of str
        Of the calls; empty when none were made.
    remarks : list of Remark
        Worst first; `at`: the one that is told, `rung`: how far it was asked.
    """

    lines: tuple[str, ...] = ()
    remarks: list[Remark] = field(default_factory=list)
    at: int = 0
    rung: int = 0

    @property
    def remark(self) -> Remark | None:
        """The one that is told now."""
        return self.remarks[self.at] if self.remarks else None

    @property
    def places_mm(self) -> Places:
        """Where on the face it can be seen."""
        return self.remark.places_mm if self.remark is not None else ()

    def said(self, id: str) -> bool:
        """Ask more of this remark, or go to the next; False when it is none of these."""
        if id not in ("more of it", "next remark") or self.remark is None:
            return False
        if id == "next remark":
            self.at, self.rung = (self.at + 1) % len(self.remarks), 0
        else:
            self.rung = min(self.rung + 1, len(self.remark.rungs) - 1)
        return True


def read_back(practice: Practice, job: Job, told: Progress | None = None) -> ReadBack:
    """Calls of a job scored on the iron as it was, and the coach's remarks at the finish."""
    lines: tuple[str, ...] = ()
    remarks: list[Remark] = []
    try:
        if any(one.kind == "calls" for one in practice.attempt.said):
            lines = calls_told(gather(practice.attempt, told).called)
        practice.catch_up()
        remarks = practice.coach.at_finish(practice.seen, job)
    except ShopError as error:
        lines = (*lines, f"Not all of it could be worked out: {error}")
    return ReadBack(lines, remarks)


def calls_told(called: Sequence[Called]) -> tuple[str, ...]:
    """What the calls of a job were worth: the last print that was called, and all of them together."""
    scored = [(one.round, one.score) for one in called if one.score is not None]
    if not scored:
        return ("No call lay on a mark.",) if called else ()
    round_, last = scored[-1]
    found = [f"Print {round_}: {last.sentence()}", last.left_sentence()]
    scores = [score for _, score in scored]
    marks = sum(score.called for score in scores)
    high, top = (sum(getattr(score, name) * score.called for score in scores) / marks
                 for name in ("share_high", "share_top"))  # fmt: skip
    if marks >= FEW:
        found.append(f"Of {counted(marks, 'mark')} you called {100 * high:.0f} % high; "
                     f"{100 * top:.0f} % stood within 0.4 µm of the highest called.")  # fmt: skip
    found.append(_sure(scores))
    return tuple(one for one in found if one)


def calls_now(job: Job, calls: list[Call]) -> str:
    """Calls against the truth, at once: in a part with help."""
    try:
        score = call_score(calls, marks_seen(job), job.face.height_um, seat_plane(job.face, job.body))
    except ShopError as error:
        return str(error)
    if score is None:
        return "No call lay on a mark."
    return f"{score.sentence()} {score.left_sentence()}".strip()


def _sure(scores: Sequence[CallScore]) -> str:
    """How often sure was right; as a share of a hundred once there are enough calls."""
    known = sureness(scores)
    if known is not None:
        return known.sentence()
    sure, right = (sum(getattr(one, name) for one in scores) for name in ("sure_count", "sure_right"))
    other, other_right = (sum(getattr(one, name) for one in scores) for name in ("unsure_count", "unsure_right"))
    if not sure:
        return ""
    rest = f", not sure {counted(other, 'time')}, right {other_right}" if other else ""
    return f"You said sure {counted(sure, 'time')}, right {right}{rest}."


def reading_part(stack: Stack, back: ReadBack, foot: int) -> None:
    """The lines of the calls, as far as there is room above `foot`; changes `stack`."""
    if not back.lines:
        return
    ui, wide = stack.ui, stack.rect.width
    stack.space(6)
    if stack.y + ui.px(2 * 26) > foot:
        return
    stack.label("Reading", NAME, "text", bold=True)
    for n, line in enumerate(back.lines):
        told = Label(f"reading {n}", string=line, size=LABEL)
        if stack.y + told.height(ui, wide) > foot:
            break
        stack.add(told)


def coach_strip(back: ReadBack, where: pygame.Rect, ui: Ui) -> list[Widget]:
    """One thing to change, with its rungs; the others one after the other."""
    remark = back.remark
    if remark is None:
        told = Label("one thing", string=NOTHING, size=LABEL, role="muted", area=1)
        told.rect = pygame.Rect(where.left, where.top + ui.px(8), where.width, ui.px(30))
        return [told]
    more = Button("more of it", "Ask more", area=1, enabled=back.rung < len(remark.rungs) - 1,
                  reason="That was all of it.", hint="Place, question, reason, what to try")  # fmt: skip
    buttons = [more]
    if len(back.remarks) > 1:
        buttons.append(Button("next remark", f"Next ({back.at + 1}/{len(back.remarks)})", area=1,
                              hint="What else there is, worst first"))  # fmt: skip
    wide, gap = ui.px(112), ui.px(8)
    left = where.right - len(buttons) * wide - (len(buttons) - 1) * gap
    for n, button in enumerate(buttons):
        button.rect = pygame.Rect(left + n * (wide + gap), where.top + ui.px(4), wide, ui.px(36))
    words = f"One thing to change: {remark.rungs[back.rung]}" if back.rung == 0 else remark.rungs[back.rung]
    room = left - ui.px(16) - where.left
    size = BODY if len(ui.wrapped(words, BODY, room)) == 1 else LABEL
    high = round(len(ui.wrapped(words, size, room)) * LINE_HEIGHT * ui.px(size))
    told = Label("one thing", string=words, size=size, area=1)
    told.rect = pygame.Rect(where.left, where.top + max((ui.px(44) - high) // 2, 0), room, high)
    return [told, *buttons]
