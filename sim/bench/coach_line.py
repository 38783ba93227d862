"""The line below the tray: what was said last, or the coach with what he goes by."""

from dataclasses import dataclass
from typing import ClassVar

import pygame

from sim.bench.controls import Said
from sim.bench.desk import Desk
from sim.bench.lettering import BODY, LABEL, LINE_HEIGHT, SMALL, Ui
from sim.bench.practice import Practice
from sim.bench.widgets import Button, Group, Label, Widget
from sim.school.remark import Places

WORDS = ("remark", "show me", "ask")
"""Widgets that light the evidence on the face while they are pointed at or have the focus."""
ASK_HINT = "The next rung: place, question, reason, what to try (I)"


@dataclass(eq=False)
class Line(Label):
    """Words that can be pointed at and reached with Tab; pressed, they are asked more of."""

    focusable: ClassVar[bool] = True

    def _paint(self, surface: pygame.Surface, ui: Ui) -> None:
        if len(ui.wrapped(self.string, self.size, self.rect.width, self.bold)) == 1:
            ui.line(surface, self.rect, self.string, self.size, getattr(ui.theme, self.role))
        else:
            super()._paint(surface, ui)

    def _press(self) -> Said:
        return [("ask", True)]


def coach_line(desk: Desk, practice: Practice | None, where: pygame.Rect, ui: Ui) -> list[Widget]:
    """What was said last; while a pass runs, how far it is; with the coach's remark above it when there is one."""
    told = desk.told
    if desk.passing is not None:
        state = "paused, Space goes on" if desk.passing.paused else "Space pauses, Esc stops"
        told = f"Laying stroke {desk.passing.laid} of {len(desk.passing.strokes)}: {state}."
    speaks = practice is not None and practice.speaks != "never"
    if practice is None or not speaks:
        return _told("Shop", told, where, ui, where.right)
    if practice.shown is None:
        ask = Button("ask", "Ask", key="I", area=4, hint="Ask the coach, who goes by prints and strokes alone (I)")
        buttons = _at_right([ask], where, ui)
        if practice.quiet:
            return [*_told("Coach", practice.quiet, where, ui, buttons[0].rect.left), *buttons]
        return [*_told("Shop", told, where, ui, buttons[0].rect.left), *buttons]
    return _remark(practice, told, where, ui)


def _at_right(buttons: list[Button], where: pygame.Rect, ui: Ui) -> list[Button]:
    """Buttons at the right end of the line."""
    high, wide, gap = min(ui.px(34), where.height - ui.px(8)), ui.px(96), ui.px(8)
    left = where.right - ui.px(16) - len(buttons) * wide - (len(buttons) - 1) * gap
    for n, button in enumerate(buttons):
        button.rect = pygame.Rect(left + n * (wide + gap), where.top + ui.px(8), wide, high)
    return buttons


def _told(name: str, told: str, where: pygame.Rect, ui: Ui, right: int) -> list[Widget]:
    """Who speaks, and what he says."""
    pad = ui.px(16)
    who = Label("coach", string=name, size=LABEL, role="muted", area=4)
    who.rect = pygame.Rect(where.left + pad, where.top + ui.px(12), ui.px(60), ui.px(22))
    words = Label("told", string=told, size=BODY, area=4)
    left = who.rect.right + pad
    words.rect = pygame.Rect(left, where.top + ui.px(10), right - left - pad, where.height - ui.px(14))
    return [who, words]


def _remark(practice: Practice, told: str, where: pygame.Rect, ui: Ui) -> list[Widget]:
    """A rung of a remark with its buttons; below it, where there is room, what the shop said."""
    remark = practice.shown
    assert remark is not None  # only called so
    more = Button("ask", "Ask more", area=4, hint=ASK_HINT, enabled=practice.rung < len(remark.rungs) - 1,
                  reason="That was all of it.")  # fmt: skip
    show = Button("show me", "Show me", area=4, in_hand=practice.pinned, enabled=bool(remark.places_mm),
                  hint="Keep the places lit on the face", reason="It rests on no single place.")  # fmt: skip
    buttons = _at_right([show, more], where, ui)
    pad, string = ui.px(16), remark.rungs[practice.rung]
    who = Label("coach", string="Coach", size=LABEL, role="muted", area=4)
    who.rect = pygame.Rect(where.left + pad, where.top + ui.px(12), ui.px(60), ui.px(22))
    left = who.rect.right + pad
    wide = buttons[0].rect.left - pad - left
    size = BODY if len(ui.wrapped(string, BODY, wide)) == 1 else LABEL
    lines = len(ui.wrapped(string, size, wide))
    line = Line("remark", string=string, size=size, area=4, hint=rests_on(remark.rounds))
    high = ui.px(32) if lines == 1 else round(lines * LINE_HEIGHT * ui.px(size))
    line.rect = pygame.Rect(left, where.top + ui.px(6), wide, high)
    who.rect.centery = line.rect.top + ui.px(16)
    made: list[Widget] = [who, line, *buttons]
    if lines == 1:
        shop = Label("told", string=ui.shortened(told, SMALL, wide), size=SMALL, role="muted", area=4)
        shop.rect = pygame.Rect(left, line.rect.bottom, wide, ui.px(20))
        made.append(shop)
    return made


def rests_on(rounds: tuple[int, ...]) -> str:
    """Which rounds a remark goes by, in words."""
    if not rounds:
        return "It goes by what you did."
    if len(rounds) == 1:
        return f"It goes by round {rounds[0]}."
    return f"It goes by rounds {', '.join(str(n) for n in rounds[:-1])} and {rounds[-1]}."


def lit(group: Group, practice: Practice | None) -> Places:
    """Places of the coach's remark that are lit on the face now."""
    if practice is None or practice.shown is None:
        return ()
    return practice.shown.places_mm if practice.pinned or group.near(WORDS) else ()
