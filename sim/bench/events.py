"""Events of mouse, keys and window, translated to acts and wishes of the bench."""

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pygame

from sim.bench.app import ASIDE, Bench
from sim.bench.controls import DIGITS
from sim.bench.keys import place_of
from sim.bench.pieces import PUSHES
from sim.bench.widgets import Listing

CTRL = pygame.KMOD_CTRL | pygame.KMOD_META
ARROWS = {pygame.K_LEFT: (-1.0, 0.0), pygame.K_RIGHT: (1.0, 0.0), pygame.K_UP: (0.0, 1.0), pygame.K_DOWN: (0.0, -1.0)}


REPEATED = ("push less", "push more", "turn on", "turn back", "zoom in", "zoom out", "patch")
"""Actions that a key which is held down does again and again."""


class Events:
    """What is fed to a bench."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self._held: set[str] = set()
        self._down: set[str] = set()
        self._pan: tuple[int, int] | None = None

    def on(self, event: pygame.event.Event, now_s: float = 0.0) -> None:
        """Answer one event; what was called or counted by it is noted at once."""
        self._on(event, now_s)
        self.bench.heard()

    def _on(self, event: pygame.event.Event, now_s: float) -> None:
        """Answer it; a press meets the widgets as the acts before it left them, drawn or not."""
        if event.type in (pygame.MOUSEBUTTONDOWN, pygame.KEYDOWN) and self.bench.dirty:
            self.bench.lay_out()
        if event.type == pygame.QUIT:
            self.bench.quit()
        elif event.type == pygame.VIDEORESIZE:
            self.bench.resize((event.w, event.h))
        elif event.type == pygame.DROPFILE:
            self.bench.open_file(Path(event.file))
        elif event.type == pygame.WINDOWFOCUSLOST:
            self._held.clear()
            self._down.clear()
        elif event.type == pygame.MOUSEBUTTONDOWN and self.bench.menu is not None and not self.bench.group.takes(event):
            self.bench.menu = None  # a click beside the menu shuts it and does nothing else
            self.bench.dirty = True
        elif event.type == pygame.MULTIGESTURE:
            self._pinched(event)
        elif event.type in (pygame.WINDOWEXPOSED, pygame.WINDOWRESTORED):
            self.bench.dirty = True
        elif self._gesture() or not self.bench.group.takes(event):
            self._own(event)
        else:
            if event.type == pygame.KEYDOWN:
                self._down.add(place_of(event))  # held down, it does nothing to what comes after the widget
            for id, value in self.bench.group.events(event, now_s):
                self.bench.said(id, value)
            self.bench.dirty = self.bench.dirty or self.bench.group.dirty
            return
        if event.type == pygame.MOUSEMOTION:  # the pointer left a widget
            self.bench.group.events(event, now_s)
            self.bench.dirty = self.bench.dirty or self.bench.group.dirty
        elif event.type == pygame.MOUSEBUTTONDOWN:
            for id, value in self.bench.group.focus_on(None, by_key=False):  # what was being typed is taken
                self.bench.said(id, value)

    def _gesture(self) -> bool:
        """A gesture on the face is under way: what comes next belongs to it."""
        return self.bench.hold is not None and self.bench.page == "bench" and self.bench.hold.under_way()

    def _own(self, event: pygame.event.Event) -> None:
        if event.type == pygame.KEYDOWN:
            place = place_of(event)
            again, self._down = place in self._down, self._down | {place}
            if not again or event.key in ARROWS or self.bench.keys.get(place) in REPEATED:
                self._key(event)
            self.bench.dirty = True
        elif event.type == pygame.KEYUP:
            self._key_up(event)
        elif self.bench.page == "bench" and self.bench.pane is not None:
            self._pointer(event)

    def _pinched(self, event: pygame.event.Event) -> None:
        """Two fingers: nearer, farther, along."""
        pane = self.bench.pane
        if pane is not None and self.bench.page == "bench":
            width, height = self.bench.size
            at = round(event.x * width), round(event.y * height)
            if pane.holds(at):
                if self.bench.hold is not None:
                    self.bench.hold.let_go()
                pane.zoom(math.exp(2.0 * event.pinched), at)
                self.bench.dirty = True

    def _pointer(self, event: pygame.event.Event) -> None:
        hold, pane = self.bench.hold, self.bench.pane
        assert hold is not None
        assert pane is not None
        if event.type == pygame.MOUSEBUTTONDOWN:
            self.bench.dirty = True
            if event.button == 3:
                if not hold.cancel(tool=False) and pane.holds(event.pos):
                    self.bench.open_menu(event.pos)
            elif event.button == 2:
                self._pan = event.pos
            elif event.button == 1 and pane.holds(event.pos):
                hold.press(*pane.to_mm(event.pos), shift=_shift(event))
        elif event.type == pygame.MOUSEBUTTONUP:
            self.bench.dirty = True
            if event.button == 2:
                self._pan = None
            elif event.button == 1:
                hold.release(*pane.to_mm(event.pos))
        elif event.type == pygame.MOUSEMOTION:
            self._moved(event)
        elif event.type == pygame.MOUSEWHEEL:
            self.bench.dirty = True
            if _shift(event):
                self.bench.said("push more" if (event.y or event.x) > 0 else "push less", True)
            elif pane.holds(pygame.mouse.get_pos()):
                pane.zoom(1.15**event.y, pygame.mouse.get_pos())

    def _moved(self, event: pygame.event.Event) -> None:
        hold, pane, desk = self.bench.hold, self.bench.pane, self.bench.desk
        assert hold is not None
        assert pane is not None
        assert desk is not None
        if self.bench.menu is not None:
            return
        if self._pan is not None:
            pane.shift(event.pos[0] - self._pan[0], event.pos[1] - self._pan[1])
            self._pan, self.bench.dirty = event.pos, True
        elif "lamp" in self._held:
            x, y = pane.rect.center
            desk.set(lamp_deg=round(math.degrees(math.atan2(y - event.pos[1], event.pos[0] - x)) / 5.0) * 5.0 % 360.0)
            self.bench.dirty = True
        elif pane.holds(event.pos) or self._gesture():
            x_mm, y_mm = pane.to_mm(event.pos)
            if desk.passing is None:
                hold.move(x_mm, y_mm)
            self.bench.dirty = True

    def _key(self, event: pygame.event.Event) -> None:
        if event.mod & CTRL:
            self._ctrl(event)
            return
        action = self.bench.keys.get(place_of(event), "")
        if action == "full screen" and pygame.display.get_init() and pygame.display.get_surface() is not None:
            pygame.display.toggle_fullscreen()
            return
        if event.key == pygame.K_MENU or (event.key == pygame.K_F10 and _shift(event)):
            self.bench.open_menu(None)
            return
        if self.bench.menu is not None:
            self.bench.menu = None
            if action == "let go":
                return
        if self.bench.page == "drills" and action not in ("let go", "help"):
            said = self.bench.drilling.key(event, self.bench.group)
            if said:
                self.bench.said(said, True)
            return
        if action == "help" and self.bench.page not in ASIDE:
            self.bench.said("help", True)
            return
        if self.bench.page != "bench":
            self._key_of_page(event, action)
            return
        desk, hold = self.bench.desk, self.bench.hold
        assert desk is not None
        assert hold is not None
        if event.key in ARROWS:
            dx, dy = ARROWS[event.key]
            if "lamp" in self._held:
                desk.set(lamp_deg=(desk.settings.lamp_deg + 15.0 * (dx + dy)) % 360.0)
                return
            step = 5.0 if _shift(event) else 1.0
            hold.step(step * dx, step * dy)
            self._follow()
        elif event.key in DIGITS:
            self._digit(DIGITS[event.key], _shift(event))
        elif action == "patch":
            hold.jump(-1 if _shift(event) else 1)
            self._follow()
        elif action == "do" and _shift(event):
            hold.key_row()
        elif action in ("push less", "push more") and event.mod & pygame.KMOD_ALT:
            desk.settings.push_by(1 if action == "push more" else -1, quarter=True)
        elif action in ("lamp", "lay over"):
            self._held.add(action)
            if action == "lay over" and self.bench.pane is not None and desk.hung:
                self.bench.pane.over = (
                    self.bench.pane.over if self.bench.pane.over is not None else min(1, len(desk.hung) - 1)
                )
        elif action:
            self.bench.said(action, True)

    def _key_of_page(self, event: pygame.event.Event, action: str) -> None:
        """A key on a page that is not the bench."""
        if action == "let go" and self.bench.page == "drills":
            self.bench.said("drill leave", True)
            return
        if self.bench.page == "lessons" and event.key in Listing.keys:  # its lit line takes them, focus or not
            self.bench.group.focus_on("lesson")
            for id, value in self.bench.group.events(event, 0.0):
                self.bench.said(id, value)
            return
        if event.key in DIGITS:
            self.bench.room.digit(DIGITS[event.key])
        if action == "let go" and self.bench.room.escape():
            return
        if action == "let go" and self.bench.page in ("finish", *ASIDE):
            self.bench.show("bench" if self.bench.page == "finish" else self.bench.before)

    def _follow(self) -> None:
        """Move the view along when the cursor has left it."""
        hold, pane = self.bench.hold, self.bench.pane
        if hold is None or pane is None or pane.on_plate:
            return
        view = pane.view
        x, y = view.to_px(*hold.cursor_mm)
        if not view.covers(x, y):
            cx, cy = view.middle_px
            pane.shift(cx - x, cy - y)

    def _key_up(self, event: pygame.event.Event) -> None:
        self._down.discard(place_of(event))
        action = self.bench.keys.get(place_of(event), "")
        if action in self._held:
            self._held.discard(action)
            if action == "lay over" and self.bench.pane is not None:
                self.bench.pane.over = None
            self.bench.dirty = True

    def _digit(self, n: int, shift: bool) -> None:
        desk, hold = self.bench.desk, self.bench.hold
        assert desk is not None
        assert hold is not None
        if desk.tool == "read":
            if n == 0:
                desk.uncall()
            elif n <= 3:
                desk.set(level=n)
                if hold.by_key:
                    desk.call(*hold.cursor_mm, n, sure=shift)
                elif desk.calls:  # the mark that was clicked last
                    last = desk.calls[-1]
                    desk.call(last.x_mm, last.y_mm, n, sure=shift)
        elif desk.tool == "roll" and 1 <= n <= 3:
            self.bench.said("film", n - 1)
        elif 1 <= n <= len(PUSHES):
            self.bench.said("push", n - 1)

    def _ctrl(self, event: pygame.event.Event) -> None:
        key = pygame.key.name(event.key)
        if event.key in ARROWS and self.bench.page == "bench" and self.bench.hold is not None:
            dx, dy = ARROWS[event.key]
            self.bench.hold.step(0.2 * dx, 0.2 * dy)
            self._follow()
            return
        if key == "z" and _shift(event):
            key = "y"
        acts = self.ctrl_acts()
        if key in acts:
            acts[key]()

    def ctrl_acts(self) -> dict[str, Callable[[], None]]:
        """Key to what it does with Ctrl on the page as it is now; `keys.CTRL` tells of each."""
        acts: dict[str, Callable[[], None]] = {
            "q": self.bench.quit,
            "w": self.bench.to_start,
            "n": self.bench.to_start,
            "u": lambda: self.bench.said("inches", not self.bench.prefs.inches),
            ",": lambda: self.bench.show("settings"),
            "=": lambda: self.bench.scale_by(1),
            "+": lambda: self.bench.scale_by(1),
            "-": lambda: self.bench.scale_by(-1),
            "0": lambda: self.bench.prefer(replace(self.bench.prefs, scale=1.0)),
            "c": lambda: self.bench.said("copy", True),
            "p": self.bench.result_sheet,
            "o": self.bench.show_files,
        }
        if self.bench.desk is not None and self.bench.page == "bench":
            acts |= {
                "z": self.bench.desk.undo,
                "y": self.bench.desk.redo,
                "s": self.bench.save_told,
                "return": self.bench.finish,
            }
        return acts


def _shift(event: pygame.event.Event) -> bool:
    mod = getattr(event, "mod", None)
    return bool((pygame.key.get_mods() if mod is None else mod) & pygame.KMOD_SHIFT)
