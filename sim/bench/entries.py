"""Things of the bench that hold more than a choice: a field to type in, a list, a small picture."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import ClassVar

import pygame

from sim.bench.controls import PRESSES, Said, Widget
from sim.bench.lettering import CONTROL, LABEL, SMALL, Ui

FUNCTION_KEYS = tuple(getattr(pygame, f"K_F{n}") for n in range(1, 13))
LINE_KEYS = (pygame.K_UP, pygame.K_DOWN, pygame.K_HOME, pygame.K_END, pygame.K_PAGEUP, pygame.K_PAGEDOWN)


def clipboard() -> str:
    """Text of the clipboard; nothing without a window."""
    try:
        return pygame.scrap.get_text()
    except pygame.error:
        return ""


@dataclass(eq=False)
class Field(Widget):
    """A line of text; answers with it on Enter and, if it has changed, when the focus leaves. Units are the owner's.

    Attributes
    ----------
    empty : str
        Shown while there is nothing in it.
    unit : str
        Shown at its right.
    """

    keeps_focus: ClassVar[bool] = True

    text: str = ""
    empty: str = ""
    unit: str = ""
    caret: int = field(default=0, init=False)
    all: bool = field(default=False, init=False)  # everything is marked: what is typed takes its place
    _was: str = field(default="", init=False)
    _from: int = field(default=0, init=False)

    def wants(self, event: pygame.event.Event) -> bool:
        """Every key but Tab, Esc and F1 to F12; of those with Ctrl only paste and mark all."""
        if event.mod & (pygame.KMOD_CTRL | pygame.KMOD_META):
            return event.key in (pygame.K_v, pygame.K_a)
        return event.key not in (pygame.K_TAB, pygame.K_ESCAPE, *FUNCTION_KEYS)

    def enter(self, by_key: bool) -> None:
        """Remember the text; by Tab all of it is marked."""
        self._was, self.caret, self.all = self.text, len(self.text), by_key and bool(self.text)

    def leave(self, take_back: bool = False) -> Said:
        """Tell what has changed, or take it back."""
        self.all = False
        if take_back:
            self.text = self._was
        changed, self._was = self.text != self._was, self.text
        return [(self.id, self.text)] if changed else []

    def insert(self, string: str) -> None:
        """Put text in at the caret, in one line."""
        string = "".join(c if c.isprintable() else " " for c in string.rstrip("\0\r\n"))
        if self.all:
            self.text, self.caret, self.all = "", 0, False
        self.text = self.text[: self.caret] + string + self.text[self.caret :]
        self.caret += len(string)

    def _key(self, event: pygame.event.Event) -> Said:
        if event.mod & (pygame.KMOD_CTRL | pygame.KMOD_META):
            if event.key == pygame.K_v:
                self.insert(clipboard())
            else:
                self.all = bool(self.text)
        elif event.key in PRESSES[1:]:
            self._was, self.all = self.text, bool(self.text)
            return [(self.id, self.text)]
        elif event.key in (pygame.K_BACKSPACE, pygame.K_DELETE):
            self._rub(self.caret - (event.key == pygame.K_BACKSPACE))
        else:
            self._move(event.key)
        return []

    def _rub(self, at: int) -> None:
        if self.all:
            self.insert("")
        elif 0 <= at < len(self.text):
            self.text, self.caret = self.text[:at] + self.text[at + 1 :], at

    def _move(self, key: int) -> None:
        to = {pygame.K_LEFT: self.caret - 1, pygame.K_RIGHT: self.caret + 1, pygame.K_HOME: 0, pygame.K_END: 10**6}
        if key in to:
            self.caret, self.all = min(max(to[key], 0), len(self.text)), False

    def _other(self, event: pygame.event.Event) -> Said:
        if event.type == pygame.TEXTINPUT:
            self.insert(event.text)
        return []

    def _paint(self, surface: pygame.Surface, ui: Ui) -> None:
        theme = ui.theme
        text, small = self._frame(surface, ui, self.rect)
        inner = self.rect.inflate(-2 * ui.px(8), 0)
        if self.unit:
            inner.width = ui.line(surface, inner, self.unit, LABEL, small, align="right").left - ui.px(6) - inner.left
        if not self.text and not self.focused:
            ui.line(surface, inner, self.empty, CONTROL, small)
            return
        font, inner.width = ui.font(CONTROL), max(inner.width, 0)
        caret = min(self.caret, len(self.text))
        self._from = min(self._from, caret)
        while font.size(self.text[self._from : caret])[0] > inner.width:
            self._from += 1
        end = len(self.text)
        while font.size(self.text[self._from : end])[0] > inner.width:
            end -= 1
        shown, high = self.text[self._from : end], font.get_height()
        if self.all and self.focused:
            surface.fill(theme.accent, (inner.left, inner.centery - high // 2, font.size(shown)[0], high))
        ui.line(surface, inner, shown, CONTROL, theme.on_accent if self.all and self.focused else text)
        if self.focused and not self.all:
            x = inner.left + font.size(self.text[self._from : caret])[0]
            surface.fill(theme.accent, (x, inner.centery - high // 2, ui.px(2), high))


@dataclass(eq=False)
class Listing(Widget):
    """Rows of which one is chosen: arrows move the mark, Enter or a click takes it. Answers with the row's number.

    Attributes
    ----------
    value : int
        The marked row; -1 for none.
    shown : int
        So many rows fill the height.
    empty : str
        Shown when there are no rows.
    """

    keys: ClassVar[tuple[int, ...]] = (*LINE_KEYS, *PRESSES)
    keeps_focus: ClassVar[bool] = True

    rows: Sequence[str]
    value: int = -1
    shown: int = 6
    empty: str = ""
    first: int = field(default=0, init=False)

    def targets(self) -> list[pygame.Rect]:
        """The rows that are seen now."""
        high = self.rect.height // self.shown
        n = min(self.shown, len(self.rows) - self.first)
        return [pygame.Rect(self.rect.left, self.rect.top + i * high, self.rect.width, high) for i in range(n)]

    def _paint(self, surface: pygame.Surface, ui: Ui) -> None:
        theme = ui.theme
        text, small = self._frame(surface, ui, self.rect)
        self.first = min(max(self.first, 0), max(len(self.rows) - self.shown, 0))
        if not self.rows:
            box = self.rect.inflate(-2 * ui.px(10), -2 * ui.px(8))
            ui.text(surface, box.topleft, self.empty, LABEL, small, width=box.width, wrap=True)
        more = len(self.rows) > self.shown
        for i, row in enumerate(self.targets(), self.first):
            inner = row.inflate(-2 * ui.px(10), 0)
            inner.width -= ui.px(8) if more else 0
            if i == self.value and self.enabled:
                ui.box(surface, row, theme.accent)
            ui.line(surface, inner, self.rows[i], CONTROL,
                    theme.on_accent if i == self.value and self.enabled else text)  # fmt: skip
        if more:
            way = self.rect.inflate(0, -2 * ui.px(4))
            high = max(way.height * self.shown // len(self.rows), ui.px(16))
            at = way.top + (way.height - high) * self.first // (len(self.rows) - self.shown)
            ui.box(surface, pygame.Rect(way.right - ui.px(8), at, ui.px(4), high), theme.line, radius=2)

    def _click(self, pos: tuple[int, int]) -> Said:
        for i, row in enumerate(self.targets(), self.first):
            if row.collidepoint(pos):
                self.value = i
                return [(self.id, i)]
        return []

    def _key(self, event: pygame.event.Event) -> Said:
        if event.key in PRESSES:
            return [(self.id, self.value)] if 0 <= self.value < len(self.rows) else []
        last = len(self.rows) - 1
        to = {
            pygame.K_UP: self.value - 1, pygame.K_DOWN: self.value + 1, pygame.K_HOME: 0, pygame.K_END: last,
            pygame.K_PAGEUP: self.value - self.shown, pygame.K_PAGEDOWN: self.value + self.shown,
        }[event.key]  # fmt: skip
        self.value = min(max(to, 0), last)
        self.first = min(max(self.first, self.value - self.shown + 1), max(self.value, 0))
        return []

    def _other(self, event: pygame.event.Event) -> Said:
        if event.type == pygame.MOUSEWHEEL:
            self.first = min(max(self.first - event.y, 0), max(len(self.rows) - self.shown, 0))
        return []


@dataclass(eq=False)
class Thumb(Widget):
    """A small picture with a caption beneath: a print that hangs on the wall. Answers True."""

    picture: pygame.Surface | None = None
    caption: str = ""
    chosen: bool = False

    def _paint(self, surface: pygame.Surface, ui: Ui) -> None:
        theme, strip = ui.theme, ui.px(18)
        frame = pygame.Rect(self.rect.topleft, (self.rect.width, self.rect.height - strip))
        self._frame(surface, ui, frame, self.chosen)
        if self.picture is not None:
            edge = ui.px(2) if self.chosen else 1
            room = frame.inflate(-2 * edge, -2 * edge)
            surface.blit(ui.fitted(self.picture, room.size), room)
        below = pygame.Rect(self.rect.left, frame.bottom, self.rect.width, strip)
        ui.line(surface, below, self.caption, SMALL, theme.text if self.chosen else theme.muted,
                bold=self.chosen, align="centre")  # fmt: skip

    def _press(self) -> Said:
        return [(self.id, True)]
