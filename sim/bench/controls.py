"""Controls of the bench: label, button, toggle, a row of choices, slider.

A widget draws itself from its fields and answers events with pairs (id, value); it knows nothing of jobs. Whoever
owns it gives it its place: `rect`, in pixels of the surface.
"""

from abc import ABC, abstractmethod
from collections.abc import Callable, Sequence
from dataclasses import KW_ONLY, dataclass, field
from itertools import pairwise
from typing import ClassVar

import pygame

from sim.bench.lettering import CONTROL, LABEL, LINE_HEIGHT, SMALL, STATION, Ui
from sim.bench.palette import Rgb

Said = list[tuple[str, object]]
"""What was done: id of the widget and its new value."""
FORWARD = {pygame.K_RIGHT: 1, pygame.K_DOWN: 1, pygame.K_LEFT: -1, pygame.K_UP: -1}
DIGITS = {getattr(pygame, f"K_{n}"): n for n in range(10)} | {getattr(pygame, f"K_KP{n}"): n for n in range(10)}
PRESSES = (pygame.K_SPACE, pygame.K_RETURN, pygame.K_KP_ENTER)


@dataclass(eq=False)
class Widget(ABC):
    """What lies on the bench's surface and may be pressed.

    Attributes
    ----------
    id : str
        Its name in what it answers.
    rect : pygame.Rect
    enabled : bool
        When False it never acts; its edge is dashed.
    reason : str
        Why it is not enabled: shown under the resting pointer and at the focus.
    hint : str
        Shown under the resting pointer.
    area : int
        Areas are read one after the other, each in rows from its top.
    """

    focusable: ClassVar[bool] = True
    floats: ClassVar[bool] = False
    keys: ClassVar[tuple[int, ...]] = PRESSES
    keeps_focus: ClassVar[bool] = False

    id: str
    _: KW_ONLY
    rect: pygame.Rect = field(default_factory=lambda: pygame.Rect(0, 0, 0, 0))
    enabled: bool = True
    reason: str = ""
    hint: str = ""
    area: int = 0
    hovered: bool = field(default=False, init=False)
    pressed: bool = field(default=False, init=False)
    focused: bool = field(default=False, init=False)
    radius: int = field(default=4, init=False)

    def draw(self, surface: pygame.Surface, ui: Ui, now_s: float = 0.0) -> None:
        """Draw it as it is now."""
        self._paint(surface, ui)

    def on(self, event: pygame.event.Event) -> Said:
        """Answer an event that is meant for it: its own press, its release, a key at the focus."""
        if not self.enabled:
            return []
        if event.type == pygame.MOUSEBUTTONUP:
            return self._click(event.pos) if self.rect.collidepoint(event.pos) else []
        if event.type == pygame.KEYDOWN and self.wants(event):
            return self._key(event)
        return self._other(event)

    def wants(self, event: pygame.event.Event) -> bool:
        """Whether a key at the focus is for it, and for nobody else."""
        return event.key in self.keys and not event.mod & (pygame.KMOD_CTRL | pygame.KMOD_ALT | pygame.KMOD_META)

    def targets(self) -> list[pygame.Rect]:
        """What can be hit by itself."""
        return [self.rect] if self.focusable else []

    def told(self) -> str:
        """What the resting pointer is told."""
        return self.hint if self.enabled else self.reason

    def enter(self, by_key: bool) -> None:  # noqa: B027 - most have nothing to do
        """The focus has come."""

    def leave(self, take_back: bool = False) -> Said:
        """The focus has gone; `take_back` for Esc."""
        return []

    @abstractmethod
    def _paint(self, surface: pygame.Surface, ui: Ui) -> None:
        """Draw it in its rect."""

    def _click(self, pos: tuple[int, int]) -> Said:
        return self._press()

    def _press(self) -> Said:
        return []

    def _key(self, event: pygame.event.Event) -> Said:
        return self._press()

    def _other(self, event: pygame.event.Event) -> Said:
        return []

    def _frame(self, surface: pygame.Surface, ui: Ui, rect: pygame.Rect, chosen: bool = False) -> tuple[Rgb, Rgb]:
        """Draw the control's box; colours of its letters and its lesser letters."""
        theme = ui.theme
        if not self.enabled:
            ui.box(surface, rect, theme.panel, theme.line, radius=self.radius, dashed=True)
            return theme.muted, theme.muted
        lit = self.hovered or self.pressed
        fill = theme.accent if chosen else theme.panel if self.pressed else theme.raised
        edge = theme.text if lit else theme.accent if chosen else theme.line
        ui.box(surface, rect, fill, edge, radius=self.radius)
        return (theme.on_accent, theme.on_accent) if chosen else (theme.text, theme.muted)


@dataclass(eq=False)
class Label(Widget):
    """Text that wraps; `role` names a colour of the theme."""

    focusable: ClassVar[bool] = False

    string: str = ""
    size: int = LABEL
    bold: bool = False
    role: str = "text"

    def height(self, ui: Ui, width: int) -> int:
        """Pixels it needs at a width."""
        return round(len(ui.wrapped(self.string, self.size, width, self.bold)) * LINE_HEIGHT * ui.px(self.size))

    def _paint(self, surface: pygame.Surface, ui: Ui) -> None:
        colour = getattr(ui.theme, self.role)
        ui.text(
            surface, self.rect.topleft, self.string, self.size, colour, bold=self.bold, width=self.rect.width, wrap=True
        )  # fmt: skip


@dataclass(eq=False)
class Button(Widget):
    """A thing to press; with a key or a sub line, and high enough, a station of the tray. Answers True.

    Attributes
    ----------
    done : bool
        Shown by a tick.
    in_hand : bool
        Filled with the accent.
    next : bool
        The usual next one: a thin line beneath.
    """

    label: str
    key: str = ""
    sub: str = ""
    done: bool = False
    in_hand: bool = False
    next: bool = False

    def _paint(self, surface: pygame.Surface, ui: Ui) -> None:
        if (self.key or self.sub) and self.rect.height >= ui.px(48):
            self._paint_station(surface, ui)
            return
        text, small = self._frame(surface, ui, self.rect, self.in_hand)
        inner = self.rect.inflate(-2 * ui.px(10), 0)
        if self.key:
            ui.line(surface, inner, self.key, SMALL, small, align="right")
        ui.line(surface, inner, self.label, CONTROL, text, align="left" if self.key else "centre")

    def _paint_station(self, surface: pygame.Surface, ui: Ui) -> None:
        self.radius = 6
        text, small = self._frame(surface, ui, self.rect, self.in_hand)
        inner = self.rect.inflate(-2 * ui.px(8), -2 * ui.px(6))
        half = inner.height // 2
        upper = pygame.Rect(inner.topleft, (inner.width, half))
        lower = pygame.Rect(inner.left, inner.bottom - half, inner.width, half)
        ui.line(surface, upper, self.label, STATION, text, bold=True)
        if self.key:
            ui.line(surface, upper if self.sub else lower, self.key, SMALL, small, align="right")
        if self.sub:
            ui.line(surface, lower, self.sub, LABEL, small)
        if self.done:
            colour = small if self.in_hand else ui.theme.reached
            ui.line(surface, lower, "✓", CONTROL, colour, bold=True, align="right")
        if self.next and not self.in_hand:
            under = pygame.Rect(inner.left, self.rect.bottom - ui.px(5), inner.width, ui.px(2))
            surface.fill(ui.theme.accent, under)

    def _press(self) -> Said:
        return [(self.id, True)]


@dataclass(eq=False)
class Toggle(Widget):
    """On or off, by a switch at its right."""

    label: str
    value: bool = False

    def _paint(self, surface: pygame.Surface, ui: Ui) -> None:
        theme, wide, high = ui.theme, ui.px(38), ui.px(22)
        ui.line(surface, self.rect, self.label, CONTROL, theme.text if self.enabled else theme.muted)
        switch = pygame.Rect(self.rect.right - wide, self.rect.centery - high // 2, wide, high)
        lit = self.enabled and self.value
        edge = theme.text if self.enabled and (self.hovered or self.pressed) else theme.accent if lit else theme.line
        ui.box(surface, switch, theme.accent if lit else theme.raised, edge, radius=11, dashed=not self.enabled)
        side = high - 2 * ui.px(4)
        knob = pygame.Rect(0, 0, side, side)
        knob.center = (switch.right - high // 2 if self.value else switch.left + high // 2, switch.centery)
        ui.box(surface, knob, theme.on_accent if lit else theme.muted, radius=7)

    def _press(self) -> Said:
        self.value = not self.value
        return [(self.id, self.value)]


@dataclass(eq=False)
class Radio(Widget):
    """A row of choices of which one holds; `value` is its place in the row."""

    keys: ClassVar[tuple[int, ...]] = (*FORWARD, pygame.K_HOME, pygame.K_END, *PRESSES)

    choices: Sequence[str]
    value: int = 0

    def targets(self) -> list[pygame.Rect]:
        """The boxes of the choices, from the left."""
        n, (left, top, width, height) = len(self.choices), self.rect
        sides = [left + round(i * width / n) for i in range(n + 1)]
        return [pygame.Rect(a, top, b - a, height) for a, b in pairwise(sides)]

    def _paint(self, surface: pygame.Surface, ui: Ui) -> None:
        theme = ui.theme
        text, _ = self._frame(surface, ui, self.rect)
        for i, (cell, choice) in enumerate(zip(self.targets(), self.choices, strict=True)):
            chosen, colour = i == self.value, text
            if i and i != self.value and i - 1 != self.value:
                surface.fill(theme.line, (cell.left, cell.top + ui.px(8), 1, cell.height - 2 * ui.px(8)))
            if chosen and self.enabled:
                ui.box(surface, cell, theme.accent, theme.text if self.hovered else theme.accent)
                colour = theme.on_accent
            elif chosen:
                ui.box(surface, cell, None, theme.muted)
            ui.line(surface, cell.inflate(-2 * ui.px(4), 0), choice, CONTROL, colour, bold=chosen, align="centre")

    def _click(self, pos: tuple[int, int]) -> Said:
        return self._choose(next(i for i, cell in enumerate(self.targets()) if cell.collidepoint(pos)))

    def _key(self, event: pygame.event.Event) -> Said:
        if event.key in PRESSES:
            return []
        ends = {pygame.K_HOME: 0, pygame.K_END: len(self.choices) - 1}
        return self._choose(ends.get(event.key, self.value + FORWARD.get(event.key, 0)))

    def _choose(self, i: int) -> Said:
        before, self.value = self.value, min(max(i, 0), len(self.choices) - 1)
        return [(self.id, self.value)] if self.value != before else []


@dataclass(eq=False)
class Slider(Widget):
    """A number between two ends, in steps; `said` puts it in words at the right of the label."""

    keys: ClassVar[tuple[int, ...]] = (*FORWARD, pygame.K_HOME, pygame.K_END, pygame.K_PAGEUP, pygame.K_PAGEDOWN)

    label: str
    value: float
    ends: tuple[float, float] = (0.0, 1.0)
    step: float = 0.1
    said: Callable[[float], str] = "{:g}".format

    def _paint(self, surface: pygame.Surface, ui: Ui) -> None:
        theme = ui.theme
        upper = pygame.Rect(self.rect.topleft, (self.rect.width, self.rect.height - ui.px(20)))
        words = ui.line(surface, upper, self.said(self.value), LABEL, theme.text if self.enabled else theme.muted,
                        align="right")  # fmt: skip
        room = pygame.Rect(upper.topleft, (words.left - upper.left - ui.px(8), upper.height))
        ui.line(surface, room, self.label, LABEL, theme.muted)
        y, (left, right) = self.rect.bottom - ui.px(10), self._track()
        knob = 2 * (left - self.rect.left)
        x = left + round((right - left) * (self.value - self.ends[0]) / (self.ends[1] - self.ends[0]))
        track = pygame.Rect(left, y - ui.px(2), right - left, ui.px(4))
        ui.box(surface, track, theme.line, radius=2)
        if not self.enabled:
            ui.box(surface, pygame.Rect(x - knob // 2, y - knob // 2, knob, knob), theme.panel, theme.line, radius=8)
            return
        surface.fill(theme.accent, (track.left + 1, track.top, x - track.left, track.height))
        edge = theme.text if self.hovered or self.pressed else theme.background
        ui.box(surface, pygame.Rect(x - knob // 2, y - knob // 2, knob, knob), theme.accent, edge, radius=8)

    def _click(self, pos: tuple[int, int]) -> Said:
        return []

    def _other(self, event: pygame.event.Event) -> Said:
        held = event.type == pygame.MOUSEBUTTONDOWN or (event.type == pygame.MOUSEMOTION and self.pressed)
        if not held:
            return []
        left, right = self._track()
        share = (event.pos[0] - left) / (right - left)
        return self._set(self.ends[0] + share * (self.ends[1] - self.ends[0]))

    def _track(self) -> tuple[int, int]:
        """Left and right end of the way of the knob's middle."""
        half = round(self.rect.height * 8 / 44)
        return self.rect.left + half, self.rect.right - half

    def _key(self, event: pygame.event.Event) -> Said:
        moves = {**FORWARD, pygame.K_UP: 1, pygame.K_DOWN: -1, pygame.K_PAGEUP: 10, pygame.K_PAGEDOWN: -10}
        whole = {pygame.K_HOME: self.ends[0], pygame.K_END: self.ends[1]}
        return self._set(whole.get(event.key, self.value + moves.get(event.key, 0) * self.step))

    def _set(self, value: float) -> Said:
        low, high = self.ends
        steps = round((min(max(value, low), high) - low) / self.step)
        before, self.value = self.value, min(round(low + steps * self.step, 9), high)
        return [(self.id, self.value)] if self.value != before else []
