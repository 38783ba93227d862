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
    if practice is None:
        return _told(told, where, ui, where.right)
    buttons, remark = list[Button](), practice.shown
    if remark is not None:
        more = Button("ask", "Ask more", area=4, hint=ASK_HINT, enabled=practice.rung < len(remark.rungs) - 1,
                      reason="That was all of it.")  # fmt: skip
        show = Button("show me", "Show me", area=4, in_hand=practice.pinned, enabled=bool(remark.places_mm),
                      hint="Keep the places lit on the face", reason="It rests on no single place.")  # fmt: skip
        buttons = _at_right([show, more], where, ui)
        line = Line("remark", string=remark.rungs[practice.rung], area=4, hint=rests_on(remark.rounds))
        return [*_two_rows("Coach", line, told, where, ui, right=buttons[0].rect.left), *buttons]
    right = where.right
    if practice.speaks != "never":
        ask = Button("ask", "Ask", key="I", area=4, hint="Ask the coach, who goes by prints and strokes alone (I)")
        buttons = _at_right([ask], where, ui)
        right = buttons[0].rect.left
    if practice.answer is not None:
        who, words = practice.answer
        return [*_two_rows(who, Label("answered", string=words, area=4), told, where, ui, right=right), *buttons]
    return [*_told(told, where, ui, right), *buttons]


def _at_right(buttons: list[Button], where: pygame.Rect, ui: Ui) -> list[Button]:
    """Buttons at the right end of the line."""
    high, wide, gap = min(ui.px(34), where.height - ui.px(8)), ui.px(96), ui.px(8)
    left = where.right - ui.px(16) - len(buttons) * wide - (len(buttons) - 1) * gap
    for n, button in enumerate(buttons):
        button.rect = pygame.Rect(left + n * (wide + gap), where.top + ui.px(8), wide, high)
    return buttons


def _told(told: str, where: pygame.Rect, ui: Ui, right: int) -> list[Widget]:
    """What the shop said."""
    pad = ui.px(16)
    who = Label("coach", string="Shop", size=LABEL, role="muted", area=4)
    who.rect = pygame.Rect(where.left + pad, where.top + ui.px(12), ui.px(60), ui.px(22))
    words = Label("told", string=told, size=BODY, area=4)
    left = who.rect.right + pad
    words.rect = pygame.Rect(left, where.top + ui.px(10), right - left - pad, where.height - ui.px(14))
    return [who, words]


def _two_rows(who: str, line: Label, told: str, where: pygame.Rect, ui: Ui, *, right: int) -> list[Widget]:
    """Who says what, and below it, where there is room, what the shop said."""
    pad = ui.px(16)
    name = Label("coach", string=who, size=LABEL, role="muted", area=4)
    name.rect = pygame.Rect(where.left + pad, where.top + ui.px(12), ui.px(60), ui.px(22))
    left = name.rect.right + pad
    wide = right - pad - left
    line.size = BODY if len(ui.wrapped(line.string, BODY, wide)) == 1 else LABEL
    lines = len(ui.wrapped(line.string, line.size, wide))
    high = ui.px(32) if lines == 1 else round(lines * LINE_HEIGHT * ui.px(line.size))
    line.rect = pygame.Rect(left, where.top + ui.px(6), wide, high)
    if lines == 1 and not line.focusable:
        line.rect = pygame.Rect(left, name.rect.top - ui.px(2), wide, ui.px(24))
    name.rect.centery = where.top + ui.px(22)
    made: list[Widget] = [name, line]
    if lines == 1:
        shop = Label("told", string=ui.shortened(told, SMALL, wide), size=SMALL, role="muted", area=4)
        shop.rect = pygame.Rect(left, where.top + ui.px(38), wide, ui.px(20))
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
